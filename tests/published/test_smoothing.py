"""Smoothing kernels against published and independently computed figures."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from vanstock.forecast.classes import demand_class, interval_and_variation
from vanstock.forecast.smoothers import croston, sba, simple

DATA = Path(__file__).parents[2] / "data"


def series(name: str) -> NDArray[np.float64]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return np.array([[float(row[0]) for row in list(csv.reader(lines))[1:]]])


def test_single_smoothing_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.1-2, alpha .1: printed to two decimals."""
    printed = [71, 70.9, 70.71, 70.44, 69.80, 69.32, 69.58, 70.43, 70.88, 71.29, 71.67]
    y = series("nist_smoothing.csv")
    levels = simple(y, np.array([0.1]))[0, 0]
    assert levels[:-1] == pytest.approx(printed, abs=0.006)
    assert levels[-1] == pytest.approx(71.4987545, abs=1e-7)  # printed 71.50
    assert ((y[0, 1:] - levels[:-1]) ** 2).sum() == pytest.approx(208.8184097, abs=1e-6)  # computed


def test_single_smoothing_with_alpha_one_half_of_the_nist_handbook() -> None:
    """Same series, alpha .5: sum of squared errors computed, MSE printed."""
    y = series("nist_smoothing.csv")
    levels = simple(y, np.array([0.5]))[0, 0]
    assert ((y[0, 1:] - levels[:-1]) ** 2).sum() == pytest.approx(181.4617662, abs=1e-6)


def test_croston_and_sba_on_product_c() -> None:
    """Hyndman & Athanasopoulos, FPP 2nd ed., section 12.2, productC, alpha .1 (computed; two libraries agree)."""
    y = series("fpp2_productC.csv")
    assert croston(y, np.array([0.1]))[0, 0, -1] == pytest.approx(0.9845965214, abs=1e-10)
    assert sba(y, np.array([0.1]))[0, 0, -1] == pytest.approx(0.9353666953, abs=1e-10)


def test_the_class_of_product_c_is_lumpy() -> None:
    """Cut-offs of Syntetos, Boylan & Croston (2005); ADI 36/11 and CV2 .797784 computed, population sd."""
    y = series("fpp2_productC.csv")[0]
    assert interval_and_variation(y) == pytest.approx((36 / 11, 0.797784), abs=1e-6)
    assert demand_class(y) == "lumpy"


@pytest.mark.parametrize("alpha", [0.05, 0.1, 0.3, 0.9])
def test_simple_smoothing_agrees_with_statsmodels(alpha: float) -> None:
    from statsmodels.tsa.holtwinters import SimpleExpSmoothing

    y = series("nist_smoothing.csv")
    model = SimpleExpSmoothing(y[0], initialization_method="known", initial_level=y[0, 0])
    theirs = model.fit(smoothing_level=alpha, optimized=False)
    assert simple(y, np.array([alpha]))[0, 0, -1] == pytest.approx(theirs.forecast(1)[0], abs=1e-9)

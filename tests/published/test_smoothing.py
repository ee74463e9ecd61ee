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
    errors = y[0, 1:] - levels[:-1]
    assert (errors**2).sum() == pytest.approx(208.8184097, abs=1e-6)  # computed
    assert (errors**2).mean() == pytest.approx(19.0, abs=0.05)  # printed


def test_single_smoothing_with_alpha_one_half_of_the_nist_handbook() -> None:
    """Same series, alpha .5: sum of squared errors computed."""
    y = series("nist_smoothing.csv")
    levels = simple(y, np.array([0.5]))[0, 0]
    assert ((y[0, 1:] - levels[:-1]) ** 2).sum() == pytest.approx(181.4617662, abs=1e-6)


def test_single_smoothing_of_the_trending_series_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.2-4, alpha .3: printed to one decimal."""
    printed = [6.4, 6.2, 6.7, 7.3, 8.4, 9.4, 11.6, 12.7, 15.4]
    levels = simple(series("nist_trend.csv"), np.array([0.3]))[0, 0]
    assert levels[:-1] == pytest.approx(printed, abs=0.051)


def test_croston_sba_and_class_of_j06() -> None:
    """Hyndman & Athanasopoulos, FPP 3rd ed., section 13.2, series J06, alpha .1 (computed; two libraries agree)."""
    y = series("fpp3_J06.csv")
    assert croston(y, np.array([0.1]))[0, 0, -1] == pytest.approx(0.8688921, abs=1e-7)
    assert sba(y, np.array([0.1]))[0, 0, -1] == pytest.approx(0.8254475, abs=1e-7)
    assert interval_and_variation(y[0]) == pytest.approx((204 / 114, 0.832349), abs=1e-6)
    assert demand_class(y[0]) == "lumpy"


def test_many_series_and_constants_at_once_give_what_each_gives_alone() -> None:
    y = series("fpp2_productC.csv")
    both, constants = np.vstack([y, y[:, ::-1]]), np.array([0.1, 0.3])
    for kernel in (simple, croston, sba):
        together = kernel(both, constants)
        for c in range(2):
            for row in range(2):
                alone = kernel(both[row : row + 1], constants[c : c + 1])[0, 0]
                assert together[c, row] == pytest.approx(alone, abs=1e-12)


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

"""Smoothing kernels against published and independently computed figures."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from vanstock.forecast.classes import demand_class, interval_and_variation
from vanstock.forecast.smoothers import Smoother, croston, damped_states, damped_trend, sba, simple, tsb

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


@pytest.mark.parametrize(
    ("constants", "rate"), [((0.1, 0.1), 0.8040651023), ((0.2, 0.1), 0.7526517), ((0.1, 0.2), 0.8112323)]
)
def test_tsb_on_product_c(constants: tuple[float, float], rate: float) -> None:
    """Teunter, Syntetos & Babai 2011 on the series of FPP 2nd ed., section 12.2 (computed; another library agrees)."""
    found = tsb(series("fpp2_productC.csv"), np.array([constants]))[0, 0, -1]
    assert found == pytest.approx(rate, abs=1e-10 if constants == (0.1, 0.1) else 5e-8)


def test_tsb_notices_that_j06_dies_out_and_croston_does_not() -> None:
    """Teunter, Syntetos & Babai 2011 on the series of FPP 3rd ed., section 13.2 (computed)."""
    y = series("fpp3_J06.csv")
    assert tsb(y, np.array([[0.1, 0.1]]))[0, 0, -1] == pytest.approx(0.0151935916, abs=1e-10)
    assert croston(y, np.array([0.1]))[0, 0, -1] > 0.8


def test_double_smoothing_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.3-4, alpha .3623, gamma 1: printed to one decimal."""
    y = series("nist_trend.csv")
    started = np.diff(y[:, :4]).mean(axis=1)
    level, trend = damped_states(y, np.array([[0.3623, 1.0, 1.0]]), trend=started)
    assert started == pytest.approx([0.8])
    assert level[0, 0] == pytest.approx([6.4, 6.6, 7.2, 8.1, 9.8, 11.5, 14.5, 16.7, 19.9, 22.8], abs=0.051)
    ahead = level[0, 0, -1] + trend[0, 0, -1] * np.arange(1, 6)
    assert ahead == pytest.approx([25.8, 28.7, 31.7, 34.6, 37.6], abs=0.051)  # printed
    assert ahead == pytest.approx([25.7719, 28.7287, 31.6856, 34.6424, 37.5992], abs=5e-5)  # computed


@pytest.mark.parametrize("constants", [(0.2, 0.1, 0.9), (0.5, 0.3, 0.98), (0.9, 0.8, 0.85)])
@pytest.mark.parametrize("name", ["nist_smoothing.csv", "nist_trend.csv", "fpp2_productC.csv"])
def test_the_damped_trend_agrees_with_statsmodels(name: str, constants: tuple[float, float, float]) -> None:
    """Holt(damped_trend=True) from the first observation and no trend."""
    from statsmodels.tsa.holtwinters import Holt

    y = series(name)
    model = Holt(y[0], damped_trend=True, initialization_method="known", initial_level=y[0, 0], initial_trend=0.0)
    a, g, f = constants
    theirs = model.fit(smoothing_level=a, smoothing_trend=g, damping_trend=f, optimized=False)
    level, trend = (state[0, 0] for state in damped_states(y, np.array([constants])))
    assert level == pytest.approx(theirs.level, abs=1e-9)
    rates = damped_trend(y, np.array([constants]))[0, 0]
    assert rates[:-1] == pytest.approx(np.maximum(theirs.fittedvalues[1:], 0), abs=1e-9)
    fading = np.cumsum(f ** np.arange(1.0, 7.0))
    assert level[-1] + trend[-1] * fading == pytest.approx(theirs.forecast(6), abs=1e-9)


def test_a_started_trend_agrees_with_statsmodels() -> None:
    """Holt's method is the damped trend with nothing faded; its state before the first week is one step back."""
    from statsmodels.tsa.holtwinters import Holt

    y = series("nist_trend.csv")
    model = Holt(y[0], initialization_method="known", initial_level=y[0, 0] - 0.8, initial_trend=0.8)
    theirs = model.fit(smoothing_level=0.3623, smoothing_trend=0.4, optimized=False)
    level, trend = damped_states(y, np.array([[0.3623, 0.4, 1.0]]), trend=np.array([0.8]))
    assert level[0, 0, -1] + trend[0, 0, -1] * np.arange(1, 4) == pytest.approx(theirs.forecast(3), abs=1e-9)


@pytest.mark.parametrize("alpha", [0.1, 0.62])
@pytest.mark.parametrize("name", ["nist_trend.csv", "fpp2_productC.csv", "fpp3_J06.csv"])
def test_simple_smoothing_agrees_with_statsmodels_at_every_week(name: str, alpha: float) -> None:
    from statsmodels.tsa.holtwinters import SimpleExpSmoothing

    y = series(name)
    model = SimpleExpSmoothing(y[0], initialization_method="known", initial_level=y[0, 0])
    theirs = model.fit(smoothing_level=alpha, optimized=False)
    assert simple(y, np.array([alpha]))[0, 0] == pytest.approx(theirs.level, abs=1e-9)


PEER = (
    ("0000001002001000000000000001001010000000",
     (0.13219821334171056, 0.04100031487129936, 0.170936290896958, 0.1623894763521101, 0.13844150678255127,
      0.04368314008608318)),
    ("0110001001012011301001001122111011201100",
     (0.7244928843514714, 0.4558957281898423, 0.8191155739644354, 0.7781597952662136, 0.7120625732107361,
      0.487921314675034)),
    ("1428612132331124372423333323433501128312",
     (2.7123793494937187, 2.514640806772591, 2.7182288829691745, 2.5823174388207155, 2.6344644734218834,
      2.7919603424986175)),
)  # fmt: skip
"""Forty weeks of Poisson needs (means .2, .7 and 3), one digit a week, and the rates that statsforecast 2.0.1
(single precision) gives after them with PEER_METHODS."""

PEER_METHODS: tuple[tuple[Smoother, object], ...] = (
    (simple, 0.1), (simple, 0.3), (croston, 0.1), (sba, 0.1), (tsb, (0.2, 0.1)), (tsb, (0.1, 0.3)),
)  # fmt: skip


@pytest.mark.parametrize(("weeks", "rates"), PEER, ids=["slow", "middling", "quick"])
def test_the_kernels_agree_with_statsforecast(weeks: str, rates: tuple[float, ...]) -> None:
    y = np.array([[float(digit) for digit in weeks]])
    ours = [smooth(y, np.array([constants]))[0, 0, -1] for smooth, constants in PEER_METHODS]
    assert ours == pytest.approx(rates, abs=1e-6)

"""Stock that covers Poisson and other needs, against computed tables and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from vanstock.forecast.spread import interval_quantile


def quantile(mean: float, variance: float, probability: float, *, measured: bool = False) -> float:
    found = interval_quantile(np.array([mean]), np.array([variance]), probability, measured=measured)
    return float(found[0])


@pytest.mark.parametrize(("mean", "stock"), [(0.3, 1), (0.8, 2), (1.5, 4), (3, 6), (6, 10)])
def test_poisson_stock_at_95_per_cent(mean: float, stock: int) -> None:
    """Computed from the Poisson distribution; any table of it shows the same."""
    assert quantile(mean, mean, 0.95) == stock


@given(st.floats(0.01, 400), st.floats(0.5, 0.999))
def test_poisson_quantiles_agree_with_scipy(mean: float, probability: float) -> None:
    assert quantile(mean, mean * 0.5, probability) == stats.poisson.ppf(probability - 1e-12, mean)


@given(st.floats(0.05, 200), st.floats(1.05, 8), st.floats(0.5, 0.999))
def test_negative_binomial_quantiles_agree_with_scipy(mean: float, ratio: float, probability: float) -> None:
    size = mean / (ratio - 1)
    expected = stats.nbinom.ppf(probability - 1e-11, size, 1 / ratio)
    assert quantile(mean, mean * ratio, probability) == pytest.approx(expected, abs=0)


@given(st.floats(0.1, 1e5), st.floats(0.01, 3), st.floats(0.05, 0.995))
def test_gamma_quantiles_agree_with_scipy_and_do_not_depend_on_the_unit(
    mean: float, variation: float, probability: float
) -> None:
    variance = (mean * variation) ** 2
    ours = quantile(mean, variance, probability, measured=True)
    assert ours == pytest.approx(stats.gamma.ppf(probability, variation**-2, scale=variance / mean), rel=1e-6, abs=1e-9)
    thousand = quantile(mean * 1000, variance * 1e6, probability, measured=True)
    assert thousand == pytest.approx(ours * 1000, rel=1e-9, abs=1e-9)


def test_nothing_is_needed_of_a_part_with_no_need() -> None:
    assert quantile(0, 0, 0.95) == 0
    assert quantile(0, 0, 0.95, measured=True) == 0
    assert quantile(5, 0, 0.95, measured=True) == 5

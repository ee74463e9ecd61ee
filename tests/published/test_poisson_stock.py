"""Stock that covers Poisson and other needs, against computed tables and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from vanstock.forecast.spread import count_cdf, interval_quantile, spread_name


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


@given(st.floats(0.02, 300), st.floats(0.2, 8), st.floats(0.05, 0.999))
def test_a_counted_quantile_is_the_least_whole_number_that_holds_the_probability(
    mean: float, ratio: float, probability: float
) -> None:
    found = quantile(mean, mean * ratio, probability)
    around = np.array([found, found - 1, found + 1])
    over = ratio > 1 + 1e-6
    exact = stats.nbinom.cdf(around, mean / (ratio - 1), 1 / ratio) if over else stats.poisson.cdf(around, mean)
    assert found == int(found)
    assert exact[0] >= probability - 1e-5
    assert exact[1] <= probability + 1e-5


@given(st.floats(0.02, 300), st.floats(0.2, 8))
def test_the_counted_distribution_sums_to_one_and_has_the_mean_it_was_given(mean: float, ratio: float) -> None:
    count = np.arange(0.0, 200 + 40 * mean * max(ratio, 1))
    beyond = 1 - count_cdf(count, np.full(count.shape, mean), np.full(count.shape, mean * ratio))
    assert beyond[-1] == pytest.approx(0, abs=1e-9)
    assert beyond.sum() == pytest.approx(mean, rel=1e-4)


def test_the_distribution_follows_the_unit_and_the_variance() -> None:
    assert spread_name(2, 2, measured=False) == "Poisson"
    assert spread_name(2, 2.5, measured=False) == "negative binomial"
    assert spread_name(2, 0.5, measured=True) == "gamma"
    assert spread_name(0, 0, measured=True) == "none"


def test_nothing_is_needed_of_a_part_with_no_need() -> None:
    assert quantile(0, 0, 0.95) == 0
    assert quantile(0, 0, 0.95, measured=True) == 0
    assert quantile(5, 0, 0.95, measured=True) == 5

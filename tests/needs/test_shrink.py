"""How one level leans on the level above it; the published examples are in `tests/published/test_shrinkage.py`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from vanstock.needs.shrink import shrunken

COUNTS = st.integers(0, 500).flatmap(lambda jobs: st.tuples(st.integers(0, jobs), st.just(jobs)))
CHANCE = st.floats(0.01, 0.99)
WORTH = st.floats(0.1, 500.0)


@given(COUNTS, CHANCE, WORTH)
def test_the_estimate_is_the_mean_of_the_beta_posterior(counts: tuple[int, int], above: float, worth: float) -> None:
    took, jobs = counts
    posterior = stats.beta(took + worth * above, jobs - took + worth * (1 - above))
    assert shrunken(took, jobs, above, worth) == pytest.approx(posterior.mean(), rel=1e-9)


@given(COUNTS, CHANCE, WORTH)
def test_the_estimate_lies_between_the_own_share_and_the_level_above(
    counts: tuple[int, int], above: float, worth: float
) -> None:
    took, jobs = counts
    own = took / jobs if jobs else above
    low, high = sorted((own, above))
    assert low - 1e-12 <= shrunken(took, jobs, above, worth) <= high + 1e-12


@given(COUNTS.filter(lambda counts: counts[1] > 0), CHANCE)
def test_an_estimate_worth_nothing_is_ignored_and_no_own_jobs_leave_the_level_above(
    counts: tuple[int, int], above: float
) -> None:
    assert shrunken(*counts, above, 0.0) == counts[0] / counts[1]
    assert shrunken(0, 0, above, 7.0) == pytest.approx(above)


@given(COUNTS.filter(lambda counts: counts[1] > 0), CHANCE, WORTH, WORTH)
def test_the_more_the_level_above_is_worth_the_nearer_to_it(
    counts: tuple[int, int], above: float, one: float, other: float
) -> None:
    less, more = sorted((one, other))
    away = [abs(shrunken(*counts, above, worth) - above) for worth in (less, more)]
    assert away[1] <= away[0] + 1e-12


@given(st.lists(st.tuples(COUNTS, CHANCE), min_size=1, max_size=5), WORTH)
def test_arrays_are_shrunken_element_by_element(rows: list[tuple[tuple[int, int], float]], worth: float) -> None:
    took, jobs = (np.array([counts[i] for counts, _ in rows], dtype=np.float64) for i in (0, 1))
    above = np.array([chance for _, chance in rows])
    each = [shrunken(*counts, chance, worth) for counts, chance in rows]
    assert shrunken(took, jobs, above, worth).tolist() == pytest.approx(each, rel=1e-12)


def test_shrinking_by_a_factor_is_the_level_above_worth_so_many_jobs() -> None:
    """Worth n (1 - f) / f keeps the part f of the distance: own .4 of 45 jobs, above .25, factor .2."""
    assert shrunken(0.4 * 45, 45, 0.25, 45 * (1 - 0.2) / 0.2) == pytest.approx(0.25 + 0.2 * 0.15)

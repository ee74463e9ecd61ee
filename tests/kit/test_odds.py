"""The exact odds of one job, against enumeration, scipy, and laws."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.kit.days import GROUPS, UNKNOWN, enumerated, independent, job_needs, job_of, outcomes, supplies
from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.odds import job_odds

chances = st.floats(0, 1).filter(lambda p: p == 0 or p > 1e-9)


@settings(max_examples=150, deadline=None)
@given(job_needs(), supplies)
def test_one_job_is_exactly_the_enumeration(needs: JobNeeds, supply: dict[str, int]) -> None:
    assert job_odds(needs, supply) == pytest.approx(enumerated([needs], supply)[0][0], abs=1e-12)


@settings(deadline=None)
@given(job_needs(), supplies)
def test_choices_written_out_as_cases_give_the_same_odds(needs: JobNeeds, supply: dict[str, int]) -> None:
    cases = tuple(WeightedCase(weight, need) for weight, need in outcomes(needs))
    assert job_odds(JobNeeds("J", cases, (), 0.0, 5), supply) == pytest.approx(job_odds(needs, supply), abs=1e-12)


@given(st.lists(chances, min_size=1, max_size=12), st.integers(0, 12))
def test_choices_of_one_group_follow_the_poisson_binomial(shares: list[float], stock: int) -> None:
    """scipy.stats.poisson_binom: the chance that n independent choices together take no more than there is."""
    choices = tuple(ComponentChoice(f"c{i}", ((p, {"a": 1}),)) for i, p in enumerate(shares))
    expected = float(stats.poisson_binom.cdf(stock, shares))
    assert job_odds(JobNeeds("J", (), choices, 1.0, 0), {"a": stock}) == pytest.approx(expected, abs=1e-12)


@given(st.lists(chances, min_size=3, max_size=3), st.lists(chances, min_size=3, max_size=3), supplies)
def test_groups_that_are_independent_multiply(first: list[float], second: list[float], supply: dict[str, int]) -> None:
    pairs = list(zip(GROUPS, first, second, strict=True))
    choices = tuple(ComponentChoice(f"{group}{p}", ((p, {group: 1}),)) for group, *two in pairs for p in two)
    expected = 1.0
    for group, *two in pairs:
        expected *= float(stats.poisson_binom.cdf(supply[group], two))
    assert job_odds(JobNeeds("J", (), choices, 1.0, 0), supply) == pytest.approx(expected, abs=1e-12)


@settings(deadline=None)
@given(job_needs(), supplies, st.sampled_from(GROUPS))
def test_more_stock_never_lowers_the_odds_of_one_job(needs: JobNeeds, supply: dict[str, int], group: str) -> None:
    less, more = job_odds(needs, supply), job_odds(needs, {**supply, group: supply[group] + 1})
    assert less is not None
    assert more is not None
    assert 0 <= less <= more + 1e-12 <= 1 + 1e-9


def test_a_job_of_which_nothing_is_known_has_no_odds() -> None:
    assert job_odds(UNKNOWN, {}) is None


def test_stock_below_zero_is_none() -> None:
    assert job_odds(job_of((0.3, {"a": 1})), {"a": -2}) == pytest.approx(0.7)
    assert job_odds(independent({"a": 0.3}), {"a": -2}) == pytest.approx(0.7)


def test_choices_that_always_take_something_can_leave_no_odds_at_all() -> None:
    sure = JobNeeds("J", (), (ComponentChoice("c", ((0.5, {"a": 1}), (0.5, {"b": 1}))),), 1.0, 0)
    assert [job_odds(sure, supply) for supply in ({}, {"a": 1}, {"a": 1, "b": 1})] == pytest.approx([0, 0.5, 1])

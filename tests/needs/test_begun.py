"""What a job that has been begun still takes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.needs.begun import still_needed
from vanstock.needs.marginals import marginals

NEEDS = JobNeeds(
    "B1",
    (WeightedCase(0.5, {"FLU": 3000, "SNS": 1}), WeightedCase(0.25, {"FLU": 1000})),
    (ComponentChoice("sensor", ((0.4, {"SNS": 2, "GKT": 1}),)), ComponentChoice("fluid", ((0.7, {"FLU": 2000}),))),
    0.25,
    9,
)
AMOUNTS = st.dictionaries(st.sampled_from("ABC"), st.integers(1, 5), max_size=3)


def test_a_job_of_which_nothing_was_fitted_needs_what_it_did() -> None:
    assert still_needed(NEEDS, {}) is NEEDS
    assert still_needed(NEEDS, {"OTHER": 4}) == NEEDS


def test_what_was_fitted_is_taken_off_every_case_and_every_choice() -> None:
    found = still_needed(NEEDS, {"FLU": 2000, "SNS": 1})
    assert found.cases == (WeightedCase(0.5, {"FLU": 1000}), WeightedCase(0.25, {}))
    assert [choice.outcomes for choice in found.prior] == [((0.4, {"SNS": 1, "GKT": 1}),), ((0.7, {}),)]


def test_job_weights_and_evidence_stay() -> None:
    found = still_needed(NEEDS, {"FLU": 2000})
    assert (found.job, found.prior_weight, found.jobs_like_it, found.known) == ("B1", 0.25, 9, True)
    assert sum(case.weight for case in found.cases) + found.prior_weight == pytest.approx(1.0)


def test_a_part_fitted_in_full_is_no_longer_expected() -> None:
    assert [line.group for line in marginals(still_needed(NEEDS, {"FLU": 3000, "GKT": 1}), {})] == ["SNS"]


def test_a_job_of_which_nothing_is_known_stays_unknown() -> None:
    assert not still_needed(JobNeeds("B1", (), (), 0.0, 0, known=False), {"FLU": 1}).known


@given(AMOUNTS, AMOUNTS, AMOUNTS)
def test_fitting_in_two_goes_leaves_what_fitting_at_once_does(
    need: dict[str, int], first: dict[str, int], second: dict[str, int]
) -> None:
    needs = JobNeeds("B1", (WeightedCase(1.0, need),), (), 0.0, 1)
    both = {group: first.get(group, 0) + second.get(group, 0) for group in first.keys() | second.keys()}
    left = still_needed(still_needed(needs, first), second)
    assert left == still_needed(needs, both)
    assert dict(left.cases[0].needs) == {
        group: qty - both.get(group, 0) for group, qty in need.items() if qty > both.get(group, 0)
    }

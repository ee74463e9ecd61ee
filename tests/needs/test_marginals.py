"""How likely a job takes each part, and how much when it does."""

from __future__ import annotations

import pytest

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.needs.marginals import NeedLine, marginals, mean_use


def test_lines_come_most_likely_first_with_component_and_evidence() -> None:
    cases = (WeightedCase(0.7, {"FLU": 2000}), WeightedCase(0.3, {"FLU": 3000, "SNS": 1}))
    needs = JobNeeds("B1", cases, (), 0.0, 5)
    assert marginals(needs, {"FLU": "fluid", "SNS": "sensor"}) == [
        NeedLine("fluid", "FLU", 1.0, 2000, 5),
        NeedLine("sensor", "SNS", 0.3, 1, 5),
    ]


def test_the_quantity_is_the_median_when_the_part_is_taken() -> None:
    cases = (WeightedCase(0.6, {}), WeightedCase(0.1, {"FLU": 1000}), WeightedCase(0.3, {"FLU": 3000}))
    assert marginals(JobNeeds("B1", cases, (), 0.0, 0), {})[0].qty == 3000


def test_independent_choices_that_share_a_part_add_up_by_convolution() -> None:
    choices = (
        ComponentChoice("vaporiser", ((0.5, {"VAP": 1, "BLT": 2}),)),
        ComponentChoice("pipe", ((0.2, {"BLT": 2}),)),
    )
    lines = {line.group: line for line in marginals(JobNeeds("B1", (), choices, 1.0, 0), {})}
    assert lines["VAP"].probability == pytest.approx(0.5)
    assert lines["BLT"].probability == pytest.approx(1 - 0.5 * 0.8)
    assert lines["BLT"].qty == 2


def test_cases_and_choices_mix_by_weight() -> None:
    needs = JobNeeds("B1", (WeightedCase(0.75, {"A": 1}),), (ComponentChoice("a", ((0.4, {"A": 1}),)),), 0.25, 3)
    assert marginals(needs, {})[0].probability == pytest.approx(0.75 + 0.25 * 0.4)


def test_a_job_of_which_nothing_is_known_has_no_lines() -> None:
    assert marginals(JobNeeds("B1", (), (), 0.0, 0, known=False), {}) == []


def test_mean_use_adds_up_jobs_cases_and_choices_with_their_squares_whatever_they_share() -> None:
    shared = {"A": 2, "B": 1}
    first = JobNeeds("B1", (WeightedCase(0.5, shared), WeightedCase(0.3, {"A": 1})), (), 0.0, 3)
    choice = ComponentChoice("a", ((0.4, {"A": 3}), (0.1, {"C": 1})))
    second = JobNeeds("B2", (WeightedCase(0.75, shared),), (choice,), 0.25, 3)
    use = mean_use([(2.0, first), (4.0, second), (1.0, first._replace(job="B3"))])
    halves = 3 * 0.5 + 4 * 0.75
    assert use["A"] == pytest.approx((2 * halves + 3 * 0.3 + 3 * 4 * 0.1, 4 * halves + 3 * 0.3 + 9 * 4 * 0.1))
    assert use["B"] == pytest.approx((halves, halves))
    assert use["C"] == pytest.approx((4 * 0.025, 4 * 0.025))
    assert use.keys() == {"A", "B", "C"}
    assert mean_use([]) == {}

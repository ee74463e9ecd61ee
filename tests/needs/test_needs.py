"""Finished jobs, weighted cases, and the mapping to a family's own parts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import pytest

from vanstock.model import (
    Catalogue,
    Family,
    FinishedJob,
    Fits,
    GoesWith,
    Job,
    JobNeeds,
    Part,
    Used,
    Usual,
    stock_groups,
)
from vanstock.needs.cases import WORTH_JOBS, CaseBook, job_needs
from vanstock.needs.mapping import PartMap
from vanstock.needs.marginals import NeedLine, marginals
from vanstock.needs.returns import finished_jobs, need_lines

TODAY = date(2027, 3, 1)


def firm(**changed: object) -> Catalogue:
    parts = [
        Part("OLD", component="vaporiser", superseded_by="NEW"), Part("NEW", component="vaporiser"),
        Part("B1", component="vaporiser"), Part("B2", component="vaporiser"), Part("GKT", component="gasket"),
        Part("BLT", component="bolt"), Part("FLU", component="fluid", unit="LTR"), Part("SNS", component="sensor"),
        Part("PLG-A", component="plug"), Part("PLG-B", component="plug"), Part("HOS", component="hose", unit="MTR"),
    ]  # fmt: skip
    known = Catalogue(
        parts={part.part: part for part in parts},
        families={name: Family(name) for name in ("A", "B", "C")},
        fits=(
            Fits("A", "OLD"), Fits("A", "NEW"), Fits("B", "B1", 0.51), Fits("B", "B2", 0.49), Fits("*", "GKT"),
            Fits("*", "BLT"), Fits("*", "FLU"), Fits("A", "SNS"), Fits("A", "PLG-A"), Fits("B", "PLG-B"),
            Fits("A", "PLG-B", 0), Fits("B", "PLG-A", 0), Fits("*", "HOS"),
        ),
        goes_with=(GoesWith("NEW", "GKT", 1), GoesWith("B1", "GKT", 1), GoesWith("B2", "GKT", 1), GoesWith("GKT", "BLT", 2),
                   GoesWith("HOS", "BLT", 6)),
    )  # fmt: skip
    return known._replace(**changed)


def done(family: str, needs: Mapping[str, int], *, job_type: str = "heat", age: int = 0) -> FinishedJob:
    return FinishedJob("J", TODAY - timedelta(age), family, job_type, (), needs)


def book(family: str = "A", job_type: str = "heat") -> Job:
    return Job("J9", TODAY, "", family, job_type)


def lines(needs: JobNeeds) -> dict[str, NeedLine]:
    return {line.group: line for line in marginals(needs, {})}


def weight(needs: JobNeeds) -> float:
    return sum(case.weight for case in needs.cases) + needs.prior_weight


def test_a_superseded_number_and_a_two_way_plug_are_stocked_under_one_name_and_a_split_is_not() -> None:
    groups = stock_groups(firm())
    assert groups["OLD"] == groups["NEW"] == "NEW"
    assert groups["PLG-A"] == groups["PLG-B"] == "PLG-A"
    assert groups["B1"] != groups["B2"]


def test_one_way_use_of_another_box_does_not_merge_stock() -> None:
    fits = tuple(row for row in firm().fits if (row.family, row.part) != ("B", "PLG-A"))
    groups = stock_groups(firm(fits=fits))
    assert groups["PLG-A"] != groups["PLG-B"]


def test_the_marginal_is_exactly_the_shrunken_estimate() -> None:
    """(k + w p) / (n + w): the beta-binomial mean, Gelman et al., BDA 3rd ed., chapter 5."""
    usual = (Usual("heat", "A", "sensor", 0.25, 1, 8),)
    past = [done("A", {"SNS": 1})] * 3 + [done("A", {})] * 2
    needs = job_needs(book(), past, firm(usual=usual), today=TODAY)
    everything = 3 / 5
    of_type = (3 + WORTH_JOBS * everything) / (5 + WORTH_JOBS)
    expected = (3 + 8 * 0.25 + WORTH_JOBS * of_type) / (5 + 8 + WORTH_JOBS)
    assert lines(needs)["SNS"].probability == pytest.approx(expected, abs=1e-12)
    assert weight(needs) == pytest.approx(1)
    assert needs.jobs_like_it == 5


def test_cases_borrowed_from_other_families_become_this_familys_own_parts() -> None:
    needs = job_needs(book("B"), [done("A", {"OLD": 1, "GKT": 1})] * 3, firm(), today=TODAY)
    found = lines(needs)
    assert set(found) == {"B1", "B2", "GKT", "BLT"}
    assert found["B1"].probability == pytest.approx(0.51)
    assert found["B2"].probability == pytest.approx(0.49)
    assert found["GKT"].probability == pytest.approx(1)
    assert needs.jobs_like_it == 0


def test_a_component_that_the_family_has_no_part_for_drops_out() -> None:
    needs = job_needs(book("B"), [done("A", {"SNS": 1})], firm(), today=TODAY)
    assert lines(needs) == {}
    assert needs.known


def test_what_goes_with_a_part_rides_along_and_is_never_doubled() -> None:
    parts = PartMap.build(firm())
    assert parts.with_riders({"NEW": 1}) == {"NEW": 1, "GKT": 1, "BLT": 2}
    assert parts.with_riders({"NEW": 1, "GKT": 1, "BLT": 2}) == {"NEW": 1, "GKT": 1, "BLT": 2}
    assert parts.with_riders({"NEW": 1, "BLT": 9}) == {"NEW": 1, "GKT": 1, "BLT": 9}


def test_riders_are_for_each_unit_of_the_part_a_metre_of_hose() -> None:
    assert PartMap.build(firm()).with_riders({"HOS": 600}) == {"HOS": 600, "BLT": 4}


def test_goes_with_in_a_loop_ends() -> None:
    looped = firm(goes_with=(GoesWith("GKT", "BLT", 1), GoesWith("BLT", "GKT", 1)))
    assert PartMap.build(looped).with_riders({"GKT": 1}) == {"GKT": 1, "BLT": 1}


def test_the_usual_table_stands_in_before_there_is_history_with_its_riders() -> None:
    usual = (Usual("heat", "*", "vaporiser", 0.88, 1, 8), Usual("heat", "*", "fluid", 0.85, 2000, 20))
    needs = job_needs(book(), [], firm(usual=usual), today=TODAY)
    found = lines(needs)
    assert needs.prior_weight == pytest.approx(1)
    assert found["NEW"].probability == pytest.approx(0.88)
    assert found["GKT"].probability == pytest.approx(0.88)
    assert found["BLT"].qty == 2
    assert found["FLU"].qty == 2000


def test_a_familys_own_usual_rows_come_before_those_for_every_family() -> None:
    usual = (Usual("heat", "*", "fluid", 0.85, 2000, 20), Usual("heat", "A", "fluid", 0.5, 3000, 20))
    found = lines(job_needs(book(), [], firm(usual=usual), today=TODAY))
    assert (found["FLU"].probability, found["FLU"].qty) == (pytest.approx(0.5), 3000)


def test_with_nothing_to_go_by_the_needs_are_said_to_be_unknown() -> None:
    assert not job_needs(book(), [], firm(), today=TODAY).known


def test_a_new_family_and_a_new_job_type_lean_on_what_there_is() -> None:
    past = [done("A", {"FLU": 2000})] * 4
    for job in (book("C"), book("A", "new type"), book("C", "new type")):
        assert lines(job_needs(job, past, firm(), today=TODAY))["FLU"].probability == pytest.approx(1)


def test_a_year_halves_the_weight_of_a_case() -> None:
    past = [done("A", {"SNS": 1}, age=365), done("A", {})]
    needs = job_needs(book(), past, firm(), today=TODAY)
    assert lines(needs)["SNS"].probability == pytest.approx(0.5 / 1.5)


def test_parts_that_were_used_together_stay_together() -> None:
    past = [done("A", {"SNS": 1, "FLU": 2000})] * 2 + [done("A", {})] * 2
    needs = job_needs(book(), past, firm(), today=TODAY)
    assert {frozenset(case.needs) for case in needs.cases} == {frozenset({"SNS", "FLU"}), frozenset()}


def test_the_order_of_past_jobs_does_not_matter() -> None:
    past = [done("A", {"SNS": 1}), done("B", {"GKT": 2}), done("A", {"FLU": 1500}, age=30)]
    one = CaseBook.build(past, firm(), today=TODAY).needs_for(book())
    two = CaseBook.build(reversed(past), firm(), today=TODAY).needs_for(book())
    assert [c.needs for c in one.cases] == [c.needs for c in two.cases]
    assert [c.weight for c in one.cases] == pytest.approx([c.weight for c in two.cases])


def visit(name: str, day: int, *, reference: str = "B-1", status: str = "done", family: str = "A") -> Job:
    return Job(name, TODAY + timedelta(day), "", family, "heat", status=status, reference=reference)


def needs_of(jobs: list[Job], used: list[Used]) -> list[Mapping[str, int]]:
    return [job.needs for job in finished_jobs(jobs, used)]


def test_need_is_fitted_plus_missed_of_done_jobs_only() -> None:
    jobs = [visit("J1", 0), visit("J2", 1, status="booked", reference="x")]
    used = [Used("J1", "SNS", 1, 2), Used("J2", "SNS", 5, 0)]
    assert needs_of(jobs, used) == [{"SNS": 3}]


def test_a_return_visit_that_fits_what_was_missed_is_not_a_second_need() -> None:
    used = [Used("J1", "SNS", 0, 1), Used("J2", "SNS", 1, 0), Used("J2", "GKT", 1, 0)]
    assert needs_of([visit("J2", 3), visit("J1", 0)], used) == [{"SNS": 1}, {"GKT": 1}]


def test_only_as_much_as_was_missed_is_settled_and_only_once() -> None:
    jobs = [visit("J1", 0), visit("J2", 3), visit("J3", 6)]
    used = [Used("J1", "SNS", 0, 1), Used("J2", "SNS", 2, 0), Used("J3", "SNS", 1, 0)]
    assert needs_of(jobs, used) == [{"SNS": 1}, {"SNS": 1}, {"SNS": 1}]


@pytest.mark.parametrize("second", [visit("J2", 61), visit("J2", 3, reference="B-2"), visit("J2", 3, family="B")])
def test_another_customers_job_or_a_late_one_settles_nothing(second: Job) -> None:
    used = [Used("J1", "SNS", 0, 1), Used("J2", "SNS", 1, 0)]
    assert needs_of([visit("J1", 0), second], used) == [{"SNS": 1}, {"SNS": 1}]


def test_jobs_without_a_reference_never_settle_each_other() -> None:
    used = [Used("J1", "SNS", 0, 1), Used("J2", "SNS", 1, 0)]
    assert needs_of([visit("J1", 0, reference=""), visit("J2", 3, reference="")], used) == [{"SNS": 1}, {"SNS": 1}]


def test_need_lines_carry_the_day_of_the_job() -> None:
    assert need_lines(finished_jobs([visit("J1", 0)], [Used("J1", "SNS", 1, 0)])) == [("SNS", TODAY, 1)]

"""Finished jobs and their needs: what counts, and what a return visit does not count again."""

from __future__ import annotations

from datetime import date

import pytest

from vanstock.model import Job, Used
from vanstock.needs.returns import finished_jobs, need_lines

FIRST = date(2027, 1, 4)


def visit(
    name: str,
    day: date = FIRST,
    *,
    time: str = "09:00",
    reference: str = "CAR-1",
    family: str = "AAA",
    status: str = "done",
) -> Job:
    return Job(name, day, time, family, "heat-source", status=status, reference=reference)


def needs_of(jobs: list[Job], used: list[Used]) -> list[dict[str, int]]:
    return [dict(job.needs) for job in finished_jobs(jobs, used)]


def test_need_is_fitted_plus_missed_by_part_number() -> None:
    used = [Used("J1", "VAP", 1, 0), Used("J1", "GKT", 1, 2), Used("J1", "FLU", 0, 2000)]
    assert needs_of([visit("J1")], used) == [{"VAP": 1, "GKT": 3, "FLU": 2000}]


def test_only_done_jobs_count_and_come_in_order_of_date_time_and_number() -> None:
    jobs = [
        visit("J9", date(2027, 1, 5)),
        visit("J2", time="13:00"),
        visit("J4"),
        visit("J3"),
        visit("J1", status="booked"),
        visit("J0", status="cancelled"),
    ]
    assert [job.job for job in finished_jobs(jobs, [])] == ["J3", "J4", "J2", "J9"]


def test_a_job_that_took_nothing_is_a_case_too_and_a_line_of_zero_is_left_out() -> None:
    assert needs_of([visit("J1"), visit("J2")], [Used("J2", "VAP", 0, 0)]) == [{}, {}]


def test_a_return_visit_that_fits_what_was_missed_is_one_need() -> None:
    used = [Used("J1", "VAP", 0, 1), Used("J2", "VAP", 1, 0), Used("J2", "GKT", 1, 0)]
    assert needs_of([visit("J1"), visit("J2", date(2027, 1, 8))], used) == [{"VAP": 1}, {"GKT": 1}]


def test_what_a_return_visit_fits_beyond_the_missed_quantity_is_new_need() -> None:
    used = [Used("J1", "FLU", 500, 1500), Used("J2", "FLU", 2000, 0)]
    assert needs_of([visit("J1"), visit("J2", date(2027, 1, 8))], used) == [{"FLU": 2000}, {"FLU": 500}]


def test_two_return_visits_settle_one_missed_quantity_between_them_once() -> None:
    jobs = [visit("J1"), visit("J2", date(2027, 1, 8)), visit("J3", date(2027, 1, 9))]
    used = [Used("J1", "PLUG", 0, 3), Used("J2", "PLUG", 2, 0), Used("J3", "PLUG", 2, 0)]
    assert needs_of(jobs, used) == [{"PLUG": 3}, {}, {"PLUG": 1}]


@pytest.mark.parametrize(("day", "need"), [(date(2027, 3, 5), {}), (date(2027, 3, 6), {"VAP": 1})])
def test_a_return_settles_up_to_sixty_days_later_and_no_longer(day: date, need: dict[str, int]) -> None:
    used = [Used("J1", "VAP", 0, 1), Used("J2", "VAP", 1, 0)]
    assert needs_of([visit("J1"), visit("J2", day)], used)[1] == need


def test_another_car_another_family_or_no_reference_settles_nothing() -> None:
    later = date(2027, 1, 8)
    used = [Used("J1", "VAP", 0, 1), Used("J2", "VAP", 1, 0)]
    for first, second in (("CAR-1", "CAR-2"), ("", "")):
        jobs = [visit("J1", reference=first), visit("J2", later, reference=second)]
        assert needs_of(jobs, used) == [{"VAP": 1}, {"VAP": 1}]
    assert needs_of([visit("J1"), visit("J2", later, family="BBB")], used) == [{"VAP": 1}, {"VAP": 1}]


def test_a_visit_does_not_settle_what_it_missed_itself_nor_what_a_later_one_missed() -> None:
    used = [Used("J1", "VAP", 1, 1), Used("J0", "GKT", 1, 0), Used("J1", "GKT", 0, 1)]
    jobs = [visit("J1", date(2027, 1, 8)), visit("J0")]
    assert needs_of(jobs, used) == [{"GKT": 1}, {"VAP": 2, "GKT": 1}]


def test_a_successor_fitted_for_a_missed_old_number_settles_it_when_stock_groups_are_given() -> None:
    jobs, used = [visit("J1"), visit("J2", date(2027, 1, 8))], [Used("J1", "VAP-1", 0, 1), Used("J2", "VAP-2", 1, 0)]
    found = finished_jobs(jobs, used, groups={"VAP-1": "VAP-2", "VAP-2": "VAP-2"})
    assert [dict(job.needs) for job in found] == [{"VAP-1": 1}, {}]


def test_need_lines_are_part_date_and_base_units_for_the_weekly_series() -> None:
    jobs = [visit("J1"), visit("J2", date(2027, 1, 8))]
    used = [Used("J1", "VAP", 0, 1), Used("J2", "VAP", 1, 0), Used("J2", "FLU", 2000, 0)]
    assert need_lines(finished_jobs(jobs, used)) == [("VAP", FIRST, 1), ("FLU", date(2027, 1, 8), 2000)]


def test_what_is_missed_again_on_the_return_visit_is_still_one_need() -> None:
    later, last = date(2027, 1, 7), date(2027, 1, 11)
    used = [Used("J1", "SNS", 0, 1), Used("J2", "SNS", 0, 1), Used("J3", "SNS", 1, 0)]
    assert needs_of([visit("J1"), visit("J2", later), visit("J3", last)], used) == [{"SNS": 1}, {}, {}]

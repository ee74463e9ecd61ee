"""What lies long and may lose worth: only what really lay, since jobs are known, and no unit twice."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.routines.weeks import bring, later
from vanstock.ledger.entries import Counted, Draft, post, reverse
from vanstock.ledger.orderrows import LotRow
from vanstock.model import Job, Used
from vanstock.routines import booking, job, stock
from vanstock.routines.session import Session
from vanstock.routines.slow import months_before, slow_stock


def used(session: Session, days_ago: int, **parts: int) -> None:
    """A finished job so many days ago that took these (GKT_1=1)."""
    name = f"K{days_ago}"
    day = session.today - timedelta(days=days_ago)
    rows = [Used(name, part.replace("_", "-"), qty, 0) for part, qty in parts.items()]
    bring(session, [Job(name, day, "09:00", "AAA", "clean", status="done")], rows)


@pytest.fixture
def stocked(session: Session) -> Session:
    """Jobs known for 500 days; opening stock of four parts, brought in by an import today."""
    used(session, 500, BLT_1=2)
    used(session, 400, GKT_1=1)
    used(session, 250, SNS_1=1)
    used(session, 20, FLU_1=2_000)
    opening = [("GKT-1", 4, 1_540), ("SNS-1", 2, 9_440), ("FLU-1", 5_000, 2_800), ("BLT-1", 6, 552)]
    counted = tuple(Counted(part, "van", qty, value) for part, qty, value in opening)
    post(session.ledger, Draft(session.now, "imported", counted=counted))
    return session


def lain(session: Session) -> dict[str, dict[int, tuple[int, int]]]:
    return {one.part.part: dict(one.lain) for one in slow_stock(session).slow}


def test_what_no_job_took_for_six_and_twelve_months_is_slow_with_the_cash_in_it(stocked: Session) -> None:
    assert lain(stocked) == {
        "SNS-1": {6: (2, 9_440)}, "GKT-1": {6: (4, 1_540), 12: (4, 1_540)}, "BLT-1": {6: (6, 552), 12: (6, 552)},
    }  # fmt: skip
    found = slow_stock(stocked)
    assert (found.lain(6), found.lain(12)) == ((3, 11_532), (2, 2_092))
    assert [one.part.part for one in found.slow] == ["SNS-1", "GKT-1", "BLT-1"]
    assert [(one.part.part, one.qty, one.value, one.why) for one in found.candidates] == [
        ("GKT-1", 4, 1_540, (f"no job took any since {stocked.today - timedelta(days=400)}",)),
        ("BLT-1", 6, 552, (f"no job took any since {stocked.today - timedelta(days=500)}",)),
    ]


def test_a_part_that_came_in_last_week_is_not_slow_but_those_that_lay_before_it_are(stocked: Session) -> None:
    stock.receive(stocked, "VAP-2", "2")
    stock.receive(stocked, "GKT-1", "10")
    found = lain(later(stocked, days=7))
    assert "VAP-2" not in found
    assert found["GKT-1"] == {6: (4, 1_540), 12: (4, 1_540)}


def test_goods_taken_in_and_undone_make_nothing_less_slow(stocked: Session) -> None:
    came = stock.receive(stocked, "GKT-1", "10")
    reverse(stocked.ledger, came.entry.id, Draft(stocked.now, "undo"))
    assert lain(stocked)["GKT-1"][12] == (4, 1_540)


def test_a_part_first_counted_by_hand_counts_as_come_in_that_day(stocked: Session) -> None:
    stock.count(stocked, "HOS-1", "3", place="store")
    assert "HOS-1" not in lain(later(stocked, days=7))
    assert lain(later(stocked, days=200))["HOS-1"] == {6: (3_000, 2_130)}


def test_moving_a_part_is_no_use_and_a_fitted_one_is_until_it_is_undone(stocked: Session) -> None:
    stock.move(stocked, "GKT-1", "1", source="van", target="store")
    assert lain(stocked)["GKT-1"][12] == (4, 1_540)
    booking.add_booking(stocked, Job("J1", stocked.today, "08:00", "AAA", "clean"))
    fitted = job.fit(stocked, "J1", "GKT-1")
    assert "GKT-1" not in lain(stocked)
    reverse(stocked.ledger, fitted.entry.id, Draft(stocked.now, "undo"))
    assert lain(stocked)["GKT-1"][12] == (4, 1_540)


def test_where_jobs_are_not_known_for_so_long_nothing_is_said(session: Session) -> None:
    used(session, 200, GKT_1=1)
    post(session.ledger, Draft(session.now, "imported", counted=(Counted("SNS-1", "van", 2, 9_440),)))
    found = slow_stock(session)
    assert (found.told, found.candidates, found.known_from) == ((6,), (), session.today - timedelta(days=200))
    assert [(one.part.part, one.last) for one in found.slow] == [("SNS-1", None)]


def test_an_old_number_is_a_candidate_for_what_a_year_would_not_use_of_it_and_its_successor(stocked: Session) -> None:
    used(stocked, 100, VAP_1=1)
    used(stocked, 50, VAP_2=1)
    post(stocked.ledger, Draft(stocked.now, "imported", counted=(Counted("VAP-1", "store", 5, 62_450),)))
    found = {one.part.part: one for one in slow_stock(stocked).candidates}["VAP-1"]
    assert (found.qty, found.value, found.why) == (3, 37_470, ("superseded by VAP-2, 3 over a year's use",))


def test_expired_lots_are_candidates_at_the_average_and_no_unit_counts_twice(stocked: Session) -> None:
    stock.receive(stocked, "GKT-1", "2")
    for part, qty, use_by in (("FLU-1", 3_000, "2027-02-28"), ("GKT-1", 2, "2027-02-01"), ("SNS-1", 2, "2027-03-01")):
        post(stocked.ledger, Draft(stocked.now, "received", orders=(LotRow(part, qty, use_by),)))
    gone = post(stocked.ledger, Draft(stocked.now, "received", orders=(LotRow("SNS-1", 2, "2027-02-01"),)))
    reverse(stocked.ledger, gone.id, Draft(stocked.now, "undo"))
    found = {one.part.part: (one.qty, one.value, len(one.why)) for one in slow_stock(stocked).candidates}
    assert found == {"FLU-1": (3_000, 1_680, 1), "GKT-1": (4, 1_540, 2), "BLT-1": (6, 552, 1)}


def test_a_day_of_the_past_is_judged_by_what_lay_there_and_had_happened_then(stocked: Session) -> None:
    booking.add_booking(stocked, Job("J1", stocked.today, "08:00", "AAA", "clean"))
    after = later(stocked, days=3)
    job.fit(after, "J1", "GKT-1")
    assert "GKT-1" not in lain(after)
    before = slow_stock(after, stocked.today)
    assert {one.part.part for one in before.slow} == {"SNS-1", "GKT-1", "BLT-1"}


@pytest.mark.parametrize(
    ("day", "months", "before"),
    [
        (date(2027, 3, 1), 6, date(2026, 9, 1)),
        (date(2027, 8, 31), 6, date(2027, 2, 28)),
        (date(2028, 2, 29), 12, date(2027, 2, 28)),
        (date(2027, 12, 31), 12, date(2026, 12, 31)),
    ],
)
def test_months_before_a_day_end_on_the_last_day_where_there_is_no_such_one(
    day: date, months: int, before: date
) -> None:
    assert months_before(day, months) == before

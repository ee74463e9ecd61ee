"""The week on one screen: each line is what the routine of its own command says, on the day that it is due."""

from __future__ import annotations

from datetime import date, timedelta

from tests.routines.orders import drafted, sent
from tests.routines.weeks import bring, change_part, fill_weeks, later
from vanstock.model import Job, Used
from vanstock.routines import booking, counting, goodsin, job, ordering, owed, reorder, slow, stock
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting
from vanstock.routines.week import BACK_DAYS, MOST_COUNTED, week


def test_what_to_order_is_the_reorder_list_earliest_cut_off_first(session: Session) -> None:
    fill_weeks(session)
    found, listed = week(session).to_order, reorder.reorder(session).orders
    assert listed
    assert {(row.supplier.supplier, row.cutoff, row.lines, row.total) for row in found} == {
        (order.supplier, cutoff, len(order.lines), order.total) for order, _, cutoff in listed
    }
    known = [row.cutoff for row in found if row.cutoff]
    assert known == sorted(known)
    assert all(row.cutoff is None for row in found[len(known) :])


def test_an_order_waits_until_it_is_sent_and_is_late_only_after_its_day(session: Session) -> None:
    number = drafted(session)
    assert [(row.order_no, row.lines) for row in week(session).waiting] == [(number, 2)]
    assert week(later(session, days=60)).late == ()
    expected = ordering.sent(session, number).order.expected
    assert week(session).waiting == ()
    days = (date.fromisoformat(expected) - session.today).days
    assert week(later(session, days=days)).late == ()
    late = week(later(session, days=days + 1)).late
    assert [(row.order_no, row.part.part, row.qty) for row in late] == [(number, "GKT-1", 4), (number, "VAP-2", 2)]


def test_what_must_go_back_is_told_two_weeks_before_its_last_day_and_until_it_is_sent(session: Session) -> None:
    change_part(session, "VAP-2", surcharge=4_500)
    goodsin.receive(session, sent(session))
    (by,) = owed.owed(session).suppliers
    due = date.fromisoformat(by.rows[0].claim.due)
    near = (due - session.today).days - BACK_DAYS
    assert week(later(session, days=near - 1)).goes_back == ()
    assert len(week(later(session, days=near)).goes_back) == len(by.rows)
    assert [row.overdue for row in week(later(session, days=near + BACK_DAYS + 1)).goes_back] == [True] * len(by.rows)
    assert week(session).still_owed == owed.owed(session).total == 9_000


def test_what_to_count_is_the_head_of_the_sheet(session: Session) -> None:
    for part in ("VAP-2", "GKT-1", "SNS-1", "FLU-1", "BLT-1", "GLV-1"):
        stock.receive(session, part, "50")
    lines = counting.weekly_sheet(session, most=MOST_COUNTED).lines
    assert 0 < len(lines) <= MOST_COUNTED
    assert list(week(session).to_count) == sorted(lines, key=lambda line: line.rank)


def test_what_has_expired_and_what_soon_will_are_told_apart(session: Session) -> None:
    stock.receive(session, "FLU-1", "5", use_by="2027-02-15")
    stock.receive(session, "FLU-1", "5", use_by="2027-03-20")
    stock.receive(session, "FLU-1", "5", use_by="2028-06-30")
    found = week(session)
    assert [(row.part.part, row.qty, str(row.use_by)) for row in found.expired] == [("FLU-1", 5_000, "2027-02-15")]
    assert [(row.part.part, row.qty, str(row.use_by)) for row in found.expiring] == [("FLU-1", 5_000, "2027-03-20")]


def test_parts_that_jobs_lacked_are_counted_by_job_within_thirteen_weeks(session: Session) -> None:
    days = {"OLD": 13 * 7 + 1, "A": 13 * 7, "B": 30, "C": 2}
    jobs = [Job(name, session.today - timedelta(days=ago), "09:00", "AAA", "clean", status="done")
            for name, ago in days.items()]  # fmt: skip
    lacking = [("OLD", "SNS-1"), ("A", "SNS-1"), ("B", "SNS-1"), ("B", "GKT-1"), ("C", "GKT-1"), ("C", "VAP-2")]
    bring(session, jobs, [Used(job, part, 0, 3) for job, part in lacking])
    found = [(row.part.part, row.jobs, row.last_job) for row in week(session).second_visits]
    assert found == [("GKT-1", 2, "C"), ("SNS-1", 2, "B"), ("VAP-2", 1, "C")]


def test_what_lay_unused_for_a_year_is_told_once_jobs_are_known_for_so_long(session: Session) -> None:
    stock.receive(session, "VAP-2", "2")
    assert week(session).unused is None
    fill_weeks(session)
    assert week(session).unused is None
    far = later(session, days=400)
    found, known = week(far).unused, slow.slow_stock(far)
    assert found is not None
    assert (found.parts, found.value) == known.lain(12)
    assert [part.part for part, _ in found.dearest] == ["VAP-2"]


def test_an_empty_week_has_nothing_to_say(session: Session) -> None:
    found = week(session)
    assert (found.waiting, found.late, found.goes_back, found.may_go_back, found.to_count) == ((), (), (), (), ())
    assert (found.expired, found.expiring, found.second_visits, found.still_owed) == ((), (), (), 0)


def test_a_target_that_orders_more_shows_in_the_week(session: Session) -> None:
    fill_weeks(session)
    change_setting(session, "target", "0.5")
    low = sum(row.total for row in week(session).to_order)
    change_setting(session, "target", "0.97")
    assert sum(row.total for row in week(session).to_order) > low


def test_a_booked_job_of_a_past_day_is_told_until_it_is_finished_moved_or_cancelled(session: Session) -> None:
    days = [session.today + timedelta(days=day) for day in (0, 0, 0, 1)]
    jobs = [booking.add_booking(session, Job("", day, "09:00", "AAA", "clean")).job for day in days]
    assert week(session).not_finished == ()  # today's are for today
    tomorrow = later(session, days=1)
    assert [one.job for one in week(tomorrow).not_finished] == jobs[:3]
    job.finish(tomorrow, jobs[0])
    booking.move_booking(tomorrow, jobs[1], day=days[3], at=None, van=None)
    booking.cancel_booking(tomorrow, jobs[2])
    assert week(tomorrow).not_finished == ()

"""Posting, sending twice, undoing, and what stock is worth."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from vanstock.errors import EntryConflict, NotFound, VanstockError
from vanstock.ledger import reading
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, last_undoable, post, reverse
from vanstock.ledger.valuing import Line, share_carriage
from vanstock.model import Job
from vanstock.routines.session import Session

Open = Callable[..., Session]


def receive(session: Session, part: str, qty: int, value: int, place: str = "van") -> None:
    post(session.ledger, Draft(session.now, "received", lines=(Line(part, qty, SUPPLIER, place, value),)))


def fit(session: Session, part: str, qty: int, place: str = "van") -> None:
    post(session.ledger, Draft(session.now, "fitted", lines=(Line(part, qty, place, CUSTOMER),)))


def held(session: Session, part: str) -> dict[str, tuple[int, int]]:
    return {row.place: (row.qty, row.value) for row in reading.balances(session.ledger, [part])}


def test_the_same_entry_sent_again_is_one_entry_with_the_same_answer(session: Session) -> None:
    draft = Draft(session.now, "received", lines=(Line("SNS-1", 2, SUPPLIER, "van", 9_440),), id="phone-1")
    answers = {post(session.ledger, draft) for _ in range(5)}
    assert len(answers) == 1
    assert held(session, "SNS-1") == {"van": (2, 9_440)}


def test_the_same_id_with_other_content_is_refused_by_name(session: Session) -> None:
    draft = Draft(session.now, "received", lines=(Line("SNS-1", 2, SUPPLIER, "van", 9_440),), id="phone-1")
    post(session.ledger, draft)
    with pytest.raises(EntryConflict, match="phone-1"):
        post(session.ledger, draft._replace(lines=(Line("SNS-1", 3, SUPPLIER, "van", 9_440),)))


def test_a_failed_entry_leaves_nothing_behind(session: Session) -> None:
    before = "\n".join(session.ledger.iterdump())
    good, bad = Line("SNS-1", 1, "van", CUSTOMER), Line("SNS-1", 1, "van", CUSTOMER, job="no such job")
    with pytest.raises(Exception, match="FOREIGN KEY"):
        post(session.ledger, Draft(session.now, "fitted", lines=(good, bad)))
    assert "\n".join(session.ledger.iterdump()) == before


def test_average_cost_of_ten_at_4_and_twenty_at_5_is_70_used_and_70_left_after_15(session: Session) -> None:
    """IAS 2.25, weighted average; figures of the worked example computed by hand: 140/30 = 4.6667."""
    receive(session, "SNS-1", 10, 4_000)
    receive(session, "SNS-1", 20, 10_000, "store")
    fit(session, "SNS-1", 10)
    fit(session, "SNS-1", 5, "store")
    gone = session.ledger.execute("SELECT qty, value FROM balance WHERE place = 'customer'").fetchone()
    assert gone == (15, 7_000)
    assert sum(value for _, value in held(session, "SNS-1").values()) == 7_000


def test_van_and_store_share_one_average(session: Session) -> None:
    receive(session, "SNS-1", 1, 1_000)
    receive(session, "SNS-1", 1, 2_000, "store")
    assert held(session, "SNS-1") == {"van": (1, 1_500), "store": (1, 1_500)}


def test_goods_that_come_in_after_they_were_fitted_do_not_wreck_the_average(session: Session) -> None:
    fit(session, "SNS-1", 1)
    assert held(session, "SNS-1") == {"van": (-1, -4_720)}
    receive(session, "SNS-1", 3, 15_000)
    assert held(session, "SNS-1") == {"van": (2, 10_000)}


def test_free_goods_lower_the_average_and_never_make_it_negative(session: Session) -> None:
    receive(session, "SNS-1", 1, 4_720)
    receive(session, "SNS-1", 1, 0)
    assert held(session, "SNS-1") == {"van": (2, 4_720)}


def test_the_last_one_out_takes_the_last_penny(session: Session) -> None:
    receive(session, "SNS-1", 3, 1_000)
    for _ in range(3):
        fit(session, "SNS-1", 1)
    assert held(session, "SNS-1") == {"van": (0, 0)}


def test_a_part_below_zero_is_marked_for_a_count_until_it_is_counted(session: Session) -> None:
    fit(session, "SNS-1", 1)
    assert [row.count_needed for row in reading.balances(session.ledger, ["SNS-1"])] == [True]
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 0),)))
    assert [(r.qty, r.value, r.count_needed) for r in reading.balances(session.ledger, ["SNS-1"])] == [(0, 0, False)]


def test_undo_puts_quantity_and_value_back_and_can_itself_be_undone(session: Session) -> None:
    receive(session, "SNS-1", 3, 1_000)
    before = held(session, "SNS-1")
    fit(session, "SNS-1", 1)
    after = held(session, "SNS-1")
    undoing = reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
    assert held(session, "SNS-1") == before
    reverse(session.ledger, undoing.id, Draft(session.now, "undo"))
    assert held(session, "SNS-1") == after


def test_an_entry_is_undone_once(session: Session) -> None:
    receive(session, "SNS-1", 3, 1_000)
    entry = last_undoable(session.ledger)
    reverse(session.ledger, entry, Draft(session.now, "undo"))
    with pytest.raises(VanstockError, match="already undone"):
        reverse(session.ledger, entry, Draft(session.now, "undo"))
    with pytest.raises(NotFound, match="nothing to undo"):
        last_undoable(session.ledger)


def test_an_undone_booking_is_left_cancelled_and_a_finished_job_is_booked_again(session: Session) -> None:
    job = Job("J1", date(2027, 3, 2), "09:00", "AAA", "clean")
    post(session.ledger, Draft(session.now, "booked", bookings=(job,)))
    post(session.ledger, Draft(session.now, "finished", bookings=(job._replace(status="done"),)))
    reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
    assert reading.job_named(session.ledger, "j1") == job
    reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
    assert reading.job_named(session.ledger, "J1") == job._replace(status="cancelled")


def test_a_job_changed_again_since_is_not_silently_put_back(session: Session) -> None:
    job = Job("J1", date(2027, 3, 2), "09:00", "AAA", "clean")
    booked = post(session.ledger, Draft(session.now, "booked", bookings=(job,)))
    post(session.ledger, Draft(session.now, "moved", bookings=(job._replace(time="11:00"),)))
    with pytest.raises(VanstockError, match="undo the later change first"):
        reverse(session.ledger, booked.id, Draft(session.now, "undo"))


def test_a_missed_part_that_is_undone_is_no_need_any_more(session: Session) -> None:
    job = Job("J1", date(2027, 3, 2), "09:00", "AAA", "clean")
    post(session.ledger, Draft(session.now, "booked", bookings=(job,)))
    post(session.ledger, Draft(session.now, "missed", missed=(Missed("J1", "GKT-1", 1),)))
    assert [(row.fitted, row.missed) for row in reading.used(session.ledger)] == [(0, 1)]
    reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
    assert reading.used(session.ledger) == []


def test_carriage_is_shared_by_value_and_adds_up() -> None:
    assert share_carriage([1000, 500, 0], 100) == [67, 33, 0]
    assert sum(share_carriage([7, 11, 13], 100)) == 100
    assert share_carriage([0, 0], 5) == [3, 2]


def test_several_vans_and_stores_move_stock_between_them(session: Session) -> None:
    from vanstock.routines.stock import add_place, move

    add_place(session, "van 2", "van")
    receive(session, "SNS-1", 4, 4_000, "store")
    move(session, "SNS-1", "3", source="store", target="van 2")
    assert held(session, "SNS-1") == {"store": (1, 1_000), "van 2": (3, 3_000)}

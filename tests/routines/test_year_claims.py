"""Claims on suppliers in the year: beside the stock and in no sheet of it, and an act undone is nowhere."""

from __future__ import annotations

import sqlite3
from datetime import date

import pytest

from tests.routines.orders import sent
from tests.routines.weeks import change_part, later
from vanstock.ledger.entries import Draft, last_undoable, reverse
from vanstock.model import Job
from vanstock.routines import booking, goingback, stock
from vanstock.routines.apart import Asked, goes_back
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting
from vanstock.routines.year import Year, year
from vanstock.routines.yearfile import claim_summary

YEAR = (date(2027, 1, 1), date(2027, 12, 31))


@pytest.fixture
def owed(session: Session) -> Session:
    """The old unit of a good vaporiser (R0001, 45.00), a damaged one (R0002, 130.00), one unused that goes back (R0003)
    and a failed sensor (R0004, 47.20)."""
    change_part(session, "VAP-2", surcharge=4_500)
    number = sent(session)
    receive(session, number, Came(damaged={"VAP-2": "1"}, carriage=750))
    goes_back(session, Asked("VAP-2", "1"))
    booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
    goes_back(session, Asked("SNS-1", "1", job="J1", warranty=True))
    return session


def undo(session: Session) -> None:
    reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))


def moved(connection: sqlite3.Connection, source: str, target: str) -> int:
    """Pence that went from one place outside to another, by the movements alone."""
    sql = "SELECT coalesce(sum(value), 0) FROM movement WHERE from_place = ? AND to_place = ?"
    return int(connection.execute(sql, (source, target)).fetchone()[0])


def sheets_agree(found: Year) -> bool:
    """Whether purchases by supplier add up to the summary, and count differences and write-offs too."""
    changes = found.total.changes
    return (
        sum(row.bought for row in found.purchases) == changes["bought"]
        and sum(row.sent_back for row in found.purchases) == changes["sent back"]
        and sum(row.value for row in found.counted) == changes["written off"] + changes["count difference"]
    )


def test_what_is_lost_gained_and_credited_stands_beside_the_stock_and_in_no_other_sheet(owed: Session) -> None:
    before = year(owed, *YEAR)
    assert (claim_summary(before), sheets_agree(before)) == ([], True)
    goingback.sent_back(owed, ["R0002", "R0003", "R0004"])
    goingback.give_up(owed, "R0001")
    goingback.credited(owed, "R0002", 13_200, more=True)
    goingback.credited(owed, "R0004", 4_000, give_up_rest=True)
    found = year(owed, *YEAR)
    carriage = -found.total.changes["sent back"] - 13_000
    assert carriage > 0
    assert claim_summary(found) == [
        ("lost: written off", -4_500 - carriage), ("gained", 200), ("credited on failed parts, off their jobs", 4_000),
    ]  # fmt: skip
    lost, gained = moved(owed.ledger, "supplier", "write-off"), moved(owed.ledger, "write-off", "supplier")
    assert (found.claim_sums["lost"], found.claim_sums["gained"]) == (-lost, gained)
    assert (sheets_agree(found), found.counted, found.total.unexplained) == (True, (), 0)
    assert found.total.changes["bought"] == before.total.changes["bought"]
    assert [(row.job, row.note) for row in found.claims if row.way == "credited on failed parts"] == [("J1", "R0004")]


@pytest.mark.parametrize("days", [0, 40])
def test_a_claim_given_up_and_undone_is_in_no_sheet(owed: Session, days: int) -> None:
    before = year(owed, *YEAR)
    goingback.give_up(owed, "R0002")
    assert year(owed, *YEAR).claim_sums["lost"] == -13_000
    undo(later(owed, days=days))
    found = year(later(owed, days=days), *YEAR)
    assert (found.claims, found.counted, found.purchases) == ((), (), before.purchases)


def test_what_is_undone_after_the_end_leaves_that_time_as_it_was_and_is_taken_off_in_the_next(owed: Session) -> None:
    goingback.give_up(owed, "R0002")
    undo(later(owed, days=40))
    march = year(later(owed, days=40), date(2027, 3, 1), date(2027, 3, 31))
    april = year(later(owed, days=40), date(2027, 4, 1), date(2027, 4, 30))
    assert (march.claim_sums["lost"], april.claim_sums["lost"]) == (-13_000, 13_000)


@pytest.mark.parametrize("days", [0, 40])
def test_a_count_and_its_undoing_are_in_no_sheet_also_when_a_month_ends_between(owed: Session, days: int) -> None:
    stock.count(owed, "GKT-1", "1", place="store", reason="three lost")
    assert [row.qty for row in year(owed, *YEAR).counted] == [-3]
    undo(later(owed, days=days))
    found = year(later(owed, days=days), *YEAR)
    assert (found.counted, found.total.changes["count difference"], sheets_agree(found)) == ((), 0, True)


def test_vat_that_is_not_reclaimed_is_in_what_is_told_as_lost(owed: Session) -> None:
    """45.00 owed, 20 % on it: 54.00 is written off, and the screen says so."""
    change_setting(owed, "vat_added_percent", "20")
    done = goingback.give_up(owed, "R0001")
    assert done.told == ("54.00 is lost, 45.00 and VAT: written off, a cost of the year",)
    assert year(owed, *YEAR).claim_sums["lost"] == -5_400 == -moved(owed.ledger, "supplier", "write-off")

"""Use-by dates through the routines: what came in, what is planned with, what is told, what is thrown away."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.routines.orders import outside, sent, wrong
from vanstock.errors import BadValue, VanstockError
from vanstock.ledger import catalogue, reading
from vanstock.ledger.file import writing
from vanstock.model import Job, Place
from vanstock.routines import booking, goodsin, job, morning, reorder, stock, writeoff
from vanstock.routines.expiry import aged
from vanstock.routines.session import Session
from vanstock.routines.writeoff import Thrown

MONDAY = date(2027, 3, 1)
PAST, SOON, FAR = "2027-02-15", "2027-03-20", "2028-06-30"


def expired(session: Session, part: str = "FLU-1") -> dict[str, int]:
    """Base units of a part that count as expired today, by place."""
    return {row.balance.place: row.expired for row in stock.stock(session, part) if row.expired}


def lots(session: Session, part: str = "FLU-1") -> dict[str, int]:
    known = aged(session, part=part).get(part)
    return {str(lot.use_by): lot.qty for lot in known.remains.lots} if known else {}


def cans(session: Session) -> None:
    """Five litres in the van and five in the store, of which seven have expired."""
    stock.receive(session, "FLU-1", "3", place="van", use_by=FAR)
    stock.receive(session, "FLU-1", "2", place="van", use_by=PAST)
    stock.receive(session, "FLU-1", "5", use_by=PAST)


# What came in


def test_goods_in_without_a_date_keep_for_their_shelf_life_and_those_with_one_until_then(session: Session) -> None:
    told = stock.receive(session, "FLU-1", "5").warnings
    assert told == (f"5 L x FLU-1 to be used by {MONDAY + timedelta(days=730)}",)
    assert stock.receive(session, "FLU-1", "5", use_by=PAST).warnings[0].endswith(f"{PAST}, which is past")
    assert stock.receive(session, "GKT-1", "1").warnings == ()
    assert lots(session) == {PAST: 5000, "2029-02-28": 5000}
    with pytest.raises(BadValue):
        stock.receive(session, "FLU-1", "5", use_by="next year")


def test_an_order_that_comes_says_by_when_it_must_be_used(session: Session) -> None:
    number = sent(session, {"FLU-1": 10_000}, "WEEK")
    found = goodsin.receive(session, number, goodsin.Came(use_by={"FLU-1": SOON}))
    assert f"10 L x FLU-1 to be used by {SOON}" in found.told


def test_what_is_undone_leaves_no_lot_behind(session: Session) -> None:
    stock.receive(session, "FLU-1", "5", use_by=PAST)
    _, undoing = job.undo(session)
    assert not lots(session)
    job.undo(session, undoing.id)
    assert lots(session) == {PAST: 5000}
    job.undo(session)
    assert not lots(session)


# Planned without it


def test_what_has_expired_is_neither_loaded_nor_counted_but_bought_and_listed(session: Session) -> None:
    booking.add_booking(session, Job("J1", MONDAY, "14:00", "AAA", "clean"))
    stock.receive(session, "FLU-1", "5", place="van", use_by=PAST)
    stock.receive(session, "FLU-1", "5", use_by=SOON)
    found = morning.load_out(session, MONDAY)
    assert [(row.part.part, row.qty, row.on_hand) for row in found.load] == [("FLU-1", 5000, 0)]
    assert [(row.qty, str(row.use_by), row.place) for row in found.expired] == [(5000, PAST, "van")]
    assert [(row.qty, str(row.use_by)) for row in found.expiring] == [(5000, SOON)]
    later = morning.load_out(session, MONDAY + timedelta(days=30))
    assert [str(row.use_by) for row in later.expired] == [PAST, SOON]
    job.undo(session)
    odds = morning.load_out(session, MONDAY)
    assert not odds.load
    assert odds.buy[0].part.part == "FLU-1"
    assert odds.expected is not None
    assert found.expected is not None
    assert odds.expected < found.expected


def test_expired_stock_is_first_counted_in_the_van_planned_for_then_in_the_stores(session: Session) -> None:
    with writing(session.ledger) as ledger:
        catalogue.add_place(ledger, Place("second", "van"))
    for place in ("van", "second", "store"):
        stock.receive(session, "FLU-1", "2", place=place, use_by=PAST if place != "van" else FAR)
    assert aged(session)["FLU-1"].expired_at(MONDAY) == {"van": 2000, "second": 2000}
    assert aged(session, van="second")["FLU-1"].expired_at(MONDAY) == {"second": 2000, "store": 2000}
    assert expired(session) == {"van": 2000, "second": 2000}


def test_the_position_that_orders_rest_on_is_without_what_has_expired(session: Session) -> None:
    cans(session)
    at = {row.levels.part: row.on_hand for row in reorder.look_ahead(session).positions}
    assert at["FLU-1"] == 3000
    in_time = {row.levels.part: row.on_hand for row in reorder.look_ahead(session, date(2027, 2, 10)).positions}
    assert in_time["FLU-1"] == 10_000


# On the job


def test_fitting_with_an_expired_can_about_is_recorded_and_said_once(session: Session) -> None:
    booking.add_booking(session, Job("J1", MONDAY, "14:00", "AAA", "clean"))
    cans(session)
    logged = job.fit(session, "J1", "FLU-1", "2", entry_id="a")
    assert [text for text in logged.warnings if PAST in text]
    assert len(logged.warnings) == 1
    assert lots(session) == {PAST: 7000, FAR: 1000}, "the fresh can is used, the expired one is still there"
    writeoff.write_off(session, Thrown("FLU-1", expired=True))
    assert job.fit(session, "J1", "FLU-1", "2", entry_id="a").warnings == logged.warnings, "sent again, told again"
    assert not job.fit(session, "J1", "FLU-1", "1", place="store").warnings


def test_a_part_without_a_shelf_life_asks_the_ledger_nothing_of_lots(session: Session) -> None:
    booking.add_booking(session, Job("J1", MONDAY, "14:00", "AAA", "clean"))
    stock.receive(session, "GKT-1", "1", place="van", use_by=PAST)
    asked: list[str] = []
    session.ledger.set_trace_callback(asked.append)
    job.fit(session, "J1", "GKT-1", "1")
    session.ledger.set_trace_callback(None)
    assert asked
    assert not [sql for sql in asked if "FROM lot" in sql and "WHERE entry = " not in sql]  # but for the entry's seal


# Thrown away


def test_a_write_off_takes_stock_and_its_value_away_and_can_be_undone(session: Session) -> None:
    stock.receive(session, "GKT-1", "4", place="van")
    done = writeoff.write_off(session, Thrown("GKT-1", "1", why="torn"))
    assert [(row.place, row.qty, row.value, row.left) for row in done.gone] == [("van", 1, 385, 3)]
    assert done.entry.note == "torn"
    job.undo(session)
    assert reading.on_hand(session.ledger, "GKT-1", "van") == 4
    assert (outside(session), wrong(session)) == ((0, 0), [])
    with pytest.raises(BadValue, match="how much"):
        writeoff.write_off(session, Thrown("GKT-1"))
    with pytest.raises(BadValue, match="nothing of GKT-1 has expired"):
        writeoff.write_off(session, Thrown("GKT-1", expired=True))


def test_more_than_the_ledger_has_is_written_off_all_the_same_and_said(session: Session) -> None:
    done = writeoff.write_off(session, Thrown("GKT-1", "2"))
    assert "not enough GKT-1 in van" in done.warnings[0]


def test_all_that_has_expired_goes_wherever_it_is_counted_or_at_one_place(session: Session) -> None:
    cans(session)
    there = writeoff.write_off(session, Thrown("FLU-1", expired=True, place="store"))
    assert [(row.place, row.qty) for row in there.gone] == [("store", 5000)]
    job.undo(session)
    done = writeoff.write_off(session, Thrown("FLU-1", expired=True))
    assert [(row.place, row.qty) for row in done.gone] == [("van", 5000), ("store", 2000)]
    assert not expired(session)
    assert lots(session) == {FAR: 3000}


def test_what_expired_is_no_loss_that_levels_stock_for_and_what_broke_is(new_session: Callable[..., Session]) -> None:
    session = new_session(now=datetime(2027, 3, 1, 12))
    cans(session)
    writeoff.write_off(session, Thrown("FLU-1", expired=True))
    assert reading.differences(session.ledger) == []
    writeoff.write_off(session, Thrown("FLU-1", "1", place="store", why="spilt"))
    assert [(part, qty) for part, _, qty in reading.differences(session.ledger)] == [("FLU-1", 1000)]


# What the shelf says


def test_a_date_found_on_the_shelf_is_believed_and_the_latest_others_give_way(session: Session) -> None:
    stock.receive(session, "FLU-1", "10", use_by=FAR)
    found = writeoff.say_use_by(session, "FLU-1", "4", PAST)
    assert [(lot.qty, str(lot.use_by)) for lot in found.remains.lots] == [(4000, PAST), (6000, FAR)]
    assert expired(session) == {"store": 4000}
    with pytest.raises(BadValue, match="it is known"):
        writeoff.say_use_by(session, "FLU-1", "4", PAST)
    with pytest.raises(BadValue, match="only 10 L"):
        writeoff.say_use_by(session, "FLU-1", "11", PAST)
    job.undo(session)
    assert lots(session) == {FAR: 10_000}


def test_opening_stock_has_no_date_until_one_is_said(session: Session) -> None:
    stock.count(session, "FLU-1", "8", place="store")
    assert not aged(session)
    found = writeoff.say_use_by(session, "FLU-1", "5", SOON)
    assert (lots(session), found.remains.unknown) == ({SOON: 5000}, 3000)


# Laws

NUMBERS = count()
acts = st.lists(
    st.tuples(
        st.sampled_from(["in", "van in", "fit", "move", "count", "write", "expired", "say", "undo"]),
        st.integers(1, 6),
        st.sampled_from([PAST, SOON, FAR, ""]),
    ),
    max_size=8,
)


def act(session: Session, what: str, qty: int, day: str) -> None:
    if what in ("in", "van in"):
        stock.receive(session, "FLU-1", str(qty), place="van" if what == "van in" else "store", use_by=day)
    elif what == "fit":
        job.fit(session, "J1", "FLU-1", str(qty))
    elif what == "move":
        stock.move(session, "FLU-1", str(qty), source="store", target="van")
    elif what == "count":
        stock.count(session, "FLU-1", str(qty), place="van")
    elif what == "undo":
        job.undo(session)
    elif what == "say":
        writeoff.say_use_by(session, "FLU-1", str(qty), day or FAR)
    else:
        writeoff.write_off(session, Thrown("FLU-1", str(qty), expired=what == "expired"))


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(acts, st.sampled_from([date(2027, 2, 1), MONDAY, date(2027, 4, 1), date(2030, 1, 1)]))
def test_whatever_happens_expired_and_available_are_what_is_on_hand(
    new_session: Callable[..., Session], done: list[tuple[str, int, str]], day: date
) -> None:
    session = new_session(name=f"law-{next(NUMBERS)}")
    booking.add_booking(session, Job("J1", MONDAY, "14:00", "AAA", "clean"))
    for one in done:
        try:
            act(session, *one)
        except VanstockError:  # nothing to undo, more dated than is there
            continue
    rows = reading.balances(session.ledger, ["FLU-1"])
    known = aged(session, part="FLU-1").get("FLU-1")
    if known:
        assert known.remains.on_hand == max(sum(row.qty for row in rows), 0)
        gone = known.expired_at(day)
        late = sum(lot.qty for lot in known.remains.lots if lot.use_by < day)
        assert sum(gone.values()) == late
        assert all(gone[row.place] <= row.qty for row in rows if row.place in gone)
    assert outside(session) == (0, 0)
    session.ledger.close()

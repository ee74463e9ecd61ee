"""Laws of what stock is worth: opening and changes make the closing to the penny however the time is split, and the
value at a moment is that of the ledger replayed until then."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.conftest import new_ledger
from vanstock.errors import NotFound, VanstockError
from vanstock.ledger import checking, reading, restoring, worth
from vanstock.ledger.entries import CUSTOMER, DIFFERENCE, SUPPLIER, Counted, Draft, last_undoable, post, reverse
from vanstock.ledger.file import open_ledger
from vanstock.ledger.valuing import Line, first_in_first_out, share_carriage
from vanstock.ledger.worth import BOUGHT, BROUGHT, MOVED, SENT_BACK, USED, WAYS, WRITTEN_OFF, Held
from vanstock.routines.session import Session

PARTS = ("SNS-1", "FLU-1")
STOCK = ("van", "store")
START = datetime(2027, 1, 20, 9)
ALL = ("0000", "9999")
qty, part, place = st.integers(1, 40), st.sampled_from(PARTS), st.sampled_from(STOCK)
acts = st.one_of(
    st.tuples(st.just("receive"), part, qty, place, st.integers(0, 5_000)),
    st.tuples(st.just("carriage"), qty, qty, place, st.integers(0, 900)),
    st.tuples(st.just("fit"), part, qty, place),
    st.tuples(st.just("take off"), part, qty, place),
    st.tuples(st.just("load"), part, qty, place),
    st.tuples(st.just("send back"), part, qty, place),
    st.tuples(st.just("write off"), part, qty, place),
    st.tuples(st.just("count"), part, st.integers(0, 40), place),
    st.tuples(st.just("undo")),
    st.tuples(st.just("undo"), st.integers(1, 6)),
)
days = st.integers(-2, 12)
"""Days that pass before an act; a clock that someone set back makes them fewer than none."""
sequences = st.lists(st.tuples(acts, days), max_size=18)
slow = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@contextmanager
def ledger_of(sequence: Iterable[tuple[tuple[Any, ...], int]]) -> Iterator[Session]:
    """A ledger with the acts of a sequence, opening stock of one part first; its clock at the last act."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "law.db"
        connection = new_ledger(path)
        connection.execute("PRAGMA synchronous = OFF")
        session = Session(connection, START, path)
        try:
            counted = (Counted("SNS-1", "van", 7, 33_001), Counted("SNS-1", "store", 0, 0))
            post(connection, Draft(START, "imported", counted=counted))
            for act, passed in sequence:
                session = session._replace(now=session.now + timedelta(days=passed))
                do(session, act)
            yield session
        finally:
            connection.close()


def do(session: Session, act: tuple[Any, ...]) -> None:
    name, *rest = act
    if name == "undo":
        undo(session, *rest)
        return
    if name == "carriage":
        sensors, fluid, where, carriage = rest
        shares = share_carriage([sensors * 4_720, fluid * 6], carriage)
        worths = [sensors * 4_720 + shares[0], fluid * 6 + shares[1]]
        goods = zip(PARTS, (sensors, fluid), worths, strict=True)
        lines = tuple(Line(p, q, SUPPLIER, where, value) for p, q, value in goods)
        post(session.ledger, Draft(session.now, "received", lines))
        return
    p, q, where, *value = rest
    if name == "count":
        post(session.ledger, Draft(session.now, "counted", counted=(Counted(p, where, q),)))
        return
    ways = {
        "receive": (SUPPLIER, where), "fit": (where, CUSTOMER), "take off": (CUSTOMER, where),
        "load": (where, STOCK[1 - STOCK.index(where)]), "send back": (where, SUPPLIER),
        "write off": (where, "write-off"),
    }  # fmt: skip
    post(session.ledger, Draft(session.now, name, (Line(p, q, *ways[name], *value),)))


def undo(session: Session, back: int = 0) -> None:
    """Undo the newest act that stands, or the entry so many back, which may be an undoing."""
    with suppress(VanstockError):  # nothing left to undo, undone already, or the import
        seqs = session.ledger.execute("SELECT id FROM entry ORDER BY seq DESC").fetchall()
        which = seqs[min(back, len(seqs)) - 1][0] if back else last_undoable(session.ledger)
        reverse(session.ledger, which, Draft(session.now, "undo"))


def moment(day: datetime) -> str:
    return day.replace(hour=23, minute=59, second=59, microsecond=0, tzinfo=None).isoformat()


def held_now(session: Session) -> Held:
    rows = reading.balances(session.ledger)
    return {(row.part, row.place): (row.qty, row.value) for row in rows if row.qty or row.value}


def changes(session: Session, first: str, until: str) -> dict[tuple[str, str, str], tuple[int, int]]:
    """Base units and pence by part, place and way."""
    counted = worth.differences(session.ledger, first, until)
    return added(worth.flows(session.ledger, first, until, counted), lambda one: (one.part, one.place, one.way))


def added(flows: Iterable[worth.Flow], key: Callable[[worth.Flow], Any]) -> dict[Any, tuple[int, int]]:
    found: dict[Any, tuple[int, int]] = {}
    for one in flows:
        old = found.get(key(one), (0, 0))
        found[key(one)] = (old[0] + one.qty, old[1] + one.value)
    return {key: pair for key, pair in found.items() if pair != (0, 0)}


def plus(*terms: dict[Any, tuple[int, int]]) -> dict[Any, tuple[int, int]]:
    found: dict[Any, tuple[int, int]] = {}
    for term in terms:
        for key, pair in term.items():
            old = found.get(key, (0, 0))
            found[key] = (old[0] + pair[0], old[1] + pair[1])
    return {key: pair for key, pair in found.items() if pair != (0, 0)}


def by_place(found: dict[tuple[str, str, str], tuple[int, int]]) -> Held:
    return plus(*({(p, where): pair} for (p, where, _), pair in found.items()))


@slow
@given(sequences, st.integers(-5, 60), st.integers(0, 60))
def test_opening_and_every_change_make_the_closing_to_the_penny_however_the_time_is_split(
    sequence: list[tuple[tuple[Any, ...], int]], before: int, length: int
) -> None:
    with ledger_of(sequence) as session:
        first = START + timedelta(days=before)
        last = first + timedelta(days=length)
        opening, end = worth.held(session.ledger, moment(first - timedelta(days=1)), moment(last))
        inside = changes(session, f"{first:%Y-%m-%d}", moment(last))
        assert plus(opening, by_place(inside)) == end
        middle = first + timedelta(days=length // 2)
        halves = (f"{first:%Y-%m-%d}", moment(middle)), (f"{middle + timedelta(days=1):%Y-%m-%d}", moment(last))
        assert plus(*(changes(session, *half) for half in halves)) == inside
        assert sum(v for p, _, way in inside if way == MOVED for _, v in [inside[p, _, way]]) == 0
        assert {way for _, _, way in inside} <= set(WAYS)


@slow
@given(sequences)
def test_the_value_now_is_what_the_balances_say_and_the_sum_of_every_movement(
    sequence: list[tuple[tuple[Any, ...], int]],
) -> None:
    with ledger_of(sequence) as session:
        assert worth.held(session.ledger, "9999")[0] == held_now(session)
        assert by_place(changes(session, *ALL)) == held_now(session)
        assert [found.wrong for found in checking.check(session.ledger) if found.wrong] == []


@settings(slow, max_examples=25)
@given(sequences, st.integers(-2, 80))
def test_the_value_at_a_date_is_that_of_the_ledger_replayed_until_then(
    sequence: list[tuple[tuple[Any, ...], int]], passed: int
) -> None:
    with ledger_of(sequence) as session:
        day = START + timedelta(days=passed)
        until = day.replace(hour=23, minute=59, second=59)
        then = session.path.with_name("then.db")
        restoring.as_it_was(session.path, until, then)
        with closing(open_ledger(then)) as replayed:
            expected = held_now(session._replace(ledger=replayed))
        assert worth.held(session.ledger, moment(day))[0] == expected


@slow
@given(sequences, acts.filter(lambda act: act[0] != "undo"), st.integers(0, 9))
def test_an_act_that_is_undone_was_neither_bought_nor_sent_back_nor_counted_nor_written_off(
    sequence: list[tuple[tuple[Any, ...], int]], act: tuple[Any, ...], passed: int
) -> None:
    with ledger_of(sequence) as session:
        before = without_used(changes(session, *ALL))
        purchases, layers = worth.purchases(session.ledger, *ALL), worth.layers(session.ledger, "9999")
        counted = worth.differences(session.ledger, *ALL)
        do(session, act)
        undo(session._replace(now=session.now + timedelta(days=passed)))
        assert without_used(changes(session, *ALL)) == before
        assert worth.purchases(session.ledger, *ALL) == purchases
        assert worth.layers(session.ledger, "9999") == layers
        if not passed:  # a month may end between the act and its undoing
            assert worth.differences(session.ledger, *ALL) == counted


def without_used(found: dict[tuple[str, str, str], tuple[int, int]]) -> dict[tuple[str, str], tuple[int, int]]:
    """By part and way, leaving out moves and what settles a stock below zero, of which an undoing may leave pence."""
    kept = ({(p, way): pair} for (p, _, way), pair in found.items() if way not in (USED, MOVED))
    return plus(*kept)


@slow
@given(sequences)
def test_purchases_by_supplier_add_up_to_what_was_bought_and_sent_back(
    sequence: list[tuple[tuple[Any, ...], int]],
) -> None:
    with ledger_of(sequence) as session:
        found = changes(session, *ALL)
        bought, sent_back = (
            sum(value for (_, _, way), (_, value) in found.items() if way == wanted) for wanted in (BOUGHT, SENT_BACK)
        )
        rows = worth.purchases(session.ledger, *ALL)
        assert (sum(row.bought for row in rows), sum(row.sent_back for row in rows)) == (bought, sent_back)


def test_the_first_count_brings_in_and_every_later_one_is_a_difference(session: Session) -> None:
    post(session.ledger, Draft(session.now, "imported", counted=(Counted("SNS-1", "van", 3, 14_160),)))
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 2),)))
    post(session.ledger, Draft(session.now, "received", (Line("FLU-1", 1_000, SUPPLIER, "van", 560),)))
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("FLU-1", "van", 1_500),)))
    rows = [(row.part, row.way, row.qty, row.value) for row in worth.differences(session.ledger, *ALL)]
    assert rows == [
        ("SNS-1", BROUGHT, 3, 14_160), ("SNS-1", DIFFERENCE, -1, -4_720), ("FLU-1", DIFFERENCE, 500, 280),
    ]  # fmt: skip


def test_a_first_count_that_was_wrong_and_undone_leaves_the_next_one_the_first(session: Session) -> None:
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 83),), id="wrong"))
    reverse(session.ledger, "wrong", Draft(session.now, "undo"))
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 38),)))
    rows = [(row.way, row.qty) for row in worth.differences(session.ledger, *ALL)]
    assert rows == [(BROUGHT, 38)]


def test_a_year_that_is_over_stays_as_it_was_when_an_act_of_it_is_undone_in_the_next(session: Session) -> None:
    old, new = datetime(2026, 12, 30, 9), datetime(2027, 1, 4, 9)
    post(session.ledger, Draft(old, "received", (Line("SNS-1", 2, SUPPLIER, "van", 9_440),), id="last-year"))
    before = changes(session, "2026-01-01", "2026-12-31T23:59:59")
    reverse(session.ledger, "last-year", Draft(new, "undo"))
    assert changes(session, "2026-01-01", "2026-12-31T23:59:59") == before == {("SNS-1", "van", BOUGHT): (2, 9_440)}
    assert changes(session, "2027-01-01", "2027-12-31T23:59:59") == {("SNS-1", "van", BOUGHT): (-2, -9_440)}


def test_past_use_from_before_the_ledger_has_no_value_and_no_way(session: Session) -> None:
    post(session.ledger, Draft(session.now, "imported", (Line("SNS-1", 5, "history", CUSTOMER),)))
    assert changes(session, *ALL) == {}
    assert worth.held(session.ledger, "9999") == [{}]
    assert worth.begun(session.ledger) == ""


def test_written_off_goods_are_their_own_way(session: Session) -> None:
    post(session.ledger, Draft(session.now, "received", (Line("SNS-1", 2, SUPPLIER, "van", 9_441),)))
    post(session.ledger, Draft(session.now, "write-off", (Line("SNS-1", 1, "van", "write-off"),), note="dropped"))
    assert changes(session, *ALL)["SNS-1", "van", WRITTEN_OFF] == (-1, -4_721)
    rows = worth.differences(session.ledger, *ALL)
    assert [(row.day, row.kind, row.note) for row in rows] == [("2027-03-01", "write-off", "dropped")]


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 9), st.integers(0, 40)), max_size=20))
def test_first_in_first_out_is_what_a_queue_of_units_leaves(acts: list[tuple[bool, int, int]]) -> None:
    """The slow version: every unit in a queue at its own cost, goods out from its head."""
    queue: list[int] = []
    came: list[tuple[int, int]] = []
    for comes, number, cost in acts:
        if comes:
            queue += [cost] * number
            came.append((number, cost * number))
        else:
            del queue[:number]
    assert first_in_first_out(came, len(queue)) == (sum(queue), 0)


@pytest.mark.parametrize(("on_hand", "worth_pence"), [(0, (0, 0)), (-3, (0, 0)), (5, (700, 2))])
def test_first_in_first_out_says_what_nothing_that_came_in_accounts_for(on_hand: int, worth_pence: object) -> None:
    assert first_in_first_out([(1, 100), (2, 600)], on_hand) == worth_pence


def test_undoing_an_unknown_entry_is_refused_so_the_laws_cannot_pass_by_accident(session: Session) -> None:
    with pytest.raises(NotFound):
        last_undoable(session.ledger)

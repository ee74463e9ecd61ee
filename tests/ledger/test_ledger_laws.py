"""Laws of the ledger, under any order of acts: nothing is made, nothing lost, balances are sums."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conftest import NOON, new_ledger
from vanstock.errors import NotFound
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, last_undoable, post, reverse
from vanstock.ledger.valuing import Line
from vanstock.model import Job
from vanstock.routines.session import Session

PARTS = ("SNS-1", "FLU-1")
STOCK = ("van", "store")
qty = st.integers(1, 40)
part = st.sampled_from(PARTS)
place = st.sampled_from(STOCK)
acts = st.one_of(
    st.tuples(st.just("receive"), part, qty, place, st.integers(0, 5_000)),
    st.tuples(st.just("fit"), part, qty, place),
    st.tuples(st.just("load"), part, qty, place),
    st.tuples(st.just("count"), part, st.integers(0, 40), place),
    st.tuples(st.just("missed"), part, qty),
    st.tuples(st.just("undo")),
)


@contextmanager
def filled() -> Iterator[Session]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "law.db"
        connection = new_ledger(path)
        connection.execute("PRAGMA synchronous = OFF")
        session = Session(connection, NOON, path)
        try:
            job = Job("J1", session.today, "", "AAA", "clean")
            post(session.ledger, Draft(session.now, "imported", bookings=(job,)))
            yield session
        finally:
            connection.close()


def do(session: Session, act: tuple[object, ...]) -> None:
    name, *rest = act
    lines: tuple[Line, ...] = ()
    counted: tuple[Counted, ...] = ()
    missed: tuple[Missed, ...] = ()
    match (name, *rest):
        case ("receive", str(p), int(q), str(where), int(value)):
            lines = (Line(p, q, SUPPLIER, where, value),)
        case ("fit", str(p), int(q), str(where)):
            lines = (Line(p, q, where, CUSTOMER),)
        case ("load", str(p), int(q), str(where)):
            lines = (Line(p, q, where, STOCK[1 - STOCK.index(where)]),)
        case ("count", str(p), int(q), str(where)):
            counted = (Counted(p, where, q),)
        case ("missed", str(p), int(q)):
            missed = (Missed("J1", p, q),)
        case _:
            with suppress(NotFound):  # nothing left to undo
                reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
            return
    post(session.ledger, Draft(at=session.now, kind=str(name), lines=lines, counted=counted, missed=missed))


def sums(ledger: sqlite3.Connection) -> dict[tuple[str, str], tuple[int, int]]:
    found: dict[tuple[str, str], list[int]] = {}
    for p, q, source, target, value in ledger.execute("SELECT part, qty, from_place, to_place, value FROM movement"):
        for where, sign in ((source, -1), (target, 1)):
            cell = found.setdefault((p, where), [0, 0])
            cell[0] += sign * q
            cell[1] += sign * value
    return {key: (cell[0], cell[1]) for key, cell in found.items()}


@settings(max_examples=120, deadline=None)
@given(st.lists(acts, max_size=25))
def test_any_sequence_of_acts_conserves_quantity_and_value_and_keeps_balances_true(
    sequence: list[tuple[object, ...]],
) -> None:
    with filled() as session:
        for act in sequence:
            do(session, act)
            check(session.ledger)


def check(ledger: sqlite3.Connection) -> None:
    totals = ledger.execute("SELECT sum(qty), sum(value) FROM balance GROUP BY part").fetchall()
    assert all(total == (0, 0) for total in totals)
    kept = {(p, w): (q, v) for p, w, q, v in ledger.execute("SELECT part, place, qty, value FROM balance")}
    summed = sums(ledger)
    assert {k: v for k, v in kept.items() if v != (0, 0)} == {k: v for k, v in summed.items() if v != (0, 0)}
    for p in PARTS:
        pool = [kept.get((p, where), (0, 0)) for where in STOCK]
        held, worth = sum(q for q, _ in pool), sum(v for _, v in pool)
        assert held * worth >= 0
        assert worth == 0 or held != 0
        if held:
            assert all(abs(v * held - worth * q) <= 2 * abs(held) for q, v in pool), pool


@settings(max_examples=60, deadline=None)
@given(st.lists(acts, max_size=12))
def test_undoing_everything_brings_every_quantity_back_to_nothing(
    sequence: list[tuple[object, ...]],
) -> None:
    with filled() as session:
        for act in sequence:
            do(session, act)
        for _again in range(len(sequence)):
            do(session, ("undo",))
        assert all(q == 0 for (q,) in session.ledger.execute("SELECT qty FROM balance"))
        assert all(
            v == 0 for (v,) in session.ledger.execute("SELECT value FROM balance WHERE place IN ('van', 'store')")
        )

"""Order rows in the ledger file: sealed, guarded, replayed, and checked."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from tests.ledger.test_checking import without_guards
from tests.routines.orders import amounts, sent, shown, standing, wrong
from tests.routines.weeks import change_part, later
from vanstock.ledger import orders
from vanstock.ledger.entries import Draft, post
from vanstock.ledger.file import open_ledger
from vanstock.ledger.orderrows import COLUMNS, OF_ORDERS, OrderLine, OrderStep
from vanstock.ledger.restoring import as_it_was
from vanstock.routines import ordering
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.session import Session

SEALED = "no entry or line was changed since it was written"


@pytest.fixture
def ordered(session: Session) -> Session:
    """An order of which part came, with a row in every table that an order can have."""
    change_part(session, "VAP-2", surcharge=4_500)
    receive(session, sent(session), Came({"GKT-1": "1"}, use_by={"GKT-1": "2028-06-30"}))
    return session


@pytest.mark.parametrize("table", OF_ORDERS)
@pytest.mark.parametrize("change", ["UPDATE {} SET seq = seq", "DELETE FROM {}"])
def test_what_happened_to_an_order_is_never_changed_or_deleted(ordered: Session, table: str, change: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        ordered.ledger.execute(change.format(table))


@pytest.mark.parametrize("table", OF_ORDERS)
def test_what_happened_to_an_order_is_never_replaced_or_added_to_later(ordered: Session, table: str) -> None:
    with closing(sqlite3.connect(ordered.path)) as raw, pytest.raises(sqlite3.IntegrityError, match="append-only"):
        raw.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1")
    post(ordered.ledger, Draft(ordered.now, "noted"))
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        ordered.ledger.execute(
            f"INSERT INTO {table} (entry, {COLUMNS[table]}) SELECT entry, {COLUMNS[table]} FROM {table} LIMIT 1"
        )


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("order_step", "state = 'sent'"), ("order_step", "supplier = 'x'"), ("order_step", "expected = '2027-04-01'"),
        ("order_line", "price = price + 1"), ("order_line", "ordered = ordered + 1"), ("lot", "use_by = '2099-01-01'"),
        ("owing", "amount = 1"), ("owing", "due = ''"), ("owing", "claim = 'R0009'"),
        ("owing", "place = 'store'"), ("owing", "day = ''"), ("owing", "why = 'x'"),
    ],
)  # fmt: skip
def test_any_change_of_what_happened_to_an_order_breaks_its_seal(ordered: Session, table: str, change: str) -> None:
    assert wrong(ordered) == []
    without_guards(ordered, f"UPDATE {table} SET {change} WHERE seq = 1")
    assert SEALED in wrong(ordered)


def test_the_ledger_as_it_was_has_orders_as_they_were(session: Session, tmp_path: Path) -> None:
    number = sent(session)
    before = standing(session)
    receive(later(session, days=1), number, Came({"GKT-1": "1"}))
    after = standing(session)
    for days, stands in ((0, before), (2, after)):
        as_it_was(session.path, session.now + timedelta(days=days, hours=1), tmp_path / f"{days}.db")
        with closing(open_ledger(tmp_path / f"{days}.db")) as then:
            old = Session(then, session.now, tmp_path / f"{days}.db")
            assert standing(old) == stands
            assert wrong(old) == []


def test_a_closed_order_with_more_to_come_is_found(ordered: Session) -> None:
    post(ordered.ledger, Draft(ordered.now, "broken", orders=(OrderStep("O0001", "NEXT", "cancelled"),)))
    assert wrong(ordered) == ["of no closed order anything is still to come"]


def test_a_line_with_more_cancelled_than_was_ordered_is_found(ordered: Session) -> None:
    post(ordered.ledger, Draft(ordered.now, "broken", orders=(OrderLine("O0001", "GKT-1", 0, 9, 38_500),)))
    assert wrong(ordered) == ["of every order line no more has come or was cancelled than was ordered"]


def test_the_newest_step_and_price_stand_and_numbers_go_on(ordered: Session) -> None:
    assert (shown(ordered, "O0001"), amounts(ordered, "O0001")["GKT-1"]) == ("part received", (4, 1, 0, 3))
    assert orders.next_number(ordered.ledger) == "O0002"
    ordering.cancelled(ordered, "O0001")
    assert orders.orders(ordered.ledger, only_open=True) == []
    assert orders.order_named(ordered.ledger, "o0001") is not None
    assert orders.order_named(ordered.ledger, "O0002") is None


def test_a_number_is_not_given_again_when_an_earlier_one_is_not_there(session: Session) -> None:
    post(session.ledger, Draft(session.now, "order drafted", orders=(OrderStep("O0002", "NEXT", "drafted"),)))
    assert orders.next_number(session.ledger) == "O0003"

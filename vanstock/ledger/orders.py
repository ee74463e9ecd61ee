"""Reading orders: what was ordered, has come, was cancelled and is still to come; and lots.

Only SELECTs. For every line, at all times: ordered = received + to come + cancelled. What must go back is in `claims`.
Called by routines.
"""

from __future__ import annotations

import sqlite3
from datetime import date
from typing import NamedTuple

from vanstock.ledger.orderrows import COLUMNS, LotRow, stands

_OPEN = ("drafted", "sent")


class LineState(NamedTuple):
    """A line of an order in base units: ordered, received, cancelled; its newest price in ten-thousandths per unit, and
    the day on which what is still to come is expected ("": not known)."""

    part: str
    ordered: int
    received: int
    cancelled: int
    price: int
    expected: str

    @property
    def to_come(self) -> int:
        """What is still to come."""
        return self.ordered - self.received - self.cancelled


class OrderState(NamedTuple):
    """An order as it stands: drafted, sent, received or cancelled, since when, its lines, when it is expected."""

    order_no: str
    supplier: str
    state: str
    since: str
    expected: str
    drafted: str
    lines: tuple[LineState, ...]

    @property
    def shown(self) -> str:
        """The state as it is told: part received once some of what was sent has come."""
        came = any(line.received for line in self.lines)
        return "part received" if self.state == "sent" and came else self.state

    @property
    def is_open(self) -> bool:
        """Whether something may still come."""
        return self.state in _OPEN


def orders(connection: sqlite3.Connection, *, only_open: bool = False) -> list[OrderState]:
    """Every order, or those that something may still come of, oldest first."""
    rows = connection.execute(
        """SELECT s.order_no, s.supplier, s.state, e.at, s.expected,
             (SELECT f.at FROM order_step d JOIN entry f ON f.seq = d.entry WHERE d.order_no = s.order_no
              ORDER BY d.seq LIMIT 1)
           FROM order_step s JOIN entry e ON e.seq = s.entry
           WHERE s.seq IN (SELECT max(seq) FROM order_step GROUP BY order_no)
           ORDER BY length(s.order_no), s.order_no"""
    ).fetchall()
    wanted = [row for row in rows if not only_open or row[2] in _OPEN]
    return [OrderState._make((*row, tuple(lines_of_order(connection, row[0])))) for row in wanted]


def order_named(connection: sqlite3.Connection, order_no: str) -> OrderState | None:
    """The order with this number, any case; None when there is none."""
    return next((one for one in orders(connection) if one.order_no.lower() == order_no.lower()), None)


def lines_of_order(connection: sqlite3.Connection, order_no: str) -> list[LineState]:
    """The lines of an order in the order they were drafted, those taken back altogether left out."""
    rows = connection.execute(
        """SELECT l.part, sum(l.ordered), coalesce((SELECT sum(iif(p.kind = 'supplier', m.qty, -m.qty)) FROM movement m
               JOIN place p ON p.place = m.from_place
               WHERE m.order_no = l.order_no AND m.part = l.part AND 'supplier' IN (m.from_place, m.to_place)), 0),
             sum(l.cancelled),
             (SELECT n.price FROM order_line n WHERE n.order_no = l.order_no AND n.part = l.part ORDER BY n.seq DESC),
             (SELECT n.expected FROM order_line n WHERE n.order_no = l.order_no AND n.part = l.part
              AND n.expected <> '' ORDER BY n.seq DESC)
           FROM order_line l WHERE l.order_no = ? GROUP BY l.part ORDER BY min(l.seq)""",
        (order_no,),
    )
    found = [LineState._make((*row[:5], row[5] or "")) for row in rows]
    return [line for line in found if line.ordered or line.received or line.cancelled]


def next_number(connection: sqlite3.Connection) -> str:
    """The number of the next order: O0001 and so on."""
    row = connection.execute("SELECT max(CAST(substr(order_no, 2) AS INTEGER)) FROM order_step").fetchone()
    return f"O{(row[0] or 0) + 1:04}"


def on_order(connection: sqlite3.Connection) -> dict[str, int]:
    """Base units of each part that are still to come on drafted and sent orders."""
    found: dict[str, int] = {}
    for order in orders(connection, only_open=True):
        for line in order.lines:
            if line.to_come > 0:
                found[line.part] = found.get(line.part, 0) + line.to_come
    return found


def lots(connection: sqlite3.Connection, part: str = "") -> list[LotRow]:
    """What came in with a day to be used by, of one part or all, in order of receipt."""
    which, values = (" WHERE part = ?", (part,)) if part else ("", ())
    rows = connection.execute(f"SELECT {COLUMNS['lot']} FROM lot{which} ORDER BY seq", values)
    return [LotRow(*row) for row in rows]


class Receipt(NamedTuple):
    """So many base units of a part that came on an order one day, in which entry, at the price per unit charged."""

    part: str
    order_no: str
    supplier: str
    day: date
    qty: int
    price: int
    entry: int


def receipts(connection: sqlite3.Connection, part: str = "") -> list[Receipt]:
    """What came on orders, of one part or all, oldest first; what was undone left out."""
    which, values = (" AND m.part = ?", (part,)) if part else ("", ())
    rows = connection.execute(
        f"""SELECT e.seq, m.part, m.order_no, e.at, sum(m.qty),
             (SELECT s.supplier FROM order_step s WHERE s.order_no = m.order_no ORDER BY s.seq DESC),
             (SELECT l.price FROM order_line l WHERE l.order_no = m.order_no AND l.part = m.part AND l.entry <= e.seq
              ORDER BY l.seq DESC)
           FROM movement m JOIN entry e ON e.seq = m.entry
           WHERE m.order_no IS NOT NULL AND m.from_place = 'supplier' AND m.qty > 0 AND e.reverses IS NULL{which}
           GROUP BY e.seq, m.part, m.order_no ORDER BY e.seq, m.part""",
        values,
    ).fetchall()
    return [
        Receipt(name, order_no, supplier, date.fromisoformat(at[:10]), qty, price or 0, seq)
        for seq, name, order_no, at, qty, supplier, price in rows
        if stands(connection, seq)
    ]

"""Reading orders: what was ordered, has come, was cancelled and is still to come; lots, and what must go back.

Only SELECTs. For every line, at all times: ordered = received + to come + cancelled. Called by routines.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from vanstock.ledger.orderrows import COLUMNS, LotRow, Owing

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


def claims_made(connection: sqlite3.Connection) -> int:
    """The highest number that a claim ever had."""
    row = connection.execute("SELECT max(CAST(substr(claim, 2) AS INTEGER)) FROM owing").fetchone()
    return int(row[0] or 0)


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


class Claim(NamedTuple):
    """Something that must go back, as it stands: how much is owed for it in pence, and at which step it is."""

    claim: str
    kind: str
    supplier: str
    part: str
    qty: int
    amount: int
    credited: int
    order_no: str
    job: str
    due: str
    step: str
    since: str

    @property
    def open_amount(self) -> int:
        """Pence still to be paid back."""
        return self.amount - self.credited


def claims(connection: sqlite3.Connection) -> list[Claim]:
    """Everything that must or did go back, oldest first."""
    at = "(SELECT at FROM entry WHERE seq = owing.entry)"
    rows = connection.execute(f"SELECT {at}, {COLUMNS['owing']} FROM owing ORDER BY seq")
    found: dict[str, list[tuple[str, Owing]]] = {}
    for at, *row in rows:
        found.setdefault(row[0], []).append((at, Owing(*row)))
    return [claim for rows in found.values() if (claim := _claim(rows)) is not None]


def _claim(rows: list[tuple[str, Owing]]) -> Claim | None:
    """A claim from its steps; None when it was taken back altogether."""
    counts: dict[str, int] = {}
    for _, row in rows:
        counts[row.step] = counts.get(row.step, 0) + (1 if row.qty > 0 else -1)
    stands = [(at, row) for at, row in rows if row.qty > 0 and counts[row.step] > 0]
    if not stands:
        return None
    first, (since, last) = stands[0][1], stands[-1]
    owed = sum(row.amount for _, row in rows if row.step == "owed")
    paid = sum(row.amount for _, row in rows if row.step == "credited")
    job = next((row.job for _, row in reversed(stands) if row.job), "")
    return Claim(first.claim, first.kind, first.supplier, first.part, first.qty, owed, paid, first.order_no, job,
                 last.due or first.due, last.step, since)  # fmt: skip

"""Reading what must go back: old units, failed parts and goods, each at the step where it stands.

Only SELECTs. For every claim, at all times: open amount = owed - credited - given up. What a step does is decided in
routines. Called by routines, `checking` and `entries`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

from vanstock.errors import VanstockError
from vanstock.ledger.orderrows import COLUMNS, Owing, told_to_undo


class Claim(NamedTuple):
    """Something that must go back, as it stands: what was owed for it in pence, paid back and given up; the job it came
    off; the last day to send it; where it lies when it is stock; why it goes back; its last step and since when; and
    all its steps."""

    claim: str
    kind: str
    supplier: str
    part: str
    qty: int
    amount: int
    credited: int
    given_up: int
    order_no: str
    job: str
    due: str
    place: str
    why: str
    step: str
    since: str
    steps: frozenset[str]

    @property
    def open_amount(self) -> int:
        """Pence still to be paid back."""
        return self.amount - self.credited - self.given_up

    @property
    def closed(self) -> bool:
        """Whether nothing is to be done about it any more."""
        return not self.open_amount and bool(self.steps & {"credited", "given up"})

    @property
    def sent(self) -> bool:
        """Whether it is on its way to the supplier, or there."""
        return "sent back" in self.steps

    @property
    def rests_on_goods(self) -> bool:
        """Whether it says that goods came on its order: stock that goes or went back, or a failed part not given up."""
        asked = not self.closed or self.sent or bool(self.credited)
        return bool(self.order_no) and asked and (bool(self.place) or self.kind == "warranty")

    @property
    def shown(self) -> str:
        """The step as it is told."""
        if not self.closed:
            return "part credited" if self.credited else self.step
        return "credited, the rest given up" if self.credited and self.given_up else self.step


def claims(connection: sqlite3.Connection, part: str = "") -> list[Claim]:
    """Everything that must or did go back, of one part or all, oldest first."""
    which, values = (" WHERE part = ?", (part,)) if part else ("", ())
    rows = connection.execute(f"SELECT {COLUMNS['owing']} FROM owing{which} ORDER BY seq", values)
    found: dict[str, list[Owing]] = {}
    for row in rows:
        found.setdefault(row[0], []).append(Owing(*row))
    return [claim for rows in found.values() if (claim := _claim(standing(rows))) is not None]


def claims_made(connection: sqlite3.Connection) -> int:
    """The highest number that a claim ever had."""
    row = connection.execute("SELECT max(CAST(substr(claim, 2) AS INTEGER)) FROM owing").fetchone()
    return int(row[0] or 0)


def standing(rows: Iterable[Owing]) -> list[Owing]:
    """The steps of a claim that were not taken back; what takes back a step that is not there is left over as it is."""
    found: list[Owing] = []
    for row in rows:
        before = row._replace(qty=-row.qty, amount=-row.amount)
        if row.qty < 0 and before in found:
            del found[len(found) - 1 - found[::-1].index(before)]
        else:
            found.append(row)
    return found


def _claim(rows: list[Owing]) -> Claim | None:
    """A claim from the steps that stand; None when it was taken back altogether."""
    if not rows:
        return None
    first, last = rows[0], rows[-1]
    owed, credited, lost = (_sum(rows, step) for step in ("owed", "credited", "given up"))
    job = next((row.job for row in reversed(rows) if row.job), "")
    return Claim(
        first.claim, first.kind, first.supplier, first.part, first.qty, owed, credited, lost, first.order_no, job,
        first.due, first.place, first.why, last.step, last.day, frozenset(row.step for row in rows),
    )  # fmt: skip


def _sum(rows: Iterable[Owing], step: str) -> int:
    return sum(row.amount for row in rows if row.step == step)


_TAKEN_BACK = """SELECT order_no, part, sum(iif(from_place = 'supplier', qty, -qty)) FROM movement
  WHERE entry = ? AND order_no IS NOT NULL AND 'supplier' IN (from_place, to_place) GROUP BY order_no, part"""
_CAME = """SELECT coalesce(sum(iif(from_place = 'supplier', qty, -qty)), 0) FROM movement
  WHERE order_no = ? AND part = ? AND 'supplier' IN (from_place, to_place)"""


def refuse_resting(connection: sqlite3.Connection, seq: int) -> None:
    """Raise `VanstockError` when taking an entry back would leave claims on goods that never came on their order."""
    for order_no, part, qty in connection.execute(_TAKEN_BACK, (seq,)).fetchall():
        rest = [one for one in claims(connection, part) if one.order_no == order_no and one.rests_on_goods]
        came = connection.execute(_CAME, (order_no, part)).fetchone()[0]
        if qty > 0 and rest and came - qty < sum(one.qty for one in rest):
            steps = connection.execute("SELECT entry FROM owing WHERE claim = ?", (rest[-1].claim,))
            told = told_to_undo(connection, [row[0] for row in steps])
            raise VanstockError(f"{rest[-1].claim} rests on what came on {order_no}: {told}")

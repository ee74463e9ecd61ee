"""What happens to orders, lots, money owed and events of a calendar, as an entry writes it: rows that only ever add up.

Every table here is append-only and sealed like the others. What stands is a sum or the newest row, so that undoing an
entry is writing it again with the opposite sign. Called by `entries`, `orders` and whoever must know every table.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

from vanstock.errors import VanstockError


class OrderStep(NamedTuple):
    """An order is now drafted, sent, received (closed) or cancelled; `expected` is the day its goods should come."""

    order_no: str
    supplier: str
    state: str
    expected: str = ""


class OrderLine(NamedTuple):
    """So many base units more are ordered on a line, or cancelled; the price per unit in ten-thousandths, and the day
    on which what is still to come is expected."""

    order_no: str
    part: str
    ordered: int
    cancelled: int
    price: int
    expected: str = ""


class LotRow(NamedTuple):
    """So many base units of a part came in that must be used by a day."""

    part: str
    qty: int
    use_by: str


class Owing(NamedTuple):
    """A step of something that must go back: `claim` names it, `kind` is old unit, warranty or return. At the steps
    owed, credited and given up `amount` pence are owed to the firm, were paid back or are lost; `due` is the last day
    to send it. `place` is where the goods lie in stock until they are sent ("": they are no stock), `day` when the
    step was done, `why` says in a few words why it goes back."""

    claim: str
    kind: str
    supplier: str
    part: str
    qty: int
    amount: int
    order_no: str
    job: str
    due: str
    step: str
    day: str
    place: str = ""
    why: str = ""


class CalendarEvent(NamedTuple):
    """What an event of a calendar said when it was last read, and the job it is ("": none any more). `uid` and
    `recurrence` name the event; `calendar` is the calendar's own name; the rest is what was read, "" for what it does
    not say; `status` is booked or cancelled. The newest row of an event is what stands."""

    uid: str
    recurrence: str
    job: str
    calendar: str
    sequence: int
    date: str
    time: str
    family: str
    job_type: str
    codes: str
    van: str
    status: str


Row = OrderStep | OrderLine | LotRow | Owing | CalendarEvent
TABLES: dict[type[Row], str] = {
    OrderStep: "order_step", OrderLine: "order_line", LotRow: "lot", Owing: "owing", CalendarEvent: "calendar_event",
}  # fmt: skip
OF_ORDERS = ("order_step", "order_line", "lot", "owing")
_SIGNED = {LotRow: ("qty",), Owing: ("qty", "amount")}
COLUMNS = {table: ", ".join(kind._fields) for kind, table in TABLES.items()}
"""The columns of each table without its number and its entry."""

SCRIPT = """
CREATE TABLE order_step (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq), order_no TEXT NOT NULL,
  supplier TEXT NOT NULL, state TEXT NOT NULL CHECK (state IN ('drafted', 'sent', 'received', 'cancelled')),
  expected TEXT NOT NULL) STRICT;
CREATE INDEX order_step_order ON order_step (order_no, seq);
CREATE INDEX order_step_entry ON order_step (entry);
CREATE TABLE order_line (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq), order_no TEXT NOT NULL,
  part TEXT NOT NULL REFERENCES part (part), ordered INTEGER NOT NULL, cancelled INTEGER NOT NULL,
  price INTEGER NOT NULL CHECK (price >= 0), expected TEXT NOT NULL) STRICT;
CREATE INDEX order_line_order ON order_line (order_no, part);
CREATE INDEX order_line_entry ON order_line (entry);
CREATE INDEX movement_order ON movement (order_no) WHERE order_no IS NOT NULL;
CREATE TABLE lot (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq),
  part TEXT NOT NULL REFERENCES part (part), qty INTEGER NOT NULL, use_by TEXT NOT NULL) STRICT;
CREATE INDEX lot_part ON lot (part, seq);
CREATE INDEX lot_entry ON lot (entry);
CREATE TABLE owing (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq), claim TEXT NOT NULL,
  kind TEXT NOT NULL CHECK (kind IN ('old unit', 'warranty', 'return')), supplier TEXT NOT NULL,
  part TEXT NOT NULL REFERENCES part (part), qty INTEGER NOT NULL, amount INTEGER NOT NULL, order_no TEXT NOT NULL,
  job TEXT NOT NULL, due TEXT NOT NULL,
  step TEXT NOT NULL CHECK (step IN ('owed', 'taken off', 'sent back', 'credited', 'given up')),
  day TEXT NOT NULL, place TEXT NOT NULL, why TEXT NOT NULL) STRICT;
CREATE INDEX owing_claim ON owing (claim, seq);
CREATE INDEX owing_part ON owing (part, seq);
CREATE INDEX owing_entry ON owing (entry);
"""
CALENDAR_SCRIPT = """
CREATE TABLE calendar_event (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq), uid TEXT NOT NULL CHECK (uid <> ''),
  recurrence TEXT NOT NULL, job TEXT NOT NULL, calendar TEXT NOT NULL, sequence INTEGER NOT NULL,
  date TEXT NOT NULL, time TEXT NOT NULL, family TEXT NOT NULL, job_type TEXT NOT NULL, codes TEXT NOT NULL,
  van TEXT NOT NULL, status TEXT NOT NULL CHECK (status IN ('booked', 'cancelled'))) STRICT;
CREATE INDEX calendar_event_uid ON calendar_event (uid, recurrence, seq);
CREATE INDEX calendar_event_entry ON calendar_event (entry);
CREATE TABLE word (
  phrase TEXT PRIMARY KEY, means TEXT NOT NULL CHECK (means IN ('family', 'job type', 'not a job', 'nothing')),
  value TEXT NOT NULL) STRICT;
"""


def insert(connection: sqlite3.Connection, seq: int, rows: Iterable[Row]) -> None:
    """Write rows as lines of the newest entry, inside the caller's transaction."""
    for row in rows:
        table = TABLES[type(row)]
        marks = ", ".join("?" * (len(row) + 1))
        connection.execute(f"INSERT INTO {table} (entry, {COLUMNS[table]}) VALUES ({marks})", (seq, *row))


def rows_of(connection: sqlite3.Connection, seq: int) -> list[Row]:
    """Every such row of an entry."""
    return [
        kind(*row)
        for kind, table in TABLES.items()
        for row in connection.execute(f"SELECT {COLUMNS[table]} FROM {table} WHERE entry = ? ORDER BY seq", (seq,))
    ]


def opposite(connection: sqlite3.Connection, seq: int) -> list[Row]:
    """What takes the rows of an entry back: amounts with the opposite sign, an order and its prices as they stood
    before. Raises `VanstockError` when a later entry that stands is about the same order or claim."""
    found: list[Row] = []
    for row in rows_of(connection, seq):
        if isinstance(row, OrderStep | OrderLine):
            _refuse_changed_again(connection, row.order_no, _LATER_OF_ORDER, seq)
        if isinstance(row, Owing):
            _refuse_changed_again(connection, row.claim, _LATER_OF_CLAIM, seq)
        if isinstance(row, CalendarEvent):
            _refuse_changed_again(connection, row.uid, _LATER_OF_EVENT, seq, row.recurrence)
            found.append(_event_before(connection, row, seq))
        elif isinstance(row, OrderStep):
            found.append(_before(connection, row, seq))
        elif isinstance(row, OrderLine):
            found.append(_line_before(connection, row, seq))
        else:
            found.append(row._replace(**{name: -getattr(row, name) for name in _SIGNED[type(row)]}))
    return found


_LATER_OF_ORDER = """SELECT entry FROM order_step WHERE order_no = ?1 AND entry > ?2
  UNION SELECT entry FROM order_line WHERE order_no = ?1 AND entry > ?2"""
_LATER_OF_CLAIM = "SELECT DISTINCT entry FROM owing WHERE claim = ?1 AND entry > ?2"
_LATER_OF_EVENT = "SELECT entry FROM calendar_event WHERE uid = ?1 AND entry > ?2 AND recurrence = ?3"


def _refuse_changed_again(connection: sqlite3.Connection, name: str, later: str, seq: int, *more: str) -> None:
    """An order, a claim or an event is taken back from its newest act on; what was undone, and its undoing, do not
    count."""
    acts = [row[0] for row in connection.execute(later, (name, seq, *more))]
    if told := told_to_undo(connection, acts):
        raise VanstockError(f"{name} was changed again after that: {told}")


def told_to_undo(connection: sqlite3.Connection, entries: Iterable[int]) -> str:
    """The newest act that stands among entries, as what is to be undone first; "" when none stands."""
    acts = [seq for seq in entries if _is_act(connection, seq) and stands(connection, seq)]
    if not acts:
        return ""
    at, kind = connection.execute("SELECT at, kind FROM entry WHERE seq = ?", (max(acts),)).fetchone()
    undo = _newest_of(connection, max(acts))
    return f"undo `{kind}` of {at[:16].replace('T', ' ')} first (vanstock undo {undo[:8]})"


def _newest_of(connection: sqlite3.Connection, seq: int) -> str:
    """The id that takes an act back: its own, or that of its newest putting back."""
    undoing = connection.execute("SELECT seq FROM entry WHERE reverses = ?", (seq,)).fetchone()
    if undoing:
        return _newest_of(connection, undoing[0])
    return str(connection.execute("SELECT id FROM entry WHERE seq = ?", (seq,)).fetchone()[0])


def _is_act(connection: sqlite3.Connection, seq: int) -> bool:
    row = connection.execute("SELECT reverses FROM entry WHERE seq = ?", (seq,)).fetchone()
    return row[0] is None


def stands(connection: sqlite3.Connection, seq: int) -> bool:
    """Whether an entry was not undone, or its undoing was."""
    undoing = connection.execute("SELECT seq FROM entry WHERE reverses = ?", (seq,)).fetchone()
    return undoing is None or not stands(connection, undoing[0])


def _line_before(connection: sqlite3.Connection, row: OrderLine, seq: int) -> OrderLine:
    """The amounts taken back, at the price and for the day that the line had before."""
    sql = "SELECT price, expected FROM order_line WHERE order_no = ? AND part = ? AND entry < ? ORDER BY seq DESC"
    known = connection.execute(sql, (row.order_no, row.part, seq)).fetchone()
    price, expected = known or (row.price, row.expected)
    return row._replace(ordered=-row.ordered, cancelled=-row.cancelled, price=price, expected=expected)


def _before(connection: sqlite3.Connection, row: OrderStep, seq: int) -> OrderStep:
    """How an order stood before an entry; one that it made is left cancelled."""
    known = connection.execute(
        f"SELECT {COLUMNS['order_step']} FROM order_step WHERE order_no = ? AND entry < ? ORDER BY seq DESC LIMIT 1",
        (row.order_no, seq),
    ).fetchone()
    return OrderStep(*known) if known else row._replace(state="cancelled")


def _event_before(connection: sqlite3.Connection, row: CalendarEvent, seq: int) -> CalendarEvent:
    """What an event said before an entry; one that the entry read first is no job any more."""
    known = connection.execute(
        f"SELECT {COLUMNS['calendar_event']} FROM calendar_event WHERE uid = ? AND recurrence = ? AND entry < ?"
        " ORDER BY seq DESC LIMIT 1",
        (row.uid, row.recurrence, seq),
    ).fetchone()
    return CalendarEvent(*known) if known else row._replace(job="")

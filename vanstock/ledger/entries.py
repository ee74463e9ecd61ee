"""Posting entries: one act of a person, its lines valued and written in one transaction, or not at all.

Not reading (see `reading`) and not master data (see `catalogue`). Called by routines, which say what
happened; this module decides only what it was worth.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

from vanstock.errors import EntryConflict, NotFound, VanstockError
from vanstock.ledger import orderrows
from vanstock.ledger.catalogue import cost_with_vat
from vanstock.ledger.claims import refuse_resting
from vanstock.ledger.file import writing
from vanstock.ledger.jobrows import COLUMNS, STATUS, to_row
from vanstock.ledger.sealing import seal_entry
from vanstock.ledger.valuing import Line, Pool, value_lines
from vanstock.model import Entry, Job

DIFFERENCE = "count difference"
CUSTOMER = "customer"
SUPPLIER = "supplier"
HISTORY = "history"
WRITE_OFF = "write-off"
STOCK_KINDS = ("van", "store")


class Missed(NamedTuple):
    """So much of a part was needed on a job and not aboard; negative when that is taken back."""

    job: str
    part: str
    qty: int


class Counted(NamedTuple):
    """A person counted `qty` of a part at a place; `value` pence when they also said what it is worth; `held` is what
    the ledger had at the moment that was counted for, None for now."""

    part: str
    place: str
    qty: int
    value: int | None = None
    held: int | None = None


class Draft(NamedTuple):
    """An entry to be posted. `id` is made by whoever acts, so that sending it twice cannot count twice.

    `asked` is what the person said, word for word; it tells a second sending from another act under one id,
    also when the stock has changed meanwhile. Without it the draft's own content does.
    """

    at: datetime
    kind: str
    lines: tuple[Line, ...] = ()
    missed: tuple[Missed, ...] = ()
    counted: tuple[Counted, ...] = ()
    bookings: tuple[Job, ...] = ()
    orders: tuple[orderrows.Row, ...] = ()
    note: str = ""
    device: str = "terminal"
    id: str = ""
    asked: tuple[object, ...] = ()


def new_id() -> str:
    """A fresh entry id."""
    return os.urandom(16).hex()


def post(connection: sqlite3.Connection, draft: Draft) -> Entry:
    """Write one entry in its own transaction and return it as read back.

    The same id with the same content again changes nothing and returns the entry already there. Raises
    `EntryConflict` for the same id with other content, `LedgerUnusable` when the file cannot be written.
    """
    with writing(connection):
        return post_inside(connection, draft)


def post_inside(connection: sqlite3.Connection, draft: Draft) -> Entry:
    """Like `post`, inside a transaction that the caller holds open."""
    draft = draft if draft.id else draft._replace(id=new_id())
    digest = content_digest(draft)
    known = _posted_before(connection, draft.id, digest)
    if known:
        return known
    seq = open_entry(connection, draft, digest)
    _insert_bookings(connection, seq, draft.bookings)
    write_stock(connection, seq, draft.lines, draft.counted)
    _insert_rows(connection, "missed (entry, job, part, qty)", [(seq, m.job, m.part, m.qty) for m in draft.missed])
    orderrows.insert(connection, seq, draft.orders)
    seal_entry(connection, seq)
    return entry_by_seq(connection, seq)


def content_digest(draft: Draft) -> str:
    """A hash of what a draft says, its id and its time left out: a second sending comes at another time."""
    said = draft.asked or draft._replace(id="")[1:]
    return hashlib.sha256(json.dumps([draft.kind, said], default=str).encode()).hexdigest()


def sent_before(connection: sqlite3.Connection, draft: Draft) -> Entry | None:
    """The entry that this draft's id, kind and `asked` made before; raises `EntryConflict` for other words."""
    return _posted_before(connection, draft.id, content_digest(draft)) if draft.id else None


def _posted_before(connection: sqlite3.Connection, entry_id: str, digest: str) -> Entry | None:
    known = connection.execute("SELECT seq, digest FROM entry WHERE id = ?", (entry_id,)).fetchone()
    if known is None:
        return None
    if known[1] != digest:
        raise EntryConflict(f"entry {entry_id} is already in the ledger with other content: send it under a new id")
    return entry_by_seq(connection, known[0])


def entry_by_seq(connection: sqlite3.Connection, seq: int) -> Entry:
    """The entry with this number in the ledger's order."""
    row = connection.execute(
        "SELECT e.seq, e.id, e.at, e.kind, e.device, e.note, coalesce(r.id, '') FROM entry e"
        " LEFT JOIN entry r ON r.seq = e.reverses WHERE e.seq = ?",
        (seq,),
    ).fetchone()
    return Entry(*row)


def entry_by_id(connection: sqlite3.Connection, entry_id: str) -> Entry:
    """The entry with this id; raises `NotFound`."""
    row = connection.execute("SELECT seq FROM entry WHERE id = ?", (entry_id,)).fetchone()
    if row is None:
        raise NotFound(f"no entry {entry_id!r}")
    return entry_by_seq(connection, row[0])


def open_entry(connection: sqlite3.Connection, draft: Draft, digest: str, reverses: int | None = None) -> int:
    """Write the head of an entry inside the caller's transaction; its number in the ledger's order."""
    at = draft.at.astimezone().isoformat(timespec="seconds")
    row = (draft.id, at, draft.kind, draft.device, draft.note, reverses, digest)
    cursor = connection.execute(
        "INSERT INTO entry (id, at, kind, device, note, reverses, digest) VALUES (?, ?, ?, ?, ?, ?, ?)", row
    )
    return int(cursor.lastrowid or 0)


def write_stock(connection: sqlite3.Connection, seq: int, lines: Sequence[Line], counted: Sequence[Counted]) -> None:
    """Write an entry's movements, valued, and its counts with the differences they show."""
    every = [*lines, *_differences(connection, counted)]
    rows = [(seq, c.part, c.place, c.qty) for c in counted]
    _insert_rows(connection, "counted (entry, part, place, qty)", rows)  # first: balances keep the counts' order
    _insert_movements(connection, seq, valued(connection, every))


def _insert_rows(connection: sqlite3.Connection, columns: str, rows: Sequence[tuple[object, ...]]) -> None:
    if rows:
        marks = ", ".join("?" * len(rows[0]))
        connection.executemany(f"INSERT INTO {columns} VALUES ({marks})", rows)


def _insert_bookings(connection: sqlite3.Connection, seq: int, bookings: Iterable[Job]) -> None:
    _insert_rows(connection, f"booking (entry, {COLUMNS})", [(seq, *to_row(job)) for job in bookings])


def _insert_movements(connection: sqlite3.Connection, seq: int, lines: Iterable[Line]) -> None:
    rows = [
        (seq, x.part, x.qty, x.from_place, x.to_place, x.value, x.job or None, x.order_no or None)
        for x in lines
        if x.qty or x.value
    ]
    _insert_rows(connection, "movement (entry, part, qty, from_place, to_place, value, job, order_no)", rows)


def _differences(connection: sqlite3.Connection, counted: Iterable[Counted]) -> list[Line]:
    lines = []
    for count in counted:
        more = count.qty - (_held_now(connection, count) if count.held is None else count.held)
        if more > 0:
            lines.append(Line(count.part, more, DIFFERENCE, count.place, count.value))
        elif more < 0:
            lines.append(Line(count.part, -more, count.place, DIFFERENCE))
    return lines


def _held_now(connection: sqlite3.Connection, count: Counted) -> int:
    key = (count.part, count.place)
    row = connection.execute("SELECT qty FROM balance WHERE part = ? AND place = ?", key).fetchone()
    return int(row[0]) if row else 0


def valued(connection: sqlite3.Connection, lines: Sequence[Line]) -> list[Line]:
    """Every line with its value, and what evens the shelves out after them; lines of one part stay in their order.

    History never touches the shelves, so it needs no pool.
    """
    stock_places = stock_place_names(connection)
    inside = set(stock_places)
    by_part: dict[str, list[Line]] = {}
    found = []
    for line in lines:
        if line.from_place in inside or line.to_place in inside:
            by_part.setdefault(line.part, []).append(line)
        else:
            found.append(line._replace(value=line.value or 0))
    for part, part_lines in by_part.items():
        found += value_lines(part_lines, _pool(connection, part, stock_places), stock_places)
    return found


def stock_place_names(connection: sqlite3.Connection) -> list[str]:
    """The names of all vans and stores."""
    rows = connection.execute("SELECT place FROM place WHERE kind IN ('van', 'store') ORDER BY rowid")
    return [row[0] for row in rows]


def _pool(connection: sqlite3.Connection, part: str, places: Sequence[str]) -> Pool:
    known = connection.execute("SELECT unit, cost FROM part WHERE part = ?", (part,)).fetchone()
    if known is None:
        raise NotFound(f"part {part!r} is not in the ledger: add it to parts.csv and import the folder")
    rows = connection.execute("SELECT place, qty, value FROM balance WHERE part = ?", (part,))
    held = {place: (qty, value) for place, qty, value in rows if place in places}
    return Pool(known[0], cost_with_vat(connection, known[1]), held)


def reverse(connection: sqlite3.Connection, entry_id: str, undoing: Draft) -> Entry:
    """Post the entry that takes another back: every line from where it went to where it came from.

    `undoing` gives its time, device, id and what was asked. Raises `NotFound` for an unknown id,
    `VanstockError` for an entry already undone or one that cannot be.
    """
    with writing(connection):
        undone = _entry_to_reverse(connection, entry_id)
        refuse_resting(connection, undone.seq)
        kind = "put back" if undone.kind == "undone" else "undone"
        head = undoing._replace(kind=kind, note=f"{undone.kind}, {kind}", id=undoing.id or new_id())
        seq = open_entry(connection, head, content_digest(undoing), undone.seq)
        _reverse_bookings(connection, seq, undone)
        rows = connection.execute(
            "SELECT part, qty, to_place, from_place, value, coalesce(job, ''), coalesce(order_no, '') FROM movement"
            " WHERE entry = ? ORDER BY seq",
            (undone.seq,),
        ).fetchall()
        _insert_movements(connection, seq, _given_back(connection, [Line(*row) for row in rows], undone.seq))
        missed = connection.execute("SELECT job, part, -qty FROM missed WHERE entry = ?", (undone.seq,)).fetchall()
        _insert_rows(connection, "missed (entry, job, part, qty)", [(seq, *row) for row in missed])
        orderrows.insert(connection, seq, orderrows.opposite(connection, undone.seq))
        seal_entry(connection, seq)
        return entry_by_seq(connection, seq)


def _given_back(connection: sqlite3.Connection, lines: Sequence[Line], undone: int) -> list[Line]:
    """The lines of an undoing: of a part that nothing has moved since as they were, which restores its value to the
    penny; of another valued anew."""
    last = {
        part: connection.execute("SELECT entry FROM movement WHERE part = ? ORDER BY seq DESC", (part,)).fetchone()[0]
        for part in {line.part for line in lines}
    }
    untouched = [line for line in lines if last[line.part] == undone]
    return untouched + valued(connection, [line for line in lines if last[line.part] != undone])


def _entry_to_reverse(connection: sqlite3.Connection, entry_id: str) -> Entry:
    found = connection.execute(
        "SELECT seq FROM entry WHERE substr(id, 1, length(?)) = ? ORDER BY seq", (entry_id, entry_id)
    ).fetchall()
    if len(found) != 1:
        what = "no entry begins with" if not found else "more than one entry begins with"
        raise NotFound(f"{what} {entry_id!r}: `vanstock history PART` shows the ids")
    entry = entry_by_seq(connection, found[0][0])
    if connection.execute("SELECT 1 FROM entry WHERE reverses = ?", (entry.seq,)).fetchone():
        raise VanstockError(f"entry {entry.id[:8]} ({entry.kind}) is already undone")
    if entry.kind == "forgotten":
        raise VanstockError("what was forgotten is gone from the ledger and cannot be brought back by undoing")
    if entry.kind == "imported":
        raise VanstockError(
            "an import cannot be undone in one go: correct a quantity with `vanstock count`, a booking "
            "with `vanstock booking`"
        )
    return entry


def _reverse_bookings(connection: sqlite3.Connection, seq: int, undone: Entry) -> None:
    """Put each job back as it was; a job that the entry made is left cancelled, never removed."""
    made = connection.execute(f"SELECT seq, {COLUMNS} FROM booking WHERE entry = ?", (undone.seq,)).fetchall()
    for number, *state in made:
        now = connection.execute(f"SELECT {COLUMNS} FROM job WHERE job = ?", (state[0],)).fetchone()
        if now != tuple(state):
            raise VanstockError(f"job {state[0]} was changed again after that: undo the later change first")
        before = connection.execute(
            f"SELECT {COLUMNS} FROM booking WHERE job = ? AND seq < ? ORDER BY seq DESC LIMIT 1", (state[0], number)
        ).fetchone()
        cancelled = (*state[:STATUS], "cancelled", *state[STATUS + 1 :])
        _insert_rows(connection, f"booking (entry, {COLUMNS})", [(seq, *(before or cancelled))])


def last_undoable(connection: sqlite3.Connection) -> str:
    """The id of the newest act that stands: not undone, no import, and no undoing (putting back is an act)."""
    rows = connection.execute("SELECT seq, id, kind, reverses FROM entry ORDER BY seq DESC")
    undone: set[int] = set()
    for seq, entry_id, kind, reverses in rows:
        if seq in undone:
            continue
        if reverses is not None:
            undone.add(reverses)
        if kind not in ("undone", "imported", "forgotten"):
            return str(entry_id)
    raise NotFound("there is nothing to undo")

"""What the stock was worth at any moment, and what changed it from one moment to another: sums of movements.

Only SELECTs; nothing is valued here, the pence of every movement were written with it (see `valuing`). A moment is a
local time as entries are written, `2027-03-01T23:59:59`, and is part of what it ends. An act and its undoing are one
*way*: goods taken in and undone were not bought, nor sent back. Called by `routines.value`, `routines.slow` and
`routines.year`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

from vanstock.ledger.firstknown import known_from

BROUGHT, BOUGHT, USED, SENT_BACK, WRITTEN_OFF, DIFFERENCE, MOVED = WAYS = (
    "brought in", "bought", "used", "sent back", "written off", "count difference", "moved",
)  # fmt: skip
"""How stock changes. Brought in is what the first count of a part at a place found, before anything moved there."""

LOST, GAINED, CREDITED = CLAIM_WAYS = ("lost", "gained", "credited on failed parts")
"""What becomes of claims on suppliers: value alone, that touches no stock."""
_CLAIM_ENDS = {("supplier", "write-off"): LOST, ("write-off", "supplier"): GAINED, ("customer", "supplier"): CREDITED}

_DATED = """WITH RECURSIVE undoing (seq, at, sign, root) AS (
  SELECT e.seq, max(substr(e.at, 1, 19), substr(o.at, 1, 19)), -1, o.seq
  FROM entry e JOIN entry o ON o.seq = e.reverses WHERE o.reverses IS NULL
  UNION ALL
  SELECT e.seq, max(substr(e.at, 1, 19), u.at), -u.sign, u.root FROM undoing u JOIN entry e ON e.reverses = u.seq),
dated AS (
  SELECT seq, substr(at, 1, 19) AS at, 1 AS sign, seq AS root FROM entry WHERE reverses IS NULL
  UNION ALL SELECT seq, at, sign, root FROM undoing)
"""
"""Each entry with the local time from which it counts (an undoing never before what it undoes), whether it does (1) or
undoes (-1), and the act that it does, undoes or puts back."""

_STANDS = (
    "NOT EXISTS (SELECT 1 FROM undoing u JOIN entry r ON r.seq = u.seq WHERE r.reverses = d.seq AND u.at <= :until)"
)
"""Whether nothing has undone the entry until then."""

_INSIDE = "(SELECT place FROM place WHERE kind IN ('van', 'store'))"

Held = dict[tuple[str, str], tuple[int, int]]
"""Base units and pence by part and place."""


class Flow(NamedTuple):
    """What one way changed of a part at a van or store in a month like `2027-03`: base units and pence, signed."""

    month: str
    part: str
    place: str
    way: str
    qty: int
    value: int


class Difference(NamedTuple):
    """What a count found otherwise, or a write-off took: `day` is the act's, `note` what was said of it, `act` its
    entry."""

    day: str
    month: str
    part: str
    place: str
    way: str
    qty: int
    value: int
    kind: str
    note: str
    act: int


class ClaimChange(NamedTuple):
    """What became of claims on suppliers by an act and its undoings: pence, below zero where they are lost."""

    day: str
    part: str
    way: str
    job: str
    value: int
    note: str


class Purchases(NamedTuple):
    """What was bought of a supplier and sent back to it, in pence; goods taken in without an order are under the
    supplier that the part has now."""

    supplier: str
    bought: int
    sent_back: int


class Use(NamedTuple):
    """What jobs took of a part: the day of the last job that took any, and base units since a day."""

    last: str
    qty: int


@contextmanager
def one_moment(connection: sqlite3.Connection) -> Iterator[None]:
    """Read everything inside from one state of the file, so that sums of before and after a writer never meet."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("ROLLBACK")


def held(connection: sqlite3.Connection, *moments: str) -> list[Held]:
    """What lay in vans and stores at each of these moments, nothing left out but what is gone."""
    inside = _stock_places(connection)
    sums = ", ".join(f"sum(iif(d.at <= ?{n}, m.qty, 0)), sum(iif(d.at <= ?{n}, m.value, 0))"
                     for n in range(1, len(moments) + 1))  # fmt: skip
    rows = connection.execute(
        f"""{_DATED} SELECT m.part, m.from_place, m.to_place, {sums}
        FROM dated d CROSS JOIN movement m ON m.entry = d.seq
        WHERE d.at <= max({", ".join(f"?{n}" for n in range(1, len(moments) + 1))}, '') AND m.from_place <> 'history'
        GROUP BY m.part, m.from_place, m.to_place""",
        moments,
    )
    found: list[Held] = [{} for _ in moments]
    for part, source, target, *amounts in rows:
        for place, sign in ((source, -1), (target, 1)):
            if place in inside:
                _add(found, (part, place), [sign * amount for amount in amounts])
    return [{key: pair for key, pair in one.items() if pair != (0, 0)} for one in found]


def _add(found: list[Held], key: tuple[str, str], amounts: list[int]) -> None:
    for one, qty, value in zip(found, amounts[::2], amounts[1::2], strict=True):
        old = one.get(key, (0, 0))
        one[key] = (old[0] + qty, old[1] + value)


def flows(connection: sqlite3.Connection, first: str, until: str, counted: Iterable[Difference]) -> list[Flow]:
    """Every change of the stock from one moment to another, both included, added up by month and way; `counted` are the
    `differences` of that time."""
    inside = _stock_places(connection)
    rows = connection.execute(
        f"""{_DATED} SELECT substr(d.at, 1, 7), d.sign, m.part, m.from_place, m.to_place, sum(m.qty), sum(m.value)
        FROM dated d CROSS JOIN movement m ON m.entry = d.seq
        WHERE d.at BETWEEN :first AND :until AND m.from_place <> 'history'
          AND 'count difference' NOT IN (m.from_place, m.to_place) GROUP BY 1, 2, 3, 4, 5""",
        {"first": first, "until": until},
    )
    found = [flow for row in rows for flow in _sides(row, inside)]
    return found + [
        Flow(row.month, row.part, row.place, row.way, row.qty, row.value) for row in counted if row.way != WRITTEN_OFF
    ]


def _sides(row: tuple[str, int, str, str, str, int, int], inside: frozenset[str]) -> Iterator[Flow]:
    month, sign, part, source, target, qty, value = row
    way = _way(source, target, sign, inside)
    if source in inside:
        yield Flow(month, part, source, way, -qty, -value)
    if target in inside:
        yield Flow(month, part, target, way, qty, value)


def _way(source: str, target: str, sign: int, inside: frozenset[str]) -> str:
    if source in inside and target in inside:
        return MOVED
    outside = source if target in inside else target
    if outside == "supplier":
        return BOUGHT if (target in inside) == (sign > 0) else SENT_BACK
    return WRITTEN_OFF if outside == "write-off" else USED


def differences(connection: sqlite3.Connection, first: str, until: str) -> list[Difference]:
    """What counts brought in or found otherwise and what was written off in that time, act by act, what the act and
    its undoings make together; acts that come to nothing are left out, and what is written off of no place."""
    inside = _stock_places(connection)
    rows = connection.execute(
        f"""{_DATED} SELECT min(d.at), substr(d.at, 1, 7), m.part, m.from_place, m.to_place,
          sum(m.qty), sum(m.value), a.kind, a.note, a.seq
        FROM movement m JOIN dated d ON d.seq = m.entry JOIN entry a ON a.seq = d.root
        WHERE d.at BETWEEN :first AND :until AND ('count difference' IN (m.from_place, m.to_place)
          OR 'write-off' IN (m.from_place, m.to_place)) AND (m.from_place IN {_INSIDE} OR m.to_place IN {_INSIDE})
        GROUP BY d.root, 2, m.part, m.from_place, m.to_place ORDER BY d.root, m.part, 2""",
        {"first": first, "until": until},
    ).fetchall()
    counted = {part for _, _, part, source, target, *_ in rows if "write-off" not in (source, target)}
    known = known_from(connection, counted) if counted else {}
    found: dict[tuple[object, ...], Difference] = {}
    for at, month, part, source, target, qty, value, kind, note, act in rows:
        place, sign = (source, -1) if source in inside else (target, 1)
        way = WRITTEN_OFF if "write-off" in (source, target) else _counted_way(act, known.get((part, place), ()))
        old = found.get((act, month, part, place, way))
        qty, value = sign * qty + (old.qty if old else 0), sign * value + (old.value if old else 0)
        row = Difference(at[:10], month, part, place, way, qty, value, kind, note, act)
        found[act, month, part, place, way] = row
    return [row for row in found.values() if row.qty or row.value]


def _counted_way(act: int, known: Iterable[tuple[int, int]]) -> str:
    """Brought in where the act is the first that the ledger knew of the part at the place, what was undone by then left
    out: a year that is over never looks different for what is undone later."""
    return DIFFERENCE if any(entry < act <= undone for entry, undone in known) else BROUGHT


def purchases(connection: sqlite3.Connection, first: str, until: str) -> list[Purchases]:
    """What was bought and sent back from one moment to another, by supplier, what was undone taken off; what was lost
    and gained on claims is neither."""
    rows = connection.execute(
        f"""{_DATED} SELECT coalesce((SELECT s.supplier FROM order_step s WHERE s.order_no = m.order_no), p.supplier),
          sum(iif(into_stock = (d.sign > 0), iif(into_stock, m.value, -m.value), 0)),
          sum(iif(into_stock = (d.sign > 0), 0, iif(into_stock, m.value, -m.value)))
        FROM (SELECT *, from_place = 'supplier' AS into_stock FROM movement
          WHERE from_place = 'supplier' AND to_place IN {_INSIDE}
            OR to_place = 'supplier' AND from_place IN {_INSIDE}) m
        JOIN dated d ON d.seq = m.entry JOIN part p ON p.part = m.part
        WHERE d.at BETWEEN :first AND :until GROUP BY 1 ORDER BY 1""",
        {"first": first, "until": until},
    )
    return [row for row in map(Purchases._make, rows) if row.bought or row.sent_back]


def claim_changes(connection: sqlite3.Connection, first: str, until: str) -> list[ClaimChange]:
    """What was lost, gained and credited on claims from one moment to another, what was undone taken off."""
    rows = connection.execute(
        f"""{_DATED} SELECT substr(min(d.at), 1, 10), m.part, iif(d.sign > 0, m.from_place, m.to_place) AS source,
          iif(d.sign > 0, m.to_place, m.from_place) AS target, coalesce(m.job, ''), sum(d.sign * m.value), a.note
        FROM movement m JOIN dated d ON d.seq = m.entry JOIN entry a ON a.seq = d.root
        WHERE d.at BETWEEN :first AND :until AND m.qty = 0 AND 'supplier' IN (m.from_place, m.to_place)
          AND m.from_place NOT IN {_INSIDE} AND m.to_place NOT IN {_INSIDE}
        GROUP BY d.root, m.part, source, target, m.job ORDER BY 1, d.root, m.part""",
        {"first": first, "until": until},
    )
    found = []
    for day, part, source, target, job, value, note in rows:
        way = _CLAIM_ENDS[source, target]
        found.append(ClaimChange(day, part, way, job, -value if way == LOST else value, note))
    return [row for row in found if row.value]


def layers(connection: sqlite3.Connection, until: str) -> dict[str, list[tuple[int, int]]]:
    """What came into stock from outside until a moment and was not undone by then: base units and pence by part, the
    oldest first."""
    rows = connection.execute(
        f"""{_DATED} SELECT m.part, m.qty, m.value FROM movement m JOIN dated d ON d.seq = m.entry
        WHERE m.from_place IN ('supplier', 'count difference') AND m.qty > 0 AND d.sign > 0 AND d.at <= :until
          AND {_STANDS} ORDER BY d.root, m.seq""",
        {"until": until},
    )
    found: dict[str, list[tuple[int, int]]] = {}
    for part, qty, value in rows:
        found.setdefault(part, []).append((qty, value))
    return found


def uses(connection: sqlite3.Connection, since: str, until: str) -> dict[str, Use]:
    """What jobs took of each part by the day of the job, from before the ledger too: after the day `since`, up to a
    moment; what was undone by then left out."""
    rows = connection.execute(
        f"""{_DATED} SELECT m.part, max(coalesce(j.date, substr(d.at, 1, 10))),
          sum(iif(coalesce(j.date, substr(d.at, 1, 10)) > :since, m.qty, 0))
        FROM movement m JOIN dated d ON d.seq = m.entry LEFT JOIN job j ON j.job = m.job
        WHERE m.to_place = 'customer' AND m.qty > 0 AND d.sign > 0
          AND (d.at <= :until OR (m.from_place = 'history' AND j.date <= :until)) AND {_STANDS} GROUP BY m.part""",
        {"since": since, "until": until},
    )
    return {part: Use(last, qty) for part, last, qty in rows}


def came_in(connection: sqlite3.Connection, since: str, until: str) -> dict[str, int]:
    """Base units of each part bought after the end of a day, up to a moment, or first counted by hand then: what an
    import brought in had lain there before."""
    rows = connection.execute(
        f"""{_DATED} SELECT m.part, sum(m.qty) FROM movement m JOIN dated d ON d.seq = m.entry
        WHERE m.from_place = 'supplier' AND d.sign > 0 AND substr(d.at, 1, 10) > :since AND d.at <= :until
          AND {_STANDS} GROUP BY m.part""",
        {"since": since, "until": until},
    )
    found: dict[str, int] = dict(rows)
    for row in differences(connection, f"{since}T24", until):
        if row.way == BROUGHT and row.kind != "imported":
            found[row.part] = found.get(row.part, 0) + row.qty
    return found


def jobs_known_from(connection: sqlite3.Connection) -> str:
    """The day of the first finished job; "" when there is none."""
    return str(connection.execute("SELECT coalesce(min(date), '') FROM job WHERE status = 'done'").fetchone()[0])


def begun(connection: sqlite3.Connection) -> str:
    """The day from which the ledger knows what stock is worth: that of the first act that moved any; "" before."""
    row = connection.execute(
        "SELECT substr(e.at, 1, 10) FROM movement m JOIN entry e ON e.seq = m.entry WHERE m.from_place <> 'history'"
        " ORDER BY m.seq LIMIT 1"
    ).fetchone()
    return str(row[0]) if row else ""


def dated_after(connection: sqlite3.Connection, until: str) -> int:
    """How many entries count only after a moment."""
    return int(connection.execute(f"{_DATED} SELECT count(*) FROM dated WHERE at > ?", (until,)).fetchone()[0])


def _stock_places(connection: sqlite3.Connection) -> frozenset[str]:
    rows = connection.execute(_INSIDE[1:-1])
    return frozenset(row[0] for row in rows)

"""Reading what came and went of every part with use-by dates, as it stands: what was undone is left out.

Only SELECTs; which units are left is worked out elsewhere (see `kit.lots`). Called by `routines.expiry`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

EXPIRED = "expired"
"""The kind of an entry that writes off what has expired."""
_ALL = 2**62
_STOCK = "(SELECT place FROM place WHERE kind IN ('van', 'store'))"


class Step(NamedTuple):
    """What an entry did to a part: its date, its kind, base units more (or fewer, below 0) in vans and stores, and by
    use-by date what it says of lots."""

    day: str
    kind: str
    net: int
    lots: tuple[tuple[str, int], ...]


def steps(connection: sqlite3.Connection, part: str = "", *, before: int = _ALL) -> dict[str, list[Step]]:
    """By part that ever had a use-by date (or of this one), what entries with a number below `before` did, in order."""
    lots: dict[tuple[str, int], list[tuple[str, int]]] = {}
    which = "part = ?1" if part else "?1 = ''"
    for name, entry, use_by, qty in connection.execute(
        f"SELECT part, entry, use_by, qty FROM lot WHERE {which} AND entry < ?2 ORDER BY seq", (part, before)
    ):
        lots.setdefault((name, entry), []).append((use_by, qty))
    if not lots:
        return {}
    net = _net(connection, sorted({name for name, _ in lots}), before)
    gone = _undone(connection, before)
    entries = {seq: (at[:10], kind) for seq, at, kind in _heads(connection, {e for _, e in (*lots, *net)})}
    found: dict[str, list[Step]] = {}
    for name, entry in sorted({*lots, *net}):
        if entry not in gone:
            key = name, entry
            found.setdefault(name, []).append(Step(*entries[entry], net.get(key, 0), tuple(lots.get(key, ()))))
    return found


def _net(connection: sqlite3.Connection, parts: list[str], before: int) -> dict[tuple[str, int], int]:
    """Base units that each entry brought into vans and stores, by part and entry; moves between them are none."""
    marks = ", ".join("?" * len(parts))
    rows = connection.execute(
        f"""SELECT part, entry, sum(qty * ((to_place IN {_STOCK}) - (from_place IN {_STOCK}))) AS net FROM movement
        WHERE part IN ({marks}) AND entry < ? GROUP BY part, entry HAVING net <> 0""",
        (*parts, before),
    )
    return {(part, entry): net for part, entry, net in rows}


def _heads(connection: sqlite3.Connection, entries: Iterable[int]) -> list[tuple[int, str, str]]:
    sql = "SELECT seq, at, kind FROM entry WHERE seq = ?"
    return [connection.execute(sql, (entry,)).fetchone() for entry in entries]


def _undone(connection: sqlite3.Connection, before: int) -> set[int]:
    """The entries that were undone, and all undoings: what stands is what nothing that stands took back."""
    rows = connection.execute(
        "SELECT seq, reverses FROM entry WHERE reverses IS NOT NULL AND seq < ? ORDER BY seq DESC", (before,)
    ).fetchall()
    taken_back: set[int] = set()
    for seq, reverses in rows:
        if seq not in taken_back:
            taken_back.add(reverses)
    return taken_back | {seq for seq, _ in rows}

"""Past counts, and what lay where at the moment a sheet was frozen. Only SELECTs.

An entry that takes another back belongs to the moment of the act it takes back: so an undoing after the freezing
corrects what is said to have lain there. A count difference is always such a correction. Called by the routines of
counting.
"""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

Key = tuple[str, str]
"""A part and a place."""

_CHAIN = """WITH RECURSIVE chain (seq, root, depth) AS (
  SELECT seq, seq, 0 FROM entry WHERE reverses IS NULL
  UNION ALL SELECT e.seq, c.root, c.depth + 1 FROM entry e JOIN chain c ON e.reverses = c.seq),
stands (seq) AS (SELECT root FROM chain GROUP BY root HAVING max(depth) % 2 = 0),
shelf (place) AS (SELECT place FROM place WHERE kind IN ('van', 'store'))
"""
"""Every entry with the act it goes back to, the acts that stand, and the vans and stores."""
_DIFFERENCE = "'count difference' IN (m.from_place, m.to_place)"


class CountRow(NamedTuple):
    """One line of a count that stands: base units counted, how many more (below 0: fewer) than the ledger had, and the
    pence by which it changed what stock is worth. `opening` when nothing had ever lain there by the ledger."""

    seq: int
    entry: str
    at: str
    note: str
    part: str
    place: str
    qty: int
    difference: int
    value: int
    opening: bool

    @property
    def had(self) -> int:
        """What the ledger had."""
        return self.qty - self.difference


def last_entry(connection: sqlite3.Connection) -> tuple[int, str]:
    """Number and id of the newest entry; 0 and nothing in an empty ledger."""
    row = connection.execute("SELECT seq, id FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
    return (int(row[0]), str(row[1])) if row else (0, "")


def id_of(connection: sqlite3.Connection, seq: int) -> str:
    """The id of the entry with this number; nothing when there is none."""
    row = connection.execute("SELECT id FROM entry WHERE seq = ?", (seq,)).fetchone()
    return str(row[0]) if row else ""


def held_at(connection: sqlite3.Connection, seq: int) -> dict[Key, int]:
    """Base units in vans and stores once that entry was written, with every correction since: acts before it that were
    taken back (or put back) later, and count differences."""
    which = f"c.root <= ?1 OR {_DIFFERENCE}"
    ways = " UNION ALL ".join(
        f"SELECT m.part AS part, m.{way} AS place, {sign}m.qty AS qty FROM movement m"
        f" JOIN chain c ON c.seq = m.entry WHERE {which}"
        for way, sign in (("to_place", ""), ("from_place", "-"))
    )
    sql = f"{_CHAIN} SELECT part, place, sum(qty) FROM ({ways}) JOIN shelf USING (place) GROUP BY part, place"
    return {(part, place): int(qty) for part, place, qty in connection.execute(sql, (seq,))}


def moved_between(connection: sqlite3.Connection, since: str, seq: int) -> set[Key]:
    """What moved in or out of a van or store from a date up to an entry; a count difference is no movement."""
    rows = connection.execute(
        f"{_CHAIN} SELECT DISTINCT m.part, s.place FROM movement m JOIN entry e ON e.seq = m.entry"
        " JOIN shelf s ON s.place IN (m.from_place, m.to_place)"
        f" WHERE m.qty > 0 AND substr(e.at, 1, 10) >= ? AND e.seq <= ? AND NOT {_DIFFERENCE}",
        (since, seq),
    )
    return {(part, place) for part, place in rows}


def movements_since_count(connection: sqlite3.Connection) -> dict[Key, int]:
    """How often each part moved at each place since it was last counted there by hand, undone acts left out."""
    rows = connection.execute(
        f"""{_CHAIN}, last (part, place, entry) AS (
          SELECT part, place, max(entry) FROM counted JOIN entry e ON e.seq = entry
          WHERE e.kind = 'counted' AND entry IN (SELECT seq FROM stands) GROUP BY part, place)
        SELECT m.part, s.place, count(*) FROM movement m JOIN stands ON stands.seq = m.entry
        JOIN shelf s ON s.place IN (m.from_place, m.to_place)
        LEFT JOIN last l ON l.part = m.part AND l.place = s.place
        WHERE m.qty > 0 AND NOT {_DIFFERENCE} AND m.entry > coalesce(l.entry, 0) GROUP BY m.part, s.place"""
    )
    return {(part, place): int(times) for part, place, times in rows}


def counted_after(connection: sqlite3.Connection, seq: int) -> dict[Key, tuple[int, str, str]]:
    """The newest count that stands of each part and place after that entry: base units, entry id and local time."""
    rows = connection.execute(
        f"{_CHAIN} SELECT c.part, c.place, c.qty, e.id, e.at FROM counted c JOIN entry e ON e.seq = c.entry"
        " WHERE c.entry > ? AND c.entry IN (SELECT seq FROM stands) ORDER BY c.seq",
        (seq,),
    )
    return {(part, place): (qty, entry, at) for part, place, qty, entry, at in rows}


def counts(connection: sqlite3.Connection, *, since: str = "", entry: int = 0) -> list[CountRow]:
    """The lines of the counts by hand that stand, from the oldest; from a date on, or those of one entry alone whether
    it stands or not."""
    rows = connection.execute(
        f"""{_CHAIN} SELECT c.entry, e.id, e.at, e.note, c.part, c.place, c.qty, NOT EXISTS (
          SELECT 1 FROM movement m WHERE m.part = c.part AND m.entry < c.entry AND m.qty > 0
          AND c.place IN (m.from_place, m.to_place))
        FROM counted c JOIN entry e ON e.seq = c.entry
        WHERE e.kind = 'counted' AND substr(e.at, 1, 10) >= ?1
          AND ((?2 = 0 AND c.entry IN (SELECT seq FROM stands)) OR c.entry = ?2) ORDER BY c.seq""",
        (since, entry),
    ).fetchall()
    more = _sums(connection, entry, _OF_A_PLACE)
    value = _share_out(rows, more, _sums(connection, entry, _OF_A_PART))
    return [
        CountRow(seq, name, at, note, part, place, qty, more.get((seq, part, place), (0, 0))[0],
                 value[seq, part, place], bool(opening))
        for seq, name, at, note, part, place, qty, opening in rows
    ]  # fmt: skip


_OF_A_PLACE = f"""SELECT c.root, m.part, s.place, sum(iif(s.place = m.to_place, m.qty, -m.qty)),
  sum(iif(s.place = m.to_place, m.value, -m.value))
FROM movement m JOIN chain c ON c.seq = m.entry JOIN shelf s ON s.place IN (m.from_place, m.to_place)
WHERE {_DIFFERENCE} AND %s GROUP BY 1, 2, 3"""
_OF_A_PART = """SELECT c.root, m.part, '', 0,
  sum(iif(m.to_place IN (SELECT place FROM shelf), m.value, 0)
    - iif(m.from_place IN (SELECT place FROM shelf), m.value, 0))
FROM movement m JOIN chain c ON c.seq = m.entry WHERE %s GROUP BY 1, 2"""
_Sums = dict[tuple[int, str, str], tuple[int, int]]


def _sums(connection: sqlite3.Connection, entry: int, sql: str) -> _Sums:
    """Base units and pence by act, part and place: of one entry as it was written, or of every act with whatever took
    it back and put it back."""
    which = "m.entry = ?1" if entry else "c.root IN (SELECT entry FROM counted) AND ?1 = 0"
    rows = connection.execute(_CHAIN + sql % which, (entry,))
    return {(seq, part, place): (qty, value) for seq, part, place, qty, value in rows}


def _share_out(rows: list[tuple[Any, ...]], more: _Sums, whole: _Sums) -> dict[tuple[int, str, str], int]:
    """Pence for each line: its difference's own, and on a part's first line what the count changed besides."""
    value: dict[tuple[int, str, str], int] = {}
    rest = {(seq, part): pence for (seq, part, _), (_, pence) in whole.items()}
    for (seq, part, _), (_, pence) in more.items():
        rest[seq, part] = rest.get((seq, part), 0) - pence
    for seq, _, _, _, part, place, *_ in rows:
        value[seq, part, place] = more.get((seq, part, place), (0, 0))[1] + rest.pop((seq, part), 0)
    return value

"""From which entry on the ledger knows of a part at a place. Only SELECTs.

Called by `worth`, which tells by it what was brought in from what a count found otherwise.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable

_INSIDE = "(SELECT place FROM place WHERE kind IN ('van', 'store'))"
_NEVER = 2**62
"""No entry has this number."""


def known_from(connection: sqlite3.Connection, parts: Iterable[str]) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """The entries by which the ledger knew these parts at each place, and until which: the first that nothing undid,
    and every one that was undone with what undid it; undoings themselves make nothing known.

    All parts in one go: looked up one by one, each would go through all movements of its part.
    """
    asked = "part IN (SELECT value FROM json_each(?1))"
    rows = connection.execute(
        f"""WITH known (part, place, entry) AS (SELECT part, place, entry FROM counted WHERE {asked}
          UNION ALL SELECT part, from_place, entry FROM movement WHERE {asked} AND qty > 0 AND from_place IN {_INSIDE}
          UNION ALL SELECT part, to_place, entry FROM movement WHERE {asked} AND qty > 0 AND to_place IN {_INSIDE})
        SELECT k.part, k.place, min(k.entry), coalesce(u.seq, {_NEVER}) FROM known k
        JOIN entry e ON e.seq = k.entry LEFT JOIN entry u ON u.reverses = k.entry
        WHERE e.kind <> 'undone' GROUP BY k.part, k.place, u.seq""",
        (json.dumps(sorted(parts)),),
    )
    found: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for part, place, entry, undone in rows:
        found.setdefault((part, place), []).append((entry, undone))
    return found

"""How an entry is shown: a row of a table, or a JSON object. Used by `history` and `restore`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from vanstock.cli.show import Column, table, words
from vanstock.quantity import format_money, format_qty
from vanstock.routines.entrywords import in_a_line

if TYPE_CHECKING:
    from vanstock.model import Part, PastEntry


def entry_table(entries: Sequence[PastEntry], parts: Mapping[str, Part]) -> None:
    """Print entries with what they did, in the order given."""
    columns = (Column("when"), Column("what"), words("lines"), Column("entry"))
    table(columns, [_entry_cells(past, parts) for past in entries])


def _entry_cells(past: PastEntry, parts: Mapping[str, Part]) -> tuple[str, ...]:
    text = in_a_line(past, parts)
    note = f" ({past.entry.note})" if past.entry.note else ""
    kind = f"{past.entry.kind}, since undone" if past.undone_by else past.entry.kind
    return (past.entry.at[:16].replace("T", " "), kind, (text + note).strip(), past.entry.id[:8])


def entry_json(past: PastEntry, parts: Mapping[str, Part]) -> dict[str, object]:
    """An entry with all its lines as a JSON object."""
    entry = past.entry
    return {
        "entry": entry.id,
        "at": entry.at,
        "kind": entry.kind,
        "note": entry.note,
        "reverses": entry.reverses or None,
        "undone_by": past.undone_by or None,
        "movements": [
            {
                "part": m.part,
                "qty": format_qty(m.qty, parts[m.part].unit),
                "from": m.from_place,
                "to": m.to_place,
                "value": format_money(m.value),
                "job": m.job or None,
            }
            for m in past.movements
        ],
        "missed": [{"job": j, "part": p, "qty": format_qty(q, parts[p].unit)} for j, p, q in past.missed],
        "counted": [{"part": p, "place": w, "qty": format_qty(q, parts[p].unit)} for p, w, q in past.counted],
    }

"""How an entry is shown: a row of a table, or a JSON object. Used by `history` and `restore`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from vanstock.cli.show import Column, table, words
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.model import Part, PastEntry


def _lines(past: PastEntry, parts: Mapping[str, Part]) -> list[str]:
    missed = [f"missed {show_qty(qty, parts[part].unit)} x {part} on {job}" for job, part, qty in past.missed]
    counted = [f"counted {show_qty(qty, parts[part].unit)} x {part} in {place}" for part, place, qty in past.counted]
    booked = [f"{b.job} {b.status} {b.date} {b.time}".rstrip() for b in past.bookings]
    return [*counted, *_moved(past, parts), *missed, *booked]


def _moved(past: PastEntry, parts: Mapping[str, Part]) -> list[str]:
    """The entry's movements, those of one part along one way put together, then changes of value alone."""
    together: dict[tuple[str, str, str], int] = {}
    values = []
    for m in past.movements:
        way = (m.part, m.from_place, m.to_place)
        if m.qty:
            together[way] = together.get(way, 0) + m.qty
        else:
            values.append(f"value {format_money(m.value)} of {m.part} {m.from_place} -> {m.to_place}")
    moved = [f"{show_qty(qty, parts[p].unit)} x {p} {source} -> {to}" for (p, source, to), qty in together.items()]
    return moved + values


def entry_table(entries: Sequence[PastEntry], parts: Mapping[str, Part]) -> None:
    """Print entries with what they did, in the order given."""
    columns = (Column("when"), Column("what"), words("lines"), Column("entry"))
    table(columns, [_entry_cells(past, parts) for past in entries])


def _entry_cells(past: PastEntry, parts: Mapping[str, Part]) -> tuple[str, ...]:
    lines = _lines(past, parts)
    text = "; ".join(lines[:6]) + (f"; and {len(lines) - 6} more" if len(lines) > 6 else "")
    note = f" ({past.entry.note})" if past.entry.note else ""
    kind = f"{past.entry.kind}, since undone" if past.undone_by else past.entry.kind
    return (past.entry.at[:16].replace("T", " "), kind, (text + note).lstrip(), past.entry.id[:8])


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

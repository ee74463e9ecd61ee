"""What an entry did, in words: of its many lines the first few. The terminal and the phone say the same.

Not when it was made or what it is called, which each face shows in its own way. Called by `cli.entries` and the phone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from vanstock.quantity import format_money, show_qty

if TYPE_CHECKING:
    from vanstock.model import Part, PastEntry

_SHOWN = 6


def in_a_line(past: PastEntry, parts: Mapping[str, Part]) -> str:
    """What an entry counted, moved, missed and booked."""
    lines = _lines(past, parts)
    more = [f"and {len(lines) - _SHOWN} more"] if len(lines) > _SHOWN else []
    return "; ".join([*lines[:_SHOWN], *more])


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

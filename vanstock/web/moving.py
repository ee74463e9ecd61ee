"""What acts move, written into the pages as JSON, so that figures count an act that waits (see the package).

Only what its fields do not say: what goes on new with a part, what an entry that is taken back had moved, what an order
brings. Called by the pages.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

from vanstock.quantity import format_qty

if TYPE_CHECKING:
    from vanstock.model import Part
    from vanstock.routines.jobcard import Row
    from vanstock.routines.moves import Back, Move
    from vanstock.routines.ordering import LineState


def as_json(moves: Iterable[Move]) -> str:
    """[[part, qty, from, to], ...], quantities in the part's unit."""
    return json.dumps([_row(move) for move in moves])


def _row(move: Move) -> list[str]:
    return [move.part.part, format_qty(move.qty, move.part.unit), move.from_place, move.to_place]


def takes(entries: Iterable[Back]) -> str:
    """[[entry, [[part, qty, from, to], ...]], ...]: the entries that taking back again and again would undo."""
    return json.dumps([[one.entry, [_row(move) for move in one.moves]] for one in entries])


def with_riders(row: Row, van: str, job: str) -> str:
    """What fitting one more of a part moves together with what goes on new with it."""
    from vanstock.routines.moves import Move

    fitted = [(row.part, row.step), *((rider.part, rider.qty) for rider in row.riders)]
    return as_json(Move(part, qty, van, f"on {job}") for part, qty in fitted)


def brought(lines: Iterable[tuple[Part, LineState]], place: str) -> str:
    """What all that is still to come of an order brings to a place."""
    from vanstock.routines.moves import Move

    return as_json(Move(part, line.to_come, "", place) for part, line in lines if line.to_come > 0)


def loading(part: str, place: str, van: str) -> str:
    """What a line of the load list does, in words that are its own: with a tick or with the whole list, but once."""
    return f"load {part} from {place} into {van}"

"""What an entry moved, as a page that shows figures knows its places; so that taking it back can be shown at once.

Only reads. Called by `jobcard` and the phone face.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from vanstock.ledger import catalogue
from vanstock.ledger.entries import CUSTOMER
from vanstock.model import Part, PastEntry
from vanstock.routines.session import Session


class Move(NamedTuple):
    """So many base units of a part from one place to another: a van or store, what is fitted on a job (`on J0001`), or
    what was missed on it (`missed on J0001`, from nowhere)."""

    part: Part
    qty: int
    from_place: str
    to_place: str


class Back(NamedTuple):
    """An entry that may be taken back, and what it moved."""

    entry: str
    moves: tuple[Move, ...]


def back(session: Session, past: PastEntry) -> Back:
    """An entry with what taking it back would move the other way."""
    return Back(past.entry.id, moves_of(past, parts_in(session, past)))


def moves_of(past: PastEntry, parts: Mapping[str, Part]) -> tuple[Move, ...]:
    """What an entry moved."""
    moved = [
        Move(parts[line.part], line.qty, _place(line.from_place, line.job), _place(line.to_place, line.job))
        for line in past.movements
        if line.qty
    ]
    return (*moved, *(_missed(parts[part], qty, f"missed on {job}") for job, part, qty in past.missed))


def _missed(part: Part, qty: int, spot: str) -> Move:
    return Move(part, qty, "", spot) if qty > 0 else Move(part, -qty, spot, "")


def _place(place: str, job: str) -> str:
    return f"on {job}" if place == CUSTOMER and job else place


def parts_in(session: Session, past: PastEntry) -> dict[str, Part]:
    """The parts that an entry names."""
    named = {line.part for line in past.movements} | {row[1] for row in past.missed} | {row[0] for row in past.counted}
    return {name: part for name in named if (part := catalogue.part_by_number(session.ledger, name))}

"""What one van should carry when it is filled up from the stores every evening. Pure.

The jobs of the van alone are drawn, day by day; a job finds its part aboard when the level holds all that was needed on
its day up to and with it:

    level >= need of the part from the start of the day up to and with this job

(a kit that is restocked after each tour of jobs: Mamer and Smith, Management Science 28, 1982). It is the stream of
`kit.stream` with a review every working day whose order is there at once. Limits: the stores can always fill it up;
what is booked and known the evening before is the load-out's to bring. Called by `routines.vankit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from vanstock.kit.stream import JOBS, Ahead, Kind, Shelf, Stream, draw_stream
from vanstock.model import Part
from vanstock.quantity import value_of

_WHOLE_PACKS = ("LTR", "MTR", "KGM", "PR")


class Slot(NamedTuple):
    """A group as a van carries it: base units in one step, and what a step costs in pence."""

    group: str
    step: int
    cash: int


def slot_of(group: str, part: Part) -> Slot:
    """Whole pieces; what is poured, cut or paired in whole packs, as it is carried."""
    step = part.pack_size if part.unit in _WHOLE_PACKS else 1
    return Slot(group, step, max(value_of(step, part.unit, part.cost), 1))


def refilled_stream(
    kinds: Sequence[Kind], slots: Sequence[Slot], ahead: Ahead, *, seed: int, jobs: int = JOBS
) -> Stream:
    """The jobs of a van that starts every working day with its levels full, drawn; the same seed, the same jobs."""
    every_day = range(len(ahead.week_of_day))
    shelves = [Shelf(one.group, one.step, one.cash, 1, every_day) for one in slots]
    return draw_stream(kinds, shelves, ahead, seed=seed, jobs=jobs)

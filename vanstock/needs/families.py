"""Cases in one family's own part numbers, worked out as they are asked for. Pure.

A firm of many vans has tens of thousands of distinct cases, of which a family's jobs rest on a few thousand. Called by
`cases`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from vanstock.model import Job
from vanstock.needs.mapping import Components, PartMap

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.intp]
    Mask = NDArray[np.bool_]


class FamilyCases(NamedTuple):
    """The cases asked for until now in one family's own part numbers: the distinct needs and their numbers, and as
    three columns, in order of cases, which case (number) comes out as which need (number) with which probability; and
    which cases are there."""

    needs: tuple[Mapping[str, int], ...]
    number: dict[Components, int]
    case: Places
    need: Places
    probability: Floats
    there: Mask


def no_cases(many: int) -> FamilyCases:
    """None yet, of so many distinct cases."""
    import numpy as np

    none = np.zeros(0, dtype=np.intp)
    return FamilyCases((), {}, none, none, np.zeros(0), np.zeros(many, dtype=np.bool_))


def with_cases(known: FamilyCases, wanted: Mask, source: tuple[Sequence[Components], PartMap], job: Job) -> FamilyCases:
    """With the cases wanted too, each a number among the distinct ones; what is there already is not done again."""
    import numpy as np

    cases, parts = source
    new = np.flatnonzero(wanted & ~known.there).tolist()
    served = parts.served(job.family, {component for i in new for component, _ in cases[i]}, chosen=job.chosen)
    place = dict(known.number)
    rows = [
        (number, place.setdefault(need, len(place)), probability)
        for number in new
        for probability, need in parts.ways(cases[number], served)
    ]
    case, need, probability = list(zip(*rows, strict=True)) or [(), (), ()]
    every = np.concatenate([known.case, np.array(case, dtype=np.intp)])
    order = np.argsort(every, kind="stable")
    needs = *known.needs, *(dict(need) for need in islice(place, len(known.needs), None))
    return FamilyCases(
        needs,
        place,
        every[order],
        np.concatenate([known.need, np.array(need, dtype=np.intp)])[order],
        np.concatenate([known.probability, np.array(probability, dtype=np.float64)])[order],
        known.there | wanted,
    )

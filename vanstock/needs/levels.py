"""Which finished jobs are like which: the levels of likeness, from near to far, as arrays. Pure; numpy inside.

Near to far: same type, family and a shared fault code; same type and family; same type and a shared fault code in
another family too; same type; all. Codes are compared without their suffix, readings by the side of the usual limit
that they fall on. Called by `cases` for booked jobs and by `worths` for held-out ones, so that both mean the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from vanstock.codes import base_code
from vanstock.model import FinishedJob, Job
from vanstock.readings import band, read_readings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Mask = NDArray[np.bool_]

Name = TypeVar("Name", str, tuple[str, str])
HALF_LIFE_DAYS = 365.0
"""The age at which a finished job counts half: over made-up firms whose needs drift, half a year, two years and no
fading all foretell worse or no better (`tests/benchmarks/needs_gates.py` prints the four)."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What jobs are compared by, one row a job: numbers of type and family (-1: never seen), fault codes and bands
    of readings as columns, and which kind of reading each band column is of."""

    type_of: NDArray[np.intp]
    family_of: NDArray[np.intp]
    codes: Mask
    bands: Mask
    kinds: tuple[str, ...]

    def rows(self, chosen: slice) -> Marks:
        """The same of some jobs only."""
        return Marks(self.type_of[chosen], self.family_of[chosen], self.codes[chosen], self.bands[chosen], self.kinds)


@dataclass(frozen=True, slots=True)
class Index:
    """The columns and numbers by which marks are written down."""

    types: Mapping[str, int]
    families: Mapping[str, int]
    codes: Mapping[str, int]
    bands: Mapping[tuple[str, str], int]

    @classmethod
    def of(cls, jobs: Sequence[FinishedJob]) -> Index:
        """Numbers for whatever these jobs carry."""
        return cls(
            _numbered(job.job_type for job in jobs),
            _numbered(job.family for job in jobs),
            _numbered(code for job in jobs for code in map(base_code, job.codes)),
            _numbered(found for job in jobs for found in bands_of(job)),
        )

    def marks(self, jobs: Sequence[FinishedJob | Job]) -> Marks:
        """The marks of these jobs; what no finished job carries is left out."""
        import numpy as np

        kinds = tuple(kind for kind, _ in self.bands)
        return Marks(
            np.array([self.types.get(job.job_type, -1) for job in jobs], dtype=np.intp),
            np.array([self.families.get(job.family, -1) for job in jobs], dtype=np.intp),
            _columns(jobs, self.codes, lambda job: map(base_code, job.codes)),
            _columns(jobs, self.bands, bands_of),
            kinds,
        )


def bands_of(job: FinishedJob | Job) -> list[tuple[str, str]]:
    """The (kind, band) pairs of the readings taken before the work."""
    return [(one.kind, band(one)) for one in read_readings(job.readings) if not one.after] if job.readings else []


def _numbered(names: Iterable[Name]) -> dict[Name, int]:
    return {name: number for number, name in enumerate(sorted(set(names)))}


def _columns(
    jobs: Sequence[FinishedJob | Job],
    numbers: Mapping[Name, int],
    carried: Callable[[FinishedJob | Job], Iterable[Name]],
) -> Mask:
    import numpy as np

    table = np.zeros((len(jobs), len(numbers)), dtype=np.bool_)
    for row, job in enumerate(jobs):
        for name in carried(job):
            if name in numbers:
                table[row, numbers[name]] = True
    return table


def likeness(wanted: Marks, past: Marks) -> tuple[Mask, Mask, Mask, Mask]:
    """For each job wanted (row) which past jobs (column) are of each level, near to far; all jobs are not listed."""
    import numpy as np

    same_type = wanted.type_of[:, None] == past.type_of
    own = same_type & (wanted.family_of[:, None] == past.family_of)
    shared = wanted.codes.astype(np.float32) @ past.codes.T.astype(np.float32) > 0
    return own & shared, own, same_type & shared, same_type


def measured_alike(wanted: Marks, past: Marks) -> NDArray[np.float32]:
    """For each job wanted (row) and past job (column): readings of one kind in the same band, less those in another."""
    import numpy as np

    kinds = sorted(set(wanted.kinds))
    of_kind = np.array([[kind == other for kind in kinds] for other in wanted.kinds], dtype=np.float32)
    mine, theirs = wanted.bands.astype(np.float32), past.bands.astype(np.float32)
    both = np.minimum(mine @ of_kind, 1) @ np.minimum(theirs @ of_kind, 1).T
    found: NDArray[np.float32] = 2 * (mine @ theirs.T) - both
    return found

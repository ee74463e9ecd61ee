"""Which finished jobs are like which: the levels of likeness, from near to far, as arrays. Pure; numpy inside.

Near to far: same type, family and a shared fault code; same type and family; same type and a shared fault code in
another family too; same type; all. Codes are compared without their suffix, readings by the side of the usual limit
that they fall on. Called by `cases` for booked jobs and by `worths` for held-out ones, so that both mean the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vanstock.codes import base_code
from vanstock.model import FinishedJob, Job
from vanstock.readings import band, read_readings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Mask = NDArray[np.bool_]

HALF_LIFE_DAYS = 365.0
"""The age at which a finished job counts half: over made-up firms whose needs drift, half a year, two years and no
fading all foretell worse or no better (`tests/benchmarks/needs_gates.py` prints the four)."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What jobs are compared by, one row a job: numbers of type and family (-1: never seen), fault codes as columns;
    for each kind of reading that some finished job carries, its bands as columns, the last for one never seen."""

    type_of: NDArray[np.intp]
    family_of: NDArray[np.intp]
    codes: Mask
    readings: tuple[Mask, ...]

    def rows(self, chosen: slice) -> Marks:
        """The same of some jobs only."""
        readings = tuple(bands[chosen] for bands in self.readings)
        return Marks(self.type_of[chosen], self.family_of[chosen], self.codes[chosen], readings)


@dataclass(frozen=True, slots=True)
class Index:
    """The columns and numbers by which marks are written down; bands of readings by their kind."""

    types: Mapping[str, int]
    families: Mapping[str, int]
    codes: Mapping[str, int]
    bands: Mapping[str, Mapping[str, int]]

    @classmethod
    def of(cls, jobs: Sequence[FinishedJob]) -> Index:
        """Numbers for whatever these jobs carry."""
        seen = {pair for job in jobs for pair in bands_of(job)}
        return cls(
            _numbered(job.job_type for job in jobs),
            _numbered(job.family for job in jobs),
            _numbered(code for job in jobs for code in map(base_code, job.codes)),
            {kind: _numbered(band for of, band in seen if of == kind) for kind in sorted({kind for kind, _ in seen})},
        )

    def marks(self, jobs: Sequence[FinishedJob | Job]) -> Marks:
        """The marks of these jobs; codes that no finished job carries are left out."""
        import numpy as np

        codes = np.zeros((len(jobs), len(self.codes)), dtype=np.bool_)
        readings = {kind: np.zeros((len(jobs), len(bands) + 1), dtype=np.bool_) for kind, bands in self.bands.items()}
        for row, job in enumerate(jobs):
            for code in map(base_code, job.codes):
                if code in self.codes:
                    codes[row, self.codes[code]] = True
            for kind, found in bands_of(job):
                if kind in readings:
                    readings[kind][row, self.bands[kind].get(found, -1)] = True
        types = np.array([self.types.get(job.job_type, -1) for job in jobs], dtype=np.intp)
        families = np.array([self.families.get(job.family, -1) for job in jobs], dtype=np.intp)
        return Marks(types, families, codes, tuple(readings.values()))


def bands_of(job: FinishedJob | Job) -> list[tuple[str, str]]:
    """The (kind, band) pairs of the readings taken before the work."""
    return [(one.kind, band(one)) for one in read_readings(job.readings) if not one.after] if job.readings else []


def _numbered(names: Iterable[str]) -> dict[str, int]:
    return {name: number for number, name in enumerate(sorted(set(names)))}


def likeness(wanted: Marks, past: Marks) -> tuple[Mask, Mask, Mask, Mask]:
    """For each job wanted (row) which past jobs (column) are of each level, near to far; all jobs are not listed."""
    import numpy as np

    same_type = wanted.type_of[:, None] == past.type_of
    own = same_type & (wanted.family_of[:, None] == past.family_of)
    if len(wanted.codes) == 1:
        shared = np.any(past.codes[:, wanted.codes[0]], axis=1, keepdims=True).T
    else:
        shared = wanted.codes.astype(np.float32) @ past.codes.T.astype(np.float32) > 0
    return own & shared, own, same_type & shared, same_type


def measured_alike(wanted: Marks, past: Marks) -> NDArray[np.float64]:
    """For each job wanted (row) and past job (column): the kinds of reading that both carry in the same band, less
    those that they carry in different ones."""
    import numpy as np

    found = np.zeros((len(wanted.type_of), len(past.type_of)))
    for mine, theirs in zip(wanted.readings, past.readings, strict=True):
        both = np.any(mine, axis=1, keepdims=True) & np.any(theirs, axis=1)
        same = mine.astype(np.float32) @ theirs.T.astype(np.float32) > 0
        found += np.where(both, np.where(same, 1.0, -1.0), 0.0)
    return found

"""Made-up firms that the needs are put to the test on: a catalogue and two years of finished jobs, from a seed, and
the same as arrays, cut into what is known and what is to come.

What a job takes is drawn part by part from log odds that add up: the job type, the family, the two together, the
fault codes, a trend or a jump over the two years, how bad the job is, and where wanted a reading. Nothing here is
taken from the method under test, and log odds that add up are what a logistic regression assumes. Used by
`needs_gates.py` beside it and by the tests of the needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from vanstock.model import EVERY_FAMILY, Catalogue, Family, FinishedJob, Fits, Part
from vanstock.needs.levels import Index

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

START, DAYS = date(2025, 1, 6), 730
COMPONENTS, FLUIDS = 24, 2
PAIRS = tuple((first, first + 1) for first in range(4, 14, 2))
SECOND_GIVEN_FIRST = 0.3
"""Sensors of one age fail together: common practice, no source."""
CODES_A_TYPE = 5
TOLD = 3
"""Components that a reading tells of, where it tells of any."""
_TYPES = ("clean", "heat source", "pressure side", "temperature sensor", "warm-up", "air side")
_LITRES = np.array([1500, 2000, 3000, 3500])
CUTS = (0.7, 0.8, 0.9)
"""The share of its jobs that a firm has done when it is cut."""


class Firm(NamedTuple):
    """Everything that is known of a firm: its catalogue, without a usual table, and its jobs in order of date."""

    catalogue: Catalogue
    jobs: tuple[FinishedJob, ...]


class _Size(NamedTuple):
    families: int
    types: int
    codes: int
    jobs: int


class _Effects(NamedTuple):
    """What moves the log odds of a component (last axis of each)."""

    job_type: Floats
    family: Floats
    both: Floats
    code: Floats
    trend: Floats
    jump: Floats
    jump_day: Whole
    severity: Floats
    reading: Floats


class _Booked(NamedTuple):
    """What is known of each job before the work, one a row; `high` is 1, -1 or 0 where no reading was taken."""

    day: Whole
    job_type: Whole
    family: Whole
    codes: Flags
    high: Whole


class _Range(NamedTuple):
    """The part numbers by family (row) and component (column), each a list of number and true share."""

    numbers: Sequence[Sequence[Sequence[tuple[str, float]]]]
    universal: Flags


class _Truth(NamedTuple):
    """What a firm is: its part numbers, what moves its needs, the jobs booked, what each takes of the components, and
    the base units that each family holds of a fluid."""

    parts: _Range
    effects: _Effects
    booked: _Booked
    took: Flags
    holds: Whole


def make_firm(seed: int, *, reading: float | None = None) -> Firm:
    """The firm of a seed. With `reading`, most jobs carry two readings from before the work, one of which moves the
    log odds of `TOLD` components by as much up or down (0: both are noise); all else stays as it is without."""
    dice = np.random.default_rng([seed, 24])
    parts, _, booked, took, holds = _truth(reading or 0.0, dice)
    needs = _needs(booked, took, parts, holds, dice)
    many = len(needs)
    readings = [""] * many if reading is None else _readings(booked, np.random.default_rng([seed, 25]))
    return Firm(_catalogue(parts), tuple(_finished(row, booked, needs[row], readings[row]) for row in range(many)))


def once_more(seed: int, turn: int, first_day: int) -> list[FinishedJob]:
    """The jobs of the same firm from a day on as they might have come instead: bookings like those of that time, what
    each took drawn afresh."""
    parts, effects, booked, _, holds = _truth(0.0, np.random.default_rng([seed, 24]))
    fresh = np.random.default_rng([seed, 26, turn])
    late = np.flatnonzero(booked.day >= first_day)
    rows = fresh.choice(late, int(fresh.poisson(len(late))))
    day = np.sort(fresh.integers(first_day, DAYS, len(rows)))
    again = _Booked(day, booked.job_type[rows], booked.family[rows], booked.codes[rows], booked.high[rows])
    needs = _needs(again, _took(again, effects, 0.0, fresh), parts, holds, fresh)
    return [_finished(row, again, needs[row], "") for row in range(len(rows))]


def _truth(reading: float, dice: np.random.Generator) -> _Truth:
    types = int(dice.integers(4, 7))
    size = _Size(int(dice.integers(4, 11)), types, 4 * types, int(dice.integers(300, 2001)))
    parts = _range(size, dice)
    effects = _effects(size, dice)
    booked = _booked(size, dice)
    took = _took(booked, effects, reading, dice)
    return _Truth(parts, effects, booked, took, _LITRES[dice.integers(0, len(_LITRES), size.families)])


def _range(size: _Size, dice: np.random.Generator) -> _Range:
    """Fluids and about three in ten of the rest for every family; two places with either of two numbers."""
    universal = dice.random(COMPONENTS) < 0.25
    universal[:FLUIDS] = True
    numbers = [
        [[(f"C{c:02}" if universal[c] else f"C{c:02}-{f + 1}", 1.0)] for c in range(COMPONENTS)]
        for f in range(size.families)
    ]
    for component in dice.choice(np.flatnonzero(~universal), 3, replace=False).tolist():
        family, share = int(dice.integers(size.families)), float(dice.uniform(0.3, 0.7))
        number = numbers[family][component][0][0]
        numbers[family][component] = [(f"{number}-LOW", share), (f"{number}-HIGH", 1 - share)]
    return _Range(numbers, universal)


def _effects(size: _Size, dice: np.random.Generator) -> _Effects:
    base = dice.choice([-5.0, -4.0, -3.0, -2.0], (size.types, COMPONENTS), p=[0.35, 0.25, 0.2, 0.2])
    for row in base:
        row[dice.choice(COMPONENTS, 3, replace=False)] = dice.uniform(0, 2.2, 3)
    base[:, :FLUIDS] = dice.uniform(-1.3, 2.4, (size.types, FLUIDS))
    code = dice.normal(0, 0.6, (size.codes, COMPONENTS)) * (dice.random((size.codes, COMPONENTS)) < 0.5)
    for row in code:
        row[dice.choice(COMPONENTS, 2, replace=False)] += dice.choice([-2.0, 2.0], 2)
    shape = (size.types, COMPONENTS)
    reading = np.zeros(COMPONENTS)
    reading[dice.choice(np.arange(FLUIDS, COMPONENTS), TOLD, replace=False)] = 1.0
    return _Effects(
        job_type=base,
        family=dice.normal(0, 0.7, (size.families, COMPONENTS)),
        both=dice.normal(0, 0.4, (size.families, size.types, COMPONENTS)),
        code=code,
        trend=dice.normal(0, 0.8, shape) * (dice.random(shape) < 0.3),
        jump=dice.normal(0, 1.2, shape) * (dice.random(shape) < 0.1),
        jump_day=dice.integers(200, 600, shape),
        severity=(dice.random(COMPONENTS) < 0.3).astype(np.float64),
        reading=reading,
    )


def _booked(size: _Size, dice: np.random.Generator) -> _Booked:
    job_type = dice.choice(size.types, size.jobs, p=dice.dirichlet(np.full(size.types, 3.0)))
    pools = [dice.choice(size.codes, CODES_A_TYPE, replace=False) for _ in range(size.types)]
    odds = [dice.dirichlet(np.full(CODES_A_TYPE, 2.0)) for _ in range(size.types)]
    codes = np.zeros((size.jobs, size.codes), dtype=np.bool_)
    for row, kind in enumerate(job_type.tolist()):
        many = int(dice.choice([0, 1, 2], p=[0.1, 0.6, 0.3]))
        codes[row, pools[kind][dice.choice(CODES_A_TYPE, many, replace=False, p=odds[kind])]] = True
    return _Booked(
        day=np.sort(dice.integers(0, DAYS, size.jobs)),
        job_type=job_type,
        family=dice.choice(size.families, size.jobs, p=dice.dirichlet(np.full(size.families, 2.0))),
        codes=codes,
        high=dice.choice([-1, 0, 1], size.jobs, p=[0.45, 0.25, 0.3]),
    )


def _took(booked: _Booked, effects: _Effects, reading: float, dice: np.random.Generator) -> Flags:
    """Which components each job takes (row, column)."""
    kind, family, day = booked.job_type, booked.family, booked.day[:, None]
    log_odds = effects.job_type[kind] + effects.family[family] + effects.both[family, kind]
    log_odds += booked.codes.astype(np.float64) @ effects.code
    log_odds += effects.trend[kind] * day / DAYS + effects.jump[kind] * (day > effects.jump_day[kind])
    log_odds += dice.normal(0, 0.7, (len(kind), 1)) * effects.severity
    log_odds += reading * booked.high[:, None] * effects.reading
    took: Flags = dice.random(log_odds.shape) < 1 / (1 + np.exp(-log_odds))
    for first, second in PAIRS:
        took[:, second] |= took[:, first] & (dice.random(len(took)) < SECOND_GIVEN_FIRST)
    return took


def _needs(
    booked: _Booked, took: Flags, parts: _Range, holds: Whole, dice: np.random.Generator
) -> list[dict[str, int]]:
    """The same in part numbers and base units: a fluid by what the family holds and the job, now and then a second."""
    litres = np.round(holds[booked.family] * dice.uniform(0.7, 1.4, len(took)) / 500).astype(int) * 500
    second, which = dice.random(took.shape) < 0.06, dice.random(took.shape)
    found: list[dict[str, int]] = []
    for row, family in enumerate(booked.family.tolist()):
        need: dict[str, int] = {}
        for component in np.flatnonzero(took[row]).tolist():
            choices = parts.numbers[family][component]
            number = choices[0 if which[row, component] < choices[0][1] else -1][0]
            need[number] = int(litres[row]) if component < FLUIDS else 1 + int(second[row, component])
        found.append(need)
    return found


def _readings(booked: _Booked, dice: np.random.Generator) -> list[str]:
    """At idle clearly on one side of the usual limit or the other; near 3,000 rpm for half of them, telling nothing."""
    low, high = dice.integers(8, 26, len(booked.high)), dice.integers(32, 80, len(booked.high))
    idle = ["" if side == 0 else f"idle {up if side > 0 else down} mbar"
            for side, down, up in zip(booked.high.tolist(), low.tolist(), high.tolist(), strict=True)]  # fmt: skip
    near = [f"3000 {mbar} mbar" if mbar else "" for mbar in _half(dice.integers(60, 240, len(idle)), dice)]
    return [";".join(filter(None, pair)) for pair in zip(idle, near, strict=True)]


def _half(values: Whole, dice: np.random.Generator) -> list[int]:
    kept: list[int] = np.where(dice.random(len(values)) < 0.5, values, 0).tolist()
    return kept


def _finished(row: int, booked: _Booked, need: dict[str, int], readings: str) -> FinishedJob:
    """Every seventh job's codes carry a suffix, which says nothing of the fault itself."""
    suffix = "-00" if row % 7 == 0 else ""
    codes = tuple(f"P{0x2400 + 13 * int(code):04X}{suffix}" for code in np.flatnonzero(booked.codes[row]))
    return FinishedJob(
        f"J{row:04}",
        START + timedelta(days=int(booked.day[row])),
        f"FAM-{int(booked.family[row]) + 1}",
        _TYPES[int(booked.job_type[row])],
        codes,
        need,
        readings,
    )


def _catalogue(parts: _Range) -> Catalogue:
    """The shares of a place with two numbers are listed to the nearest tenth."""
    known: dict[str, Part] = {}
    fits: dict[tuple[str, str], Fits] = {}
    for row, places in enumerate(parts.numbers):
        for component, choices in enumerate(places):
            family = EVERY_FAMILY if parts.universal[component] else f"FAM-{row + 1}"
            for number, share in choices:
                unit = "LTR" if component < FLUIDS else "C62"
                known[number] = Part(number, component=f"component {component:02}", unit=unit)
                fits[family, number] = Fits(family, number, round(share, 1))
    families = {f"FAM-{row + 1}": Family(f"FAM-{row + 1}") for row in range(len(parts.numbers))}
    return Catalogue(parts=known, families=families, fits=tuple(fits.values()))


class Period(NamedTuple):
    """Jobs foretold (rows) on the day of a cut, from the rows before them."""

    today: date
    past: slice
    coming: slice


class Table(NamedTuple):
    """A firm as arrays: one row a job, one column a part number, what it took and what fits its family; the component
    of each part and its share there; type, family and codes as columns of 0 and 1."""

    parts: tuple[str, ...]
    took: Flags
    fits: Flags
    share: Floats
    component: NDArray[np.intp]
    job_type: NDArray[np.intp]
    family: NDArray[np.intp]
    known: Floats

    @property
    def took_component(self) -> Floats:
        """What each job took by component."""
        of_component = np.eye(self.component.max() + 1)[self.component]
        return np.minimum(self.took @ of_component, 1.0)


def periods(jobs: Sequence[FinishedJob]) -> list[Period]:
    """The cuts of a firm's jobs, a whole day to one side each."""
    days = [job.date for job in jobs]
    starts = [days.index(days[int(len(days) * cut)]) for cut in CUTS]
    edges = pairwise([*starts, len(days)])
    return [Period(days[start], slice(0, start), slice(start, end)) for start, end in edges]


def tabled(firm: Firm) -> Table:
    """A firm as arrays."""
    jobs, parts = firm.jobs, tuple(sorted(firm.catalogue.parts))
    index = Index.of(jobs)
    marks = index.marks(jobs)
    listed = {(fits.family, fits.part): fits.share for fits in firm.catalogue.fits}
    shares = np.array([[listed.get((f, p), listed.get((EVERY_FAMILY, p), 0.0)) for p in parts] for f in index.families])
    names = [firm.catalogue.parts[part].component for part in parts]
    known = [np.eye(len(index.types))[marks.type_of], np.eye(len(index.families))[marks.family_of], marks.codes]
    return Table(
        parts=parts,
        took=np.array([[part in job.needs for part in parts] for job in jobs]),
        fits=shares[marks.family_of] > 0,
        share=shares[marks.family_of],
        component=np.array([sorted(set(names)).index(name) for name in names]),
        job_type=marks.type_of,
        family=marks.family_of,
        known=np.hstack(known).astype(np.float64),
    )

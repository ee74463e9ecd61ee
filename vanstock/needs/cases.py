"""Weighted cases: what a booked job will take, as a weighted draw from the finished jobs it resembles. Pure.

Each level of likeness (see `levels`), near to far, leans on the one above it for a worth in jobs (see `worths`):

    D_level = (sum of faded cases of the level + worth x D_above) / (n + worth)

with n the faded number of cases, a case fading by half in 365 days; the usual table, worth so many jobs, stands
beside the own cases of type and family. The marginal of this mixture is the beta-binomial (shrunken) estimate
(Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 5), and parts that go together stay together. A level with
nothing in it is the level above it, and none is worth more than the jobs that there are beyond it: a new firm's first
job does not speak louder than its usual table.

Of a far level with very many jobs, evenly spread ones stand for all (systematic sampling: Cochran, Sampling Techniques,
3rd ed. 1977, ch. 8), and a job may itself stand for others that were not read (`FinishedJob.stands_for`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from vanstock.codes import base_code
from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.model import EVERY_FAMILY, Catalogue, FinishedJob, Job, Usual
from vanstock.needs.families import FamilyCases, no_cases, with_cases
from vanstock.needs.levels import HALF_LIFE_DAYS, Index, Marks, bands_of, likeness, measured_alike
from vanstock.needs.mapping import Components, PartMap
from vanstock.needs.shrink import lent, shrunken
from vanstock.needs.worths import MOST_JOBS, History, UsualOdds, Worths, learnt

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.intp]
    Mask = NDArray[np.bool_]

LEVELS = (
    "same type, family and fault code",
    "same type and family",
    "same type and fault code, any family",
    "same type, any family",
    "all jobs",
)
_WITH_USUAL = 1
"""The level beside whose own cases the usual table stands."""
_FAR = 2
"""The first level that holds jobs on other families."""
MANY, FEW_OF_MANY = 4_000, 1_000
"""A far level of more jobs than `MANY` is stood for by so many of them. It is lent for a few dozen jobs at most, so
that what chance adds to it is little beside what chance does to those."""


class LevelShare(NamedTuple):
    """One level of likeness to a booked job: how many finished jobs are of it, how many they count for now, what the
    level above is worth beside them in jobs, and the share of the estimate that comes by this level."""

    name: str
    jobs: int
    faded: float
    worth: float
    share: float


class Evidence(NamedTuple):
    """What an estimate rests on: its levels near to far, each finished job with its weight in it, heaviest and newest
    first, the usual table's weight, and the worth in jobs that the table says it has."""

    levels: tuple[LevelShare, ...]
    jobs: tuple[tuple[FinishedJob, float], ...]
    usual_share: float
    usual_worth: float


class _Leaning(NamedTuple):
    """The weight of each finished job in an estimate, of the usual table last; the levels that it was made of."""

    weights: Floats
    levels: tuple[LevelShare, ...]


@dataclass(frozen=True, slots=True)
class CaseBook:
    """Every finished job as a case by component, faded to one day, ready to be asked for many jobs."""

    jobs: tuple[FinishedJob, ...]
    parts: PartMap
    worths: Worths
    usual: Mapping[tuple[str, str], tuple[Usual, ...]]
    distinct: tuple[Components, ...]
    case_of: Places
    fade: Floats
    stands_for: Floats
    index: Index
    marks: Marks
    _families: dict[object, FamilyCases] = field(default_factory=dict, repr=False, compare=False)
    _answers: dict[object, JobNeeds] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def build(
        cls,
        finished: Iterable[FinishedJob],
        catalogue: Catalogue,
        *,
        today: date,
        worths: Worths | None = None,
        parts: PartMap | None = None,
    ) -> CaseBook:
        """Lay out the cases once; the worths are learnt from these jobs unless they are given, the catalogue's `parts`
        worked out unless they are."""
        import numpy as np

        jobs = tuple(sorted(finished, key=lambda job: (job.date, job.job)))
        parts = (parts or PartMap.build(catalogue)).learning(jobs, today=today)
        cases = [_by_component(job, parts) for job in jobs]
        distinct = tuple(sorted(set(cases)))
        number = {case: i for i, case in enumerate(distinct)}
        age = np.array([max((today - job.date).days, 0) for job in jobs], dtype=np.float64)
        stands_for = np.array([job.stands_for for job in jobs], dtype=np.float64)
        index = Index.of(jobs)
        book = cls(
            jobs=jobs,
            parts=parts,
            worths=worths or Worths(),
            usual=_usual_by_kind(catalogue.usual),
            distinct=distinct,
            case_of=np.array([number[case] for case in cases], dtype=np.intp),
            fade=stands_for * 0.5 ** (age / HALF_LIFE_DAYS),
            stands_for=stands_for,
            index=index,
            marks=index.marks(jobs),
        )
        return book if worths else replace(book, worths=learnt(book.history()))

    def history(self) -> History:
        """The newest jobs that worths are learnt from in order of date, one a row, with what each took and could take
        of every component seen."""
        import numpy as np

        tail = slice(max(len(self.jobs) - MOST_JOBS, 0), None)
        jobs = self.jobs[tail]
        seen = sorted({component for case in self.distinct for component, _ in case})
        column = {component: i for i, component in enumerate(seen)}
        took = np.zeros((len(jobs), len(seen)), dtype=np.bool_)
        for row, case in enumerate(self.case_of[tail].tolist()):
            took[row, [column[component] for component, _ in self.distinct[case]]] = True
        kinds = sorted({(job.job_type, job.family) for job in jobs})
        known = [self.usual_rows(*kind) for kind in kinds]
        odds = np.zeros((len(kinds), len(seen)))
        for row, lines in enumerate(known):
            for line in lines:
                if line.component in column:
                    odds[row, column[line.component]] = line.probability
        can_be = np.array([[bool(self.parts.for_component(family, c)) for c in seen] for _, family in kinds], bool)
        number = {kind: i for i, kind in enumerate(kinds)}
        kind_of = np.array([number[job.job_type, job.family] for job in jobs], dtype=np.intp)
        day = np.array([job.date.toordinal() for job in jobs])
        worth = np.array([usual_worth(lines) for lines in known])
        usual = UsualOdds(odds[kind_of], worth[kind_of])
        return History(day, self.marks.rows(tail), took, can_be[kind_of], usual)

    def usual_rows(self, job_type: str, family: str) -> list[Usual]:
        """The usual rows for a job type and family: its own, and those for every family where it has none."""
        rows = {row.component: row for row in self.usual.get((job_type, EVERY_FAMILY), ())}
        rows |= {row.component: row for row in self.usual.get((job_type, family), ())}
        return [row for _, row in sorted(rows.items())]

    def needs_for(self, job: Job) -> JobNeeds:
        """What this job will probably take; jobs that are alike in all that matters share their answer."""
        key = (job.job_type, job.family, frozenset(map(base_code, job.codes)), job.chosen, tuple(bands_of(job)))
        if key not in self._answers:
            self._answers[key] = self._needs_of(job)
        return self._answers[key]._replace(job=job.job)

    def _needs_of(self, job: Job) -> JobNeeds:
        import numpy as np

        usual = self.usual_rows(job.job_type, job.family)
        leaning = self._leaning(job, usual_worth(usual))
        if leaning is None:
            return JobNeeds("", (), (), 0.0, 0, known=False)
        shares: Floats = np.bincount(self.case_of, leaning.weights[:-1], len(self.distinct)).astype(np.float64)
        prior = tuple(_choice(row, self.parts, job) for row in usual)
        like = leaning.levels[_WITH_USUAL].jobs
        return JobNeeds("", self._mapped(shares, job), prior, float(leaning.weights[-1]), like)

    def _leaning(self, job: Job, known: float) -> _Leaning | None:
        """Each finished job's weight, from all jobs down to the nearest level; None when there is nothing at all."""
        import numpy as np

        wanted = self.index.marks([job])
        weight = self.fade
        if self.worths.alike != 1 and any(bands.any() for bands in wanted.readings):
            weight = weight * self.worths.alike ** measured_alike(wanted, self.marks)[0]
        every = np.ones(len(self.jobs), dtype=np.bool_)
        masks = [*(level[0] for level in likeness(wanted, self.marks)), every]
        levels = [weight * mask if i < _FAR else _spread(weight, mask) for i, mask in enumerate(masks)]
        own = [np.append(level, known if i == _WITH_USUAL else 0.0) for i, level in enumerate(levels)]
        totals = [float(level.sum()) for level in own]
        lends = [lent(worth, totals[i + 1 :]) for i, worth in enumerate((*self.worths[:4], 0.0))]
        if not any(totals):
            return None
        estimate = np.zeros(len(self.jobs) + 1)
        for level, total, worth in zip(own[::-1], totals[::-1], lends[::-1], strict=True):
            if total + worth > 0:
                estimate = shrunken(level, total, estimate, worth)
        counts = [round(float(self.stands_for[mask].sum())) for mask in masks]
        faded = [float(level[:-1].sum()) for level in own]
        return _Leaning(estimate, _shares(counts, faded, totals, lends))

    def _mapped(self, shares: Floats, job: Job) -> tuple[WeightedCase, ...]:
        """Cases in the family's own part numbers, those that come out the same put together, by their first case."""
        import numpy as np

        known = self._family(shares > 0, job)
        rows = np.flatnonzero(shares[known.case] > 0)
        case, need = known.case[rows], known.need[rows]
        merged = np.bincount(need, shares[case] * known.probability[rows], len(known.needs))
        numbers, first = np.unique(need, return_index=True)
        ordered = numbers[np.argsort(first)]
        ordered = ordered[merged[ordered] > 0]
        return tuple(map(WeightedCase, merged[ordered].tolist(), map(known.needs.__getitem__, ordered.tolist())))

    def _family(self, wanted: Mask, job: Job) -> FamilyCases:
        """The cases wanted, and those before, in the part numbers of a job's family."""
        key = (job.family, job.chosen)
        if key not in self._families:
            self._families[key] = no_cases(len(self.distinct))
        if (wanted & ~self._families[key].there).any():
            self._families[key] = with_cases(self._families[key], wanted, (self.distinct, self.parts), job)
        return self._families[key]

    def evidence(self, job: Job) -> Evidence:
        """Which finished jobs the needs of this job rest on, and how much on each."""
        worth = usual_worth(self.usual_rows(job.job_type, job.family))
        leaning = self._leaning(job, worth)
        if leaning is None:
            return Evidence((), (), 0.0, 0.0)
        weighed = list(zip(self.jobs, leaning.weights.tolist(), strict=False))
        weighed.sort(key=lambda pair: (-round(pair[1], 12), -pair[0].date.toordinal(), pair[0].job))
        return Evidence(leaning.levels, tuple(weighed), float(leaning.weights[-1]), worth)


def job_needs(job: Job, finished: Sequence[FinishedJob], catalogue: Catalogue, *, today: date) -> JobNeeds:
    """What one job will probably take; build a `CaseBook` for many."""
    return CaseBook.build(finished, catalogue, today=today).needs_for(job)


def usual_worth(rows: Sequence[Usual]) -> float:
    """What the usual table is worth in jobs for a kind of job: the mean of its rows."""
    return sum(row.worth_jobs for row in rows) / len(rows) if rows else 0.0


def _shares(
    counts: Sequence[int], faded: Sequence[float], totals: Sequence[float], lends: Sequence[float]
) -> tuple[LevelShare, ...]:
    """How much of an estimate comes by each level, the usual table with it: its part of what nearer ones left to it."""
    left = 1.0
    found = []
    for name, count, weight, total, worth in zip(LEVELS, counts, faded, totals, lends, strict=True):
        own = left * total / (total + worth) if total > 0 else 0.0
        found.append(LevelShare(name, count, weight, worth, own))
        left -= own
    return tuple(found)


def _by_component(job: FinishedJob, parts: PartMap) -> Components:
    case: dict[str, int] = defaultdict(int)
    for part, qty in job.needs.items():
        case[parts.component_of.get(part, part)] += qty
    return tuple(sorted(case.items()))


def _spread(weight: Floats, mask: Mask) -> Floats:
    """The weights of a level: of its jobs, or of very many those of evenly spread ones, adding up to as much."""
    import numpy as np

    members = np.flatnonzero(mask)
    if len(members) <= MANY:
        return weight * mask
    kept = members[np.linspace(0, len(members) - 1, FEW_OF_MANY).astype(np.intp)]
    found = np.zeros(len(weight))
    found[kept] = weight[kept] * (weight[members].sum() / weight[kept].sum())
    return found


def _usual_by_kind(usual: Iterable[Usual]) -> dict[tuple[str, str], tuple[Usual, ...]]:
    table: dict[tuple[str, str], tuple[Usual, ...]] = defaultdict(tuple)
    for row in usual:
        table[row.job_type, row.family] += (row,)
    return dict(table)


def _choice(row: Usual, parts: PartMap, job: Job) -> ComponentChoice:
    served = parts.for_component(job.family, row.component, chosen=job.chosen)
    outcomes = [(row.probability * share, parts.with_riders({group: row.qty})) for share, group in served]
    return ComponentChoice(row.component, tuple(outcomes))

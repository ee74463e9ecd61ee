"""Weighted cases: what a booked job will take, as a weighted draw from the finished jobs it resembles. Pure.

Levels, near to far: same type and family; same type; all. Each lends the one below a fixed worth in jobs:

    D_near = (sum of faded own cases + w U + m D_type) / (n + w + m)
    D_type = (sum of faded cases of the type + m D_all) / (n_type + m)

with m = WORTH_JOBS, U the usual table (worth w jobs), n the faded number of cases, and a case fading by half in 365
days. The marginal of this mixture is the beta-binomial (shrunken) estimate (Gelman et al., Bayesian Data
Analysis, 3rd ed., ch. 5), and parts that go together stay together. A level with nothing in it drops out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from vanstock.model import (
    EVERY_FAMILY,
    Catalogue,
    ComponentChoice,
    FinishedJob,
    Job,
    JobNeeds,
    Usual,
    WeightedCase,
)
from vanstock.needs.mapping import PartMap

WORTH_JOBS = 4.0
HALF_LIFE_DAYS = 365.0

Components = tuple[tuple[str, int], ...]
Weights = dict[Components, float]


@dataclass(frozen=True, slots=True)
class FamilyCases:
    """Every case in one family's own part numbers: the distinct needs, and for each case the (probability,
    place in `needs`) pairs of what it may come out as."""

    needs: tuple[Mapping[str, int], ...]
    variants: Mapping[Components, tuple[tuple[float, int], ...]]


@dataclass(frozen=True, slots=True)
class CaseBook:
    """Every finished job as a case by component, faded to one day, ready to be asked for many jobs."""

    parts: PartMap
    near: Mapping[tuple[str, str], Weights]
    of_type: Mapping[str, Weights]
    everything: Weights
    counts: Mapping[tuple[str, str], int]
    usual: Mapping[tuple[str, str], tuple[Usual, ...]]
    _families: dict[str, FamilyCases] = field(default_factory=dict, repr=False, compare=False)
    _answers: dict[tuple[str, str], JobNeeds] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def build(cls, finished: Iterable[FinishedJob], catalogue: Catalogue, *, today: date) -> CaseBook:
        """Sort the cases by level once."""
        jobs = list(finished)
        parts = PartMap.build(catalogue).learning(jobs)
        near: dict[tuple[str, str], Weights] = defaultdict(lambda: defaultdict(float))
        of_type: dict[str, Weights] = defaultdict(lambda: defaultdict(float))
        everything: Weights = defaultdict(float)
        counts: dict[tuple[str, str], int] = defaultdict(int)
        for job in jobs:
            case = _by_component(job, parts)
            weight = 0.5 ** (max((today - job.date).days, 0) / HALF_LIFE_DAYS)
            near[job.job_type, job.family][case] += weight
            of_type[job.job_type][case] += weight
            everything[case] += weight
            counts[job.job_type, job.family] += 1
        return cls(parts, near, of_type, everything, counts, _usual_by_kind(catalogue.usual))

    def needs_for(self, job: Job) -> JobNeeds:
        """What this job will probably take; jobs of one type and family share their cases."""
        kind = (job.job_type, job.family)
        if kind not in self._answers:
            self._answers[kind] = self._needs_of(kind)
        return self._answers[kind]._replace(job=job.job)

    def _needs_of(self, kind: tuple[str, str]) -> JobNeeds:
        job_type, family = kind
        own = self.near.get(kind, {})
        above = _mixed(self.of_type.get(job_type, {}), self.everything)
        usual = _usual_rows(self.usual, kind)
        worth = sum(row.worth_jobs for row in usual) / len(usual) if usual else 0.0
        lent = WORTH_JOBS if above else 0.0
        total = sum(own.values()) + worth + lent
        if total <= 0:
            return JobNeeds("", (), (), 0.0, 0, known=False)
        shares: Weights = {case: weight / total for case, weight in own.items()}
        for case, weight in above.items():
            shares[case] = shares.get(case, 0.0) + lent * weight / total
        prior = tuple(_choice(row, self.parts, family) for row in usual)
        return JobNeeds("", self._mapped(shares, family), prior, worth / total, self.counts.get(kind, 0))

    def _mapped(self, shares: Weights, family: str) -> tuple[WeightedCase, ...]:
        """Cases in the family's own part numbers, those that come out the same put together."""
        if family not in self._families:
            self._families[family] = _family_cases(self.everything, self.parts, family)
        known = self._families[family]
        merged = [0.0] * len(known.needs)
        for case, weight in shares.items():
            for probability, place in known.variants[case]:
                merged[place] += weight * probability
        return tuple(WeightedCase(weight, known.needs[i]) for i, weight in enumerate(merged) if weight > 0)


def job_needs(job: Job, finished: Sequence[FinishedJob], catalogue: Catalogue, *, today: date) -> JobNeeds:
    """What one job will probably take; build a `CaseBook` for many."""
    return CaseBook.build(finished, catalogue, today=today).needs_for(job)


def still_needed(needs: JobNeeds, fitted: Mapping[str, int]) -> JobNeeds:
    """What a job that has been begun still takes: its needs less what was fitted, base units by group."""
    cases = tuple(WeightedCase(case.weight, _less(case.needs, fitted)) for case in needs.cases)
    prior = tuple(
        choice._replace(outcomes=tuple((p, _less(need, fitted)) for p, need in choice.outcomes))
        for choice in needs.prior
    )
    return needs._replace(cases=cases, prior=prior)


def _less(need: Mapping[str, int], fitted: Mapping[str, int]) -> Mapping[str, int]:
    return {group: qty - fitted.get(group, 0) for group, qty in need.items() if qty > fitted.get(group, 0)}


def _by_component(job: FinishedJob, parts: PartMap) -> Components:
    case: dict[str, int] = defaultdict(int)
    for part, qty in job.needs.items():
        case[parts.component_of.get(part, part)] += qty
    return tuple(sorted(case.items()))


def _mixed(of_type: Mapping[Components, float], everything: Mapping[Components, float]) -> Weights:
    """The distribution of the type, leaning on all jobs, with weights that add up to 1; empty for none."""
    total_all = sum(everything.values())
    lent = WORTH_JOBS if total_all else 0.0
    total = sum(of_type.values()) + lent
    mixed = {case: lent * weight / total_all / total for case, weight in everything.items()} if total_all else {}
    for case, weight in of_type.items():
        mixed[case] = mixed.get(case, 0.0) + weight / total
    return mixed


def _family_cases(cases: Iterable[Components], parts: PartMap, family: str) -> FamilyCases:
    drawn = {case: parts.variants(family, dict(case)) for case in cases}
    keys = sorted({tuple(sorted(need.items())) for variants in drawn.values() for _, need in variants})
    place = {key: i for i, key in enumerate(keys)}
    variants = {
        case: tuple((probability, place[tuple(sorted(need.items()))]) for probability, need in found)
        for case, found in drawn.items()
    }
    return FamilyCases(tuple(dict(key) for key in keys), variants)


def _usual_by_kind(usual: Iterable[Usual]) -> dict[tuple[str, str], tuple[Usual, ...]]:
    table: dict[tuple[str, str], tuple[Usual, ...]] = defaultdict(tuple)
    for row in usual:
        table[row.job_type, row.family] += (row,)
    return table


def _usual_rows(usual: Mapping[tuple[str, str], tuple[Usual, ...]], kind: tuple[str, str]) -> list[Usual]:
    """The usual rows for a job type and family: its own, and those for every family where it has none."""
    rows = {row.component: row for row in usual.get((kind[0], EVERY_FAMILY), ())}
    rows |= {row.component: row for row in usual.get(kind, ())}
    return [row for _, row in sorted(rows.items())]


def _choice(row: Usual, parts: PartMap, family: str) -> ComponentChoice:
    served = parts.for_component(family, row.component)
    outcomes = [(row.probability * share, parts.with_riders({group: row.qty})) for share, group in served]
    return ComponentChoice(row.component, tuple(outcomes))

"""The odds that booked jobs are finished with what is aboard. Pure; numpy inside.

A job is finished when everything it needs is aboard when its turn comes, jobs in time order, earlier jobs
drawing first whether or not they are finished. One job, or the first of a day, is an exact sum; a later job
is the share of seeded draws in which it is finished, with the standard error of that share.

    P(job n finished) = P(for every part it needs: draws of jobs 1..n together <= stock)

(Smith, Chambers and Shlifer, Management Science 26, 1980, for the kit; Mamer and Smith 1982.)
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod, sqrt
from typing import TYPE_CHECKING

from vanstock.model import ComponentChoice, JobNeeds

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class Odds:
    """The probability that a job is finished (None: nothing known), and its standard error."""

    probability: float | None
    standard_error: float


@dataclass(frozen=True, slots=True)
class DayOdds:
    """Odds of each job of a day in order, and of finishing them all."""

    jobs: tuple[Odds, ...]
    all_done: float | None


def job_odds(needs: JobNeeds, supply: Mapping[str, int]) -> float | None:
    """The exact probability that one job alone is finished with `supply` base units by stock group."""
    if not needs.known:
        return None
    done = sum(case.weight for case in needs.cases if _aboard(case.needs, supply))
    return min(1.0, done + needs.prior_weight * _prior_odds(needs.prior, supply))


def _aboard(need: Mapping[str, int], supply: Mapping[str, int]) -> bool:
    return all(qty <= supply.get(group, 0) for group, qty in need.items())


def _prior_odds(prior: Sequence[ComponentChoice], supply: Mapping[str, int]) -> float:
    """Choices that share no group are independent: a product over clusters, each enumerated."""
    return prod(_cluster_odds(cluster, supply) for cluster in _clusters(prior))


def _clusters(prior: Sequence[ComponentChoice]) -> list[list[ComponentChoice]]:
    clusters: list[tuple[set[str], list[ComponentChoice]]] = []
    for choice in prior:
        groups = {group for _, need in choice.outcomes for group in need}
        joined = [cluster for cluster in clusters if cluster[0] & groups]
        apart = [cluster for cluster in clusters if not cluster[0] & groups]
        merged = (groups.union(*(c[0] for c in joined)), [*itertools.chain(*(c[1] for c in joined)), choice])
        clusters = [*apart, merged]
    return [choices for _, choices in clusters]


def _cluster_odds(cluster: Sequence[ComponentChoice], supply: Mapping[str, int]) -> float:
    outcomes = [[(1.0 - sum(p for p, _ in choice.outcomes), {}), *choice.outcomes] for choice in cluster]
    done = 0.0
    for combination in itertools.product(*outcomes):
        total: dict[str, int] = {}
        for _, need in combination:
            for group, qty in need.items():
                total[group] = total.get(group, 0) + qty
        if _aboard(total, supply):
            done += prod(probability for probability, _ in combination)
    return done


@dataclass(frozen=True, slots=True)
class JobDraws:
    """Which outcome each of the draws of one job fell on: for the cases, then for each prior choice on the
    draws that fell on the prior. Tables give base units by outcome, one column for each group drawn."""

    tables: tuple[Mapping[str, NDArray[np.int64]], ...]
    picks: tuple[NDArray[np.intp], ...]
    from_prior: NDArray[np.intp]

    def largest(self, group: str) -> int:
        """The most that this job can take of a group."""
        return sum(int(table[group].max()) for table in self.tables if group in table)

    def column(self, group: str) -> NDArray[np.int64] | None:
        """Base units of a group in every draw; None when the job never takes it."""
        import numpy as np

        touched = [(i, table[group]) for i, table in enumerate(self.tables) if group in table]
        if not touched:
            return None
        drawn = np.zeros(len(self.picks[0]), dtype=np.int64)
        for i, outcomes in touched:
            if i == 0:
                drawn += outcomes[self.picks[0]]
            else:
                drawn[self.from_prior] += outcomes[self.picks[i]]
        return drawn


@dataclass(frozen=True, slots=True)
class DayDraws:
    """Seeded draws of a day's jobs in order. The same draws serve every question about the day, so that
    two answers differ only by the stock they were asked with."""

    needs: tuple[JobNeeds, ...]
    groups: tuple[str, ...]
    drawn: tuple[JobDraws, ...]
    draws: int

    def with_stock(self, supply: Mapping[str, int]) -> DayOdds:
        """The odds of each job in order, earlier ones drawing first."""
        import numpy as np

        done = [np.ones(self.draws, dtype=bool) for _ in self.needs]
        for group in self.groups:
            held = supply.get(group, 0)
            if sum(job.largest(group) for job in self.drawn) > held:
                self._mark_short(group, held, done)
        jobs = tuple(
            _odds(needs, supply, float(ok.mean()), self.draws, first=place == 0)
            for place, (needs, ok) in enumerate(zip(self.needs, done, strict=True))
        )
        if not all(needs.known for needs in self.needs):
            return DayOdds(jobs, None)
        return DayOdds(jobs, jobs[0].probability if len(jobs) == 1 else float(np.all(done, axis=0).mean()))

    def _mark_short(self, group: str, held: int, done: list[NDArray[np.bool_]]) -> None:
        import numpy as np

        taken = np.zeros(self.draws, dtype=np.int64)
        for job, ok in zip(self.drawn, done, strict=True):
            need = job.column(group)
            if need is not None:
                taken += need
                ok &= (need == 0) | (taken <= held)

    def total_quantiles(self, probability: float) -> dict[str, int]:
        """By group, the least base units that hold the day's whole need with this probability."""
        import numpy as np

        rank = max(int(np.ceil(probability * self.draws)) - 1, 0)
        found = {}
        for group in self.groups:
            columns = [need for job in self.drawn if (need := job.column(group)) is not None]
            found[group] = int(np.partition(np.sum(columns, axis=0), rank)[rank])
        return found


def _odds(needs: JobNeeds, supply: Mapping[str, int], share: float, draws: int, *, first: bool) -> Odds:
    if not needs.known:
        return Odds(None, 0.0)
    if first:
        return Odds(job_odds(needs, supply), 0.0)
    return Odds(share, sqrt(share * (1 - share) / draws))


def draw_day(jobs: Sequence[JobNeeds], *, seed: int, draws: int = DRAWS) -> DayDraws:
    """Draw what each job of a day takes, `draws` times; the same seed always gives the same draws."""
    import numpy as np

    rng = np.random.default_rng(seed)
    groups = tuple(sorted({group for needs in jobs for group in _groups_of(needs)}))
    return DayDraws(tuple(jobs), groups, tuple(_draw(needs, rng, draws) for needs in jobs), draws)


def _groups_of(needs: JobNeeds) -> set[str]:
    cases = {group for case in needs.cases for group in case.needs}
    return cases | {group for choice in needs.prior for _, need in choice.outcomes for group in need}


def _draw(needs: JobNeeds, rng: np.random.Generator, draws: int) -> JobDraws:
    import numpy as np

    edges = np.cumsum([*(case.weight for case in needs.cases), needs.prior_weight])
    last = len(needs.cases)
    which = np.minimum(np.searchsorted(edges, rng.random(draws) * edges[-1], side="right"), last)
    from_prior = np.flatnonzero(which == last)
    tables, picks = [_table([case.needs for case in needs.cases])], [which]
    for choice in needs.prior:
        limits = np.cumsum([probability for probability, _ in choice.outcomes])
        picks.append(np.searchsorted(limits, rng.random(len(from_prior)), side="right"))
        tables.append(_table([need for _, need in choice.outcomes]))
    return JobDraws(tuple(tables), tuple(picks), from_prior)


def _table(outcomes: Sequence[Mapping[str, int]]) -> dict[str, NDArray[np.int64]]:
    """By group, base units for each outcome, and 0 for one more: nothing taken."""
    import numpy as np

    groups = sorted({group for need in outcomes for group in need})
    return {g: np.array([*(need.get(g, 0) for need in outcomes), 0], dtype=np.int64) for g in groups}


def day_odds(jobs: Sequence[JobNeeds], supply: Mapping[str, int], *, seed: int, draws: int = DRAWS) -> DayOdds:
    """The odds of a day's jobs in time order with `supply` base units by stock group."""
    return draw_day(jobs, seed=seed, draws=draws).with_stock(supply) if jobs else DayOdds((), None)


def day_need_quantiles(
    jobs: Sequence[JobNeeds], *, probability: float, seed: int, draws: int = DRAWS
) -> dict[str, int]:
    """By group, the least base units that hold all these jobs' need with this probability."""
    return draw_day(jobs, seed=seed, draws=draws).total_quantiles(probability) if jobs else {}

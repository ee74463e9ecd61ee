"""The odds that a day's jobs are finished, by seeded draws. Pure; numpy inside.

Jobs come in time order, earlier jobs drawing first whether or not they are finished. The first of a day is an exact
sum (see `odds`); a later one is the share of draws in which it is finished, with the standard error of that share.

    P(job n finished) = P(for every part it needs: draws of jobs 1..n together <= stock)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, sqrt
from typing import TYPE_CHECKING

from vanstock.jobneeds import JobNeeds
from vanstock.kit.odds import job_odds

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = tuple[NDArray[np.intp], NDArray[np.int64]]

DRAWS = 20_000
_FEW = 2**15 - 1
"""Outcomes up to this many are numbered in 16 bits, which sort several times quicker."""


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


@dataclass(frozen=True, slots=True)
class Take:
    """The draws (each once) in which one job of the day takes some of one group, and how much."""

    place: int
    index: NDArray[np.intp]
    qty: NDArray[np.int64]
    most: int


@dataclass(frozen=True, slots=True)
class DayDraws:
    """Seeded draws of a day's jobs in order. The same draws serve every question about the day, so that
    two answers differ only by the stock they were asked with. `takes` is by group, in order of jobs."""

    needs: tuple[JobNeeds, ...]
    takes: Mapping[str, Sequence[Take]]
    draws: int
    _asked: dict[object, list[dict[str, Rows]]] = field(default_factory=dict, repr=False, compare=False)

    def with_stock(self, supply: Mapping[str, int]) -> DayOdds:
        """The odds of each job in order, earlier ones drawing first."""
        done = self._done(supply)
        jobs = tuple(
            _odds(needs, supply, float(done[place].mean()), self.draws, first=place == 0)
            for place, needs in enumerate(self.needs)
        )
        if not jobs or not all(needs.known for needs in self.needs):
            return DayOdds(jobs, None)
        return DayOdds(jobs, jobs[0].probability if len(jobs) == 1 else float(done.all(axis=0).mean()))

    def expected(self, supply: Mapping[str, int]) -> float:
        """How many of the jobs are finished with this stock, by the draws."""
        return float(self._done(supply).sum()) / self.draws

    def gains(
        self, supply: Mapping[str, int], filled: Mapping[str, int], *, since: Mapping[str, int] | None = None
    ) -> dict[str, tuple[float, ...]]:
        """By group of `filled`, for each job: the odds lost if all were brought up to `filled` but this one.

        What is named in `since` is only there from the job at that place on; the rest before the first job.
        """
        lacking = self._lacking(supply, filled, since or {})
        found = {}
        for group in filled:
            lost = [0.0] * len(self.needs)
            for place, index, _ in self._short(group, supply.get(group, 0)):
                lost[place] = int((lacking[place][index] == 0).sum()) / self.draws
            found[group] = tuple(lost)
        return found

    def cured(self, supply: Mapping[str, int], place: int, groups: Collection[str]) -> float:
        """The odds that one job gains if none of these groups could run short on it, all else as it is."""
        import numpy as np

        short, others = (np.zeros(self.draws, dtype=np.bool_) for _ in range(2))
        for group, (index, _) in self._short_of(supply)[place].items():
            short[index] = True
            if group not in groups:
                others[index] = True
        return float((short & ~others).mean())

    def shortfalls(self, supply: Mapping[str, int]) -> list[dict[str, tuple[float, int]]]:
        """For each job: by group, the share of draws in which it is short when the job's turn comes, and
        the median base units missing when it is."""
        import numpy as np

        return [
            {
                group: (len(index) / self.draws, int(np.sort(missing)[(len(missing) - 1) // 2]))
                for group, (index, missing) in job.items()
            }
            for job in self._short_of(supply)
        ]

    def _short_of(self, supply: Mapping[str, int]) -> list[dict[str, Rows]]:
        """For each job, by group, the draws in which it is short and the base units missing; kept for the stock that
        was asked about last, since many questions are about one."""
        key = frozenset(supply.items())
        if key not in self._asked:
            found: list[dict[str, Rows]] = [{} for _ in self.needs]
            for group in self.takes:
                for place, index, missing in self._short(group, supply.get(group, 0)):
                    found[place][group] = index, missing
            self._asked.clear()
            self._asked[key] = found
        return self._asked[key]

    def total_quantiles(self, probability: float) -> dict[str, int]:
        """By group, the least base units that hold the day's whole need with this probability."""
        import numpy as np

        top = from_top(probability, self.draws)
        found = dict.fromkeys(self.takes, 0)
        for group, takes in self.takes.items():
            if sum(len(take.index) for take in takes) >= top:
                total = np.zeros(self.draws, dtype=np.int64)
                for take in takes:
                    total[take.index] += take.qty
                found[group] = nth_from_top(total, top)
        return found

    def _done(self, supply: Mapping[str, int]) -> NDArray[np.bool_]:
        """Which jobs (row) are finished in which draws (column): `_lacking` without the counting."""
        import numpy as np

        done = np.ones((len(self.needs), self.draws), dtype=np.bool_)
        left = np.empty(self.draws, dtype=np.int64)
        for group, takes in self.takes.items():
            held = max(supply.get(group, 0), 0)
            if sum(take.most for take in takes) <= held:
                continue
            left.fill(held)
            most = 0
            for take in takes:
                after = left[take.index]
                after -= take.qty
                left[take.index] = after
                most += take.most
                if most > held:
                    done[take.place][take.index[after < 0]] = False
        return done

    def _lacking(
        self, supply: Mapping[str, int], filled: Mapping[str, int], since: Mapping[str, int]
    ) -> NDArray[np.int32]:
        """How many groups each job (row) lacks in each draw (column) with some brought up to `filled`."""
        import numpy as np

        lacking = np.zeros((len(self.needs), self.draws), dtype=np.int32)
        for group in self.takes:
            held = supply.get(group, 0)
            later = (since[group], filled[group]) if group in since else None
            for place, index, _ in self._short(group, held if later else filled.get(group, held), later):
                lacking[place, index] += 1
        return lacking

    def _short(
        self, group: str, held: int, later: tuple[int, int] | None = None
    ) -> Iterator[tuple[int, NDArray[np.intp], NDArray[np.int64]]]:
        """For each job that lacks the group in some draws: its place, those draws, base units missing.

        `later` is the place of the first job before which more comes, and what there is with it in all.
        """
        import numpy as np

        takes = self.takes.get(group, ())
        held = max(held, 0)
        if sum(take.most for take in takes) <= held:
            return
        left = np.full(self.draws, held)
        for take in takes:
            if later and take.place >= later[0]:
                left += max(later[1] - held, 0)
                later = None
            after = left[take.index] - take.qty
            left[take.index] = np.maximum(after, 0)
            short = np.flatnonzero(after < 0)
            if len(short):
                yield take.place, take.index[short], -after[short]


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
    takes: dict[str, list[Take]] = defaultdict(list)
    for place, needs in enumerate(jobs):
        for group, parts in drawn(needs, rng, draws).items():
            index, qty = parts[0] if len(parts) == 1 else _summed(parts, draws)
            takes[group].append(Take(place, index, qty, int(qty.max())))
    return DayDraws(tuple(jobs), dict(sorted(takes.items())), draws)


def drawn(needs: JobNeeds, rng: np.random.Generator, draws: int, *, evenly: bool = False) -> dict[str, list[Rows]]:
    """By group, (draws, base units) from the cases, and from each prior choice on the other draws; `evenly`, so that
    each case comes up as often as its weight says, but for less than two draws."""
    import numpy as np

    numbers = evenly_spread if evenly else _at_random
    weights, taken = zip(*needs.cases, strict=True) if needs.cases else ((), ())
    edges = np.cumsum([*weights, needs.prior_weight])
    last = len(needs.cases)
    which = np.minimum(np.searchsorted(edges, numbers(rng, draws) * edges[-1], side="right"), last)
    found: dict[str, list[Rows]] = defaultdict(list)
    for group, rows in _spread(taken, which, np.arange(draws)):
        found[group].append(rows)
    from_prior = np.flatnonzero(which == last)
    for choice in needs.prior:
        limits = np.cumsum([probability for probability, _ in choice.outcomes])
        picks = np.searchsorted(limits, numbers(rng, len(from_prior)), side="right")
        for group, rows in _spread([need for _, need in choice.outcomes], picks, from_prior):
            found[group].append(rows)
    return found


def _at_random(rng: np.random.Generator, many: int) -> NDArray[np.float64]:
    return rng.random(many)


def evenly_spread(rng: np.random.Generator, many: int) -> NDArray[np.float64]:
    """Numbers from 0 to 1, one at random in each of so many equal parts, in random order: what is drawn by them comes
    out as often as it should, and several of them side by side are Latin hypercube samples (McKay, Beckman and
    Conover, Technometrics 21, 1979)."""
    import numpy as np

    found: NDArray[np.float64] = (rng.permutation(many) + rng.random(many)) / max(many, 1)
    return np.minimum(found, 1 - 2**-53)


def _spread(
    outcomes: Sequence[Mapping[str, int]], picks: NDArray[np.intp], draws: NDArray[np.intp]
) -> Iterator[tuple[str, Rows]]:
    """By group, the draws that picked an outcome which takes some of it, and how much.

    Draws are put in order of what they picked, so that those of one outcome are a run, and the runs of all
    outcomes that take some of a group are laid end to end, group after group, in one go.
    """
    import numpy as np

    counts = np.bincount(picks, minlength=len(outcomes) + 1)
    starts = np.cumsum(counts) - counts
    picked = np.flatnonzero(counts[: len(outcomes)]).tolist()
    rows = sorted((group, place, qty) for place in picked for group, qty in outcomes[place].items())
    if not rows:
        return
    groups, places, amounts = zip(*rows, strict=True)
    lengths = counts[list(places)]
    ends = np.cumsum(lengths)
    run = np.arange(ends[-1]) + np.repeat(starts[list(places)] - (ends - lengths), lengths)
    order = np.argsort(picks.astype(np.int16) if len(outcomes) < _FEW else picks, kind="stable")
    index, qty = draws[order][run], np.repeat(np.array(amounts, dtype=np.int64), lengths)
    begun = 0
    for last, group in enumerate(groups):
        if last + 1 == len(groups) or groups[last + 1] != group:
            end = int(ends[last])
            yield group, (index[begun:end], qty[begun:end])
            begun = end


def _summed(parts: Sequence[Rows], draws: int) -> Rows:
    import numpy as np

    total = np.zeros(draws, dtype=np.int64)
    for index, qty in parts:
        total[index] += qty
    index = np.flatnonzero(total)
    return index, total[index]


def day_odds(jobs: Sequence[JobNeeds], supply: Mapping[str, int], *, seed: int, draws: int = DRAWS) -> DayOdds:
    """The odds of a day's jobs in time order with `supply` base units by stock group."""
    return draw_day(jobs, seed=seed, draws=draws).with_stock(supply) if jobs else DayOdds((), None)


def from_top(probability: float, draws: int) -> int:
    """Which of so many sorted draws, counted from the highest, holds with this probability."""
    return draws - min(max(ceil(probability * draws - 1e-9) - 1, 0), draws - 1)


def nth_from_top(total: NDArray[np.int64], top: int) -> int:
    """The draw at this place from the highest; 0 where fewer take anything."""
    taken = total[total > 0]
    taken.sort()
    return int(taken[-top]) if len(taken) >= top else 0

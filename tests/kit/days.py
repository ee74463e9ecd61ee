"""Small jobs and days for the tests of this room, and their odds the slow and obvious way: by running through every
combination of outcomes, or through every draw one by one."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from math import prod

from hypothesis import strategies as st

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.draws import DayDraws

GROUPS = ("a", "b", "c")
NOTHING = JobNeeds("N", (WeightedCase(1.0, {}),), (), 0.0, 9)
"""A job that takes nothing. Put first in a day, it leaves every other job's odds to the draws."""
UNKNOWN = JobNeeds("U", (), (), 0.0, 0, known=False)

need = st.dictionaries(st.sampled_from(GROUPS), st.integers(1, 3), max_size=3)
supplies = st.fixed_dictionaries({group: st.integers(0, 6) for group in GROUPS})
extras = st.fixed_dictionaries({}, optional={group: st.integers(1, 4) for group in GROUPS})


@st.composite
def job_needs(draw: st.DrawFn) -> JobNeeds:
    cases = draw(st.lists(need, min_size=1, max_size=4))
    weights = draw(st.lists(st.integers(1, 9), min_size=len(cases) + 1, max_size=len(cases) + 1))
    prior = []
    for index in range(draw(st.integers(0, 3))):
        chance = draw(st.sampled_from([0.1, 0.25, 0.5]))
        prior.append(ComponentChoice(f"c{index}", ((chance, draw(need)), (chance, draw(need)))))
    shares = [weight / sum(weights) for weight in weights]
    pairs = zip(shares, cases, strict=False)
    return JobNeeds("J", tuple(WeightedCase(w, n) for w, n in pairs), tuple(prior), shares[-1], 5)


def job_of(*cases: tuple[float, Mapping[str, int]], job: str = "J") -> JobNeeds:
    """A job with these cases, (weight, needs), and with the rest of the weight one that takes nothing."""
    rest = 1 - sum(weight for weight, _ in cases)
    full = [*cases, (rest, {})] if rest > 1e-12 else list(cases)
    return JobNeeds(job, tuple(WeightedCase(weight, needs) for weight, needs in full), (), 0.0, 20)


def independent(chances: Mapping[str, float]) -> JobNeeds:
    """A job that takes one of each group with its own chance, independently."""
    return JobNeeds("J", (), tuple(ComponentChoice(g, ((p, {g: 1}),)) for g, p in chances.items() if p), 1.0, 0)


def outcomes(needs: JobNeeds) -> list[tuple[float, dict[str, int]]]:
    """Every outcome of a job with its probability."""
    found = [(case.weight, dict(case.needs)) for case in needs.cases]
    choices = [[*choice.outcomes, (1 - sum(p for p, _ in choice.outcomes), {})] for choice in needs.prior]
    for combination in itertools.product(*choices):
        total: dict[str, int] = {}
        for _, taken in combination:
            for group, qty in taken.items():
                total[group] = total.get(group, 0) + qty
        found.append((needs.prior_weight * prod(p for p, _ in combination), total))
    return found


def enumerated(jobs: Sequence[JobNeeds], supply: Mapping[str, int]) -> tuple[list[float], float]:
    """The odds of each job of a day and of all, by running through every combination of outcomes."""
    odds, all_done = [0.0] * len(jobs), 0.0
    for combination in itertools.product(*(outcomes(job) for job in jobs)):
        weight, taken, done = prod(p for p, _ in combination), dict.fromkeys(GROUPS, 0), []
        for _, wanted in combination:
            for group, qty in wanted.items():
                taken[group] += qty
            done.append(all(taken[group] <= supply.get(group, 0) for group in wanted))
        odds = [so_far + weight * is_done for so_far, is_done in zip(odds, done, strict=True)]
        all_done += weight * all(done)
    return odds, all_done


def drawn(day: DayDraws) -> list[list[dict[str, int]]]:
    """What each job takes, draw by draw."""
    found: list[list[dict[str, int]]] = [[{} for _ in day.needs] for _ in range(day.draws)]
    for group, takes in day.takes.items():
        for take in takes:
            for index, qty in zip(take.index.tolist(), take.qty.tolist(), strict=True):
                found[index][take.place][group] = qty
    return found


def walked(
    jobs: Sequence[Mapping[str, int]], supply: Mapping[str, int], more: Mapping[str, tuple[int, int]] | None = None
) -> Iterator[dict[str, int]]:
    """What each job of one draw is short of, and by how much; `more` is (place before which it comes, base units)."""
    left = {group: max(qty, 0) for group, qty in supply.items()}
    for place, wanted in enumerate(jobs):
        for group, (since, qty) in (more or {}).items():
            if since == place:
                left[group] = left.get(group, 0) + qty
        yield {group: qty - left.get(group, 0) for group, qty in wanted.items() if qty > left.get(group, 0)}
        for group, qty in wanted.items():
            left[group] = max(left.get(group, 0) - qty, 0)

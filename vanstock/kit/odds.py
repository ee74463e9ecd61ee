"""The odds that one booked job is finished with what is aboard: an exact sum. Pure, and plain Python.

A job is finished when everything it needs is aboard. Several jobs one after another are drawn (see `draws`).

    P(finished) = sum of the weights of the cases that stock covers + prior weight x P(independent choices covered)

(Smith, Chambers and Shlifer, Management Science 26, 1980, for the kit; Mamer and Smith 1982.)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import prod

from vanstock.jobneeds import ComponentChoice, JobNeeds

Outcomes = Sequence[tuple[float, Mapping[str, int]]]
"""(probability, base units by stock group); what is missing to 1 is the chance that nothing is taken."""


def job_odds(needs: JobNeeds, supply: Mapping[str, int]) -> float | None:
    """The exact probability that one job alone is finished with `supply` base units by stock group."""
    if not needs.known:
        return None
    done = sum(case.weight for case in needs.cases if _aboard(case.needs, supply))
    if needs.prior_weight > 0:
        done += needs.prior_weight * _prior_odds(needs.prior, supply)
    return min(1.0, max(0.0, done))


def _aboard(need: Mapping[str, int], supply: Mapping[str, int]) -> bool:
    return all(qty <= supply.get(group, 0) for group, qty in need.items())


def _prior_odds(prior: Sequence[ComponentChoice], supply: Mapping[str, int]) -> float:
    """Choices that share no scarce group are independent: a product over clusters, each summed exactly."""
    return prod(_cluster_odds(cluster, supply) for cluster in _clusters(_scarce(prior, supply)))


def _scarce(prior: Sequence[ComponentChoice], supply: Mapping[str, int]) -> list[Outcomes]:
    """The choices without the groups that cannot run short even if every choice takes its most."""
    most: dict[str, int] = defaultdict(int)
    for choice in prior:
        for group in touched(choice.outcomes):
            most[group] += max(need.get(group, 0) for _, need in choice.outcomes)
    short = {group for group, qty in most.items() if qty > supply.get(group, 0)}
    trimmed = [[(p, {g: need[g] for g in need.keys() & short}) for p, need in c.outcomes] for c in prior]
    return [outcomes for outcomes in trimmed if touched(outcomes)]


def touched(outcomes: Outcomes) -> set[str]:
    """The groups that any outcome takes some of."""
    return {group for _, need in outcomes for group in need}


def _clusters(choices: Sequence[Outcomes]) -> list[list[Outcomes]]:
    clusters: list[tuple[set[str], list[Outcomes]]] = []
    for outcomes in choices:
        groups, members = touched(outcomes), [outcomes]
        for cluster in [c for c in clusters if c[0] & groups]:
            clusters.remove(cluster)
            groups, members = groups | cluster[0], cluster[1] + members
        clusters.append((groups, members))
    return [members for _, members in clusters]


def _cluster_odds(cluster: Sequence[Outcomes], supply: Mapping[str, int]) -> float:
    """The probability that the choices together stay within supply, one choice after the other.

    A state is what has been taken of the groups that later choices may take too; equal states are one.
    """
    states: dict[frozenset[tuple[str, int]], float] = {frozenset(): 1.0}
    for place, outcomes in enumerate(cluster):
        later = {group for rest in cluster[place + 1 :] for group in touched(rest)}
        following: dict[frozenset[tuple[str, int]], float] = defaultdict(float)
        for taken, before in states.items():
            for probability, need in [(nothing(outcomes), {}), *outcomes]:
                total = _together(dict(taken), need)
                if _aboard(total, supply):
                    kept = frozenset((group, qty) for group, qty in total.items() if group in later)
                    following[kept] += before * probability
        states = following
    return sum(states.values())


def nothing(outcomes: Outcomes) -> float:
    """The chance that a choice takes nothing."""
    return max(0.0, 1.0 - sum(probability for probability, _ in outcomes))


def _together(taken: dict[str, int], need: Mapping[str, int]) -> dict[str, int]:
    for group, qty in need.items():
        taken[group] = taken.get(group, 0) + qty
    return taken

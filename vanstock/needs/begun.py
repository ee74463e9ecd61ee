"""What a job that has been begun still takes: its needs less what was fitted on it. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase

Need = Mapping[str, int]


def still_needed(needs: JobNeeds, fitted: Need) -> JobNeeds:
    """What a job that has been begun still takes: its needs less what was fitted, base units by group."""
    if not fitted:
        return needs
    cases = tuple(WeightedCase(case.weight, _less(case.needs, fitted)) for case in needs.cases)
    return needs._replace(cases=cases, prior=_choices_less(needs.prior, fitted))


def _choices_less(prior: Sequence[ComponentChoice], fitted: Need) -> tuple[ComponentChoice, ...]:
    """Independent choices less what was fitted, each unit of it taken off one choice only: first off those that are
    most about what was fitted, since that is what it was fitted for."""
    left = dict(fitted)
    found = list(prior)
    for place in sorted(range(len(found)), key=lambda i: (-_about(found[i], fitted), i)):
        choice = found[place]
        found[place] = choice._replace(outcomes=tuple((p, _less(need, left)) for p, need in choice.outcomes))
        for group in left:
            most = max((need.get(group, 0) for _, need in choice.outcomes), default=0)
            left[group] = max(0, left[group] - most)
    return tuple(found)


def _about(choice: ComponentChoice, fitted: Need) -> float:
    """The largest share of the groups of an outcome that were fitted."""
    return max((len(need.keys() & fitted.keys()) / len(need) for _, need in choice.outcomes if need), default=0.0)


def _less(need: Need, fitted: Need) -> Need:
    return {group: qty - fitted.get(group, 0) for group, qty in need.items() if qty > fitted.get(group, 0)}

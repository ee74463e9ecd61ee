"""What a job that has been begun still takes: its needs less what was fitted on it. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from vanstock.jobneeds import JobNeeds, WeightedCase


def still_needed(needs: JobNeeds, fitted: Mapping[str, int]) -> JobNeeds:
    """What a job that has been begun still takes: its needs less what was fitted, base units by group."""
    if not fitted:
        return needs
    cases = tuple(WeightedCase(case.weight, _less(case.needs, fitted)) for case in needs.cases)
    prior = tuple(
        choice._replace(outcomes=tuple((p, _less(need, fitted)) for p, need in choice.outcomes))
        for choice in needs.prior
    )
    return needs._replace(cases=cases, prior=prior)


def _less(need: Mapping[str, int], fitted: Mapping[str, int]) -> Mapping[str, int]:
    return {group: qty - fitted.get(group, 0) for group, qty in need.items() if qty > fitted.get(group, 0)}

"""What a job will probably take, as it passes from the room that works it out to the room that weighs it
against stock. Values only; base units by stock group (see `model.stock_groups`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class WeightedCase(NamedTuple):
    """What one kind of finished job took, as base units by stock group, and its share of the weight."""

    weight: float
    needs: Mapping[str, int]


class ComponentChoice(NamedTuple):
    """A component that a job may take, independently of others: outcomes as (probability, base units by
    stock group); what is missing to 1 is the chance that nothing is taken."""

    component: str
    outcomes: tuple[tuple[float, Mapping[str, int]], ...]


class JobNeeds(NamedTuple):
    """What a job will probably take: weighted cases, and with the rest of the weight independent choices.

    `prior_weight` plus the weights of `cases` is 1. `jobs_like_it` counts finished jobs of the same type
    and family. `known` is False when there is nothing to go by.
    """

    job: str
    cases: tuple[WeightedCase, ...]
    prior: tuple[ComponentChoice, ...]
    prior_weight: float
    jobs_like_it: int
    known: bool = True

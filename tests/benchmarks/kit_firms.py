"""Made-up firms that the levels are put to the test on: those of `needs_firms` with suppliers, prices and packs, the
first year known, the second gone through week by week, many times over with fresh truth. Used by `kit_gates.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from tests.benchmarks.needs_firms import START, make_firm, once_more
from vanstock.kit.replay import Firm, Item, Levels, Outcome, Stretch, Terms, play
from vanstock.model import Catalogue, FinishedJob, Part, Supplier, stock_groups
from vanstock.routines.past import Past

SUPPLIERS = (
    Supplier("COUNTER", "Counter", 0, "Mon-Fri", "11:00", 495, 7_500),
    Supplier("NEXT", "Next day", 1, "Mon-Fri", "17:00", 750, 15_000),
    Supplier("DEALER", "Dealer", 5, "Mon-Fri", "12:00", 600, None),
    Supplier("LIQUIDS", "Liquids", 7, "Tue", "12:00", 1_200, 20_000),
)
FRIDAY = 4
KNOWN_WEEKS, WEEKS, WARM_UP = 52, 52, 26
JOBS_TRIED, FEW_TRIED = 24_000, 4_000
"""The second year is gone through with fresh truth until about so many jobs have come after the warm-up: many where a
hundredth of the cash matters, for which a tenth of a point of completion does; few where tens of them are told."""


class Trial(NamedTuple):
    """A firm cut after its first year: what it buys and from whom, its jobs, and other second years of the same firm:
    (working day since the cut, needs by group)."""

    past: Past
    firm: Firm
    futures: Sequence[Sequence[tuple[int, Mapping[str, int]]]]

    @property
    def cut(self) -> date:
        """The Monday of the first week to go through."""
        return START + timedelta(weeks=KNOWN_WEEKS)


def make_trial(seed: int, jobs_tried: int = JOBS_TRIED) -> Trial:
    """The trial of a seed."""
    made = make_firm(seed)
    turns = max(5, round(jobs_tried / (len(made.jobs) / 4)))
    catalogue = _priced(made.catalogue, np.random.default_rng([seed, 77]))
    groups = stock_groups(catalogue)
    jobs = tuple(job._replace(date=working_day(job.date)) for job in made.jobs)
    past = Past(catalogue, groups, (), jobs)
    cut = START + timedelta(weeks=KNOWN_WEEKS)
    futures = [
        [
            (days_since(cut, working_day(job.date)), _needs(groups, job))
            for job in once_more(seed, turn, 7 * KNOWN_WEEKS)
        ]
        for turn in range(turns)
    ]
    return Trial(past, _firm(catalogue, groups), [[row for row in one if row[0] < 5 * WEEKS] for one in futures])


def _priced(catalogue: Catalogue, dice: np.random.Generator) -> Catalogue:
    """The catalogue with a supplier and a price for each part, liquids in cans of 5 L."""
    parts: dict[str, Part] = {}
    for number, part in sorted(catalogue.parts.items()):
        if part.unit == "LTR":
            parts[number] = part._replace(cost=int(dice.integers(30_000, 70_000)), pack_size=5_000, supplier="LIQUIDS")
        else:
            supplier = str(dice.choice(["COUNTER", "NEXT", "DEALER"], p=[0.35, 0.4, 0.25]))
            cost = max(int(np.exp(dice.normal(3.2, 1.2)) * 100), 20)
            parts[number] = part._replace(cost=cost * 100, supplier=supplier)
    return catalogue._replace(parts=parts, suppliers={one.supplier: one for one in SUPPLIERS})


def working_day(day: date) -> date:
    """The day, or the Friday or Monday beside its weekend."""
    return day + timedelta(days={5: -1, 6: 1}.get(day.weekday(), 0))


def days_since(cut: date, day: date) -> int:
    """Working days from a Monday to a working day."""
    weeks, rest = divmod((day - cut).days, 7)
    return 5 * weeks + rest


def _needs(groups: Mapping[str, str], job: FinishedJob) -> dict[str, int]:
    needs: dict[str, int] = {}
    for part, qty in job.needs.items():
        needs[groups[part]] = needs.get(groups[part], 0) + qty
    return needs


def _firm(catalogue: Catalogue, groups: Mapping[str, str]) -> Firm:
    items = {}
    for group in sorted(set(groups.values())):
        part, lead = catalogue.parts[group], catalogue.lead_working_days(group)
        price = part.cost // 100 * 1_000 if part.unit == "C62" else part.cost // 100
        items[group] = Item(part.pack_size, price, part.supplier, max(lead, 1))
    day = {one.supplier: FRIDAY if one.supplier != "LIQUIDS" else 1 for one in SUPPLIERS}
    reviews = {name: frozenset(range(weekday, 5 * WEEKS, 5)) for name, weekday in day.items()}
    terms = {one.supplier: Terms(one.carriage, one.carriage_paid_over) for one in SUPPLIERS}
    return Firm(items, terms, reviews)


class Score(NamedTuple):
    """What a rule came to over all the second years after the warm-up: the share of jobs finished, average pence on
    the shelves."""

    completion: float
    cash: float


def score(trial: Trial, rules: Mapping[int, Levels]) -> Score:
    """Go through every second year of a trial under levels by the week since the cut from which they hold."""
    starts = sorted(rules)

    def rule(day: int) -> Levels:
        return rules[max(week for week in starts if week <= day // 5)]

    stock = {group: high for group, (_, high) in rules[starts[0]].items()}
    outcomes = [
        play(trial.firm, Stretch(5 * WEEKS, jobs, stock, counted_from=5 * WARM_UP), rule) for jobs in trial.futures
    ]
    return Score(_share(outcomes), float(np.mean([one.average_cash for one in outcomes])))


def _share(outcomes: Sequence[Outcome]) -> float:
    return sum(one.finished for one in outcomes) / sum(one.jobs for one in outcomes)


def tuned(make: Callable[[float], Score], wanted: float, low: float, high: float) -> Score:
    """A rule's score at the knob's setting between `low` and `high` that comes to the completion wanted; between the
    two nearest settings by straight line, which flatters a rule whose levels go in whole pieces. One that falls short
    even at `high` needs what it needs there, which flatters it too; raises `ValueError` where `low` is too high."""
    from scipy.optimize import brentq

    tried = {low: make(low), high: make(high)}

    def beyond(knob: float) -> float:
        if knob not in tried:
            tried[knob] = make(knob)
        return tried[knob].completion - wanted

    if beyond(low) > 0:
        raise ValueError(
            f"even at {low} the rule comes to more than {wanted}: tuned further down it may need less cash"
        )
    if beyond(low) < 0 < beyond(high):
        brentq(beyond, low, high, xtol=(high - low) / 2_000, rtol=1e-9)
    scores = sorted(tried.values(), key=lambda one: (one.completion, -one.cash))
    below = next(one for one in reversed(scores) if one.completion <= wanted)
    above = next((one for one in scores if one.completion >= wanted), scores[-1])
    rise = above.completion - below.completion
    part = (wanted - below.completion) / rise if rise > 0 else 1.0
    return Score(wanted, below.cash + min(max(part, 0.0), 1.0) * (above.cash - below.cash))

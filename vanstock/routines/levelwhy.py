"""Why a part's min and max are what they are: the jobs they protect, what a step less would lose or one more would buy.

Read off the stream that the levels were chosen on. Called by `cli.levels`.
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from vanstock.kit.levels import Margin, in_steps
from vanstock.kit.minmax import Buying
from vanstock.kit.optimism import slope
from vanstock.ledger.basis import Basis
from vanstock.model import MinMax, Part, Supplier
from vanstock.routines.coming import comes_after
from vanstock.routines.levels import Plan, plan_levels
from vanstock.routines.naming import find_part
from vanstock.routines.past import read_past
from vanstock.routines.session import Session


class KindShare(NamedTuple):
    """Jobs of one family and type, as a share of all coming jobs."""

    family: str
    job_type: str
    share: float


class LevelWhy(NamedTuple):
    """A part's levels and what they rest on: what they do for coming jobs, the kinds of job that take the part, that a
    step less would lose and one more would finish, most first; what one job in a hundred more costs here, in pence
    (None where the curve ends); how the part is bought, from whom, on which weekday (Monday 0), every how many weeks,
    and how many working days later it is there; base units used in a week; the most that is surely used before it
    expires (None: it keeps); and what the last list had."""

    part: Part
    level: MinMax
    margin: Margin
    taken_by: tuple[KindShare, ...]
    lost: tuple[KindShare, ...]
    gained: tuple[KindShare, ...]
    hundredth_costs: float | None
    buying: Buying
    supplier: Supplier
    weekday: int
    weeks_apart: int
    comes_after: int
    weekly_use: float
    usable: int | None
    before: Basis | None


def level_why(session: Session, text: str) -> LevelWhy:
    """Everything that one part's min and max rest on; raises `NotFound` or `Ambiguous`."""
    past = read_past(session)
    group = past.groups[find_part(session, text).part]
    plan = plan_levels(session, past)
    stream, part = plan.coming.stream, past.catalogue.parts[group]
    place = [shelf.group for shelf in stream.shelves].index(group)
    taken, lost, gained = _kinds(plan, place)
    price, comes_true = plan.chosen.job_costs, slope(plan.chosen.completion, len(past.finished))
    supplier = past.catalogue.suppliers.get(part.supplier, Supplier(part.supplier))
    review = plan.coming.reviews[part.supplier]
    weekday = Counter(day.weekday() for day in review.dates).most_common(1)[0][0]
    return LevelWhy(
        part, plan.levels[group], plan.margins[group], taken, lost, gained,
        None if price is None else price * stream.wanted.jobs / 100 / comes_true,
        plan.coming.buying[group], supplier, weekday, review.weeks_apart, comes_after(past, group),
        float(stream.weekly_mean[place]), plan.coming.usable.get(group), plan.before.get(group),
    )  # fmt: skip


def _kinds(plan: Plan, place: int) -> tuple[tuple[KindShare, ...], ...]:
    """The kinds of the jobs that take a part, that one step less would lose, and that one more would finish; the shares
    of each add up to what the level does."""
    import numpy as np

    stream = plan.coming.stream
    wanted, steps = stream.wanted, in_steps(stream, plan.chosen.levels)
    mine = wanted.part == place
    lacks = np.bincount(wanted.job[wanted.level > steps[wanted.part]], minlength=wanted.jobs)[wanted.job]
    at_edge = mine & (wanted.level == steps[place]) & (lacks == 0)
    next_up = mine & (wanted.level == steps[place] + 1) & (lacks == 1)
    does, found = plan.margins[stream.shelves[place].group], []
    for rows, share in ((mine, does.taken), (at_edge, does.lost), (next_up, does.gained)):
        numbers = Counter(stream.kind[wanted.job[rows]].tolist())
        named: Counter[tuple[str, str]] = Counter()
        for number, many in numbers.items():
            booked = plan.coming.booked[-1 - number] if number < 0 else None
            named[(booked.family, booked.job_type) if booked else plan.coming.kinds[number]] += many
        ranked = sorted(named.items(), key=lambda row: (-row[1], row[0]))
        found.append(tuple(KindShare(*name, share * many / numbers.total()) for name, many in ranked))
    return tuple(found)

"""Cash against jobs finished on the first visit: the curve, where the firm stands on it, what a little more would buy.

Gathers the past, calls the pure rooms, returns values. Called by `cli.curve` and the phone face.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from vanstock.kit import closure
from vanstock.kit.levels import Bounds, more_for, outcome, problem
from vanstock.kit.optimism import discounted
from vanstock.ledger import reading
from vanstock.ledger.orders import on_order
from vanstock.model import Part
from vanstock.quantity import format_money, in_hundred, value_of
from vanstock.routines.levels import Plan, bounds_of, expected, pins_of, plan_levels
from vanstock.routines.past import Past, group_supply, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import target

NO_JOBS = "no jobs are known to come yet: book some, or import finished ones"
MEANING = (
    "cash: on the shelves when every part is at its max; of 100 jobs: coming jobs to expect finished on the first "
    "visit with it. Every row without words is the least cash for its jobs. Stock today is on hand and on order, "
    "as if every review brought each part up to what there is of it now."
)
USUAL_MORE = 10_000
"""Pence of which it is told what so many more would buy, where nobody names another amount."""
_SHOWN = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.925, 0.95, 0.97, 0.98, 0.99, 0.995)
"""Shares of jobs whose corner is told: dense where the curve bends."""


class Spot(NamedTuple):
    """Pence on the shelves when every part is at its max, and the share of coming jobs to expect finished."""

    cash: int
    completion: float


class Buys(NamedTuple):
    """What so many pence beside today's min and max would buy: by part how much its min and max rise, where that leads
    (None when nothing is known of coming jobs), the pence it takes, and the share of jobs that it finishes more, before
    it is asked what can be promised."""

    cash: int
    parts: tuple[tuple[Part, int], ...]
    completion: float | None
    spent: int
    gained: float


class Curve(NamedTuple):
    """Every corner of the curve, from nothing beside what is pinned to where no more can be promised; the spots of
    today's min and max and of today's stock with what is on order (None when nothing is known of coming jobs); the
    firm's target; what more would buy."""

    points: tuple[Spot, ...]
    levels: Spot | None
    stock: Spot | None
    target: float
    more: Buys


def curve(session: Session, more: int) -> Curve:
    """Work out the curve, and what `more` pence would buy."""
    past = read_past(session)
    plan = plan_levels(session, past)
    bounds = bounds_of(plan.coming, pins_of(session, past))
    asked = problem(plan.coming.stream, bounds)
    corners = closure.curve(asked.wanted) if asked.jobs else []
    spots = [Spot(one.cash + asked.pinned_cash, expected(past, one.finished / asked.jobs)) for one in corners]
    points = tuple(spot for i, spot in enumerate(spots) if not i or spot.completion > spots[i - 1].completion)
    now = _levels_spot(past, plan) if asked.jobs else None
    stock = _stock_spot(session, past, plan) if asked.jobs else None
    return Curve(points, now, stock, target(session), _more(past, plan, bounds, more))


def _levels_spot(past: Past, plan: Plan) -> Spot:
    share, cash = outcome(plan.coming.stream, plan.chosen.levels)
    return Spot(cash, expected(past, share))


def _stock_spot(session: Session, past: Past, plan: Plan) -> Spot:
    """Today's stock, on hand and on order, as if every review brought each part up to what there is of it now."""
    held: dict[str, int] = defaultdict(int)
    for row in reading.balances(session.ledger):
        held[row.part] += max(row.qty, 0)
    for part, qty in on_order(session.ledger).items():
        held[part] += qty
    supply = group_supply(past, held)
    share, _ = outcome(plan.coming.never_above_its_level(), supply)
    parts = past.catalogue.parts
    cash = sum(value_of(qty, parts[group].unit, parts[group].cost) for group, qty in supply.items())
    return Spot(cash, expected(past, share))


def _more(past: Past, plan: Plan, bounds: Bounds, cash: int) -> Buys:
    found = more_for(plan.coming.stream, plan.chosen.levels, cash, bounds)
    parts = tuple((past.catalogue.parts[group], qty) for group, qty in found.rises.items())
    if not plan.coming.stream.wanted.jobs:
        return Buys(cash, parts, None, found.spent, 0.0)
    known = len(past.finished)
    gained = discounted(found.completion, known) - discounted(plan.chosen.completion, known)
    return Buys(cash, parts, expected(past, found.completion), found.spent, gained)


def told_spots(found: Curve) -> list[tuple[Spot, str]]:
    """The corners worth telling and where the firm stands, the least cash first, with words for the latter. A spot that
    would read the same as another is told once, with the words of both."""
    where = ((found.levels, "min and max today"), (found.stock, "stock today, if kept so"))
    told: dict[tuple[int, str], tuple[Spot, str]] = {}
    for spot, words in (*((spot, "") for spot in _corners(found)), *where):
        if spot:
            key = (spot.cash, in_hundred(spot.completion))
            already = told.get(key, (spot, ""))[1]
            told[key] = (spot, "; ".join(filter(None, (already, words))))
    return sorted(told.values(), key=lambda row: row[0])


def _corners(found: Curve) -> list[Spot]:
    """The first corner at or above each share shown, the first and the last."""
    if not found.points:
        return []
    chosen = {found.points[0], found.points[-1]}
    for share in (*_SHOWN, found.target):
        chosen.add(next((spot for spot in found.points if spot.completion >= share), found.points[-1]))
    return sorted(chosen)


def more_told(found: Curve) -> str:
    """What a little more cash would buy, in a line that may end before the parts."""
    more = found.more
    if not more.parts:
        return f"{format_money(more.cash)} more would finish no further job"
    return f"{format_money(more.cash)} MORE would finish {1000 * more.gained:.1f} more of 1,000 jobs, with"

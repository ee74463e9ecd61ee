"""Cash against jobs finished on the first visit: the curve, where the firm stands on it, what a little more would buy.

Gathers the past, calls the pure rooms, returns values. Called by `cli.curve`.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from vanstock.kit import closure
from vanstock.kit.levels import Bounds, more_for, outcome, problem
from vanstock.kit.minmax import level_of
from vanstock.kit.optimism import to_expect
from vanstock.ledger import reading
from vanstock.model import Part
from vanstock.quantity import value_of
from vanstock.routines.levels import Plan, bounds_of, pins_of, plan_levels
from vanstock.routines.past import Past, group_supply, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import target


class Spot(NamedTuple):
    """Pence on the shelves when every part is at its max, and the share of coming jobs to expect finished."""

    cash: int
    completion: float


class Buys(NamedTuple):
    """What so many pence beside today's min and max would buy: by part how much its min and max rise, where that leads,
    and the pence it takes."""

    cash: int
    parts: tuple[tuple[Part, int], ...]
    completion: float
    spent: int


class Curve(NamedTuple):
    """Every corner of the curve, from nothing pinned or held to all that any job takes; the spots of today's min and
    max and of today's stock (None when nothing is known of coming jobs); the firm's target; what more would buy."""

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
    stream, known = plan.coming.stream, len(past.finished)
    asked = problem(stream, bounds)
    corners = closure.curve(asked.wanted) if asked.jobs else []
    points = tuple(Spot(one.cash + asked.pinned_cash, to_expect(one.finished / asked.jobs, known)) for one in corners)
    now = _levels_spot(plan, known) if asked.jobs else None
    stock = _stock_spot(session, past, plan) if asked.jobs else None
    return Curve(points, now, stock, target(session), _more(past, plan, bounds, more))


def _levels_spot(plan: Plan, known: int) -> Spot:
    share, cash = outcome(plan.coming.stream, plan.chosen.levels)
    return Spot(cash, to_expect(share, known))


def _stock_spot(session: Session, past: Past, plan: Plan) -> Spot:
    """Today's stock as if every part were kept up to what there is of it."""
    held: dict[str, int] = defaultdict(int)
    for row in reading.balances(session.ledger):
        held[row.part] += max(row.qty, 0)
    supply = group_supply(past, held)
    levels = {}
    for group, how in plan.coming.buying.items():
        there = supply.get(group, 0)
        levels[group] = level_of(max(there - how.quantity, 0), there, how.step) if there >= how.step else 0
    share, _ = outcome(plan.coming.stream, levels)
    parts = past.catalogue.parts
    cash = sum(value_of(qty, parts[group].unit, parts[group].cost) for group, qty in supply.items())
    return Spot(cash, to_expect(share, len(past.finished)))


def _more(past: Past, plan: Plan, bounds: Bounds, cash: int) -> Buys:
    found = more_for(plan.coming.stream, plan.chosen.levels, cash, bounds)
    parts = tuple((past.catalogue.parts[group], qty) for group, qty in found.rises.items())
    return Buys(cash, parts, to_expect(found.completion, len(past.finished)), found.spent)

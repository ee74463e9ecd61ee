"""Min and max for whole jobs: chosen on a stream of coming jobs, kept steady, with what a person pinned by hand.

Gathers the past, calls the pure rooms, returns values. Parts that stand in for each other are stocked as one,
under one number. Called by `cli.levels`, and by the routines that plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.levels import Bounds, Chosen, Margin, choose, margins, steady
from vanstock.kit.minmax import level_of, level_pinned, min_and_max
from vanstock.kit.optimism import discounted, surest, to_ask, to_expect
from vanstock.kit.reorder import orders_at
from vanstock.ledger import basis, catalogue, reading
from vanstock.ledger.basis import Basis
from vanstock.ledger.file import writing
from vanstock.model import MinMax, Part, stock_groups
from vanstock.quantity import parse_qty, show_qty, value_of
from vanstock.quantity import unit as scale
from vanstock.routines.coming import Coming, Known, Loss, coming
from vanstock.routines.past import Past, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import level_change_pays, target


class Aim(NamedTuple):
    """What is asked of the levels: a share of jobs to finish, a bound on their cash in pence, or both. With neither,
    the firm's own target, levels moving only where that pays."""

    completion: float | None = None
    cash: int | None = None


OWN_TARGET = Aim()


class Plan(NamedTuple):
    """The levels of every stocked part: the stream they were chosen on, what was chosen, min and max by number, what
    each level does for the jobs to expect, and the newest levels that a list used before."""

    coming: Coming
    chosen: Chosen
    levels: Mapping[str, MinMax]
    margins: Mapping[str, Margin]
    before: Mapping[str, Basis]


class LeftOut(NamedTuple):
    """How many parts have max 0, by why: no coming job takes them, a pack would expire before it is used, they would
    finish too few jobs for what they cost, or a person pinned them at that."""

    untaken: int = 0
    expiring: int = 0
    dear: int = 0
    pinned: int = 0


NONE_LEFT_OUT = LeftOut()


class Levels(NamedTuple):
    """Min and max of the parts asked for: what is aimed at, the share of jobs that all levels together are expected to
    finish, what stock costs when every part is at its max, what changed since the last list: part, min and max then,
    why; what was asked of the cash, what pinned parts cost, the most that can be promised, on how many jobs, and why
    parts are left out."""

    target: float | None
    completion: float | None
    cash: int
    parts: tuple[tuple[Part, MinMax], ...]
    changed: tuple[Change, ...]
    asked_cash: int | None = None
    pinned_cash: int = 0
    surest: float = 1.0
    jobs_known: int = 0
    left_out: LeftOut = NONE_LEFT_OUT


class Change(NamedTuple):
    """A part whose min or max is not what the last list with it used: the day of that list, the levels then and now,
    and why."""

    part: Part
    since: date
    before: MinMax
    now: MinMax
    why: str


def plan_levels(session: Session, past: Past, aim: Aim = OWN_TARGET) -> Plan:
    """Choose the levels of every stocked part, pins first."""
    pins, before = pins_of(session, past), _used_before(session, past)
    settled = {p: row.level for p, row in before.items() if p not in pins and not row.level.pinned}
    stream = coming(session, past, known_besides(session, settled, pins))
    bounds = bounds_of(stream, pins)
    if aim == OWN_TARGET:
        chosen = choose(stream.stream, bounds, completion=to_ask(target(session), len(past.finished)))
        how = stream.buying
        kept = {p: level_of(row.min, row.max, how[p].step) for p, row in settled.items() if p in how}
        chosen = steady(stream.stream, chosen, kept, pays=level_change_pays(session), bounds=bounds)
    else:
        wanted = None if aim.completion is None else to_ask(aim.completion, len(past.finished))
        chosen = choose(stream.stream, bounds, completion=wanted, cash=aim.cash)
    does = {
        group: _to_expect_of(one, chosen.completion, len(past.finished))
        for group, one in margins(stream.stream, chosen.levels).items()
    }
    found = {group: _min_max(past, stream, chosen, does[group], pins.get(group)) for group in stream.buying}
    return Plan(stream, chosen, _in_order(past, found), does, before)


def expected(past: Past, said: float) -> float:
    """The share of coming jobs to expect finished where a stream says so many are, no surer than the past is known."""
    return to_expect(said, len(past.finished), _usual_worth(past))


def _usual_worth(past: Past) -> float:
    """The finished jobs that the usual table is worth, by its surest line."""
    return max((row.worth_jobs for row in past.catalogue.usual), default=0.0)


def _to_expect_of(does: Margin, said: float, known: int) -> Margin:
    """What a level does for the jobs to be expected, where its stream says what it does for drawn ones; no more are
    lost or gained than take the part."""
    now = discounted(said, known)
    lost = now - discounted(max(said - does.lost, 0.0), known)
    gained = discounted(min(said + does.gained, 1.0), known) - now
    return does._replace(
        there=discounted(does.there, known), lost=min(lost, does.taken), gained=min(gained, does.taken)
    )


def _used_before(session: Session, past: Past) -> dict[str, Basis]:
    """What the newest list up to now rested on, by the number a part is stocked under now."""
    rows = basis.newest(session.ledger, session.now.astimezone().isoformat(timespec="seconds"))
    found = {past.groups[part]: row for part, row in rows.items() if part in past.groups}
    return found | {part: row for part, row in rows.items() if past.groups.get(part) == part}


def pins_of(session: Session, past: Past) -> dict[str, tuple[int, int]]:
    """The pins by the number a part is stocked under now; one on that number itself goes before."""
    pins = catalogue.pins(session.ledger)
    found = {past.groups[part]: levels for part, levels in pins.items() if part in past.groups}
    return found | {part: levels for part, levels in pins.items() if past.groups.get(part) == part}


def known_besides(
    session: Session, settled: Mapping[str, MinMax], pins: Mapping[str, tuple[int, int]] | None = None
) -> Known:
    """What counts found lost up to yesterday, the quantities that settled levels order by, and what is pinned."""
    rows = reading.differences(session.ledger)
    found = [Loss(part, datetime.fromisoformat(at).date(), qty) for part, at, qty in rows]
    opened = reading.opened_at(session.ledger)
    return Known(
        tuple(row for row in found if row.date < session.today),
        datetime.fromisoformat(opened).date() if opened else None,
        {part: row.max - row.min for part, row in settled.items()},
        pins or {},
    )


def bounds_of(stream: Coming, pins: Mapping[str, tuple[int, int]]) -> Bounds:
    """The levels that pins hold up, and the highest that shelf lives allow."""
    how = stream.buying
    held = {group: level_pinned(*levels, how[group]) for group, levels in pins.items() if group in how}
    return Bounds(held, {group: how[group].highest_level(most) for group, most in stream.usable.items()})


def _in_order(past: Past, found: dict[str, MinMax]) -> dict[str, MinMax]:
    """By number, in the order of the catalogue."""
    return {part: found[part] for part in past.catalogue.parts if part in found}


def _min_max(past: Past, stream: Coming, chosen: Chosen, does: Margin, pin: tuple[int, int] | None) -> MinMax:
    group = does.group
    part = past.catalogue.parts[group]
    if pin is not None:
        return MinMax(group, *pin, pinned=True, basis="pinned by hand")
    low, high = min_and_max(chosen.levels[group], stream.buying[group], most=stream.usable.get(group))
    told = _basis(part, does, held=high > 0, expires=_expires(stream, group))
    return MinMax(group, low, high, pinned=False, basis=told)


def _expires(stream: Coming, group: str) -> bool:
    """Whether the least that is bought of a part would expire before it is surely used."""
    return group in stream.usable and not stream.buying[group].highest_level(stream.usable[group])


def _basis(part: Part, does: Margin, *, held: bool, expires: bool) -> str:
    """In words, what the level does."""
    step = show_qty(does.step, part.unit)
    if not does.taken:
        return "no coming job is likely to take it"
    takes = f"{in_thousand(does.taken)} of 1,000 jobs take it"
    if expires and not held:
        return f"{takes}; a pack would expire before it is used"
    if not held:
        return f"{takes}; {step} would finish {in_thousand(does.gained)}"
    return f"{takes}; {step} less would lose {in_thousand(does.lost)}"


def in_thousand(share: float) -> str:
    """A share as so many of a thousand: `12`, `2`, `0.4`, `0`; with a tenth below two."""
    many = 1000 * share
    return f"{many:.0f}" if many >= 1.95 or many < 0.05 else f"{many:.1f}"


def minmax(session: Session, text: str = "", aim: Aim = OWN_TARGET) -> Levels:
    """Min and max with their cost and the share of coming jobs that they finish."""
    from vanstock.routines.forecasts import chosen_parts

    past = read_past(session)
    plan = plan_levels(session, past, aim)
    parts = past.catalogue.parts
    cash = sum(value_of(level.max, parts[p].unit, parts[p].cost) for p, level in plan.levels.items())
    asked = chosen_parts(session, past, text)
    shown = tuple((parts[p], level) for p, level in plan.levels.items() if not asked or p in asked)
    known = expected(past, plan.chosen.completion) if plan.coming.stream.wanted.jobs else None
    changed = () if aim != OWN_TARGET else _changes(session.today, past, plan, asked)
    wanted = target(session) if aim == OWN_TARGET else aim.completion
    held = {p: level for p, level in plan.levels.items() if level.pinned}
    pinned_cash = sum(value_of(level.max, parts[p].unit, parts[p].cost) for p, level in held.items())
    most = surest(len(past.finished) + _usual_worth(past))
    left_out = _left_out(plan, [level for _, level in shown])
    return Levels(wanted, known, cash, shown, changed, aim.cash, pinned_cash, most, len(past.finished), left_out)


def _left_out(plan: Plan, levels: Sequence[MinMax]) -> LeftOut:
    found = dict.fromkeys(LeftOut._fields, 0)
    for row in levels:
        if not row.max:
            untaken = "expiring" if _expires(plan.coming, row.part) else "dear"
            why = "pinned" if row.pinned else untaken if plan.margins[row.part].taken else "untaken"
            found[why] += 1
    return LeftOut(**found)


def _changes(today: date, past: Past, plan: Plan, asked: set[str]) -> tuple[Change, ...]:
    found = []
    for group, now in plan.levels.items():
        row = plan.before.get(group)
        if row and (row.level.min, row.level.max) != (now.min, now.max) and (not asked or group in asked):
            since = date.fromisoformat(row.at[:10])
            found.append(
                Change(past.catalogue.parts[group], since, row.level, now, _why_changed(today, past, plan, row))
            )
    return tuple(found)


def _why_changed(today: date, past: Past, plan: Plan, row: Basis) -> str:
    """Why a level is not what it was: a pin, or what was needed since beside what was to be expected."""
    group = row.level.part
    if plan.levels[group].pinned or row.level.pinned:
        return "pinned by hand since" if plan.levels[group].pinned else "no longer pinned"
    then = date.fromisoformat(row.at[:10])
    unit = past.catalogue.parts[group].unit
    jobs = [job for job in past.finished if job.date >= then]
    needed = sum(qty for job in jobs for part, qty in job.needs.items() if past.groups[part] == group)
    expected = round(row.forecast.weekly_mean * (today - then).days / 7 * 10 / scale(unit).scale) / 10
    return f"{show_qty(needed, unit)} needed since, {expected:g} expected; {plan.levels[group].basis}"


class Pinned(NamedTuple):
    """A part pinned by hand, its min and max, and the position at which it is ordered: lower than min where a pack more
    would go above max, None where no pack fits within max, or nothing is kept."""

    part: Part
    level: MinMax
    orders_at: int | None


def pin(session: Session, text: str, low: str, high: str) -> Pinned:
    """Pin a part's min and max by hand; raises `BadValue` unless 0 <= min <= max."""
    part = _stocked_part(session, text)
    small = parse_qty(low, part.unit, pack_size=part.pack_size)
    large = parse_qty(high, part.unit, pack_size=part.pack_size)
    if not 0 <= small <= large:
        raise BadValue(f"min {low} and max {high} cannot be: min is zero or more, and max at least min")
    with writing(session.ledger):
        catalogue.save_pin(session.ledger, part.part, (small, large))
    at = orders_at(small, large, part.pack_size)
    level = MinMax(part.part, small, large, pinned=True, basis="pinned by hand")
    return Pinned(part, level, at if at >= 0 else None)


def unpin(session: Session, text: str) -> Part:
    """Take the pin off a part, by whichever of its numbers it was set; raises `BadValue` when there is none."""
    part = _stocked_part(session, text)
    groups = stock_groups(catalogue.read_catalogue(session.ledger))
    pinned = [name for name in catalogue.pins(session.ledger) if groups.get(name) == part.part]
    if not pinned:
        raise BadValue(f"{part.part} is not pinned")
    with writing(session.ledger):
        for name in pinned:
            catalogue.save_pin(session.ledger, name, None)
    return part


def _stocked_part(session: Session, text: str) -> Part:
    from vanstock.routines.naming import find_part

    known = catalogue.read_catalogue(session.ledger)
    return known.parts[stock_groups(known)[find_part(session, text).part]]

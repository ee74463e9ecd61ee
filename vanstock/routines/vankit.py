"""The kit of one van: what it should carry for its own jobs, filled up from the stores every evening.

How many jobs of each kind come is the van's own rate; a van with few finished jobs leans on what the firm did in the
last year. What a job takes rests on the jobs of all vans. Stock stays one: min and max, and the reorder list, are the
firm's (see `levels`); a kit only says how it is spread. Called by `cli.vankit` and `cli.load`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.levels import Margin, choose, margins
from vanstock.kit.load import plan_load
from vanstock.kit.optimism import to_ask, to_expect
from vanstock.kit.payload import carried
from vanstock.kit.stream import Ahead, Kind, Stream
from vanstock.kit.vankit import refilled_stream, slot_of
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import Draft, sent_before
from vanstock.ledger.valuing import Line
from vanstock.model import Entry, Job, Part
from vanstock.needs.cases import CaseBook
from vanstock.quantity import value_of
from vanstock.routines.aboard import Stock, stock_on
from vanstock.routines.coming import SEED, counted, days_ahead
from vanstock.routines.past import Past, group_supply, read_for_day
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import calendar, target

FIRM_WORTH = 24.0
"""How many of a van's own jobs the firm's mix of kinds is worth beside them."""
_LEAST_SHARE = 5e-4
"""Kinds of job that are less of a van's work than this are left out: no kit is made for one job in 2,000."""
_BETWEEN = "\t"
_YEAR = timedelta(days=364)


class Source(NamedTuple):
    """So many base units of a number to carry from a store."""

    part: str
    qty: int
    place: str


class KitLine(NamedTuple):
    """A part of the kit: how much to carry and what is aboard, in base units; what to load from where; what no store
    has; what the level does for the van's jobs."""

    part: Part
    carry: int
    aboard: int
    load: tuple[Source, ...]
    lacking: int
    does: Margin


class VanKit(NamedTuple):
    """A van's kit: the jobs that come to the van in a week, how many it has finished, the share of its jobs to expect
    finished from the kit alone, what it aims at, what the kit costs in pence and weighs in grams, what the van may
    carry (None: not said); lines and pence aboard beyond the kit."""

    van: str
    weekly: float
    finished: int
    completion: float
    target: float
    cash: int
    grams: float
    limit: int | None
    lines: tuple[KitLine, ...]
    beyond: int
    beyond_value: int


def van_kit(session: Session, van: str = "van") -> VanKit:
    """What a van should carry; raises `BadValue` where no job was ever finished."""
    place = catalogue.place_named(session.ledger, van, "van").place
    weekly, finished, dispersion = _rates(session, place)
    jobs = [Job("", session.today, "", family, job_type) for family, job_type in weekly]
    past = read_for_day(session, jobs)
    book = CaseBook.build(past.finished, past.catalogue, today=session.today)
    kinds = [Kind(book.needs_for(job), rate) for job, rate in zip(jobs, weekly.values(), strict=True)]
    stream = _stream(session, past, kinds, dispersion)
    known = reading.finished_count(session.ledger)
    chosen = choose(stream, completion=to_ask(target(session), known))
    does = margins(stream, chosen.levels)
    stock = stock_on(session, place, session.today)
    carry = {group: level for group, level in chosen.levels.items() if level}
    lines = _lines(past, carry, does, stock)
    beyond = {part: qty for part, qty in stock.aboard.items() if qty > 0 and past.groups[part] not in carry}
    parts = past.catalogue.parts
    return VanKit(
        place, sum(weekly.values()), finished, to_expect(chosen.completion, known), target(session), chosen.cash,
        carried({past.catalogue.current(group): qty for group, qty in carry.items()}, parts)[0], stock.limits.grams,
        lines, len(beyond), sum(value_of(qty, parts[p].unit, parts[p].cost) for p, qty in beyond.items()),
    )  # fmt: skip


def _rates(session: Session, van: str) -> tuple[dict[tuple[str, str], float], int, float]:
    """How many jobs of each kind come to a van in a week; how many it has finished; and how its weeks vary."""
    from vanstock.forecast.jobs import job_rates

    firm = reading.done_by_kind(session.ledger, since=session.today - _YEAR) or reading.done_by_kind(session.ledger)
    if not firm:
        raise BadValue("no job is finished yet: what a van should carry is learnt from finished jobs")
    own = [(f"{f}{_BETWEEN}{t}", date.fromisoformat(day)) for f, t, day in reading.done_on(session.ledger, van)]
    shares = {f"{f}{_BETWEEN}{t}": many for f, t, many, _ in firm}
    names = sorted({*shares, *(name for name, _ in own)})
    if own:
        rates = job_rates(*counted(session, names, [(name, day, 1) for name, day in own]))
        found, total, dispersion = dict(zip(names, rates.weekly.tolist(), strict=True)), 0.0, rates.dispersion
        total = sum(found.values())
    else:
        vans = max(len({place.place for place in catalogue.places(session.ledger, "van")}), 1)
        first = date.fromisoformat(min(day for *_, day in firm))
        weeks = max((session.today - first).days / 7, 1.0)  # of a young firm not a whole year
        found, total, dispersion = {}, sum(shares.values()) / weeks / vans, 1.0
    return _mixed(found, shares, (total, len(own))), len(own), dispersion


def _mixed(own: Mapping[str, float], firm: Mapping[str, int], known: tuple[float, int]) -> dict[tuple[str, str], float]:
    """The van's own mix of kinds, leaning on the firm's for `FIRM_WORTH` jobs; what is very seldom is left out."""
    total, jobs = known
    done, every = sum(own.values()), sum(firm.values())
    share = {
        name: (jobs * (own.get(name, 0.0) / done if done else 0.0) + FIRM_WORTH * firm.get(name, 0) / max(every, 1))
        / (jobs + FIRM_WORTH)
        for name in {*own, *firm}
    }  # fmt: skip
    kept = {name: one for name, one in sorted(share.items()) if one >= _LEAST_SHARE}
    scale = total / sum(kept.values()) if kept else 0.0
    pairs = {name: name.split(_BETWEEN) for name in kept}
    return {(pairs[name][0], pairs[name][1]): one * scale for name, one in kept.items()}


def _stream(session: Session, past: Past, kinds: Sequence[Kind], dispersion: float) -> Stream:
    days = days_ahead(session.today, calendar(session))
    groups = sorted(set(past.groups.values()))
    slots = [slot_of(group, past.catalogue.parts[past.catalogue.current(group)]) for group in groups]
    return refilled_stream(kinds, slots, Ahead(days.week_of, days.full_week, dispersion), seed=SEED)


def _lines(past: Past, carry: Mapping[str, int], does: Mapping[str, Margin], stock: Stock) -> tuple[KitLine, ...]:
    parts = past.catalogue.parts
    loads: dict[str, list[Source]] = {}
    for line in plan_load(carry, stock.van, stock.stores, past.groups, parts):
        loads.setdefault(line.group, []).append(Source(line.part, line.qty, line.from_place))
    aboard = group_supply(past, stock.van)
    found = []
    for group, level in carry.items():
        load = tuple(loads.get(group, ()))
        held = max(aboard.get(group, 0), 0)
        lacking = max(level - held - sum(one.qty for one in load), 0)
        found.append(KitLine(parts[past.catalogue.current(group)], level, held, load, lacking, does[group]))
    return tuple(sorted(found, key=lambda line: (-line.does.taken, line.part.part)))


@one_act
def fill_up(session: Session, van: str = "van", *, entry_id: str = "") -> tuple[VanKit, Entry | None]:
    """Record everything that a van's kit lacks and a store has as carried to the van, as one entry; None when nothing
    is."""
    kit = van_kit(session, van)
    lines = tuple(Line(one.part, one.qty, one.place, kit.van) for line in kit.lines for one in line.load)
    head = Draft(session.now, "loaded", id=entry_id, asked=("kit", van), note=f"kit of {kit.van}")
    if not lines:
        return kit, sent_before(session.ledger, head)
    return kit, once(session, head, lambda: head._replace(lines=lines))

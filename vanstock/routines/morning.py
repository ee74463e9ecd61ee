"""The morning: what the day's jobs will take, what to load, what to buy, how likely each job is finished.

Gathers stock, bookings and the past, asks the pure rooms, returns one value for the faces to show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from vanstock.jobneeds import JobNeeds
from vanstock.kit import load as plans
from vanstock.kit.load import BuyLine, LoadLine, ShortLine
from vanstock.kit.odds import DayOdds, draw_day
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import Draft, sent_before
from vanstock.ledger.valuing import Line
from vanstock.model import Entry, Job, Part
from vanstock.needs.begun import still_needed
from vanstock.needs.cases import CaseBook
from vanstock.needs.marginals import NeedLine, marginals
from vanstock.quantity import round_up_to_packs, show_qty
from vanstock.routines.cautions import cautions_for
from vanstock.routines.past import Past, fitted_so_far, group_supply, read_past
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import calendar
from vanstock.workdays import arrival_date, next_cutoff

SEED = 20_270_301
_NOON = time(12)
_CAUTION_FROM = 0.05
_LEAST_CHANCE = 0.01
_MOST_NAMED = 2


@dataclass(frozen=True, slots=True)
class Need:
    """A part that a job may take: `qty` base units with `probability`, of which the van has `on_hand`."""

    component: str
    part: Part
    probability: float
    qty: int
    on_hand: int
    jobs_like_it: int


@dataclass(frozen=True, slots=True)
class Short:
    """A part that a job may lack: base units missing, and the odds that costs."""

    part: Part
    qty: int
    lost_odds: float


@dataclass(frozen=True, slots=True)
class JobOutlook:
    """One job of the day: odds with the load list aboard and as the van stands, needs, shortages."""

    job: Job
    odds: float | None
    odds_now: float | None
    standard_error: float
    needs: tuple[Need, ...]
    short: tuple[Short, ...]
    jobs_like_it: int


@dataclass(frozen=True, slots=True)
class Load:
    """Carry `qty` base units of a part from a store; the van has `on_hand`."""

    part: Part
    qty: int
    from_place: str
    on_hand: int
    reason: str


@dataclass(frozen=True, slots=True)
class Buy:
    """Buy `qty` base units before leaving, for `gain` more finished jobs; when it must be ordered by and
    when it comes."""

    part: Part
    qty: int
    gain: float
    cutoff: datetime | None
    arrives: date | None


@dataclass(frozen=True, slots=True)
class LoadOut:
    """The load-out of one van for one day."""

    date: date
    van: str
    day_odds: float | None
    jobs: tuple[JobOutlook, ...]
    load: tuple[Load, ...]
    buy: tuple[Buy, ...]
    cautions: tuple[str, ...]


def load_out_day(session: Session) -> date:
    """Today before noon, the next working day after it or when today is none."""
    days = calendar(session)
    if session.now.time() < _NOON and days.is_working(session.today):
        return session.today
    return days.next_working(session.today)


@dataclass(frozen=True, slots=True)
class _Stock:
    """Base units in the van by part number, and in the stores by (place, part number)."""

    van: dict[str, int]
    stores: list[tuple[str, str, int]]


def _stock(session: Session, van: str) -> _Stock:
    stores = {place.place for place in catalogue.places(session.ledger, "store")}
    rows = reading.balances(session.ledger)
    return _Stock(
        {row.part: row.qty for row in rows if row.place == van},
        [(row.place, row.part, row.qty) for row in rows if row.place in stores and row.qty > 0],
    )


def load_out(session: Session, day: date | None = None, *, van: str = "van") -> LoadOut:
    """Work out the load-out of a van for a day (see `load_out_day` when None)."""
    place = catalogue.place_named(session.ledger, van, "van").place
    chosen = day or load_out_day(session)
    past = read_past(session)
    booked = reading.jobs_between(session.ledger, chosen, chosen)
    jobs = [job for job in booked if job.status == "booked" and job.van == place]
    book = CaseBook.build(past.finished, past.catalogue, today=session.today)
    needs = [still_needed(book.needs_for(job), fitted_so_far(session, past, job)) for job in jobs]
    stock = _stock(session, place)
    draws = draw_day(needs, seed=SEED)
    needed = draws.total_quantiles(plans.COVER)
    loads = plans.plan_load(needed, stock.van, stock.stores, past.groups, past.catalogue.parts)
    supply_now = group_supply(past, stock.van)
    supply = plans.after_loading(stock.van, loads, past.groups)
    short = plans.day_shortages(draws, supply)
    supplies = _Supplies(supply_now, draws.with_stock(supply), draws.with_stock(supply_now), short)
    outlooks = _outlooks(past, needs, jobs, supplies)
    takes = [need for outlook in outlooks for need in outlook.needs]
    takers = [{past.groups[n.part.part] for n in o.needs if n.probability > _LEAST_CHANCE} for o in outlooks]
    return LoadOut(
        date=chosen,
        van=place,
        day_odds=supplies.odds.all_done,
        jobs=outlooks,
        load=tuple(_load(past, line, jobs, takers, needed) for line in loads),
        buy=tuple(_buy(session, past, line) for line in plans.plan_buy(draws, supply, needed)),
        cautions=tuple(cautions_for(need.part for need in takes if need.probability >= _CAUTION_FROM)),
    )


@dataclass(frozen=True, slots=True)
class _Supplies:
    """Base units by group as the van stands, the day's odds with the load list aboard and without, and what
    each job may lack even with it."""

    now: Mapping[str, int]
    odds: DayOdds
    odds_now: DayOdds
    short: Sequence[Sequence[ShortLine]]


def _outlooks(
    past: Past, needs: Sequence[JobNeeds], jobs: Sequence[Job], supplies: _Supplies
) -> tuple[JobOutlook, ...]:
    component_of = {group: past.catalogue.parts[group].component or group for group in past.groups.values()}
    found = []
    odds = zip(supplies.odds.jobs, supplies.odds_now.jobs, strict=True)
    for job, need, (then, now), short in zip(jobs, needs, odds, supplies.short, strict=True):
        lines = marginals(need, component_of)
        outlook = JobOutlook(
            job=job,
            odds=then.probability,
            odds_now=now.probability,
            standard_error=then.standard_error,
            needs=tuple(_need(past, line, supplies.now) for line in lines),
            short=tuple(Short(_part(past, s.group), s.qty, s.lost_odds) for s in short),
            jobs_like_it=need.jobs_like_it,
        )
        found.append(outlook)
    return tuple(found)


def _part(past: Past, group: str) -> Part:
    """The part number to name for a stock group: the one that replaces all others."""
    return past.catalogue.parts[past.catalogue.current(group)]


def _need(past: Past, line: NeedLine, supply: Mapping[str, int]) -> Need:
    held = supply.get(line.group, 0)
    return Need(line.component, _part(past, line.group), line.probability, line.qty, held, line.jobs_like_it)


def _load(
    past: Past, line: LoadLine, jobs: Sequence[Job], takes: Sequence[set[str]], needed: Mapping[str, int]
) -> Load:
    part = past.catalogue.parts[line.part]
    takers = [job.time or job.job for job, likely in zip(jobs, takes, strict=True) if line.group in likely]
    named = " and ".join(takers) if len(takers) <= _MOST_NAMED else f"{len(takers)} jobs"
    who = f"{named} may take {show_qty(needed[line.group], part.unit)}"
    has = show_qty(line.on_hand, part.unit)
    return Load(part, line.qty, line.from_place, line.on_hand, f"{who}; van has {has}")


def _buy(session: Session, past: Past, line: BuyLine) -> Buy:
    part = _part(past, line.group)
    supplier = past.catalogue.suppliers.get(part.supplier)
    cutoff = arrives = None
    if supplier:
        days = calendar(session)
        cutoff = next_cutoff(supplier.order_days, supplier.cutoff, now=session.now, calendar=days)
        if cutoff:
            arrives = arrival_date(cutoff.date(), past.catalogue.lead_working_days(part.part), days)
    return Buy(part, round_up_to_packs(line.qty, part.pack_size), line.gain, cutoff, arrives)


@one_act
def load_all(
    session: Session, day: date | None = None, *, van: str = "van", entry_id: str = ""
) -> tuple[LoadOut, Entry | None]:
    """Record everything on the load list as carried to the van, as one entry; None when nothing is."""
    plan = load_out(session, day, van=van)
    lines = tuple(Line(row.part.part, row.qty, row.from_place, plan.van) for row in plan.load)
    head = Draft(
        session.now, "loaded", id=entry_id, asked=("everything", str(day), van), note=f"load-out for {plan.date}"
    )
    if not lines:
        return plan, sent_before(session.ledger, head)
    return plan, once(session, head, lambda: head._replace(lines=lines))

"""The morning: what the day's jobs will take, what to load, what to buy, how likely each job is finished.

Gathers stock, bookings and the past, asks the pure rooms, returns one value (see `loadout`) for the faces to show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import NamedTuple

from vanstock.jobneeds import JobNeeds
from vanstock.kit import load as plans
from vanstock.kit.advice import Supplies, advise
from vanstock.kit.draws import DayDraws, DayOdds, draw_day
from vanstock.kit.load import BuyLine, LoadLine, ShortLine
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import Draft, sent_before
from vanstock.ledger.valuing import Line
from vanstock.model import Entry, Job, Part
from vanstock.needs.begun import still_needed
from vanstock.needs.cases import CaseBook
from vanstock.needs.marginals import NeedLine, marginals
from vanstock.quantity import round_up_to_packs, show_qty
from vanstock.routines.aboard import Stock, overloaded, own_load, stock_on
from vanstock.routines.advising import Said, in_words
from vanstock.routines.cautions import cautions_for
from vanstock.routines.dangerous import aboard, over_limit
from vanstock.routines.elsewhere import in_other_vans
from vanstock.routines.loadout import Buy, Do, JobOutlook, Left, Load, LoadOut, Need, Short, Split
from vanstock.routines.past import Past, fitted_so_far, group_supply, read_for_day
from vanstock.routines.rounds import Round, next_round
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import calendar

SEED = 20_270_301
_NOON = time(12)
_CAUTION_FROM = 0.05
_LEAST_CHANCE = 0.01
_MOST_NAMED = 2
_SPLIT_FROM = 0.05


def load_out_day(session: Session) -> date:
    """Today before noon, the next working day after it or when today is none."""
    days = calendar(session)
    if session.now.time() < _NOON and days.is_working(session.today):
        return session.today
    return days.next_working(session.today)


@dataclass(frozen=True, slots=True)
class _Day:
    """One van's day as the pure rooms want it: its jobs in order, what they take and how it may come out."""

    jobs: tuple[Job, ...]
    needs: tuple[JobNeeds, ...]
    draws: DayDraws
    needed: Mapping[str, int]


class Shared(NamedTuple):
    """What the load-outs of all vans rest on for a day: its bookings, the past, and as it is worked out what each van
    needs and takes from the stores, so that no van works it out again for those before it."""

    day: date
    booked: Sequence[Job]
    past: Past
    book: CaseBook
    needed: dict[str, Mapping[str, int]]
    taken: dict[str, Sequence[LoadLine]]

    def needs_of(self, session: Session, van: str) -> Mapping[str, int]:
        """Base units by group that a van's day needs."""
        if van not in self.needed:
            self.needed[van] = _day(session, self.past, self.book, _jobs_of(self.booked, van)).needed
        return self.needed[van]


def shared_by_vans(session: Session, day: date | None = None, known: Past | None = None) -> Shared:
    """What the vans' load-outs for a day (see `load_out_day` when None) share."""
    chosen = day or load_out_day(session)
    booked = [job for job in reading.jobs_between(session.ledger, chosen, chosen) if job.status == "booked"]
    past = known or read_for_day(session, booked)
    book = CaseBook.build(past.finished, past.catalogue, today=session.today)
    return Shared(chosen, booked, past, book, {}, {})


def load_out(
    session: Session,
    day: date | None = None,
    *,
    van: str = "van",
    known: Past | None = None,
    shared: Shared | None = None,
) -> LoadOut:
    """Work out the load-out of a van for a day (see `load_out_day` when None), from what is `known` where that has been
    read already, or from what it has `shared` with other vans of the day.

    Vans share what lies in the stores: the van whose first job comes first loads first.
    """
    place = catalogue.place_named(session.ledger, van, "van").place
    shared = shared or shared_by_vans(session, day, known)
    chosen, booked, past, book, _, _ = shared
    stock = stock_on(session, place, chosen)
    for other in _vans_before(booked, place):
        if other not in shared.taken:
            earlier = _day(session, past, book, _jobs_of(booked, other))
            theirs = stock_on(session, other, chosen, stock.stores)
            shared.taken[other] = own_load(past, earlier.draws, earlier.needed, theirs).kept
            shared.needed[other] = earlier.needed
        stock = stock.without(shared.taken[other])
    found, lacking = _worked_out(session, past, book, (chosen, place), _jobs_of(booked, place), stock)
    elsewhere = in_other_vans(session, past, (place, chosen), lacking, lambda other: shared.needs_of(session, other))
    return found._replace(elsewhere=elsewhere)


def _jobs_of(booked: Sequence[Job], van: str) -> list[Job]:
    return [job for job in booked if job.van == van]


def _vans_before(booked: Sequence[Job], van: str) -> list[str]:
    """The vans that set out before this one, in order: by the time of their first job, then by name."""
    first: dict[str, tuple[bool, str, str]] = {}
    for job in booked:
        first.setdefault(job.van, (not job.time, job.time, job.van))
    return sorted((other for other in first if van in first and first[other] < first[van]), key=lambda v: first[v])


def _day(session: Session, past: Past, book: CaseBook, jobs: Sequence[Job]) -> _Day:
    needs = tuple(still_needed(book.needs_for(job), fitted_so_far(session, past, job)) for job in jobs)
    draws = draw_day(needs, seed=SEED)
    return _Day(tuple(jobs), needs, draws, draws.total_quantiles(plans.COVER))


def _worked_out(
    session: Session, past: Past, book: CaseBook, where: tuple[date, str], jobs: Sequence[Job], stock: Stock
) -> tuple[LoadOut, list[str]]:
    """The load-out, and the groups that the day may need more of than is aboard then."""
    day = _day(session, past, book, jobs)
    fitted = own_load(past, day.draws, day.needed, stock)
    now = group_supply(past, stock.van)
    loaded = plans.after_loading(stock.van, fitted.kept, past.groups)
    weighed = _Weighed(
        now, loaded, day.draws.with_stock(loaded), day.draws.with_stock(now), plans.day_shortages(day.draws, loaded)
    )
    left = {row.line.group for row in fitted.left}
    rounds = {group: one for group, one in _rounds(session, past, day, loaded).items() if group not in left}
    bought = {group: qty for group, qty in day.needed.items() if group not in left}
    since = {group: _place_of(one.comes, where[0], jobs) for group, one in rounds.items() if one.comes}
    outlooks = _outlooks(past, book, day, weighed)
    load = _loads(past, day, fitted.kept, outlooks)
    carries = aboard(stock.aboard, fitted.kept, past.catalogue.parts, stock.limits.grams)
    takes = [need.part for outlook in outlooks for need in outlook.needs if need.probability >= _CAUTION_FROM]
    lacking = [group for group, qty in day.needed.items() if qty > loaded.get(group, 0)]
    return LoadOut(
        date=where[0],
        van=where[1],
        day_odds=weighed.odds.all_done,
        expected=_expected([outlook.odds for outlook in outlooks]),
        expected_now=_expected([outlook.odds_now for outlook in outlooks]),
        jobs=outlooks,
        do=_advice(past, day, (Supplies(now, loaded, since), rounds), outlooks, load),
        load=load,
        left=tuple(Left(past.catalogue.parts[r.line.part], r.qty, r.line.from_place, r.cost) for r in fitted.left),
        buy=tuple(_buy(past, line, rounds) for line in plans.plan_buy(day.draws, loaded, bought, since)),
        cautions=(*overloaded(fitted), *over_limit(carries.points), *cautions_for(takes)),
        expired=stock.expired(past.catalogue.parts, where[0]),
        expiring=stock.soon(past.catalogue.parts, where[0]),
        aboard=carries,
    ), lacking


def _expected(odds: Sequence[float | None]) -> float | None:
    known = [one for one in odds if one is not None]
    return sum(known) if known and len(known) == len(odds) else None


def _rounds(session: Session, past: Past, day: _Day, loaded: Mapping[str, int]) -> dict[str, Round]:
    """By group that the day may lack: when it can come."""
    days = calendar(session)
    lacking = [group for group, takes in day.draws.takes.items() if sum(t.most for t in takes) > loaded.get(group, 0)]
    return {group: next_round(past.catalogue, _part(past, group), session.now, days) for group in lacking}


def _place_of(comes: datetime, day: date, jobs: Sequence[Job]) -> int:
    """The place of the first job that starts when something has come; their number when none does. A job without a
    time is the last of its day."""
    for place, job in enumerate(jobs):
        start = datetime.combine(day, time.fromisoformat(job.time) if job.time else time.max, tzinfo=comes.tzinfo)
        if comes <= start:
            return place
    return len(jobs)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """Base units by group as the van stands and with the load list aboard, the day's odds either way, and what each
    job may lack even with it."""

    now: Mapping[str, int]
    loaded: Mapping[str, int]
    odds: DayOdds
    odds_now: DayOdds
    short: Sequence[Sequence[ShortLine]]


def _outlooks(past: Past, book: CaseBook, day: _Day, weighed: _Weighed) -> tuple[JobOutlook, ...]:
    component_of = {group: past.catalogue.parts[group].component or group for group in past.groups.values()}
    found = []
    odds = zip(weighed.odds.jobs, weighed.odds_now.jobs, strict=True)
    for job, need, (then, now), short in zip(day.jobs, day.needs, odds, weighed.short, strict=True):
        lines = marginals(need, component_of)
        outlook = JobOutlook(
            job=job,
            odds=then.probability,
            odds_now=now.probability,
            standard_error=then.standard_error,
            needs=tuple(_need(past, line, weighed.now) for line in lines),
            short=tuple(Short(_part(past, s.group), s.qty, s.lost_odds) for s in short),
            splits=_splits(past, book, job, lines),
            jobs_like_it=need.jobs_like_it,
        )
        found.append(outlook)
    return tuple(found)


def _splits(past: Past, book: CaseBook, job: Job, lines: Sequence[NeedLine]) -> tuple[Split, ...]:
    """The components that this job probably takes, of which it is not known which part number."""
    odds = {line.group: line.probability for line in lines}
    found = []
    for component in dict.fromkeys(line.component for line in lines):
        choices = book.parts.for_component(job.family, component, chosen=job.chosen)
        if len(choices) > 1 and sum(odds.get(group, 0.0) for _, group in choices) >= _SPLIT_FROM:
            found.append(Split(component, tuple((_part(past, group), share) for share, group in choices)))
    return tuple(found)


def _part(past: Past, group: str) -> Part:
    """The part number to name for a stock group: the one that replaces all others."""
    return past.catalogue.parts[past.catalogue.current(group)]


def _need(past: Past, line: NeedLine, supply: Mapping[str, int]) -> Need:
    held = supply.get(line.group, 0)
    return Need(line.component, _part(past, line.group), line.probability, line.qty, held, line.jobs_like_it)


def _loads(past: Past, day: _Day, lines: Sequence[LoadLine], outlooks: Sequence[JobOutlook]) -> tuple[Load, ...]:
    takes = [{past.groups[n.part.part] for n in o.needs if n.probability > _LEAST_CHANCE} for o in outlooks]
    return tuple(_load(past, line, day, takes) for line in lines)


def _load(past: Past, line: LoadLine, day: _Day, takes: Sequence[set[str]]) -> Load:
    part = past.catalogue.parts[line.part]
    takers = [job.time or job.job for job, likely in zip(day.jobs, takes, strict=True) if line.group in likely]
    named = " and ".join(takers) if len(takers) <= _MOST_NAMED else f"{len(takers)} jobs"
    who = f"{named} may take {show_qty(day.needed[line.group], part.unit)}"
    has = show_qty(line.on_hand, part.unit)
    return Load(part, line.qty, line.from_place, line.on_hand, f"{who}; van has {has}")


def _buy(past: Past, line: BuyLine, rounds: Mapping[str, Round]) -> Buy:
    part = _part(past, line.group)
    cutoff, comes = rounds[line.group]
    in_time = line.gain >= plans.LEAST_GAIN
    gain = line.gain if in_time else line.worth
    return Buy(part, round_up_to_packs(line.qty, part.pack_size), gain, cutoff, comes, in_time)


def _advice(
    past: Past,
    day: _Day,
    supply: tuple[Supplies, Mapping[str, Round]],
    outlooks: Sequence[JobOutlook],
    load: Sequence[Load],
) -> tuple[Do, ...]:
    supplies, rounds = supply
    splits = [[{past.groups[part.part] for part, _ in split.variants} for split in o.splits] for o in outlooks]
    by_part = {_part(past, group).part: one for group, one in rounds.items()}
    found = []
    for advice in advise(day.draws, supplies, splits):
        outlook = outlooks[advice.place]
        named = (
            _named(past, advice.groups, load) if advice.action == "load" else [_part(past, g) for g in advice.groups]
        )
        words = in_words(advice, named, Said(load, outlook.short, by_part, outlook.job.date))
        found.append(Do(outlook.job, advice.action, tuple(named), advice.odds, advice.gain, words))
    return tuple(found)


def _named(past: Past, groups: Sequence[str], load: Sequence[Load]) -> list[Part]:
    """The part numbers on the load list of these groups: an old one may be taken first."""
    return [row.part for row in load if past.groups[row.part.part] in groups]


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

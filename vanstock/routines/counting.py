"""Count sheets: the few lines most worth counting this week, or everything at a place as it lies at one moment.

A sheet carries a code: up to which entry of this ledger it was written, and whether that moment is frozen, which is
what its answers are held against (see `countanswers`). Proposes and reads; writes nothing. Called by `cli.count`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.counting import Countable, PastCount, Repeated, in_words, repeated_differences, worth_counting
from vanstock.ledger import catalogue, counts, reading
from vanstock.ledger.counts import Key
from vanstock.model import Balance, Part
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar

_CODE = re.compile(r"([FS])([0-9]{1,12})-([0-9a-f]{8})-([0-9]{8}-[0-9]{4})", re.IGNORECASE)
_MOMENT = "%Y%m%d-%H%M"
_NO_ENTRY = "0" * 8
_A_YEAR = timedelta(days=365)
_MOST_NAMED = 6


class SheetCode(NamedTuple):
    """Up to which entry a sheet was written, the beginning of that entry's id, the local time, and whether answers are
    held against that moment (`frozen`) or against the ledger as it stands when they are entered."""

    seq: int
    mark: str
    moment: datetime
    frozen: bool

    def __str__(self) -> str:
        return f"{'F' if self.frozen else 'S'}{self.seq}-{self.mark}-{self.moment:{_MOMENT}}"


class SheetLine(NamedTuple):
    """A part to count at a place, why in plain words, what the ledger has of it, and its rank by what it is worth to
    count it (1 the most)."""

    part: Part
    place: str
    why: str
    ledger: int
    rank: int


class CountSheet(NamedTuple):
    """A sheet place by place, each in the order of where things lie; `full` for everything there is, `first` for every
    part where nothing has come in yet; `notes` are what to do before counting."""

    code: SheetCode
    full: bool
    lines: tuple[SheetLine, ...]
    notes: tuple[str, ...] = ()
    first: bool = False


def written_now(session: Session, *, frozen: bool) -> SheetCode:
    """The code of a sheet written now."""
    seq, entry = counts.last_entry(session.ledger)
    return SheetCode(seq, entry[:8] or _NO_ENTRY, session.now, frozen)


def read_code(session: Session, text: str) -> SheetCode:
    """The code as a sheet carries it; raises `BadValue` for none and for a sheet of another ledger."""
    found = _CODE.fullmatch(text.strip())
    try:
        moment = datetime.strptime(found[4], _MOMENT) if found else None  # noqa: DTZ007 local, as all is
    except ValueError:
        moment = None
    if found is None or moment is None:
        raise BadValue(f"sheet {text!r} is no sheet's code: copy it as the sheet has it, or leave it empty")
    code = SheetCode(int(found[2]), found[3].lower(), moment, found[1].upper() == "F")
    if (counts.id_of(session.ledger, code.seq)[:8] if code.seq else _NO_ENTRY) != code.mark:
        raise BadValue(f"sheet {text!r} was written from another ledger, or from what a restore took back: count anew")
    return code


def weekly_sheet(session: Session, *, place: str = "", most: int = 8) -> CountSheet:
    """At most so many lines that are most worth counting, at one place or all; fewer when no more is."""
    held = _shelves(session, place)
    chosen = worth_counting(_countables(session, held), most=most)
    rank = {(line.part, line.place): (number, line.why) for number, line in enumerate(chosen, 1)}
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    lines = tuple(
        SheetLine(parts[row.part], row.place, rank[row.part, row.place][1], row.qty, rank[row.part, row.place][0])
        for row in held
        if (row.part, row.place) in rank
    )
    return CountSheet(written_now(session, frozen=False), False, lines)


def full_sheet(session: Session, *, place: str = "") -> CountSheet:
    """Every part that lies at a place or moved there in the last year, frozen at this moment; in a ledger that holds
    nothing yet every part that can be bought, at every place, for the first count."""
    if not reading.balances(session.ledger):
        return _first_sheet(session, place)
    code = written_now(session, frozen=True)
    held = counts.held_at(session.ledger, code.seq)
    said = {(one.part, one.place): in_words(one) for one in repeated(session)}
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    listed = full_list(session, code, {row.place for row in _shelves(session, place)})
    lines = tuple(
        SheetLine(parts[part], where, said.get((part, where), ""), held.get((part, where), 0), number)
        for number, (part, where) in enumerate(listed, 1)
    )
    return CountSheet(code, True, lines, _not_finished(session))


def _first_sheet(session: Session, place: str) -> CountSheet:
    known = catalogue.places(session.ledger)
    places = [catalogue.place_named(session.ledger, place)] if place else known
    parts = [part for part in catalogue.part_names(session.ledger) if not part.superseded_by]
    keys = [(part, one.place) for one in places for part in parts]
    lines = tuple(SheetLine(part, where, "", 0, number) for number, (part, where) in enumerate(keys, 1))
    return CountSheet(written_now(session, frozen=False), False, lines, first=True)


def full_list(session: Session, code: SheetCode, places: Iterable[str]) -> list[Key]:
    """What a full count takes in at these places: all that lay there then, or moved there in the year before."""
    wanted = set(places)
    held = counts.held_at(session.ledger, code.seq)
    moved = counts.moved_between(session.ledger, (code.moment.date() - _A_YEAR).isoformat(), code.seq)
    return [
        (row.part, row.place)
        for row in _shelves(session, "")
        if row.place in wanted and (held.get((row.part, row.place)) or (row.part, row.place) in moved)
    ]


def _shelves(session: Session, place: str) -> list[Balance]:
    """What the ledger knows of, place by place, each in the order it first came there."""
    order = [one.place for one in catalogue.places(session.ledger)]
    where = catalogue.place_named(session.ledger, place).place if place else ""
    return sorted(reading.balances(session.ledger, place=where), key=lambda row: order.index(row.place))


def _not_finished(session: Session) -> tuple[str, ...]:
    """A note on jobs whose time has come and that are not finished: their parts are out of the van and not logged."""
    first = date(1990, 1, 1)
    jobs = [
        job.job
        for job in reading.jobs_between(session.ledger, first, session.today)
        if job.status == "booked" and (job.date < session.today or job.time <= f"{session.now:%H:%M}")
    ]
    if not jobs:
        return ()
    more = f" and {len(jobs) - _MOST_NAMED} more" if len(jobs) > _MOST_NAMED else ""
    listed = ", ".join(jobs[:_MOST_NAMED])
    return (f"not finished in the ledger: {listed}{more}. Log what they took, then write the sheet again",)


def pasts(session: Session) -> dict[Key, tuple[PastCount, ...]]:
    """What the counts of each part at each place found, from the oldest; a first count of what was never there by the
    ledger sets it up and disagrees with nothing."""
    found: dict[Key, tuple[PastCount, ...]] = {}
    for row in counts.counts(session.ledger):
        one = PastCount(0, 0) if row.opening else PastCount(row.difference, row.value)
        found[row.part, row.place] = (*found.get((row.part, row.place), ()), one)
    return found


def repeated(session: Session, only: Iterable[Key] | None = None) -> list[Repeated]:
    """What keeps disagreeing, of all parts and places or of these alone."""
    wanted = None if only is None else set(only)
    rows = (Countable(part, place, 0, 0, past) for (part, place), past in pasts(session).items())
    return [one for one in repeated_differences(rows) if wanted is None or (one.part, one.place) in wanted]


def _countables(session: Session, held: Iterable[Balance]) -> list[Countable]:
    past = pasts(session)
    movements = counts.movements_since_count(session.ledger)
    last = {(row.part, row.place): date.fromisoformat(row.at[:10]) for row in counts.counts(session.ledger)}
    days = calendar(session)
    return [
        Countable(
            row.part,
            row.place,
            row.value,
            movements.get(key, 0),
            past.get(key, ()),
            days.working_days_between(last[key], session.today) if key in last else None,
            row.count_needed,
        )
        for row in held
        for key in [(row.part, row.place)]
    ]

"""Stock that is thrown away, and the use-by dates that a look at the shelf finds. Called by `cli.writeoff`.

A write-off takes stock off the shelves at its average value, for good: it is no need of a job. What is written off as
expired is no loss that levels should stock for either. Both acts can be undone.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.lots import Remains
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import WRITE_OFF, Draft
from vanstock.ledger.lots import EXPIRED
from vanstock.ledger.orderrows import LotRow
from vanstock.ledger.valuing import Line
from vanstock.model import Entry, Part
from vanstock.quantity import show_qty
from vanstock.routines.expiry import aged
from vanstock.routines.job import read_qty
from vanstock.routines.naming import find_part
from vanstock.routines.session import Session, once, one_act
from vanstock.workdays import parse_date

VAN = "van"


class Gone(NamedTuple):
    """So much written off at a place, what it was worth in pence, and what the ledger has there after it."""

    place: str
    qty: int
    value: int
    left: int


class WrittenOff(NamedTuple):
    """A write-off: the entry, the part, place by place, and what to tell."""

    entry: Entry
    part: Part
    gone: tuple[Gone, ...]
    warnings: tuple[str, ...]


class Thrown(NamedTuple):
    """What is written off, as typed: with `expired` the amount may be left out, all that has expired by the ledger, and
    the place, wherever that is counted."""

    part: str
    qty: str = ""
    place: str = ""
    why: str = ""
    expired: bool = False


@one_act
def write_off(session: Session, thrown: Thrown, *, entry_id: str = "") -> WrittenOff:
    """Write stock off; raises `BadValue` when it is not said how much. More than the ledger has is recorded too."""

    def plan() -> Draft:
        place = catalogue.place_named(session.ledger, thrown.place or VAN).place
        part = find_part(session, thrown.part, place=place)
        if thrown.qty:
            amounts = {place: read_qty(thrown.qty, part)}
        elif thrown.expired:
            amounts = _all_expired(session, part, place if thrown.place else "")
        else:
            raise BadValue(f"how much of {part.part}? Say it, like `vanstock write-off {part.part} 1`")
        lines = tuple(Line(part.part, qty, where, WRITE_OFF) for where, qty in amounts.items())
        return Draft(session.now, kind, lines, note=thrown.why)

    kind = EXPIRED if thrown.expired else "written off"
    return _read_back(session, once(session, Draft(session.now, kind, id=entry_id, asked=tuple(thrown)), plan))


def _all_expired(session: Session, part: Part, place: str) -> dict[str, int]:
    """What has expired of a part by the ledger, by place, or all of it that can lie at one."""
    known = aged(session, van=place, part=part.part).get(part.part)
    amounts = known.expired_at(session.today) if known else {}
    amounts = {where: qty for where, qty in amounts.items() if not place or where == place}
    if not amounts:
        raise BadValue(f"by the ledger nothing of {part.part} has expired: say how much you throw away")
    return amounts


def _read_back(session: Session, entry: Entry) -> WrittenOff:
    lines = [line for line in reading.lines_of(session.ledger, entry).movements if line.to_place == WRITE_OFF]
    part = find_part(session, lines[0].part)
    gone = tuple(
        Gone(m.from_place, m.qty, m.value, reading.left_after(session.ledger, part.part, m.from_place, entry))
        for m in lines
        if m.qty
    )
    warnings = tuple(
        f"by the ledger there was not enough {part.part} in {row.place} (now {show_qty(row.left, part.unit)}): "
        "recorded, and it is marked for a count"
        for row in gone
        if row.left < 0
    )
    return WrittenOff(entry, part, gone, warnings)


class DateSaid(NamedTuple):
    """A use-by date that was found on so much of what is on hand, and all dates as they stand after it."""

    entry: Entry
    part: Part
    qty: int
    use_by: date
    remains: Remains


@one_act
def say_use_by(session: Session, part_text: str, qty_text: str, day_text: str, *, entry_id: str = "") -> DateSaid:
    """Record that of what is on hand so much has this use-by date, whatever was thought of it; of the other dates the
    latest give way. Raises `BadValue` for more than is on hand and for what is known already."""

    def plan() -> Draft:
        part = find_part(session, part_text)
        qty, day = read_qty(qty_text, part), parse_date(day_text)
        held = sum(row.qty for row in reading.balances(session.ledger, [part.part]))
        if qty > held:
            there = show_qty(max(held, 0), part.unit)
            raise BadValue(f"only {there} of {part.part} is on hand by the ledger: `vanstock count` it first")
        known = aged(session, part=part.part).get(part.part)
        now = {lot.use_by: lot.qty for lot in known.remains.lots} if known else {}
        then = _with(now, day, qty, held)
        changes = sorted((then.get(one, 0) - now.get(one, 0), one) for one in {*now, *then})
        rows = tuple(LotRow(part.part, change, one.isoformat()) for change, one in changes if change)
        if not rows:
            raise BadValue(f"it is known that {show_qty(qty, part.unit)} of {part.part} has the date {day}")
        note = f"{show_qty(qty, part.unit)} x {part.part} to be used by {day}"
        return Draft(session.now, "dated", orders=rows, note=note)

    asked = (part_text, qty_text, day_text)
    entry = once(session, Draft(session.now, "dated", id=entry_id, asked=asked), plan)
    part = find_part(session, part_text)
    remains = aged(session, part=part.part)[part.part].remains
    return DateSaid(entry, part, read_qty(qty_text, part), parse_date(day_text), remains)


def _with(now: dict[date, int], day: date, qty: int, held: int) -> dict[date, int]:
    """The lots with so many of one date; where all dates are then more than is on hand the latest others give way."""
    then = now | {day: qty}
    over = sum(then.values()) - held
    for other in sorted((one for one in then if one != day), reverse=True):
        less = min(max(over, 0), then[other])
        then[other] -= less
        over -= less
    return then

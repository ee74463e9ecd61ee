"""Stock: what lies where, a count, a move between van and store, goods in, and the entries behind a figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import DIFFERENCE, SUPPLIER, Counted, Draft
from vanstock.ledger.file import writing
from vanstock.ledger.orderrows import rows_of
from vanstock.ledger.valuing import Line
from vanstock.model import Balance, Entry, Movement, Part, PastEntry, Place
from vanstock.quantity import LARGEST_MONEY, parse_qty, show_qty, value_of
from vanstock.routines.expiry import Aged, aged, lots_in, told_of_lots
from vanstock.routines.job import read_qty
from vanstock.routines.naming import find_job, find_part, find_parts
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import with_vat

STORE = "store"


class StockRow(NamedTuple):
    """What the ledger says of a part at one place, and how much of it has expired."""

    part: Part
    balance: Balance
    expired: int = 0


class Posted(NamedTuple):
    """An entry about one part: how much of it, the places, what lies there now, and what to tell."""

    entry: Entry
    part: Part
    qty: int
    from_place: str
    to_place: str
    left: int
    value: int = 0
    warnings: tuple[str, ...] = ()


def stock(session: Session, text: str = "", *, place: str = "") -> list[StockRow]:
    """What lies in vans and stores, of the parts that match a number or words, at one place or all.

    A part that was never anywhere is shown once, with nothing, when it was asked for by name. Raises
    `NotFound` for words that match no part and for an unknown place.
    """
    where = catalogue.place_named(session.ledger, place).place if place else ""
    late = {part: one.expired_at(session.today) for part, one in aged(session).items()}
    return [row._replace(expired=late.get(row.part.part, {}).get(row.balance.place, 0)) for row in
            _rows(session, text, where)]  # fmt: skip


def _rows(session: Session, text: str, where: str) -> list[StockRow]:
    if not text:
        parts = {part.part: part for part in catalogue.part_names(session.ledger)}
        return [StockRow(parts[row.part], row) for row in reading.balances(session.ledger, place=where)]
    exact = catalogue.part_by_number(session.ledger, text)
    found = [exact] if exact else find_parts(session, text)
    if not found:
        raise NotFound(f"no part matches {text!r}: try fewer words, or `vanstock stock` for everything")
    held = reading.balances(session.ledger, [part.part for part in found], where)
    rows = [StockRow(part, row) for part in found for row in held if row.part == part.part]
    named = {row.part.part for row in rows}
    return rows + [StockRow(p, Balance(p.part, where or STORE, 0, 0)) for p in found if p.part not in named]


@one_act
def move(session: Session, part_text: str, qty_text: str, *, source: str, target: str, entry_id: str = "") -> Posted:
    """Record a part carried from one van or store to another."""

    def plan() -> Draft:
        from_place = catalogue.place_named(session.ledger, source).place
        to_place = catalogue.place_named(session.ledger, target).place
        if from_place == to_place:
            raise BadValue(f"{from_place} is both where it comes from and where it goes: name two places")
        part = find_part(session, part_text, place=from_place)
        return Draft(session.now, "loaded", (Line(part.part, read_qty(qty_text, part), from_place, to_place),))

    asked = (part_text, qty_text, source, target)
    entry = once(session, Draft(session.now, "loaded", id=entry_id, asked=asked), plan)
    return _posted(session, entry, _moved(session, entry))


class Carried(NamedTuple):
    """Goods carried to a place as one entry: each part, how much of it, and from where."""

    entry: Entry
    to_place: str
    lines: tuple[tuple[Part, int, str], ...]
    warnings: tuple[str, ...] = ()


@one_act
def carry(session: Session, rows: Sequence[tuple[str, str, str]], *, target: str, entry_id: str = "") -> Carried:
    """Record parts carried to a van or store in one go: each part, how much as typed, and the place it came from."""

    def plan() -> Draft:
        to_place = catalogue.place_named(session.ledger, target).place
        if not rows:
            raise BadValue("nothing was named to carry: name a part")
        return Draft(session.now, "loaded", tuple(_carried(session, row, to_place) for row in rows))

    asked = ("carried", tuple(rows), target)
    entry = once(session, Draft(session.now, "loaded", id=entry_id, asked=asked), plan)
    moved = [line for line in reading.lines_of(session.ledger, entry).movements if line.qty]
    lines = tuple((find_part(session, line.part), line.qty, line.from_place) for line in moved)
    warnings = [_posted(session, entry, line).warnings for line in moved]
    return Carried(entry, moved[0].to_place, lines, tuple(dict.fromkeys(told for each in warnings for told in each)))


def _carried(session: Session, row: tuple[str, str, str], to_place: str) -> Line:
    part_text, qty_text, source = row
    from_place = catalogue.place_named(session.ledger, source).place
    if from_place == to_place:
        raise BadValue(f"{from_place} is both where it comes from and where it goes: name two places")
    part = find_part(session, part_text, place=from_place)
    return Line(part.part, read_qty(qty_text, part), from_place, to_place)


def _moved(session: Session, entry: Entry) -> Movement:
    """The one line of an entry that moved goods, not only their value."""
    return next(line for line in reading.lines_of(session.ledger, entry).movements if line.qty)


def _posted(session: Session, entry: Entry, line: Movement, value: int = 0) -> Posted:
    part = find_part(session, line.part)
    left = reading.left_after(session.ledger, part.part, line.to_place, entry)
    places = {place.place for place in catalogue.places(session.ledger)}
    behind = reading.left_after(session.ledger, part.part, line.from_place, entry) if line.from_place in places else 0
    warnings = (
        (f"by the ledger there was not enough {part.part} in {line.from_place} (now "
         f"{show_qty(behind, part.unit)}): recorded, and it is marked for a count",) if behind < 0 else ()
    )  # fmt: skip
    return Posted(entry, part, line.qty, line.from_place, line.to_place, left, value, warnings)


@one_act
def receive(
    session: Session, part_text: str, qty_text: str, *, cost: int | None = None, carriage: int = 0,
    place: str = STORE, use_by: str = "", entry_id: str = "",
) -> Posted:  # fmt: skip
    """Take goods in at a place: `cost` per unit in ten-thousandths ex VAT (None is the part's own), and
    carriage in pence, which is part of what the goods cost; to be used by a day, else within the shelf life."""

    def plan() -> Draft:
        if carriage < 0 or (cost is not None and cost < 0):
            raise BadValue("cost and carriage cannot be below zero")
        part = find_part(session, part_text)
        qty = read_qty(qty_text, part)
        where = catalogue.place_named(session.ledger, place).place
        goods = value_of(qty, part.unit, part.cost if cost is None else cost)
        if goods + carriage > LARGEST_MONEY:
            raise BadValue(f"{show_qty(qty, part.unit)} at that cost is more than a ledger holds: check both")
        line = Line(part.part, qty, SUPPLIER, where, with_vat(session, goods + carriage))
        return Draft(session.now, "received", (line,), orders=tuple(lots_in(session, part, qty, use_by)))

    asked = (part_text, qty_text, cost, carriage, place, *([use_by] if use_by else []))
    entry = once(session, Draft(session.now, "received", id=entry_id, asked=asked), plan)
    line = _moved(session, entry)
    posted = _posted(session, entry, line, line.value)
    lots = told_of_lots(session, rows_of(session.ledger, entry.seq), {line.part: posted.part})
    return posted._replace(warnings=(*posted.warnings, *lots))


@one_act
def count(
    session: Session, part_text: str, qty_text: str, *, place: str, reason: str = "", entry_id: str = ""
) -> Posted:
    """Record a stock count and post the difference; a count that agrees is recorded too."""

    def plan() -> Draft:
        where = catalogue.place_named(session.ledger, place).place
        part = find_part(session, part_text, place=where)
        qty = parse_qty(qty_text, part.unit, pack_size=part.pack_size)
        if qty < 0:
            raise BadValue(f"a count cannot be below zero: {qty_text!r}")
        return Draft(session.now, "counted", counted=(Counted(part.part, where, qty),), note=reason)

    asked = (part_text, qty_text, place, reason)
    entry = once(session, Draft(session.now, "counted", id=entry_id, asked=asked), plan)
    past = reading.lines_of(session.ledger, entry)
    number, where, qty = past.counted[0]
    moved = [line for line in past.movements if line.qty]
    ways = (moved[0].from_place, moved[0].to_place) if moved else (DIFFERENCE, where)
    return Posted(entry, find_part(session, number), moved[0].qty if moved else 0, *ways, qty)


class History(NamedTuple):
    """The entries about one part, job, claim or order, newest first, with the parts they name; of one part the dates by
    which what is left of it must be used."""

    title: str
    entries: tuple[PastEntry, ...]
    parts: dict[str, Part]
    part: Part | None = None
    ages: Aged | None = None


def history(session: Session, text: str = "", *, limit: int = 50) -> History:
    """The newest entries about a job, a part, a claim or an order, or everything; raises `NotFound` for none."""
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    if not text:
        return History("everything", tuple(reading.entries_about(session.ledger, limit=limit)), parts)
    job = reading.job_named(session.ledger, text)
    if job:
        found = reading.entries_about(session.ledger, job=job.job, limit=limit)
        return History(f"job {job.job}", tuple(found), parts)
    number = text.strip().upper()
    what, numbered = reading.entries_of_number(session.ledger, number, limit)
    if what and not catalogue.part_by_number(session.ledger, text):
        return History(f"{what} {number}", tuple(numbered), parts)
    part = find_part(session, text) if parts else find_job(session, text)
    if not isinstance(part, Part):
        raise NotFound(f"nothing in the ledger is named {text!r}")
    found = reading.entries_about(session.ledger, part=part.part, limit=limit)
    ages = aged(session, part=part.part).get(part.part)
    return History(f"{part.part} {part.description}", tuple(found), parts, part, ages)


def list_places(session: Session) -> list[Place]:
    """Every van and store."""
    return catalogue.places(session.ledger)


def add_place(session: Session, name: str, kind: str) -> Place:
    """Add a van or a store by name; raises `BadValue` for a name that is taken or cannot be one."""
    clean = name.strip()
    if not clean or len(clean) > 64 or not clean.isprintable():
        raise BadValue(f"place name {name!r} cannot be used: choose a short plain name")
    with writing(session.ledger):
        if not catalogue.add_place(session.ledger, Place(clean, kind)):
            raise BadValue(f"there is already a {kind} named {clean!r}")
    return Place(clean, kind)


def totals(rows: Sequence[StockRow]) -> int:
    """The value in pence of so many stock rows."""
    return sum(row.balance.value for row in rows)


def as_if_never_below_zero(row: Balance) -> Balance:
    """A balance with nothing where the ledger is below zero: for planning, never for showing."""
    return row._replace(qty=max(row.qty, 0))

"""What the stock is worth, now or at the end of a past day, by place and component.

The pence are those that the movements were written with, moving weighted average over all vans and stores; nothing is
valued again. Money owed back, for old units or returned goods, is no stock and not in it. Called by `cli.value`.
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.ledger import catalogue, worth
from vanstock.routines.session import Session
from vanstock.routines.settings import setting_text

NO_COMPONENT = "(no component)"
ASK = "ask your accountant which of these figures to use, and how stock is to be valued"


class ValueRow(NamedTuple):
    """What lies of a component at a place: how many parts (lines), and pence."""

    place: str
    component: str
    lines: int
    value: int


class StockValue(NamedTuple):
    """What the stock was worth at the end of a day, row by row; how many lines were below zero, and their pence.

    `later` is how many entries are dated later, `since` the day from which the ledger follows the stock ("": not yet).
    """

    day: date
    rows: tuple[ValueRow, ...]
    below_zero: int
    below_zero_value: int
    later: int
    since: str
    basis: str
    currency: str

    @property
    def total(self) -> int:
        """Pence of everything."""
        return sum(row.value for row in self.rows)


def stock_value(session: Session, day: date | None = None) -> StockValue:
    """What the stock was worth at the end of a day, today where none is said; raises `BadValue` for a day to come."""
    day = past_day(session, day)
    until = end_of(day)
    held = worth.held(session.ledger, until)[0]
    component = {part.part: part.component or NO_COMPONENT for part in catalogue.part_names(session.ledger)}
    sums: dict[tuple[str, str], tuple[int, int]] = {}
    for (part, place), (_, value) in held.items():
        lines, pence = sums.get((place, component[part]), (0, 0))
        sums[place, component[part]] = (lines + 1, pence + value)
    order = [place.place for place in catalogue.places(session.ledger)]
    keys = sorted(sums, key=lambda key: (order.index(key[0]), key[1]))
    below = [value for qty, value in held.values() if qty < 0]
    return StockValue(
        day, tuple(ValueRow(*key, *sums[key]) for key in keys), len(below), sum(below),
        worth.dated_after(session.ledger, until), worth.begun(session.ledger), basis(session),
        setting_text(session, "currency"),
    )  # fmt: skip


def past_day(session: Session, day: date | None) -> date:
    """The day, today where none is said; raises `BadValue` for one that is still to come."""
    if day is not None and day > session.today:
        raise BadValue(f"{day} is still to come: name a day up to today, {session.today}")
    return day or session.today


def end_of(day: date) -> str:
    """The last moment of a day, as the ledger writes moments."""
    return datetime.combine(day, time(23, 59, 59)).isoformat()


def start_of(day: date) -> str:
    """The first moment of a day, as the ledger writes moments."""
    return datetime.combine(day, time()).isoformat()


def basis(session: Session) -> str:
    """How stock is valued, and whether with VAT, in a few words."""
    percent = setting_text(session, "vat_added_percent")
    vat = "ex VAT" if float(percent) == 0 else f"with {percent} % VAT added, as set"
    return f"moving weighted average cost, {vat}"

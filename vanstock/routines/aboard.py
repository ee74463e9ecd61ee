"""What a van and the stores can give on a day, and what the van then carries: stock without what has expired, limits.

Expired stock is not there for a plan and lies in the van all the same: it is weighed and counted until it is taken out.
Called by `morning`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from vanstock.kit.draws import DayDraws
from vanstock.kit.load import LoadLine, plan_load
from vanstock.kit.payload import Fitted, Limits, carried, fit
from vanstock.ledger import catalogue, reading
from vanstock.model import Part
from vanstock.routines.expiry import Aged, Expiring, aged, expired_lines, not_expired, soon_lines
from vanstock.routines.past import Past, group_supply
from vanstock.routines.session import Session
from vanstock.routines.settings import limits


@dataclass(frozen=True, slots=True)
class Stock:
    """Base units that can be used: in the van by part number, in the stores by (place, part number); all that lies in
    the van; the limits of the van; and the lots of what expires."""

    van: dict[str, int]
    stores: list[tuple[str, str, int]]
    aboard: dict[str, int]
    limits: Limits
    ages: Mapping[str, Aged]

    def without(self, taken: Sequence[LoadLine]) -> Stock:
        """What is left when another van has taken these lines from the stores."""
        gone = {(line.from_place, line.part): line.qty for line in taken}
        left = [(place, part, qty - gone.get((place, part), 0)) for place, part, qty in self.stores]
        return Stock(self.van, [row for row in left if row[2] > 0], self.aboard, self.limits, self.ages)

    def expired(self, parts: Mapping[str, Part], day: date) -> tuple[Expiring, ...]:
        """What has expired on a day."""
        return expired_lines(parts, self.ages, day)

    def soon(self, parts: Mapping[str, Part], day: date) -> tuple[Expiring, ...]:
        """What expires soon after a day."""
        return soon_lines(parts, self.ages, day)


def stock_on(session: Session, van: str, day: date, stores: list[tuple[str, str, int]] | None = None) -> Stock:
    """What a van and the stores (or what is left in them) can give on a day."""
    rows = reading.balances(session.ledger, place="" if stores is None else van)
    ages = aged(session, van=van)
    usable = not_expired(rows, ages, day)
    if stores is None:
        named = {place.place for place in catalogue.places(session.ledger, "store")}
        stores = [(row.place, row.part, row.qty) for row in usable if row.place in named and row.qty > 0]
    return Stock(
        van={row.part: row.qty for row in usable if row.place == van},
        stores=stores,
        aboard={row.part: row.qty for row in rows if row.place == van},
        limits=limits(session),
        ages=ages,
    )


def own_load(past: Past, draws: DayDraws, needed: Mapping[str, int], stock: Stock) -> Fitted:
    """The load list of a van for what a day needs, as far as the van can carry it."""
    parts = past.catalogue.parts
    lines = plan_load(needed, stock.van, stock.stores, past.groups, parts)
    if stock.limits == Limits(None, None):
        return Fitted(tuple(lines), (), (0, 0))
    grams, room = carried(stock.aboard, parts)
    free = Limits(_left(stock.limits.grams, grams), _left(stock.limits.millilitres, room))
    return fit(draws, group_supply(past, stock.van), lines, parts, free)


def _left(limit: int | None, taken: float) -> int | None:
    return None if limit is None else limit - ceil(taken)


def overloaded(fitted: Fitted) -> list[str]:
    """What to say of a van that is over its limits before anything is loaded."""
    grams, room = fitted.over
    told = [f"The parts aboard are {grams / 1000:.1f} kg over payload_kg: unload before you drive."] if grams else []
    return [*told, *([f"The parts aboard fill {room / 1000:.1f} L more than space_litres."] if room else [])]

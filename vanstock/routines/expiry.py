"""Shelf life: what has expired of what is on hand and where it is counted, what expires soon, and what a fitting took.

Lots have no place: the ledger knows when a can came in, not which can was carried where. So what is left of them is
worked out over all places together (see `kit.lots`), and what has expired is counted against the places in one plain
order: the vans before the stores, since what lies in a van came in first; where one van is planned for, that van, then
the stores that it loads from, then the other vans, so that its plan never rests on a can that may have expired. Called
by every routine that plans with stock, shows it or writes lots.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple

from vanstock.ledger import catalogue, reading
from vanstock.ledger.lots import EXPIRED, Step, steps
from vanstock.workdays import parse_date

if TYPE_CHECKING:
    from vanstock.kit.lots import Flow, Remains
    from vanstock.ledger.orderrows import LotRow
    from vanstock.model import Balance, Entry, Part
    from vanstock.routines.session import Session

SOON_DAYS = 30
"""Days ahead within which what expires is told of."""


class Aged(NamedTuple):
    """What is left of a part's lots, and what lies at each place, in the order that expired stock is counted there."""

    remains: Remains
    held: tuple[tuple[str, int], ...]

    def expired_at(self, day: date) -> dict[str, int]:
        """Base units by place that count as expired on a day."""
        from vanstock.kit.lots import counted_against, expired

        return counted_against(expired(self.remains, day), self.held)


class Expiring(NamedTuple):
    """So many base units of a part whose last day of use is, or was, `use_by`; the place they are counted at, empty for
    what has not expired."""

    part: Part
    qty: int
    use_by: date
    place: str = ""


def aged(session: Session, *, van: str = "", part: str = "") -> dict[str, Aged]:
    """Every part that ever had a use-by date (or this one), with what is left of its lots; `van` is the one planned
    for."""
    known = steps(session.ledger, part)
    if not known:
        return {}
    kinds = {place.place: place.kind for place in catalogue.places(session.ledger)}
    order = sorted(kinds, key=lambda place: _rank(place, kinds[place], van))  # stable: else as they were made
    held: dict[str, dict[str, int]] = {}
    for balance in reading.balances(session.ledger, known):
        held.setdefault(balance.part, {})[balance.place] = balance.qty
    return {name: Aged(_left(rows), _in_order(held.get(name, {}), order)) for name, rows in known.items()}


def left_on(session: Session, day: date) -> dict[str, Remains]:
    """What was left of the lots of every part at the end of a day."""
    return {
        name: _left(step for step in rows if step.day <= day.isoformat())
        for name, rows in steps(session.ledger).items()
    }


def _rank(place: str, kind: str, van: str) -> int:
    if van:
        return 0 if place == van else 1 if kind == "store" else 2
    return 0 if kind == "van" else 1


def _in_order(held: Mapping[str, int], order: Iterable[str]) -> tuple[tuple[str, int], ...]:
    return tuple((place, held[place]) for place in order if place in held)


def _left(known: Iterable[Step]) -> Remains:
    from vanstock.kit.lots import remaining

    return remaining(flow for step in known for flow in _flows(step))


def _flows(step: Step) -> list[Flow]:
    """What an entry did, as flows: goods that came with and without dates, what went, what was said of dates."""
    from vanstock.kit.lots import Flow

    day = date.fromisoformat(step.day)
    lots = [(qty, date.fromisoformat(use_by)) for use_by, qty in step.lots]
    if step.net > 0:
        known = sum(qty for qty, _ in lots)
        return [*(Flow(day, "came", qty, use_by) for qty, use_by in lots), Flow(day, "came", max(step.net - known, 0))]
    went = Flow(day, "expired" if step.kind == EXPIRED else "went", -step.net)
    return [*(Flow(day, "said", qty, use_by) for qty, use_by in lots), went]


def not_expired(rows: Sequence[Balance], ages: Mapping[str, Aged], day: date) -> list[Balance]:
    """The balances less what counts as expired on a day."""
    gone = {part: one.expired_at(day) for part, one in ages.items()}
    return [row._replace(qty=row.qty - gone.get(row.part, {}).get(row.place, 0)) for row in rows]


def usable_balances(session: Session, day: date) -> list[Balance]:
    """What lies in vans and stores and has not expired on a day."""
    return not_expired(reading.balances(session.ledger), aged(session), day)


def expired_lines(parts: Mapping[str, Part], ages: Mapping[str, Aged], day: date) -> tuple[Expiring, ...]:
    """What has expired, part by part, earliest day first, by the place it is counted at."""
    from vanstock.kit.lots import counted_against

    found = []
    for name, one in sorted(ages.items()):
        held = list(one.held)
        for lot in one.remains.lots:
            if lot.use_by < day:
                at = counted_against(lot.qty, held)
                held = [(place, qty - at.get(place, 0)) for place, qty in held]
                found += [Expiring(parts[name], qty, lot.use_by, place) for place, qty in at.items()]
    return tuple(found)


def soon_lines(parts: Mapping[str, Part], ages: Mapping[str, Aged], day: date) -> tuple[Expiring, ...]:
    """What can be used on a day and no longer `SOON_DAYS` after it, earliest first."""
    last = day + timedelta(days=SOON_DAYS)
    found = [
        Expiring(parts[name], lot.qty, lot.use_by)
        for name, one in ages.items()
        for lot in one.remains.lots
        if day <= lot.use_by <= last
    ]
    return tuple(sorted(found, key=lambda row: (row.use_by, row.part.part)))


def late_when(session: Session, part: Part, entry: Entry) -> date | None:
    """The earliest use-by date of what was on hand of a part when an entry took some, where that had passed; None where
    none had. A part without a shelf life is not looked up."""
    if part.shelf_life_days is None:
        return None
    known = steps(session.ledger, part.part, before=entry.seq).get(part.part)
    lots = _left(known).lots if known else ()
    first = lots[0].use_by if lots else None
    return first if first and first < date.fromisoformat(entry.at[:10]) else None


def lots_in(session: Session, part: Part, qty: int, said: str | None = None) -> list[LotRow]:
    """The lot that so much of a part coming in makes: to be used by the day said, else its shelf life from today; none
    where the part keeps. Raises `BadValue` for a day that is none."""
    from vanstock.ledger.orderrows import LotRow

    if not qty or (not said and part.shelf_life_days is None):
        return []
    day = parse_date(said) if said else session.today + timedelta(days=part.shelf_life_days or 0)
    return [LotRow(part.part, qty, day.isoformat())]


def told_of_lots(session: Session, rows: Iterable[object], parts: Mapping[str, Part]) -> list[str]:
    """What to say of lots that came in: the day each must be used by, and whether that is past."""
    from vanstock.ledger.orderrows import LotRow
    from vanstock.quantity import show_qty

    found = []
    for row in rows:
        if isinstance(row, LotRow):
            late = ", which is past" if date.fromisoformat(row.use_by) < session.today else ""
            found.append(f"{show_qty(row.qty, parts[row.part].unit)} x {row.part} to be used by {row.use_by}{late}")
    return found

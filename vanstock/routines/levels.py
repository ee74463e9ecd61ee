"""Min and max as they follow from the forecasts (see `forecasts`), with what a person pinned by hand.

Gathers the past, calls the pure rooms, returns values. Parts that stand in for each other are stocked as one,
under one number. Called by `cli.levels`, and by the routines that plan.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from vanstock.errors import BadValue
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Job, MinMax, Part
from vanstock.quantity import parse_qty, value_of
from vanstock.routines.forecasts import PartForecast, chosen_parts, forecast_all, review_days
from vanstock.routines.past import Past, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import target


@dataclass(frozen=True, slots=True)
class Levels:
    """Min and max of every part: what they cost when all are at max, and what they promise."""

    target: float
    completion: float | None
    cash: int
    parts: tuple[tuple[Part, MinMax], ...]


def levels(session: Session, forecasts: dict[str, PartForecast]) -> dict[str, MinMax]:
    """Min and max of every stocked part, pins first."""
    from vanstock.kit.minmax import levels_from_forecast, pinned

    aim, week = target(session), review_days(session)
    pins = catalogue.pins(session.ledger)
    return {
        part: pinned(part, *pins[part])
        if part in pins
        else levels_from_forecast(row.forecast, row.part, target=aim, review_days=week, days_per_week=week)
        for part, row in forecasts.items()
    }


def minmax(session: Session, text: str = "") -> Levels:
    """Min and max with their cost and the share of jobs that a full van would finish, taken one by one."""
    past = read_past(session)
    every = levels(session, forecast_all(session, past))
    parts = past.catalogue.parts
    cash = sum(value_of(level.max, parts[p].unit, parts[p].cost) for p, level in every.items())
    chosen = chosen_parts(session, past, text)
    shown = tuple((parts[p], level) for p, level in every.items() if not chosen or p in chosen)
    supply = {part: level.max for part, level in every.items()}
    return Levels(target(session), expected_completion(past, supply, session.today), cash, shown)


def expected_completion(past: Past, supply: dict[str, int], today: date) -> float | None:
    """The share of jobs like last year's that would be finished, each alone, with so much stock.

    The kinds of job (family and type) are weighted by how often they came in the last 365 days; None
    without any. Jobs one after another draw on the same stock, so this is the most that can be hoped for.
    """
    from vanstock.kit.odds import job_odds
    from vanstock.needs.cases import CaseBook

    since = today - timedelta(days=365)
    kinds = Counter((job.family, job.job_type) for job in past.finished if job.date >= since)
    if not kinds:
        return None
    book = CaseBook.build(past.finished, past.catalogue, today=today)
    done = 0.0
    for (family, job_type), count in sorted(kinds.items()):
        needs = book.needs_for(Job("", today, "", family, job_type))
        done += count * (job_odds(needs, supply) or 0.0)
    return done / sum(kinds.values())


def pin(session: Session, text: str, low: str, high: str) -> tuple[Part, MinMax]:
    """Pin a part's min and max by hand; raises `BadValue` unless 0 <= min <= max."""
    part = _stocked_part(session, text)
    small = parse_qty(low, part.unit, pack_size=part.pack_size)
    large = parse_qty(high, part.unit, pack_size=part.pack_size)
    if not 0 <= small <= large:
        raise BadValue(f"min {low} and max {high} cannot be: min is zero or more, and max at least min")
    with writing(session.ledger):
        catalogue.save_pin(session.ledger, part.part, (small, large))
    return part, MinMax(part.part, small, large, pinned=True, basis="pinned by hand")


def unpin(session: Session, text: str) -> Part:
    """Take the pin off a part; raises `BadValue` when there is none."""
    part = _stocked_part(session, text)
    if part.part not in catalogue.pins(session.ledger):
        raise BadValue(f"{part.part} is not pinned")
    with writing(session.ledger):
        catalogue.save_pin(session.ledger, part.part, None)
    return part


def _stocked_part(session: Session, text: str) -> Part:
    from vanstock.model import stock_groups
    from vanstock.routines.naming import find_part

    known = catalogue.read_catalogue(session.ledger)
    return known.parts[stock_groups(known)[find_part(session, text).part]]

"""The forecast of every stocked part, worked out anew each time from what the ledger holds.

Nothing is kept between two calls: a forecast follows from the history by itself, so that a changed history
changes it at once. What a decision rested on is another matter (see `why`). Parts that stand in for each other
are forecast as one, under one number. Called by `cli.forecast` and by the routines that plan.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from vanstock.ledger import catalogue
from vanstock.model import Forecast, Part
from vanstock.routines.naming import find_part, find_parts
from vanstock.routines.past import Past, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar

if TYPE_CHECKING:
    from vanstock.forecast.weekly import WeeklyPanel

PROBABILITIES = (0.5, 0.8, 0.9, 0.95)
SURE = 0.95
"""The probability at which the forecast of a slow part is judged (see `forecast.choose`)."""


@dataclass(frozen=True, slots=True)
class PartForecast:
    """A part and how many of it are coming, with the weekly needs the forecast rests on, oldest first.

    `history` is in base units and `mondays` the first day of each of its weeks; weeks in which the firm was
    closed are left out.
    """

    part: Part
    forecast: Forecast
    history: tuple[float, ...]
    mondays: tuple[date, ...]


def review_days(session: Session) -> int:
    """Working days between two weekly reviews."""
    return len(calendar(session).working)


def forecast_all(
    session: Session, past: Past, probabilities: tuple[float, ...] = PROBABILITIES
) -> dict[str, PartForecast]:
    """The forecast of every stocked part, by its number."""
    from vanstock.routines.series import need_panel

    return forecast_panel(session, past, need_panel(session, past), probabilities)


def forecast_panel(
    session: Session, past: Past, panel: WeeklyPanel, probabilities: tuple[float, ...] = PROBABILITIES
) -> dict[str, PartForecast]:
    """The forecast of every part of a panel of needs, by its number."""
    from vanstock.forecast.parts import PartInterval, forecast_parts

    week = review_days(session)
    intervals = {
        part: PartInterval(
            past.catalogue.parts[part].unit,
            week + past.catalogue.lead_working_days(part),
            week,
            past.catalogue.parts[part].component,
        )
        for part in panel.parts
    }
    found = forecast_parts(panel, intervals, target=SURE, probabilities=probabilities)
    rows = {part: tuple(row[row == row].tolist()) for part, row in zip(panel.parts, panel.need, strict=True)}
    return {
        part: PartForecast(past.catalogue.parts[part], row, rows[part], panel.weeks[len(panel.weeks) - row.weeks :])
        for part, row in found.items()
    }


def forecast(session: Session, text: str = "") -> list[PartForecast]:
    """The forecast of the parts that match a number or words, or of all."""
    past = read_past(session)
    every = forecast_all(session, past)
    chosen = chosen_parts(session, past, text)
    return [row for part, row in every.items() if not chosen or part in chosen]


def chosen_parts(session: Session, past: Past, text: str) -> set[str]:
    """The stocked numbers of the parts meant; empty for all. Raises `NotFound`."""
    if not text:
        return set()
    exact = catalogue.part_by_number(session.ledger, text)
    found = [exact] if exact else find_parts(session, text) or [find_part(session, text)]
    return {past.groups[part.part] for part in found}

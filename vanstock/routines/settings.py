"""The few things a firm can set: target, working days, closed days, currency, VAT.

Stored in the ledger as text and read as values; an unset one has its default. Called by the faces and by
the routines that plan.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta, tzinfo
from math import nan
from typing import TYPE_CHECKING, NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.quantity import parse_decimal, parse_money, parse_qty
from vanstock.routines.session import Session
from vanstock.workdays import Calendar, parse_date, parse_days

if TYPE_CHECKING:
    from vanstock.kit.minmax import Handling
    from vanstock.kit.payload import Limits


def _percent(low: float, high: float, like: str = "") -> Callable[[str], object]:
    def check(text: str) -> float:
        try:
            value = float(parse_decimal(text, "the setting"))
        except BadValue:
            value = nan
        if not low <= value <= high:
            raise BadValue(f"{text!r} is not a number from {low:g} to {high:g}{like}")
        return value

    return check


def _dates(text: str) -> frozenset[date]:
    try:
        return frozenset(parse_date(day.strip()) for day in text.split(";") if day.strip())
    except BadValue:
        raise BadValue(f"{text!r} is not a list of dates: write 2027-12-25;2027-12-26") from None


def _currency(text: str) -> str:
    if len(text) != 3 or not text.isalpha() or not text.isascii():
        raise BadValue(f"{text!r} is not a currency code of three letters, like GBP")
    return text.upper()


def _one_of(*choices: str) -> Callable[[str], object]:
    def check(text: str) -> str:
        if text not in choices:
            raise BadValue(f"{text!r} is not one of {', '.join(choices)}")
        return text

    return check


def _whole(low: int, high: int) -> Callable[[str], object]:
    def check(text: str) -> int:
        if not (text.isascii() and text.isdigit() and low <= int(text[:9]) <= high and len(text) < 9):
            raise BadValue(f"{text!r} is not a whole number from {low} to {high}")
        return int(text)

    return check


def _amount_or_none(code: str) -> Callable[[str], object]:
    def check(text: str) -> int | None:
        amount = parse_qty(text, code) if text else None
        if amount is not None and amount <= 0:
            raise BadValue(f"{text!r} is not above zero: leave it empty for no limit")
        return amount

    return check


def _money(text: str) -> int:
    pence = parse_money(text)
    if pence < 0:
        raise BadValue(f"{text!r} is below zero: write zero or more")
    return pence


def _weekday(text: str) -> int:
    try:
        days = parse_days(text)
    except BadValue:
        days = frozenset()
    if len(days) != 1:
        raise BadValue(f"{text!r} is not one weekday, like Fri")
    return min(days)


def _day_of_year(text: str) -> tuple[int, int]:
    try:
        day = parse_date(f"2027-{text.strip()}")
    except BadValue:
        raise BadValue(f"{text!r} is not a day that every year has: write month and day, like 04-06") from None
    return day.month, day.day


def _printable(text: str) -> str:
    if not text.isprintable():
        raise BadValue(f"{text!r} cannot be used: choose plain letters")
    return text


def _date_order(text: str) -> str:
    if text not in ("", "day-first", "month-first"):
        raise BadValue(f"{text!r} is neither day-first nor month-first; empty is to be asked")
    return text


def _zone(text: str) -> tzinfo | None:
    if not text:
        return None
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text)
    except (ValueError, OSError, LookupError):
        raise BadValue(f"{text!r} is no time zone: name one like Europe/London, or leave it empty") from None


class Setting(NamedTuple):
    """A thing that can be set: its default as text, what it is, and how its text is read."""

    default: str
    what: str
    read: Callable[[str], object]


SETTINGS = {
    "target": Setting(
        "0.95", "share of jobs to finish on the first visit", _percent(0.5, 0.999, ": write 0.95 for 95 of 100")
    ),
    "working_days": Setting("Mon-Fri", "days the firm works", parse_days),
    "closed_days": Setting("", "dates the firm is closed, ;-separated", _dates),
    "currency": Setting("GBP", "currency of all money", _currency),
    "vat_added_percent": Setting("0", "VAT added to stock value; 0 when the firm reclaims VAT", _percent(0, 100)),
    "daily_backup": Setting(
        "offer", "a copy after the day's first entry: offer, always or never", _one_of("offer", "always", "never")
    ),
    "backup_folder": Setting("", "where copies go; beside the ledger when empty", _printable),
    "payload_kg": Setting("", "what a van may carry in parts, in kg; empty for no limit", _amount_or_none("KGM")),
    "space_litres": Setting("", "what parts may fill in a van, in litres; empty for no limit", _amount_or_none("LTR")),
    "firm_name": Setting("", "your firm's name, as orders show it", _printable),
    "time_zone": Setting("", "time zone of calendars, like Europe/London; this machine's when empty", _zone),
    "review_day": Setting("Fri", "weekday of the reorder list; a supplier's next order day counts", _weekday),
    "line_cost": Setting("0.20", "what an order line costs to pick, check and put away, an estimate", _money),
    "holding_percent": Setting("25", "what holding stock for a year costs, in percent of it", _percent(0, 100)),
    "level_change_pays": Setting("5.00", "a level moves only when that is worth more, in cash and jobs", _money),
    "second_visit_cost": Setting("60.00", "what a second visit costs in time and fuel, an estimate", _money),
    "year_starts": Setting("01-01", "month and day on which the accounting year starts, like 04-06", _day_of_year),
    "return_days": Setting("30", "days after goods in within which unused goods may go back", _whole(0, 3_650)),
    "old_unit_days": Setting("28", "days after goods in within which an old unit goes back", _whole(0, 3_650)),
    "date_order": Setting("", "what stands first in dates like 03/04/2027: day-first or month-first", _date_order),
    "backups_kept": Setting("10", "copies kept beside one a week and one a month", _whole(1, 10_000)),
}


def known(name: str) -> Setting:
    """The setting with this name; raises `NotFound` naming those there are."""
    if name not in SETTINGS:
        raise NotFound(f"no setting named {name!r}: there is {', '.join(SETTINGS)}")
    return SETTINGS[name]


def setting_text(session: Session, name: str) -> str:
    """A setting as text, or its default."""
    found = catalogue.setting(session.ledger, name)
    return known(name).default if found is None else found


def all_settings(session: Session) -> dict[str, str]:
    """Every setting as text."""
    return {name: setting_text(session, name) for name in SETTINGS}


def change_setting(session: Session, name: str, text: str) -> None:
    """Store a setting after reading it as what it must be; raises `BadValue`."""
    known(name).read(text)
    with writing(session.ledger):
        catalogue.save_setting(session.ledger, name, text)


def time_zone(session: Session) -> tzinfo | None:
    """The zone that is local time where the firm is; None for this machine's own."""
    return _zone(setting_text(session, "time_zone"))


def target(session: Session) -> float:
    """The share of jobs that the levels are to finish on the first visit."""
    return float(setting_text(session, "target"))


def review_day(session: Session) -> int:
    """The weekday (Monday 0) of the weekly review."""
    return _weekday(setting_text(session, "review_day"))


def year_start(session: Session) -> tuple[int, int]:
    """The month and day on which the accounting year starts."""
    return _day_of_year(setting_text(session, "year_starts"))


def handling(session: Session) -> Handling:
    """What an order line and holding stock cost."""
    from vanstock.kit.minmax import Handling

    holding = float(setting_text(session, "holding_percent")) / 100
    return Handling(parse_money(setting_text(session, "line_cost")), holding, level_change_pays(session))


def level_change_pays(session: Session) -> int:
    """What moving a level must be worth, in pence."""
    return parse_money(setting_text(session, "level_change_pays"))


def limits(session: Session) -> Limits:
    """What a van may carry and hold."""
    from vanstock.kit.payload import Limits

    grams, room = (setting_text(session, name) for name in ("payload_kg", "space_litres"))
    return Limits(parse_qty(grams, "KGM") if grams else None, parse_qty(room, "LTR") if room else None)


def calendar(session: Session) -> Calendar:
    """The firm's working and closed days."""
    return Calendar(parse_days(setting_text(session, "working_days")), _dates(setting_text(session, "closed_days")))


def last_day(session: Session, name: str, came: date) -> date:
    """The last day to send back what came on a day: `name` is return_days or old_unit_days. Both defaults are common
    practice, no source."""
    return came + timedelta(days=int(setting_text(session, name)))


def with_vat(session: Session, pence: int) -> int:
    """A cost ex VAT as it counts in the value of stock: plus the VAT the firm cannot reclaim."""
    from decimal import ROUND_HALF_UP, Decimal

    percent = Decimal(setting_text(session, "vat_added_percent"))
    return int((pence * (100 + percent) / 100).quantize(Decimal(1), ROUND_HALF_UP))

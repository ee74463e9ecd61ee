"""Dates as people and spreadsheets write them, read as `2027-03-01`.

`3 Apr 2027` and `2027/04/03` say which is which; `03/04/2027` is told to mean two days, and the whole column, a setting
or a person decides. Pure; called by `tidy` and `taking`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from vanstock.errors import BadValue
from vanstock.exchange.amounts import shown
from vanstock.exchange.evidence import Evidence, evidence

DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMED = re.compile(
    r"(?:(\d{1,2})[\s.\-]*([a-z]{3})[a-z]*|([a-z]{3})[a-z]*\.?\s*(\d{1,2})(?!\d)),?[\s.\-]*(\d{4}|\d{2})", re.I
)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})")
_BY_NUMBERS = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{4}|\d{2})")
_CLOCK = re.compile(r"[T ]+(\d{1,2}:\d{2})(:\d{2})?(\.\d+)?$")
_LOOKS_LIKE_ONE = re.compile(
    rf"\d{{1,2}}[-\s](?:{'|'.join(_MONTHS)})(?:[-\s]\d{{2,4}})?|(?:{'|'.join(_MONTHS)})-\d{{2,4}}"
    r"|\d{1,2}/\d{1,2}/\d{2,4}|\d{4}-\d{2}-\d{2}( 00:00:00)?",
    re.I,
)


def meanings(text: str) -> dict[str, date]:
    """The day that a text means with the day or the month first; empty where it is no date.

    >>> meanings("03/04/2027") == {"day-first": date(2027, 4, 3), "month-first": date(2027, 3, 4)}
    True
    >>> meanings("25.12.27"), meanings("31/02/2027")
    ({'day-first': datetime.date(2027, 12, 25)}, {})
    """
    plain = _CLOCK.sub("", text.strip())
    if found := _YEAR_FIRST.fullmatch(plain):
        return _both(_day(found[1], found[3], found[4]))
    if found := _NAMED.fullmatch(plain):
        month = (found[2] or found[3]).casefold()
        number = str(_MONTHS.index(month) + 1) if month in _MONTHS else "0"
        return _both(_day(found[5], number, found[1] or found[4]))
    if found := _BY_NUMBERS.fullmatch(plain):
        first, second, year = found[1], found[3], found[4]
        days = {DAY_FIRST: _day(year, second, first), MONTH_FIRST: _day(year, first, second)}
        return {order: day for order, day in days.items() if day}
    return {}


def time_beside(text: str) -> str:
    """The time of day that stands behind a date; "" for none, and for midnight, which is how a bare day is exported.

    >>> time_beside("03/04/2027 9:30"), time_beside("2027-04-03T14:00:00"), time_beside("2027-04-03 00:00:00")
    ('09:30', '14:00', '')
    """
    found = _CLOCK.search(text.strip())
    return found[1].zfill(5).replace("00:00", "") if found else ""


def _both(day: date | None) -> dict[str, date]:
    return {DAY_FIRST: day, MONTH_FIRST: day} if day else {}


def _day(year: str, month: str, day: str) -> date | None:
    """The day; years of two digits are 1969 to 2068, as POSIX reads %y."""
    short = int(year) + (1900 if int(year) >= 69 else 2000)
    try:
        return date(short if len(year) == 2 else int(year), int(month), int(day))
    except ValueError:
        return None


def date_order(texts: Iterable[str]) -> Evidence:
    """Which comes first in a column of dates, by the texts that only one order can explain.

    >>> date_order(["03/04/2027", "25/12/2026"]).way, date_order(["03/04/2027"]).matters
    ('day-first', True)
    """
    return evidence(texts, meanings, (DAY_FIRST, MONTH_FIRST))


def read_date(text: str, order: str) -> str:
    """The day as `2027-03-01`; raises `BadValue`, also where two days are meant and no order is known."""
    found = meanings(text)
    if not found:
        raise BadValue(f"{shown(text)} is not a date: write it as 2027-03-01")
    if len(set(found.values())) > 1 and not order:
        either = f"{found[DAY_FIRST]} or {found[MONTH_FIRST]}"
        raise BadValue(f"{shown(text)} may be {either}: say --day-first or --month-first")
    day = found.get(order) or (next(iter(found.values())) if not order else None)
    if day is None:
        raise BadValue(f"{shown(text)} is no day with the {order.removesuffix('-first')} first: write it as 2027-03-01")
    return day.isoformat()


def looks_like_a_date(text: str) -> bool:
    """Whether a number of a part may be one that a spreadsheet turned into a date.

    >>> looks_like_a_date("1-Mar"), looks_like_a_date("01/03/2027"), looks_like_a_date("DS-KRA-010-A")
    (True, True, False)
    """
    return bool(_LOOKS_LIKE_ONE.fullmatch(text.strip()))

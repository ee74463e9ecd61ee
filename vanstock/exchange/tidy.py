"""Turning what stands in a cell into what the import folder would have there: `£1,234.50` into `1234.50`.

One way of reading for each kind of column. What cannot be known (a number that a spreadsheet turned into a date, or cut
short) is a `BadValue`, never a guess. The rows are then read as those of the folder are. Called by `taking`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal, localcontext
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.amounts import POINT, check_currency, read_money, read_number, shown, split_amount
from vanstock.exchange.csvfile import undefused
from vanstock.exchange.dates import looks_like_a_date, read_date
from vanstock.exchange.knowncolumns import cell_words, folded
from vanstock.exchange.table import Cell

_PRICE_PLACES = Decimal("0.0001")
_KEPT = 15
_POWER = re.compile(r"\d([.,]\d+)?E\+\d{2,}", re.IGNORECASE)
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2})?\s*([ap])?\.?m?\.?", re.IGNORECASE)
_DAY_WORDS = re.compile(r"\b(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?", re.IGNORECASE)

_KINDS = {
    "price": "cost unit_cost", "money": "carriage carriage_paid_over least_order surcharge",
    "quantity": "pack_size qty fitted missed weight_kg bulk_litres",
    "days": "lead_working_days shelf_life_days", "plain number": "year_from year_to worth_jobs",
    "share": "share probability", "yes-no": "one_time_use", "date": "date", "time": "time cutoff comes_at",
    "unit": "unit", "order days": "order_days", "status": "status", "kind": "kind",
    "number": "part also supplier_part superseded_by gtin job supplier family place van reference chosen",
}  # fmt: skip
KIND_OF: Mapping[str, str] = MappingProxyType(
    {column: kind for kind, names in _KINDS.items() for column in names.split()}
)
"""How the cells of each of our columns are read; what is not here is text."""
WITH_DECIMALS = frozenset(("price", "money", "quantity", "plain number", "share"))
_AS_WRITTEN = frozenset(
    ("description", "name", "component", "hazard", "job_type", "readings", "part", "also", "job", "family", "place",
     "van", "supplier", "reference")
)  # fmt: skip
"""Where a dash or "none" is a name like any other."""


class Ways(NamedTuple):
    """How a column is written: what stands before its decimals, which of day and month comes first ("" when nobody
    knows), the ledger's currency, and the numbers that are known as they stand."""

    mark: str = POINT
    order: str = ""
    currency: str = "GBP"
    known: frozenset[str] = frozenset()


def tidy(column: str, cell: Cell, ways: Ways) -> str:
    """What the folder would have in the cell; "" where it says that there is nothing. Raises `BadValue`."""
    if cell.kind == "error":
        raise BadValue(f"{shown(cell.text)} is an error of the spreadsheet: mend the cell")
    if cell.kind == "formula":
        raise BadValue(f"the formula {shown(cell.text)} has no value kept beside it: open the file, save it again")
    kind = KIND_OF.get(column, "")
    if column not in _AS_WRITTEN and cell.kind == "text" and folded(cell.text.strip()) in cell_words("nothing"):
        return ""
    return _READERS.get(kind, _text)(cell, ways)


def _text(cell: Cell, _: Ways) -> str:
    return undefused(cell.text).strip()


def _part_number(cell: Cell, ways: Ways) -> str:
    text = " ".join(_text(cell, ways).split())
    if text in ways.known:
        return text
    if cell.kind in ("date", "time") or looks_like_a_date(text):
        raise BadValue(f"{shown(text)} may be a number that the spreadsheet turned into a date: write it as text")
    if _POWER.fullmatch(text) or (cell.kind == "number" and len(text.lstrip("-").replace(".", "")) > _KEPT):
        raise BadValue(f"{shown(text)} is a long number that the spreadsheet cut short: write it as text")
    return text


def _not_a_number(cell: Cell) -> None:
    if cell.kind in ("date", "time", "yes-no"):
        what = {"date": "a date", "time": "a time", "yes-no": "yes or no"}[cell.kind]
        raise BadValue(f"{shown(cell.text)} is {what} in the spreadsheet, not a number")


def _money(cell: Cell, ways: Ways) -> str:
    _not_a_number(cell)
    if cell.kind == "number":
        check_currency(cell.currency, ways.currency, f"{cell.currency}{cell.text}")
        return cell.text
    return read_money(cell.text, ways.mark, ways.currency)


def _price(cell: Cell, ways: Ways) -> str:
    """A price; one that the spreadsheet worked out is rounded to the hundredth of a penny that the ledger keeps."""
    plain = _money(cell, ways)
    if cell.kind != "number" or -int(Decimal(plain).as_tuple().exponent) <= 4:
        return plain
    with localcontext() as exact:
        exact.rounding, exact.prec = "ROUND_HALF_UP", 60
        return f"{Decimal(plain).quantize(_PRICE_PLACES):f}"


def _number(cell: Cell, ways: Ways) -> str:
    _not_a_number(cell)
    return cell.text if cell.kind == "number" else read_number(cell.text, ways.mark)


def _quantity(cell: Cell, ways: Ways) -> str:
    """A number with the word of its unit, where that is only another word for a piece without it."""
    plain = _number(cell, ways)
    word = plain.lstrip("-0123456789.")
    number = plain[: len(plain) - len(word)]
    number = number.rstrip("0").rstrip(".") if "." in number else number
    code = cell_words("unit").get(folded(word).rstrip("."), "") if word else ""
    return f"{number}{_UNIT_WORDS.get(code, word)}"


_UNIT_WORDS = {"C62": "pcs", "PR": "pr", "LTR": "l", "MTR": "m", "KGM": "kg"}


def _days(cell: Cell, ways: Ways) -> str:
    if cell.kind == "text":
        words = re.sub(r"(?i)\b(working|business|week)?\s*(days?|wd|tage?|jours?)\b\.?", " ", cell.text).strip()
        return read_number(words, ways.mark) if re.fullmatch(r"[\d.,]+", words) else words
    return _number(cell, ways)


def _share(cell: Cell, ways: Ways) -> str:
    text = cell.text.strip()
    if cell.kind != "number" and text.endswith("%"):
        if split_amount(text[:-1]).word:
            raise BadValue(f"{shown(cell.text)} is not a share: write it as 0.51 or 51%")
        return f"{Decimal(read_number(text[:-1], ways.mark)) / 100:f}"
    return _number(cell, ways)


def _yes_no(cell: Cell, _: Ways) -> str:
    return _word("yes-no", cell, "neither yes nor no")


def _status(cell: Cell, _: Ways) -> str:
    return _word("status", cell, "not booked, done or cancelled")


def _place_kind(cell: Cell, _: Ways) -> str:
    return _word("kind", cell, "neither van nor store")


def _unit(cell: Cell, _: Ways) -> str:
    wrong = "no unit that is kept: C62 (pieces), PR, LTR, MTR or KGM; a pack, box or set is no unit"
    return cell.text.strip().upper() if cell.text.strip().upper() in _UNIT_WORDS else _word("unit", cell, wrong)


def _word(of: str, cell: Cell, wrong: str) -> str:
    found = cell_words(of).get(folded(cell.text.strip()).rstrip("."))
    if found is None:
        raise BadValue(f"{shown(cell.text)} is {wrong}")
    return found


def _date(cell: Cell, ways: Ways) -> str:
    if cell.kind == "number":
        raise BadValue(f"{shown(cell.text)} is a number in the spreadsheet: give the cell the format of a date")
    return cell.text[:10] if cell.kind == "date" else read_date(cell.text, ways.order)


def _time(cell: Cell, _: Ways) -> str:
    """A time; a number may be a share of a day (0.25), an hour with its share (8.25) or one with its minutes."""
    if cell.kind == "number":
        raise BadValue(
            f"{shown(cell.text)} is a number in the spreadsheet, not a time: write hours and minutes, like 17:00"
        )
    found = _CLOCK.fullmatch(cell.text.strip().split(" ")[-1] if cell.kind == "date" else cell.text.strip())
    if not found or not (found[2] or found[3]):
        raise BadValue(f"{shown(cell.text)} is not a time: write hours and minutes, like 17:00")
    hour = int(found[1]) % 12 + 12 * (found[3].lower() == "p") if found[3] else int(found[1])
    return f"{hour:02d}:{found[2] or '00'}"


def _order_days(cell: Cell, _: Ways) -> str:
    text = _DAY_WORDS.sub(lambda day: day[1].capitalize(), cell.text.strip())
    text = re.sub(r"\s*(?:–|—|-|\bto\b)\s*", "-", text)
    return re.sub(r"\s*(?:,|;|/|&|\band\b)\s*", ";", text)


_READERS: Mapping[str, Callable[[Cell, Ways], str]] = {
    "price": _price, "money": _money, "quantity": _quantity, "days": _days, "plain number": _number, "share": _share,
    "yes-no": _yes_no, "status": _status, "kind": _place_kind, "unit": _unit, "date": _date, "time": _time,
    "order days": _order_days, "number": _part_number,
}  # fmt: skip

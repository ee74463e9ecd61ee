"""Quantities and money as whole numbers in a base unit; parsing and printing them.

A quantity is a whole number of base units of its part's unit (a UN/ECE Recommendation 20 code): pieces
for C62, pairs for PR, millilitres for LTR, millimetres for MTR, grams for KGM. Money is whole pence (a
hundredth of the ledger's currency). A price is per unit, in ten-thousandths of the currency, because a
clip can cost less than a penny. Nothing here is a float, but a share that is only shown.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from vanstock.errors import BadValue

PRICE_SCALE = 10_000
MONEY_SCALE = 100
LARGEST_QTY = 10**9
LARGEST_MONEY = 10**11
LARGEST_PRICE = 10**10
"""More than anyone means, in base units, pence and ten-thousandths: no product of them overflows the ledger."""


class Unit(NamedTuple):
    """A unit of measure: its Recommendation 20 code, base units in one, and the words people type."""

    code: str
    scale: int
    symbol: str
    spellings: tuple[tuple[str, int], ...]


UNITS = {
    unit.code: unit
    for unit in (
        Unit("C62", 1, "", (("", 1), ("off", 1), ("pcs", 1), ("each", 1), ("ea", 1))),
        Unit("PR", 1, "pr", (("", 1), ("pr", 1), ("pair", 1), ("pairs", 1))),
        Unit(
            "LTR",
            1000,
            "L",
            (("", 1000), ("l", 1000), ("ltr", 1000), ("litre", 1000), ("litres", 1000), ("ml", 1)),
        ),
        Unit(
            "MTR",
            1000,
            "m",
            (
                ("", 1000),
                ("m", 1000),
                ("mtr", 1000),
                ("metre", 1000),
                ("metres", 1000),
                ("cm", 10),
                ("mm", 1),
            ),
        ),
        Unit("KGM", 1000, "kg", (("", 1000), ("kg", 1000), ("kgm", 1000), ("g", 1))),
    )
}
_PACK_WORDS = ("pack", "packs")
_LONGEST_SHOWN = 40


def unit(code: str) -> Unit:
    """The unit with this Recommendation 20 code; raises `BadValue` for one vanstock does not keep."""
    if code not in UNITS:
        raise BadValue(f"unit {_shown(code)} is not one of {', '.join(UNITS)}")
    return UNITS[code]


def parse_decimal(text: str, what: str) -> Decimal:
    """The number in plain digits with a point; raises `BadValue` for anything else.

    >>> parse_decimal(" 2.50 ", "cost")
    Decimal('2.50')
    """
    plain = text.strip()
    if not plain or not all(c in "0123456789.-+" for c in plain):
        raise BadValue(f"{what} {_shown(text)} is not a number: write digits with a point, like 2.5")
    try:
        return Decimal(plain)
    except InvalidOperation:
        raise BadValue(f"{what} {_shown(text)} is not a number: write digits with a point, like 2.5") from None


def with_point(text: str) -> str:
    """What was typed on a keypad that has a comma for the decimal point, with a point; raises `BadValue` for 1,000,
    which may mean a thousand.

    >>> with_point("2,5 L"), with_point("0,125kg"), with_point("2.5")
    ('2.5 L', '0.125kg', '2.5')
    """
    if text.count(",") != 1 or "." in text:
        return text
    before, after = text.split(",")
    if before.strip("+- 0") and re.match(r"[0-9]{3}(?![0-9])", after):
        raise BadValue(f"{_shown(text)} can be read in two ways: write it with a point, or without the comma")
    return f"{before}.{after}"


def _shown(text: str) -> str:
    """What was typed, as a message quotes it: escaped, and cut off where it is long."""
    return repr(text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}...")


def _whole(value: Decimal, scale: int, text: str, what: str, smallest: str, *, largest: int = LARGEST_QTY) -> int:
    """`value` times `scale`, reckoned exactly: a decimal product would be rounded to 28 digits."""
    if abs(value) > largest:
        raise BadValue(f"{what} {_shown(text)} is too large")
    top, bottom = value.as_integer_ratio()
    scaled, rest = divmod(top * scale, bottom)
    if rest:
        raise BadValue(f"{what} {_shown(text)} is finer than {smallest}")
    if abs(scaled) > largest:
        raise BadValue(f"{what} {_shown(text)} is too large")
    return scaled


def parse_qty(text: str, code: str, *, pack_size: int | None = None) -> int:
    """Base units in what a person typed for a part kept in `code`: `2.5`, `2.5L`, `600mm`, `1pack`.

    `pack_size` is base units in one pack. Raises `BadValue` for a word of another unit (a litre of
    sensors), a fraction of a base unit, or no number. The sign is kept; callers refuse what they must.

    >>> parse_qty("2.5L", "LTR"), parse_qty("600mm", "MTR"), parse_qty("2 packs", "C62", pack_size=10)
    (2500, 600, 20)
    """
    kept = unit(code)
    number = text.strip().rstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ").strip()
    typed = text.strip()[len(number) :].strip()
    word = typed.lower()
    if word in _PACK_WORDS and pack_size is None:
        raise BadValue(
            f"quantity {_shown(text)}: packs cannot be used here, write the quantity in {kept.symbol or 'pieces'}"
        )
    if word in _PACK_WORDS and pack_size is not None:
        return _whole(parse_decimal(number, "quantity"), pack_size, text, "quantity", "one base unit")
    scale = dict(kept.spellings).get(word)
    if scale is None:
        wanted = kept.symbol or "pieces"
        raise BadValue(f"quantity {_shown(text)}: this part is kept in {wanted}, so {_shown(typed)} cannot be used")
    smallest = {"C62": "a whole piece", "PR": "a whole pair", "LTR": "1 ml", "MTR": "1 mm", "KGM": "1 g"}[code]
    return _whole(parse_decimal(number, "quantity"), scale, text, "quantity", smallest)


def _plain(whole: int, scale: int) -> str:
    sign = "-" if whole < 0 else ""
    units, rest = divmod(abs(whole), scale)
    if not rest:
        return f"{sign}{units}"
    digits = str(rest).zfill(len(str(scale)) - 1).rstrip("0")
    return f"{sign}{units}.{digits}"


def format_qty(qty: int, code: str) -> str:
    """The decimal string of `qty` base units in the part's unit, without the unit: 2500 ml is `2.5`."""
    return _plain(qty, unit(code).scale)


def show_qty(qty: int, code: str) -> str:
    """The quantity as a person reads it, with its unit: `2.5 L`, `4`, `3 pr`."""
    symbol = unit(code).symbol
    return f"{format_qty(qty, code)} {symbol}" if symbol else format_qty(qty, code)


def parse_money(text: str, what: str = "amount") -> int:
    """Pence in a decimal string of the currency: `118.40` is 11840. Raises `BadValue`."""
    return _whole(parse_decimal(text, what), MONEY_SCALE, text, what, "a penny", largest=LARGEST_MONEY)


def format_money(pence: int) -> str:
    """The decimal string of so many pence, always with two decimals: `118.40`."""
    sign = "-" if pence < 0 else ""
    pounds, rest = divmod(abs(pence), MONEY_SCALE)
    return f"{sign}{pounds}.{rest:02d}"


def parse_price(text: str, what: str = "cost") -> int:
    """Ten-thousandths of the currency per unit: `0.0345` is 345. Raises `BadValue`."""
    return _whole(parse_decimal(text, what), PRICE_SCALE, text, what, "a hundredth of a penny", largest=LARGEST_PRICE)


def format_price(price: int) -> str:
    """The decimal string of a price, with two decimals and more only where needed: `5.60`, `0.0345`."""
    whole, _, rest = _plain(price, PRICE_SCALE).partition(".")
    return f"{whole}.{rest.ljust(2, '0')}"


def round_half_up(numerator: int, denominator: int) -> int:
    """The nearest whole number to a ratio, halves away from zero; `denominator` is positive."""
    sign = -1 if numerator < 0 else 1
    return sign * ((2 * abs(numerator) + denominator) // (2 * denominator))


def value_of(qty: int, code: str, price: int) -> int:
    """Pence for `qty` base units at `price` ten-thousandths of the currency per unit, halves up."""
    return round_half_up(qty * price * MONEY_SCALE, unit(code).scale * PRICE_SCALE)


def parse_share(text: str, what: str) -> Decimal:
    """A number from 0 to 1; raises `BadValue` outside it."""
    value = parse_decimal(text, what)
    if not 0 <= value <= 1:
        raise BadValue(f"{what} {_shown(text)} is not between 0 and 1")
    return value


def parse_whole(text: str, what: str) -> int:
    """A whole number of zero or more; raises `BadValue`."""
    try:
        plain = parse_decimal(text, what)
    except BadValue:
        raise BadValue(f"{what} {_shown(text)} is not a whole number: write it in digits alone") from None
    value = _whole(plain, 1, text, what, "a whole number")
    if value < 0:
        raise BadValue(f"{what} {_shown(text)} is below zero: write zero or more")
    return value


def round_up_to_packs(qty: int, pack_size: int) -> int:
    """The least whole number of packs, in base units, that holds `qty`; 0 for nothing."""
    return -(-max(qty, 0) // pack_size) * pack_size


def in_hundred(share: float) -> str:
    """A share as so many of a hundred with one decimal; what falls short of all is not said to be all.

    >>> in_hundred(0.9), in_hundred(0.9996), in_hundred(1)
    ('90.0', '>99.9', '100.0')
    """
    text = f"{100 * share:.1f}"
    return ">99.9" if text == "100.0" and share < 1 else text

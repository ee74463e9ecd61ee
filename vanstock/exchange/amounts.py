"""Numbers and amounts of money as people and spreadsheets write them, read as plain digits with a point.

`£1,234.50`, `1.234,50 €`, `EUR 12`, `1 234,00`, `(5.00)`, `12,-`. Whether a mark stands before the decimals or
between thousands is never guessed: what a text can mean is told, and a whole column decides (`decimal_mark`). The ways
to write are those of the Unicode CLDR number patterns: groups of three, or of two before the last three as in India;
between them a comma, a point, a space of some kind or an apostrophe. Pure; called by `tidy` and `taking`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.evidence import Evidence, evidence

POINT, COMMA = ".", ","
MARKS = {"point": POINT, "comma": COMMA}
_SPACES = re.compile("[\\s\u00a0\u2007\u2009\u202f]+")
_MINUS = dict.fromkeys(map(ord, "−–—‐‑"), "-")
_APOSTROPHES = dict.fromkeys(map(ord, "’‘ʼ"), "'")
_SYMBOLS = {
    "£": ("GBP", "EGP", "GIP"), "€": ("EUR",), "¥": ("JPY", "CNY"), "₹": ("INR",), "zł": ("PLN",), "kč": ("CZK",),
    "$": ("USD", "AUD", "CAD", "NZD", "SGD", "HKD", "MXN"), "kr": ("SEK", "NOK", "DKK", "ISK"), "ft": ("HUF",),
    "fr": ("CHF",), "r": ("ZAR",), "lei": ("RON",), "лв": ("BGN",), "₺": ("TRY",), "₴": ("UAH",), "₪": ("ILS",),
}  # fmt: skip
"""Signs of currencies (Unicode CLDR, narrow symbols; from memory) and the ISO 4217 codes that each may stand for."""
CODES = frozenset(code for codes in _SYMBOLS.values() for code in codes)
_WORD = re.compile(r"[^\d\s.,'()+\-%/]+\.?")
_PER = re.compile(r"(?:/|\bper\b|\bpro\b|\bje\b)\s*\S+", re.IGNORECASE)
_LONGEST = 60


class Amount(NamedTuple):
    """A text that holds a number: its sign, its digits and marks, and the word or sign beside them."""

    negative: bool
    digits: str
    word: str = ""


def split_amount(text: str) -> Amount:
    """Sign, digits and word of a text; raises `BadValue` where it holds no number, or more than one.

    >>> split_amount("£1,234.50"), split_amount("(5.00)"), split_amount("2,5 ltr")
    (Amount(negative=False, digits='1,234.50', word='£'), Amount(negative=True, digits='5.00', word=''), \
Amount(negative=False, digits='2,5', word='ltr'))
    """
    plain = _SPACES.sub(" ", text.translate(_MINUS).translate(_APOSTROPHES)).strip()
    words = _WORD.findall(plain)
    rest = _WORD.sub(" ", plain).strip()
    negative = rest.startswith("(") and rest.endswith(")")
    rest = rest[1:-1].strip() if negative else rest
    if rest.endswith((",-", ".-")):  # a price without pennies
        rest = rest[:-2]
    if rest.endswith("-") or rest.startswith(("-", "+")):
        negative |= "-" in (rest[0], rest[-1])
        rest = (rest[1:] if rest[0] in "+-" else rest[:-1]).strip()
    if len(plain) > _LONGEST or len(words) > 1 or not re.fullmatch(r"[\d.,' ]*\d[\d.,' ]*", rest):
        raise BadValue(f"{shown(text)} is not a number")
    return Amount(negative, rest, words[0] if words else "")


def shown(text: str) -> str:
    """What stood in the cell, as a message quotes it: escaped, and cut off where it is long."""
    return repr(text if len(text) <= _LONGEST else f"{text[:_LONGEST]}...")


def in_digits(digits: str, mark: str) -> str | None:
    """Plain digits with a point, `mark` standing before the decimals; None where it cannot.

    >>> in_digits("1.234,50", ","), in_digits("1.234,50", "."), in_digits("12,34,567", "."), in_digits("1,23", ".")
    ('1234.50', None, '1234567', None)
    """
    whole, found, decimals = digits.partition(mark)
    if (found and not decimals.isdigit()) or not _is_ascii_number(whole + decimals):
        return None
    groups = re.split(r"[.,' ]", whole)
    between = set(re.findall(r"[.,' ]", whole))
    if len(between) > 1 or mark in between or not _grouped(groups):
        return None
    plain = "".join(groups) or "0"
    return f"{plain}.{decimals}" if decimals else plain


def _is_ascii_number(text: str) -> bool:
    return text.isascii() and any(letter.isdigit() for letter in text)


def _grouped(groups: list[str]) -> bool:
    """Whether digits stand in groups as some country writes them."""
    first, *others = groups
    if not others:
        return True
    middle = {len(group) for group in others[:-1]}
    return 1 <= len(first) <= 3 and len(others[-1]) == 3 and middle in (set(), {3}, {2}) and not first.startswith("0")


def meanings(text: str) -> dict[str, Decimal]:
    """What a text means with a point or a comma before the decimals; empty where it is no number.

    >>> meanings("1.234"), meanings("12,5")
    ({'.': Decimal('1.234'), ',': Decimal('1234')}, {',': Decimal('12.5')})
    """
    try:
        amount = split_amount(text)
    except BadValue:
        return {}
    read = {mark: in_digits(amount.digits, mark) for mark in MARKS.values()}
    sign = -1 if amount.negative else 1
    return {mark: sign * Decimal(plain) for mark, plain in read.items() if plain is not None}


def decimal_mark(texts: Iterable[str]) -> Evidence:
    """Which mark stands before the decimals in a column, by the texts that only one of them can explain.

    >>> decimal_mark(["12", "1,234.50"]).way, decimal_mark(["1.234"]).matters, decimal_mark(["1,5", "1.5"]).clash
    ('.', True, ('1.5', '1,5'))
    """
    return evidence(texts, meanings, (POINT, COMMA))


def read_number(text: str, mark: str) -> str:
    """A number in plain digits with a point, and the word beside it behind it; raises `BadValue`.

    >>> read_number("1.234,50", ","), read_number("2,5 ltr", ",")
    ('1234.50', '2.5ltr')
    """
    amount = split_amount(text)
    plain = in_digits(amount.digits, mark)
    if plain is None:
        raise BadValue(f"{shown(text)} is not a number with a {'point' if mark == POINT else 'comma'} before decimals")
    return f"{'-' if amount.negative and Decimal(plain) else ''}{plain}{amount.word}"


def read_money(text: str, mark: str, currency: str) -> str:
    """An amount of the ledger's currency in plain digits; raises `BadValue` for another currency, a price for several
    and anything that is no amount."""
    if _PER.search(text):
        raise BadValue(f"{shown(text)} is a price for several or for a pack: the cost of one unit is wanted")
    amount = split_amount(text)
    check_currency(amount.word, currency, text)
    return read_number(text.replace(amount.word, " ") if amount.word else text, mark)


def currency_codes(sign: str) -> tuple[str, ...]:
    """The ISO 4217 codes that a sign or code may stand for; none where it is no currency.

    >>> currency_codes("€"), currency_codes("gbp"), currency_codes("each")
    (('EUR',), ('GBP',), ())
    """
    word = sign.strip().rstrip(".").casefold()
    if word.upper() in CODES:
        return (word.upper(),)
    return _SYMBOLS.get(word, ())


def check_currency(sign: str, currency: str, text: str) -> None:
    """Raise `BadValue` where a sign is none of the ledger's currency."""
    if not sign or sign.upper() == currency:
        return
    codes = currency_codes(sign)
    if not codes:
        raise BadValue(f"{shown(text)} is not an amount of money")
    if currency not in codes:
        raise BadValue(f"{shown(text)} is in {' or '.join(codes[:2])} and the ledger in {currency}: change it by hand")

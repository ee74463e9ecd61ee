"""The reference tables of spreadsheets: what our columns are, what others call them, and words that stand in cells.

Called by `headings` (what a column is), `tidy` (what a cell says) and `starter` (the notes of the starter workbook).
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import NamedTuple

from vanstock.exchange.amounts import currency_codes

PRICE_PER = "price per"
"""Stands in a matching for a column that says for how many units a price is."""
_WITHOUT_TAX = re.compile(
    r"\b(ex|exc|excl|excluding|exclusive|before|without|hors|ohne|net of) (of )?(vat|tax|taxes|mwst|btw|tva|iva)\b"
    r"|\b(ht|zzgl mwst)\b"
)
_PER_ONE = re.compile(r"\b(per|pro) (1|one|each|unit|piece|stuck)$")
_WITH_TAX = re.compile(
    r"\b(inc|incl|including|inclusive|with|inkl) (of )?(vat|tax|taxes|mwst|btw|tva|iva)\b|\b(ttc|brutto|gross)\b"
)
_PER_MANY = re.compile(
    r"\b(per|pro|je|for) (?!1\b|each\b|piece\b|unit\b)(\d+|hundred|thousand|dozen|pack|box|case|carton|bag|set)\b"
    r"|\b(pack|box|case|carton|bag) (price|cost)\b|\bc price\b"
)
_A_PRICE = re.compile(r"\b\w*(price|cost|preis|prix|prijs|precio|prezzo)\w*\b|\b(net|nett|netto|trade|each)\b")
_HOW_MANY = frozenset(("per", "price per", "price unit", "price quantity", "pricing unit", "priced per", "preiseinheit",
                       "preis pro", "pe", "price for", "price basis", "per qty", "unit of price"))  # fmt: skip


class Known(NamedTuple):
    """A column of ours: its file without .csv, its name, what it holds, an example, and what others call it."""

    sheet: str
    column: str
    what: str
    example: str
    names: frozenset[str]


@cache
def known_columns() -> Mapping[tuple[str, str], Known]:
    """Every column by its sheet and name."""
    found = {}
    for row in _rows("columns.csv"):
        names = frozenset(map(plain, (row["column"], *row["also_called"].split(";")))) - {""}
        found[row["sheet"], row["column"]] = Known(row["sheet"], row["column"], row["what"], row["example"], names)
    return MappingProxyType(found)


@cache
def cell_words(of: str) -> Mapping[str, str]:
    """What words in cells mean: of "unit", "yes-no", "status", "kind" or "nothing"."""
    return MappingProxyType({row["word"]: row["means"] for row in _rows("cell_words.csv") if row["of"] == of})


def _rows(file: str) -> list[dict[str, str]]:
    text = (files("vanstock.reference") / file).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def folded(text: str) -> str:
    """Small letters without accents.

    >>> folded("Größe Élan")
    'grosse elan'
    """
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def plain(heading: str) -> str:
    """A heading as it is compared: small letters and digits, without accents, currencies and "ex VAT".

    >>> plain("Net price (£, excl. VAT)"), plain("Part-No."), plain("lead_working_days")
    ('net price', 'part no', 'lead working days')
    """
    words = re.sub(r"[^\w]+|_", " ", folded(heading)).split()
    without = " ".join(word for word in words if not _is_currency(word))
    return " ".join(_PER_ONE.sub(" ", _WITHOUT_TAX.sub(" ", without)).split()) or without


def _is_currency(word: str) -> bool:
    return len(word) == 3 and bool(currency_codes(word)) and word != "fr"


def currency_in(heading: str) -> str:
    """The sign or code of a currency in a heading; "" for none.

    >>> currency_in("Price (€)"), currency_in("Cost EUR"), currency_in("Cost")
    ('€', 'EUR', '')
    """
    signs = re.findall(r"[£€¥₹$]|\b[A-Z]{3}\b", heading)
    return next((sign for sign in signs if currency_codes(sign)), "")


def why_no_cost(heading: str) -> str:
    """Why a price under this heading is not what one unit costs without VAT; "" where nothing says so.

    >>> why_no_cost("Price per 100"), why_no_cost("Price inc VAT"), why_no_cost("Net price")
    ('is for several', 'includes VAT', '')
    """
    words = " ".join(re.sub(r"[^\w/]+", " ", folded(heading)).replace("/", " per ").split())
    if not _A_PRICE.search(words):
        return ""
    if _WITH_TAX.search(words):
        return "includes VAT"
    return "is for several" if _PER_MANY.search(words) else ""


def says_how_many(heading: str) -> bool:
    """Whether a column holds for how many units the price is."""
    return plain(heading) in _HOW_MANY

"""Points under ADR 1.1.3.6 for the dangerous goods aboard a van. Pure. It counts; it does not say a load is lawful.

    points = quantity x 50, 3, 1, 0 for transport category 1, 2, 3, 4; their sum at most 1,000; category 0 never

Source: ADR (UNECE, Agreement concerning the International Carriage of Dangerous Goods by Road), 1.1.3.6.3 with its
table and 1.1.3.6.4. Goods of one category alone keep to the table: 20, 333, 1,000. The quantity is in

- litres, of what is kept in litres: as many as the ledger says are aboard;
- kilograms, of what is kept in kilograms;
- kilograms too of aerosols (UN1950) and other pieces, from the weight of one with its contents. That is the mass of the
  article without its packaging, which the section asks of articles, and an upper bound where its net mass is asked.
  Of a liquid kept in pieces it is no bound, because a light liquid has more litres than kilograms: the larger of its
  kilograms and of the litres of room it takes counts, and without its room the line says so. Keep liquids in litres.

The substances of category 1 that the table lets count 20 times count 50 times here: more, never less.

What the rule does not do. It covers only what this vehicle carries in packages, and all that lies in it: what is not in
the ledger must be added by hand. Under the limit other sections still apply: packaging, marks and labels, a 2 kg
extinguisher, awareness, papers where they are asked for, stowing. Small quantities packed as limited or excepted ones
(chapters 3.4, 3.5) and what other exemptions free (1.1.3.1 to 1.1.3.5) need not be counted, but are here. What a firm
carries for its own work, 1.1.3.1 (c), does not cover fetching stock. National rules can differ. The maker's data sheet
(section 14) and a safety adviser come before this count.

To be called by the morning's routine.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.model import Part
from vanstock.quantity import show_qty, unit

LIMIT = 1_000
"""Points that may be aboard at most."""
FACTORS = MappingProxyType({1: 50, 2: 3, 3: 1, 4: 0})
"""Points of one litre or kilogram by transport category."""
MOST_ALONE = MappingProxyType({1: 20, 2: 333, 3: 1_000})
"""Litres and kilograms of one category that may be aboard at most where there is no other."""
_MILLION = 1_000_000
_BY_MEASURE = MappingProxyType({"LTR": "L", "KGM": "kg"})
_MARK = re.compile(r"(?<![A-Z0-9])T\s*C", re.IGNORECASE | re.ASCII)
_CATEGORY = re.compile(r"(?<![A-Z0-9])T\s*C\s*([0-4])(?=\s*(?:$|[/;,(]))", re.IGNORECASE | re.ASCII)
_UN_NUMBER = re.compile(r"(?<![A-Z0-9])UN\s*[0-9]", re.IGNORECASE | re.ASCII)
_AEROSOL = re.compile(r"(?<![A-Z0-9])UN\s*1950(?![0-9])", re.IGNORECASE | re.ASCII)
_NOT_DANGEROUS = re.compile(r"\s*not\s*(?:adr|classified|dangerous(?:\s*goods)?)\s*(?:;|\.?\s*$)", re.IGNORECASE)


class DangerousLine(NamedTuple):
    """A part aboard that counts: its quantity in words with the unit it is counted in, its transport category, its
    points (of category 0 none, because none may be aboard under this section), and whether they are surely enough."""

    part: str
    quantity: str
    category: int
    points: Decimal
    enough: bool = True


class Uncounted(NamedTuple):
    """A part aboard whose points cannot be told, and what to do about it."""

    part: str
    why: str


class Points(NamedTuple):
    """What is aboard: lines with most points first, their total, the limit, whether it is over it (or holds what never
    may be carried so), and what could not be counted: with anything there the total is too low."""

    rows: tuple[DangerousLine, ...]
    total: Decimal
    limit: int
    over: bool
    unknown: tuple[Uncounted, ...]

    @property
    def never(self) -> tuple[str, ...]:
        """The parts of category 0, which may not be carried under this section at all."""
        return tuple(row.part for row in self.rows if row.category == 0)

    @property
    def surely_within(self) -> bool:
        """Whether all could be counted, none too low, and the total keeps to the limit."""
        return not self.over and not self.unknown and all(row.enough for row in self.rows)


class _Quantity(NamedTuple):
    """Millionths of a litre or kilogram (None: not known), how they are shown, and whether there cannot be more."""

    millionths: int | None
    text: str
    enough: bool = True


def transport_category(hazard: str) -> int | None:
    """The transport category in a part's hazard text, None where it says that it is none or says nothing.

    Spaces and case do not matter. Raises `BadValue` for any other text: it is never guessed.

    >>> [transport_category(text) for text in ("UN1950/2.1/-/TC2", "un 1719 / 8 / iii / tc 3 (E)", "not ADR")]
    [2, 3, None]
    """
    found = {int(digit) for digit in _CATEGORY.findall(hazard)}
    marks, readable = len(_MARK.findall(hazard)), len(_CATEGORY.findall(hazard))
    says_none = _NOT_DANGEROUS.match(hazard) is not None
    if not hazard.strip() or (says_none and not marks and not _UN_NUMBER.search(hazard)):
        return None
    if says_none or len(found) != 1 or marks != readable:
        raise BadValue(
            f"hazard {hazard!r} does not give one transport category: take it from the data sheet and write it like "
            "UN1950/2.1/-/TC2, or write not ADR"
        )
    return found.pop()


def count_points(held: Mapping[str, int], parts: Mapping[str, Part]) -> Points:
    """The points of what lies in a van, base units by part number; what is at or below zero is not aboard.

    A piece with no hazard text is taken to be none; of what is kept in litres or kilograms that is reported.
    """
    rows: list[tuple[int, DangerousLine]] = []
    unknown: list[Uncounted] = []
    for name in sorted(name for name, qty in held.items() if qty > 0):
        try:
            line = _line(name, held[name], parts.get(name))
        except BadValue as problem:
            unknown.append(Uncounted(name, str(problem)))
        else:
            rows += [line] if line else []
    ordered = tuple(line for _, line in sorted(rows, key=lambda row: (row[1].category != 0, -row[0], row[1].part)))
    total = sum(points for points, _ in rows)
    return Points(ordered, _decimal(total), LIMIT, _over(rows), tuple(unknown))


def _line(name: str, qty: int, part: Part | None) -> tuple[int, DangerousLine] | None:
    """The millionths of a point and the line of one part aboard; None for what is no dangerous goods."""
    if part is None:
        raise BadValue("it is not in the list of parts: add it, with its hazard")
    if not part.hazard.strip() and part.unit in _BY_MEASURE:
        raise BadValue(
            "no hazard text: write the transport category from the data sheet, or not ADR, as hazard in the parts list"
        )
    category = transport_category(part.hazard)
    if category is None:
        return None
    amount, factor = _quantity(part, qty), FACTORS.get(category, 0)
    if amount.millionths is None and factor:
        raise BadValue("counted by weight, and none is known: give the weight of one with its contents")
    points = (amount.millionths or 0) * factor
    return points, DangerousLine(name, amount.text, category, _decimal(points), amount.enough or not factor)


def _quantity(part: Part, qty: int) -> _Quantity:
    aerosol = _AEROSOL.search(part.hazard) is not None
    if part.unit in _BY_MEASURE and not (aerosol and part.unit == "LTR"):
        return _measured(qty * _MILLION // unit(part.unit).scale, _BY_MEASURE[part.unit])
    if not part.weight_grams or part.weight_grams < 0:
        return _Quantity(None, f"{show_qty(qty, part.unit)} without a weight")
    kilograms = qty * part.weight_grams * 1_000 // unit(part.unit).scale
    litres = qty * (part.bulk_ml or 0) * 1_000 // unit(part.unit).scale
    if aerosol or litres <= kilograms:
        weighed = _measured(kilograms, "kg")
        if aerosol or litres > 0:
            return weighed
        return _Quantity(kilograms, f"{weighed.text} by weight, a liquid's litres may be more", enough=False)
    return _Quantity(litres, f"{_measured(litres, 'L').text} by the room it takes")


def _measured(millionths: int, symbol: str) -> _Quantity:
    return _Quantity(millionths, f"{_decimal(millionths):f} {symbol}")


def _decimal(millionths: int) -> Decimal:
    return Decimal(millionths) / _MILLION


def _over(rows: Iterable[tuple[int, DangerousLine]]) -> bool:
    """Whether what is aboard is more than the section allows."""
    by_category: dict[int, int] = {}
    for points, line in rows:
        by_category[line.category] = by_category.get(line.category, 0) + points
    if 0 in by_category or sum(by_category.values()) > LIMIT * _MILLION:
        return True
    counting = [category for category, points in by_category.items() if points > 0]
    return len(counting) == 1 and by_category[counting[0]] > MOST_ALONE[counting[0]] * FACTORS[counting[0]] * _MILLION

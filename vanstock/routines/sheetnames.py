"""What the names in a spreadsheet's cells stand for in the ledger: parts, suppliers, families, places.

A number that is known but for noughts is never taken for the other one: it is told. Called by `sheetfile`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from vanstock.exchange.checks import Known
from vanstock.model import Part

_NUMBER = re.compile(r"\d+(\.\d+)?")
_PARTS = ("part", "also", "superseded_by")


@dataclass(frozen=True, slots=True)
class Names:
    """Names in small letters and what each stands for; `theirs` are one supplier's own numbers."""

    parts: Mapping[str, str]
    theirs: Mapping[str, tuple[str, ...]]
    suppliers: Mapping[str, str]
    families: Mapping[str, str]
    places: Mapping[str, str]
    bare: Mapping[str, str] = field(default_factory=dict)

    def settled(self, kind: str, cells: Mapping[str, str]) -> dict[str, str]:
        """The cells with the ledger's own spelling of what they name."""
        tables = dict.fromkeys(_PARTS, self.parts) | {"place": self.places, "van": self.places}
        tables |= {"supplier": self.suppliers, "family": self.families}
        if kind in ("suppliers", "families", "places"):
            tables = {}
        return {column: tables.get(column, {}).get(cell.casefold(), cell) for column, cell in cells.items()}

    def without_noughts(self, number: str) -> str:
        """A known number that this one is but for noughts that a spreadsheet takes off; "" for none."""
        if number.casefold() in self.parts or number.casefold() in self.theirs:
            return ""
        other = self.bare.get(bare(number), "")
        return other if other != number else ""


def names_of(known: Known, supplier: str) -> Names:
    """What can be named, with the numbers of one supplier where a file is that supplier's."""
    parts = known.catalogue.parts
    theirs: dict[str, tuple[str, ...]] = {}
    for part in parts.values():
        if supplier and part.supplier == supplier and part.supplier_part:
            key = part.supplier_part.casefold()
            theirs[key] = (*theirs.get(key, ()), part.part)
    numbers = [*parts, *(part.supplier_part for part in parts.values() if part.supplier == supplier and supplier)]
    return Names(
        parts={part.casefold(): part for part in parts},
        theirs=theirs,
        suppliers=_by_id_or_name((one.supplier, one.name) for one in known.catalogue.suppliers.values()),
        families=_by_id_or_name((one.family, one.name) for one in known.catalogue.families.values()),
        places={place.casefold(): place for place in known.places},
        bare={key: number for number in numbers if (key := bare(number))},
    )


def _by_id_or_name(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    listed = list(pairs)
    names = [name.casefold() for _, name in listed]
    named = {name.casefold(): one for one, name in listed if name and names.count(name.casefold()) == 1}
    return named | {one.casefold(): one for one, _ in listed}


def bare(number: str) -> str:
    """A number without the noughts that a spreadsheet takes off, before it and after its point; "" for what is none.

    >>> bare("0012"), bare("12.50"), bare("A12")
    ('12', '12.5', '')
    """
    if not number.isascii() or not _NUMBER.fullmatch(number):
        return ""
    plain = number.lstrip("0") or "0"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def known_numbers(parts: Iterable[Part]) -> frozenset[str]:
    """Every number, ours or a supplier's, that is known as it stands."""
    return frozenset(number for part in parts for number in (part.part, part.supplier_part) if number)

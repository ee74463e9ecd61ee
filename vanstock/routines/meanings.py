"""What generic fault codes mean in plain words, and what some of them point to together.

The table is in our own wording and holds only generic codes (SAE J2012 / ISO 15031-6): a maker's own code
has no meaning here. A pointer is common practice and never replaces the maker's test. Called by the faces.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import NamedTuple

from vanstock.codes import base_code

_NOT_REGENERATING = frozenset({"P246B", "P24A2", "P2458", "P2459"})
_TOO_COOL = frozenset({"P244C", "P24A0"})


class FaultCode(NamedTuple):
    """A generic code, the part of the vehicle it belongs to, and what it means."""

    code: str
    group: str
    meaning: str


@cache
def all_codes() -> Mapping[str, FaultCode]:
    """Every code whose meaning is known, by code."""
    text = (files("vanstock.reference") / "fault_codes.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return MappingProxyType({row["code"]: FaultCode(row["code"], row["group"], row["meaning"]) for row in rows})


def meaning_of(code: str) -> str:
    """What a code means, with or without its suffix; empty when that is not known.

    >>> meaning_of("P246B-00")
    'Vehicle conditions not right for filter regeneration'
    """
    known = all_codes().get(base_code(code))
    return known.meaning if known else ""


def group_of(code: str) -> str:
    """What a code belongs to, like `filter` or `regen`; empty when that is not known."""
    known = all_codes().get(base_code(code))
    return known.group if known else ""


def hints(codes: Iterable[str]) -> list[str]:
    """What codes point to when they stand together, each in one plain line.

    Regeneration that is held off, cut short, too long or too frequent, with an exhaust that stays too cool
    (common practice, no source), points to what should heat it.
    """
    typed = list(codes)
    stopped = [code for code in typed if base_code(code) in _NOT_REGENERATING]
    cool = [code for code in typed if base_code(code) in _TOO_COOL]
    if not stopped or not cool:
        return []
    return [
        f"{stopped[0]} with {cool[0]}: regeneration does not get done and the exhaust is too cool, which points to the "
        "heat source. Rule out fuse, pump and relay first; the maker's test comes first."
    ]

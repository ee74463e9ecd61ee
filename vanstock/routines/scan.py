"""A label or barcode that was photographed: which part it names. What is in the photo is read by `exchange.scanning`.

A label of ours says a part number (see `labels`), a maker's barcode a GTIN, a supplier's often the supplier's number.
Nothing is guessed: a code names a part exactly or not at all. Called by the phone face.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from vanstock.errors import Ambiguous, BadValue, NotFound
from vanstock.exchange import scanning
from vanstock.exchange.gtin import gtin_inside
from vanstock.exchange.scanning import Code as Code
from vanstock.ledger import catalogue
from vanstock.model import Part
from vanstock.routines.session import Session

HOW_TO_INSTALL = "Labels and barcodes are scanned once `pip install .[scan]` was run in vanstock's folder."
NOTHING_READ = "no label or barcode can be read in this picture: go closer, hold straight, and give it light"
_CLEARLY_NEARER = 0.5
"""A code less than half as far from the middle as the next part's is the one that was pointed at."""
_MOST_LISTED = 4
_LONGEST_SHOWN = 40


class Scanned(NamedTuple):
    """The part that a photo shows, and in words what was read."""

    part: Part
    said: str


class _Meant(NamedTuple):
    """A code, the part it names, and what to say of how it does."""

    code: Code
    part: Part
    how: str = ""


def lacking() -> str:
    """What to do before anything can be scanned; empty when it can."""
    return "" if scanning.installed() else HOW_TO_INSTALL


def read_photo(photo: bytes) -> tuple[Code, ...]:
    """The codes in a photo, nearest the middle first; raises `BadValue` for no picture, and where nothing can be read
    in it. Takes up to some seconds, and no ledger."""
    if lacking():
        raise BadValue(HOW_TO_INSTALL)
    found = scanning.read_codes(photo)
    if not found:
        raise BadValue(NOTHING_READ)
    return found


def part_meant(session: Session, codes: Sequence[Code]) -> Scanned:
    """The part that the codes of a photo name, the one in the middle where several are.

    Raises `NotFound` for codes that are no part's, `Ambiguous` where none of several parts is clearly meant.
    """
    meant = [one for code in codes if (one := _meant(session, code))]
    if not meant:
        raise NotFound(_unknown(codes[0]))
    first = meant[0]
    others = [one for one in meant if one.part.part != first.part.part]
    if others and first.code.off_middle > _CLEARLY_NEARER * others[0].code.off_middle:
        listed = "; ".join(dict.fromkeys(_named(one.part) for one in meant[:_MOST_LISTED]))
        raise Ambiguous(f"this picture shows several parts ({listed}): go closer to one of them")
    beside = f"; beside it: {', '.join(dict.fromkeys(one.part.part for one in others))}" if others else ""
    what = "" if first.code.text == first.part.part else f"{_what(first.code)}: "
    return Scanned(first.part, f"read {what}{_named(first.part)}{first.how}{beside}")


def _meant(session: Session, code: Code) -> _Meant | None:
    part = catalogue.part_by_number(session.ledger, code.gtin or code.text)
    if part:
        return _Meant(code, part)
    inside = gtin_inside(code.gtin)
    part = catalogue.part_by_number(session.ledger, inside) if inside else None
    if part:
        return _Meant(code, part, f" (the label of a pack of {inside})")
    part = None if code.gtin else _by_supplier_number(session, code.text)
    return _Meant(code, part, " (the supplier's number)") if part else None


def _by_supplier_number(session: Session, text: str) -> Part | None:
    """The one part with this supplier's number; None where two suppliers call two parts so."""
    wanted = text.casefold()
    found = [part for part in catalogue.part_names(session.ledger) if part.supplier_part.casefold() == wanted]
    return found[0] if len(found) == 1 else None


def _unknown(code: Code) -> str:
    if code.gtin:
        return (
            f"no part has GTIN {code.gtin} ({code.kind}): find the part by number or words; parts.csv, column gtin, "
            "makes it known"
        )
    return f"no part is called what the {code.kind} says, {_shown(code.text)}: find the part by number or words"


def _what(code: Code) -> str:
    return f"{code.kind} {code.gtin}" if code.gtin else f"{code.kind} {_shown(code.text)}"


def _shown(text: str) -> str:
    """What a code says, as words of ours quote it: escaped, and cut off where it is long."""
    return repr(text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}...")


def _named(part: Part) -> str:
    return f"{part.part} {part.description}".strip()

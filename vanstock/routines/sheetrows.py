"""Rows of a spreadsheet placed beside those of the ledger: which part each is, and what the spreadsheet does not say.

A column that is not there, or an empty cell, keeps what the ledger has. In a supplier's list parts are known by the
supplier's numbers too, and parts bought elsewhere are left alone. Called by `sheetfile`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from vanstock.errors import Problem
from vanstock.exchange.csvfile import Sheet
from vanstock.exchange.taking import Taken, TakenRow
from vanstock.exchange.writing import cells_of
from vanstock.routines import setup
from vanstock.routines.session import Session
from vanstock.routines.sheetnames import Names, names_of

if TYPE_CHECKING:
    from vanstock.exchange.checks import Known
    from vanstock.model import Part
    from vanstock.routines.sheetfile import Wish

KEYS = {
    "places": ("place",), "suppliers": ("supplier",), "families": ("family",), "parts": ("part",),
    "fits": ("family", "part"), "goes_with": ("part", "also"), "usual": ("job_type", "family", "component"),
    "jobs": ("job",), "used": ("job", "part"), "stock": ("part", "place"),
}  # fmt: skip
"""The columns that make a row the only one of its kind."""
_NOT_FILLED = ("stock",)
_LOST = "is not known and {other} is: a spreadsheet may have taken noughts off; write the number as text"

_OTHER = (
    "{said} is not known, but {its} is the supplier's number of {known}: correct one of the two, or go by the "
    'supplier\'s numbers alone (--columns "THEIRS=" for their column of parts)'
)


@dataclass(slots=True)
class Placed:
    """Rows ready to be checked, problems, rows left out with why, and how many parts the list does not name."""

    rows: list[TakenRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    left_out: list[tuple[int, str]] = field(default_factory=list)
    not_listed: int = 0


@dataclass(frozen=True, slots=True)
class _Ledger:
    known: Known
    names: Names
    there: Mapping[tuple[str, ...], Mapping[str, str]]


def place_rows(session: Session, wish: Wish, sheet: Sheet, taken: Taken, place: str) -> Placed:
    """Every row with what the ledger has beside it; `place` is what problems name as the file."""
    known = setup.known(session)
    contents = setup.everything(session)
    rows = [] if wish.kind in _NOT_FILLED else cells_of(sheet, contents, known.catalogue.parts)
    there = {tuple(row[key] for key in KEYS[wish.kind]): row for row in rows}
    ledger = _Ledger(known, names_of(known, wish.supplier), there)
    placed = Placed()
    for row in taken.rows:
        given = {**wish.values, **{column: cell for column, cell in row.cells.items() if cell}}
        cells = ledger.names.settled(wish.kind, given)
        if wish.kind == "parts":
            _place_part(ledger, wish, row.number, cells, placed)
        elif lost := _lost(ledger.names, cells):
            placed.problems.append(Problem(place, row.number, lost))
        else:
            placed.rows.append(TakenRow(row.number, _filled(ledger, wish.kind, cells)))
    if wish.kind == "parts":
        _settle_parts(ledger, wish, placed)
    return placed


def _lost(names: Names, cells: Mapping[str, str]) -> str:
    for column in ("part", "also"):
        number = cells.get(column, "")
        if number and (other := names.without_noughts(number)):
            return f"{column} {number!r} {_LOST.format(other=other)}"
    return ""


def _filled(ledger: _Ledger, kind: str, cells: Mapping[str, str]) -> dict[str, str]:
    """The row with what the ledger has in its other cells."""
    return {**ledger.there.get(tuple(cells.get(key, "") for key in KEYS[kind]), {}), **cells}


def _place_part(ledger: _Ledger, wish: Wish, number: int, cells: dict[str, str], placed: Placed) -> None:
    said = cells.get("part", "") or cells.get("supplier_part", "")
    its = cells.get("supplier_part") or said
    theirs = ledger.names.theirs.get(its.casefold(), ())
    part = ledger.known.catalogue.parts.get(cells.get("part", ""))
    if part is None and len(theirs) > 1:
        placed.left_out.append((number, f"{its} is the supplier's number of {', '.join(theirs)}"))
        return
    if part is None and theirs and said.casefold() != its.casefold():
        placed.left_out.append((number, _OTHER.format(said=said, its=its, known=theirs[0])))
        return
    if part is None and theirs:
        part = ledger.known.catalogue.parts[theirs[0]]
    if part is None and said and (other := ledger.names.without_noughts(said)):
        placed.left_out.append((number, f"{said!r} {_LOST.format(other=other)}"))
        return
    if part is None and wish.only_known:
        placed.left_out.append((number, "new"))
        return
    if part is not None and wish.supplier and part.supplier not in ("", wish.supplier):
        placed.left_out.append((number, f"{part.part} is bought from {part.supplier}"))
        return
    placed.rows.append(TakenRow(number, _part_cells(ledger, wish, cells, part, said)))


def _part_cells(ledger: _Ledger, wish: Wish, cells: dict[str, str], part: Part | None, said: str) -> dict[str, str]:
    cells["part"] = part.part if part else said
    if wish.supplier:
        cells.setdefault("supplier", wish.supplier)
        if part is None and said:
            cells.setdefault("supplier_part", said)
    return _filled(ledger, "parts", cells)


def _settle_parts(ledger: _Ledger, wish: Wish, placed: Placed) -> None:
    """Count the parts that the list does not name: the supplier's, or all."""
    listed = {row.cells["part"] for row in placed.rows}
    parts = ledger.known.catalogue.parts.values()
    placed.not_listed = sum(
        part.part not in listed and (not wish.supplier or part.supplier == wish.supplier) for part in parts
    )

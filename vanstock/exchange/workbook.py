"""Opening a workbook safely, with openpyxl: values only, nothing run or followed, and no more than any list holds.

Macros and links to other files are left where they are. A workbook whose parts unpack to far more than their size, or
that declares entities, is refused before it is read. Called by the routines that import spreadsheets.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from math import isfinite
from pathlib import Path
from typing import Any, NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.table import EMPTY, MOST_COLUMNS, Cell, Row, Table, check_room, check_size

ENDINGS = (".xlsx", ".xlsm")
_MOST_UNPACKED = 150_000_000
_MOST_PARTS = 2_000
_DIGITS_KEPT = 15
"""A number of a spreadsheet keeps 15 digits (IEEE 754 binary64, as ECMA-376 part 1, 18.18.11 holds them)."""
_CURRENCY = re.compile(r"\[\$([^\]\-]+)(?:-[0-9A-Fa-f]+)?\]|(?<!\[)([£€¥₹$])")
_NOT_ONE = "is no workbook of a spreadsheet program (.xlsx), or has a password: save it as .xlsx without one, or as CSV"


class Book(NamedTuple):
    """An open workbook: its file's name and its sheets that are to be seen, by name."""

    path: Path
    sheets: dict[str, Table]


def read_book(path: Path, only: str = "") -> Book:
    """Every sheet that is not hidden, or the one named; raises `BadValue` for what is no workbook or no such sheet."""
    check_size(path)
    has_formulas = _guard(path)
    values = _load(path, values=True)
    try:
        names = [sheet.title for sheet in values.worksheets if sheet.sheet_state == "visible"]
        if only:
            names = [_named(path, only, [sheet.title for sheet in values.worksheets])]
        tables = {name: Table(path.name, name, tuple(_rows(values[name], path))) for name in names}
    except BadValue:
        raise
    except Exception as error:  # whatever a damaged part makes of reading it
        raise BadValue(f"{path.name} cannot be read to its end: open it, save it again and import that") from error
    finally:
        values.close()
    if has_formulas:
        tables = {name: table._replace(rows=_with_formulas(path, table)) for name, table in tables.items()}
    return Book(path, tables)


def _named(path: Path, wanted: str, names: list[str]) -> str:
    found = [name for name in names if name.strip().casefold() == wanted.strip().casefold()]
    if not found:
        raise BadValue(f"{path.name} has no sheet {wanted!r}: there is {', '.join(names)}")
    return found[0]


def _guard(path: Path) -> bool:
    """Whether some sheet holds a formula; raises `BadValue` for what is no workbook and what must not be unpacked."""
    try:
        with zipfile.ZipFile(path) as packed:
            parts = packed.infolist()
            if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > _MOST_UNPACKED:
                raise BadValue(f"{path.name} unpacks to far more than a list holds: save only the sheet that is wanted")
            if not any(part.filename.casefold() == "xl/workbook.xml" for part in parts):
                raise BadValue(f"{path.name} {_NOT_ONE}")
            formulas = [_looked_through(packed, part, path) for part in parts]
            return any(formulas)
    except BadValue:
        raise
    except Exception as error:  # no zip file, a wrong check sum, a way of packing that nobody uses
        raise BadValue(f"{path.name} {_NOT_ONE}") from error


def _looked_through(packed: zipfile.ZipFile, part: zipfile.ZipInfo, path: Path) -> bool:
    """Whether a part of a workbook holds formulas; entities, which could unpack without end, are refused."""
    if not part.filename.casefold().endswith((".xml", ".rels")):
        return False
    found, last = False, b""
    is_sheet = "worksheets/" in part.filename
    with packed.open(part) as stream:
        while piece := stream.read(1 << 16):
            near = last + piece
            if b"<!ENTITY" in near or b"<!DOCTYPE" in near:
                raise BadValue(f"{path.name} declares entities, which no spreadsheet program writes: it was not opened")
            found |= is_sheet and (b"<f>" in near or b"<f " in near or b"<f/>" in near)
            last = piece[-16:]
    return found


def _load(path: Path, *, values: bool) -> Any:
    import warnings

    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of what a sheet holds beside its cells
            return load_workbook(path, read_only=True, data_only=values, keep_links=False, keep_vba=False)
    except Exception as error:  # openpyxl lets whatever a damaged part raises through
        raise BadValue(f"{path.name} {_NOT_ONE}") from error


def _rows(sheet: Any, path: Path) -> Iterator[Row]:
    """The rows with something in them; what the sheet says of its own size is not believed."""
    sheet.reset_dimensions()
    count = 0
    for number, row in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS + 1), 1):
        cells = [_cell(one) if one.value is not None else EMPTY for one in row]
        while cells and not cells[-1].text:
            cells.pop()
        count += len(cells)
        check_room(path, count, len(cells))
        if cells:
            yield Row(number, tuple(cells))


def _cell(one: Any) -> Cell:
    value = one.value
    if isinstance(value, str):
        return Cell(value.strip(), "error" if one.data_type == "e" else "text") if value.strip() else EMPTY
    if isinstance(value, bool):
        return Cell("yes" if value else "no", "yes-no")
    if isinstance(value, int | float):
        if not isfinite(value):
            return Cell(str(value), "error")
        return Cell(_digits(value), "number", _currency(one.number_format))
    return _moment(value)


def _digits(value: float) -> str:
    """A number in plain digits, with no more of them than a spreadsheet keeps."""
    if isinstance(value, int):
        return str(value)
    text = f"{Decimal(f'{value:.{_DIGITS_KEPT}g}'):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _currency(shown: str) -> str:
    found = _CURRENCY.search(shown or "")
    return (found[1] or found[2]) if found else ""


def _moment(value: object) -> Cell:
    if isinstance(value, datetime):
        day, at = value.date().isoformat(), value.strftime("%H:%M")
        return Cell(day if value.time() == time() else f"{day} {at}", "date")
    if isinstance(value, date):
        return Cell(value.isoformat(), "date")
    if isinstance(value, time):
        return Cell(value.strftime("%H:%M"), "time")
    if isinstance(value, timedelta):
        minutes = int(value.total_seconds()) // 60
        return Cell(f"{minutes // 60:02d}:{minutes % 60:02d}", "time")
    return Cell(str(value))


def _with_formulas(path: Path, table: Table) -> tuple[Row, ...]:
    """The rows with the formulas that have no value kept beside them, so that nothing is taken for empty."""
    book = _load(path, values=False)
    try:
        sheet = book[table.sheet]
        sheet.reset_dimensions()
        rows = {row.number: list(row.cells) for row in table.rows}
        for number, row in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS), 1):
            for place, one in enumerate(row):
                if one.data_type == "f":
                    _note_formula(rows.setdefault(number, []), place, str(one.value))
    finally:
        book.close()
    return tuple(Row(number, tuple(rows[number])) for number in sorted(rows))


def _note_formula(cells: list[Cell], place: int, formula: str) -> None:
    cells.extend([EMPTY] * (place + 1 - len(cells)))
    if not cells[place].text:
        cells[place] = Cell(formula, "formula")

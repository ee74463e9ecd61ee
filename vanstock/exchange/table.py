"""A spreadsheet as it is: rows of cells with their numbers, from a CSV file of any kind or one sheet of a workbook.

Says of a cell what the spreadsheet says of it (a number, a date, a currency) and decides nothing. Workbooks are opened
in `workbook`; what columns mean is found in `headings`. Called by `routines.sheetfile` and `routines.bookfile`.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from io import StringIO
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue

CSV_ENDINGS = (".csv", ".txt", ".tsv")
LARGEST_FILE = 20_000_000
MOST_CELLS = 600_000
MOST_COLUMNS = 200
_BETWEEN = (";", ",", "\t", "|")
_NAMES = {";": "semicolons", ",": "commas", "\t": "tabs", "|": "bars"}
_LOOKED_AT = 60
_WRITTEN_AS_FORMULA = re.compile(r'="([^"]*)"')


class Cell(NamedTuple):
    """What stands in a cell: its text (a number in plain digits with a point, a date as `2027-03-01`, a time as
    `17:00`), what the spreadsheet holds it for (text, number, date, time, yes-no, error, formula), and the currency
    that it is shown in."""

    text: str
    kind: str = "text"
    currency: str = ""


EMPTY = Cell("")


class Row(NamedTuple):
    """One row with something in it: its number in the spreadsheet, or the line of the file that it starts on."""

    number: int
    cells: tuple[Cell, ...]


class Table(NamedTuple):
    """A sheet: the file's name, the sheet's ("" in a CSV file), its rows, and how it had to be read."""

    file: str
    sheet: str
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """What a problem names as the file: the sheet with it where there are several."""
        return f"{self.file} {self.sheet}" if self.sheet else self.file


def check_room(path: Path, cells: int, columns: int) -> None:
    """Raise `BadValue` for so many cells in all, or columns in a row, as no list of parts has."""
    if columns > MOST_COLUMNS:
        raise BadValue(f"{path.name} has a row of more than {MOST_COLUMNS} columns: take out those that are not wanted")
    if cells > MOST_CELLS:
        raise BadValue(
            f"{path.name} holds more than {MOST_CELLS:,} cells: take out what is not wanted, or split it into "
            "several files"
        )


def check_size(path: Path) -> None:
    """Raise `BadValue` for a file that is not there, cannot be read or is larger than any list of parts."""
    try:
        size = path.stat().st_size
    except OSError as error:
        raise BadValue(f"{path} cannot be read: {error.strerror}") from error
    if size > LARGEST_FILE:
        raise BadValue(f"{path.name} has more than {LARGEST_FILE // 1_000_000} MB: take out pictures and other sheets")


def read_csv_table(path: Path) -> Table:
    """The rows of a CSV file: UTF-8, UTF-16 with its mark, or Windows-1252; cells between commas, semicolons, tabs or
    bars. Raises `BadValue` where it is no table."""
    check_size(path)
    text, notes = _decoded(path)
    said = re.match(r"\s*sep=(.)\r?\n", text)
    between = said[1] if said else _separator(text)
    before = text[: said.end()].count("\n") if said else 0
    rows: list[Row] = []
    count = 0
    for line, cells in _csv_rows(path, text[said.end() :] if said else text, between):
        while cells and not cells[-1]:
            cells.pop()
        count += len(cells)
        check_room(path, count, len(cells))
        if cells:
            rows.append(Row(line + before, tuple(Cell(cell) if cell else EMPTY for cell in cells)))
    told = () if between == "," else (f"cells between {_NAMES.get(between, between)}",)
    return Table(path.name, "", tuple(rows), (*notes, *told))


def _decoded(path: Path) -> tuple[str, tuple[str, ...]]:
    raw = path.read_bytes()
    notes: tuple[str, ...] = ()
    encoding = "utf-8-sig"
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding, notes = "utf-16", ("text in UTF-16",)
    elif b"\0" in raw:
        raise BadValue(f"{path.name} is no text: save it from the spreadsheet program as CSV or as .xlsx")
    try:
        return raw.decode(encoding), notes
    except UnicodeDecodeError:
        if encoding == "utf-16":
            raise BadValue(f"{path.name} is damaged text: save it again as CSV UTF-8") from None
    try:
        return raw.decode("cp1252"), ("text in Windows-1252",)
    except UnicodeDecodeError:
        raise BadValue(f"{path.name} is neither UTF-8 nor Windows-1252 text: save it again as CSV UTF-8") from None


def _separator(text: str) -> str:
    """What stands between cells: what cuts the most rows into the same number of cells, and of those the most cells."""
    best, best_score = ",", (0, 0)
    for between in _BETWEEN:
        try:
            rows_read = islice(csv.reader(StringIO(text, newline=""), delimiter=between), _LOOKED_AT)
            widths = Counter(len(row) for row in rows_read if any(row))
        except csv.Error:
            continue
        widths.pop(1, None)
        width, rows = max(widths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
        if (rows, width) > best_score:
            best, best_score = between, (rows, width)
    return best


def _csv_rows(path: Path, text: str, between: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(StringIO(text, newline=""), delimiter=between, strict=True)
    start = 1
    try:
        for row in reader:
            yield start, [_as_meant(cell) for cell in row]
            start = reader.line_num + 1
    except csv.Error:
        raise BadValue(
            f'{path.name}:{start}: a quote " is opened here and never closed, or not doubled inside a quoted cell: '
            "mend the line and import again"
        ) from None


def _as_meant(cell: str) -> str:
    """The cell trimmed, and out of the formula that some programs put around a number to keep its noughts."""
    plain = cell.strip()
    written = _WRITTEN_AS_FORMULA.fullmatch(plain)
    return written[1].strip() if written else plain

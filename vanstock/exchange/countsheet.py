"""A count sheet as a page to print and as a CSV table to fill in, and the answers read back from that table.

Everything comes and goes as words. What the ledger has is on neither unless it is asked for, so that whoever counts
looks at the shelf. The page's look is in templates/count.html.j2. Called by the routines of counting.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue, Problem
from vanstock.exchange.csvfile import Sheet, Unread, read_sheet, write_rows
from vanstock.exchange.printed import ENDINGS as PAGES
from vanstock.exchange.printed import put, rendered

TABLE = ".csv"
COLUMNS = ("part", "description", "place", "unit", "counted", "ledger", "why", "sheet")
_NEEDED = ("part", "counted")
_FREE = ("description", "why")


class Line(NamedTuple):
    """A line of the sheet: its number, part and what it is, the unit to count in (empty for pieces), why it is on the
    sheet, and what the ledger has where that is to be shown."""

    number: str
    part: str
    what: str
    place: str
    unit: str
    why: str
    ledger: str = ""


class Shelf(NamedTuple):
    """What is to be counted at one place, in the order of where things lie."""

    place: str
    lines: tuple[Line, ...]


class Page(NamedTuple):
    """Everything on the page, in words: the title, its day, how to count, the shelves, whether each begins a sheet of
    its own with lines for what else is found, the code to answer with, and when it was written."""

    title: str
    heading: str
    day: str
    how: tuple[str, ...]
    shelves: tuple[Shelf, ...]
    full: bool
    figures: bool
    code: str
    written: str


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name is a page's or a table's: so nothing else is written over by a slip."""
    if path.suffix.lower() not in (*PAGES, TABLE):
        raise BadValue(f"{path.name!r} ends in neither .html nor .csv: name it like count.html or count.csv")


def write(path: Path, page: Page) -> None:
    """Write the sheet as its file's name says; raises `BadValue` or `VanstockError`."""
    check_ending(path)
    if path.suffix.lower() == TABLE:
        _write_table(path, page)
    else:
        put(path, rendered("count.html.j2", page))


def _write_table(path: Path, page: Page) -> None:
    lines = [line for shelf in page.shelves for line in shelf.lines]
    columns = [name for name in COLUMNS if name != "ledger" or page.figures]
    rows = (
        {
            "part": line.part,
            "description": line.what,
            "place": line.place,
            "unit": line.unit,
            "counted": "",
            "ledger": line.ledger,
            "why": line.why,
            "sheet": page.code,
        }
        for line in lines
    )
    write_rows(path, columns, ([row[name] for name in columns] for row in rows))


def read_answers(path: Path) -> tuple[list[tuple[int, str, str, str, str]], list[Problem]]:
    """Line, part, place, what was counted (empty: not counted) and sheet code of every row, and what is wrong with the
    file; only `part` and `counted` have to be there."""
    problems: list[Problem] = []
    sheet = Sheet(path.name, COLUMNS, _NEEDED, _FREE)
    rows: Iterable[tuple[int, str, str, str, str]] = (
        (row.line, row.required("part"), row.text("place"), row.text("counted"), row.text("sheet"))
        for row in read_sheet(path, sheet, problems, Unread())
    )
    return list(rows), problems

"""A count sheet turned into the words of its page and table, and written to files.

No choosing (see `counting`) and no markup (see `exchange.countsheet`). Called by `cli.count`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from pathlib import Path

from vanstock.exchange.countsheet import Line, Page, Shelf, check_ending, write
from vanstock.quantity import show_qty, unit
from vanstock.routines.counting import CountSheet, SheetLine

_BLIND = "Count what is there: what the ledger says is left off on purpose."
_SHOWN = "Count what is there before you look at what the ledger says."
_EMPTY = "Write 0 for none. A box left empty is not counted."
_AS_IT_LAY = (
    "Write what lay here at that moment: what has gone out since still counts, what has come in since does not. "
    "Enter the answers whenever you like; what you log meanwhile makes no difference."
)


def check_files(paths: Sequence[Path]) -> None:
    """Raise `BadValue` for a file that is named as neither a page nor a table."""
    for path in paths:
        check_ending(path)


def write_sheet(found: CountSheet, paths: Sequence[Path], *, figures: bool = False) -> None:
    """Write a sheet to each file, with what the ledger has only where `figures` says so; raises `VanstockError`."""
    page = sheet_page(found, figures=figures)
    for path in paths:
        write(path, page)


def sheet_page(found: CountSheet, *, figures: bool = False) -> Page:
    """The words of a sheet, place by place, in the order of where things lie."""
    moment = found.code.moment
    frozen = f"Frozen on {_long(moment.date())} at {moment:%H:%M}. {_AS_IT_LAY}"
    places = " and ".join(dict.fromkeys(line.place for line in found.lines))
    lines = [_line(number, line, figures=figures) for number, line in enumerate(found.lines, 1)]
    shelves = tuple(Shelf(place, tuple(rows)) for place, rows in groupby(lines, key=lambda line: line.place))
    how = _SHOWN if figures else _BLIND
    return Page(
        title=f"{'Full count' if found.full else 'Stock count'} {moment:%Y-%m-%d}, {places}",
        heading=f"{'Full count' if found.full else 'Stock count'}: {places}",
        day=_long(moment.date()),
        how=(frozen, how, _EMPTY) if found.full else (how, _EMPTY),
        shelves=shelves,
        full=found.full,
        figures=figures,
        code=str(found.code),
        written=f"{_long(moment.date())}, {moment:%H:%M}",
    )


def _line(number: int, line: SheetLine, *, figures: bool) -> Line:
    part = line.part
    held = show_qty(line.ledger, part.unit) if figures else ""
    return Line(str(number), part.part, part.description, line.place, unit(part.unit).symbol, line.why, held)


def _long(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B} {day.year}"

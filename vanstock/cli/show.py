"""Printing: one table and one JSON document, the same for every command.

A terminal gets rich tables, as wide as it is; a pipe or file gets aligned columns with no escapes, 80 wide, without
importing rich. A screen reader gets each row as one line of words (`--plain`). Nothing here knows what the figures
mean. Called by the command modules.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, NamedTuple

from vanstock.routines.wording import clean as clean

_WIDTH, _NARROWEST, _WIDEST = 80, 60, 200
_WIDEST_PROSE = 100
_LEAST_WRAPPED = 10
_PLAIN: ContextVar[bool] = ContextVar("plain", default=False)


class Column(NamedTuple):
    """A table column: its heading, whether figures line up on the right, whether its text may wrap, whether it is
    drawn from other columns' figures and tells nothing else."""

    heading: str
    right: bool = False
    wraps: bool = False
    drawn: bool = False


def figure(heading: str) -> Column:
    """A column of figures."""
    return Column(heading, right=True)


def drawing(heading: str = "") -> Column:
    """A column of bars that stand for figures told elsewhere."""
    return Column(heading, right=bool(heading), drawn=True)


def words(heading: str) -> Column:
    """A column of text that may wrap."""
    return Column(heading, wraps=True)


def read_aloud(wanted: bool) -> None:
    """Say whether what is printed from now on will be read aloud: words in lines, nothing aligned or drawn."""
    _PLAIN.set(wanted)


def is_read_aloud() -> bool:
    """Whether what is printed will be read aloud."""
    return _PLAIN.get()


def width() -> int:
    """How many columns there are to print in: the terminal's, 60 to 200; 80 where there is none."""
    if not sys.stdout.isatty():
        return _WIDTH
    from shutil import get_terminal_size

    return min(max(get_terminal_size((_WIDTH, 24)).columns, _NARROWEST), _WIDEST)


def many(count: int, what: str, plural: str = "") -> str:
    """So many of something: `1 line`, `2 lines`, or `2 copies` where that is its plural."""
    return f"{count} {what if count == 1 else plural or f'{what}s'}"


def counted(counts: Mapping[str, int]) -> str:
    """So many of each thing, by its plural: `1 family, 2 parts`."""
    return ", ".join(f"{count} {_one(things) if count == 1 else things}" for things, count in counts.items())


def _one(things: str) -> str:
    return f"{things[:-3]}y" if things.endswith("ies") else things.removesuffix("s")


def say(text: str = "") -> None:
    """Print a line of the answer; it may begin or end with line breaks, for an empty line, but holds none."""
    if is_read_aloud():
        text = " ".join(filter(None, text.split(" ")))
    line = text.strip("\n")
    before, _, after = text.partition(line) if line else (text, "", "")
    sys.stdout.write(f"{before}{_fitted(_one_line(line))}{after}\n")


def _fitted(line: str) -> str:
    """A line in as many as a narrow terminal needs for it; elsewhere it is one."""
    if len(line) <= _NARROWEST or is_read_aloud() or not sys.stdout.isatty():
        return line
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return "\n".join(_wrap(line, width(), indent))


def tell(text: str) -> None:
    """Print a line beside the answer, on stderr."""
    sys.stderr.write(f"{_one_line(text)}\n")


def _one_line(text: str) -> str:
    return clean(text).replace("\n", " ")


def as_json(document: Any) -> None:
    """Print one JSON document and nothing else; what does not print is escaped, and reads back the same."""
    text = json.dumps(document, indent=1, ensure_ascii=False)
    sys.stdout.write("".join(c if c.isprintable() or c == "\n" else _escaped(c) for c in text) + "\n")


def _escaped(character: str) -> str:
    """The character as JSON writes it in plain letters, two of them for one beyond the first 65,536."""
    return json.dumps(character)[1:-1] if character != "\x7f" else "\\u007f"


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], *, title: str = "") -> None:
    """Print rows under headings, no wider than there is room unless text cannot wrap."""
    if title:
        say(title)
    cells = [[_one_line(cell) for cell in row] for row in rows]
    if is_read_aloud():
        _spoken_table(columns, cells)
    elif sys.stdout.isatty():
        _rich_table(columns, cells)
    else:
        _plain_table(columns, cells)


def _rich_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    drawn = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold", padding=(0, 1))
    for column in columns:
        drawn.add_column(
            column.heading,
            justify="right" if column.right else "left",
            no_wrap=not column.wraps,
            overflow="fold",
        )
    for row in rows:
        drawn.add_row(*(Text(cell) for cell in row))
    Console(highlight=False).print(drawn)


def _spoken_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    """Each row as one line: its first cell, then each heading with what stands under it; empty cells left out."""
    for row in rows:
        told = [(column, cell.strip()) for column, cell in zip(columns, row, strict=True) if not column.drawn]
        said = [f"{column.heading}: {cell}" if column.heading else cell for column, cell in told[1:] if cell]
        say("; ".join(filter(None, (told[0][1], *said))))


def _plain_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    widths = _widths(columns, rows)
    kept = [i for i, width in enumerate(widths) if width]
    for cells in ([c.heading for c in columns], ["-" * width for width in widths], *rows):
        wrapped = {i: _wrap(cells[i], widths[i]) for i in kept}
        for depth in range(max(map(len, wrapped.values()))):
            pieces = [(wrapped[i][depth] if depth < len(wrapped[i]) else "", i) for i in kept]
            say("  ".join(_aligned(piece, widths[i], columns[i]) for piece, i in pieces).rstrip())


def _wrap(cell: str, width: int, then: str = "") -> list[str]:
    """The cell in lines of at most `width`, the later ones behind `then`; a short cell, as most are, stays as it is."""
    if len(cell) <= width:
        return [cell]
    import textwrap

    return textwrap.wrap(cell, width, subsequent_indent=then, break_on_hyphens=False) or [""]


def _aligned(piece: str, width: int, column: Column) -> str:
    return piece.rjust(width) if column.right else piece.ljust(width)


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[int]:
    """Natural widths, the widest column that may wrap made narrower until the columns there are hold the table."""
    natural = [max([len(c.heading), *(len(row[i]) for row in rows)]) for i, c in enumerate(columns)]
    room = width() - 2 * (sum(map(bool, natural)) - 1)
    floors = {i: max(len(c.heading), _LEAST_WRAPPED) for i, c in enumerate(columns) if c.wraps}
    while sum(natural) > room:
        widest = max(floors, key=lambda i: natural[i] - floors[i], default=None)
        if widest is None or natural[widest] <= floors[widest]:
            break
        natural[widest] -= 1
    return natural


def paragraph(text: str, *, first: str = "", then: str = "") -> None:
    """Print text wrapped to the width there is, the first line behind `first`, the others behind `then`."""
    import textwrap

    if is_read_aloud():
        say(f"{first}{text}")
        return
    for line in textwrap.wrap(
        text, min(width(), _WIDEST_PROSE), initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    ):
        say(line)


@contextmanager
def working(what: str, *, total: int | None = None) -> Iterator[Callable[[int], None]]:
    """A moving bar on stderr while something takes more than a second; silent when not a terminal.

    Yields a function that is told how many more of `total` (None: nobody knows how many) are done.
    """
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb" or is_read_aloud():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    shown = (
        TextColumn(clean(what), markup=False),
        BarColumn(),
        TextColumn("{task.completed:,.0f}"),
        TimeElapsedColumn(),
    )
    with Progress(*shown, console=Console(stderr=True, no_color=True), transient=True) as progress:
        task = progress.add_task(clean(what), total=total)
        yield lambda more: progress.advance(task, more)

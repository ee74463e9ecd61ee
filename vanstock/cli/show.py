"""Printing: one table and one JSON document, the same for every command.

A terminal gets rich tables; a pipe or file gets plain aligned columns with no escapes, without importing
rich. Nothing here knows what the figures mean. Called by the command modules.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple

from vanstock.routines.wording import clean as clean

WIDTH = 80
_LEAST_WRAPPED = 10


class Column(NamedTuple):
    """A table column: its heading, whether figures line up on the right, whether its text may wrap."""

    heading: str
    right: bool = False
    wraps: bool = False


def figure(heading: str) -> Column:
    """A column of figures."""
    return Column(heading, right=True)


def words(heading: str) -> Column:
    """A column of text that may wrap."""
    return Column(heading, wraps=True)


def say(text: str = "") -> None:
    """Print a line of the answer; it may begin or end with line breaks, for an empty line, but holds none."""
    line = text.strip("\n")
    before, _, after = text.partition(line) if line else (text, "", "")
    sys.stdout.write(f"{before}{_one_line(line)}{after}\n")


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
    """Print rows under headings, at most 80 columns wide unless the terminal is wider or text cannot wrap."""
    if title:
        say(title)
    cells = [[_one_line(cell) for cell in row] for row in rows]
    if sys.stdout.isatty():
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


def _plain_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    widths = _widths(columns, rows)
    kept = [i for i, width in enumerate(widths) if width]
    for cells in ([c.heading for c in columns], ["-" * width for width in widths], *rows):
        wrapped = {i: _wrap(cells[i], widths[i]) for i in kept}
        for depth in range(max(map(len, wrapped.values()))):
            pieces = [(wrapped[i][depth] if depth < len(wrapped[i]) else "", i) for i in kept]
            say("  ".join(_aligned(piece, widths[i], columns[i]) for piece, i in pieces).rstrip())


def _wrap(cell: str, width: int) -> list[str]:
    """The cell in lines of at most `width`; a short cell, as most are, is left as it is."""
    if len(cell) <= width:
        return [cell]
    import textwrap

    return textwrap.wrap(cell, width, break_on_hyphens=False) or [""]


def _aligned(piece: str, width: int, column: Column) -> str:
    return piece.rjust(width) if column.right else piece.ljust(width)


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[int]:
    """Natural widths, the widest column that may wrap made narrower until 80 columns hold the table."""
    natural = [max([len(c.heading), *(len(row[i]) for row in rows)]) for i, c in enumerate(columns)]
    room = WIDTH - 2 * (sum(map(bool, natural)) - 1)
    floors = {i: max(len(c.heading), _LEAST_WRAPPED) for i, c in enumerate(columns) if c.wraps}
    while sum(natural) > room:
        widest = max(floors, key=lambda i: natural[i] - floors[i], default=None)
        if widest is None or natural[widest] <= floors[widest]:
            break
        natural[widest] -= 1
    return natural


def paragraph(text: str, *, first: str = "", then: str = "") -> None:
    """Print text wrapped to 80 columns, the first line behind `first`, the others behind `then`."""
    import textwrap

    for line in textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False):
        say(line)


@contextmanager
def working(what: str, *, total: int | None = None) -> Iterator[Callable[[int], None]]:
    """A moving bar on stderr while something takes more than a second; silent when not a terminal.

    Yields a function that is told how many more of `total` (None: nobody knows how many) are done.
    """
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
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
    with Progress(*shown, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(clean(what), total=total)
        yield lambda more: progress.advance(task, more)

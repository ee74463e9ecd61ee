"""Labels as sheets to print: one HTML file that needs nothing beside it, each label with a QR code of its part number.

Everything comes as words (see `Label`) and is shown as text, never as markup. Letters are as large as a label's room
allows. Lengths are tenths of a millimetre, so that a sheet adds up exactly. The look is in templates/labels.html.j2.
Called by `routines.labels`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple
from unicodedata import east_asian_width

from vanstock.errors import BadValue
from vanstock.exchange import printed
from vanstock.quantity import parse_decimal, parse_whole

if TYPE_CHECKING:
    from segno import QRCode

SHEET = (2100, 2970)
_PADDING = 20
_GAP = 15
"""Between the code and the words beside it."""
_LEAST = (350, 170)
_QUIET = 4
"""Light modules around a code (ISO/IEC 18004)."""
_POINT = 3.528
_LINE = 1.17
_NUMBER_SIZES = (40, 34, 28, 24, 22, 20, 18, 16, 14, 13, 12, 11, 10, 9, 8, 7, 6)
_WORD_SIZES = (18, 16, 14, 12, 11, 10, 9, 8, 7, 6)
_SMALL_SIZES = (11, 10, 9, 8, 7, 6)
_BOLD, _REGULAR, _WIDE = 0.7, 0.6, 1.1
"""Width of a letter as a share of its size, taken large, since which letters a machine has is not known."""
_BROAD = "MW@%"
_SIZE = re.compile(r"([0-9.]+)x([0-9.]+)")


class Grid(NamedTuple):
    """How labels lie on a sheet of A4: columns and rows, the width and height of one, and the gap between columns."""

    columns: int
    rows: int
    width: int
    height: int
    gap: int

    @property
    def name(self) -> str:
        """Columns and rows, as a person names them."""
        return f"{self.columns}x{self.rows}"

    @property
    def size(self) -> str:
        """Width and height in millimetres."""
        return f"{self.width / 10:g} x {self.height / 10:g} mm"


GRIDS = {
    grid.name: grid
    for grid in (
        Grid(2, 4, 991, 677, 25), Grid(2, 7, 991, 381, 25), Grid(2, 8, 991, 339, 25), Grid(3, 6, 635, 466, 25),
        Grid(3, 7, 635, 381, 25), Grid(3, 8, 635, 339, 25), Grid(4, 10, 485, 254, 0), Grid(5, 13, 381, 212, 25),
    )
}  # fmt: skip
"""Sheets that are commonly sold, by their columns and rows; all lie in the middle of the sheet."""


class Label(NamedTuple):
    """What one label says: the part number, what it is, small lines, and one more line that stands out."""

    part: str
    what: str
    lines: tuple[str, ...] = ()
    warning: str = ""


class Words(NamedTuple):
    """Words in the size, in points, at which they fit."""

    text: str
    points: int


class Cell(NamedTuple):
    """A label laid out: its code as SVG, the side of that in tenths of a millimetre, its words, and whether the last
    line of `small` stands out."""

    code: str
    side: int
    number: Words
    what: Words
    small: Words
    warns: bool


class Page(NamedTuple):
    """Sheets of cells (None: left empty), with the grid, the margins, and whether lines to cut along are drawn."""

    title: str
    grid: Grid
    left: int
    top: int
    sheets: tuple[tuple[Cell | None, ...], ...]
    lines: bool


def parse_grid(name: str, *, size: str = "", gap: str = "") -> Grid:
    """The grid named like `3x8`, with labels of a size and gap in mm where they are not the common ones.

    Raises `BadValue` for an unknown grid without a size, and for labels that A4 does not hold or are too small.
    """
    known = GRIDS.get(name.lower().replace(" ", ""))
    if known and not size:
        return _checked(known._replace(gap=_tenths(gap, "--gap"))) if gap else known
    if not size:
        raise BadValue(f"--grid {name!r} is none of {', '.join(GRIDS)}: give its labels' --size too, like 70x37")
    columns, rows = _two(name, "--grid", "3x8")
    width, height = _two(size, "--size", "63.5x33.9")
    whole = parse_whole(columns, "--grid"), parse_whole(rows, "--grid")
    return _checked(Grid(*whole, _tenths(width, "--size"), _tenths(height, "--size"), _tenths(gap or "0", "--gap")))


def _two(text: str, option: str, like: str) -> tuple[str, str]:
    found = _SIZE.fullmatch(text.lower().replace(" ", ""))
    if not found:
        raise BadValue(f"{option} {text!r} is not two numbers: write it like {like}")
    return found[1], found[2]


def _tenths(text: str, option: str) -> int:
    """Tenths of a millimetre in millimetres typed, the nearest of them."""
    value = parse_decimal(text, option)
    if not 0 <= value <= SHEET[1]:
        raise BadValue(f"{option} {text!r} is no length on a sheet of A4")
    return round(value * 10)


def _checked(grid: Grid) -> Grid:
    if not (grid.columns and grid.rows):
        raise BadValue(f"--grid {grid.name!r} has no labels: it needs at least 1x1")
    wide, high = _covered(grid)
    if wide > SHEET[0] or high > SHEET[1]:
        raise BadValue(f"{grid.name} labels of {grid.size} do not fit on A4 (210 x 297 mm): check --size and --gap")
    if grid.width < _LEAST[0] or grid.height < _LEAST[1]:
        raise BadValue(f"labels of {grid.size} are too small for a code and words: at least 35 x 17 mm")
    return grid


def _covered(grid: Grid) -> tuple[int, int]:
    return grid.columns * grid.width + (grid.columns - 1) * grid.gap, grid.rows * grid.height


def module_mm(text: str, grid: Grid) -> float:
    """The side of one square of the code of a part number, on a label of this grid, in mm."""
    code = _code(text)
    return _side(text, grid) / 10 / code.symbol_size(border=_QUIET)[0]


def laid_out(labels: Sequence[Label], grid: Grid, *, title: str, start: int = 1, lines: bool = False) -> Page:
    """The sheets that hold these labels, the first at place `start` of the first sheet, row by row."""
    wide, high = _covered(grid)
    cells: list[Cell | None] = [None] * (start - 1)
    cells += [_cell(label, grid) for label in labels]
    margins = ((SHEET[0] - wide) // 2, (SHEET[1] - high) // 2)
    return Page(title, grid, *margins, tuple(_sheets(cells, grid.columns * grid.rows)), lines)


def _sheets(cells: Sequence[Cell | None], each: int) -> Iterator[tuple[Cell | None, ...]]:
    for begin in range(0, len(cells), each):
        yield tuple(cells[begin : begin + each])


def as_html(page: Page) -> str:
    """The page as one HTML document."""
    return printed.rendered("labels.html.j2", page)


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name is a page's."""
    printed.check_ending(path, "labels.html")


def write_labels(path: Path, page: Page) -> None:
    """Write the sheets in place of an old file, or leave that as it was; raises `BadValue` or `VanstockError`."""
    check_ending(path)
    printed.put(path, as_html(page))


def _cell(label: Label, grid: Grid) -> Cell:
    side = _side(label.part, grid)
    beside = grid.width - 2 * _PADDING - side - _GAP
    small = _small(label, beside, side * 6 // 10)
    taken = round(_height(small.text, small.points, beside, _REGULAR))
    return Cell(
        code=_drawn(label.part),
        side=side,
        number=_number(label.part, grid),
        what=_fitted(label.what, beside, side - taken, _WORD_SIZES, _REGULAR),
        small=small,
        warns=bool(label.warning),
    )


def _small(label: Label, width: int, height: int) -> Words:
    """The small lines, the last of them left out where there is no room; the one that stands out stays."""
    lines = list(label.lines)
    while True:
        text = "\n".join(filter(None, (*lines, label.warning)))
        if not lines or _height(text, _SMALL_SIZES[-1], width, _REGULAR) <= height:
            return _fitted(text, width, height, _SMALL_SIZES, _REGULAR)
        lines.pop()


def _number(text: str, grid: Grid) -> Words:
    """The part number over the whole width, in at most a third of the height."""
    return _fitted(text, grid.width - 2 * _PADDING, (grid.height - 2 * _PADDING) * 3 // 10, _NUMBER_SIZES, _BOLD)


def _side(text: str, grid: Grid) -> int:
    """The side of the code: what the part number leaves of the height, and no more than half the width."""
    number = _number(text, grid)
    width = grid.width - 2 * _PADDING
    left = grid.height - 2 * _PADDING - round(_height(number.text, number.points, width, _BOLD))
    return min(left, width // 2)


def _code(text: str) -> QRCode:
    """The smallest code at level M or better; a text beyond ASCII says that it is UTF-8."""
    import segno

    plain = text.isascii()
    return segno.make_qr(text, error="m", boost_error=True, eci=not plain, encoding=None if plain else "utf-8")


def _drawn(text: str) -> str:
    """The code as SVG, one square a module, with its quiet zone."""
    from markupsafe import Markup

    code = _code(text)
    side = code.symbol_size(border=_QUIET)[0]
    runs = "".join(_runs(code))
    return Markup(f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="QR code"><path d="{runs}"/></svg>')


def _runs(code: QRCode) -> Iterator[str]:
    """Every run of dark modules as a path, so that no seam shows between two in a row."""
    for down, row in enumerate(code.matrix, _QUIET):
        for found in re.finditer("1+", "".join("1" if dark else "0" for dark in row)):
            across, length = found.start() + _QUIET, len(found[0])
            yield f"M{across} {down}h{length}v1h-{length}z"


def _fitted(text: str, width: int, height: int, sizes: Sequence[int], letter: float) -> Words:
    """The words in the largest of the sizes at which they fit; cut off where even the smallest is too large."""
    for points in sizes:
        if _height(text, points, width, letter) <= height:
            return Words(text, points)
    shorter = text
    while shorter and _height(f"{shorter}…", sizes[-1], width, letter) > height:
        shorter = shorter[:-1]
    return Words(f"{shorter.rstrip()}…" if text else "", sizes[-1])


def _height(text: str, points: int, width: int, letter: float) -> float:
    """How high the words stand in so wide a room, in tenths of a millimetre."""
    size = points * _POINT
    return size * _LINE * sum(_lines(line, width / size, letter) for line in text.split("\n") if line)


def _lines(text: str, room: float, letter: float) -> int:
    """In how many lines a text breaks, in a room of so many letter sizes."""
    long = sum(_WIDE if one in _BROAD or east_asian_width(one) in "WFA" else letter for one in text)
    return 1 if long <= room else len(wrap(text, max(int(room * len(text) / long), 1)))

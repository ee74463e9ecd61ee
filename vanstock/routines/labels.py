"""Labels for bins and parts: which are wanted, and the words on them. A label's code says the part number and no more,
so that any phone's camera shows it and `scan` finds the part by it.

No markup (see `exchange.labels`). Called by `cli.labels`.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.exchange import labels as paper
from vanstock.exchange.labels import Grid as Grid
from vanstock.exchange.labels import check_ending as check_ending
from vanstock.exchange.labels import parse_grid as parse_grid
from vanstock.ledger import basis, catalogue, reading
from vanstock.model import Part
from vanstock.quantity import show_qty, unit
from vanstock.routines.naming import find_part
from vanstock.routines.session import Session

COMMON_GRID = "3x8"
_COUNTED_IN = {"C62": "pieces", "PR": "pairs", "LTR": "litres", "MTR": "metres", "KGM": "kilograms"}
KEEP_IN_SIGHT = "maker's label must show"
_FINEST_MM = 0.33
"""Squares of a code below this are hard to read with a phone: common practice, no source."""


class Levels(NamedTuple):
    """Min and max of a part over all places, and since when; empty for what a person pinned, which stays."""

    min: int
    max: int
    since: str = ""


class Label(NamedTuple):
    """A part that wants a label, the place of its bin (empty: the part alone), and its levels where they are set."""

    part: Part
    place: str = ""
    levels: Levels | None = None


class Wish(NamedTuple):
    """Which labels: for these parts, else for what lies in stock; at this place; of parts that fit this family."""

    names: tuple[str, ...] = ()
    place: str = ""
    family: str = ""


class Sheets(NamedTuple):
    """Labels on sheets: the grid, and the place of the first label on the first sheet, from 1."""

    labels: tuple[Label, ...]
    grid: Grid
    start: int = 1

    @property
    def sheets(self) -> int:
        """How many sheets they take."""
        return -(-(self.start - 1 + len(self.labels)) // (self.grid.columns * self.grid.rows))

    def where(self, number: int) -> tuple[int, int, int]:
        """Sheet, row and column of a label by its number, all from 1."""
        sheet, place = divmod(self.start - 2 + number, self.grid.columns * self.grid.rows)
        return sheet + 1, place // self.grid.columns + 1, place % self.grid.columns + 1


def label_sheets(session: Session, wish: Wish, grid: Grid, *, start: int = 1) -> Sheets:
    """The labels wanted, on sheets of this grid. Raises `BadValue` for a start that is not on the sheet, `NotFound` for
    unknown parts, places and families, and where there is nothing to label."""
    most = grid.columns * grid.rows
    if not 1 <= start <= most:
        raise BadValue(f"--from {start} is not on a sheet of {grid.name}: it has labels 1 to {most}")
    place = catalogue.place_named(session.ledger, wish.place).place if wish.place else ""
    named = [(find_part(session, name, family=wish.family), place) for name in wish.names]
    chosen = _of_family(session, named or _in_stock(session, place), wish.family)
    if not chosen:
        of = f" of {wish.family}" if wish.family else ""
        raise NotFound(f"nothing{of} lies in {place or 'stock'}: name the parts that labels are wanted for")
    levels = _levels(session)
    return Sheets(tuple(Label(part, where, levels.get(part.part)) for part, where in chosen), grid, start)


def _in_stock(session: Session, place: str) -> list[tuple[Part, str]]:
    """Every part at every place where it lies or lay, place by place, in the order of where things lie."""
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    order = [one.place for one in catalogue.places(session.ledger)]
    rows = reading.balances(session.ledger, place=place)
    return [(parts[row.part], row.place) for row in sorted(rows, key=lambda row: order.index(row.place))]


def _of_family(session: Session, rows: list[tuple[Part, str]], family: str) -> list[tuple[Part, str]]:
    if not family:
        return rows
    known = catalogue.read_catalogue(session.ledger).families
    named = next((one for one in known if one.casefold() == family.casefold()), None)
    if named is None:
        raise NotFound(f"no family {family!r}: there is {', '.join(known)}")
    fitting = catalogue.parts_of_family(session.ledger, named)
    return [row for row in rows if row[0].part in fitting]


def _levels(session: Session) -> dict[str, Levels]:
    """Min and max as pinned, else as the newest reorder list used them; a part that is not stocked has none."""
    used = {
        part: Levels(row.level.min, row.level.max, row.at[:10])
        for part, row in basis.newest(session.ledger).items()
        if not row.level.pinned
    }
    pinned = {part: Levels(*pair) for part, pair in catalogue.pins(session.ledger).items()}
    return {part: one for part, one in (used | pinned).items() if one.max > 0}


def hard_to_read(found: Sheets) -> tuple[Part, ...]:
    """The parts whose numbers make a code too fine for labels of this size."""
    parts = dict.fromkeys(label.part for label in found.labels)
    return tuple(part for part in parts if paper.module_mm(part.part, found.grid) < _FINEST_MM)


def write_sheets(session: Session, found: Sheets, path: Path, *, lines: bool = False) -> None:
    """Write the sheets as a page to print; raises `BadValue` or `VanstockError`."""
    title = f"Labels {session.today}"
    words = [_words(label) for label in found.labels]
    paper.write_labels(path, paper.laid_out(words, found.grid, title=title, start=found.start, lines=lines))


def _words(label: Label) -> paper.Label:
    part = label.part
    return paper.Label(
        part=part.part,
        what=part.description,
        lines=tuple(filter(None, (_bin_words(label), level_words(label), _since(label)))),
        warning=KEEP_IN_SIGHT if part.hazard.strip() else "",
    )


def _bin_words(label: Label) -> str:
    """The place, and what the part is counted in with its pack where that is more than one."""
    part = label.part
    counted = _COUNTED_IN[part.unit]
    if part.pack_size != unit(part.unit).scale:
        counted = f"{counted}, pack {show_qty(part.pack_size, part.unit)}"
    return f"{label.place}: {counted}" if label.place else counted


def level_words(label: Label) -> str:
    """Min and max, which are of all places together; empty where none are set."""
    if label.levels is None:
        return ""
    low, high = (show_qty(qty, label.part.unit) for qty in label.levels[:2])
    return f"min {low}, max {high} in all"


def _since(label: Label) -> str:
    return f"as of {label.levels.since}" if label.levels and label.levels.since else ""

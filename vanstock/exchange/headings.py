"""Finding the headings of a spreadsheet and which column of ours each is.

Title rows are passed over; two rows of headings, the upper one merged over several, are joined. A heading is a column
of ours when it is one of its names (reference/columns.csv), or nearly so by its spelling; two are never taken for one.
Called by `routines.sheetfile`; decides nothing that a person should.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.csvfile import Sheet
from vanstock.exchange.knowncolumns import PRICE_PER, Known, known_columns, plain, says_how_many, why_no_cost
from vanstock.exchange.table import EMPTY, Cell, Row, Table

_LOOKED_AT = 40
_LEAST_LIKE = 86.0
_SHORTEST_GUESSED = 4
_JOINED = 0.5
_PRICES = ("cost", "unit_cost")


class Heading(NamedTuple):
    """A column of theirs: its place from 0, its heading as shown, and what it is compared by."""

    place: int
    text: str
    keys: tuple[str, ...]


class Headed(NamedTuple):
    """A table with its headings found: the row they stand in (the last of them), the rows below, and whether they
    stand in two rows."""

    number: int
    headings: tuple[Heading, ...]
    rows: tuple[Row, ...]
    joined: bool = False

    @property
    def first(self) -> int:
        """The upper of the rows that the headings stand in."""
        return self.number - self.joined


class Match(NamedTuple):
    """A heading and the column of ours that it is ("" for not used): by its name, by its spelling, as remembered or as
    said; `why` tells why it is not used although it looks like one."""

    heading: Heading
    ours: str = ""
    how: str = "name"
    why: str = ""


class Matching(NamedTuple):
    """What every heading is; what of ours is needed and has none; and headings that would be one column of ours."""

    matches: tuple[Match, ...]
    missing: tuple[str, ...] = ()
    two: Mapping[str, tuple[Heading, ...]] = MappingProxyType({})

    def place(self, ours: str) -> int | None:
        """Where a column of ours stands; None for nowhere."""
        return next((match.heading.place for match in self.matches if match.ours == ours), None)


def columns_for(sheet: Sheet) -> dict[str, Known]:
    """The columns of one kind of file by name."""
    known = known_columns()
    return {column: known[sheet.file.removesuffix(".csv"), column] for column in sheet.columns}


def find_headings(table: Table, sheet: Sheet, also: Iterable[str] = (), row: int = 0) -> Headed:
    """The row, or two, in which the most columns have a known name; `also` are names known from before, `row` is the
    one that a person named. Raises `BadValue` where there is none."""
    names = set(also).union(*(known.names for known in columns_for(sheet).values()))
    best: tuple[float, int, tuple[Heading, ...]] = (0, 0, ())
    joined = False
    for place, one in enumerate(table.rows[:_LOOKED_AT]):
        for last in (place, place + 1):
            if last >= len(table.rows) or (row and table.rows[last].number != row):
                continue
            lower = None if last == place else table.rows[last]
            if lower and not _may_go_on(one, lower, names):
                continue
            headings = _headings(one, lower)
            score = _score(headings, names) + _JOINED * (lower is not None)
            if score > best[0] or (row and not best[2]):
                best, joined = (score, last, headings), lower is not None
    if not best[2]:
        best = _first_of_words(table, row)
    return Headed(table.rows[best[1]].number, _told_apart(best[2]), table.rows[best[1] + 1 :], joined)


def _score(headings: Sequence[Heading], names: set[str]) -> int:
    return sum(any(key in names for key in heading.keys) for heading in headings)


def _may_go_on(upper: Row, lower: Row, names: set[str]) -> bool:
    """Whether two rows can be one of headings: words alone, some below where nothing stands above, and together more
    known names than in the lower one."""
    rows = [[(place, cell) for place, cell in enumerate(row.cells) if cell.text] for row in (upper, lower)]
    if lower.number != upper.number + 1 or any(len(filled) < 2 for filled in rows):
        return False
    words = all(cell.kind == "text" and not any(map(str.isdigit, cell.text)) for row in rows for _, cell in row)
    wider = any(not _at(upper.cells, place).text for place, _ in rows[1])
    return words and wider and _score(_headings(upper, lower), names) > _score(_headings(lower, None), names)


def _first_of_words(table: Table, row: int) -> tuple[float, int, tuple[Heading, ...]]:
    """The first row of at least two texts and no number, where no heading is known at all."""
    for place, one in enumerate(table.rows[:_LOOKED_AT]):
        filled = [cell for cell in one.cells if cell.text]
        if len(filled) > 1 and not row and not any(cell.kind == "number" or _is_number(cell.text) for cell in filled):
            return 0, place, _headings(one, None)
    if not table.rows:
        raise BadValue(f"{table.place} is empty: save it again, with the list in it and a row that names the columns")
    raise BadValue(
        f"{table.place}: no headings found{f' in row {row}' if row else ''}: one row must name the columns; "
        "say which with --header-row"
    )


def _is_number(text: str) -> bool:
    return text.replace(".", "").replace(",", "").isdigit()


def headings_in(row: Row) -> tuple[Heading, ...]:
    """The headings in a row that is known to hold them."""
    return _headings(row, None)


def _headings(upper: Row, lower: Row | None) -> tuple[Heading, ...]:
    """The headings in a row, or in two: an upper one counts for the empty cells to its right that have a lower one."""
    if lower is None:
        texts = [(cell.text, "") for cell in upper.cells]
    else:
        texts = []
        above = ""
        for place in range(max(len(upper.cells), len(lower.cells))):
            top, below = (_at(row.cells, place).text for row in (upper, lower))
            above = top or (above if below else "")
            texts.append((above, below))
    joined = [(" ".join(filter(None, map(_one_line, pair))), pair) for pair in texts]
    return tuple(
        Heading(place, text.rstrip(" *"), tuple(dict.fromkeys((plain(text), plain(pair[1] or text)))))
        for place, (text, pair) in enumerate(joined)
        if text
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _at(cells: Sequence[Cell], place: int) -> Cell:
    return cells[place] if place < len(cells) else EMPTY


def _told_apart(headings: Sequence[Heading]) -> tuple[Heading, ...]:
    """Headings of the same text with a number behind the later ones."""
    seen: dict[str, int] = {}
    found = []
    for heading in headings:
        seen[heading.text] = seen.get(heading.text, 0) + 1
        again = f" ({seen[heading.text]})" if seen[heading.text] > 1 else ""
        found.append(heading._replace(text=heading.text + again))
    return tuple(found)


def match_columns(headed: Headed, sheet: Sheet, said: Mapping[str, str], remembered: Mapping[str, str]) -> Matching:
    """Which column of ours each heading is: as said, else as remembered, else by name, else by spelling.

    `said` and `remembered` go from a heading, compared `plain`, to a column of ours or "". Raises `BadValue` for a
    heading or column that is not there.
    """
    _check_said(headed, sheet, said)
    columns = columns_for(sheet)
    matches: dict[int, Match] = {}
    own = {plain(heading.text) for heading in headed.headings}
    for how, wanted in (("said", said), ("remembered", remembered)):
        for heading in headed.headings:
            ours = _wanted(heading, wanted, own)
            if ours is not None and heading.place not in matches and (not ours or ours not in _taken(matches)):
                matches[heading.place] = Match(heading, ours, how)
    two = _by_name(headed, columns, matches)
    _by_spelling(headed, columns, matches, two)
    found = tuple(matches.get(heading.place, Match(heading)) for heading in headed.headings)
    missing = tuple(name for name in sheet.required if name not in _taken(matches) and name not in two)
    return Matching(found, missing, two)


def _wanted(heading: Heading, wanted: Mapping[str, str], own: set[str]) -> str | None:
    """What is wanted of a heading: by what it is shown as, else by a part of it that no other is shown as (`own`)."""
    shown = plain(heading.text)
    keys = (shown, *(key for key in heading.keys if key not in own))
    return next((wanted[key] for key in keys if key in wanted), None)


def _taken(matches: Mapping[int, Match]) -> set[str]:
    return {match.ours for match in matches.values() if match.ours}


def _check_said(headed: Headed, sheet: Sheet, said: Mapping[str, str]) -> None:
    there = {key for heading in headed.headings for key in (plain(heading.text), *heading.keys)}
    for theirs, ours in said.items():
        if theirs not in there:
            names = ", ".join(heading.text for heading in headed.headings)
            raise BadValue(f"--columns: no column is headed {theirs!r}: there is {names}")
        if ours and ours not in sheet.columns:
            raise BadValue(f"--columns: {ours!r} is no column of ours: there is {', '.join(sheet.columns)}")
    twice = [ours for ours in said.values() if ours and list(said.values()).count(ours) > 1]
    if twice:
        raise BadValue(f"--columns: two columns cannot both be {twice[0]}: name one")


def _by_name(headed: Headed, columns: Mapping[str, Known], matches: dict[int, Match]) -> dict[str, tuple[Heading, ...]]:
    """Match what has a known name; what several headings could be is returned and matched by none."""
    could: dict[str, list[Heading]] = {}
    for heading in headed.headings:
        if heading.place in matches:
            continue
        if _any_price(columns) and says_how_many(heading.text):
            matches[heading.place] = Match(heading, PRICE_PER)
            continue
        if _any_price(columns) and (why := why_no_cost(heading.text)):
            matches[heading.place] = Match(heading, why=why)
            continue
        for ours in _named(heading, columns, _taken(matches)):
            could.setdefault(ours, []).append(heading)
    return _settle(could, matches)


def _any_price(columns: Mapping[str, Known]) -> bool:
    return any(name in columns for name in _PRICES)


def _named(heading: Heading, columns: Mapping[str, Known], taken: set[str]) -> list[str]:
    """The columns of ours that have a heading's name: the one that is called so itself, else every one that may be."""
    free = {ours: known for ours, known in columns.items() if ours not in taken}
    exact = [ours for ours in free if plain(ours) in heading.keys]
    for key in heading.keys:
        found = [ours for ours, known in free.items() if key in known.names]
        if exact or found:
            return exact or found[:1]
    return []


def _settle(could: Mapping[str, Sequence[Heading]], matches: dict[int, Match]) -> dict[str, tuple[Heading, ...]]:
    two = {}
    for ours, headings in could.items():
        exact = [heading for heading in headings if plain(ours) in heading.keys]
        chosen = exact if len(exact) == 1 else list(headings)
        if len(chosen) == 1:
            matches[chosen[0].place] = Match(chosen[0], ours)
        else:
            two[ours] = tuple(headings)
    return two


def _by_spelling(
    headed: Headed, columns: Mapping[str, Known], matches: dict[int, Match], two: Mapping[str, Sequence[Heading]]
) -> None:
    """Match what is nearly a known name, the nearest first, where nothing else is as near."""
    from rapidfuzz import fuzz

    asked = {heading.place for headings in two.values() for heading in headings}
    near = []
    for heading in headed.headings:
        if heading.place in matches or heading.place in asked or len(heading.keys[0]) < _SHORTEST_GUESSED:
            continue
        scores = {
            ours: max(fuzz.ratio(key, name) for key in heading.keys for name in known.names)
            for ours, known in columns.items()
            if ours not in two
        }
        ranked = sorted(scores, key=lambda ours: -scores[ours])
        if len(ranked) < 2 or scores[ranked[0]] > scores[ranked[1]]:
            near.append((scores[ranked[0]], heading, ranked[0]))
    best: dict[str, list[tuple[float, Heading]]] = {}
    for score, heading, ours in near:
        if score >= _LEAST_LIKE and ours not in _taken(matches):
            best.setdefault(ours, []).append((score, heading))
    for ours, found in best.items():
        if len(found) == 1:
            matches[found[0][1].place] = Match(found[0][1], ours, "spelling")

"""Taking the rows of a spreadsheet over: how its columns are written is settled, then each cell is read so.

What the cells leave open is returned as questions, with the option that answers each; rows that are no rows (titles
between, sums, repeated headings) are left out and told. Called by `routines.sheetfile` and `routines.bookfile`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from vanstock.errors import BadValue, Problem
from vanstock.exchange import amounts, dates
from vanstock.exchange.csvfile import Sheet, Unread
from vanstock.exchange.headings import Headed, Match, Matching
from vanstock.exchange.knowncolumns import PRICE_PER, currency_in, folded
from vanstock.exchange.table import EMPTY, Cell, Row
from vanstock.exchange.tidy import KIND_OF, WITH_DECIMALS, Ways, tidy

_MARK_WORDS = {amounts.POINT: "point", amounts.COMMA: "comma"}
_SUMS = frozenset(("total", "totals", "sum", "subtotal", "sub total", "grand total", "summe", "gesamt"))
_MONEY = ("price", "money")
_EMPTY = "nothing in the columns that are used"


class Question(NamedTuple):
    """What a person has to say: what it is about (columns, decimals, dates), our column, the question, its answers with
    what each means, and how to give it on the command line."""

    about: str
    ours: str
    text: str
    answers: tuple[tuple[str, str], ...]
    option: str


class Habits(NamedTuple):
    """How a file is said to be written, and how the last one of the kind was: a mark before decimals and an order of
    dates, "" for nobody knows; the ledger's currency, and part numbers it knows."""

    mark: str = ""
    order: str = ""
    usual_mark: str = ""
    usual_order: str = ""
    currency: str = "GBP"
    known: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Settled:
    """How each of our columns is written here, what to tell of that, and what is still to be asked."""

    ways: Mapping[str, Ways]
    notes: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()


class TakenRow(NamedTuple):
    """A row's number in the spreadsheet and its cells as the folder would have them."""

    number: int
    cells: Mapping[str, str]


@dataclass(slots=True)
class Taken:
    """The rows read, what is wrong with others, rows left out with why, and the ids of what could not be read."""

    rows: list[TakenRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    left_out: list[tuple[int, str]] = field(default_factory=list)
    unread: Unread = field(default_factory=Unread)


def settle(headed: Headed, matching: Matching, habits: Habits) -> Settled:
    """How the columns are written: as said, else as their own cells show, as the file's others do, as is usual."""
    notes: list[str] = []
    questions: list[Question] = []
    used = [match for match in matching.matches if match.ours in KIND_OF]
    marks = _marks(headed, used, habits, notes, questions)
    orders = _orders(headed, used, habits, notes, questions)
    notes += _note_of_times(headed, used)
    ways = {
        match.ours: Ways(
            marks.get(match.ours, amounts.POINT), orders.get(match.ours, ""), habits.currency, habits.known
        )
        for match in matching.matches
        if match.ours
    }
    return Settled(ways, tuple(notes), tuple(questions))


def _texts(headed: Headed, match: Match) -> Iterator[str]:
    for row in headed.rows:
        cell = at(row, match)
        if cell.kind == "text" and cell.text:
            yield cell.text.rstrip("%") if KIND_OF.get(match.ours) == "share" else cell.text


def at(row: Row, match: Match) -> Cell:
    """The cell of a row in a column of theirs."""
    place = match.heading.place
    return row.cells[place] if place < len(row.cells) else EMPTY


def _marks(
    headed: Headed, used: Sequence[Match], habits: Habits, notes: list[str], questions: list[Question]
) -> dict[str, str]:
    seen = {
        match.ours: amounts.decimal_mark(_texts(headed, match))
        for match in used
        if KIND_OF[match.ours] in WITH_DECIMALS
    }
    if habits.mark:
        return dict.fromkeys(seen, habits.mark)
    marks = {ours: one.way or amounts.POINT for ours, one in seen.items() if one.way or one.clash}
    everywhere = {one.way for one in seen.values() if one.way}
    for ours, one in seen.items():
        if one.way == amounts.COMMA:
            notes.append(f"{ours}: a comma stands before the decimals, as {one.text!r} shows")
        elif one.matters and ours not in marks:
            other = next(iter(everywhere)) if len(everywhere) == 1 else habits.usual_mark
            if other:
                marks[ours] = other
                why = "the other columns" if everywhere else "the last file"
                notes.append(f"{ours}: a {_MARK_WORDS[other]} stands before the decimals of {one.text!r}, as in {why}")
            else:
                questions.append(_which_mark(ours, one.text))
    return marks


def _which_mark(ours: str, text: str) -> Question:
    found = amounts.meanings(text)
    answers = tuple((_MARK_WORDS[mark], f"{text} is {value:f}") for mark, value in found.items())
    words = " or ".join(f"{value:f}" for value in found.values())
    return Question(
        "decimals", ours, f"{ours}: {text!r} may be {words}", answers, "--decimals point or --decimals comma"
    )


def _orders(
    headed: Headed, used: Sequence[Match], habits: Habits, notes: list[str], questions: list[Question]
) -> dict[str, str]:
    orders = {}
    for match in used:
        if KIND_OF[match.ours] != "date":
            continue
        seen = dates.date_order(_texts(headed, match))
        orders[match.ours] = habits.order or seen.way or habits.usual_order
        if seen.way and not habits.order:
            first = seen.way.removesuffix("-first")
            notes.append(f"{match.ours}: the {first} stands first, as {seen.text!r} shows")
        elif seen.matters and not orders[match.ours] and not seen.clash:
            questions.append(_which_order(match.ours, seen.text))
    return orders


def _note_of_times(headed: Headed, used: Sequence[Match]) -> Iterator[str]:
    """What to tell where the cells of a date hold times, and no column is the time."""
    if any(match.ours == "time" for match in used):
        return
    for match in used:
        held = [cell.text for row in headed.rows if dates.time_beside((cell := at(row, match)).text)]
        if match.ours == "date" and held:
            yield f"time: as it stands in the cells of date, like {held[0]!r}"


def _which_order(ours: str, text: str) -> Question:
    found = dates.meanings(text)
    answers = tuple((order, f"{text} is {day:%d %B %Y}") for order, day in found.items())
    words = " or ".join(f"{day:%d %B %Y}" for day in found.values())
    return Question("dates", ours, f"{ours}: {text!r} may be {words}", answers, "--day-first or --month-first")


def take(
    headed: Headed, matching: Matching, settled: Settled, *, sheet: Sheet, place: str, every: bool = False
) -> Taken:
    """The rows below the headings, read; `place` is what problems name as the file. Rows that look like none are left
    out, unless `every` is wanted."""
    taken = Taken()
    used = [match for match in matching.matches if match.ours]
    wrong_money = _other_currency(used, settled, place, headed.number)
    taken.problems += wrong_money
    first = sheet.columns[0]
    for row in headed.rows:
        why = _no_row(row, headed, used)
        if why == _EMPTY or (why and not every):
            taken.left_out.append((row.number, why))
            continue
        cells, problems = _read(row, used, settled, place)
        if problems:
            taken.problems += problems
            taken.unread.ids.add(cells.get(first, ""))
            taken.unread.others |= not cells.get(first)
        else:
            taken.rows.append(TakenRow(row.number, cells))
    return taken


def _other_currency(used: Sequence[Match], settled: Settled, place: str, number: int) -> list[Problem]:
    """A problem for a column of prices whose heading names another currency than the ledger's."""
    found = []
    for match in used:
        if KIND_OF.get(match.ours) in _MONEY:
            sign = currency_in(match.heading.text)
            try:
                amounts.check_currency(sign, settled.ways[match.ours].currency, match.heading.text)
            except BadValue as wrong:
                found.append(Problem(place, number, f"{match.ours}: {wrong}"))
    return found


def _no_row(row: Row, headed: Headed, used: Sequence[Match]) -> str:
    """Why a row is none of the list's; "" for one that is."""
    filled = [(match, cell) for match in used if (cell := at(row, match)).text]
    if not filled:
        return _EMPTY
    if len(filled) > 1 and all(cell.text.strip(" *") in _words_of(match) for match, cell in filled):
        return "the headings again"
    if folded(filled[0][1].text).rstrip(": ") in _SUMS:
        return "a sum"
    asked = len([match for match in used if match.ours != PRICE_PER])
    if asked > 2 and len(filled) == 1 and filled[0][1].kind == "text" and len(headed.rows) > 1:
        return f"only {filled[0][1].text!r}"
    return ""


def _words_of(match: Match) -> tuple[str, ...]:
    text = match.heading.text
    return (text, text.split(" ")[-1])


def _read(row: Row, used: Sequence[Match], settled: Settled, place: str) -> tuple[dict[str, str], list[Problem]]:
    cells: dict[str, str] = {}
    problems = []
    beside = ""
    for match in used:
        cell = at(row, match)
        try:
            if match.ours == PRICE_PER:
                _only_one(cell)
            elif cell.text:
                cells[match.ours] = tidy(match.ours, cell, settled.ways[match.ours])
                if match.ours == "date":
                    beside = dates.time_beside(cell.text)
        except BadValue as wrong:
            problems.append(Problem(place, row.number, f"{match.ours}: {wrong}"))
    if beside:
        cells["time"] = cells.get("time") or beside
    if beside and cells["time"] != beside:
        text = f"date: its cell holds the time {beside}, and that of the time is {cells['time']}: let both say the same"
        problems.append(Problem(place, row.number, text))
    return cells, problems


def _only_one(cell: Cell) -> None:
    """Raise `BadValue` where a price is for more than one."""
    number = cell.text.strip().casefold().removeprefix("per ").split(" ")[0] or "1"
    try:
        many = Decimal(number) != 1
    except InvalidOperation:
        many = number not in ("each", "ea", "pc", "pcs", "piece", "unit", "stk", "c62")
    if many:
        raise BadValue(f"the price is for {cell.text.strip()}: write what one unit costs, and 1 here")

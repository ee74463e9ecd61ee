"""The starter workbook: writing it, and bringing a filled-in one in as the folder whose files its sheets are.

Sheets and headings have our own names, and all is checked as a folder is: everything goes in, or nothing. Called by
`cli.importing`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from vanstock.errors import BadValue, ImportRefused, Problem, VanstockError
from vanstock.exchange import sheets
from vanstock.exchange.csvfile import Record, Sheet, Unread, faultless
from vanstock.exchange.folder import read_from
from vanstock.exchange.headings import Headed, Match, Matching, headings_in
from vanstock.exchange.knowncolumns import plain
from vanstock.exchange.starter import NOTES, starter_workbook
from vanstock.exchange.table import Table
from vanstock.exchange.taking import Habits, Taken, settle, take
from vanstock.exchange.workbook import ENDINGS, read_book
from vanstock.routines import setup
from vanstock.routines.session import Session
from vanstock.routines.settings import setting_text
from vanstock.routines.sheetnames import known_numbers, names_of

_STEMS = {sheet.file.removesuffix(".csv"): sheet for sheet in sheets.ALL}


def write_starter(path: Path) -> None:
    """Write the starter workbook to a new file; raises `VanstockError`, also where there is a file of that name."""
    if path.suffix.lower() != ".xlsx":
        raise BadValue(f"{path} does not end in .xlsx: name a workbook, like vanstock.xlsx")
    content = starter_workbook()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise BadValue(f"{path} is there already, and may be filled in: name another with --file") from None
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        reason = error.strerror if isinstance(error, OSError) else "the name cannot be that of a file"
        raise VanstockError(f"cannot write {path}: {reason}") from error


def import_book(
    session: Session, path: Path, *, order: str = "", progress: Callable[[int], None] = setup.nothing
) -> setup.Imported:
    """Bring in every sheet of a workbook as the file it is named after; raises `ImportRefused` with every problem."""
    if path.suffix.lower() not in ENDINGS:
        raise BadValue(f"{path.name} is one file: say what is in it, like --as parts, or name the folder it lies in")
    tables = read_book(path).sheets
    found = {name.strip().casefold(): table for name, table in tables.items() if table.rows}
    if not found.keys() & _STEMS.keys():
        raise BadValue(f"{path.name} has none of the sheets {', '.join(_STEMS)}: say what is in it, like --as parts")
    problems = [_stranger(name) for name in found if name not in (*_STEMS, NOTES)]
    habits = Habits(
        order=order, usual_order=setting_text(session, "date_order"), currency=setting_text(session, "currency"),
        known=known_numbers(setup.known(session).catalogue.parts.values()),
    )  # fmt: skip
    taken = {stem: _taken(found[stem], sheet, habits) for stem, sheet in _STEMS.items() if stem in found}
    for stem, one in taken.items():
        problems += [*one.problems, *_lost_noughts(session, stem, one)]
    try:
        contents = read_from(_source(taken), setup.known(session), today=session.today, problems=problems)
        return setup.bring_in(session, contents, progress)
    except ImportRefused as refused:
        raise ImportRefused(_by_sheet(refused.problems)) from None


def _stranger(name: str) -> Problem:
    return Problem(name, 1, f"import does not know this sheet: rename it, or move it out (known: {', '.join(_STEMS)})")


def _taken(table: Table, sheet: Sheet, habits: Habits) -> Taken:
    """The rows of one sheet; where its headings are wrong, none, and whatever refers to them is not told as well."""
    stem = sheet.file.removesuffix(".csv")
    headed = Headed(table.rows[0].number, headings_in(table.rows[0]), table.rows[1:])
    ours = {plain(column): column for column in sheet.columns}
    matching = Matching(tuple(Match(heading, ours.get(plain(heading.text), "")) for heading in headed.headings))
    wrong = _wrong_headings(headed, matching, sheet)
    if not wrong:
        settled = settle(headed, matching, habits)
        wrong = [f"{one.text}: {_TO_DO[one.about]}" for one in settled.questions]
        if not wrong:
            return take(headed, matching, settled, sheet=sheet, place=stem, every=True)
    taken = Taken(problems=[Problem(stem, headed.number, text) for text in wrong])
    taken.unread.others = True
    return taken


_TO_DO = {"decimals": "write it as a number, not as text", "dates": "import with --day-first or --month-first"}


def _wrong_headings(headed: Headed, matching: Matching, sheet: Sheet) -> list[str]:
    there = [match.ours for match in matching.matches if match.ours]
    unknown = [match.heading.text for match in matching.matches if not match.ours]
    twice = sorted({name for name in there if there.count(name) > 1})
    missing = [name for name in sheet.required if name not in there]
    return [
        *([f"unknown column {', '.join(unknown)}: the columns are {', '.join(sheet.columns)}"] if unknown else []),
        *([f"column {', '.join(twice)} stands twice: keep one"] if twice else []),
        *([f"column {', '.join(missing)} is missing: add it to row {headed.number}"] if missing else []),
    ]


def _lost_noughts(session: Session, stem: str, taken: Taken) -> list[Problem]:
    names = names_of(setup.known(session), "")
    return [
        Problem(stem, row.number, f"part {number!r} is not known and {other} is: write the number as text")
        for row in taken.rows
        if (number := row.cells.get("part", "")) and (other := names.without_noughts(number))
    ]


def _source(taken: dict[str, Taken]) -> Callable[[Sheet, list[Problem], Unread], Sequence[Record]]:
    def source(sheet: Sheet, problems: list[Problem], unread: Unread) -> Sequence[Record]:
        one = taken.get(sheet.file.removesuffix(".csv"), Taken())
        unread.ids |= one.unread.ids
        unread.others |= one.unread.others
        records = [Record(sheet.file, row.number, dict(row.cells), problems) for row in one.rows]
        return [record for record in records if faultless(record, sheet)]

    return source


def _by_sheet(problems: Sequence[Problem]) -> list[Problem]:
    """Problems as SHEET:ROW, in the order of the sheets."""
    told = []
    for problem in problems:
        text = problem.text
        for stem, sheet in _STEMS.items():
            text = text.replace(sheet.file, f"the sheet {stem}")
        told.append(problem._replace(file=problem.file.removesuffix(".csv"), text=text))
    order = list(_STEMS)
    return sorted(told, key=lambda one: (order.index(one.file) if one.file in order else len(order), one.line))

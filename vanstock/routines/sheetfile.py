"""A spreadsheet of anybody's, brought in as one file of the import folder: looked at first, written when agreed to.

`look` says which column is taken for which, what is not clear, what is wrong, and what would change; it writes nothing.
`write` stores exactly that, or refuses when the ledger has changed since. A column that the spreadsheet does not have,
or a cell left empty, leaves what the ledger has as it is. Called by `cli.importing`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue, ImportRefused, NotFound, Problem
from vanstock.exchange import sheets
from vanstock.exchange.csvfile import Record, Sheet, Unread, faultless
from vanstock.exchange.folder import FolderContents, read_from
from vanstock.exchange.headings import Headed, Matching, find_headings, match_columns
from vanstock.exchange.knowncolumns import plain
from vanstock.exchange.table import CSV_ENDINGS, Table, read_csv_table
from vanstock.exchange.taking import Habits, Question, Settled, Taken, settle, take
from vanstock.exchange.workbook import ENDINGS, read_book
from vanstock.exchange.writing import cells_of
from vanstock.ledger.file import writing
from vanstock.routines import remembered, setup
from vanstock.routines.remembered import Remembered, recall
from vanstock.routines.session import Session
from vanstock.routines.settings import setting_text
from vanstock.routines.sheetchanges import Changes, compare
from vanstock.routines.sheetrows import KEYS, Placed, place_rows

_OWN = ("part", "also", "job", "qty")
"""Columns that are not the same in every row."""
KINDS = tuple(sheet.file.removesuffix(".csv") for sheet in sheets.ALL)


class Wish(NamedTuple):
    """What a person asks for: the file, what is in it, whose it is, and whatever is said of how to read it."""

    path: Path
    kind: str
    supplier: str = ""
    sheet: str = ""
    columns: Mapping[str, str] = MappingProxyType({})
    values: Mapping[str, str] = MappingProxyType({})
    mark: str = ""
    order: str = ""
    header_row: int = 0
    match_again: bool = False
    only_known: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """Everything to show before anything is written: the table and its matching, how it is read, questions, problems,
    rows left out, and what would change; `contents` is what `write` stores."""

    wish: Wish
    table: Table
    headed: Headed
    matching: Matching
    notes: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()
    left_out: tuple[tuple[int, str], ...] = ()
    changes: Changes = field(default_factory=Changes)
    contents: FolderContents = field(default_factory=FolderContents)
    was_remembered: bool = False


def sheet_of(kind: str) -> Sheet:
    """The file of the import folder that is called so; raises `BadValue` naming those there are."""
    if kind not in KINDS:
        raise BadValue(f"--as {kind!r} is none of {', '.join(KINDS)}")
    return sheets.ALL[KINDS.index(kind)]


def supplier_named(session: Session, name: str) -> str:
    """The supplier's code, by code or name; raises `NotFound` naming those there are."""
    found = setup.known(session).catalogue.suppliers
    for one in found.values():
        if name.casefold() in (one.supplier.casefold(), one.name.casefold()):
            return one.supplier
    there = ", ".join(found) or "none yet"
    raise NotFound(f"no supplier {name!r}: there is {there}; bring suppliers in first, with --as suppliers")


def open_table(session: Session, wish: Wish) -> Table:
    """The rows of the file: its only sheet, the one named, or the one that was read the last time."""
    ending = wish.path.suffix.lower()
    if ending in CSV_ENDINGS:
        if wish.sheet:
            raise BadValue(f"--sheet belongs to a workbook: {wish.path.name} has no sheets")
        return read_csv_table(wish.path)
    if ending not in ENDINGS:
        raise BadValue(f"{wish.path.name} ends in neither .xlsx nor .csv: save it as one of these and import that")
    book = read_book(wish.path, wish.sheet)
    filled = {name: table for name, table in book.sheets.items() if table.rows}
    usual = recall(session, wish.kind, wish.supplier).sheet
    for name in (*list(filled)[: len(filled) == 1], usual, *(name for name in filled if name.casefold() == wish.kind)):
        if name in filled:
            return filled[name]
    if not filled:
        raise BadValue(f"{wish.path.name} has nothing in it that can be read: look at the file, and at hidden sheets")
    raise BadValue(f"{wish.path.name} has {len(filled)} sheets: say which with --sheet ({', '.join(filled)})")


def look(session: Session, wish: Wish, table: Table) -> Look:
    """What the table says and would change; nothing is written. Raises `BadValue` where it is no list at all."""
    sheet = sheet_of(wish.kind)
    before = Remembered() if wish.match_again else recall(session, wish.kind, wish.supplier)
    said = {plain(theirs): ours for theirs, ours in wish.columns.items()}
    headed = find_headings(table, sheet, [*said, *before.columns], wish.header_row)
    matching = match_columns(headed, sheet, said, before.columns)
    habits = Habits(
        wish.mark, wish.order, before.mark, setting_text(session, "date_order"), setting_text(session, "currency"),
        _known_numbers(session),
    )  # fmt: skip
    settled = settle(headed, matching, habits)
    questions = (*_column_questions(wish, matching), *settled.questions)
    found = Look(wish, table, headed, matching, settled.notes, questions, was_remembered=bool(before.columns))
    return found if questions else _planned(session, found, settled)


def _known_numbers(session: Session) -> frozenset[str]:
    from vanstock.routines.sheetnames import known_numbers

    return known_numbers(setup.known(session).catalogue.parts.values())


def _column_questions(wish: Wish, matching: Matching) -> list[Question]:
    """What to ask of columns that are needed and not there, and of those that two headings could be."""
    given = set(wish.values)
    if wish.kind == "parts" and wish.supplier and matching.place("supplier_part") is not None:
        given.add("part")  # the supplier's own number says which part it is
    free = [match.heading.text for match in matching.matches if not match.ours]
    asked = []
    for ours in matching.missing:
        if ours not in given:
            how = f'--columns "THEIRS={ours}"' + ("" if ours in _OWN else f", or --set {ours}=VALUE for every row")
            text = f"no column is {ours}, which every row needs"
            asked.append(Question("columns", ours, text, tuple((one, "") for one in free), how))
    for ours, headings in matching.two.items():
        if ours in given:
            continue
        names = tuple((heading.text, "") for heading in headings)
        listed = " and ".join(repr(heading.text) for heading in headings)
        how = f'--columns "{headings[0].text}={ours}", or --columns "{headings[0].text}=" for not used'
        asked.append(Question("columns", ours, f"{listed} may each be {ours}", names, how))
    return asked


def _planned(session: Session, found: Look, settled: Settled) -> Look:
    """The look with its rows read, checked and compared with the ledger."""
    sheet = sheet_of(found.wish.kind)
    taken = take(found.headed, found.matching, settled, sheet=sheet, place=found.table.place)
    placed = place_rows(session, found.wish, sheet, taken, found.table.place)
    left_out = tuple(sorted([*taken.left_out, *placed.left_out]))
    problems = [*taken.problems, *placed.problems]
    try:
        contents = _checked(session, found, placed, taken)
        late: list[Problem] = []
        setup.new_facts(session, contents, late)
        problems += _as_named(late, found)
    except ImportRefused as refused:
        problems += _as_named(refused.problems, found)
        contents = FolderContents()
    fields = {name: getattr(found, name) for name in found.__slots__}
    changes = Changes() if problems else _changes(session, found.wish, contents, placed)
    return Look(**fields | {
        "left_out": left_out, "changes": changes, "contents": contents,
        "problems": tuple(sorted(set(problems), key=lambda one: (one.line, one.text))),
    })  # fmt: skip


def _checked(session: Session, found: Look, placed: Placed, taken: Taken) -> FolderContents:
    wanted = sheet_of(found.wish.kind)

    def source(sheet: Sheet, problems: list[Problem], unread: Unread) -> Sequence[Record]:
        if sheet != wanted:
            return ()
        unread.ids |= taken.unread.ids
        unread.others |= taken.unread.others
        records = [Record(sheet.file, row.number, dict(row.cells), problems) for row in placed.rows]
        return [record for record in records if faultless(record, sheet)]

    return read_from(source, setup.known(session), today=session.today)


def _as_named(problems: Sequence[Problem], found: Look) -> list[Problem]:
    """Problems with the file as the person knows it, and a way to mend them that fits one file."""
    told = []
    for problem in problems:
        text = problem.text
        for kind, sheet in zip(KINDS, sheets.ALL, strict=True):
            text = text.replace(f"add it to {sheet.file}", f"bring it in first with --as {kind}")
        told.append(Problem(found.table.place, problem.line, text))
    return told


def _changes(session: Session, wish: Wish, contents: FolderContents, placed: Placed) -> Changes:
    sheet = sheet_of(wish.kind)
    there = setup.everything(session)
    parts = {part.part: part for part in (*there.parts, *contents.parts)}
    after = _what_is_new(session, wish.kind, contents)
    found = compare(sheet, KEYS[wish.kind], cells_of(sheet, there, parts), cells_of(sheet, after, parts))
    given, new = (len(getattr(rows, wish.kind)) for rows in (contents, after))
    return found._replace(same=found.same + given - new, not_listed=placed.not_listed)


def _what_is_new(session: Session, kind: str, contents: FolderContents) -> FolderContents:
    """The rows without those of what happened that the ledger has, or once had."""
    facts = setup.new_facts(session, contents, [])
    if kind == "jobs":
        return FolderContents(jobs=tuple(facts.bookings))
    if kind == "used":
        return FolderContents(used=(*facts.history, *facts.missed))
    if kind == "stock":
        counted = {(one.part, one.place) for one in facts.counted}
        return FolderContents(stock=tuple(row for row in contents.stock if (row.part, row.place) in counted))
    return contents


@dataclass(frozen=True, slots=True)
class Written:
    """What was stored, the copy of the ledger from before it (None where there was nothing to copy), and the order of
    dates that is kept from now on ("" where none was said, or it was kept before)."""

    imported: setup.Imported
    copy: Path | None
    order: str = ""


def write(session: Session, seen: Look) -> Written:
    """Store what was looked at, and remember how it was read; raises `BadValue` when the ledger changed since.

    An import is not undone, so a checked copy of a ledger that is in use is made before.
    """
    from vanstock.routines import trust

    copy = trust.backup(session).file if seen.changes.any and not session.created else None
    with writing(session.ledger):
        again = look(session, seen.wish, seen.table)
        if again.contents != seen.contents or again.problems:
            raise BadValue("the ledger changed while this was looked at: nothing was imported, look at it again")
        order = _remember(session, seen)
        done = setup.bring_in(session, seen.contents)
    return Written(done, copy, order)


def _remember(session: Session, seen: Look) -> str:
    """Keep how the file was read, inside the caller's transaction; the order of dates where it is another one now."""
    from vanstock.ledger import catalogue

    wish = seen.wish
    before = Remembered() if wish.match_again else recall(session, wish.kind, wish.supplier)
    columns = {
        plain(match.heading.text): match.ours for match in seen.matching.matches if match.ours or match.how == "said"
    }
    kept = Remembered(seen.table.sheet, {**before.columns, **columns}, wish.mark or before.mark)
    remembered.remember(session, wish.kind, wish.supplier, kept)
    if not wish.order or setting_text(session, "date_order") == wish.order:
        return ""
    catalogue.save_setting(session.ledger, "date_order", wish.order)
    return wish.order

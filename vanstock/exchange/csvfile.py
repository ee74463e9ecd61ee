"""One CSV file in or out: RFC 4180, UTF-8, a header row. Knows nothing of what the columns mean.

Reading streams and turns everything wrong into problems with the line where the record starts. Writing goes
to a temporary file beside the target and then replaces it, so nothing is left half-written. A text that a
spreadsheet would run as a formula is written behind an apostrophe, which reading takes off (`defused`).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TypeVar

from vanstock.errors import BadValue, Problem
from vanstock.exchange.inplace import in_place_of

T = TypeVar("T")

LONGEST_TEXT = 200
LONGEST_LIST = 2_000
_LONGEST_SHOWN = 40
_FORMULA_STARTS = "=+-@\t\r\n＝＋－＠"
"""What starts a formula: OWASP, "CSV Injection" (its = + - @ TAB CR, and the forms that some locales take for them)."""
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_EMPTY = "the file is empty: the first row must name the columns"
_NOT_UTF_8 = "this line is not UTF-8 text: save the file as CSV UTF-8 in the spreadsheet program"


def defused(text: str) -> str:
    """The text as it is written: behind an apostrophe where a spreadsheet would run it, or where reading would
    take an apostrophe off. A plain number stays one.

    >>> defused("=1+1"), defused("'=1+1"), defused("'tis"), defused("-5")
    ("'=1+1", "''=1+1", "'tis", '-5')
    """
    runs = text[:1] in _FORMULA_STARTS and not _PLAIN_NUMBER.fullmatch(text)
    return f"'{text}" if text and (runs or _is_defused(text)) else text


def undefused(cell: str) -> str:
    """What `defused` was given: the cell without the apostrophe that it put there.

    >>> undefused("'=1+1"), undefused("''=1+1"), undefused("'tis"), undefused("-5")
    ('=1+1', "'=1+1", "'tis", '-5')
    """
    return cell[1:] if _is_defused(cell) else cell


def _is_defused(text: str) -> bool:
    return len(text) > 1 and text[0] == "'" and (text[1] == "'" or text[1] in _FORMULA_STARTS)


@dataclass(slots=True)
class Unread:
    """What of a file could not be read: the first cell of the rows passed over, and whether rows may be missing
    that nobody can name."""

    ids: set[str] = field(default_factory=set)
    others: bool = False

    def may_hold(self, name: str) -> bool:
        """Whether a row of this name may stand in what could not be read."""
        return self.others or name in self.ids


@dataclass(slots=True)
class Record:
    """One row: where it starts, its cells by column, and where its problems go."""

    file: str
    line: int
    cells: dict[str, str]
    problems: list[Problem]

    def text(self, column: str, default: str = "") -> str:
        """The cell as it is, or the default when it is empty or the column absent."""
        return self.cells.get(column) or default

    def read(self, column: str, parse: Callable[[str], T], default: T) -> T:
        """The cell as `parse` reads it; a `BadValue` becomes a problem and the default is returned."""
        cell = self.cells.get(column)
        if not cell:
            return default
        try:
            return parse(cell)
        except BadValue as bad:
            self.wrong(f"{column}: {bad}")
            return default

    def required(self, column: str) -> str:
        """The cell, which must not be empty."""
        cell = self.cells.get(column, "")
        if not cell:
            self.wrong(f"{column} is empty: every row needs one")
        return cell

    def wrong(self, text: str) -> None:
        """Note a problem with this row."""
        self.problems.append(Problem(self.file, self.line, text))


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file's name, its columns in order, those that must be there, those whose text may hold anything, those that
    hold a list, and those at the end that are only written when some row fills one. The first column is what other
    files call a row by."""

    file: str
    columns: tuple[str, ...]
    required: tuple[str, ...]
    free_text: tuple[str, ...] = ()
    lists: tuple[str, ...] = ()
    rarely: tuple[str, ...] = ()


def read_sheet(path: Path, sheet: Sheet, problems: list[Problem], unread: Unread) -> Iterator[Record]:
    """The rows of one file, cells trimmed; problems with the file or a row's shape are added to the list, and the
    rows passed over for them to `unread`."""
    before = len(problems)
    header: list[str] | None = None
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            for line, row in _rows(lines, sheet, problems, unread):
                if header is None:
                    header = _header(row, line, sheet, problems)
                    if header is None:
                        break
                else:
                    record = _record(row, line, header, sheet, problems)
                    if record:
                        yield record
                    else:
                        _pass_over(row, header, sheet, unread)
    except UnicodeDecodeError:
        problems.append(Problem(sheet.file, _first_bad_line(path), _NOT_UTF_8))
        unread.others = True
    except OSError as error:
        problems.append(Problem(sheet.file, 1, f"the file cannot be read: {error.strerror}"))
        unread.others = True
    if header is None and len(problems) == before:
        problems.append(Problem(sheet.file, 1, f"{_EMPTY} {', '.join(sheet.columns)}"))
    unread.others |= header is None


def _pass_over(row: list[str], header: list[str], sheet: Sheet, unread: Unread) -> None:
    place = header.index(sheet.columns[0])
    name = undefused(row[place].strip()) if place < len(row) else ""
    unread.ids.add(name)
    unread.others |= not name


def _rows(lines: IO[str], sheet: Sheet, problems: list[Problem], unread: Unread) -> Iterator[tuple[int, list[str]]]:
    """Rows with the line each starts on; stops with a problem where the quoting is broken."""
    reader = csv.reader(lines, strict=True)
    while True:
        start = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            problems.append(Problem(sheet.file, start, _quoting(str(error))))
            unread.others = True
            return
        if row and any(cell.strip() for cell in row):
            yield start, row


def _quoting(error: str) -> str:
    if "unexpected end of data" in error or "field larger" in error:
        return 'a quote " is opened here and never closed: close it, or double it inside quoted text'
    if "NUL" in error:
        return "the row holds a NUL character: save the file again as CSV UTF-8"
    return f'the quoting is broken ({error}): put quotes around the whole cell and double each " inside it'


def _header(row: list[str], line: int, sheet: Sheet, problems: list[Problem]) -> list[str] | None:
    names = [cell.strip().lower() for cell in row]
    wrong = []
    if len(names) == 1 and ";" in names[0]:
        text = "the cells are separated by ; and must be by commas: save the file as comma-separated CSV"
        problems.append(Problem(sheet.file, line, text))
        return None
    unknown = [_shown(name) or "(no name)" for name in names if name not in sheet.columns]
    if unknown:
        wrong.append(f"unknown column {', '.join(unknown)}: the columns are {', '.join(sheet.columns)}")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        wrong.append(f"column {', '.join(twice)} stands twice: keep one")
    missing = [name for name in sheet.required if name not in names]
    if missing:
        wrong.append(f"column {', '.join(missing)} is missing: add it to the first row")
    problems.extend(Problem(sheet.file, line, text) for text in wrong)
    return None if wrong else names


def _shown(name: str) -> str:
    short = name if len(name) <= _LONGEST_SHOWN else f"{name[:_LONGEST_SHOWN]}..."
    return short if short.isprintable() else repr(short)


def _record(row: list[str], line: int, header: list[str], sheet: Sheet, problems: list[Problem]) -> Record | None:
    if len(row) != len(header):
        fault = f"{len(row)} cells where the first row has {len(header)}: a comma too few or many, or quotes missing"
        problems.append(Problem(sheet.file, line, fault))
        return None
    cells = [undefused(cell).strip() if cell[:1] == "'" else cell for cell in map(str.strip, row)]
    return faultless(Record(sheet.file, line, dict(zip(header, cells, strict=True)), problems), sheet)


def faultless(record: Record, sheet: Sheet) -> Record | None:
    """The record, or None when a cell holds what cannot be printed or is too long, which is noted."""
    text = "".join(record.cells.values())
    if text.isprintable() and len(text) <= LONGEST_TEXT:
        return record
    faults = [fault for column, cell in record.cells.items() if (fault := _fault(column, cell, sheet))]
    for fault in faults:
        record.wrong(fault)
    return None if faults else record


def _fault(column: str, cell: str, sheet: Sheet) -> str:
    """What is wrong with a cell's characters or length, or nothing."""
    plain = cell.replace("\xa0", " ")
    if column in sheet.free_text:
        plain = plain.replace("\r\n", " ").replace("\n", " ").replace("\t", " ")
    if not plain.isprintable():
        return f"{column} holds a line break or a character that cannot be printed: take it out"
    longest = LONGEST_LIST if column in sheet.lists else LONGEST_TEXT
    return f"{column} is longer than {longest} characters: shorten it" if len(cell) > longest else ""


def _first_bad_line(path: Path) -> int:
    with path.open("rb") as lines:
        for number, line in enumerate(lines, 1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError:
                return number
    return 1


def write_rows(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a whole CSV file in place of the old one, or leave the old one as it was; raises `VanstockError`.

    Every cell is `defused`.
    """
    with in_place_of(path) as aside:
        path.parent.mkdir(parents=True, exist_ok=True)
        with aside.open("w", encoding="utf-8", newline="") as lines:
            writer = csv.writer(lines)
            writer.writerow(header)
            writer.writerows([defused(cell) for cell in row] for row in rows)

"""One CSV file in or out: RFC 4180, UTF-8, a header row. Knows nothing of what the columns mean.

Reading streams and turns everything wrong into problems with the line where the record starts. Writing goes
to a temporary file beside the target and then replaces it, so nothing is left half-written.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeVar

from vanstock.errors import BadValue, Problem, VanstockError

T = TypeVar("T")


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
    """A file's name, its columns in order, those that must be there, and those whose text may hold anything."""

    file: str
    columns: tuple[str, ...]
    required: tuple[str, ...]
    free_text: tuple[str, ...] = ()


def read_sheet(path: Path, sheet: Sheet, problems: list[Problem]) -> Iterator[Record]:
    """The rows of one file, cells trimmed; problems with the file or a row's shape are added to the list."""
    header: list[str] | None = None
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            for line, row in _rows(lines, sheet, problems):
                if header is None:
                    header = _header(row, line, sheet, problems)
                    if header is None:
                        return
                else:
                    record = _record(row, line, header, sheet, problems)
                    if record:
                        yield record
    except UnicodeDecodeError:
        text = "this line is not UTF-8 text: save the file as CSV UTF-8 in the spreadsheet program"
        problems.append(Problem(sheet.file, _first_bad_line(path), text))
        return
    except OSError as error:
        problems.append(Problem(sheet.file, 1, f"the file cannot be read: {error.strerror}"))
        return
    if header is None:
        text = f"the file is empty: the first row must name the columns {', '.join(sheet.columns)}"
        problems.append(Problem(sheet.file, 1, text))


def _rows(lines: IO[str], sheet: Sheet, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
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
    unknown = [name or "(no name)" for name in names if name not in sheet.columns]
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


def _record(row: list[str], line: int, header: list[str], sheet: Sheet, problems: list[Problem]) -> Record | None:
    if len(row) != len(header):
        fault = f"{len(row)} cells where the first row has {len(header)}: a comma too few or many, or quotes missing"
        problems.append(Problem(sheet.file, line, fault))
        return None
    record = Record(sheet.file, line, dict(zip(header, map(str.strip, row), strict=True)), problems)
    if not "".join(row).isprintable():
        for column, cell in record.cells.items():
            plain = cell.replace("\xa0", " ")
            if column in sheet.free_text:
                plain = plain.replace("\r\n", " ").replace("\n", " ").replace("\t", " ")
            if not plain.isprintable():
                record.wrong(f"{column} holds a line break or a character that cannot be printed: take it out")
                return None
    return record


def _first_bad_line(path: Path) -> int:
    with path.open("rb") as lines:
        for number, line in enumerate(lines, 1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError:
                return number
    return 1


def write_rows(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a whole CSV file in place of the old one, or leave the old one as it was; raises `VanstockError`."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with aside.open("w", encoding="utf-8", newline="") as lines:
            writer = csv.writer(lines)
            writer.writerow(header)
            writer.writerows(rows)
        aside.replace(path)
    except OSError as error:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        raise VanstockError(f"cannot write {path}: {error.strerror}") from error

"""The import folder: reading it whole with every problem found, and writing the same files back.

Knows no ledger: the routine says what is known already and stores what is returned.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from vanstock.errors import BadValue, ImportRefused, Problem
from vanstock.exchange import checks, rows, sheets
from vanstock.exchange.checks import Known, Lined, Names
from vanstock.exchange.csvfile import Record, Sheet, Unread, read_sheet
from vanstock.model import Family, Fits, GoesWith, Job, OpeningStock, Part, Place, Supplier, Used, Usual

__all__ = ["FolderContents", "Known", "must_be_there", "read_folder", "read_from"]

T = TypeVar("T")
_TELL_EVERY = 5_000
Source = Callable[[Sheet, list[Problem], Unread], Iterable[Record]]
"""Gives the rows of one file, notes their problems, and the rows that could not be read."""


@dataclass(frozen=True, slots=True)
class FolderContents:
    """A folder's rows in the order they stand, and the line of each by (file, key) for later problems.

    Keys are the job in jobs.csv, (job, part) in used.csv and (part, place) in stock.csv.
    """

    places: tuple[Place, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    families: tuple[Family, ...] = ()
    parts: tuple[Part, ...] = ()
    fits: tuple[Fits, ...] = ()
    goes_with: tuple[GoesWith, ...] = ()
    usual: tuple[Usual, ...] = ()
    jobs: tuple[Job, ...] = ()
    used: tuple[Used, ...] = ()
    stock: tuple[OpeningStock, ...] = ()
    lines: Mapping[tuple[str, ...], int] = field(default_factory=dict)


@dataclass(slots=True)
class _Reader:
    """Where rows come from, where their problems go, what could not be read by the name of its file, and who is told
    how far it has come."""

    source: Source
    problems: list[Problem]
    progress: Callable[[int], None]
    unread: dict[str, Unread] = field(default_factory=dict)

    def rows(self, sheet: Sheet, make: Callable[[Record], T | None]) -> Lined[T]:
        """The values of one file with their lines; none when the file is absent."""
        found: Lined[T] = []
        unread = self.unread.setdefault(sheet.file.removesuffix(".csv"), Unread())
        for record in self._records(sheet, unread):
            value = make(record)
            if value is None:
                unread.ids.add(record.text(sheet.columns[0]))
            else:
                found.append((record.line, value))
        return found

    def _records(self, sheet: Sheet, unread: Unread) -> Iterator[Record]:
        for count, record in enumerate(self.source(sheet, self.problems, unread), 1):
            yield record
            if count % _TELL_EVERY == 0:
                self.progress(_TELL_EVERY)


KEYS: dict[str, Callable[[Any], tuple[str, ...]]] = {
    "places": lambda row: (row.place,),
    "suppliers": lambda row: (row.supplier,),
    "families": lambda row: (row.family,),
    "parts": lambda row: (row.part,),
    "fits": lambda row: (row.family, row.part),
    "goes_with": lambda row: (row.part, row.also),
    "usual": lambda row: (row.job_type, row.family, row.component),
    "jobs": lambda row: (row.job,),
    "used": lambda row: (row.job, row.part),
    "stock": lambda row: (row.part, row.place),
}
"""What makes a row of each file the only one of its kind; the files in the order they are checked."""


def read_folder(
    folder: Path, known: Known, *, today: date, progress: Callable[[int], None] = lambda _: None
) -> FolderContents:
    """Everything in a folder, checked against itself and what is known.

    Raises `ImportRefused` with every problem of every file, `BadValue` when there is nothing to read.
    """

    def source(sheet: Sheet, problems: list[Problem], unread: Unread) -> Iterable[Record]:
        path = folder / sheet.file
        return read_sheet(path, sheet, problems, unread) if path.exists() else ()

    return read_from(source, known, today=today, progress=progress, problems=_strangers(folder))


def read_from(
    source: Source,
    known: Known,
    *,
    today: date,
    progress: Callable[[int], None] = lambda _: None,
    problems: Iterable[Problem] = (),
) -> FolderContents:
    """Everything that a source gives, checked against itself and what is known; `problems` are those found before.

    Problems name the files of the folder, wherever the rows came from. Raises `ImportRefused` with all of them.
    """
    told = list(problems)
    reader = _Reader(source, told, progress)
    found = _read_all(reader, known, today)
    told += _check_all(found, known, _names(known, found, reader.unread))
    if told:
        raise ImportRefused(sorted(told, key=_place_in_folder))
    lines = {(f"{name}.csv", *KEYS[name](row)): line for name in ("jobs", "used", "stock") for line, row in found[name]}
    return FolderContents(**{name: tuple(row for _, row in each) for name, each in found.items()}, lines=lines)


def must_be_there(source: Path) -> None:
    """Raise `BadValue` where there is neither folder nor file of that name, or none that may be looked at."""
    try:
        source.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise BadValue(
            f"there is no {source}: name the folder that holds parts.csv and the other files, or a workbook"
        ) from None
    except OSError as error:
        raise BadValue(f"{source} cannot be looked at: {error.strerror}") from error


def _strangers(folder: Path) -> list[Problem]:
    """A problem for each CSV file that import does not know; raises `BadValue` when it knows none."""
    must_be_there(folder)
    if not folder.is_dir():
        raise BadValue(f"{folder} is not a folder: name the folder that holds parts.csv and the other files")
    names = {sheet.file for sheet in sheets.ALL}
    try:
        there = sorted(path.name for path in folder.iterdir() if path.suffix.lower() == ".csv")
    except OSError as error:
        raise BadValue(f"{folder} cannot be looked into: {error.strerror}") from error
    if not names & set(there):
        raise BadValue(f"{folder} holds none of {', '.join(sheet.file for sheet in sheets.ALL)}")
    text = f"import does not know this file: rename it, or move it out (known: {', '.join(s.file for s in sheets.ALL)})"
    return [Problem(name, 1, text) for name in there if name not in names and not name.startswith(".")]


def _place_in_folder(problem: Problem) -> tuple[int, str, int]:
    order = [sheet.file for sheet in sheets.ALL]
    return (order.index(problem.file) if problem.file in order else len(order), problem.file, problem.line)


def _read_all(reader: _Reader, known: Known, today: date) -> dict[str, Lined[Any]]:
    """The rows of every file by its name; quantities need the parts' units, so parts come first."""
    found: dict[str, Lined[Any]] = {
        "places": reader.rows(sheets.PLACES, rows.place),
        "suppliers": reader.rows(sheets.SUPPLIERS, rows.supplier),
        "families": reader.rows(sheets.FAMILIES, rows.family),
        "parts": reader.rows(sheets.PARTS, rows.part),
        "fits": reader.rows(sheets.FITS, rows.fits),
    }
    parts = {**known.catalogue.parts, **{row.part: row for _, row in found["parts"]}}
    units = {part.component: part.unit for part in reversed(list(parts.values()))}
    found["goes_with"] = reader.rows(sheets.GOES_WITH, lambda record: rows.goes_with(record, parts))
    found["usual"] = reader.rows(sheets.USUAL, lambda record: rows.usual(record, units))
    found["jobs"] = reader.rows(sheets.JOBS, lambda record: rows.job(record, today))
    found["used"] = reader.rows(sheets.USED, lambda record: rows.used(record, parts))
    found["stock"] = reader.rows(sheets.STOCK, lambda record: rows.stock(record, parts))
    return found


def _names(known: Known, found: Mapping[str, Lined[Any]], unread: Mapping[str, Unread]) -> Names:
    return Names(
        suppliers={**known.catalogue.suppliers, **{row.supplier: row for _, row in found["suppliers"]}},
        families={**known.catalogue.families, **{row.family: row for _, row in found["families"]}},
        parts={**known.catalogue.parts, **{row.part: row for _, row in found["parts"]}},
        jobs={**known.jobs, **{row.job: row for _, row in found["jobs"]}},
        places={**known.places, **{row.place: row.kind for _, row in found["places"]}},
        unread=unread,
    )


def _check_all(found: Mapping[str, Lined[Any]], known: Known, names: Names) -> Iterator[Problem]:
    for name, key in KEYS.items():
        yield from checks.duplicates(f"{name}.csv", found[name], key)
    yield from _spelling(found, known)
    yield from checks.places(found["places"], known.places)
    yield from checks.same_units(found["parts"], known.catalogue.parts)
    yield from checks.gtins(found["parts"], known.catalogue.parts)
    yield from checks.components_kept(found["parts"], known.catalogue, names)
    yield from checks.parts(found["parts"], names)
    here = {(row.family, row.part): row for _, row in found["fits"]}
    before = {(row.family, row.part): row for row in known.catalogue.fits}
    yield from checks.splits(found["parts"], names, {**before, **here}.values())
    yield from checks.fits(found["fits"], names)
    yield from checks.goes_with(found["goes_with"], names, known.catalogue.goes_with)
    yield from checks.usual(found["usual"], names)
    yield from checks.jobs(found["jobs"], names)
    yield from checks.used(found["used"], names)
    yield from checks.stock(found["stock"], names)


def _spelling(found: Mapping[str, Lined[Any]], known: Known) -> Iterator[Problem]:
    there = known.catalogue
    for name, ids in (
        ("suppliers", there.suppliers),
        ("families", there.families),
        ("parts", there.parts),
        ("jobs", known.jobs),
    ):
        yield from checks.spelled_one_way(f"{name}.csv", [(line, row[0]) for line, row in found[name]], ids)

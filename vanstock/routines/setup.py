"""Setting up: a folder of CSV files into the ledger, and the ledger back out as the same files.

An import adds what is new and changes what master data changed. What already happened is never repeated
or rewritten: a row that the ledger has (or once had) is left alone, one that contradicts it is a problem.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from vanstock.errors import ImportRefused, Problem
from vanstock.exchange.folder import FolderContents, Known, read_folder
from vanstock.exchange.writing import write_folder
from vanstock.ledger import calendarrows, catalogue, reading
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.claims import claims
from vanstock.ledger.entries import CUSTOMER, Counted
from vanstock.ledger.file import writing
from vanstock.ledger.forgetting import forgotten_jobs
from vanstock.ledger.orders import orders
from vanstock.ledger.valuing import Line
from vanstock.model import Family, Fits, GoesWith, Job, OpeningStock, Part, Supplier, Used, Usual
from vanstock.quantity import format_qty
from vanstock.routines.expiry import aged
from vanstock.routines.session import Session, refuse_clock_set_back
from vanstock.routines.settings import with_vat

_DEFAULT_PLACES = {"van": "van", "store": "store"}


def nothing(_: int) -> None:
    """A progress that is not shown."""


@dataclass(frozen=True, slots=True)
class Imported:
    """How many rows were new or changed, by what they are; all zero when the ledger had them all."""

    changed: dict[str, int] = field(default_factory=dict)

    @property
    def total(self) -> int:
        """Everything that was new or changed."""
        return sum(self.changed.values())


def import_folder(session: Session, folder: Path, progress: Callable[[int], None] = nothing) -> Imported:
    """Bring a folder of CSV files in, all of it or none; raises `ImportRefused` with every problem."""
    return bring_in(session, read_folder(folder, known(session), today=session.today, progress=progress), progress)


def known(session: Session) -> Known:
    """What the ledger has that an import may refer to."""
    return Known(
        catalogue=catalogue.read_catalogue(session.ledger),
        jobs={job.job: job for job in reading.jobs(session.ledger)},
        places={place.place: place.kind for place in catalogue.places(session.ledger)},
    )


def bring_in(session: Session, contents: FolderContents, progress: Callable[[int], None] = nothing) -> Imported:
    """Write what an import read into the ledger; raises `ImportRefused` where it contradicts what happened."""
    with writing(session.ledger):
        refuse_clock_set_back(session)
        problems: list[Problem] = []
        facts = new_facts(session, contents, problems)
        if problems:
            raise ImportRefused(problems)
        return _write(session, contents, facts, progress)


def _write(
    session: Session, contents: FolderContents, facts: ImportedFacts, progress: Callable[[int], None]
) -> Imported:
    changed = {"places": sum(catalogue.add_place(session.ledger, place) for place in contents.places)}
    save = catalogue.save_rows
    changed |= {
        "suppliers": save(session.ledger, Supplier, contents.suppliers),
        "families": save(session.ledger, Family, contents.families),
        "parts": save(session.ledger, Part, contents.parts),
        "fits": save(session.ledger, Fits, contents.fits),
        "goes-with": save(session.ledger, GoesWith, contents.goes_with),
        "usual": save(session.ledger, Usual, contents.usual),
    }
    if facts:
        post_import(session.ledger, facts, at=session.now, progress=progress)
    used = len(facts.history) + len({(line.job, line.part) for line in facts.fitted})
    changed |= {"jobs": len(facts.bookings), "used": used, "stock": len(facts.counted)}
    return Imported(changed)


def new_facts(session: Session, contents: FolderContents, problems: list[Problem]) -> ImportedFacts:
    """What of a folder the ledger does not have yet; problems found on the way are added to the list."""
    there = {job.job: job for job in reading.jobs(session.ledger)}
    bookings = _changed_jobs(session, contents, there)
    problems += _reopened(contents, bookings, there)
    jobs = there | {job.job: job for job in bookings}
    new_used = _new_used(session, contents, problems)
    opened = reading.opened_at(session.ledger)
    before = [row for row in new_used if _is_history(jobs[row.job], opened)]
    after = [row for row in new_used if not _is_history(jobs[row.job], opened)]
    fitted = [Line(r.part, r.fitted, jobs[r.job].van, CUSTOMER, job=r.job) for r in after if r.fitted]
    return ImportedFacts(bookings, before, fitted, after, _new_counts(session, contents, problems))


def _changed_jobs(session: Session, contents: FolderContents, there: dict[str, Job]) -> list[Job]:
    """The jobs that are new, or of which the folder changed something since it was last imported.

    A field that the folder has not changed stays as the ledger has it: a job that was moved by hand is not
    moved back by an old file, and one that a new file moves is moved.
    """
    brought = reading.brought(session.ledger)
    forgotten = forgotten_jobs(session.ledger)
    changed = []
    for row in contents.jobs:
        job = row._replace(reference="") if row.job in forgotten else row
        now = there.get(job.job)
        before = brought.get(job.job, now)
        if now is None or before is None:
            changed.append(job)
            continue
        wanted = _merged(job, before, now)
        if wanted != now:
            changed.append(wanted)
    return changed


def _merged(row: Job, before: Job, now: Job) -> Job:
    """`now` with each field in which `row` differs from `before`; a pin or reading that the row lacks stays."""
    fields: list[Any] = [new if new != old else present for new, old, present in zip(row, before, now, strict=True)]
    found = Job(*fields)
    return found._replace(
        chosen=found.chosen if row.chosen else now.chosen, readings=found.readings if row.readings else now.readings
    )


def _reopened(contents: FolderContents, bookings: list[Job], there: dict[str, Job]) -> list[Problem]:
    """Jobs that are finished or cancelled in the ledger and that a changed row would book again."""
    return [
        Problem(
            "jobs.csv",
            contents.lines.get(("jobs.csv", job.job), 1),
            f"job {job.job} is {there[job.job].status} in the ledger and this row would book it again: take the row "
            f"out, or write {there[job.job].status} as its status",
        )
        for job in bookings
        if job.status == "booked" and job.job in there and there[job.job].status != "booked"
    ]


def _is_history(job: Job, opened: str | None) -> bool:
    """Whether a job's use came before the first stock count, so that today's stock never held it."""
    if opened is None:
        return True
    if job.status != "done":
        return False
    at = datetime.fromisoformat(opened).replace(tzinfo=None)
    return datetime.fromisoformat(f"{job.date}T{job.time}") <= at if job.time else job.date < at.date()


def _new_used(session: Session, contents: FolderContents, problems: list[Problem]) -> list[Used]:
    there = {(row.job, row.part): row for row in reading.used(session.ledger)} if contents.used else {}
    brought = {(row.job, row.part): row for row in reading.used_brought(session.ledger)} if contents.used else {}
    new = []
    for row in contents.used:
        key = (row.job, row.part)
        old = there.get(key)
        if old is None and key not in brought:
            new.append(row)
        elif row not in (old, brought.get(key)):
            old = old or brought[key]
            problems.append(_contradiction(contents, row, old, session))
    return new


def _contradiction(contents: FolderContents, row: Used, old: Used, session: Session) -> Problem:
    part = catalogue.part_by_number(session.ledger, row.part)
    unit = part.unit if part else "C62"
    text = (
        f"job {row.job} already has {format_qty(old.fitted, unit)} fitted and {format_qty(old.missed, unit)} missed of "
        f"{row.part} in the ledger: take the line out, or correct the ledger with `vanstock fit` or `vanstock undo`"
    )
    return Problem("used.csv", contents.lines.get(("used.csv", row.job, row.part), 1), text)


def _new_counts(session: Session, contents: FolderContents, problems: list[Problem]) -> list[Counted]:
    opening = reading.opening_counts(session.ledger)
    held = {(row.part, row.place): row.qty for row in reading.balances(session.ledger)}
    new = []
    for row in contents.stock:
        key = (row.part, row.place)
        if key not in held and key not in opening:
            new.append(Counted(row.part, row.place, row.qty, with_vat(session, row.value)))
        elif row.qty not in (held.get(key), opening.get(key)):
            problems.append(_counted_already(session, contents, row, held.get(key, 0)))
    return new


def _counted_already(session: Session, contents: FolderContents, row: OpeningStock, held: int) -> Problem:
    part = catalogue.part_by_number(session.ledger, row.part)
    has = format_qty(held, part.unit if part else "C62")
    text = (
        f"the ledger already follows {row.part} in {row.place} and has {has} there: take the line out, or correct the "
        f"ledger with `vanstock count {row.part} QTY --place {row.place}`"
    )
    return Problem("stock.csv", contents.lines.get(("stock.csv", row.part, row.place), 1), text)


def export_folder(session: Session, folder: Path) -> dict[str, int]:
    """Write the ledger out as the import folder; how many rows of each file, "below zero" rows, and what the folder
    has no place for: "claims" that are open, "orders" that something is still to come of, parts with "use-by
    dates", "events" of calendars, "words" for them."""
    contents = everything(session)
    write_folder(folder, contents, {part.part: part for part in contents.parts})
    counts = {name: len(getattr(contents, name)) for name in ("parts", "jobs", "used", "stock")}
    return counts | {
        "below zero": sum(row.qty < 0 for row in contents.stock),
        "claims": sum(not claim.closed for claim in claims(session.ledger)),
        "orders": len(orders(session.ledger, only_open=True)),
        "events": len(calendarrows.events(session.ledger)),
        "words": len(catalogue.words(session.ledger)),
        "use-by dates": sum(any(lot.use_by for lot in one.remains.lots) for one in aged(session).values()),
    }


def everything(session: Session) -> FolderContents:
    """The ledger as the rows of the import folder."""
    known = catalogue.read_catalogue(session.ledger)
    return FolderContents(
        places=tuple(p for p in catalogue.places(session.ledger) if _DEFAULT_PLACES.get(p.place) != p.kind),
        suppliers=tuple(known.suppliers.values()),
        families=tuple(known.families.values()),
        parts=tuple(known.parts.values()),
        fits=known.fits,
        goes_with=known.goes_with,
        usual=known.usual,
        jobs=tuple(reading.jobs(session.ledger)),
        used=tuple(reading.used(session.ledger)),
        stock=tuple(reading.stock_lines(session.ledger)),
    )

"""On the job: a part fitted, a part missed, the job finished, the last act undone.

What happened is recorded even when the ledger disagrees: the balance goes below zero, the part is marked
for a count, and the person is told. Only nonsense is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import CUSTOMER, Draft, Missed, entry_by_id, last_undoable, reverse, sent_before
from vanstock.ledger.valuing import Line
from vanstock.model import Entry, Job, Part, PastEntry
from vanstock.quantity import parse_qty, show_qty, unit
from vanstock.routines.expiry import late_when
from vanstock.routines.naming import find_job, find_part
from vanstock.routines.oldunits import OldUnit, came_off, taken_off
from vanstock.routines.session import Session, once, one_act

_LOOKED_THROUGH = 200


class Taken(NamedTuple):
    """A part and how much of it, in base units, with what the van holds after it."""

    part: Part
    qty: int
    left: int = 0


class Logged(NamedTuple):
    """What was recorded: the entry, the job, the parts, anything the person should be told, and the old units that go
    back."""

    entry: Entry
    job: Job
    taken: tuple[Taken, ...]
    goes_with: tuple[Taken, ...]
    warnings: tuple[str, ...]
    old_units: tuple[OldUnit, ...] = ()


def read_qty(text: str, part: Part) -> int:
    """A quantity above zero as typed for a part; empty is one unit. Raises `BadValue`."""
    if not text.strip():
        return unit(part.unit).scale
    qty = parse_qty(text, part.unit, pack_size=part.pack_size)
    if qty <= 0:
        raise BadValue(f"quantity {text!r} must be above zero: `vanstock undo` takes an entry back")
    return qty


def not_logged(session: Session, job: Job, part: Part, qty: int) -> tuple[Taken, ...]:
    """What goes on new with so much of a part and has not been logged on the job for it yet."""
    already = {row.part: row.fitted for row in reading.used_on_job(session.ledger, job.job)}
    fitted = already.get(part.part, 0) + qty
    missing = []
    for rider in catalogue.goes_with(session.ledger, part.part):
        needed = -(-fitted * rider.qty // unit(part.unit).scale) - already.get(rider.also, 0)
        also = catalogue.part_by_number(session.ledger, rider.also)
        if needed > 0 and also:
            missing.append(Taken(also, needed))
    return tuple(missing)


def riders_of(session: Session, job_name: str, part_text: str, qty_text: str, place: str) -> tuple[Taken, ...]:
    """What `fit` would find goes on new with the part and is not logged yet; nothing is recorded."""
    job = find_job(session, job_name)
    source = catalogue.place_named(session.ledger, place or job.van).place
    part = find_part(session, part_text, family=job.family, place=source)
    return not_logged(session, job, part, read_qty(qty_text, part))


@one_act
def fit(
    session: Session, job_name: str, part_text: str, qty_text: str = "", *, with_riders: bool = False,
    place: str = "", entry_id: str = "",
) -> Logged:  # fmt: skip
    """Record a part fitted on a job, from the job's van (or `place`), with what goes with it if asked.

    `goes_with` of the answer is what goes on new with it and was not logged. Raises `NotFound`,
    `Ambiguous` or `BadValue`; being out of stock by the ledger is no error.
    """

    def plan() -> Draft:
        job = find_job(session, job_name)
        source = catalogue.place_named(session.ledger, place or job.van).place
        part = find_part(session, part_text, family=job.family, place=source)
        main = Taken(part, read_qty(qty_text, part))
        taken = (main, *not_logged(session, job, part, main.qty)) if with_riders else (main,)
        lines = tuple(Line(t.part.part, t.qty, source, CUSTOMER, job=job.job) for t in taken)
        return Draft(session.now, "fitted", lines, orders=taken_off(session, job.job, [t[:2] for t in taken]))

    asked = (job_name, part_text, qty_text, with_riders, place)
    entry = once(session, Draft(session.now, "fitted", id=entry_id, asked=asked), plan)
    logged = _fitted(session, entry)
    missing = [rider for t in logged.taken for rider in not_logged(session, logged.job, t.part, 0)]
    return logged._replace(goes_with=tuple(missing))


def _fitted(session: Session, entry: Entry) -> Logged:
    """The answer to an act that fitted parts, read back from its entry."""
    past = reading.lines_of(session.ledger, entry)
    lines = [line for line in past.movements if line.qty and line.to_place == CUSTOMER]
    name = lines[0].job if lines else past.bookings[0].job
    job = find_job(session, name)
    taken = tuple(
        Taken(find_part(session, m.part), m.qty, reading.left_after(session.ledger, m.part, m.from_place, entry))
        for m in lines
    )
    warnings = [_below_zero(t, line.from_place) for t, line in zip(taken, lines, strict=True) if t.left < 0]
    if job.status == "cancelled":
        warnings.append(f"job {job.job} is cancelled: recorded all the same")
    if job.status == "done" and job.date < session.today and not past.bookings:
        warnings.append(f"job {job.job} of {job.date} was finished before: recorded all the same")
    warnings += [_late(t.part, day) for t in taken if (day := late_when(session, t.part, entry))]
    fitting = catalogue.parts_of_family(session.ledger, job.family)
    warnings += [_does_not_fit(t.part, job) for t in taken if fitting and t.part.part not in fitting]
    off = came_off(session, entry, [t.part for t in taken])
    return Logged(entry, job, taken, (), tuple(warnings), off)


def _below_zero(taken: Taken, place: str) -> str:
    name = taken.part.part
    return (
        f"by the ledger there was not enough {name} in {place} (now {show_qty(taken.left, taken.part.unit)}): "
        f"recorded, and {name} is marked for a count"
    )


def _late(part: Part, day: date) -> str:
    return (
        f"by the ledger there is {part.part} that was to be used by {day}: look at the date on what you used, "
        f"and take what has expired out (vanstock write-off {part.part} --expired)"
    )


def _does_not_fit(part: Part, job: Job) -> str:
    return f"{part.part} is not listed as fitting {job.family}: recorded; add a line to fits.csv if it does"


@one_act
def miss(session: Session, job_name: str, part_text: str, qty_text: str = "", *, entry_id: str = "") -> Logged:
    """Record a part that a job needed and that was not aboard, so that the forecast learns of it."""

    def plan() -> Draft:
        job = find_job(session, job_name)
        part = find_part(session, part_text, family=job.family)
        return Draft(session.now, "missed", missed=(Missed(job.job, part.part, read_qty(qty_text, part)),))

    asked = (job_name, part_text, qty_text)
    entry = once(session, Draft(session.now, "missed", id=entry_id, asked=asked), plan)
    name, number, qty = reading.lines_of(session.ledger, entry).missed[0]
    job, part = find_job(session, name), find_part(session, number)
    taken = Taken(part, qty, reading.left_after(session.ledger, number, job.van, entry))
    warnings = []
    if taken.left >= qty:
        warnings.append(
            f"the ledger says {show_qty(taken.left, part.unit)} of it is in {job.van}: count it when you can"
        )
    fitting = catalogue.parts_of_family(session.ledger, job.family)
    if fitting and part.part not in fitting:
        warnings.append(_does_not_fit(part, job))
    return Logged(entry, job, (taken,), (), tuple(warnings))


@one_act
def finish(session: Session, job_name: str, used: Sequence[str] = (), *, entry_id: str = "") -> Logged:
    """Mark a job done, with parts given as PART=QTY fitted in the same entry; raises `BadValue` if done."""

    def plan() -> Draft:
        job = find_job(session, job_name)
        if job.status == "done":
            raise BadValue(f"job {job.job} is finished already: `vanstock fit {job.job} PART` still adds a part")
        taken = [_read_used(session, job, text) for text in used]
        lines = tuple(Line(t.part.part, t.qty, job.van, CUSTOMER, job=job.job) for t in taken)
        done = (job._replace(status="done"),)
        off = taken_off(session, job.job, [t[:2] for t in taken])
        return Draft(session.now, "finished", lines, bookings=done, orders=off)

    asked = (job_name, tuple(used))
    entry = once(session, Draft(session.now, "finished", id=entry_id, asked=asked), plan)
    logged = _fitted(session, entry)
    return logged._replace(goes_with=tuple(_riders_still_missing(session, logged.job)))


def _read_used(session: Session, job: Job, text: str) -> Taken:
    name, equals, qty = text.rpartition("=")
    if not equals or not qty.strip():
        raise BadValue(f"--used {text!r} has no quantity: write PART=QTY, like --used GASKET-1=2")
    part = find_part(session, name, family=job.family, place=job.van)
    return Taken(part, read_qty(qty, part))


def _riders_still_missing(session: Session, job: Job) -> list[Taken]:
    missing: list[Taken] = []
    for row in reading.used_on_job(session.ledger, job.job):
        part = catalogue.part_by_number(session.ledger, row.part)
        if part and row.fitted > 0:
            missing += not_logged(session, job, part, 0)
    return missing


@one_act
def undo(session: Session, entry_id: str = "", *, undoing_id: str = "") -> tuple[Entry, Entry]:
    """Take back the last entry, or the one with this id; returns the undone entry and the undoing one.

    `undoing_id` is the undoing's own id, made by whoever acts.
    """
    head = Draft(session.now, "undo", id=undoing_id, asked=(entry_id,), device=session.device)
    undoing = sent_before(session.ledger, head)
    if undoing is None:
        undoing = reverse(session.ledger, entry_id or last_undoable(session.ledger), head)
    return entry_by_id(session.ledger, undoing.reverses), undoing


@one_act
def take_back(session: Session, job_name: str, part_text: str, *, undoing_id: str = "") -> tuple[Entry, Entry]:
    """Undo the last act that logged a part on a job, fitted or missed; returns the undone entry and the undoing one.

    Which act that is, is found when it is recorded, so that what was logged meanwhile counts. Raises `NotFound` when
    none stands.
    """
    asked = ("last on the job", job_name, part_text)
    head = Draft(session.now, "undo", id=undoing_id, asked=asked, device=session.device)
    undoing = sent_before(session.ledger, head)
    if undoing is None:
        job, part = find_job(session, job_name), find_part(session, part_text)
        acts = standing(session, job).get(part.part)
        if not acts:
            raise NotFound(f"nothing of {part.part} is logged on {job.job} that could be taken back by itself")
        undoing = reverse(session.ledger, acts[0].entry.id, head)
    return entry_by_id(session.ledger, undoing.reverses), undoing


def standing(session: Session, job: Job) -> dict[str, list[PastEntry]]:
    """By part, the entries that fitted or missed it on a job and stand, newest first."""
    found: dict[str, list[PastEntry]] = {}
    for past in reading.entries_about(session.ledger, job=job.job, limit=_LOOKED_THROUGH):
        if past.entry.kind in ("fitted", "missed") and not past.undone_by:
            for name in {line.part for line in past.movements if line.qty} | {name for _, name, _ in past.missed}:
                found.setdefault(name, []).append(past)
    return found

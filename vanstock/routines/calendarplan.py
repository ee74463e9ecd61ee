"""What a calendar file changes: each event beside the job that it is, as a plan of acts. Nothing is read or written.

Three sayings are held against each other: what the event said when it was last read, what it says now, and how the job
stands. Only what the event itself changed is changed on the job, so that what a person changed by hand stays. A job
that is finished or begun is never changed. What is not certain is told for a person to settle. Called by `calendarin`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, tzinfo
from typing import NamedTuple

from vanstock.exchange.calendarfile import CalendarFile, Event, settled
from vanstock.ledger.orderrows import CalendarEvent
from vanstock.model import Job
from vanstock.routines.eventwords import Said
from vanstock.workdays import can_be_kept

Key = tuple[str, str]
_LONGEST_NAME = 64
_TITLE = 44


class Act(NamedTuple):
    """Something done: a job booked, moved, changed, cancelled, booked again, or found to be one booked already."""

    what: str
    job: Job
    before: Job | None = None


class Look(NamedTuple):
    """Something that a person must settle, and the command that may do it."""

    text: str
    command: str = ""


class Known(NamedTuple):
    """The ledger as the plan needs it: its jobs, the events that are jobs, jobs begun and jobs whose customer was
    forgotten, the vans, what this ledger is called in a UID, every job's revision, and the free job ids."""

    jobs: Mapping[str, Job]
    events: Mapping[Key, CalendarEvent]
    begun: frozenset[str]
    forgotten: frozenset[str]
    vans: tuple[str, ...]
    ledger: str
    revisions: Mapping[str, int]
    ids: Iterator[str]


class Rules(NamedTuple):
    """How to plan: from which day on jobs are booked, on which van when the event names none, and the local zone."""

    book_from: date
    van: str
    zone: tzinfo | None


def own_uid(job: str, ledger: str) -> str:
    """The UID of a job that came from no calendar."""
    return f"{job}@vanstock-{ledger}"


class Plan:
    """What is to be done, filled by `add`, one event after another, and then `look_for_gone`."""

    def __init__(self, found: CalendarFile, known: Known, rules: Rules) -> None:
        self.found, self.known, self.rules = found, known, rules
        self.jobs = dict(known.jobs)
        self.acts: dict[str, Act] = {}
        self.rows: dict[Key, CalendarEvent] = {}
        self.look: list[Look] = [Look(f"{_quoted(one.summary)} {one.why}") for one in found.unread]
        self.no_jobs = self.same = self.past = 0
        keys = {(event.uid, event.recurrence) for event in found.events}
        self.taken = {row.job for key, row in known.events.items() if key in keys}
        self.at: dict[tuple[date, str], list[str]] = {}
        for job in known.jobs.values():
            for when in {(job.date, job.time), settled(job.date, job.time, rules.zone)}:
                self.at.setdefault(when, []).append(job.job)

    def add(self, event: Event, said: Said) -> None:
        """Plan for one event, of which `said` was read."""
        base = self.known.events.get((event.uid, event.recurrence))
        name = base.job if base else self._own(event.uid)
        job = self.jobs.get(name)
        if job is None:
            self._new(event, said)
            return
        now = _row(event, said, self.found.name, job.job)._replace(van=self._van(said.van) or "")
        base = base or self._as_it_stands(job, now)
        unclear = _become_unclear(said, now, base) if self._still_to_come(event, base, job) else []
        if unclear:  # what it said before is kept, so that it is told until it is settled
            now = now._replace(family=now.family or base.family, job_type=now.job_type or base.job_type)
        same = self.same
        self._update(event, now, base, job, said)
        if unclear:
            self.same = same
            job = self.jobs[job.job]
            stands = f"booked as {job.family} {job.job_type}, {job.van}"
            self.look.append(Look(f"{_shown(event)} is {job.job}, {stands}: {'; '.join(unclear)}"))

    def _still_to_come(self, event: Event, base: CalendarEvent, job: Job) -> bool:
        """Whether a booked job, not begun, stands for an event that is neither past, called off nor out of date."""
        is_open = job.status == "booked" and job.job not in self.known.begun
        dated = self.rules.book_from <= event.day and can_be_kept(event.day) and event.sequence >= base.sequence
        return is_open and dated and not event.cancelled

    def _own(self, uid: str) -> str:
        name, at, ledger = uid.rpartition("@vanstock-")
        return name if at and ledger == self.known.ledger else ""

    def _van(self, name: str) -> str | None:
        return next((van for van in self.known.vans if van.casefold() == name.casefold()), None)

    def _as_it_stands(self, job: Job, event: CalendarEvent) -> CalendarEvent:
        """What the event of a job said that was only ever written, never read: the job as it is."""
        day, time = settled(job.date, job.time, self.rules.zone)
        status = "cancelled" if job.status == "cancelled" else "booked"
        return event._replace(
            sequence=self.known.revisions.get(job.job, 0), date=day.isoformat(), time=time, family=job.family,
            job_type=job.job_type, codes=";".join(job.codes), van=job.van, status=status,
        )  # fmt: skip

    def _update(self, event: Event, now: CalendarEvent, base: CalendarEvent, job: Job, said: Said) -> None:
        if not _differs(now, self._as_it_stands(job, now)) or not _differs(now, base):
            self.same += 1
        elif event.sequence < base.sequence:
            self.look.append(
                Look(f"{_shown(event)} is {job.job}, and older than what was read of it before: left alone")
            )
        elif job.status == "done" or (job.job in self.known.begun and job.status == "booked"):
            self.rows[event.uid, event.recurrence] = now
            what = "is finished" if job.status == "done" else "has begun"
            then = "was cancelled" if event.cancelled else f"now says {_when(event)}"
            self.look.append(Look(f"{job.job} {what}: its event {then}; the job stays as it is"))
        elif not event.cancelled and not can_be_kept(event.day):
            self.look.append(Look(f"{_shown(event)} is in a year that no job can have: {job.job} stays as it is"))
        else:
            off = base._replace(status="cancelled", sequence=now.sequence)  # the rest of it says nothing new
            self.rows[event.uid, event.recurrence] = off if event.cancelled else now
            self._change(job, now, base, said)

    def _change(self, job: Job, now: CalendarEvent, base: CalendarEvent, said: Said) -> None:
        if now.status == "cancelled":
            if job.status == "booked":
                self._act("cancelled", job._replace(status="cancelled"), job)
            return
        again = base.status == "cancelled" and job.status == "cancelled"
        if job.status == "cancelled" and not again:
            return  # cancelled by hand, and the event still stands: the hand holds
        merged = _merged(job, now, base)._replace(status="booked")
        if said.reference and not job.reference and job.job not in self.known.forgotten:
            merged = merged._replace(reference=said.reference)
        if merged != job:
            moved = (merged.date, merged.time, merged.van) != (job.date, job.time, job.van)
            self._act("booked again" if again else "moved" if moved else "changed", merged, job)

    def _act(self, what: str, job: Job, before: Job | None) -> None:
        earlier = self.acts.get(job.job)
        self.acts[job.job] = Act(what, job, earlier.before if earlier else before)
        self.jobs[job.job] = job

    def _new(self, event: Event, said: Said) -> None:
        if said.not_a_job or not said.clue or event.cancelled:
            self.no_jobs += event.inside
            return
        van = self._van(said.van or self.rules.van)
        row = _row(event, said, self.found.name, "")._replace(van=van or "" if said.van else "")
        alike = self._alike(event, said)
        if len(alike) == 1:
            self.rows[event.uid, event.recurrence] = row._replace(job=alike[0].job)
            self.taken.add(alike[0].job)
            self.acts[alike[0].job] = Act("booked already", alike[0])
        elif not event.inside:
            return
        elif event.day < self.rules.book_from:
            self.past += 1
        elif alike:
            names = " or ".join(job.job for job in alike)
            self.look.append(Look(f"{_shown(event)} could be {names}: not booked again"))
        elif said.family and said.job_type and van and not said.unclear:
            self._book(event, said, row, van)
        else:
            self.look.append(_to_settle(event, said, van))

    def _alike(self, event: Event, said: Said) -> list[Job]:
        """The jobs that this event could be, of those that no event of the file is yet: at the same time, and neither
        of another family nor of another type; codes alone must be some of its own."""
        named = bool(said.family or said.job_type)
        return [
            job
            for job in map(self.jobs.__getitem__, self.at.get((event.day, event.time), ()))
            if job.status in ("booked", "done")
            and said.family in ("", job.family)
            and said.job_type in ("", job.job_type)
            and (named or bool(set(said.codes) & set(job.codes)))
            and job.job not in self.taken
        ]

    def _book(self, event: Event, said: Said, row: CalendarEvent, van: str) -> None:
        job = Job(
            job=next(self.known.ids), date=event.day, time=event.time, family=said.family, job_type=said.job_type,
            codes=said.codes, van=van, reference=said.reference,
        )  # fmt: skip
        self.rows[event.uid, event.recurrence] = row._replace(job=job.job)
        self.taken.add(job.job)
        self._act("booked", job, None)

    def look_for_gone(self, last: date) -> None:
        """Plan for the events that were jobs and are in the file no more, up to a day."""
        keys = {(event.uid, event.recurrence) for event in self.found.events}
        unread = {one.uid for one in self.found.unread}
        for key, row in self.known.events.items():
            job = self.jobs[row.job]
            gone = key not in keys and row.job not in self.taken and row.uid not in unread
            if gone and job.status == "booked" and self.rules.book_from <= job.date <= last:
                self._gone(key, row, job)

    def _gone(self, key: Key, row: CalendarEvent, job: Job) -> None:
        where = f"{job.job} ({job.date:%a} {job.date} {job.time}".rstrip() + ")"
        if key in self.found.taken_out and row.status == "booked":
            if job.job in self.known.begun:
                self.look.append(Look(f"{where} has begun: its event was taken out; the job stays as it is"))
            else:
                self._act("cancelled", job._replace(status="cancelled"), job)
            self.rows[key] = row._replace(status="cancelled")
        elif row.status == "booked" and (row.uid, row.date.replace("-", "")) in self.found.taken_out:
            why = f"its event leaves out all of {row.date}, without the time that RFC 5545 asks for"
            self.look.append(Look(f"{where} may be called off: {why}", f"vanstock booking cancel {job.job}"))
        elif row.status == "booked" and (row.uid in self.found.whole or row.calendar == _kept(self.found.name) != ""):
            self.look.append(Look(f"{where} is no longer in the calendar", f"vanstock booking cancel {job.job}"))


def _kept(calendar: str) -> str:
    """A calendar's name as the ledger keeps it."""
    return calendar[:_LONGEST_NAME]


def _row(event: Event, said: Said, calendar: str, job: str) -> CalendarEvent:
    return CalendarEvent(
        uid=event.uid, recurrence=event.recurrence, job=job, calendar=_kept(calendar),
        sequence=event.sequence, date=event.day.isoformat(), time=event.time, family=said.family,
        job_type=said.job_type, codes=";".join(said.codes), van=said.van,
        status="cancelled" if event.cancelled else "booked",
    )  # fmt: skip


_SAID = ("family", "job_type", "codes", "van")


def _differs(now: CalendarEvent, other: CalendarEvent) -> bool:
    """Whether an event says anything else than another saying; what it does not say is no difference."""
    if now.status == other.status == "cancelled":
        return False
    when = (now.date, now.time, now.status) != (other.date, other.time, other.status)
    return when or any(getattr(now, name) not in ("", getattr(other, name)) for name in _SAID)


def _merged(job: Job, now: CalendarEvent, base: CalendarEvent) -> Job:
    """The job with what its event changed since it was last read."""
    if (now.date, now.time) != (base.date, base.time):
        job = job._replace(date=date.fromisoformat(now.date), time=now.time)
    changed = {name: getattr(now, name) for name in _SAID if getattr(now, name) not in ("", getattr(base, name))}
    if "codes" in changed:
        job = job._replace(codes=tuple(changed.pop("codes").split(";")))
    if "family" in changed:
        job = job._replace(chosen=())
    return job._replace(**changed)


def _become_unclear(said: Said, now: CalendarEvent, base: CalendarEvent) -> list[str]:
    """What is unclear in an event that was clear when it was booked; one that never was is a person's booking."""
    return _unclear(said, van_known=bool(now.van or not said.van)) if base.family and base.job_type else []


def _unclear(said: Said, *, van_known: bool) -> list[str]:
    missing = [what for what, given in (("family", said.family), ("job type", said.job_type)) if not given]
    why = [
        *said.unclear,
        *(f"no {what} is named" for what in missing if not any(what in text for text in said.unclear)),
    ]
    return why if van_known else [*why, f"there is no van {said.van!r}"]


def _to_settle(event: Event, said: Said, van: str | None) -> Look:
    why = _unclear(said, van_known=van is not None)
    words = ["vanstock booking add", said.family or "FAMILY", said.job_type or "TYPE", f"--date {event.day}"]
    words += [f"--time {event.time}"] if event.time else []
    words += [f"--codes {','.join(said.codes)}"] if said.codes else []
    return Look(f"{_shown(event)}: {'; '.join(why)}", " ".join(words))


def _when(event: Event) -> str:
    return f"{event.day:%a} {event.day} {event.time}".rstrip()


def _quoted(title: str) -> str:
    return f'"{title[:_TITLE]}"' if title else "an event without a title"


def _shown(event: Event) -> str:
    return f"{_when(event)} {_quoted(event.summary)}"

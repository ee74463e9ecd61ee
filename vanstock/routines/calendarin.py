"""A calendar file brought in: what its events change is planned (`calendarplan`) and written as one entry.

Reading the file is `exchange.calendarfile`, reading an event's words `eventwords`. Called by `cli.calendar`, which also
watches a folder with `Watched`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from stat import S_ISREG
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.calendarfile import CalendarFile, Window, read_calendar
from vanstock.ledger import calendarrows, catalogue, reading
from vanstock.ledger.entries import Draft, sent_before
from vanstock.ledger.forgetting import forgotten_jobs
from vanstock.model import Entry
from vanstock.routines.booking import next_ids
from vanstock.routines.calendarplan import Act, Known, Look, Plan, Rules
from vanstock.routines.calendarwords import rules
from vanstock.routines.eventwords import read_event
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import time_zone

DAYS_BACK, DAYS_ON = 7, 120
_LONGEST_DAYS = 800
KIND = "from calendar"


class Asked(NamedTuple):
    """Which days of a calendar are wanted (None: a week back, 120 days on), and the van of what names none."""

    first: date | None = None
    last: date | None = None
    van: str = "van"


_USUAL = Asked()


class Imported(NamedTuple):
    """What a calendar file did, or would do: its days, the acts, what a person must settle, how many events were no
    jobs, as they were, and jobs of days past, and the entry (None: nothing was written)."""

    first: date
    last: date
    acts: tuple[Act, ...]
    look: tuple[Look, ...]
    no_jobs: int = 0
    same: int = 0
    past: int = 0
    entry: Entry | None = None


def import_calendar(
    session: Session, path: Path, asked: Asked = _USUAL, *, look: bool = False, entry_id: str = ""
) -> Imported:
    """Bring the events of a file into the bookings, as one entry, or only say what that would do (`look`). Raises
    `BadValue` for a file that cannot be read, `NotFound` for an unknown van."""
    window = _window(session, asked)
    found = read_calendar(path, window)
    catalogue.place_named(session.ledger, asked.van, "van")
    if look:
        return _told(_planned(session, found, asked, window), window, None)
    return _record(session, found, (asked, window), entry_id)


def _window(session: Session, asked: Asked) -> Window:
    first = asked.first or session.today - timedelta(days=DAYS_BACK)
    last = asked.last or max(first, session.today) + timedelta(days=DAYS_ON)
    if last < first:
        raise BadValue(f"--to {last} comes before --from {first}")
    if (last - first).days > _LONGEST_DAYS:
        raise BadValue(f"from {first} to {last} is more than {_LONGEST_DAYS} days: name fewer with --from and --to")
    return Window(first, last, time_zone(session))


@one_act
def _record(session: Session, found: CalendarFile, days: tuple[Asked, Window], entry_id: str) -> Imported:
    asked, window = days
    head = Draft(session.now, KIND, id=entry_id, asked=("calendar", *map(str, asked), len(found.events)))
    known = sent_before(session.ledger, head)
    if known:
        bookings = reading.lines_of(session.ledger, known).bookings
        return Imported(window.first, window.last, tuple(Act("recorded", job) for job in bookings), (), entry=known)
    plan = _planned(session, found, asked, window)
    if not plan.rows:
        return _told(plan, window, None)
    jobs = tuple(act.job for act in plan.acts.values() if act.what != "booked already")
    lines = head._replace(bookings=jobs, orders=tuple(plan.rows.values()))
    return _told(plan, window, once(session, head, lambda: lines))


def _planned(session: Session, found: CalendarFile, asked: Asked, window: Window) -> Plan:
    van = catalogue.place_named(session.ledger, asked.van, "van").place
    plan = Plan(found, known_to(session), Rules(asked.first or session.today, van, window.zone))
    words = rules(session)
    for event in found.events:
        plan.add(event, read_event(event.summary, event.description, words))
    plan.look_for_gone(window.last)
    return plan


def known_to(session: Session) -> Known:
    """The ledger as a plan needs it."""
    jobs = {job.job: job for job in reading.jobs(session.ledger)}
    return Known(
        jobs=jobs,
        events=calendarrows.events(session.ledger),
        begun=frozenset(calendarrows.begun(session.ledger)),
        forgotten=frozenset(forgotten_jobs(session.ledger)),
        vans=tuple(place.place for place in catalogue.places(session.ledger, "van")),
        ledger=calendarrows.ledger_id(session.ledger),
        revisions=revisions(session),
        ids=next_ids(jobs),
    )


def revisions(session: Session) -> dict[str, int]:
    """The revision of every job as a calendar counts it (SEQUENCE): one more with each change."""
    highest = calendarrows.highest_sequences(session.ledger)
    written = calendarrows.revisions(session.ledger)
    return {job: highest.get(job, 0) + one.times - 1 for job, one in written.items()}


def _told(plan: Plan, window: Window, entry: Entry | None) -> Imported:
    acts = tuple(sorted(plan.acts.values(), key=lambda act: (act.job.date, act.job.time == "", act.job.time)))
    return Imported(
        window.first, window.last, acts, tuple(plan.look), plan.no_jobs, plan.same, plan.past, entry
    )  # fmt: skip


class Stamp(NamedTuple):
    """What tells that a file changed: its size and the time it was last written."""

    size: int
    written: int


class Watched:
    """The calendar files of a folder as they were seen before; `ready` is asked again and again."""

    def __init__(self, folder: Path) -> None:
        if not folder.is_dir():
            raise BadValue(f"{folder} is no folder: name the one that the phone's file is copied to")
        self.folder = folder
        self.seen: dict[Path, Stamp] = {}
        self.done: dict[Path, Stamp] = {}

    def ready(self) -> Iterator[Path]:
        """The files that are new or changed and were the same at the last look, so that none is read half copied; each
        is given once until it changes, whatever comes of it."""
        now = dict(sorted(self._files()))
        fresh = [path for path, stamp in now.items() if self.seen.get(path) == stamp and self.done.get(path) != stamp]
        self.seen = now
        self.done = {path: stamp for path, stamp in self.done.items() if path in now}
        for path in sorted(fresh, key=lambda one: now[one].written):
            self.done[path] = now[path]
            yield path

    def again(self, path: Path) -> None:
        """Give a file again at the next look."""
        self.done.pop(path, None)

    def _files(self) -> Iterator[tuple[Path, Stamp]]:
        try:
            for path in self.folder.iterdir():
                if path.suffix.lower() == ".ics" and (stamp := _stamp(path)):
                    yield path, stamp
        except OSError as error:
            raise BadValue(f"{self.folder} cannot be read: {error.strerror}; is the stick or the phone gone?") from None


def _stamp(path: Path) -> Stamp | None:
    """A file's stamp; None for a folder, and for a file that is gone since its folder was listed."""
    try:
        known = path.stat()
    except FileNotFoundError:
        return None
    return Stamp(known.st_size, known.st_mtime_ns) if S_ISREG(known.st_mode) else None

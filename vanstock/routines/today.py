"""A person's day: which day and jobs to show, the last act done on a device, and whether anything changed since.

The load-out itself is the morning's (see `morning`). Called by the phone face, which keeps what it has worked out
until the ledger changes.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from vanstock.ledger import catalogue, reading
from vanstock.ledger.changed import Changes, changes
from vanstock.ledger.file import ledger_path
from vanstock.model import Job, PastEntry
from vanstock.routines.morning import load_out_day
from vanstock.routines.session import Session

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vanstock.routines.loadout import LoadOut

UNDO_MINUTES = 15
_LOOKED_THROUGH = 30


class State(NamedTuple):
    """What a load-out depends on: the ledger as it is, and the quarter of an hour, since cut-offs pass."""

    ledger: Changes
    quarter: str


def state_of(session: Session) -> State:
    """What has to be the same for something worked out earlier to hold still."""
    return _state(session.path, session.now)


def state_unopened(chosen: str | None, now: datetime) -> State:
    """The same of the ledger that `open_session` would open, without opening it; raises `LedgerUnusable`."""
    return _state(ledger_path(chosen), now)


def _state(path: Path, now: datetime) -> State:
    quarter = now.replace(minute=now.minute // 15 * 15)
    return State(changes(path), f"{quarter:%Y-%m-%dT%H:%M}")


def after_keeping(before: State, now: State) -> State:
    """The state to keep something under that was worked out at `before` and then noted down in one transaction of its
    own: the new one when nobody else wrote meanwhile."""
    then, since = before.ledger, now.ledger
    alone = (then.device, then.number, then.transactions + 1) == (
        since.device, since.number, since.transactions,
    )  # fmt: skip
    return State(since, before.quarter) if alone else before


def day_to_show(session: Session) -> date:
    """Today while a job of today is booked, else the day of the load-out."""
    return session.today if any(j.status == "booked" for j in _jobs_on(session, session.today)) else _next(session)


def _next(session: Session) -> date:
    return load_out_day(session)


def _jobs_on(session: Session, day: date) -> list[Job]:
    return reading.jobs_between(session.ledger, day, day)


def done_on(session: Session, day: date, *, van: str) -> list[Job]:
    """The finished jobs of a van on a day, in time order."""
    return [job for job in _jobs_on(session, day) if job.status == "done" and job.van == van]


def vans(session: Session) -> list[str]:
    """The names of the vans."""
    return [place.place for place in catalogue.places(session.ledger, "van")]


def vans_out(session: Session, day: date) -> list[str]:
    """The vans with a job booked on a day, the one that sets out first in front."""
    return list(dict.fromkeys(job.van for job in _jobs_on(session, day) if job.status == "booked"))


def last_acts(session: Session) -> list[PastEntry]:
    """What one tap may take back on the session's device while it is fresh: the newest entry that stands, and before it
    an undoing that came after it."""
    oldest = session.now.astimezone() - timedelta(minutes=UNDO_MINUTES)
    found: list[PastEntry] = []
    for entry in reading.newest_by(session.ledger, session.device, _LOOKED_THROUGH):
        if datetime.fromisoformat(entry.at) < oldest or (entry.kind == "undone" and found):
            continue
        past = reading.lines_of(session.ledger, entry)
        if not past.undone_by:
            found.append(past)
            if entry.kind != "undone":
                break
    return found


def same_until(session: Session, found: LoadOut, acts: Sequence[PastEntry]) -> datetime | None:
    """Until when a load-out and the last acts are shown in the same words, while the state stays as it is: then an act
    is too old to be undone there, or goods that could be bought are there "at once". None when nothing is to come."""
    moments = [row.comes for row in found.buy if row.comes and row.comes > session.now]
    made = (datetime.fromisoformat(act.entry.at).astimezone().replace(tzinfo=None) for act in acts)
    moments += [moment + timedelta(minutes=UNDO_MINUTES) for moment in made]
    return min(moments, default=None)


def ledger_mark(session: Session) -> str:
    """The id of the ledger's first entry: the same in every copy, another in every other ledger; "" while empty."""
    return reading.first_id(session.ledger)

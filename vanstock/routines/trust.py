"""Trust: copies of the ledger, going back to one, checking it, and forgetting a customer.

What a person decides is asked by the faces; here is what can be known before and what is done after.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date, datetime, time
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound, VanstockError
from vanstock.ledger import copies, forgetting, restoring
from vanstock.ledger.checking import check as check_ledger
from vanstock.ledger.faults import in_plain_words, missing
from vanstock.ledger.file import ledger_path
from vanstock.ledger.forgetting import Forgotten, Naming
from vanstock.ledger.restoring import Lost
from vanstock.model import Finding
from vanstock.routines.session import Session, one_act, open_session
from vanstock.routines.settings import setting_text
from vanstock.workdays import parse_cutoff, parse_date

_MOST_LISTED = 20
Tell = Callable[[Finding], None]


class Backup(NamedTuple):
    """A copy that was made: its file, how many entries it holds, the old copies removed for it, and whether the folder
    that was named had to be made."""

    file: Path
    entries: int
    removed: tuple[Path, ...]
    new_folder: bool = False


class Loss(NamedTuple):
    """What going back to a copy would mean: the time of the newest entry it holds ("" when none), how many it
    holds, and what would be lost; None when the ledger in use cannot be read."""

    copy: Path
    newest: str
    entries: int
    lost: Lost | None


class AsItWas(NamedTuple):
    """A ledger as it was at a moment: its file, and how many of how many entries it holds."""

    file: Path
    until: datetime
    entries: int
    of: int


def backup_folder(session: Session) -> Path:
    """Where copies go when no folder is named; a relative one that was set lies beside the ledger."""
    chosen = setting_text(session, "backup_folder")
    if not chosen:
        return copies.usual_folder(session.path)
    return session.path.parent / Path(chosen).expanduser()


def backup(session: Session, folder: Path | None = None) -> Backup:
    """Write a checked copy of the ledger and thin out old ones; raises `LedgerUnusable`."""
    where = folder or backup_folder(session)
    new = where != copies.usual_folder(session.path) and not where.exists()
    file = copies.make_copy(session.ledger, where, session.now)
    removed = copies.thin_out(session.ledger, where, int(setting_text(session, "backups_kept")), file)
    return Backup(file, restoring.look_into(file).entries, tuple(removed), new)


def has_copy_of_today(session: Session) -> bool:
    """Whether a copy was made today, in the folder in use."""
    return any(copy.at.date() == session.today for copy in copies.copies_in(backup_folder(session), session.path))


def check(chosen: str | None, told: Tell) -> list[Finding]:
    """Test every rule of the ledger, which may be too damaged to be opened as one; nothing is changed.

    Each finding is told as soon as it is known.
    """
    path = ledger_path(chosen)
    if not os.path.isfile(path):
        raise NotFound(missing(path))
    connection = copies.open_as_it_is(path)
    try:
        with in_plain_words(path):
            copies.refuse_older(connection, path)
            return check_ledger(connection, told)
    finally:
        connection.close()


def what_would_be_lost(chosen: str | None, copy: Path) -> Loss:
    """What a copy holds and what the ledger in use has beyond it; raises when the copy is no good one."""
    ledger = ledger_path(chosen)
    if os.path.exists(copy) and os.path.exists(ledger) and copy.samefile(ledger):
        raise BadValue(f"{copy} is the ledger in use: name a copy of it")
    held = restoring.look_into(copy)
    return Loss(copy, held.newest, held.entries, restoring.would_be_lost(ledger, copy, _MOST_LISTED))


class Restored(NamedTuple):
    """A copy that was put back: the ledger it became, and where the one before it is kept, if there was one."""

    ledger: Path
    aside: Path | None


def restore(chosen: str | None, copy: Path, now: datetime | None) -> Restored:
    """Put a copy in the ledger's place in one step; the ledger that was there is kept aside."""
    ledger = ledger_path(chosen)
    return Restored(ledger, restoring.put_back(ledger, copy, now or datetime.now().astimezone()))


def read_moment(text: str) -> datetime:
    """A date and time as `2027-03-02T12:00` or `2027-03-02 12:00`; a date alone is the end of that day."""
    day, _, at = text.strip().replace("T", " ").partition(" ")
    return datetime.combine(_day(day), parse_cutoff(at.strip()) if at.strip() else time(23, 59, 59))


def _day(text: str) -> date:
    try:
        return parse_date(text)
    except BadValue:
        raise BadValue(f"{text!r} is not a date: write a moment as 2027-03-02T12:00") from None


def as_it_was(chosen: str | None, until: datetime, target: Path | None) -> AsItWas:
    """Write the ledger as it was at a moment into a new file; the one it is made from is only read."""
    source = ledger_path(chosen)
    if not os.path.isfile(source):
        raise NotFound(missing(source))
    file = target or source.with_name(f"{source.stem}-as-it-was-{until:%Y-%m-%dT%H%M}.db")
    kept, total = restoring.as_it_was(source, until, file)
    return AsItWas(file, until, kept, total)


def what_names(session: Session, reference: str) -> Naming:
    """The jobs and notes that name a customer; raises `NotFound` when none does."""
    if not reference.strip():
        raise BadValue("name the reference to forget: `vanstock forget REFERENCE`")
    return forgetting.naming(session.ledger, reference)


@one_act
def forget(session: Session, reference: str) -> Forgotten:
    """Blank a customer's reference everywhere in the ledger, and record that it was done."""
    what_names(session, reference)
    return forgetting.forget(session.ledger, reference, session.now)


def also_holding(chosen: str | None) -> list[Path]:
    """The files beside a ledger, other than its copies, that hold what it held."""
    return copies.set_aside(ledger_path(chosen))


def copies_kept(chosen: str | None) -> list[copies.Copy]:
    """The copies there are, oldest first; of a ledger that cannot be opened, those beside it, or its error."""
    path = ledger_path(chosen)
    try:
        with open_session(chosen, None) as session:
            return copies.own_copies(session.ledger, backup_folder(session))
    except VanstockError:
        beside = copies.copies_in(copies.usual_folder(path), path)
        if not beside:
            raise
        return beside

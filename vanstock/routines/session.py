"""One sitting with the ledger: the open file and the clock, handed to every routine."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, NamedTuple, ParamSpec, TypeVar

from vanstock.errors import BadValue, LedgerUnusable, VanstockError
from vanstock.ledger.catalogue import setting
from vanstock.ledger.entries import Draft, post_inside, sent_before
from vanstock.ledger.file import Ledger, ledger_path, open_ledger, writing
from vanstock.ledger.reading import entries_on, last_moment
from vanstock.model import Entry

P = ParamSpec("P")
T = TypeVar("T")


_UNREADABLE = (ValueError, TypeError, LookupError, ArithmeticError, AttributeError, MemoryError, sqlite3.Error)
"""What a damaged file can make of reading it, beside the errors that SQLite itself sees."""
_CLOCK_SLACK = timedelta(minutes=15)


class Session(NamedTuple):
    """An open ledger and the local time the routine runs at; `created` when the file is new, `by_clock` when
    the time is this machine's and nobody said it, `device` what is acted on: the terminal, or a phone by its name."""

    ledger: Ledger
    now: datetime
    path: Path
    created: bool = False
    by_clock: bool = False
    device: str = "terminal"

    @property
    def today(self) -> date:
        """The local date."""
        return self.now.date()


def one_act(routine: Callable[Concatenate[Session, P], T]) -> Callable[Concatenate[Session, P], T]:
    """A routine whose reading, checking and writing are one transaction: two at once cannot both pass."""

    @wraps(routine)
    def whole(session: Session, /, *args: P.args, **kwargs: P.kwargs) -> T:
        with writing(session.ledger):
            refuse_clock_set_back(session)
            return routine(session, *args, **kwargs)

    return whole


def refuse_clock_set_back(session: Session) -> None:
    """Raise `BadValue` when this machine's clock is well before the newest entry and nobody said the time."""
    newest = last_moment(session.ledger) if session.by_clock else ""
    if newest and session.now.astimezone() < datetime.fromisoformat(newest) - _CLOCK_SLACK:
        raise BadValue(
            f"this machine's clock says {session.now:%Y-%m-%d %H:%M}, but the ledger's newest entry is of "
            f"{newest[:16].replace('T', ' ')}: nothing was written. Set the clock, or say the time: "
            f"vanstock --now {session.now:%Y-%m-%dT%H:%M} ..."
        )


def once(session: Session, draft: Draft, plan: Callable[[], Draft]) -> Entry:
    """The entry of an act: written now, or, when the same was sent before under the same id, that one.

    `draft` has the kind, the id and what was asked; `plan` fills in the lines and is only called for a new
    act, so that a second sending is answered even when the stock or the job has changed since. Raises
    `EntryConflict` for the same id with other words.
    """
    stamped = draft._replace(at=session.now, device=session.device)
    known = sent_before(session.ledger, stamped)
    if known:
        return known
    planned = plan()
    return post_inside(session.ledger, planned._replace(**_head(stamped)))


def _head(draft: Draft) -> dict[str, Any]:
    return {"at": draft.at, "kind": draft.kind, "id": draft.id, "asked": draft.asked, "device": draft.device}


def copy_wanted(session: Session) -> str:
    """How today's copy is wanted after something was written: "offer" after the day's first entry only, "always"
    after any (until there is one), or "" for neither."""
    written = entries_on(session.ledger, session.today, 2)
    wish = setting(session.ledger, "daily_backup") or "offer"
    if not written or wish == "never" or (wish == "offer" and written > 1):
        return ""
    return wish


@contextmanager
def open_session(chosen: str | None, now: datetime | None, *, create: bool = False) -> Iterator[Session]:
    """Open the ledger named (see `ledger_path`) and close it afterwards; `now` None is the real clock.

    Whatever a damaged file does to a routine is raised as `LedgerUnusable`.
    """
    path = ledger_path(chosen)
    fresh = not os.path.exists(path)  # Path.exists raises where a folder may not be looked into
    connection = open_ledger(path, create=create)
    clock = datetime.now().astimezone().replace(tzinfo=None)
    try:
        yield Session(connection, now or clock, path, fresh, now is None)
    except LedgerUnusable:
        raise
    except VanstockError as error:
        _blame_damage(connection, error)
        raise
    except _UNREADABLE as error:
        told = _blamed(connection, error)
        if told is error:
            raise
        raise told from error
    finally:
        connection.close()


def _blame_damage(ledger: Ledger, error: VanstockError) -> None:
    """Raise `LedgerUnusable` when a mistake, such as a part that is not there, may be the damaged file's."""
    from vanstock.ledger import untouched
    from vanstock.ledger.checking import damage
    from vanstock.ledger.faults import damaged

    if not ledger.in_transaction and not untouched.agrees(ledger.path):
        wrong = damage(ledger)
        if wrong:
            raise damaged(ledger.path, wrong) from error


def _blamed(ledger: Ledger, error: Exception) -> Exception:
    """The error to raise for one that came while a ledger was open: the file's fault, or a bug's as it is."""
    from vanstock.ledger.checking import damage
    from vanstock.ledger.faults import damaged, plain_words

    plain = plain_words(error, ledger.path) if isinstance(error, sqlite3.Error) else error
    if plain is not error:
        return plain
    wrong = damage(ledger)
    return damaged(ledger.path, wrong) if wrong else error

"""One sitting with the ledger: the open file and the clock, handed to every routine."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from functools import wraps
from pathlib import Path
from typing import Concatenate, NamedTuple, ParamSpec, TypeVar

from vanstock.ledger.file import ledger_path, open_ledger, writing

P = ParamSpec("P")
T = TypeVar("T")


class Session(NamedTuple):
    """An open ledger and the local time the routine runs at; `created` when the file is new."""

    ledger: sqlite3.Connection
    now: datetime
    path: Path
    created: bool = False

    @property
    def today(self) -> date:
        """The local date."""
        return self.now.date()


def one_act(routine: Callable[Concatenate[Session, P], T]) -> Callable[Concatenate[Session, P], T]:
    """A routine whose reading, checking and writing are one transaction: two at once cannot both pass."""

    @wraps(routine)
    def whole(session: Session, /, *args: P.args, **kwargs: P.kwargs) -> T:
        with writing(session.ledger):
            return routine(session, *args, **kwargs)

    return whole


@contextmanager
def open_session(chosen: str | None, now: datetime | None, *, create: bool = False) -> Iterator[Session]:
    """Open the ledger named (see `ledger_path`) and close it afterwards; `now` None is the real clock."""
    path = ledger_path(chosen)
    fresh = not path.exists()
    connection = open_ledger(path, create=create)
    try:
        yield Session(connection, now or datetime.now().astimezone().replace(tzinfo=None), path, fresh)
    finally:
        connection.close()

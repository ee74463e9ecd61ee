"""What the phone face holds while it runs: the ledger it opens for each question, its devices, what it has worked out.

One `Desk` for one `vanstock serve`. Nothing here is a rule of the trade.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Generic, NamedTuple, TypeVar

from vanstock.errors import LedgerUnusable, NotFound
from vanstock.routines.session import Session, open_session
from vanstock.web.devices import Devices

if TYPE_CHECKING:
    from vanstock.routines.jobcard import Likely
    from vanstock.routines.loadout import LoadOut
    from vanstock.routines.reorder import Reorder

T = TypeVar("T")
_KEPT = 32
_ANSWERS_KEPT = 200


class Kept(Generic[T]):
    """Values that take long to work out, each kept under what it depends on; worked out once when two ask at once."""

    def __init__(self) -> None:
        self._values: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def known(self, key: Hashable) -> T | None:
        """The value under a key, if there is one."""
        return self._values.get(key)

    def get(self, key: Hashable, work_out: Callable[[], tuple[Hashable, T]]) -> T:
        """The value under a key; else what `work_out` gives, kept under the key that it gives."""
        with self._lock:
            if key in self._values:
                return self._values[key]
            kept_under, value = work_out()
            self._values[kept_under] = value
            while len(self._values) > _KEPT:
                self._values.popitem(last=False)
            return value


class Answer(NamedTuple):
    """What an act was answered: done, refused or to be tried again; the words; the entry that can be undone. A photo in
    which no part is found is answered that it is unread."""

    state: str
    words: str
    entry: str = ""


class Desk:
    """The ledger (None: the usual one), the clock (None: this machine's), the names and port it is asked by, and where
    a line is told at the terminal."""

    def __init__(
        self, ledger: str | None, now: datetime | None, *, hosts: frozenset[str], port: int, devices: Devices,
        tell: Callable[[str], None],
    ) -> None:  # fmt: skip
        self.ledger, self.now = ledger, now
        self.hosts, self.port, self.devices, self.tell = hosts, port, devices, tell
        self.load_outs: Kept[LoadOut] = Kept()
        self.likely: Kept[tuple[Likely, ...]] = Kept()
        self.weeks: Kept[Reorder] = Kept()
        self._answers: OrderedDict[tuple[str, str], Answer] = OrderedDict()

    @contextmanager
    def session(self, device: str, *, at: datetime | None = None) -> Iterator[Session]:
        """A sitting of a device with the ledger, at a moment that was said or now."""
        with ExitStack() as stack:
            try:
                session = stack.enter_context(open_session(self.ledger, at or self.now))
            except NotFound as missing:  # it was there when this began, and may be again
                raise LedgerUnusable(str(missing)) from missing
            yield session._replace(device=device)

    @property
    def cookie(self) -> str:
        """The name of the cookie: cookies ignore ports, so that it carries the port."""
        return f"vanstock_{self.port}"

    def answered(self, device: str, entry_id: str, answer: Answer) -> None:
        """Keep an answer for the page that comes next."""
        self._answers[device, entry_id] = answer
        while len(self._answers) > _ANSWERS_KEPT:
            self._answers.popitem(last=False)

    def answer_to(self, device: str, entry_id: str) -> Answer | None:
        """The answer to an act, while it is kept."""
        return self._answers.get((device, entry_id))

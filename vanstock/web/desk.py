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
    from vanstock.routines.curve import Curve
    from vanstock.routines.jobcard import Likely
    from vanstock.routines.loadout import LoadOut
    from vanstock.routines.ordering import Proposal
    from vanstock.routines.why import Why

T = TypeVar("T")
_KEPT = 32
_ANSWERS_KEPT = 200


class Kept(Generic[T]):
    """Values that take long to work out, each kept under what it depends on; worked out once when two ask at once."""

    def __init__(self) -> None:
        self._values: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def known(self, key: Hashable) -> T | None:
        """The value under a key, if there is one; waits for nobody."""
        return self._values.get(key)

    def get(self, key: Hashable, work_out: Callable[[], tuple[Hashable, T]]) -> T:
        """The value under a key; else what `work_out` gives, kept under the key that it gives."""
        known = self.known(key)
        if known is not None:
            return known
        with self._lock:
            if key in self._values:
                return self._values[key]
            kept_under, value = work_out()
            self._keep(kept_under, value)
            return value

    def keep(self, key: Hashable, value: T) -> None:
        """Keep a value that was worked out elsewhere."""
        with self._lock:
            self._keep(key, value)

    def _keep(self, key: Hashable, value: T) -> None:
        self._values[key] = value
        while len(self._values) > _KEPT:
            self._values.popitem(last=False)


class Shown(NamedTuple):
    """A page as it was sent at a moment; it says the same from then on, `until` another where that is known."""

    body: bytes
    since: datetime
    until: datetime | None

    def holds(self, now: datetime) -> bool:
        """Whether it still says what it should."""
        return self.since <= now and (self.until is None or now < self.until)


class Answer(NamedTuple):
    """What an act was answered: done, refused or to be tried again; the words; the entry that can be undone. A photo in
    which no part is found is answered that it is unread."""

    state: str
    words: str
    entry: str = ""


class Desk:
    """The ledger (None: the usual one), the clock (None: this machine's), the names and port it is asked by, where a
    line is told at the terminal, and how to get the certificate of the computer's own authority (as DER) where it has
    one."""

    def __init__(
        self, ledger: str | None, now: datetime | None, *, hosts: frozenset[str], port: int, devices: Devices,
        tell: Callable[[str], None], authority: Callable[[], bytes] | None = None,
    ) -> None:  # fmt: skip
        self.ledger, self.now, self.authority = ledger, now, authority
        self.hosts, self.port, self.devices, self.tell = hosts, port, devices, tell
        self.load_outs: Kept[LoadOut] = Kept()
        self.likely: Kept[tuple[Likely, ...]] = Kept()
        self.weeks: Kept[Proposal] = Kept()
        self.curves: Kept[tuple[Curve, str]] = Kept()
        self.forecasts: Kept[Why] = Kept()
        self.drawings: Kept[str] = Kept()
        self.shown: Kept[Shown] = Kept()
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

    def moment(self) -> datetime:
        """The local time at which something is asked."""
        return self.now or datetime.now().astimezone().replace(tzinfo=None)

    def cookie_for(self, scheme: str) -> str:
        """The name of the cookie: cookies ignore ports, so that it carries the port; over https a browser takes one of
        that prefix from https alone, for this host alone (RFC 6265bis, section 4.1.3)."""
        return f"{'__Host-' if scheme == 'https' else ''}vanstock_{self.port}"

    def answered(self, device: str, entry_id: str, answer: Answer) -> None:
        """Keep an answer for the page that comes next."""
        self._answers[device, entry_id] = answer
        while len(self._answers) > _ANSWERS_KEPT:
            self._answers.popitem(last=False)

    def answer_to(self, device: str, entry_id: str) -> Answer | None:
        """The answer to an act, while it is kept."""
        return self._answers.get((device, entry_id))

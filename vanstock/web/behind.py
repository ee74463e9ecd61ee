"""What takes seconds is worked out behind the page that asks for it: the page says so at once and comes again.

Each thing is worked out once however many ask; that something went wrong is told at the terminal. Called by the pages
of the week and of the charts.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING

from vanstock.errors import VanstockError

if TYPE_CHECKING:
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk


class Behind:
    """What a desk is working out for pages of one kind, which are told of by these words."""

    def __init__(self, desk: Desk, what: str) -> None:
        self.desk, self.what = desk, what
        self._running: set[Hashable] = set()
        self._lock = threading.Lock()

    def begin(self, key: Hashable, work: Callable[[Session], object]) -> None:
        """Begin to work something out in a sitting of its own, unless somebody has; `work` keeps it."""
        with self._lock:
            if key in self._running:
                return
            self._running.add(key)
        threading.Thread(target=self._work, args=(key, work), daemon=True).start()

    def _work(self, key: Hashable, work: Callable[[Session], object]) -> None:
        try:
            with self.desk.session("terminal") as session:
                work(session)
        except VanstockError as mistake:
            self.desk.tell(f"{self.what} could not be worked out: {mistake}")
        finally:
            with self._lock:
                self._running.discard(key)

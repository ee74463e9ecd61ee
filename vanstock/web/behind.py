"""What takes seconds is worked out behind the page that asks for it: the page says so at once and comes again.

Each thing is worked out once however many ask. Where that went wrong the page and the terminal say so, and the next
page asked for tries again. Called by the pages of the week and of the charts.
"""

from __future__ import annotations

import threading
import traceback
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
        self._failed: dict[Hashable, str] = {}
        self._lock = threading.Lock()

    def begin(self, key: Hashable, work: Callable[[Session], object]) -> str:
        """Begin to work something out in a sitting of its own, unless somebody has; `work` keeps it. Or say, once, why
        it could not be worked out the last time ("" otherwise)."""
        with self._lock:
            if key in self._failed:
                return self._failed.pop(key)
            if key in self._running:
                return ""
            self._running.add(key)
        threading.Thread(target=self._work, args=(key, work), daemon=True).start()
        return ""

    def _work(self, key: Hashable, work: Callable[[Session], object]) -> None:
        failed = ""
        try:
            with self.desk.session("terminal") as session:
                work(session)
        except VanstockError as mistake:
            failed = f"{self.what} could not be worked out: {mistake}"
            self.desk.tell(failed)
        except Exception:
            failed = f"{self.what} could not be worked out: vanstock failed, and its terminal says how"
            self.desk.tell(f"{failed}:\n{traceback.format_exc()}")
        finally:
            with self._lock:
                self._running.discard(key)
                if failed:
                    self._failed = {key: failed}  # of another ledger or part, nobody may ask again

"""The line from phones as the server keeps it: who says nothing is hung up on, and nobody takes every place.

Without it a stranger on the same network, who need not be paired, could open as many lines as there are and say nothing
on them. Called by `cli.serve`; no knowledge of the door or the pages.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

LINES = 100
LINES_EACH = 30
HEAD_SECONDS = 20.0
"""How long may pass before the head of a request has come whole."""


class PatientLine(H11Protocol):
    """A line that may be silent for so long, and not one of too many from one address."""

    head_seconds = HEAD_SECONDS
    _alarm: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the line up, unless its address has enough of them."""
        super().connection_made(transport)
        own = self.client[0] if self.client else ""
        others = (line for line in self.connections if isinstance(line, PatientLine) and line.client)
        if sum(line.client[0] == own for line in others if line.client) > LINES_EACH:
            transport.abort()
            return
        self._alarm = self.loop.call_later(self.head_seconds, self._hang_up)

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone, and its alarm with it."""
        self._quiet()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Something came: a whole head stops the alarm, the beginning of the next sets it."""
        super().data_received(data)
        if self.cycle and not self.cycle.response_complete:
            self._quiet()
        elif self._alarm is None and not self.transport.is_closing():
            self._alarm = self.loop.call_later(self.head_seconds, self._hang_up)

    def _quiet(self) -> None:
        if self._alarm:
            self._alarm.cancel()
            self._alarm = None

    def _hang_up(self) -> None:
        self._alarm = None
        self.transport.abort()

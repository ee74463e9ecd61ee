"""Pairing a phone: the one page that an unpaired device sees.

Opening the link never spends the code, because links are looked at ahead of people; sending the form does. Wrong codes
are counted, and nobody may try many, nor at once.
"""

from __future__ import annotations

import ipaddress
import time
from collections import deque

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vanstock.errors import LedgerUnusable, VanstockError
from vanstock.web.desk import Desk
from vanstock.web.devices import PAIRED_SECONDS
from vanstock.web.render import fields_of, page

WINDOW_SECONDS = 600
TRIES_EACH = 5
TRIES_ALL = 30
_REMEMBERED = 500


class Tries:
    """When wrong codes came, from whom: at most so many from one address, and from all, within ten minutes."""

    def __init__(self) -> None:
        self._wrong: deque[tuple[float, str]] = deque(maxlen=_REMEMBERED)

    def too_many(self, address: str) -> bool:
        """Whether an address, or everybody, has to wait."""
        while self._wrong and time.monotonic() - self._wrong[0][0] > WINDOW_SECONDS:
            self._wrong.popleft()
        own = sum(who == _net(address) for _, who in self._wrong)
        return own >= TRIES_EACH or len(self._wrong) >= TRIES_ALL

    def wrong(self, address: str) -> None:
        """Count a wrong code."""
        self._wrong.append((time.monotonic(), _net(address)))

    def not_wrong(self, address: str) -> None:
        """Take the latest back that was counted for an address."""
        for place in reversed(range(len(self._wrong))):
            if self._wrong[place][1] == _net(address):
                del self._wrong[place]
                return


def _net(address: str) -> str:
    """Whom an address stands for: one machine has all of an IPv6 network's addresses (RFC 4291, section 2.5.4)."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return str(ipaddress.ip_network((int(known) >> 64 << 64, 64))) if known.version == 6 else str(known)


class Pairing:
    """The pairing page of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.tries = desk, Tries()

    async def show(self, request: Request) -> Response:
        """The form, with the code of the link filled in."""
        return self._form(request, request.query_params.get("code", "")[:20])

    async def authority(self, _: Request) -> Response:
        """The certificate of this computer's own authority, which is no secret, for a phone that is to trust it."""
        if self.desk.authority is None:
            raise HTTPException(404)
        return Response(self.desk.authority(), media_type="application/x-x509-ca-cert")

    def _form(self, request: Request, code: str, why: str = "", status: int = 200) -> Response:
        device = request.scope["device"]
        context = {"code": code, "why": why, "paired_as": device, "authority": self.desk.authority is not None}
        answer = page(request, "pair", context, status=status)
        answer.headers["Cache-Control"] = "no-store"
        return answer

    async def pair(self, request: Request) -> Response:
        """Spend the code and hand the phone its cookie."""
        try:
            fields = await fields_of(request)
        except HTTPException as wrong:
            if wrong.status_code != 422:
                raise
            return self._form(request, "", str(wrong.detail), 422)
        code, name = fields.get("code", "")[:20], fields.get("name", "")
        address = request.client.host if request.client else ""
        if self.tries.too_many(address):
            answer = self._form(request, "", "Too many wrong codes: wait ten minutes.", 429)
            answer.headers["Retry-After"] = str(WINDOW_SECONDS)
            return answer
        self.tries.wrong(address)  # until it is known to be right: of many sent at once none is looked at too many
        try:
            token = await run_in_threadpool(self.desk.devices.pair, code, name)
        except VanstockError as mistake:
            self.tries.not_wrong(address)
            return self._form(request, code, str(mistake), 503 if isinstance(mistake, LedgerUnusable) else 422)
        if token is None:
            return self._form(request, "", "That code is wrong, spent or older than ten minutes: "
                                           "`vanstock device add` makes another.", 422)  # fmt: skip
        self.tries.not_wrong(address)
        self.desk.tell(f"paired: {' '.join(name.split())}")
        done = RedirectResponse("/", 303)
        scheme = request.scope["scheme"]
        done.set_cookie(
            self.desk.cookie_for(scheme), token, max_age=PAIRED_SECONDS, httponly=True, samesite="strict",
            secure=scheme == "https",
        )  # fmt: skip
        return done

"""Pairing a phone: the one page that an unpaired device sees.

Opening the link never spends the code, because links are looked at ahead of people; sending the form does. Wrong codes
are counted, and nobody may try many.
"""

from __future__ import annotations

import time
from collections import deque

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vanstock.errors import VanstockError
from vanstock.web.desk import Desk
from vanstock.web.render import fields_of, page

WINDOW_SECONDS = 600
TRIES_EACH = 5
TRIES_ALL = 30
_COOKIE_SECONDS = 366 * 24 * 3600
_REMEMBERED = 500


class Tries:
    """When wrong codes came, from whom: at most so many from one address, and from all, within ten minutes."""

    def __init__(self) -> None:
        self._wrong: deque[tuple[float, str]] = deque(maxlen=_REMEMBERED)

    def too_many(self, address: str) -> bool:
        """Whether an address, or everybody, has to wait."""
        while self._wrong and time.monotonic() - self._wrong[0][0] > WINDOW_SECONDS:
            self._wrong.popleft()
        own = sum(who == address for _, who in self._wrong)
        return own >= TRIES_EACH or len(self._wrong) >= TRIES_ALL

    def wrong(self, address: str) -> None:
        """Count a wrong code."""
        self._wrong.append((time.monotonic(), address))


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
        fields = await fields_of(request)
        code, name = fields.get("code", "")[:20], fields.get("name", "")
        address = request.client.host if request.client else ""
        if self.tries.too_many(address):
            answer = self._form(request, "", "Too many wrong codes: wait ten minutes.", 429)
            answer.headers["Retry-After"] = str(WINDOW_SECONDS)
            return answer
        try:
            token = await run_in_threadpool(self.desk.devices.pair, code, name)
        except VanstockError as mistake:
            return self._form(request, code, str(mistake), 422)
        if token is None:
            self.tries.wrong(address)
            return self._form(request, "", "That code is wrong, spent or older than ten minutes: "
                                           "`vanstock device add` makes another.", 422)  # fmt: skip
        self.desk.tell(f"paired: {' '.join(name.split())}")
        done = RedirectResponse("/", 303)
        done.set_cookie(
            self.desk.cookie, token, max_age=_COOKIE_SECONDS, httponly=True, samesite="strict",
            secure=request.url.scheme == "https",
        )  # fmt: skip
        return done

"""The door: every request passes here before any page is found.

The Host must be one of ours with its port (a name that somebody else pointed at this machine is not), a POST must come
from a page of ours (exact Origin) as a form of ours and be small (photos go to /scan alone), and whoever is not paired
sees the pairing page and nothing else. Every answer carries the headers that keep a browser to that. Plain ASGI, no
knowledge of the pages.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vanstock.web.desk import Desk

BODY_BYTES = 64 * 1024
PHOTO_BYTES = 12 * 1024 * 1024
_OPEN_TO_ALL = frozenset({"/pair", "/static/style.css", "/static/icon.svg"})
_FORM = "application/x-www-form-urlencoded"
_FORMS = {"/scan": "multipart/form-data"}
"""The one address that takes another kind of form: a photo."""
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=()",
}


def wants_json(request: Request) -> bool:
    """Whether the script asks, and not a person's browser by itself."""
    return "application/json" in request.headers.get("accept", "")


class Guard:
    """The application behind its door."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        refused = self._refused(request)
        await (refused or self.app)(scope, receive, _with_headers(send))

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "").lower()
        if len(request.headers.getlist("host")) != 1 or not self._ours(request, host):
            return PlainTextResponse("This is not an address that vanstock serve was told to answer to.\n", 421)
        if request.method == "POST":
            wrong = _wrong_post(request, f"{request.url.scheme}://{host}")
            if wrong:
                return wrong
        device = self.desk.devices.named_by(request.cookies.get(self.desk.cookie, ""))
        request.scope["device"] = device
        if device is None and request.url.path not in _OPEN_TO_ALL:
            return _unpaired(request)
        return None

    def _ours(self, request: Request, host: str) -> bool:
        """A name from the list, or the very address of this machine at which the request came in."""
        if host in self.desk.hosts:
            return True
        address, port = request.scope.get("server") or ("", 0)
        with suppress(ValueError):
            shown = f"[{address}]" if ipaddress.ip_address(address).version == 6 else address
            return host == f"{shown}:{port}" or (port == 80 and host == shown)
        return False


def _wrong_post(request: Request, own: str) -> Response | None:
    if request.headers.getlist("origin") != [own]:
        return _said(request, 403, "This did not come from a page of vanstock.")
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != _FORMS.get(request.url.path, _FORM):
        return _said(request, 415, "Only a form of vanstock can be sent here.")
    return None


def _said(request: Request, status: int, why: str) -> Response:
    if wants_json(request):
        return JSONResponse({"state": "refused", "why": why}, status)
    return PlainTextResponse(f"{why}\n", status)


def _unpaired(request: Request) -> Response:
    if wants_json(request):
        return JSONResponse({"state": "unpaired"}, 401)
    if request.method == "GET" and not request.url.path.startswith("/static/"):
        return RedirectResponse("/pair", 303)
    return PlainTextResponse("This phone is not paired: open /pair.\n", 401)


def _with_headers(send: Send) -> Callable[[Message], Awaitable[None]]:
    async def sending(message: Any) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "private, no-cache")
        await send(message)

    return sending

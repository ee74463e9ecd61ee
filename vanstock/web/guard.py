"""The door: every request passes here before any page is found.

The Host must be one of ours with its port (a name that somebody else pointed at this machine is not), a POST must come
from a page of ours (exact Origin) as a form of ours, be small (photos go to /scan alone) and come within a while, and
whoever is not paired sees the pairing page and nothing else. Every answer carries the headers that keep a browser to
that. What is judged here is what the pages are found by (the scope), never an address put together from it. Plain ASGI,
no knowledge of the pages.
"""

from __future__ import annotations

import asyncio
import hashlib
import ipaddress
import re
from base64 import b64encode
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vanstock.web.desk import Desk

BODY_BYTES = 64 * 1024
BODY_SECONDS = 20.0
"""How long a form may take to arrive; longer than the pages' own patience, so that nothing they wait for is cut off."""
_MOST_COOKIES = 4
_OPEN_TO_ALL = frozenset({"/pair", "/authority.crt", "/static/style.css", "/static/icon.svg"})
PHOTO_BYTES = 12 * 1024 * 1024
PHOTO_SECONDS = 120.0
"""A photo takes longer; the pages themselves give up sooner (static/scan.js)."""
_FORM = "application/x-www-form-urlencoded"
_FORMS = {"/scan": "multipart/form-data"}
"""The one address that takes another kind of form: a photo."""
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'{}; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_STYLE_SHEET = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_HEADERS = {
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=()",
}


def policy(text: str = "") -> str:
    """What a browser may load and run for an answer: files of ours alone, and the style sheets that stand in this text,
    each let through by its hash (https://www.w3.org/TR/CSP3/#grammardef-hash-source)."""
    sheets = (hashlib.sha256(sheet.encode()).digest() for sheet in _STYLE_SHEET.findall(text))
    return _POLICY.format("".join(f" 'sha256-{b64encode(one).decode()}'" for one in sheets))


def wants_json(request: Request) -> bool:
    """Whether the script asks, and not a person's browser by itself."""
    return "application/json" in request.headers.get("accept", "")


class Guard:
    """The application behind its door."""

    def __init__(
        self, app: ASGIApp, desk: Desk, *, body_seconds: float = BODY_SECONDS, photo_seconds: float = PHOTO_SECONDS
    ) -> None:
        self.app, self.desk = app, desk
        self.body_seconds, self.photo_seconds = body_seconds, photo_seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        refused = self._refused(request)
        seconds = self.photo_seconds if scope["path"] in _FORMS else self.body_seconds
        await (refused or self.app)(scope, _in_time(receive, seconds), _with_headers(send))

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "").lower()
        if len(request.headers.getlist("host")) != 1 or not self._ours(request, host):
            return PlainTextResponse("This is not an address that vanstock serve was told to answer to.\n", 421)
        if request.method == "POST":
            wrong = _wrong_post(request, f"{request.scope['scheme']}://{host}")
            if wrong:
                return wrong
        device = self._device(request)
        request.scope["device"] = device
        if device is None and request.scope["path"] not in _OPEN_TO_ALL:
            return _unpaired(request)
        return None

    def _device(self, request: Request) -> str | None:
        """The device whose cookie came along. A cookie can be put beside ours by another server of the same host:
        that takes no phone off, and two that are paired are nobody."""
        own = self.desk.cookie_for(request.scope["scheme"])
        sent = [word for header in request.headers.getlist("cookie") for word in header.split(";")]
        tokens = [token for word in sent for name, token in cookie_parser(word).items() if name == own][:_MOST_COOKIES]
        found = {self.desk.devices.named_by(token) for token in tokens} - {None}
        return found.pop() if len(found) == 1 else None

    def _ours(self, request: Request, host: str) -> bool:
        """A name from the list, or the very address of this machine at which the request came in."""
        if host in self.desk.hosts:
            return True
        address, port = request.scope.get("server") or ("", 0)
        with suppress(ValueError):
            shown = f"[{address}]" if ipaddress.ip_address(address).version == 6 else address
            usual = {"http": 80, "https": 443}[request.scope["scheme"]]
            return host == f"{shown}:{port}" or (port == usual and host == shown)
        return False


def _wrong_post(request: Request, own: str) -> Response | None:
    if request.headers.getlist("origin") != [own]:
        return _said(request, 403, "This did not come from a page of vanstock.")
    if "transfer-encoding" in request.headers and "content-length" in request.headers:
        return _said(request, 400, "A form has one length.")  # RFC 9112 section 6.3: an attempt at smuggling
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != _FORMS.get(request.scope["path"], _FORM):
        return _said(request, 415, "Only a form of vanstock can be sent here.")
    return None


def _said(request: Request, status: int, why: str) -> Response:
    if wants_json(request):
        return JSONResponse({"state": "refused", "why": why}, status)
    return PlainTextResponse(f"{why}\n", status)


def _unpaired(request: Request) -> Response:
    if wants_json(request):
        return JSONResponse({"state": "unpaired"}, 401)
    if request.method == "GET" and not request.scope["path"].startswith("/static/"):
        return RedirectResponse("/pair", 303)
    return PlainTextResponse("This phone is not paired: open /pair.\n", 401)


def _in_time(receive: Receive, seconds: float) -> Receive:
    """The body of a request as long as it comes in time; then as if the line had been cut."""
    until = asyncio.get_running_loop().time() + seconds
    whole = False

    async def receiving() -> Message:
        nonlocal whole
        if whole:
            return await receive()
        try:
            async with asyncio.timeout_at(until):
                message = await receive()
        except TimeoutError:
            return {"type": "http.disconnect"}
        whole = not message.get("more_body", False)
        return message

    return receiving


def _with_headers(send: Send) -> Callable[[Message], Awaitable[None]]:
    strictest = policy()

    async def sending(message: Any) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
            headers.setdefault("Content-Security-Policy", strictest)
            headers.setdefault("Cache-Control", "private, no-cache")
        await send(message)

    return sending

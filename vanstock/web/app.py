"""The application: which address leads where, and how a mistake is shown. Called by `cli.serve` and the tests."""

from __future__ import annotations

import hashlib
from importlib.resources import files

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from vanstock.errors import LedgerUnusable, NotFound, VanstockError
from vanstock.web.acting import Acting
from vanstock.web.chartpages import ChartPages
from vanstock.web.desk import Desk
from vanstock.web.guard import BODY_BYTES, PHOTO_BYTES, Guard, wants_json
from vanstock.web.jobpage import JobPage
from vanstock.web.pages import DayPages
from vanstock.web.pairing import Pairing
from vanstock.web.render import page
from vanstock.web.scanpage import Scanning
from vanstock.web.stockpage import StockPages
from vanstock.web.weekpage import WeekPage

_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".png": "image/png",
          ".webmanifest": "application/manifest+json"}  # fmt: skip
_WORTH_PACKING = 1000
"""Bytes."""


def create_app(desk: Desk) -> ASGIApp:
    """The phone face of one desk, behind its door."""
    pairing, day, job, stock, charts = Pairing(desk), DayPages(desk), JobPage(desk), StockPages(desk), ChartPages(desk)
    routes = [
        Route("/", day.today),
        Route("/load", day.load),
        Route("/print", day.print),
        Route("/job/{job:path}", job.show),
        Route("/find", job.find),
        Route("/stock", stock.stock),
        Route("/history/{name:path}", stock.history),
        Route("/week", WeekPage(desk).show),
        Route("/curve", charts.curve),
        Route("/curve.svg", charts.curve_picture),
        Route("/forecast/{name:path}", charts.part),
        Route("/forecast.svg", charts.part_picture),
        Route("/act", Acting(desk).act, methods=["POST"]),
        Route("/scan", Scanning(desk).scan, methods=["POST"], max_body_size=PHOTO_BYTES),
        Route("/pair", pairing.show),
        Route("/pair", pairing.pair, methods=["POST"]),
        Route("/authority.crt", pairing.authority),
        Route("/static/{name}", static),
        Route("/sw.js", worker),
    ]
    handlers = {VanstockError: _mistake, HTTPException: _not_so, ClientDisconnect: _cut_off, Exception: _bug}
    inner = Starlette(routes=routes, exception_handlers=handlers, max_body_size=BODY_BYTES)
    # Half the bytes on a slow line for half a millisecond here. No page holds a secret beside what somebody else chose,
    # which is what makes packing under https unsafe (https://www.breachattack.com).
    return Guard(GZipMiddleware(inner, minimum_size=_WORTH_PACKING, compresslevel=6), desk)


async def static(request: Request) -> Response:
    """A file of ours by its name; there are no folders, so that no path leads out."""
    return _file(request.path_params["name"])


async def worker(_: Request) -> Response:
    """The service worker, from the top, so that it may serve every page; it keeps pages by version of our files."""
    answer = _file("sw.js")
    own = files("vanstock.web").joinpath("static")
    held = b"".join(file.read_bytes() for file in sorted(own.iterdir(), key=lambda file: file.name) if file.is_file())
    version = hashlib.sha256(held).hexdigest()[:12].encode()
    return Response(bytes(answer.body).replace(b"VERSION", version), media_type=answer.media_type)


def _file(name: str) -> Response:
    known = {file.name: file for file in files("vanstock.web").joinpath("static").iterdir() if file.is_file()}
    kind = _TYPES.get(name[name.rfind(".") :])
    if name not in known or kind is None:
        raise HTTPException(404)
    return Response(known[name].read_bytes(), media_type=kind)


async def _mistake(request: Request, error: Exception) -> Response:
    status = 503 if isinstance(error, LedgerUnusable) else 404 if isinstance(error, NotFound) else 422
    return _told(request, status, str(error))


async def _not_so(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 400
    words = {
        404: "There is no such page.", 405: "This cannot be done here.", 408: "That took too long: send it again.",
        413: "That is too much to send.", 503: "Too much is being sent at once: try again in a moment.",
    }  # fmt: skip
    return _told(request, status, words.get(status, "That request cannot be understood."))


async def _cut_off(request: Request, _: Exception) -> Response:
    return _told(request, 408, "That did not arrive whole.")


async def _bug(request: Request, _: Exception) -> Response:
    return _told(request, 500, "Something is wrong in vanstock itself; what you did is not recorded yet.")


def _told(request: Request, status: int, words: str) -> Response:
    if wants_json(request):
        return JSONResponse({"state": "later" if status >= 500 or status == 408 else "refused", "why": words}, status)
    if request.scope["device"] is None:
        return PlainTextResponse(f"{words}\n", status)
    return page(request, "told", {"words": words}, status=status)

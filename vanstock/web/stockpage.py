"""The stock pages: find a part, what lies where, count it, and its history."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from vanstock.errors import NotFound
from vanstock.web.render import page, van_asked
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.web.desk import Desk

_HISTORY = 50


class StockPages:
    """Stock and history of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def stock(self, request: Request) -> Response:
        """What lies where."""
        return page(request, "stock", await run_in_threadpool(self._stock, request))

    def _stock(self, request: Request) -> dict[str, Any]:
        from vanstock.routines import stock as routine
        from vanstock.routines.scan import lacking

        query, place = request.query_params.get("q", "")[:100], request.query_params.get("place", van_asked(request))
        with self.desk.session(request.scope["device"]) as session:
            places = [one for one in routine.list_places(session) if one.kind in ("van", "store")]
            try:
                rows = routine.stock(session, query, place=place)
            except NotFound:
                rows = []
            return {
                "top": top_of(self.desk, request, session),
                "q": query,
                "place": place,
                "places": [(one.place, one.kind == "van") for one in places],
                "places_vans": sum(one.kind == "van" for one in places),
                "rows": rows,
                "scan_lacks": lacking(),
            }

    async def history(self, request: Request) -> Response:
        """The entries behind a part or a job, newest first."""
        return page(request, "history", await run_in_threadpool(self._history, request))

    def _history(self, request: Request) -> dict[str, Any]:
        from vanstock.routines import stock as routine
        from vanstock.routines.entrywords import in_a_line

        with self.desk.session(request.scope["device"]) as session:
            found = routine.history(session, request.path_params["name"], limit=_HISTORY)
            return {
                "top": top_of(self.desk, request, session),
                "title": found.title,
                "part": found.part,
                "entries": [(past, in_a_line(past, found.parts)) for past in found.entries],
            }

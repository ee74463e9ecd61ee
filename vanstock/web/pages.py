"""The pages of the day: Today and Load. The morning works them out; they are kept until the ledger changes."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from vanstock.quantity import format_qty
from vanstock.web.render import page, van_asked
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.routines.loadout import LoadOut
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk


def kept_load_out(desk: Desk, session: Session, day: date, van: str) -> LoadOut:
    """The load-out of a van for a day, worked out once for the ledger as it is; its odds are kept for the score."""
    from vanstock.routines import morning
    from vanstock.routines.score import keep_odds
    from vanstock.routines.today import after_keeping, state_of

    before = state_of(session)

    def work_out() -> tuple[object, LoadOut]:
        found = morning.load_out(session, day, van=van)
        not_kept = keep_odds(session, found)
        if not_kept:
            desk.tell(f"note: these odds were not kept for `vanstock score`: {not_kept}")
        return (after_keeping(before, state_of(session)), day, found.van), found

    return desk.load_outs.get((before, day, van), work_out)


def warm(desk: Desk) -> None:
    """Work Today out before anybody asks for it."""
    from vanstock.errors import VanstockError
    from vanstock.routines.today import day_to_show

    with suppress(VanstockError), desk.session("terminal") as session:
        kept_load_out(desk, session, day_to_show(session), "van")


class DayPages:
    """Today and Load of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def today(self, request: Request) -> Response:
        """The jobs in order with their odds, and what to load and buy in short."""
        return await self._shown(request, "today", self._today)

    async def load(self, request: Request) -> Response:
        """What to load, by where it lies."""
        return await self._shown(request, "load", self._load)

    async def _shown(self, request: Request, name: str, gather: Callable[[Request], dict[str, Any]]) -> Response:
        return page(request, name, await run_in_threadpool(gather, request))

    def _day(self, request: Request, session: Session) -> tuple[LoadOut, list[str]]:
        from vanstock.routines import today as routine
        from vanstock.workdays import parse_date

        named = request.query_params.get("date", "")
        day = parse_date(named) if named else routine.day_to_show(session)
        van = van_asked(request) or "van"
        return kept_load_out(self.desk, session, day, van), routine.vans(session)

    def _today(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.printing import load_out_page
        from vanstock.routines.today import done_on

        with self.desk.session(request.scope["device"]) as session:
            found, vans = self._day(request, session)
            return {
                "top": top_of(self.desk, request, session),
                "day": load_out_page(found, session.now),
                "is_today": found.date == session.today,
                "van": found.van,
                "vans": vans,
                "done": done_on(session, found.date, van=found.van),
                "loads": len(found.load),
            }

    def _load(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.printing import load_out_page

        with self.desk.session(request.scope["device"]) as session:
            found, vans = self._day(request, session)
            by_place = attrgetter("from_place")
            rows = sorted(found.load, key=by_place)
            lines = [(row.part.part, format_qty(row.qty, row.part.unit), row.from_place) for row in rows]
            return {
                "top": top_of(self.desk, request, session),
                "day": load_out_page(found, session.now),
                "date": found.date.isoformat(),
                "van": found.van,
                "vans": vans,
                "places": [(place, list(group)) for place, group in groupby(rows, key=by_place)],
                "lines": json.dumps(lines),
            }

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
from starlette.responses import HTMLResponse, Response

from vanstock.errors import VanstockError
from vanstock.quantity import format_qty
from vanstock.web.desk import Shown
from vanstock.web.guard import policy
from vanstock.web.moving import loading
from vanstock.web.render import page, van_asked
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.routines.loadout import LoadOut
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk


_WARMED = 4


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
    """Work Today of the vans that set out first out before anybody asks for it; twice, since the odds that are kept of
    one make the page of the one before it old."""
    from vanstock.routines.today import day_to_show, vans_out

    with suppress(VanstockError), desk.session("terminal") as session:
        day = day_to_show(session)
        out = vans_out(session, day)[:_WARMED] or ["van"]
        for van in out * 2:
            kept_load_out(desk, session, day, van)


def _asked(request: Request) -> tuple[str, str]:
    """Who asks for what: beside the state, all that a page depends on."""
    return request.scope["device"], request.url.query


class DayPages:
    """Today and Load of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def today(self, request: Request) -> Response:
        """The jobs in order with their odds, and what to load and buy in short; the page as it was last sent to this
        phone, while nothing on it can have changed."""
        kept = self._kept(request)
        if kept:
            return HTMLResponse(kept)
        gathered = await run_in_threadpool(self._today, request)
        answer = page(request, "today", gathered)
        if gathered["state"] and "answer" not in request.query_params:
            shown = Shown(bytes(answer.body), gathered["since"], gathered["until"])
            self.desk.shown.keep((gathered["state"], *_asked(request)), shown)
        return answer

    def _kept(self, request: Request) -> bytes | None:
        from vanstock.routines.today import state_unopened

        now = self.desk.moment()
        with suppress(VanstockError):
            shown = self.desk.shown.known((state_unopened(self.desk.ledger, now), *_asked(request)))
            return shown.body if shown and shown.holds(now) else None
        return None

    async def load(self, request: Request) -> Response:
        """What to load, by where it lies."""
        return await self._shown(request, "load", self._load)

    async def _shown(self, request: Request, name: str, gather: Callable[[Request], dict[str, Any]]) -> Response:
        return page(request, name, await run_in_threadpool(gather, request))

    async def print(self, request: Request) -> Response:
        """The load-out as a page to print: the one that `vanstock loadout --print` writes."""
        text = await run_in_threadpool(self._print, request)
        return HTMLResponse(text, headers={"Content-Security-Policy": policy(text)})

    def _print(self, request: Request) -> str:
        from vanstock.routines.printing import load_out_html

        with self.desk.session(request.scope["device"]) as session:
            return load_out_html(session, self._day(request, session)[0])

    def _day(self, request: Request, session: Session) -> tuple[LoadOut, list[str]]:
        from vanstock.routines import today as routine
        from vanstock.workdays import parse_date

        named = request.query_params.get("date", "")
        day = parse_date(named) if named else routine.day_to_show(session)
        van = van_asked(request) or "van"
        return kept_load_out(self.desk, session, day, van), routine.vans(session)

    def _today(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.printing import load_out_page
        from vanstock.routines.today import done_on, same_until, state_of

        with self.desk.session(request.scope["device"]) as session:
            before = state_of(session)
            found, vans = self._day(request, session)
            top = top_of(self.desk, request, session)
            return {
                "top": top,
                "day": load_out_page(found, session.now),
                "is_today": found.date == session.today,
                "date": found.date.isoformat(),
                "van": found.van,
                "vans": vans,
                "done": done_on(session, found.date, van=found.van),
                "loads": len(found.load),
                "since": session.now,
                "until": same_until(session, found, top.acts),
                "state": before if before == state_of(session) else None,
            }

    def _load(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.printing import load_out_page

        with self.desk.session(request.scope["device"]) as session:
            found, vans = self._day(request, session)
            by_place = attrgetter("from_place")
            rows = sorted(found.load, key=by_place)
            lines = [(row.part.part, format_qty(row.qty, row.part.unit), row.from_place) for row in rows]
            day = load_out_page(found, session.now)
            return {
                "top": top_of(self.desk, request, session),
                "day": day,
                "date": found.date.isoformat(),
                "van": found.van,
                "vans": vans,
                "places": [(place, list(group)) for place, group in groupby(rows, key=by_place)],
                "lines": json.dumps(lines),
                "once": "\n".join(loading(part, place, found.van) for part, _, place in lines),
                "elsewhere": list(zip(found.elsewhere, day.elsewhere, strict=True)),
            }

"""The pages with a chart: cash against finished jobs, and the forecast of a part. Each chart is an SVG of its own.

What they show takes seconds to work out, so the page comes at once without figures and again with them (see `behind`),
while its picture waits for the same work. Nothing is worked out or drawn twice for the ledger as it is; one picture is
drawn at a time, since matplotlib's style is the whole program's.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from vanstock.errors import NotFound
from vanstock.web.behind import Behind
from vanstock.web.render import page
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.routines.curve import Curve
    from vanstock.routines.session import Session
    from vanstock.routines.today import State
    from vanstock.routines.why import Why
    from vanstock.web.desk import Desk

_KEPT = {"Cache-Control": "private, max-age=900"}
"""A picture's address says which ledger it is of: another ledger, another address."""


class ChartPages:
    """The charts of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.behind_curve, self.behind_parts = Behind(desk, "the curve"), Behind(desk, "a forecast")

    async def curve(self, request: Request) -> Response:
        """Cash against finished jobs, or that it is being worked out."""
        return page(request, "curve", await run_in_threadpool(self._curve, request))

    def _curve(self, request: Request) -> dict[str, Any]:
        from vanstock.routines import curve as routine
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            state = state_of(session)
            known, failed = self.desk.curves.known(state), ""
            if known is None:
                failed = self.behind_curve.begin(state, lambda own: self._curve_of(own, state))
            found = known[0] if known else None
            return {
                "top": top_of(self.desk, request, session),
                "found": found,
                "failed": failed,
                "rows": routine.told_spots(found) if found else [],
                "more": routine.more_told(found) if found else "",
                "meaning": routine.MEANING,
                "no_jobs": routine.NO_JOBS,
                "picture": f"/curve.svg?of={_short(state)}",
            }

    def _curve_of(self, session: Session, state: State) -> tuple[Curve, str]:
        """The curve and the currency, worked out once for a state."""
        from vanstock.routines import curve as routine
        from vanstock.routines.settings import setting_text

        def work_out() -> tuple[State, tuple[Curve, str]]:
            return state, (routine.curve(session, routine.USUAL_MORE), setting_text(session, "currency"))

        return self.desk.curves.get(state, work_out)

    async def curve_picture(self, request: Request) -> Response:
        """The curve as SVG, when it is worked out."""
        return _svg(await run_in_threadpool(self._curve_picture, request))

    def _curve_picture(self, request: Request) -> str:
        from vanstock.routines.curve import NO_JOBS
        from vanstock.routines.pictures import curve_svg
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            state, dark = state_of(session), _is_dark(request)
            found, currency = self._curve_of(session, state)
        if found.levels is None:
            raise NotFound(f"nothing to draw: {NO_JOBS}")
        key = (state, "curve", dark)
        return self.desk.drawings.get(key, lambda: (key, curve_svg(found, currency, dark=dark)))

    async def part(self, request: Request) -> Response:
        """The forecast of a part, or that it is being worked out."""
        return page(request, "forecast", await run_in_threadpool(self._part, request))

    def _part(self, request: Request) -> dict[str, Any]:
        from vanstock.routines import forecastwords as words
        from vanstock.routines.naming import find_part
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            part, state = find_part(session, request.path_params["name"]), state_of(session)
            found, failed = self.desk.forecasts.known((state, part.part)), ""
            if found is None:
                failed = self.behind_parts.begin(
                    (state, part.part), lambda own: self._forecast_of(own, state, part.part)
                )
            return {
                "top": top_of(self.desk, request, session),
                "part": found.now.row.part if found else part,
                "found": found,
                "failed": failed,
                "figures": words.figures_of(found) if found else [],
                "told": words.told_of(found) if found else [],
                "weeks": words.weeks_of(found) if found else [],
                "picture": f"/forecast.svg?of={_short(state)}&part=",
                "asked": part.part,
            }

    def _forecast_of(self, session: Session, state: State, part: str) -> Why:
        """The forecast of a part and what it rests on, worked out once for a state."""
        from vanstock.routines.why import why

        key = (state, part)
        return self.desk.forecasts.get(key, lambda: (key, why(session, part)))

    async def part_picture(self, request: Request) -> Response:
        """The forecast of a part as SVG, when it is worked out."""
        return _svg(await run_in_threadpool(self._part_picture, request))

    def _part_picture(self, request: Request) -> str:
        from vanstock.routines.naming import find_part
        from vanstock.routines.pictures import part_svg
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            part = find_part(session, request.query_params.get("part", "")[:100])
            state, dark = state_of(session), _is_dark(request)
            found = self._forecast_of(session, state, part.part)
        key = (state, "part", part.part, dark)
        return self.desk.drawings.get(key, lambda: (key, part_svg(found, dark=dark)))


def _is_dark(request: Request) -> bool:
    return request.query_params.get("look") == "dark"


def _short(state: State) -> str:
    """A state as a word for an address."""
    return hashlib.sha256(repr(state).encode()).hexdigest()[:16]


def _svg(text: str) -> Response:
    return Response(text, media_type="image/svg+xml", headers=_KEPT)

"""The page of one job: what it will probably take, biggest first, with a plus and a minus; find, missed, readings,
finish."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from vanstock.quantity import format_qty
from vanstock.web.guard import wants_json
from vanstock.web.render import environment, page
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.model import Job
    from vanstock.routines.jobcard import Likely, Row
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk

FOUND_AT_MOST = 12


class JobPage:
    """The job page of a desk, and finding parts on it."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def show(self, request: Request) -> Response:
        """One job."""
        return page(request, "job", await run_in_threadpool(self._job, request))

    def _job(self, request: Request) -> dict[str, Any]:
        from vanstock.readings import DEFER, KINDS, UNITS
        from vanstock.routines import jobcard
        from vanstock.routines.booking import told_by_codes
        from vanstock.routines.naming import find_job
        from vanstock.routines.scan import lacking

        query = request.query_params.get("q", "")
        with self.desk.session(request.scope["device"]) as session:
            job = find_job(session, request.path_params["job"])
            card = jobcard.card_of(session, job, self._likely(session, job))
            units = {kind.kind: [u.symbol for u in UNITS if u.measure == kind.measure] for kind in KINDS}
            return {
                "top": top_of(self.desk, request, session),
                "job": job,
                "card_of": card,
                "codes": told_by_codes(job),
                "q": query,
                "found": _found(session, job, query),
                "readings": _readings(job),
                "kinds": [(kind, units[kind.kind]) for kind in KINDS],
                "units_all": [unit.symbol for unit in UNITS],
                "defer": DEFER,
                "scan_lacks": lacking(),
            }

    def _likely(self, session: Session, job: Job) -> tuple[Likely, ...]:
        from vanstock.routines.jobcard import likely, worked_out_from

        key = worked_out_from(session, job)
        return self.desk.likely.get(key, lambda: (key, likely(session, job.job)))

    async def find(self, request: Request) -> Response:
        """Parts for what has been typed, the family's first: a JSON list, or cards to put into the page."""
        job, rows = await run_in_threadpool(self._find, request)
        if "text/html" in request.headers.get("accept", "") and not wants_json(request) and job:
            cards = environment().get_template("found.html.j2")
            return HTMLResponse(cards.render(job=job, found=rows))
        return JSONResponse({"parts": [_as_json(row) for row in rows]})

    def _find(self, request: Request) -> tuple[Job | None, tuple[Row, ...]]:
        from vanstock.routines.naming import find_job

        with self.desk.session(request.scope["device"]) as session:
            name = request.query_params.get("job", "")
            job = find_job(session, name) if name else None
            return job, _found(session, job, request.query_params.get("q", ""))


def _found(session: Session, job: Job | None, query: str) -> tuple[Row, ...]:
    from vanstock.routines.jobcard import offered
    from vanstock.routines.naming import offered_parts

    parts = offered_parts(session, query[:100], family=job.family if job else "")[:FOUND_AT_MOST]
    return offered(session, job, parts)


def _as_json(row: Row) -> Mapping[str, object]:
    part = row.part
    return {
        "part": part.part,
        "description": part.description,
        "unit": part.unit,
        "aboard": format_qty(row.aboard, part.unit),
        "fitted": format_qty(row.fitted, part.unit),
        "goes_with": [{"part": r.part.part, "qty": format_qty(r.qty, r.part.unit)} for r in row.riders],
    }


def _readings(job: Job) -> list[tuple[str, str]]:
    """What was read, with what it says, and what became of it by the work."""
    from vanstock.readings import compared, judge, read_readings, show_reading

    taken = read_readings(job.readings)
    before = {one.kind: one for one in taken if not one.after}
    told = []
    for one in taken:
        words = judge(one).words
        if one.after and one.kind in before:
            words = f"{words}. {compared(before[one.kind], one).words}"
        told.append((show_reading(one), words))
    return told

"""The week's page: the orders that something is to come of, and those to draft, which take some seconds to work out.

Until they have been worked out anew, those of the list before are shown of which nothing has been ordered since.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from vanstock.web.behind import Behind
from vanstock.web.render import page
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from datetime import datetime

    from vanstock.model import Part
    from vanstock.routines.ordering import LineState, OrderState, Proposal, Proposed
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk


class Open(NamedTuple):
    """An order, its lines with their parts, and whether goods of it are overdue."""

    order: OrderState
    lines: tuple[tuple[Part, LineState], ...]
    late: bool


class WeekPage:
    """The week of a desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.behind = desk, Behind(desk, "the reorder list")
        self._last: tuple[datetime, Proposal] | None = None

    async def show(self, request: Request) -> Response:
        """The orders to draft, or that they are being worked out; the open orders."""
        return page(request, "week", await run_in_threadpool(self._week, request))

    def _week(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.stock import list_places
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            state = state_of(session)
            found = self.desk.weeks.known(state)
            failed = "" if found else self.behind.begin(state, self._keep)
            return {
                "top": top_of(self.desk, request, session),
                "found": found,
                "failed": failed,
                "to_draft": found.orders if found else self._before(session),
                "orders": _open_orders(session),
                "places": [one.place for one in list_places(session) if one.kind in ("van", "store")],
            }

    def _before(self, session: Session) -> tuple[Proposed, ...]:
        """Of today's list before this one, what can still be ordered so."""
        from vanstock.routines.orderseen import still_open

        at, proposal = self._last or (None, None)
        return still_open(session, proposal) if at and proposal and at.date() == session.today else ()

    def _keep(self, session: Session) -> None:
        from vanstock.routines.orderseen import review
        from vanstock.routines.today import after_keeping, state_of
        from vanstock.routines.why import keep_basis

        before = state_of(session)
        listed, proposal = review(session)
        not_kept = keep_basis(session, listed.basis)
        if not_kept:
            self.desk.tell(f"note: what this list rests on was not kept for `vanstock minmax PART --past`: {not_kept}")
        kept_under = after_keeping(before, state_of(session))
        self.desk.weeks.get(kept_under, lambda: (kept_under, proposal))
        self._last = session.now, proposal


def _open_orders(session: Session) -> list[Open]:
    from vanstock.routines import ordering as routine
    from vanstock.routines.naming import parts_of

    return [
        Open(order, parts_of(session, order), bool(routine.late_lines(session, order)))
        for order in routine.order_list(session)
    ]

"""The week's page: what to order, which takes some seconds to work out, and the orders that something is to come of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from vanstock.web.behind import Behind
from vanstock.web.render import page
from vanstock.web.top import top_of

if TYPE_CHECKING:
    from vanstock.model import Part
    from vanstock.routines.ordering import LineState, OrderState
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

    async def show(self, request: Request) -> Response:
        """The reorder list, or that it is being worked out; the open orders."""
        return page(request, "week", await run_in_threadpool(self._week, request))

    def _week(self, request: Request) -> dict[str, Any]:
        from vanstock.routines.today import state_of

        with self.desk.session(request.scope["device"]) as session:
            state = state_of(session)
            found = self.desk.weeks.known(state)
            if found is None:
                self.behind.begin(state, self._keep)
            return {
                "top": top_of(self.desk, request, session),
                "found": found,
                "orders": _open_orders(session),
            }

    def _keep(self, session: Session) -> None:
        from vanstock.routines import reorder as routine
        from vanstock.routines.today import after_keeping, state_of
        from vanstock.routines.why import keep_basis

        before = state_of(session)
        found = routine.reorder(session)
        not_kept = keep_basis(session, found.basis)
        if not_kept:
            self.desk.tell(f"note: what this list rests on was not kept for `vanstock minmax PART --past`: {not_kept}")
        kept_under = after_keeping(before, state_of(session))
        self.desk.weeks.get(kept_under, lambda: (kept_under, found))


def _open_orders(session: Session) -> list[Open]:
    from vanstock.routines import ordering as routine
    from vanstock.routines.naming import parts_of

    return [
        Open(order, parts_of(session, order), bool(routine.late_lines(session, order)))
        for order in routine.order_list(session)
    ]

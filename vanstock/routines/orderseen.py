"""Orders as somebody saw them proposed and changed them, drafted later: minutes, or hours without signal.

The reorder list is not worked out again for that; what was ordered meanwhile is not ordered twice. The list itself is
in `ordering`. Called by the phone face.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.topup import carriage_of
from vanstock.ledger import orders as ledger_orders
from vanstock.ledger.catalogue import read_catalogue
from vanstock.ledger.entries import Draft
from vanstock.model import Supplier
from vanstock.quantity import parse_qty
from vanstock.routines import ordering
from vanstock.routines.naming import find_part
from vanstock.routines.reorder import Reorder, look_ahead
from vanstock.routines.reorder import reorder as listed
from vanstock.routines.session import Session, once, one_act


class SeenLine(NamedTuple):
    """A line of an order as it was seen, each amount as typed in the part's unit: how much to order (0 leaves it out),
    and what was on order of the part already."""

    part: str
    amount: str
    on_order: str = "0"


def review(session: Session) -> tuple[Reorder, ordering.Proposal]:
    """The reorder list and the orders that `vanstock order` would draft from it, worked out in one go."""
    ahead = look_ahead(session)
    return listed(session, ahead=ahead), ordering.propose(session, ahead=ahead)


def still_open(session: Session, proposal: ordering.Proposal) -> tuple[ordering.Proposed, ...]:
    """The orders of an older proposal of which nothing has been ordered, received or cancelled since."""
    now = ledger_orders.on_order(session.ledger)

    def same(order: ordering.Proposed) -> bool:
        before = order.on_order or {}
        return all(now.get(line.part.part, 0) == before.get(line.part.part, 0) for line in order.lines)

    return tuple(order for order in proposal.orders if same(order))


@one_act
def draft_seen(session: Session, supplier: str, lines: Sequence[SeenLine], entry_id: str = "") -> ordering.Ordered:
    """Write an order down as drafted, under the next number; raises `BadValue` and `NotFound`."""
    asked = (supplier, tuple(lines))
    head = Draft(session.now, ordering.DRAFTED, id=entry_id, asked=asked)
    entry = once(session, head, lambda: ordering.plan_draft(session, _proposed(session, supplier, lines)))
    return ordering.ordered(session, entry)


def _proposed(session: Session, supplier_id: str, seen: Sequence[SeenLine]) -> ordering.Proposed:
    known = read_catalogue(session.ledger)
    supplier = known.suppliers.get(supplier_id, Supplier(""))
    lines, on_order = [], {}
    for one in seen:
        part = find_part(session, one.part)
        if part.part in on_order:
            raise BadValue(f"{part.part} is named twice: say it once")
        if part.supplier != supplier.supplier:
            raise BadValue(f"{part.part} does not come from {supplier_id}: look at the list again, then order")
        on_order[part.part] = parse_qty(one.on_order, part.unit)
        if parse_qty(one.amount, part.unit, pack_size=part.pack_size):
            lines.append(ordering.by_hand(part, one.amount))
    if not lines:
        raise BadValue("every line was left out: nothing to order")
    goods = sum(line.cost for line in lines)
    cutoff, expected = ordering.when(session, known, supplier, [line.part for line in lines])
    return ordering.Proposed(
        supplier, tuple(lines), cutoff, expected, carriage_of(goods, supplier), None, on_order=on_order
    )  # fmt: skip

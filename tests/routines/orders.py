"""Orders of the small firm, for the tests of orders and goods in: drafted by hand, and what they leave behind."""

from __future__ import annotations

from collections.abc import Mapping

from vanstock.ledger import orders as ledger_orders
from vanstock.ledger import reading
from vanstock.ledger.catalogue import read_catalogue
from vanstock.ledger.checking import check
from vanstock.ledger.claims import claims as all_claims
from vanstock.quantity import value_of
from vanstock.routines import ordering
from vanstock.routines.ordering import Proposed, ProposedLine
from vanstock.routines.session import Session

NEXT = {"GKT-1": 4, "VAP-2": 2}
"""Four gaskets at 3.85 and two vaporisers at 130.00: 15.40 and 260.00."""


def proposed(session: Session, amounts: Mapping[str, int], supplier: str = "NEXT") -> Proposed:
    """An order of so many base units as it would be drafted, nothing added to it."""
    known = read_catalogue(session.ledger)
    parts = [known.parts[part] for part in amounts]
    lines = tuple(
        ProposedLine(part, qty, value_of(qty, part.unit, part.cost), "by hand")
        for part, qty in zip(parts, amounts.values(), strict=True)
    )
    cutoff, expected = ordering.when(session, known, known.suppliers[supplier], parts)
    return Proposed(known.suppliers[supplier], lines, cutoff, expected, 0, None)


def drafted(session: Session, amounts: Mapping[str, int] = NEXT, supplier: str = "NEXT") -> str:
    """Draft an order; its number."""
    return ordering.draft(session, proposed(session, amounts, supplier)).order.order_no


def sent(session: Session, amounts: Mapping[str, int] = NEXT, supplier: str = "NEXT") -> str:
    """Draft an order and send it; its number."""
    return ordering.sent(session, drafted(session, amounts, supplier)).order.order_no


def amounts(session: Session, number: str) -> dict[str, tuple[int, int, int, int]]:
    """Ordered, received, cancelled and to come of each line of an order."""
    lines = ordering.order_named(session, number).lines
    return {one.part: (one.ordered, one.received, one.cancelled, one.to_come) for one in lines}


def shown(session: Session, number: str) -> str:
    """The state of an order as it is told."""
    return ordering.order_named(session, number).shown


def held(session: Session) -> dict[tuple[str, str], tuple[int, int]]:
    """What lies in vans and stores: base units and pence by part and place, nothing left out but what is gone."""
    rows = reading.balances(session.ledger)
    return {(row.part, row.place): (row.qty, row.value) for row in rows if row.qty or row.value}


def standing(session: Session) -> tuple[object, ...]:
    """All that an act upon orders can change, but for when: stock, states, lines, what is on order, owed and kept."""
    states = {
        one.order_no: (one.shown, one.expected, one.lines) for one in ordering.order_list(session, only_open=False)
    }
    gone = {number: one for number, one in states.items() if one[2]}
    lots: dict[tuple[str, str], int] = {}
    for lot in ledger_orders.lots(session.ledger):
        lots[lot.part, lot.use_by] = lots.get((lot.part, lot.use_by), 0) + lot.qty
    left = {key: qty for key, qty in lots.items() if qty}
    claims = [claim._replace(since="") for claim in all_claims(session.ledger)]
    return held(session), gone, ledger_orders.on_order(session.ledger), left, claims


def wrong(session: Session) -> list[str]:
    """Every rule that the ledger breaks."""
    return [finding.rule for finding in check(session.ledger) if finding.wrong]


def outside(session: Session) -> tuple[int, int]:
    """Base units and pence over all places, the outside ones too: nought where nothing is lost or made."""
    rows = session.ledger.execute("SELECT sum(qty), sum(value) FROM balance").fetchone()
    return rows[0] or 0, rows[1] or 0

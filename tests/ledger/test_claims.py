"""Claims as rows in the ledger file: what stands of them, and what cannot be is found."""

from __future__ import annotations

import pytest

from tests.routines.orders import wrong
from vanstock.ledger.claims import claims, claims_made
from vanstock.ledger.entries import Draft, post
from vanstock.ledger.orderrows import Owing
from vanstock.routines.session import Session

RULE = "no claim goes back twice, or has more credited or given up than is owed"
OWED = Owing("R0001", "return", "DAY", "SNS-1", 2, 9_440, "", "", "2027-03-31", "owed", "2027-03-01")


def step(name: str, amount: int = 0) -> Owing:
    return OWED._replace(step=name, amount=amount)


def write(session: Session, *rows: Owing) -> None:
    post(session.ledger, Draft(session.now, "noted", orders=rows))


def test_a_claim_stands_at_its_newest_step_with_what_is_left_of_its_money(session: Session) -> None:
    write(session, OWED, step("sent back"), step("credited", 5_000))
    (claim,) = claims(session.ledger)
    assert (claim.open_amount, claim.closed, claim.sent, claim.shown) == (4_440, False, True, "part credited")
    write(session, step("given up", 4_440))
    (claim,) = claims(session.ledger)
    assert (claim.open_amount, claim.closed, claim.shown) == (0, True, "credited, the rest given up")
    assert (claims_made(session.ledger), wrong(session)) == (1, [])


def test_a_step_taken_back_and_put_back_stands_once(session: Session) -> None:
    sent = step("sent back")
    back = sent._replace(qty=-sent.qty)
    write(session, OWED, sent, back)
    assert [one.step for one in claims(session.ledger)] == ["owed"]
    write(session, sent)
    assert [one.step for one in claims(session.ledger)] == ["sent back"]
    write(session, back, OWED._replace(qty=-2, amount=-9_440))
    assert (claims(session.ledger), wrong(session)) == ([], [])


@pytest.mark.parametrize(
    "rows",
    [
        [step("credited", 1)],
        [OWED, step("sent back"), step("sent back")],
        [OWED, step("taken off"), step("taken off")],
        [OWED, step("credited", 9_441)],
        [OWED, step("credited", 9_000), step("given up", 441)],
        [OWED, step("sent back")._replace(qty=-2)],
        [OWED, step("sent back")._replace(qty=1)],
        [OWED, step("sent back")._replace(supplier="NEXT")],
        [OWED._replace(job="J9")],
        [OWED._replace(order_no="O0009")],
    ],
)
def test_a_claim_that_cannot_be_is_found(session: Session, rows: list[Owing]) -> None:
    write(session, OWED._replace(claim="R0007"))
    assert wrong(session) == []
    write(session, *rows)
    assert wrong(session) == [RULE]

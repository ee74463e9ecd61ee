"""Four phones and a terminal at once over a real line: no error, and every act in the ledger exactly once."""

from __future__ import annotations

from tests.web import phones
from tests.web.conftest import Firm

FIELDS = {"job": "J1", "part": "GKT-1", "qty": "1"}


def test_four_phones_and_the_terminal_at_once_lose_nothing_and_nobody_is_refused(firm: Firm) -> None:
    with phones.serving(firm.ledger) as port:
        posted = phones.post_at_once(firm.ledger, port, phones=4, acts=25, fields=FIELDS)
    assert len(set(posted.ids)) == 100
    assert posted.written > 0
    assert phones.faults_after(firm.ledger, posted, FIELDS) == []
    assert firm.held("GKT-1") == 3 - 100 - posted.written


def test_a_lost_act_and_one_counted_twice_would_be_found(firm: Firm) -> None:
    with phones.serving(firm.ledger) as port:
        posted = phones.post_at_once(firm.ledger, port, phones=1, acts=2, fields=FIELDS)
    lost = posted._replace(ids=(*posted.ids, "f" * 32))
    assert "3 acts, 2 entries" in phones.faults_after(firm.ledger, lost, FIELDS)[0]
    assert len(phones.faults_after(firm.ledger, posted._replace(ids=posted.ids[:1]), FIELDS)) == 2

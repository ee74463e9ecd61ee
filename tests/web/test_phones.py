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
    # The check itself: a lost act and one that is there without having been sent would be found.
    lost, strange = posted._replace(ids=(*posted.ids, "f" * 32)), posted._replace(ids=posted.ids[1:])
    for wrong, number in ((lost, 101), (strange, 99)):
        assert phones.faults_after(firm.ledger, wrong, FIELDS)[0] == f"{number} acts, 100 entries of theirs"

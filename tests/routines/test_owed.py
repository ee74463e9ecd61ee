"""What is owed by whom by when, in what order it is told, and what unused goods may still go back."""

from __future__ import annotations

from datetime import date

import pytest

from tests.routines.orders import sent
from tests.routines.weeks import change_part, later
from vanstock.ledger.basis import Basis, keep
from vanstock.ledger.catalogue import save_pin
from vanstock.ledger.entries import Draft, post
from vanstock.ledger.file import writing
from vanstock.model import Forecast, Job, MinMax
from vanstock.routines import goingback, job, stock
from vanstock.routines.apart import Asked, goes_back
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.owed import MayGoBack, owed
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting


def listed(session: Session, **most: int) -> None:
    """What a reorder list rested on: a max for each part, `_` for `-` in its name."""
    at = session.now.astimezone().isoformat(timespec="seconds")
    with writing(session.ledger) as ledger:
        for name, level in most.items():
            part = name.replace("_", "-")
            found = Forecast(part, "smooth", "mean", (), False, 9, 9, 1.0, 5, 1.0, 1.0, "poisson", {})
            keep(ledger, [Basis(at, MinMax(part, 0, level, pinned=False, basis=""), found)])


def may(session: Session) -> list[tuple[str, int, str]]:
    return [(one.part.part, one.qty, one.order_no) for one in owed(session).may_go_back]


def names(session: Session) -> list[tuple[str, list[tuple[str, bool]]]]:
    """Each supplier with its claims and whether they are overdue, in the order told."""
    found = owed(session).suppliers
    return [(one.supplier.supplier, [(row.claim.claim, row.overdue) for row in one.rows]) for one in found]


def test_nothing_is_owed_at_first(session: Session) -> None:
    assert (owed(session).suppliers, owed(session).may_go_back, owed(session).total) == ((), (), 0)


def test_what_is_due_first_is_told_first_and_overdue_once_its_last_day_is_over(session: Session) -> None:
    change_part(session, "VAP-2", surcharge=4_500)
    receive(session, sent(session, {"SNS-1": 1}, "DAY"), Came(damaged={"SNS-1": "1"}, rest="cancel"))
    receive(later(session, days=1), sent(session, {"VAP-2": 1}))
    stock.receive(session, "GLV-1", "1pack")
    goes_back(session, Asked("GLV-1", "1pack", by="2027-03-20"))
    assert names(session) == [("WEEK", [("R0003", False)]), ("NEXT", [("R0002", False)]), ("DAY", [("R0001", False)])]
    assert names(later(session, days=29)) == [
        ("WEEK", [("R0003", True)]), ("NEXT", [("R0002", False)]), ("DAY", [("R0001", False)]),
    ]  # fmt: skip
    assert names(later(session, days=31))[1:] == [("NEXT", [("R0002", True)]), ("DAY", [("R0001", True)])]


def test_what_was_sent_is_not_overdue_and_what_is_settled_is_told_only_when_asked(session: Session) -> None:
    receive(session, sent(session), Came(damaged={"VAP-2": "1"}))
    late = later(session, days=90)
    goes_back(late, Asked("GKT-1", by="2027-05-01"))
    goingback.sent_back(late, ["R0001"])
    assert names(late) == [("NEXT", [("R0002", True), ("R0001", False)])]
    assert owed(late).total == 13_000 + 385
    goingback.credited(late, "R0001")
    assert (names(late), owed(late).total) == ([("NEXT", [("R0002", True)])], 385)
    assert [row.claim.claim for row in owed(late, everything=True).suppliers[0].rows] == ["R0002", "R0001"]


def test_goods_beyond_the_last_lists_max_may_go_back_until_the_window_closes(session: Session) -> None:
    number = sent(session)
    receive(session, number)
    listed(session, VAP_2=0, GKT_1=3)
    found = owed(session).may_go_back
    assert [(one.part.part, one.qty, one.supplier, one.last_day, one.amount, one.why) for one in found] == [
        ("GKT-1", 1, "NEXT", date(2027, 3, 31), 385, "4 on hand, max is 3"),
        ("VAP-2", 2, "NEXT", date(2027, 3, 31), 26_000, "2 on hand, max is 0"),
    ]
    assert len(may(later(session, days=30))) == 2
    assert may(later(session, days=31)) == []
    change_setting(session, "return_days", "31")
    assert len(may(later(session, days=31))) == 2


def test_a_part_that_no_list_spoke_of_is_not_called_unused_and_a_pin_is_a_reason_to_hold(session: Session) -> None:
    receive(session, sent(session))
    listed(session, VAP_2=0)
    assert may(session) == [("VAP-2", 2, "O0001")]
    with writing(session.ledger) as ledger:
        save_pin(ledger, "VAP-2", (1, 2))
    assert may(session) == []


def test_what_a_job_took_since_it_came_is_not_unused(session: Session) -> None:
    post(session.ledger, Draft(session.now, "booked", bookings=(Job("J1", session.today, "09:00", "AAA", "clean"),)))
    stock.receive(session, "VAP-1", "3", place="van")
    job.fit(session, "J1", "VAP-1")
    receive(session, sent(session))
    listed(session, VAP_2=0)
    assert may(session) == [("VAP-2", 2, "O0001")]
    job.fit(session, "J1", "VAP-1")
    assert may(session) == [("VAP-2", 1, "O0001")]
    job.undo(session)
    assert may(session) == [("VAP-2", 2, "O0001")]


def test_what_is_set_apart_already_is_not_told_again(session: Session) -> None:
    receive(session, sent(session))
    listed(session, VAP_2=0)
    name = goes_back(session, Asked("VAP-2", order="O0001")).claim.claim
    assert may(session) == [("VAP-2", 1, "O0001")]
    goingback.sent_back(session, [name])
    assert may(session) == [("VAP-2", 1, "O0001")]
    goes_back(session, Asked("VAP-2", order="O0001"))
    assert may(session) == []


def test_only_whole_packs_go_back_and_only_what_came_on_an_order(session: Session) -> None:
    receive(session, sent(session, {"FLU-1": 10_000}, "WEEK"))
    stock.receive(session, "SNS-1", "1")
    listed(session, FLU_1=4_000, SNS_1=0)
    assert may(session) == [("FLU-1", 5_000, "O0001")]


def test_goods_in_that_was_undone_or_gone_by_another_way_may_not_go_back(session: Session) -> None:
    receive(session, sent(session))
    listed(session, VAP_2=0, GKT_1=0)
    stock.count(session, "VAP-2", "0", place="store")
    assert may(session) == [("GKT-1", 4, "O0001")]
    job.undo(session)
    _, undoing = job.undo(session)
    assert may(session) == []
    job.undo(session, undoing.id)
    assert may(session) == [("GKT-1", 4, "O0001"), ("VAP-2", 2, "O0001")]


def test_what_has_expired_is_not_offered_and_not_counted_as_on_hand(session: Session) -> None:
    """Four came, to be used by 5 March, and two that keep on the next order; one is wanted."""
    receive(session, sent(session, {"GKT-1": 4}), Came(use_by={"GKT-1": "2027-03-05"}))
    receive(session, sent(session, {"GKT-1": 2}), Came(use_by={"GKT-1": "2027-12-31"}))
    listed(session, GKT_1=1)
    assert may(later(session, days=4)) == [("GKT-1", 2, "O0002"), ("GKT-1", 3, "O0001")]
    after = later(session, days=5)
    (found,) = owed(after).may_go_back
    assert (found.qty, found.order_no, found.why) == (1, "O0002", "2 on hand, max is 1")
    job.undo(after)
    assert may(after) == []


def test_of_two_deliveries_the_newer_is_left_over(session: Session) -> None:
    receive(session, sent(session, {"VAP-2": 1}))
    after = later(session, days=3)
    receive(after, sent(after, {"VAP-2": 1}))
    listed(after, VAP_2=1)
    assert may(after) == [("VAP-2", 1, "O0002")]


@pytest.mark.parametrize(
    ("family", "days", "jobs"), [("AAA", 2, ("J1",)), ("BBB", 2, ()), ("AAA", -1, ())]
)  # the vaporiser fits family AAA alone
def test_booked_jobs_that_may_take_it_are_told(session: Session, family: str, days: int, jobs: tuple[str, ...]) -> None:
    booked = Job("J1", later(session, days=days).today, "09:00", family, "heat-source")
    post(session.ledger, Draft(session.now, "booked", bookings=(booked,)))
    receive(session, sent(session))
    listed(session, VAP_2=0)
    (found,) = owed(session).may_go_back
    assert isinstance(found, MayGoBack)
    assert found.jobs == jobs

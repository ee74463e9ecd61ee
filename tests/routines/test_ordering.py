"""Orders: the last look at the list, numbers, states, what is on order, and the laws that hold for every line."""

from __future__ import annotations

import tempfile
from contextlib import closing
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conftest import NOON, new_ledger
from tests.routines.orders import NEXT, amounts, drafted, outside, proposed, sent, shown, standing, wrong
from tests.routines.weeks import change_part, change_supplier, fill_weeks
from vanstock.errors import BadValue, EntryConflict, NotFound, VanstockError
from vanstock.ledger import orders as ledger_orders
from vanstock.routines import job, ordering
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.ordering import LastLook, Proposal
from vanstock.routines.orderseen import SeenLine, draft_seen, review, still_open
from vanstock.routines.reorder import look_ahead, reorder
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting


@pytest.fixture
def busy(session: Session) -> Session:
    fill_weeks(session)
    return session


def listed(proposal: Proposal) -> dict[str, int]:
    return {line.part.part: line.qty for one in proposal.orders for line in one.lines}


def draft_all(session: Session, look: LastLook = ordering.UNCHANGED) -> list[str]:
    return [ordering.draft(session, one).order.order_no for one in ordering.propose(session, look).orders]


def test_the_list_becomes_one_numbered_order_a_supplier_and_is_not_proposed_again(busy: Session) -> None:
    wanted = listed(ordering.propose(busy))
    assert draft_all(busy) == ["O0001", "O0002", "O0003"]
    assert [one.supplier for one in ordering.order_list(busy)] == ["DAY", "NEXT", "WEEK"]
    assert ledger_orders.on_order(busy.ledger) == wanted
    assert ordering.propose(busy).orders == ()
    for number in ("O0001", "O0002", "O0003"):
        ordering.sent(busy, number)
    assert ordering.propose(busy).orders == ()
    for number in ("O0001", "O0002", "O0003"):
        ordering.cancelled(busy, number)
    assert listed(ordering.propose(busy)) == wanted


def test_a_supplier_without_a_full_name_has_its_cut_off_and_its_day_all_the_same(busy: Session) -> None:
    named = [(one.cutoff, one.expected) for one in ordering.propose(busy).orders]
    assert all(cutoff and expected for cutoff, expected in named)
    for supplier in ("DAY", "NEXT", "WEEK"):
        change_supplier(busy, supplier, name="")
    assert [(one.cutoff, one.expected) for one in ordering.propose(busy).orders] == named


def test_the_same_order_sent_twice_under_one_id_is_one_order(session: Session) -> None:
    wanted = proposed(session, NEXT)
    first = ordering.draft(session, wanted, "one")
    assert ordering.draft(session, wanted, "one") == first
    assert len(ordering.order_list(session)) == 1
    with pytest.raises(EntryConflict):
        ordering.draft(session, proposed(session, {"GKT-1": 1}), "one")


def test_what_is_on_order_is_set_again_only_when_told_to(busy: Session) -> None:
    draft_all(busy)
    with pytest.raises(BadValue, match="3 of GKT-1 are on order already: --again orders more"):
        ordering.propose(busy, LastLook({"GKT-1": "2"}))
    assert listed(ordering.propose(busy, LastLook({"GKT-1": "2"}, again=True, top_up=False))) == {"GKT-1": 2}


def test_amounts_are_set_in_whole_packs_and_parts_dropped(busy: Session) -> None:
    found = ordering.propose(busy, LastLook({"FLU-1": "7L", "BLT-1": "10"}, drop=("sensor",), top_up=False))
    assert listed(found) == {"BLT-1": 10, "GKT-1": 3, "VAP-2": 2, "FLU-1": 10_000}
    assert [line.why for one in found.orders for line in one.lines if line.part.part == "FLU-1"] == [
        "by hand, 7 L in whole packs"
    ]


@pytest.mark.parametrize(
    ("look", "says"),
    [
        (LastLook({"GKT-1": "0"}), "is nothing to order: --drop GKT-1 leaves it off"),
        (LastLook(drop=("HOS-1",)), "HOS-1 is not on the list: nothing to drop"),
    ],
)
def test_a_last_look_that_cannot_be_is_refused(busy: Session, look: LastLook, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        ordering.propose(busy, look)


def test_one_supplier_alone_is_ordered_from_and_one_that_is_not_there_is_told(busy: Session) -> None:
    assert [one.supplier.supplier for one in ordering.propose(busy, LastLook(supplier="WEEK")).orders] == ["WEEK"]
    with pytest.raises(NotFound, match="no supplier 'NONE': there is DAY, NEXT, WEEK"):
        ordering.propose(busy, LastLook(supplier="NONE"))


def test_a_budget_takes_the_most_jobs_for_its_cash_and_tells_what_it_left_off(busy: Session) -> None:
    every = listed(ordering.propose(busy))
    ahead = look_ahead(busy)
    for budget in (0, 1_155, 12_000, 20_000, 10**6):
        found = ordering.propose(busy, LastLook(budget=budget))
        assert sum(one.goods for one in found.orders) <= budget
        assert listed(found) | {line.part.part: line.qty for line in found.left_off} == every
        left = budget - sum(one.goods for one in found.orders)
        kept = [ahead.worth(line.part.part) / line.cost for one in found.orders for line in one.lines]
        for line in found.left_off:
            assert line.cost > left
            better = [worth for worth in kept if worth >= ahead.worth(line.part.part) / line.cost]
            assert better or line.cost > budget


def test_an_order_after_the_cut_off_or_on_a_closed_day_goes_with_the_next(session: Session) -> None:
    change_setting(session, "closed_days", "2027-03-02")
    day = proposed(session, {"SNS-1": 1}, "DAY")
    assert (day.cutoff, day.expected) == (datetime(2027, 3, 3, 11), date(2027, 3, 3))
    early = session._replace(now=datetime(2027, 3, 1, 10, 59))
    assert proposed(early, {"SNS-1": 1}, "DAY").cutoff == datetime(2027, 3, 1, 11)
    assert proposed(session, {"GKT-1": 1}).cutoff == datetime(2027, 3, 1, 17)
    assert proposed(session, {"GKT-1": 1}).expected == date(2027, 3, 3)


def test_a_passed_cut_off_and_a_least_order_not_reached_are_told(busy: Session) -> None:
    change_supplier(busy, "DAY", least_order=50_000)
    day = next(one for one in ordering.propose(busy).orders if one.supplier.supplier == "DAY")
    assert any("it goes with Tue 2027-03-02 11:00" in text for text in day.warnings)
    assert any("least order" in text for text in day.warnings)


def test_parts_without_a_supplier_are_shown_and_cannot_be_drafted(busy: Session) -> None:
    change_part(busy, "GKT-1", supplier="")
    nobody = next(one for one in ordering.propose(busy).orders if not one.supplier.supplier)
    assert [line.part.part for line in nobody.lines] == ["GKT-1"]
    with pytest.raises(BadValue, match="have no supplier"):
        ordering.draft(busy, nobody)


def test_an_order_is_drafted_sent_part_received_received_or_cancelled(session: Session) -> None:
    number = drafted(session)
    assert shown(session, number) == "drafted"
    assert ordering.sent(session, number).order.expected == "2027-03-02"
    assert shown(session, number) == "sent"
    with pytest.raises(BadValue, match="O0001 is sent already"):
        ordering.sent(session, number)
    receive(session, number, Came({"GKT-1": "1", "VAP-2": "0"}))
    assert shown(session, number) == "part received"
    with pytest.raises(BadValue, match="O0001 is part received already"):
        ordering.sent(session, number)
    receive(session, number)
    assert shown(session, number) == "received"
    other = drafted(session)
    ordering.cancelled(session, other)
    assert (other, shown(session, other)) == ("O0002", "cancelled")
    with pytest.raises(BadValue, match="O0002 is cancelled already"):
        ordering.sent(session, other)


def test_one_part_is_cancelled_and_then_the_rest(session: Session) -> None:
    number = sent(session)
    ordering.cancelled(session, number, "gasket")
    assert amounts(session, number) == {"GKT-1": (4, 0, 4, 0), "VAP-2": (2, 0, 0, 2)}
    assert (shown(session, number), ledger_orders.on_order(session.ledger)) == ("sent", {"VAP-2": 2})
    with pytest.raises(BadValue, match="nothing of GKT-1 on O0001 is still to come"):
        ordering.cancelled(session, number, "GKT-1")
    ordering.cancelled(session, number)
    assert shown(session, number) == "cancelled"
    with pytest.raises(BadValue, match="nothing of O0001 is still to come"):
        ordering.cancelled(session, number)


def test_cancelling_what_has_not_come_closes_an_order_as_received(session: Session) -> None:
    number = sent(session)
    receive(session, number, Came({"VAP-2": "0", "GKT-1": "3"}))
    ordering.cancelled(session, number)
    assert amounts(session, number) == {"GKT-1": (4, 3, 1, 0), "VAP-2": (2, 0, 2, 0)}
    assert (shown(session, number), wrong(session)) == ("received", [])


def test_what_the_supplier_reads_leaves_off_what_was_cancelled(session: Session) -> None:
    number = drafted(session)
    doc = ordering.cancelled(session, number, "GKT-1").document
    assert [(line.part.part, line.qty) for line in doc.lines] == [("VAP-2", 2)]
    assert (doc.goods, doc.carriage) == (26_000, 0)


def test_no_order_is_told_with_where_to_look(session: Session) -> None:
    with pytest.raises(NotFound, match="no order 'O0009': `vanstock order list` shows them"):
        ordering.sent(session, "O0009")


def test_drafting_sending_and_cancelling_are_undone_exactly(session: Session) -> None:
    stages = [standing(session)]
    number = drafted(session)
    stages.append(standing(session))
    ordering.cancelled(session, number, "GKT-1")
    stages.append(standing(session))
    ordering.sent(session, number)
    stages.append(standing(session))
    ordering.cancelled(session, number)
    for stage in reversed(stages):
        job.undo(session)
        assert standing(session) == stage
        assert wrong(session) == []
    assert drafted(session) == "O0002"


def test_an_order_never_takes_a_position_above_max_plus_a_pack_topped_up_or_not(busy: Session) -> None:
    change_supplier(busy, "WEEK", carriage_paid_over=1_000_000, least_order=900_000)
    for _ in range(2):
        draft_all(busy)
        for row in look_ahead(busy).positions:
            assert row.position <= row.levels.max + row.part.pack_size


def test_a_draft_is_not_undone_under_what_came_of_it(session: Session) -> None:
    ordering.draft(session, proposed(session, NEXT), "one")
    receive(session, "O0001")
    with pytest.raises(VanstockError, match="undo `"):
        job.undo(session, "one")


def test_what_a_person_drops_is_not_brought_forward_again(busy: Session) -> None:
    change_supplier(busy, "DAY", carriage=5_000, carriage_paid_over=9_500)
    assert "BLT-1" not in listed(ordering.propose(busy, LastLook(drop=("BLT-1",))))


PARTS = {"GKT-1": 5, "VAP-2": 3}
ACT = st.one_of(
    st.tuples(st.just("draft"), st.integers(1, 5), st.integers(1, 3)),
    st.tuples(st.just("send"), st.integers(1, 2), st.just(0)),
    st.tuples(st.just("cancel"), st.integers(1, 2), st.integers(0, 2)),
    st.tuples(st.just("come"), st.integers(1, 2), st.integers(0, 6)),
    st.tuples(st.just("damaged"), st.integers(1, 2), st.integers(0, 2)),
    st.tuples(st.just("come, no more"), st.integers(1, 2), st.integers(0, 3)),
    st.tuples(st.just("undo"), st.just(0), st.just(0)),
)


def do(session: Session, act: tuple[str, int, int]) -> None:
    """One act, or nothing where it is refused."""
    what, number, amount = act[0], f"O{act[1]:04}", act[2]
    try:
        if what == "draft":
            drafted(session, {"GKT-1": act[1], "VAP-2": amount})
        elif what == "send":
            ordering.sent(session, number)
        elif what == "cancel":
            ordering.cancelled(session, number, ("", *PARTS)[amount])
        elif what == "undo":
            job.undo(session)
        else:
            rest = "cancel" if what == "come, no more" else "later"
            damaged = {"VAP-2": str(amount)} if what == "damaged" else {}
            receive(session, number, Came({"GKT-1": str(amount)}, damaged=damaged, carriage=7 * amount, rest=rest))
    except (BadValue, NotFound):
        pass


@given(st.lists(ACT, max_size=9))
@settings(max_examples=25, deadline=None)
def test_ordered_is_received_to_come_and_cancelled_and_value_is_conserved_whatever_is_done(
    acts: list[tuple[str, int, int]],
) -> None:
    with tempfile.TemporaryDirectory() as folder, closing(new_ledger(Path(folder) / "l.db")) as ledger:
        session = Session(ledger, NOON, Path(folder) / "l.db", created=True)
        for act in acts:
            do(session, act)
            for order in ordering.order_list(session, only_open=False):
                for line in order.lines:
                    assert line.ordered == line.received + line.to_come + line.cancelled
                    assert min(line.ordered, line.received, line.to_come, line.cancelled) >= 0
                    assert order.is_open or not line.to_come
            assert outside(session) == (0, 0)
        assert wrong(session) == []


@given(st.dictionaries(st.sampled_from(list(PARTS)), st.integers(1, 9), min_size=1), st.booleans())
@settings(max_examples=10, deadline=None)
def test_a_cancelled_order_leaves_everything_as_before_it_was_drafted(wanted: dict[str, int], out: bool) -> None:
    with tempfile.TemporaryDirectory() as folder, closing(new_ledger(Path(folder) / "l.db")) as ledger:
        session = Session(ledger, NOON, Path(folder) / "l.db", created=True)
        drafted(session)
        before = ledger_orders.on_order(ledger)
        number = sent(session, wanted) if out else drafted(session, wanted)
        ordering.cancelled(session, number)
        assert ledger_orders.on_order(ledger) == before


def test_what_is_reviewed_at_once_is_what_the_two_commands_say(busy: Session) -> None:
    listed, proposal = review(busy)
    assert listed.orders == reorder(busy).orders
    assert proposal == ordering.propose(busy)


def test_an_order_drafted_as_seen_is_the_one_that_the_command_drafts(busy: Session) -> None:
    proposed = ordering.propose(busy)
    order = next(one for one in proposed.orders if one.supplier.supplier)
    lines = [SeenLine(line.part.part, str(line.qty)) for line in order.lines if line.part.unit in ("C62", "PR")]
    assert lines
    seen = draft_seen(busy, order.supplier.supplier, lines)
    assert [(line.part.part, line.qty) for line in seen.document.lines] == [
        (line.part.part, line.qty) for line in order.lines if line.part.unit in ("C62", "PR")
    ]
    left = still_open(busy, proposed)
    assert order not in left
    assert {one.supplier.supplier for one in left} == {
        one.supplier.supplier for one in proposed.orders if one.supplier != order.supplier
    }

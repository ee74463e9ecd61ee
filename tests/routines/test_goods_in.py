"""Goods in: what came, at what price, with what carriage, and how each act is taken back exactly."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.routines.orders import amounts, drafted, held, outside, sent, shown, standing, wrong
from tests.routines.weeks import change_part, later
from vanstock.errors import BadValue, NotFound, VanstockError
from vanstock.ledger import orders as ledger_orders
from vanstock.ledger.claims import claims
from vanstock.ledger.orderrows import LotRow
from vanstock.ledger.valuing import share_carriage
from vanstock.routines import job, ordering, stock
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting


def test_all_comes_as_ordered_at_the_price_ordered_and_closes_the_order(session: Session) -> None:
    number = sent(session)
    found = receive(session, number.lower())
    assert held(session) == {("GKT-1", "store"): (4, 1_540), ("VAP-2", "store"): (2, 26_000)}
    assert amounts(session, number) == {"GKT-1": (4, 4, 0, 0), "VAP-2": (2, 2, 0, 0)}
    assert (found.order.shown, found.place, found.told) == ("received", "store", ())
    with pytest.raises(BadValue, match="nothing of O0001 is still to come: it is received"):
        receive(session, number)
    assert wrong(session) == []


def test_carriage_is_shared_by_value_to_the_penny_into_the_average(session: Session) -> None:
    """By hand: 7.50 over 15.40 and 260.00 is 0.419 and 7.081; 15.82 / 4 and 267.08 / 2 are what one costs now."""
    receive(session, sent(session), Came(carriage=750))
    assert held(session) == {("GKT-1", "store"): (4, 1_582), ("VAP-2", "store"): (2, 26_708)}
    stock.move(session, "VAP-2", "1", source="store", target="van")
    assert held(session)["VAP-2", "van"] == (1, 13_354)


def test_the_average_follows_a_changed_price_and_carriage_and_the_change_is_told(session: Session) -> None:
    """By hand: two at 3.85 are held; three more at 4.10 and 0.50 carriage: (7.70 + 12.30 + 0.50) / 5 = 4.10 each."""
    stock.receive(session, "GKT-1", "2", place="store")
    found = receive(session, sent(session, {"GKT-1": 3}), Came(prices={"gasket": "4.10"}, carriage=50))
    assert held(session) == {("GKT-1", "store"): (5, 2_050)}
    assert any("GKT-1 cost 3.85 before" in text for text in found.told)
    assert (found.arrived[0].price, found.arrived[0].carriage) == (41_000, 50)


@given(st.integers(0, 10**7), st.lists(st.integers(0, 10**7), min_size=1, max_size=8))
def test_a_sum_is_shared_out_to_the_penny_and_no_share_is_more_than_a_penny_from_fair(
    total: int, worth: list[int]
) -> None:
    shares, weights = share_carriage(worth, total), worth if sum(worth) else [1] * len(worth)
    assert sum(shares) == total
    assert all(
        abs(share * sum(weights) - total * one) <= sum(weights) for share, one in zip(shares, weights, strict=True)
    )


def test_what_came_short_comes_later_on_the_day_said_and_is_overdue_after_it(session: Session) -> None:
    number = sent(session)
    found = receive(session, number, Came({"GKT-1": "1"}, expected="2027-03-05"))
    assert amounts(session, number) == {"GKT-1": (4, 1, 0, 3), "VAP-2": (2, 2, 0, 0)}
    assert (found.order.shown, found.order.expected) == ("part received", "2027-03-05")
    late = [[line.part for line in ordering.late_lines(later(session, days=days), found.order)] for days in (4, 5)]
    assert late == [[], ["GKT-1"]]
    receive(later(session, days=4), number)
    assert amounts(session, number)["GKT-1"] == (4, 4, 0, 0)
    assert (shown(session, number), held(session)["GKT-1", "store"]) == ("received", (4, 1_540))


def test_what_came_short_is_cancelled_when_it_will_not_come(session: Session) -> None:
    number = sent(session)
    receive(session, number, Came({"GKT-1": "1"}, rest="cancel"))
    assert amounts(session, number) == {"GKT-1": (4, 1, 3, 0), "VAP-2": (2, 2, 0, 0)}
    assert shown(session, number) == "received"
    assert ledger_orders.on_order(session.ledger) == {}
    assert wrong(session) == []


def test_more_than_was_ordered_and_what_was_not_ordered_are_ordered_by_coming(session: Session) -> None:
    number = sent(session, {"GKT-1": 3})
    found = receive(session, number, Came({"GKT-1": "5", "SNS-1": "1"}))
    assert amounts(session, number) == {"GKT-1": (5, 5, 0, 0), "SNS-1": (1, 1, 0, 0)}
    assert held(session) == {("GKT-1", "store"): (5, 1_925), ("SNS-1", "store"): (1, 4_720)}
    assert found.order.shown == "received"
    assert [text.partition(":")[0] for text in found.told if "more than" in text] == [
        "2 x GKT-1 more than was to come",
        "1 x SNS-1 more than was to come",
    ]
    assert wrong(session) == []


def test_damaged_goods_go_back_are_no_stock_and_are_still_to_come(session: Session) -> None:
    number = sent(session, {"VAP-2": 2})
    found = receive(session, number, Came(damaged={"VAP-2": "1"}))
    assert amounts(session, number) == {"VAP-2": (2, 1, 0, 1)}
    assert held(session) == {("VAP-2", "store"): (1, 13_000)}
    (claim,) = claims(session.ledger)
    assert (claim.claim, claim.kind, claim.part, claim.qty, claim.open_amount) == (
        "R0001",
        "return",
        "VAP-2",
        1,
        13_000,
    )
    assert found.told == ("R0001: VAP-2, damaged, goes back to NEXT by 2027-03-31 (130.00)",)


def test_a_surcharge_is_owed_back_within_28_days_and_never_cost(session: Session) -> None:
    change_part(session, "VAP-2", surcharge=4_500)
    receive(session, sent(session, {"VAP-2": 2}))
    assert held(session) == {("VAP-2", "store"): (2, 26_000)}
    assert [(one.claim, one.kind, one.qty, one.open_amount, one.due) for one in claims(session.ledger)] == [
        ("R0001", "old unit", 1, 4_500, "2027-03-29"), ("R0002", "old unit", 1, 4_500, "2027-03-29"),
    ]  # fmt: skip


def test_the_days_that_old_units_and_goods_have_can_be_set(session: Session) -> None:
    change_part(session, "VAP-2", surcharge=4_500)
    change_setting(session, "old_unit_days", "14")
    change_setting(session, "return_days", "7")
    receive(session, sent(session, {"VAP-2": 2}), Came(damaged={"VAP-2": "1"}))
    assert [(one.kind, one.due) for one in claims(session.ledger)] == [
        ("old unit", "2027-03-15"), ("return", "2027-03-08"),
    ]  # fmt: skip


def test_a_wrong_part_goes_back_at_what_was_charged_and_the_right_one_is_still_to_come(session: Session) -> None:
    number = sent(session)
    found = receive(session, number, Came(wrong={"VAP-2": "SNS-1:1"}))
    assert amounts(session, number) == {"GKT-1": (4, 4, 0, 0), "VAP-2": (2, 1, 0, 1)}
    assert held(session) == {("GKT-1", "store"): (4, 1_540), ("VAP-2", "store"): (1, 13_000)}
    (claim,) = claims(session.ledger)
    assert (claim.kind, claim.part, claim.qty, claim.open_amount, claim.why, claim.place) == (
        "return", "SNS-1", 1, 13_000, "in place of VAP-2", "",
    )  # fmt: skip
    assert found.told == ("R0001: SNS-1, in place of VAP-2, goes back to NEXT by 2027-03-31 (130.00)",)
    assert (found.order.shown, wrong(session)) == ("part received", [])


def test_all_that_was_to_come_is_wrong_unless_an_amount_is_said(session: Session) -> None:
    number = sent(session)
    receive(session, number, Came({"GKT-1": "0"}, wrong={"VAP-2": "9520000000356"}))
    (claim,) = claims(session.ledger)
    assert (claim.part, claim.qty, amounts(session, number)["VAP-2"]) == ("SNS-1", 2, (2, 0, 0, 2))


def test_a_part_of_the_same_order_that_came_in_place_of_another_is_not_shown_as_damaged(session: Session) -> None:
    found = receive(session, sent(session), Came(wrong={"VAP-2": "GKT-1:1"}))
    assert [(one.part.part, one.qty, one.damaged) for one in found.arrived] == [("GKT-1", 4, 0), ("VAP-2", 1, 0)]


def test_a_lot_lasts_its_shelf_life_or_until_the_day_on_it(session: Session) -> None:
    """730 days from 1 March 2027 end on 28 February 2029: 2028 has a 29 February."""
    number = sent(session, {"FLU-1": 15_000}, "WEEK")
    receive(session, number, Came({"FLU-1": "1pack"}))
    receive(session, number, Came({"FLU-1": "5L"}, use_by={"FLU-1": "2028-06-30"}))
    assert ledger_orders.lots(session.ledger, "FLU-1") == [
        LotRow("FLU-1", 5_000, "2029-02-28"), LotRow("FLU-1", 5_000, "2028-06-30"),
    ]  # fmt: skip
    assert amounts(session, number) == {"FLU-1": (15_000, 10_000, 0, 5_000)}


def test_goods_are_put_where_they_are_said_to_be(session: Session) -> None:
    assert receive(session, sent(session), Came(place="Van")).order.shown == "received"
    assert {place for _, place in held(session)} == {"van"}


def test_goods_of_an_order_only_drafted_show_that_it_went_out(session: Session) -> None:
    number = drafted(session)
    receive(session, number, Came({"GKT-1": "0"}))
    assert shown(session, number) == "part received"


def test_the_same_goods_sent_twice_under_one_id_come_once(session: Session) -> None:
    number = sent(session)
    first = receive(session, number, Came({"GKT-1": "1"}), "one")
    assert receive(session, number, Came({"GKT-1": "1"}), "one") == first
    assert amounts(session, number)["GKT-1"] == (4, 1, 0, 3)


@pytest.mark.parametrize(
    ("came", "says"),
    [
        (Came({"GKT-1": "0", "VAP-2": "0"}), "nothing came: `vanstock order cancel`"),
        (Came({"GKT-1": "-1"}), "below zero"),
        (Came(prices={"GKT-1": "-1"}), "below zero"),
        (Came(damaged={"GKT-1": "5"}), "more of GKT-1 is damaged than came: 5 of 4"),
        (Came(prices={"SNS-1": "3"}), "SNS-1 is not on O0001: say how much of it came"),
        (Came(use_by={"GKT-1": "2028-02-30"}), "does not exist"),
        (Came(expected="soon"), "cannot be read"),
        (Came(wrong={"SNS-1": "GKT-1:1"}), "SNS-1 is not on O0001: --wrong names the part that was ordered first"),
        (Came(wrong={"VAP-2": "ZZZ-9:1"}), "'ZZZ-9' is not in the catalogue: add it to parts.csv and import"),
        (Came(wrong={"VAP-2": "VAP-2:1"}), "VAP-2 is the part that was ordered"),
        (Came(wrong={"VAP-2": "FLU-1:1"}), "kept in different units"),
        (Came(wrong={"VAP-2": "SNS-1:0"}), "must be above zero"),
    ],
)
def test_goods_that_cannot_be_are_refused_and_nothing_is_written(session: Session, came: Came, says: str) -> None:
    number = sent(session)
    before = standing(session)
    with pytest.raises(BadValue, match=says):
        receive(session, number, came)
    assert standing(session) == before


def test_goods_go_into_a_van_or_a_store_only(session: Session) -> None:
    with pytest.raises(NotFound, match="no van or store named 'customer'"):
        receive(session, sent(session), Came(place="customer"))


ACTS: dict[str, Came] = {
    "as ordered": Came(),
    "short": Came({"GKT-1": "1"}),
    "short, the rest cancelled": Came({"GKT-1": "1"}, rest="cancel"),
    "over, one not ordered": Came({"GKT-1": "9", "SNS-1": "2"}, carriage=333),
    "damaged": Came(damaged={"VAP-2": "1"}, carriage=1),
    "wrong": Came(wrong={"VAP-2": "SNS-1:1"}),
    "with a day on it": Came(use_by={"GKT-1": "2028-01-31"}),
}


@pytest.mark.parametrize("came", ACTS.values(), ids=ACTS)
@pytest.mark.parametrize("make", [drafted, sent])
def test_taking_goods_in_is_undone_exactly_and_put_back_exactly(session: Session, came: Came, make: Any) -> None:
    change_part(session, "VAP-2", surcharge=4_500)
    stock.receive(session, "GKT-1", "3", place="van")
    number = make(session)
    before = standing(session)
    receive(session, number, came)
    after = standing(session)
    _, undoing = job.undo(session)
    assert standing(session) == before
    assert wrong(session) == []
    job.undo(session, undoing.id)
    assert standing(session) == after
    assert (wrong(session), outside(session)) == ([], (0, 0))


@pytest.mark.parametrize("came", [Came(prices={"GKT-1": "9.99"}), Came({"GKT-1": "1"}, expected="2027-03-09")])
def test_undoing_goods_in_brings_price_and_day_back(session: Session, came: Came) -> None:
    number = sent(session)
    before = standing(session)
    receive(session, number, came)
    job.undo(session)
    assert standing(session) == before


def test_an_earlier_delivery_is_not_undone_under_a_later_one(session: Session) -> None:
    number = sent(session)
    first = receive(session, number, Came({"GKT-1": "1"})).entry
    receive(session, number)
    with pytest.raises(VanstockError, match="O0001 was changed again after that: undo `received`"):
        job.undo(session, first.id)


def test_a_claim_after_one_taken_back_is_about_its_own_part(session: Session) -> None:
    receive(session, sent(session, {"GKT-1": 4}), Came(damaged={"GKT-1": "3"}))
    job.undo(session)
    receive(session, sent(session, {"VAP-2": 2}), Came(damaged={"VAP-2": "1"}))
    assert [(one.part, one.qty, one.amount) for one in claims(session.ledger)] == [("VAP-2", 1, 13_000)]


def test_an_order_of_which_nothing_good_came_is_cancelled(session: Session) -> None:
    number = sent(session, {"VAP-2": 1})
    receive(session, number, Came(damaged={"VAP-2": "1"}, rest="cancel"))
    assert shown(session, number) == "cancelled"


def test_carriage_with_no_sound_goods_is_refused_and_a_day_past_is_no_day_to_expect_the_rest_on(
    session: Session,
) -> None:
    number = sent(session)
    nothing = Came({"GKT-1": "4", "VAP-2": "0"}, damaged={"GKT-1": "4"}, carriage=600, rest="cancel")
    with pytest.raises(BadValue, match=r"carriage of 6\.00 has no sound goods to be shared over"):
        receive(session, number, nothing)
    with pytest.raises(BadValue, match="--expected 2020-01-01 is past"):
        receive(session, number, Came({"GKT-1": "1"}, expected="2020-01-01"))
    assert amounts(session, number) == {"GKT-1": (4, 0, 0, 4), "VAP-2": (2, 0, 0, 2)}

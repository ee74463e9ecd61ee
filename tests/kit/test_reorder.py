"""The order that brings stock up to its levels: small cases worked by hand, and packs bought one by one."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.kit.reorder import StockPosition, order_line, packs_to_order, plan_reorder
from vanstock.model import MinMax, Part, Supplier

PART = Part("A", "thing", cost=50_000, pack_size=10, supplier="S")
SMALL = st.integers(-30, 120)
FEW = st.integers(0, 40)
PACK = st.integers(1, 12)


def position(on_hand: int, low: int = 2, high: int = 5, *, pack: int = 1, **more: int) -> StockPosition:
    return StockPosition(PART._replace(pack_size=pack), MinMax("A", low, high, pinned=False, basis=""), on_hand, **more)


def test_at_min_is_ordered_up_to_max_and_above_it_is_not() -> None:
    assert order_line(position(3)) is None
    line = order_line(position(2))
    assert line is not None
    assert (line.qty, line.packs, line.cost, line.why) == (3, 3, 1500, "2 left, min is 2")


def test_what_is_on_order_counts_and_what_is_reserved_does_not() -> None:
    assert order_line(position(1, on_order=2)) is None
    line = order_line(position(4, reserved=2))
    assert line is not None
    assert (line.position, line.why) == (2, "2 left after 2 kept for later jobs, min is 2")


def test_booked_jobs_lift_the_order_of_a_part_that_is_not_kept() -> None:
    line = order_line(position(0, low=0, high=0, booked_need=2))
    assert line is not None
    assert (line.qty, line.why) == (2, "0 left, booked jobs may take 2")
    assert order_line(position(0, low=0, high=0)) is None


@pytest.mark.parametrize(
    ("on_hand", "low", "high", "pack", "qty"),
    [
        (2, 2, 9, 4, 4),  # 2 + 4 is within 9, 2 + 8 is not
        (1, 2, 9, 4, 8),  # 1 + 8 is just 9
        (2, 2, 3, 4, 0),  # not even one pack fits
        (1, 1, 1, 1, 0),  # max is there
        (0, 1, 1, 1, 1),
        (2, 2, 5, 4, 0),  # a pack fits only when one more is gone
        (1, 2, 5, 4, 4),
        (3, 2, 9, 4, 0),  # above min
        (-9, 0, 0, 4, 12),  # not kept, but 9 are owed
        (-9, 0, 1, 4, 12),  # two packs would stay within max, but 9 are owed
        (0, 0, 0, 4, 0),  # neither kept nor owed
    ],
)
def test_as_many_whole_packs_as_stay_within_max_and_never_less_than_is_owed(
    on_hand: int, low: int, high: int, pack: int, qty: int
) -> None:
    assert packs_to_order(on_hand, low, high, pack) == qty
    line = order_line(position(on_hand, low, high, pack=pack))
    assert (line.qty, line.packs) == (qty, qty // pack) if line else qty == 0


def test_what_booked_jobs_may_take_is_rounded_up_to_packs_even_above_max() -> None:
    line = order_line(position(3, high=6, pack=5, booked_need=9))
    assert line is not None
    assert (line.qty, line.packs, line.cost) == (10, 2, 5000)
    assert order_line(position(9, high=6, pack=5, booked_need=9)) is None


def test_the_reason_is_the_larger_of_min_and_booked_jobs() -> None:
    told = [order_line(position(1, booked_need=need)) for need in (0, 2, 3)]
    assert [line.why for line in told if line] == [
        "1 left, min is 2",
        "1 left, min is 2",
        "1 left, booked jobs may take 3",
    ]


@given(SMALL, FEW, FEW, PACK, st.integers(0, 60), st.integers(0, 20))
def test_an_order_holds_booked_jobs_and_goes_above_max_only_for_them_or_for_what_is_owed(
    on_hand: int, low: int, more: int, pack: int, booked: int, reserved: int
) -> None:
    stock = position(on_hand, low, low + more, pack=pack, reserved=reserved, booked_need=booked)
    line = order_line(stock)
    if line is None:
        assert stock.position >= booked
        assert stock.position > min(low, low + more - pack) or low + more == 0
        return
    after = stock.position + line.qty
    assert line.qty == line.packs * pack > 0
    assert after >= booked
    assert after <= low + more or after < booked + pack or (stock.position < 0 and after < pack)
    if low + more > 0 and stock.position <= low:
        assert after > low + more - pack


def slow_packs(stock: StockPosition) -> int:
    """Buy pack by pack: when short while they fit; then until nothing is owed and booked jobs have theirs."""
    packs, have, pack = 0, stock.position, stock.part.pack_size
    if stock.levels.max > 0 and have <= stock.levels.min:
        while have + pack <= stock.levels.max:
            packs, have = packs + 1, have + pack
    while have < 0 or have < stock.booked_need:
        packs, have = packs + 1, have + pack
    return packs


@given(SMALL, FEW, FEW, PACK, st.integers(0, 60), st.integers(0, 20))
def test_an_order_is_what_buying_pack_by_pack_comes_to(
    on_hand: int, low: int, more: int, pack: int, booked: int, on_order: int
) -> None:
    stock = position(on_hand, low, low + more, pack=pack, on_order=on_order, booked_need=booked)
    line = order_line(stock)
    assert (line.packs if line else 0) == slow_packs(stock)


@given(st.lists(st.tuples(st.sampled_from("STU"), st.integers(0, 9)), max_size=8), st.randoms(use_true_random=False))
def test_a_plan_does_not_depend_on_the_order_of_its_parts_and_its_money_adds_up(
    rows: list[tuple[str, int]], shuffler: random.Random
) -> None:
    suppliers = {
        "S": Supplier("S", carriage=750, carriage_paid_over=2_000),
        "T": Supplier("T", carriage=600, least_order=3_000),
    }
    stock = [
        replace(position(held), part=PART._replace(part=f"P{i}", pack_size=1, supplier=name.replace("U", "")))
        for i, (name, held) in enumerate(rows)
    ]
    plan = plan_reorder(stock, suppliers)
    shuffler.shuffle(stock)
    assert plan_reorder(stock, suppliers) == plan
    assert [order.supplier for order in plan] == sorted(order.supplier for order in plan)
    assert sum(len(order.lines) for order in plan) == sum(held <= 2 for _, held in rows)
    for order in plan:
        assert order.goods == sum(line.cost for line in order.lines) == order.total - order.carriage
        paid = {"S": order.goods >= 2_000, "T": False, "": True}[order.supplier]
        assert (order.carriage == 0) == paid
        assert order.below_least == (max(3_000 - order.goods, 0) if order.supplier == "T" else 0)


def test_a_part_without_a_supplier_is_listed_under_no_name_and_without_carriage() -> None:
    nobody = replace(position(0), part=PART._replace(pack_size=1, supplier=""))
    (order,) = plan_reorder([nobody], {})
    assert (order.supplier, order.carriage, order.total, order.below_least) == ("", 0, 2500, 0)


def test_suppliers_are_in_order_with_carriage_unless_it_is_paid() -> None:
    suppliers = {
        "S": Supplier("S", carriage=750, carriage_paid_over=1_500),
        "T": Supplier("T", carriage=600),
    }
    other = PART._replace(part="B", pack_size=1, supplier="T")
    stock = [position(2), replace(position(0), part=other)]
    orders = plan_reorder(stock, suppliers)
    assert [(o.supplier, o.goods, o.carriage, o.total) for o in orders] == [
        ("S", 1500, 0, 1500),
        ("T", 2500, 600, 3100),
    ]
    assert plan_reorder([position(3)], suppliers) == []


@pytest.mark.parametrize(("least", "short_of"), [(0, 0), (1_499, 0), (1_500, 0), (1_501, 1), (4_000, 2_500)])
def test_an_order_says_what_its_goods_are_short_of_the_least_that_is_sent(least: int, short_of: int) -> None:
    (order,) = plan_reorder([position(2)], {"S": Supplier("S", carriage=750, least_order=least)})
    assert (order.goods, order.carriage, order.below_least) == (1_500, 750, short_of)

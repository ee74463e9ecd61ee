"""Levels of one part, and the order that brings stock up to them."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from vanstock.kit.minmax import levels_from_forecast, pinned
from vanstock.kit.reorder import StockPosition, order_line, plan_reorder
from vanstock.model import Forecast, MinMax, Part, Supplier

PART = Part("A", "thing", cost=50_000, pack_size=10, supplier="S")
SMALL = st.integers(-30, 120)


def forecast(quantile: float, weekly: float = 4.0) -> Forecast:
    return Forecast(
        "A", "smooth", "simple", (0.1,), False, 52, 40, weekly, 6, weekly * 1.2, 6, "Poisson", {0.95: quantile}
    )


def test_min_is_the_quantile_and_max_adds_a_reviews_need_in_whole_packs() -> None:
    found = levels_from_forecast(forecast(9), PART, target=0.95)
    assert (found.min, found.max) == (9, 19)
    assert found.basis == "lasts 6 working days in 95% of cases; needed in 40 of 52 weeks"


def test_a_part_whose_target_is_met_with_none_is_not_kept() -> None:
    found = levels_from_forecast(forecast(0, 0.01), PART, target=0.95)
    assert (found.min, found.max) == (0, 0)


def test_levels_from_few_weeks_say_that_the_method_is_the_classs() -> None:
    young = forecast(2)._replace(weeks=12, weeks_with_need=3)
    assert levels_from_forecast(young, PART, target=0.95).basis == (
        "lasts 6 working days in 95% of cases; needed in 3 of 12 weeks, "
        "too few to judge by itself: its class's simple 0.1 is used"
    )
    never = young._replace(weeks_with_need=0)
    assert levels_from_forecast(never, PART, target=0.95).basis == "never needed in 12 weeks"
    mean = young._replace(method="mean", constants=())
    assert levels_from_forecast(mean, PART, target=0.95).basis.endswith("its class's mean is used")


def test_litres_are_rounded_up_to_a_tenth() -> None:
    fluid = Part("F", unit="LTR", pack_size=5000)
    found = levels_from_forecast(forecast(12_345.6, 4_000), fluid, target=0.95)
    assert (found.min, found.max) == (12_400, 17_400)


def position(on_hand: int, low: int = 2, high: int = 5, **more: int) -> StockPosition:
    return StockPosition(PART._replace(pack_size=1), MinMax("A", low, high, pinned=False, basis=""), on_hand, **more)


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


@given(SMALL, st.integers(0, 40), st.integers(0, 40), st.integers(1, 12), st.integers(0, 60), st.integers(0, 20))
def test_an_order_reaches_what_it_should_and_never_by_a_pack_too_many(
    on_hand: int, low: int, more: int, pack: int, booked: int, reserved: int
) -> None:
    level = MinMax("A", low, low + more, pinned=False, basis="")
    stock = StockPosition(PART._replace(pack_size=pack), level, on_hand, reserved=reserved, booked_need=booked)
    line = order_line(stock)
    wanted = max(level.max, booked)
    if line is None:
        assert stock.position >= booked
        assert stock.position > low or level.max == 0 or stock.position >= wanted
    else:
        assert line.qty == line.packs * pack
        assert wanted <= stock.position + line.qty < wanted + pack


def slow_packs(stock: StockPosition) -> int:
    """Buy one pack at a time until there is enough, once there is a reason to buy."""
    short = stock.levels.max > 0 and stock.position <= stock.levels.min
    booked = stock.position < stock.booked_need
    packs, have = 0, stock.position
    while (short or booked) and (have < stock.levels.max or have < stock.booked_need):
        packs += 1
        have += stock.part.pack_size
    return packs


@given(SMALL, st.integers(0, 40), st.integers(0, 40), st.integers(1, 12), st.integers(0, 60), st.integers(0, 20))
def test_an_order_is_what_buying_pack_by_pack_comes_to(
    on_hand: int, low: int, more: int, pack: int, booked: int, on_order: int
) -> None:
    level = MinMax("A", low, low + more, pinned=False, basis="")
    stock = StockPosition(PART._replace(pack_size=pack), level, on_hand, on_order=on_order, booked_need=booked)
    line = order_line(stock)
    assert (line.packs if line else 0) == slow_packs(stock)


@given(st.lists(st.tuples(st.sampled_from("STU"), st.integers(0, 9)), max_size=8), st.randoms(use_true_random=False))
def test_a_plan_does_not_depend_on_the_order_of_its_parts_and_its_money_adds_up(
    rows: list[tuple[str, int]], shuffler: random.Random
) -> None:
    suppliers = {"S": Supplier("S", carriage=750, carriage_paid_over=2_000), "T": Supplier("T", carriage=600)}
    stock = [
        replace(position(held), part=PART._replace(part=f"P{i}", pack_size=1, supplier=name.replace("U", "")))
        for i, (name, held) in enumerate(rows)
    ]
    plan = plan_reorder(stock, suppliers)
    shuffler.shuffle(stock)
    assert plan_reorder(stock, suppliers) == plan
    assert [order.supplier for order in plan] == sorted(order.supplier for order in plan)
    for order in plan:
        assert order.goods == sum(line.cost for line in order.lines) == order.total - order.carriage
        paid = {"S": order.goods >= 2_000, "T": False, "": True}[order.supplier]
        assert (order.carriage == 0) == paid


def test_a_part_without_a_supplier_is_listed_under_no_name_and_without_carriage() -> None:
    nobody = replace(position(0), part=PART._replace(pack_size=1, supplier=""))
    (order,) = plan_reorder([nobody], {})
    assert (order.supplier, order.carriage, order.total) == ("", 0, 2500)


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


def test_pinned_levels_say_so() -> None:
    assert pinned("A", 1, 4) == MinMax("A", 1, 4, pinned=True, basis="pinned by hand")

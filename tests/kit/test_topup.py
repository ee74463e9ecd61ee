"""Bringing an order up: a published knapsack, sums by hand, laws, and against every choice there is."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.kit.topup import Candidate, Prudence, TopUp, carriage_of, cheapest_over, top_up
from vanstock.model import Supplier

SUPPLIER = Supplier("S", carriage=1_200, carriage_paid_over=20_000)
QUARTER = Prudence(holding=0.25)
FLUID = Candidate("FLU", 5_000, 2_800, 2.0, 2_500.0, 4)
"""5 L for 28.00, ordered anyway in two weeks, a pack lasts two."""
GLOVES = Candidate("GLV", 50, 700, 5.0, 10.0, 3)
PASTE = Candidate("PST", 1, 920, 1.0, 0.02, 5)
"""One lasts a year."""

WEIGHTS = [23, 31, 29, 44, 53, 38, 63, 85, 89, 82]
PROFITS = [92, 57, 49, 68, 60, 43, 67, 84, 87, 72]


def test_a_published_knapsack_turned_round() -> None:
    """J. Burkardt, "Data for the 01 Knapsack Problem", P01: capacity 165, best 1 1 1 1 0 1 0 0 0 0, profit 309. What
    stays out then weighs least in profit, 679 - 309 = 370, of all that weighs at least 537 - 165 = 372."""
    found = cheapest_over(WEIGHTS, PROFITS, sum(WEIGHTS) - 165)
    assert found == [4, 6, 7, 8, 9]
    assert sum(PROFITS[i] for i in found) == sum(PROFITS) - 309


def test_an_order_that_is_short_is_brought_up_with_what_is_needed_soonest() -> None:
    """By hand: 30.00 short. One can and one box, 35.00: 28.00 x .25 x 2 / 52 = .2692 and 7.00 x .25 x 5 / 52 = .1683,
    together .44. Two cans would cost .27 + .54, so not; carriage of 12.00 is saved."""
    found = top_up(17_000, SUPPLIER, [GLOVES, FLUID, PASTE], QUARTER)
    assert [(add.part, add.packs, add.qty, add.cost) for add in found.adds] == [
        ("FLU", 1, 5_000, 2_800), ("GLV", 1, 50, 700),
    ]  # fmt: skip
    assert (found.goods, found.carriage, found.saved, found.costs, found.wait) == (20_500, 0, 1_200, 44, False)
    assert found.why == "saves 12.00 of carriage; buying it early costs 0.44"


def test_nothing_is_added_that_costs_as_much_as_it_saves() -> None:
    """By hand: one can at 100 % a year for 26 weeks costs 14.00."""
    late = FLUID._replace(weeks_until=26.0)
    dear = Prudence(holding=1.0)
    for carriage, adds in ((1_399, 0), (1_400, 0), (1_401, 1)):
        found = top_up(18_000, SUPPLIER._replace(carriage=carriage), [late], dear)
        assert (len(found.adds), found.saved) == (adds, carriage * adds)
        assert found.carriage == carriage * (1 - adds)
    found = top_up(18_000, SUPPLIER._replace(carriage=1_400), [late], dear)
    assert found.why == "20.00 short of carriage paid; nothing needed soon gets there for less than the carriage"


def test_slow_stock_is_never_added() -> None:
    assert top_up(19_500, SUPPLIER, [PASTE], QUARTER).adds == ()
    assert top_up(19_500, SUPPLIER, [PASTE], Prudence(0.25, most_weeks=60)).adds[0].part == "PST"
    dead = FLUID._replace(weekly_use=0.0)
    never = [FLUID._replace(weeks_until=weeks) for weeks in (26.5, inf, nan)]
    for odd in (dead, *never, FLUID._replace(weekly_use=nan), FLUID._replace(most_packs=0)):
        assert top_up(19_500, SUPPLIER, [odd], QUARTER).adds == ()
    # Two packs of thirteen weeks' use may come, three may not.
    quarter_year = FLUID._replace(weekly_use=5_000 / 13, most_packs=9, weeks_until=0.0)
    assert top_up(20_000 - 5_600, SUPPLIER, [quarter_year], QUARTER).adds[0].packs == 2
    assert top_up(20_000 - 5_601, SUPPLIER, [quarter_year], QUARTER).adds == ()


def test_where_carriage_is_paid_or_never_is_or_nothing_is_ordered_nothing_is_added() -> None:
    for goods, supplier in ((20_000, SUPPLIER), (0, SUPPLIER), (19_000, SUPPLIER._replace(carriage_paid_over=None)),
                            (19_000, SUPPLIER._replace(carriage=0))):  # fmt: skip
        found = top_up(goods, supplier, [FLUID], QUARTER)
        assert (found.adds, found.saved, found.costs, found.wait, found.why) == ((), 0, 0, False, "")
        assert found.goods == goods


def test_an_order_below_the_least_is_brought_up_or_waits() -> None:
    least = SUPPLIER._replace(least_order=10_000, carriage_paid_over=None)
    found = top_up(9_000, least, [FLUID, GLOVES], QUARTER)
    assert [(add.part, add.packs) for add in found.adds] == [("FLU", 1)]
    assert (found.goods, found.carriage, found.saved, found.costs, found.wait) == (11_800, 1_200, 0, 27, False)
    assert found.why == "reaches the least order of 100.00; buying it early costs 0.27"
    patient = QUARTER._replace(waiting=26)
    assert top_up(9_000, least, [FLUID], patient).wait
    assert "costs more than to wait" in top_up(9_000, least, [FLUID], patient).why
    assert not top_up(9_000, least, [FLUID], patient._replace(waiting=27)).wait
    alone = top_up(9_000, least, [PASTE], QUARTER)
    assert (alone.adds, alone.wait) == ((), True)
    assert alone.why == "10.00 short of the least order, and too little is needed soon to reach it: let it wait"


def test_an_order_below_the_least_goes_on_to_carriage_paid_where_that_pays() -> None:
    least = SUPPLIER._replace(least_order=15_000)
    found = top_up(14_500, least, [FLUID, GLOVES], QUARTER)
    assert [(add.part, add.packs) for add in found.adds] == [("FLU", 2)]
    assert (found.carriage, found.saved) == (0, 1_200)
    assert found.why == "reaches the least order of 150.00 and saves 12.00 of carriage; buying it early costs 0.81"


candidates = st.lists(
    st.builds(
        Candidate, st.sampled_from("ABCD"), st.integers(1, 20), st.integers(1, 900), st.floats(0, 30),
        st.floats(0, 20), st.integers(0, 3),
    ),
    max_size=4, unique_by=lambda one: one.part,
)  # fmt: skip
suppliers = st.tuples(st.integers(0, 60), st.one_of(st.none(), st.integers(0, 3_000)), st.integers(0, 2_000)).map(
    lambda given: Supplier("S", carriage=given[0], carriage_paid_over=given[1], least_order=given[2])
)
prudences = st.builds(Prudence, st.floats(0, 1), st.floats(1, 40), st.one_of(st.none(), st.integers(0, 60)))


def burden(one: Candidate, number: int, holding: float) -> int:
    """Thousandths of a penny for so many packs of a part."""
    weeks = [one.weeks_until + n * (one.pack_qty / one.weekly_use) for n in range(number)]
    return sum(round(holding * one.cost * early * 1_000 / 52) for early in weeks)


def sensible(one: Candidate, number: int, most_weeks: float) -> bool:
    if number == 0:
        return True
    if one.weekly_use <= 0 or number > one.most_packs:
        return False
    lasts = one.pack_qty / one.weekly_use
    return number * lasts <= most_weeks and one.weeks_until + (number - 1) * lasts <= most_weeks


def cheapest_of_all(goods: int, supplier: Supplier, offered: Sequence[Candidate], prudence: Prudence) -> int | None:
    """Thousandths of a penny, carriage and bringing forward, of the cheapest order that can be sent; None: none can."""
    found = []
    for numbers in product(*(range(one.most_packs + 1) for one in offered)):
        ways = list(zip(offered, numbers, strict=True))
        value = goods + sum(one.cost * number for one, number in ways)
        if value >= supplier.least_order and all(sensible(one, number, prudence.most_weeks) for one, number in ways):
            early = sum(burden(one, number, prudence.holding) for one, number in ways if number)
            found.append(carriage_of(value, supplier) * 1_000 + early)
    return min(found, default=None)


def paid(found: TopUp, offered: Sequence[Candidate], prudence: Prudence) -> int:
    by_part = {one.part: one for one in offered}
    early = sum(burden(by_part[add.part], add.packs, prudence.holding) for add in found.adds)
    return found.carriage * 1_000 + early


@settings(deadline=None, max_examples=300)
@given(st.integers(1, 3_000), suppliers, candidates, prudences)
def test_no_other_choice_of_packs_is_cheaper(
    goods: int, supplier: Supplier, offered: list[Candidate], prudence: Prudence
) -> None:
    found, best = top_up(goods, supplier, offered, prudence), cheapest_of_all(goods, supplier, offered, prudence)
    may_wait = goods < supplier.least_order
    if found.wait:
        assert may_wait
        assert found.adds == ()
        over = None if prudence.waiting is None else (supplier.carriage + prudence.waiting) * 1_000
        assert best is None or (over is not None and best > over)
    else:
        assert best == paid(found, offered, prudence)
        assert not may_wait or prudence.waiting is None or best <= (supplier.carriage + prudence.waiting) * 1_000


@settings(deadline=None)
@given(st.integers(0, 3_000), suppliers, candidates, prudences)
def test_what_is_added_is_sensible_reaches_a_value_and_is_worth_it(
    goods: int, supplier: Supplier, offered: list[Candidate], prudence: Prudence
) -> None:
    found, by_part = top_up(goods, supplier, offered, prudence), {one.part: one for one in offered}
    assert found.goods == goods + sum(add.cost for add in found.adds)
    assert [add.weeks_until for add in found.adds] == sorted(add.weeks_until for add in found.adds)
    for add in found.adds:
        one = by_part[add.part]
        assert (add.qty, add.cost) == (add.packs * one.pack_qty, add.packs * one.cost)
        assert sensible(one, add.packs, prudence.most_weeks + 1e-6)
    if found.adds:
        assert goods < supplier.least_order <= found.goods or found.saved == supplier.carriage > 0
        assert goods < supplier.least_order or found.costs <= found.saved
        assert found.why
    else:
        assert found.saved == found.costs == 0
    assert top_up(goods, supplier, offered[::-1], prudence) == found


things = st.lists(st.tuples(st.integers(1, 60), st.integers(0, 30)), max_size=8)


@settings(deadline=None)
@given(things, st.integers(-5, 250))
def test_the_search_finds_what_trying_every_set_finds(pairs: list[tuple[int, int]], need: int) -> None:
    costs, burdens = [cost for cost, _ in pairs], [one for _, one in pairs]
    sets = [[pairs[i] for i in range(len(pairs)) if way[i]] for way in product((0, 1), repeat=len(pairs))]
    sums = [(sum(one for _, one in some), sum(cost for cost, _ in some)) for some in sets]
    found = cheapest_over(costs, burdens, need)
    least = min((one for one in sums if one[1] >= need), default=None)
    assert (found is None) == (least is None)
    if found is not None:
        assert found == sorted(set(found))
        assert (sum(burdens[i] for i in found), sum(costs[i] for i in found)) == least


def test_of_two_that_cost_alike_the_first_is_taken() -> None:
    assert cheapest_over([500, 500], [7, 7], 400) == [0]
    assert cheapest_over([600, 500], [7, 7], 400) == [1]


@pytest.mark.parametrize("need", [100_001, 2_345_678, 10**10])
def test_far_from_the_value_it_is_still_reached(need: int) -> None:
    costs = [need // 7 + need // 1_000 + 13 * n for n in range(12)]
    burdens = [cost * (n + 2) for n, cost in enumerate(costs)]
    found = cheapest_over(costs, burdens, need)
    assert found is not None
    assert sum(costs[i] for i in found) >= need
    assert found == list(range(7))


def test_sums_too_large_for_64_bits_are_ordered_by_burden_alone() -> None:
    assert cheapest_over([10**10, 10**10], [10**12, 10**11], 10**10) == [1]


def test_of_more_packs_than_a_search_takes_the_soonest_are_looked_at() -> None:
    many = [Candidate(f"P{n}", 1, 500 + 7 * n, n / 20, 1.0, 5) for n in range(80)]
    found = top_up(1, SUPPLIER._replace(carriage_paid_over=100_001, carriage=99_999), many, QUARTER)
    assert found.goods >= 100_001
    assert {add.part for add in found.adds} <= {f"P{n}" for n in range(80)}
    assert found.adds[-1].weeks_until < 4

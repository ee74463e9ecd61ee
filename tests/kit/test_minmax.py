"""From a level to min and max: steps and packs worked by hand, laws, and shelf lives against scipy's quantiles."""

from __future__ import annotations

from math import inf, sqrt

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from vanstock.kit.minmax import (
    SURELY_USED,
    Buying,
    Handling,
    buying,
    economic_quantity,
    level_of,
    level_pinned,
    min_and_max,
    step_of,
    surely_used,
)
from vanstock.kit.reorder import packs_to_order
from vanstock.model import Part
from vanstock.quantity import unit

HANDLING = Handling(line_cost=150, holding=0.2)
parts = st.builds(
    Part, st.just("A"), unit=st.sampled_from(["C62", "PR", "LTR", "MTR", "KGM"]),
    pack_size=st.integers(1, 300) | st.sampled_from([500, 1_000, 2_500, 5_000, 20_000]), cost=st.integers(0, 5_000_000),
)  # fmt: skip
uses = st.floats(0, 20_000) | st.floats(0, 3)
handlings = st.builds(Handling, st.integers(0, 1_000), st.just(0.0) | st.floats(0.001, 1))


@pytest.mark.parametrize(
    ("code", "pack", "step", "lot"),
    [
        ("C62", 1, 1, 1),
        ("C62", 10, 1, 10),
        ("PR", 50, 1, 50),
        ("LTR", 5_000, 500, 5_000),
        ("LTR", 250, 25, 250),
        ("LTR", 105, 105, 105),  # no tenth in whole millilitres
        ("LTR", 50, 100, 100),  # nobody measures 5 ml on a shelf: two bottles
        ("LTR", 95, 190, 190),
        ("MTR", 1, 100, 100),
        ("MTR", 1_000, 100, 1_000),
        ("MTR", 5_000, 500, 5_000),
    ],
)
def test_a_step_is_a_piece_or_a_tenth_of_a_pack_but_no_finer_than_anybody_measures(
    code: str, pack: int, step: int, lot: int
) -> None:
    part = Part("A", unit=code, pack_size=pack, cost=10_000)
    assert step_of(part) == step
    assert buying(part, 0.0, HANDLING).lot == lot


@given(parts)
def test_a_step_and_the_least_bought_are_whole_steps_and_packs(part: Part) -> None:
    step, how = step_of(part), buying(part, 0.0, HANDLING)
    assert how.step == step >= 1
    assert how.lot % step == 0 == how.lot % part.pack_size
    assert how.lot >= part.pack_size
    assert step >= min(unit(part.unit).scale // 100, part.pack_size)


@pytest.mark.parametrize(
    ("code", "pack", "cost", "pence"),
    [
        ("C62", 1, 472_000, 4_720),
        ("LTR", 5_000, 56_000, 280),
        ("MTR", 1, 71_000, 71),
        ("C62", 1, 150, 2),
        ("PR", 1, 0, 1),
    ],
)
def test_a_step_costs_its_share_of_the_price_in_whole_pence_one_at_least(
    code: str, pack: int, cost: int, pence: int
) -> None:
    assert buying(Part("A", unit=code, pack_size=pack, cost=cost), 1.0, HANDLING).cash == pence


@given(st.floats(1, 1_000), st.floats(0.1, 10_000), st.floats(0.01, 1_000), st.floats(1.01, 3))
def test_handling_and_holding_together_cost_least_at_the_economic_quantity(
    line_cost: float, use: float, holding: float, times: float
) -> None:
    """The two costs of Harris 1913 (Snyder and Shen 2019, sec. 3.2)."""

    def cost(quantity: float) -> float:
        return line_cost * use / quantity + holding * quantity / 2

    best = economic_quantity(line_cost=line_cost, use=use, holding=holding)
    assert cost(best) < min(cost(best * times), cost(best / times))
    assert cost(best) == pytest.approx(sqrt(2 * line_cost * use * holding))


def test_nothing_is_ordered_of_what_is_not_used_and_no_end_of_what_costs_nothing_to_hold() -> None:
    assert economic_quantity(line_cost=150, use=0, holding=2) == 0
    assert economic_quantity(line_cost=0, use=3, holding=0) == 0
    assert economic_quantity(line_cost=150, use=3, holding=0) == inf


def test_what_costs_nothing_to_hold_is_bought_for_a_quarter() -> None:
    assert buying(Part("A", cost=0), 2.0, Handling(20, 0.25)).quantity == 26


@pytest.mark.parametrize(
    ("pack", "weekly", "quantity"),
    [
        (1, 2.0, 26),  # economic would be sqrt(2 x 150 x 104 / .2) = 395
        (1, 0.99, 12),
        (10, 2.0, 20),
        (10, 0.5, 10),  # 13 weeks use less than a pack: one pack
        (1, 0.0, 1),
    ],
)
def test_no_more_than_13_weeks_use_is_ordered_at_once_but_a_pack(pack: int, weekly: float, quantity: int) -> None:
    assert buying(Part("A", cost=100, pack_size=pack), weekly, HANDLING).quantity == quantity


def test_what_is_dear_is_ordered_by_the_nearest_whole_packs_to_the_economic_quantity() -> None:
    """Two a week at 40 p: sqrt(2 x 150 x 104 / (.2 x 40)) = 62.4, but 13 weeks use 26. At 40 pounds: 6.24."""
    assert buying(Part("A", cost=400_000), 2.0, HANDLING).quantity == 6
    assert buying(Part("A", cost=400_000, pack_size=4), 2.0, HANDLING).quantity == 8
    assert buying(Part("A", cost=400_000, pack_size=13), 2.0, HANDLING).quantity == 13
    fluid = Part("F", unit="LTR", cost=56_000, pack_size=5_000)
    # 10 L a week at 5.60 a litre: sqrt(2 x 150 x 520 / (.2 x 560)) = 37.3 L, nearest to 7 cans.
    assert buying(fluid, 10_000.0, HANDLING).quantity == 35_000


@given(parts, uses, handlings)
def test_what_is_ordered_is_whole_lots_near_the_economic_quantity_and_no_more_than_13_weeks_use(
    part: Part, weekly: float, handling: Handling
) -> None:
    how, scale = buying(part, weekly, handling), unit(part.unit).scale
    assert how.quantity % how.lot == 0
    assert how.lot <= how.quantity <= max(how.lot, 13 * weekly)
    best = scale * economic_quantity(
        line_cost=handling.line_cost, use=weekly * 52 / scale, holding=handling.holding * part.cost / 100
    )
    assert how.quantity <= max(best + how.lot / 2 + 1e-6 * best, how.lot)
    least = inf if best == inf else best - how.lot / 2 - 1e-6 * best
    assert how.quantity > min(least, 13 * weekly - how.lot)


buyings = st.builds(
    lambda step, per_lot, lots: Buying(step, 1, step * per_lot, step * per_lot * lots),
    st.sampled_from([1, 2, 25, 100]), st.integers(1, 12), st.integers(1, 8),
)  # fmt: skip
steps_held = st.integers(1, 60)


@given(buyings, steps_held, st.none() | st.integers(0, 6_000))
def test_min_is_a_step_below_the_level_and_max_whole_lots_above_min(how: Buying, steps: int, most: int | None) -> None:
    level = steps * how.step
    low, high = min_and_max(level, how, most=most)
    kept = level if most is None else min(level, how.highest_level(most))
    assert level_of(low, high, how.step) == kept
    if kept:
        assert low == kept - how.step
        assert high == low + how.quantity
        assert (high - low) % how.lot == 0
    else:
        assert (low, high) == (0, 0)
    assert most is None or high <= most


@given(buyings, st.integers(0, 6_000))
def test_what_expires_is_ordered_by_no_more_than_half_of_what_may_be_held_or_a_lot(how: Buying, most: int) -> None:
    found = how.within(most)
    assert found.quantity % how.lot == 0
    assert how.lot <= found.quantity <= max(how.lot, min(how.quantity, most / 2))


@given(buyings, st.integers(0, 6_000))
def test_the_highest_level_stays_within_the_most_and_a_step_more_does_not(how: Buying, most: int) -> None:
    level = how.highest_level(most)
    assert level % how.step == 0
    assert min_and_max(level, how)[1] <= most
    assert min_and_max(level + how.step, how)[1] > most


@given(buyings, st.integers(-5, 0))
def test_no_level_is_no_min_and_no_max(how: Buying, level: int) -> None:
    assert min_and_max(level, how) == (0, 0)
    assert level_of(0, 0, how.step) == 0


@given(buyings, steps_held, st.integers(-300, 6_000))
def test_a_review_leaves_the_position_above_min_and_never_above_max(how: Buying, steps: int, position: int) -> None:
    low, high = min_and_max(steps * how.step, how)
    after = position + packs_to_order(position, low, high, how.lot)
    assert after > low
    assert after <= max(high, position)


def test_a_pinned_min_between_two_steps_holds_up_the_level_above_it() -> None:
    assert [level_of(low, 900, 100) for low in (0, 99, 100, 250)] == [100, 100, 200, 300]


@given(buyings, st.integers(0, 900), st.integers(0, 900), st.integers(0, 6_000))
def test_a_pin_holds_up_the_level_that_reviews_reach_without_going_above_max(
    how: Buying, low: int, more: int, position: int
) -> None:
    """Whatever the position, after a review it is at the level less what a step is measured by, and never above max."""
    high = low + more
    level = level_pinned(low, high, how)
    after = position + packs_to_order(position, low, high, how.lot)
    assert after > level - how.step
    assert after <= max(high, position)
    assert level <= high - how.lot + how.step if level else high < how.lot


def test_pins_worked_by_hand() -> None:
    """One kept and replaced when it is gone; 5 L cans within 7 L: a can at 2 L; no can within 4 L."""
    assert level_pinned(1, 1, Buying(1, 5, 1, 1)) == 1
    assert level_pinned(0, 0, Buying(1, 5, 1, 1)) == 0
    can = Buying(500, 5, 5_000, 5_000)
    assert [level_pinned(4_000, high, can) for high in (4_000, 7_000, 9_000, 12_000)] == [0, 2_500, 4_500, 4_500]


SHELF = st.floats(0.02, 40)


@settings(deadline=None)
@given(SHELF, st.floats(0, 1), st.floats(0.5, 30))
def test_what_a_steady_use_surely_takes_is_the_poisson_quantile(mean: float, part: float, weeks: float) -> None:
    found = surely_used(mean, part * mean, weeks, whole=True)
    assert found == pytest.approx(stats.poisson.ppf(1 - SURELY_USED, mean * weeks), abs=_apart(found, mean * weeks))


def _apart(found: int, mean: float) -> int:
    """One where the quantile falls on a whole number but for rounding, else none."""
    return int(abs(stats.poisson.cdf(found, mean) - 0.1) < 1e-9 or abs(stats.poisson.cdf(found - 1, mean) - 0.1) < 1e-9)


@settings(deadline=None)
@given(SHELF, st.floats(1.01, 20), st.floats(0.5, 30))
def test_what_a_lumpy_use_surely_takes_is_the_negative_binomial_quantile(
    mean: float, times: float, weeks: float
) -> None:
    used = stats.nbinom(mean * weeks / (times - 1), 1 / times)
    found = surely_used(mean, times * mean, weeks, whole=True)
    assume(min(abs(used.cdf(found) - 0.1), abs(used.cdf(found - 1) - 0.1)) > 1e-9)
    assert found == used.ppf(1 - SURELY_USED)


@settings(deadline=None)
@given(st.floats(1, 20_000), st.floats(0.01, 5), st.floats(0.5, 30))
def test_what_is_poured_is_surely_taken_up_to_the_gamma_quantile(mean: float, apart: float, weeks: float) -> None:
    deviation = apart * mean
    found = surely_used(mean, deviation**2, weeks, whole=False)
    shape, scale = (mean / deviation) ** 2 * weeks, deviation**2 / mean
    exact = float(stats.gamma.ppf(1 - SURELY_USED, shape, scale=scale))
    assert isinstance(found, int)
    assert found <= exact * (1 + 1e-9)
    assert exact * (1 - 1e-9) < found + 1


def test_what_is_surely_used_is_used_up_in_nine_cases_of_ten_and_one_more_is_not() -> None:
    """Poisson with mean 6 (tables of the distribution): P(3 or more) = .938, P(4 or more) = .849."""
    assert surely_used(0.5, 0.5, 12, whole=True) == 3
    assert stats.poisson.sf(2, 6) > SURELY_USED > stats.poisson.sf(3, 6)
    assert surely_used(0.0, 0.0, 52, whole=True) == 0
    assert surely_used(0.0, 0.0, 52, whole=False) == 0
    assert surely_used(0.01, 0.01, 4, whole=True) == 0

"""Levels for whole jobs: against every set of levels there is, every figure counted again job by job; what coming jobs
fare worse."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import cache
from itertools import pairwise, product
from math import ceil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from vanstock.kit.closure import Wanted, curve
from vanstock.kit.levels import (
    FREE,
    Bounds,
    Chosen,
    choose,
    in_steps,
    margins,
    more_for,
    outcome,
    problem,
    steady,
)
from vanstock.kit.optimism import discounted, slope, surest, times_worse, to_ask, to_expect
from vanstock.kit.stream import Shelf, Stream

Levels = Mapping[str, int]
SHARES = (0.0, 0.2, 0.5, 0.6, 0.75, 0.9, 1.0)
STEPS = (1, 10, 25, 1)


def stream_of(rows: Mapping[tuple[int, int], int], jobs: int, shelves: tuple[Shelf, ...]) -> Stream:
    """A stream in which (job, place of a shelf) wants so many steps."""
    table = np.array([(job, part, level) for (job, part), level in sorted(rows.items())], dtype=np.int64).reshape(-1, 3)
    cash = np.array([one.cash for one in shelves], dtype=np.int64)
    begun = cash * np.array([one.quantity - 1 for one in shelves], dtype=np.int64)
    none, use = np.zeros(jobs, dtype=np.int64), np.zeros(len(shelves))
    return Stream(shelves, Wanted(table[:, 0], table[:, 1], table[:, 2], jobs, cash, begun), none, none, use, use)


@cache
def drawn(seed: int, *, jobs: int = 9, parts: int = 3, most: int = 3) -> Stream:
    dice = np.random.default_rng(seed)
    rows = {
        (job, int(part)): int(dice.integers(1, most + 1))
        for job in range(jobs)
        for part in dice.choice(parts, min(parts, int(dice.poisson(1.5))), replace=False)
    }
    names = "CABD"  # not in order, so that nothing hangs on it
    shelves = [
        Shelf(names[i], STEPS[i], int(dice.integers(1, 40)), int(dice.integers(1, 4)) if seed % 2 else 1, [0])
        for i in range(parts)
    ]
    return stream_of(rows, jobs, tuple(shelves))


def wishes(stream: Stream) -> dict[int, dict[str, int]]:
    """What each job wants, in base units by group."""
    wanted = stream.wanted
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for job, part, level in zip(wanted.job.tolist(), wanted.part.tolist(), wanted.level.tolist(), strict=True):
        found[job][stream.shelves[part].group] = level * stream.shelves[part].step
    return {job: found[job] for job in range(wanted.jobs)}


def finished(stream: Stream, levels: Levels) -> int:
    return done(wishes(stream), levels)


def done(wished: Mapping[int, Levels], levels: Levels) -> int:
    return sum(all(levels.get(g, 0) >= qty for g, qty in wish.items()) for wish in wished.values())


def costs(stream: Stream, levels: Levels) -> int:
    """A step at its price, and with the first what else the least order brings."""
    steps = {one.group: levels.get(one.group, 0) // one.step for one in stream.shelves}
    return sum(one.cash * (steps[one.group] + (one.quantity - 1) * (steps[one.group] > 0)) for one in stream.shelves)


@cache
def every(seed: int) -> list[tuple[int, int, dict[str, int]]]:
    """Cash, jobs finished, and levels of every set of levels of a small stream."""
    stream = drawn(seed)
    wished = wishes(stream)
    sets = [
        {one.group: n * one.step for one, n in zip(stream.shelves, steps, strict=True)}
        for steps in product(range(4), repeat=len(stream.shelves))
    ]
    return [(costs(stream, levels), done(wished, levels), levels) for levels in sets]


def cheapest(seed: int, jobs: int, within: Bounds = FREE) -> int | None:
    """The least cash for so many jobs among every set of levels within bounds."""
    return min((cash for cash, done, levels in every(seed) if done >= jobs and allowed(levels, within)), default=None)


def allowed(levels: Levels, within: Bounds) -> bool:
    pinned = all(levels[group] == level for group, level in within.pinned.items())
    return pinned and all(levels.get(g, 0) <= most for g, most in within.most.items() if g not in within.pinned)


def is_corner(stream: Stream, found: Chosen, within: Bounds = FREE) -> bool:
    """Whether chosen levels are a corner of the curve, and not filled in between two."""
    asked = problem(stream, within)
    spots = [(one.cash + asked.pinned_cash, one.finished) for one in curve(asked.wanted)]
    return (found.cash, round(found.completion * stream.wanted.jobs)) in spots


def says_what_it_is(stream: Stream, found: Chosen) -> bool:
    """Whether what is said of chosen levels is so."""
    share, cash = finished(stream, found.levels) / stream.wanted.jobs, costs(stream, found.levels)
    assert outcome(stream, found.levels) == pytest.approx((share, cash))
    return found.completion == pytest.approx(share) and found.cash == cash


# A target


@pytest.mark.parametrize("seed", range(12))
def test_a_target_is_reached_and_a_corner_costs_the_least_there_is(seed: int) -> None:
    """A corner is the cheapest for its jobs; what is filled in between two costs less than the upper of them."""
    stream = drawn(seed)
    for share in SHARES:
        found = choose(stream, completion=share)
        assert says_what_it_is(stream, found)
        assert found.completion >= share - 1e-9
        count = round(found.completion * stream.wanted.jobs)
        least = cheapest(seed, -int(-share * stream.wanted.jobs // 1))
        assert least is not None
        assert found.cash >= least
        if is_corner(stream, found):
            assert found.cash == cheapest(seed, count)
        upper = min(one.cash for one in curve(stream.wanted) if one.finished / stream.wanted.jobs >= share - 1e-9)
        assert found.cash == upper if is_corner(stream, found) else found.cash < upper


def test_between_corners_what_is_filled_in_costs_no_more_than_a_third_above_the_least_there_is() -> None:
    """All targets of many small streams together; of so few jobs each weighs much."""
    targets = [(seed, jobs) for seed in range(24) for jobs in range(1, 9)]
    found = [choose(drawn(seed), completion=jobs / 9) for seed, jobs in targets]
    least = [cheapest(seed, jobs) or 0 for seed, jobs in targets]
    assert sum(not is_corner(drawn(seed), one) for (seed, _), one in zip(targets, found, strict=True)) > 40
    assert sum(one.cash for one in found) < 4 / 3 * sum(least)


def test_a_kit_worked_by_hand() -> None:
    """Four jobs want A alone, four B as well, two three of C. A at 10, B at 40, C at 30 in threes: A is 4 jobs for
    10, then A and B 8 for 50, then C 2 for 3 x 30 and the two more that come with the first."""
    shelves = (Shelf("A", 1, 10, 1, [0]), Shelf("B", 25, 40, 1, [0]), Shelf("C", 1, 30, 3, [0]))
    rows = {(job, 0): 1 for job in range(8)} | {(job, 1): 1 for job in range(4, 8)} | {(8, 2): 3, (9, 2): 3}
    stream = stream_of(rows, 10, shelves)
    assert choose(stream, completion=0.3) == Chosen({"A": 1, "B": 0, "C": 0}, 0.4, 10, 2.5)
    assert choose(stream, completion=0.4) == choose(stream, completion=0.3)
    assert choose(stream, completion=0.41) == Chosen({"A": 1, "B": 25, "C": 0}, 0.8, 50, 10.0)
    assert choose(stream) == Chosen({"A": 1, "B": 25, "C": 3}, 1.0, 200, 75.0)
    assert choose(stream, cash=199) == Chosen({"A": 1, "B": 25, "C": 0}, 0.8, 50, 75.0)
    assert choose(stream, cash=49).levels == {"A": 1, "B": 0, "C": 0}
    assert choose(stream, cash=9).levels == {"A": 0, "B": 0, "C": 0}
    assert more_for(stream, {"A": 1}, 190) == ({"B": 25, "C": 3}, 1.0, 190)
    assert more_for(stream, {"A": 1}, 189) == ({"B": 25}, 0.8, 40)
    assert more_for(stream, {"A": 1}, 39) == ({}, 0.4, 0)


def test_what_a_job_costs_there_is_the_slope_of_the_curve() -> None:
    stream = drawn(5, jobs=60, parts=4)
    corners = curve(stream.wanted)
    slopes = [(b.cash - a.cash) / (b.finished - a.finished) for a, b in pairwise(corners)]
    assert len(slopes) >= 3
    found = [choose(stream, completion=one.finished / 60).job_costs for one in corners]
    assert found == [None, *slopes]


# Cash


@pytest.mark.parametrize("seed", range(12))
def test_cash_alone_buys_at_least_the_corner_below_it_and_leaves_no_job_that_it_could_still_finish(seed: int) -> None:
    stream = drawn(seed)
    for cash in range(0, costs(stream, choose(stream).levels) + 20, 29):
        found = choose(stream, cash=cash)
        assert says_what_it_is(stream, found)
        assert found.cash <= cash
        count = round(found.completion * 9)
        assert count >= max(one.finished for one in curve(stream.wanted) if one.cash <= cash)
        assert count <= max(jobs for spent, jobs, _ in every(seed) if spent <= cash)
        for wish in wishes(stream).values():
            raised = {g: max(level, wish.get(g, 0)) for g, level in found.levels.items()}
            assert raised == found.levels or costs(stream, raised) > cash


@pytest.mark.parametrize("seed", range(8))
def test_with_target_and_cash_the_target_is_bought_where_it_fits_and_else_what_the_cash_buys(seed: int) -> None:
    stream = drawn(seed)
    for share in SHARES:
        wish = choose(stream, completion=share)
        assert choose(stream, completion=share, cash=wish.cash) == wish
        assert choose(stream, completion=share, cash=10**6) == wish
        for cash in (wish.cash - 1, wish.cash // 2):
            if cash >= 0 and wish.cash:
                assert choose(stream, completion=share, cash=cash) == choose(stream, cash=cash)


@pytest.mark.parametrize("seed", range(20))
def test_with_neither_every_job_is_finished_and_nothing_is_held_that_none_wants(seed: int) -> None:
    stream = drawn(seed)
    found = choose(stream)
    most = {
        one.group: max(wish.get(one.group, 0) for wish in wishes(stream).values()) for one in stream.shelves
    }  # fmt: skip
    assert found.completion == 1.0
    assert dict(found.levels) == most


def test_no_jobs_want_nothing() -> None:
    stream = stream_of({}, 0, (Shelf("A", 1, 10, 1, [0]),))
    for found in (choose(stream), choose(stream, completion=0.9), choose(stream, cash=50)):
        assert found == Chosen({"A": 0}, 1.0, 0, None)
    assert outcome(stream, {"A": 3}) == (1.0, 30)
    assert margins(stream, {"A": 3})["A"][1:5] == (0.0, 1.0, 0.0, 0.0)
    assert more_for(stream, {"A": 3}, 100) == ({}, 1.0, 0)


# Pins and bounds

BOUNDS = [
    Bounds({"C": 0}), Bounds({"A": 10}), Bounds({"A": 30, "B": 25}), Bounds(most={"C": 1, "A": 19}),
    Bounds({"B": 75}, {"B": 0, "C": 2}), Bounds({"C": 9}), Bounds({"C": 1, "A": 10, "B": 50}),
]  # fmt: skip


@pytest.mark.parametrize("bounds", BOUNDS, ids=str)
@pytest.mark.parametrize("seed", range(8))
def test_pins_and_bounds_are_held_and_the_rest_is_as_cheap_as_can_be(seed: int, bounds: Bounds) -> None:
    """A pin goes before a bound; stock pinned costs cash too, and jobs that it leaves out are never finished: the
    others make up for them to half of what they may miss."""
    stream = drawn(seed)
    reachable = finished(stream, choose(stream, bounds).levels)
    for share in SHARES:
        found = choose(stream, bounds, completion=share)
        assert says_what_it_is(stream, found)
        assert allowed(found.levels, bounds)
        count = round(found.completion * 9)
        assert count >= min(ceil(share * 9 - 1e-9), ceil((1 + share) / 2 * reachable - 1e-9))
        if is_corner(stream, found, bounds) and bounds.pinned.get("C", 0) <= 3:
            assert found.cash == cheapest(seed, count, bounds)
    everything = problem(stream, bounds)
    assert everything.jobs == 9
    assert everything.wanted.jobs == reachable


@pytest.mark.parametrize("bounds", BOUNDS, ids=str)
@pytest.mark.parametrize("seed", range(8))
def test_cash_is_spent_beside_what_pinned_stock_costs(seed: int, bounds: Bounds) -> None:
    stream, pinned = drawn(seed), costs(drawn(seed), bounds.pinned)
    for cash in (0, pinned, pinned + 30, pinned + 90):
        found = choose(stream, bounds, cash=cash)
        assert says_what_it_is(stream, found)
        assert allowed(found.levels, bounds)
        assert found.cash <= max(cash, pinned)


# What one step and what some more cash do


@pytest.mark.parametrize("seed", range(12))
def test_what_a_step_less_loses_and_a_step_more_gains_is_so(seed: int) -> None:
    stream = drawn(seed, jobs=25, parts=4, most=4)
    jobs, all_wishes = stream.wanted.jobs, wishes(stream).values()
    for levels in (choose(stream, completion=0.8).levels, {"A": 10, "B": 25}, {}):
        now = finished(stream, levels)
        for one in stream.shelves:
            margin, level = margins(stream, levels)[one.group], levels.get(one.group, 0)
            want = [wish[one.group] for wish in all_wishes if one.group in wish]
            assert margin.taken == len(want) / jobs
            assert margin.there == pytest.approx(sum(qty <= level for qty in want) / len(want) if want else 1.0)
            less, more = ({**levels, one.group: level + by} for by in (-one.step, one.step))
            assert margin.lost == pytest.approx((now - finished(stream, less)) / jobs)
            assert margin.gained == pytest.approx((finished(stream, more) - now) / jobs)
            assert (margin.step, margin.cash) == (one.step, one.cash)


@settings(max_examples=120, deadline=None)
@given(st.integers(0, 15), st.tuples(*[st.integers(0, 3)] * 3), st.integers(0, 200), st.sampled_from([FREE, *BOUNDS]))
def test_more_cash_is_never_overspent_lowers_nothing_and_leaves_no_job_that_it_could_still_finish(
    seed: int, steps: tuple[int, ...], cash: int, bounds: Bounds
) -> None:
    stream = drawn(seed)
    before = {one.group: n * one.step for one, n in zip(stream.shelves, steps, strict=True)}
    before = {g: min(level, bounds.most.get(g, level)) for g, level in before.items()} | dict(bounds.pinned)
    found = more_for(stream, before, cash, bounds)
    after = {g: level + found.rises.get(g, 0) for g, level in before.items()}
    assert all(rise > 0 for rise in found.rises.values())
    assert not set(found.rises) & set(bounds.pinned)
    assert allowed({g: level for g, level in after.items() if g in found.rises}, Bounds({}, bounds.most))
    assert found.spent == costs(stream, after) - costs(stream, before) <= cash
    assert found.completion == pytest.approx(finished(stream, after) / 9)
    for wish in wishes(stream).values():
        raised = {g: max(level, wish.get(g, 0)) for g, level in after.items()}
        if raised != after and allowed(raised, bounds):
            assert costs(stream, raised) - costs(stream, before) > cash


def test_levels_in_steps_leave_out_what_is_less_than_one_and_what_is_not_named() -> None:
    assert in_steps(drawn(1), {"A": 39, "C": 2, "X": 7}).tolist() == [2, 3, 0]


# Kept steady


def two_levels(jobs: int, want_two: int) -> Stream:
    """A at 200 a step: some jobs want two, the others one."""
    rows = {(job, 0): 2 if job < want_two else 1 for job in range(jobs)}
    return stream_of(rows, jobs, (Shelf("A", 1, 200, 1, [0]),))


def chosen(stream: Stream, levels: Levels, job_costs: float | None) -> Chosen:
    return Chosen(levels, finished(stream, levels) / stream.wanted.jobs, costs(stream, levels), job_costs)


@pytest.mark.parametrize(
    ("job_costs", "before", "pays", "level"),
    [
        (50.0, 1, 0, 1),  # the step to 2 costs 200 and gains 2 jobs at 50
        (150.0, 1, 99, 2),  # it gains 2 jobs at 150: 100 more than it costs
        (150.0, 1, 100, 1),  # no more than what moving is to pay
        (150.0, 3, 199, 2),  # a step less saves 200 and loses nothing
        (150.0, 3, 200, 3),
        (0.1, 0, 10**6, 2),  # leaving all jobs unfinished is no way to save a move
    ],
)
def test_a_level_moves_only_where_that_is_worth_more_than_it_is_to_pay(
    job_costs: float, before: int, pays: int, level: int
) -> None:
    stream = two_levels(400, 2)
    kept = steady(stream, chosen(stream, {"A": 2}, job_costs), {"A": before}, pays=pays)
    assert kept.levels == {"A": level}
    assert says_what_it_is(stream, kept)
    assert kept.job_costs == job_costs


def test_no_more_than_one_job_in_200_is_given_up_however_little_moving_pays() -> None:
    for want_two, level in ((2, 1), (3, 2)):
        stream = two_levels(400, want_two)
        assert steady(stream, chosen(stream, {"A": 2}, 0.1), {"A": 1}, pays=10**6).levels == {"A": level}


def test_a_level_that_is_not_known_from_before_or_not_in_whole_steps_is_the_one_chosen() -> None:
    stream = drawn(3)
    found = choose(stream, completion=0.9)
    before = {"A": found.levels["A"] + 13, "X": 4}
    assert steady(stream, found, before, pays=10**6) == found
    assert steady(stream, found._replace(job_costs=None), {"A": 0, "B": 0, "C": 0}, pays=10**6).levels == found.levels


def slow_steady(stream: Stream, found: Chosen, before: Levels, pays: int) -> dict[str, int]:
    """Group by group in order of name: back to the old level, and there again unless moving pays more."""
    levels, least = dict(found.levels), finished(stream, found.levels) - stream.wanted.jobs / 200
    for group in sorted(set(before) & set(levels)):
        tried = {**levels, group: before[group]}
        jobs = finished(stream, levels) - finished(stream, tried)
        moving_pays = jobs * (found.job_costs or 0.0) - (costs(stream, levels) - costs(stream, tried))
        if moving_pays <= pays and finished(stream, tried) >= least:
            levels = tried
    return levels


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 9), st.sampled_from([0.5, 0.7, 0.85]),
    st.fixed_dictionaries({}, optional={g: st.integers(0, 4) for g in "ABC"}), st.sampled_from([0, 5, 30, 100, 1_000]),
)  # fmt: skip
def test_levels_kept_steady_are_what_going_back_one_by_one_comes_to_and_stay_so(
    seed: int, share: float, steps: dict[str, int], pays: int
) -> None:
    stream = drawn(seed, jobs=220, parts=3, most=4)
    found = choose(stream, completion=share)
    before = {one.group: steps[one.group] * one.step for one in stream.shelves if one.group in steps}
    kept = steady(stream, found, before, pays=pays)
    assert says_what_it_is(stream, kept)
    assert dict(kept.levels) == slow_steady(stream, found, before, pays)
    assert kept.completion >= found.completion - 0.005 - 1e-9
    for group, level in kept.levels.items():
        assert level in (found.levels[group], before.get(group, found.levels[group]))
    again = steady(stream, found, kept.levels, pays=pays)
    assert again == kept
    assert steady(stream, found, found.levels, pays=pays).levels == found.levels


# What coming jobs fare worse than the stream says


@pytest.mark.parametrize(("known", "times"), [(0, 2.0), (10, 2.0), (100, 1.45), (500, 1.37), (10_000, 1.351)])
def test_the_odds_of_an_unfinished_job_are_so_many_times_what_is_said(known: int, times: float) -> None:
    assert times_worse(known) == pytest.approx(times)
    expected = discounted(0.9, known)
    assert (1 - expected) / expected == pytest.approx(times * 0.1 / 0.9)
    assert to_expect(0.5, known + 10) == discounted(0.5, known + 10)


@given(st.floats(0, 1), st.integers(0, 10_000))
def test_asking_for_more_and_expecting_less_undo_each_other(share: float, known: int) -> None:
    assert discounted(to_ask(share, known), known) == pytest.approx(share, abs=1e-12)
    assert to_expect(to_ask(share, known), known) == pytest.approx(min(share, surest(known)), abs=1e-12)
    assert 0 <= to_expect(share, known) <= share + 1e-12
    assert share - 1e-12 <= to_ask(share, known) <= 1
    assert to_expect(share, known) <= to_expect(share, known + 1) + 1e-12, "the more is known the nearer"


def test_the_surest_is_what_laplace_gives_a_sunrise_after_so_many() -> None:
    """With a chance that may be anything, evenly, n successes in n trials leave (n + 1) / (n + 2) for the next: the
    mean of the beta distribution with n + 1 and 1 (Laplace, Essai philosophique sur les probabilites, 1814)."""
    for known in (0, 1, 40, 2_000):
        assert surest(known) == pytest.approx(stats.beta(known + 1, 1).mean())


@given(st.floats(0, 1), st.integers(0, 10_000), st.floats(0, 100))
def test_what_is_promised_is_never_surer_than_is_known(said: float, known: int, usual: float) -> None:
    promised = to_expect(said, known, usual)
    assert promised <= 1 - 1 / (known + usual + 2) < 1
    assert promised in (discounted(said, known), surest(known + usual))
    assert promised >= to_expect(said, known) - 1e-12, "a usual table is worth something"


@given(st.floats(0.01, 0.99), st.integers(0, 5_000))
def test_the_slope_is_how_what_is_to_be_expected_rises(said: float, known: int) -> None:
    rise = (discounted(said + 1e-6, known) - discounted(said - 1e-6, known)) / 2e-6
    assert slope(said, known) == pytest.approx(rise, rel=1e-4)

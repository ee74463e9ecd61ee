"""The draws of a day, against enumeration, a walk through every draw one by one, and laws."""

from __future__ import annotations

import itertools
from math import ceil, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from tests.benchmarks import draws as benchmark
from tests.kit.days import (
    GROUPS,
    NOTHING,
    UNKNOWN,
    drawn,
    enumerated,
    extras,
    independent,
    job_needs,
    job_of,
    need,
    supplies,
    walked,
)  # fmt: skip
from vanstock.jobneeds import JobNeeds
from vanstock.kit.draws import DRAWS, DayDraws, DayOdds, Odds, _spread, day_odds, draw_day, evenly_spread
from vanstock.kit.needsum import MOST_DRAWN, day_need_quantiles

FEW = 120
jobs_of_a_day = st.lists(job_needs(), min_size=1, max_size=3)
subsets = st.sets(st.sampled_from(GROUPS))


def small_day(jobs: list[JobNeeds]) -> DayDraws:
    """A day whose first job takes nothing, so that every other job is drawn, with few draws."""
    return draw_day([NOTHING, *jobs], seed=7, draws=FEW)


def share(odds: Odds) -> float:
    assert odds.probability is not None
    return odds.probability


@settings(max_examples=40, deadline=None, derandomize=True)
@given(jobs_of_a_day, supplies)
def test_a_day_is_within_four_standard_errors_of_the_enumeration(jobs: list[JobNeeds], supply: dict[str, int]) -> None:
    found, (exact, all_done) = day_odds(jobs, supply, seed=11), enumerated(jobs, supply)
    assert found.jobs[0].standard_error == 0
    assert found.jobs[0].probability == pytest.approx(exact[0], abs=1e-12)
    for odds, truth in zip(found.jobs, exact, strict=True):
        # The error of the true share: one of no draws at all would be stated as 0.
        assert odds.probability == pytest.approx(truth, abs=4 * sqrt(truth * (1 - min(truth, 1)) / DRAWS) + 2 / DRAWS)
    assert found.all_done == pytest.approx(all_done, abs=4 * sqrt(0.25 / DRAWS))


def test_the_stated_standard_error_is_that_of_a_share_of_the_draws() -> None:
    found = day_odds([job_of((0.5, {"a": 1})), job_of((0.5, {"a": 1}))], {"a": 1}, seed=1, draws=400)
    p = share(found.jobs[1])
    assert found.jobs[1].standard_error == pytest.approx(sqrt(p * (1 - p) / 400))


def test_the_standard_error_is_neither_too_small_nor_too_large() -> None:
    """Over 200 seeds the errors in units of it have mean 0 and spread 1."""
    job = job_of((0.5, {"a": 1}))
    found = [day_odds([job, job], {"a": 1}, seed=seed, draws=1_000).jobs[1] for seed in range(200)]
    scores = np.array([(share(odds) - 0.75) / odds.standard_error for odds in found])
    assert abs(scores.mean()) < 4 / sqrt(200)
    assert 0.8 < scores.std() < 1.2
    assert np.abs(scores).max() < 4


@settings(max_examples=30, deadline=None)
@given(jobs_of_a_day, supplies)
def test_the_same_seed_gives_the_same_answer_and_a_later_job_leaves_the_earlier_ones_alone(
    jobs: list[JobNeeds], supply: dict[str, int]
) -> None:
    first = day_odds(jobs, supply, seed=1, draws=FEW)
    assert first == day_odds(jobs, supply, seed=1, draws=FEW)
    longer = day_odds([*jobs, independent({"a": 0.5})], supply, seed=1, draws=FEW)
    assert longer.jobs[: len(jobs)] == first.jobs


@settings(max_examples=30, deadline=None)
@given(jobs_of_a_day, supplies, st.sampled_from(GROUPS))
def test_more_stock_never_lowers_any_odds(jobs: list[JobNeeds], supply: dict[str, int], group: str) -> None:
    draws = draw_day(jobs, seed=3, draws=2_000)
    less, more = draws.with_stock(supply), draws.with_stock({**supply, group: supply[group] + 1})
    for a, b in zip(less.jobs, more.jobs, strict=True):
        assert 0 <= share(a) <= share(b) + 1e-12 <= 1 + 1e-9
    assert less.all_done is not None
    assert more.all_done is not None
    assert less.all_done <= more.all_done + 1e-12


def test_a_day_with_an_unknown_job_has_no_odds_for_it_nor_for_all_and_an_empty_day_none() -> None:
    found = day_odds([job_of((0.5, {"a": 1})), UNKNOWN], {"a": 1}, seed=1)
    assert found.jobs[1].probability is None
    assert found.all_done is None
    assert day_odds([], {}, seed=1) == draw_day([], seed=1).with_stock({}) == DayOdds((), None)


@settings(max_examples=60, deadline=None)
@given(jobs_of_a_day, supplies)
def test_odds_and_shortfalls_are_what_a_walk_through_every_draw_gives(
    jobs: list[JobNeeds], supply: dict[str, int]
) -> None:
    day = small_day(jobs)
    short = [list(walked(row, supply)) for row in drawn(day)]
    found = day.with_stock(supply)
    for place, odds in list(enumerate(found.jobs))[1:]:
        assert odds.probability == pytest.approx(sum(not row[place] for row in short) / FEW)
    assert found.all_done == pytest.approx(sum(not any(row) for row in short) / FEW)
    slow: list[dict[str, list[int]]] = [{} for _ in day.needs]
    for row in short:
        for place, lacks in enumerate(row):
            for group, missing in lacks.items():
                slow[place].setdefault(group, []).append(missing)
    assert day.shortfalls(supply) == [
        {group: (len(rows) / FEW, sorted(rows)[(len(rows) - 1) // 2]) for group, rows in one.items()} for one in slow
    ]


def slow_gains(
    day: DayDraws, supply: dict[str, int], filled: dict[str, int], since: dict[str, int]
) -> dict[str, list[float]]:
    """Jobs of the draws that are done with all filled and are not with all but this one."""

    def done(groups: set[str]) -> list[list[bool]]:
        more = {group: (since.get(group, 0), filled[group] - supply[group]) for group in groups}
        return [[not lacks for lacks in walked(row, supply, more)] for row in drawn(day)]

    full, found = done(set(filled)), {}
    for group in filled:
        without = done(set(filled) - {group})
        pairs = [list(zip(*both, strict=True)) for both in zip(full, without, strict=True)]
        found[group] = [sum(a and not b for a, b in place) / FEW for place in zip(*pairs, strict=True)]
    return found


@settings(max_examples=60, deadline=None)
@given(jobs_of_a_day, supplies, extras, st.dictionaries(st.sampled_from(GROUPS), st.integers(0, 4)))
def test_gains_are_what_a_walk_through_every_draw_gives(
    jobs: list[JobNeeds], supply: dict[str, int], more: dict[str, int], since: dict[str, int]
) -> None:
    day, filled = small_day(jobs), {group: supply[group] + qty for group, qty in more.items()}
    since = {group: place for group, place in since.items() if group in filled}
    found = day.gains(supply, filled, since=since)
    assert {group: list(row) for group, row in found.items()} == slow_gains(day, supply, filled, since)


@settings(max_examples=60, deadline=None)
@given(jobs_of_a_day, supplies, extras)
def test_a_gain_is_never_below_nothing_nor_above_the_odds_that_the_group_is_short(
    jobs: list[JobNeeds], supply: dict[str, int], more: dict[str, int]
) -> None:
    day, filled = small_day(jobs), {group: supply[group] + qty for group, qty in more.items()}
    short, odds = day.shortfalls(supply), day.with_stock(supply).jobs
    for group, gains in day.gains(supply, filled).items():
        for place, gain in enumerate(gains):
            assert 0 <= gain <= short[place].get(group, (0.0, 0))[0] + 1e-12
            assert gain <= 1 - share(odds[place]) + 1e-12


@settings(max_examples=60, deadline=None)
@given(jobs_of_a_day, supplies, extras, st.integers(0, 4))
def test_what_comes_before_the_first_job_was_there_from_the_start_and_what_comes_after_the_last_never(
    jobs: list[JobNeeds], supply: dict[str, int], more: dict[str, int], when: int
) -> None:
    assume(more)
    day, filled = small_day(jobs), {group: supply[group] + qty for group, qty in more.items()}
    group, number = min(more), len(day.needs)
    assert day.gains(supply, filled, since=dict.fromkeys(filled, 0)) == day.gains(supply, filled)
    others = {other: qty for other, qty in filled.items() if other != group}
    never, without = day.gains(supply, filled, since={group: number}), day.gains(supply, others)
    assert not any(never.pop(group))
    assert never == without
    late = day.gains(supply, filled, since={group: when})
    for other in filled:
        assert late[other][:when] == without.get(other, (0.0,) * number)[:when]


@settings(max_examples=40, deadline=None)
@given(jobs_of_a_day, supplies, extras)
def test_where_plenty_comes_it_never_gains_more_by_coming_later(
    jobs: list[JobNeeds], supply: dict[str, int], more: dict[str, int]
) -> None:
    assume(more)
    day, filled = small_day(jobs), dict.fromkeys(more, 99)
    group, places = min(more), range(len(day.needs) + 1)
    for other in filled:
        found = [sum(day.gains(supply, filled, since={group: place})[other]) for place in places]
        assert all(early >= late - 1e-12 for early, late in itertools.pairwise(found))


def test_where_too_little_comes_it_can_gain_more_after_a_job_that_would_take_it_in_vain() -> None:
    day = draw_day([job_of((1.0, {"a": 2})), job_of((1.0, {"a": 1}))], seed=1, draws=FEW)
    found = [day.gains({}, {"a": 1}, since={"a": place})["a"] for place in (0, 1, 2)]
    assert found == [(0, 0), (0, 1), (0, 0)]


@settings(max_examples=60, deadline=None)
@given(jobs_of_a_day, supplies, subsets, subsets)
def test_what_is_cured_is_all_that_a_job_is_short_of_and_grows_with_what_is_cured(
    jobs: list[JobNeeds], supply: dict[str, int], some: set[str], more: set[str]
) -> None:
    day = small_day(jobs)
    short, odds = [list(walked(row, supply)) for row in drawn(day)], day.with_stock(supply).jobs
    for place, lacking in enumerate(day.shortfalls(supply)):
        assert day.cured(supply, place, list(lacking)) == pytest.approx(1 - share(odds[place]))
        assert 0 <= day.cured(supply, place, some) <= day.cured(supply, place, some | more)
        slow = sum(bool(row[place]) and row[place].keys() <= some for row in short) / FEW
        assert day.cured(supply, place, some) == pytest.approx(slow)


def test_curing_one_of_two_that_are_short_together_cures_nothing() -> None:
    day = draw_day([job_of((0.8, {"a": 1, "b": 1}))], seed=1)
    assert day.cured({}, 0, ["a"]) == day.cured({}, 0, []) == 0
    assert day.cured({}, 0, ["a", "b"]) == pytest.approx(0.8, abs=0.015)
    assert day.cured({"b": 1}, 0, ["a"]) == day.cured({}, 0, ["a", "b"])


@pytest.mark.parametrize("probability", [0.5, 0.8, 0.95, 0.99, 1.0])
@settings(max_examples=25, deadline=None)
@given(jobs=jobs_of_a_day)
def test_the_days_need_is_the_least_that_holds_so_many_of_the_draws(jobs: list[JobNeeds], probability: float) -> None:
    day = small_day(jobs)
    rows = drawn(day)
    for group, found in day.total_quantiles(probability).items():
        totals = sorted(sum(job.get(group, 0) for job in row) for row in rows)
        assert found == totals[ceil(probability * FEW) - 1]


def test_the_days_need_is_the_exact_quantile() -> None:
    half = job_of((0.5, {"a": 1}))
    assert day_need_quantiles([half, half], probability=0.99, seed=1) == {"a": 2}
    assert day_need_quantiles([job_of((0.001, {"a": 1}))], probability=0.99, seed=1) == {"a": 0}
    assert day_need_quantiles([], probability=0.99, seed=1) == {}


@settings(deadline=None)
@given(st.lists(need, max_size=5), st.lists(st.integers(0, 5), max_size=30), st.randoms(use_true_random=False))
def test_draws_are_laid_out_by_group_as_one_by_one(wanted: list[dict[str, int]], picks: list[int], dice: Any) -> None:
    picked = [min(pick, len(wanted)) for pick in picks]
    draws = dice.sample(range(100), len(picked))
    slow: dict[str, dict[int, int]] = {}
    for pick, draw in zip(picked, draws, strict=True):
        for group, one in (wanted[pick] if pick < len(wanted) else {}).items():
            slow.setdefault(group, {})[draw] = one
    found = list(_spread(wanted, np.array(picked, dtype=np.intp), np.array(draws, dtype=np.intp)))
    assert [group for group, _ in found] == sorted(slow)
    for group, (index, qty) in found:
        assert len(set(index.tolist())) == len(index)
        assert dict(zip(index.tolist(), qty.tolist(), strict=True)) == slow[group]


def test_more_cases_than_sixteen_bits_can_number_are_laid_out_alike() -> None:
    wanted = [{"a": 1 + number % 3} for number in range(2**15 + 5)]
    picks = np.array([0, 2**15 + 4, 2**15 - 1, 2**15, 2**15 + 5], dtype=np.intp)
    ((group, (index, qty)),) = _spread(wanted, picks, np.arange(5))
    assert (group, dict(zip(index.tolist(), qty.tolist(), strict=True))) == ("a", {0: 1, 1: 1, 2: 2, 3: 3})


def test_the_benchmark_of_the_draws_runs_at_a_small_size(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark.table(benchmark.Size(jobs=2, parts=20, draws=200, cases=10), rounds=1)
    assert len(capsys.readouterr().out.splitlines()) == 1 + len(benchmark.KINDS)


@pytest.mark.parametrize(("many", "within"), [(1_000, 2), (5_000, 6)])
def test_many_jobs_alike_are_drawn_together_and_need_what_the_binomial_says(many: int, within: int) -> None:
    """A job of two needs one: as many do as the binomial quantile says (scipy), give or take what chance adds to a
    quantile of 4,000 or 2,000 draws, whose standard errors are 0.4 and 1.3."""
    half = job_of((0.5, {"a": 1}), (0.5, {}))
    assert many * DRAWS > MOST_DRAWN
    found = day_need_quantiles([half] * many, probability=0.9, seed=1)["a"]
    assert abs(found - binom.ppf(0.9, many, 0.5)) <= within


@pytest.mark.parametrize("many", [0, 1, 2, 7, 1000])
def test_evenly_spread_numbers_are_one_in_each_of_so_many_equal_parts_in_random_order(many: int) -> None:
    rng = np.random.default_rng(3)
    found = evenly_spread(rng, many)
    assert np.array_equal(np.sort((found * many).astype(int)), np.arange(many))
    assert many < 3 or not np.array_equal(np.sort(found), found)
    assert np.all(found < 1)


def test_evenly_spread_numbers_side_by_side_have_nothing_to_do_with_each_other() -> None:
    rng = np.random.default_rng(3)
    one, two = evenly_spread(rng, 10_000), evenly_spread(rng, 10_000)
    assert abs(np.corrcoef(one, two)[0, 1]) < 0.04  # 4 standard errors
    assert abs(np.corrcoef(one[1:], one[:-1])[0, 1]) < 0.04

"""The exact levels: against every set of levels there is, against an integer program, and the published repair kit."""

from __future__ import annotations

from functools import partial
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from vanstock.kit import closure
from vanstock.kit.closure import Point, Wanted


def wanted(rows: list[tuple[int, int, int]], jobs: int, cash: list[int], begun: list[int] | None = None) -> Wanted:
    table = np.array(sorted({(j, p): (j, p, v) for j, p, v in rows}.values()), dtype=np.int64).reshape(-1, 3)
    return Wanted(table[:, 0], table[:, 1], table[:, 2], jobs, np.array(cash, dtype=np.int64),
                  np.array(begun or [0] * len(cash), dtype=np.int64))  # fmt: skip


def drawn(seed: int, *, jobs: int, parts: int, levels: int, dearest: int) -> Wanted:
    dice = np.random.default_rng(seed)
    rows = [
        (job, int(part), int(dice.integers(1, levels + 1)))
        for job in range(jobs)
        for part in dice.choice(parts, min(parts, int(dice.poisson(1.7))), replace=False)
    ]
    begun = dice.integers(0, dearest, parts).tolist() if seed % 3 else None
    return wanted(rows, jobs, dice.integers(1, dearest, parts).tolist(), begun)


def finishes(jobs: int, one: Point) -> bool:
    return one.finished >= jobs


def every_point(asked: Wanted, levels: int) -> list[Point]:
    return [closure.point(asked, np.array(one)) for one in product(range(levels + 1), repeat=len(asked.cash))]


@pytest.mark.parametrize("seed", range(200))
def test_no_set_of_levels_is_worth_more_than_the_cut_finds(seed: int) -> None:
    asked = drawn(seed, jobs=seed % 11 + 1, parts=3, levels=3, dearest=(30, 3_000_000)[seed % 2])
    others = every_point(asked, 3)
    for worth in (1, 7, 40, 5_000_000):
        found = closure.best(asked, worth)
        most = max(worth * one.finished - one.cash for one in others)
        assert worth * found.finished - found.cash == most
        assert found.cash == min(one.cash for one in others if worth * one.finished - one.cash == most)


@pytest.mark.parametrize("seed", range(60))
def test_every_corner_lies_on_the_lower_hull_and_none_is_missing(seed: int) -> None:
    asked = drawn(seed, jobs=9, parts=3, levels=3, dearest=30)
    corners = closure.curve(asked)
    slopes = [(b.cash - a.cash) / (b.finished - a.finished) for a, b in pairwise(corners)]
    assert all(one < two + 1e-9 for one, two in pairwise(slopes))
    for other in every_point(asked, 3):
        for a, b in pairwise(corners):
            if a.finished <= other.finished <= b.finished:
                on_line = (b.cash - a.cash) * (other.finished - a.finished)
                assert (other.cash - a.cash) * (b.finished - a.finished) >= on_line


@pytest.mark.parametrize("seed", range(20))
def test_the_cut_is_as_good_as_an_integer_program(seed: int) -> None:
    asked, worth = drawn(seed, jobs=120, parts=12, levels=6, dearest=400), 500
    parts, jobs = len(asked.cash), asked.jobs
    limits = lil_array((len(asked.job) + parts, 2 * parts + jobs))
    for row, (job, part, level) in enumerate(zip(asked.job, asked.part, asked.level, strict=True)):
        limits[row, part], limits[row, 2 * parts + job] = 1, -level
    for part in range(parts):
        limits[len(asked.job) + part, part], limits[len(asked.job) + part, parts + part] = -1, 6
    cost = np.concatenate([asked.cash.astype(float), asked.begun.astype(float), np.full(jobs, -float(worth))])
    upper = np.concatenate([np.full(parts, 6.0), np.ones(parts + jobs)])
    solved = milp(
        cost,
        constraints=LinearConstraint(limits.tocsr(), lb=0),
        bounds=Bounds(0, upper),
        integrality=np.ones(len(cost), dtype=np.int64),
    )
    found = closure.best(asked, worth)
    assert solved.fun is not None
    assert worth * found.finished - found.cash == pytest.approx(-solved.fun)


def test_sets_grow_as_a_job_is_worth_more() -> None:
    asked = drawn(3, jobs=200, parts=15, levels=5, dearest=200)
    for less, more in pairwise(closure.curve(asked)):
        assert all(a <= b for a, b in zip(less.levels, more.levels, strict=True))
        assert (less.finished, less.cash) < (more.finished, more.cash)


def test_capacities_beyond_the_solver_are_cut_exactly() -> None:
    asked = wanted([(0, 0, 1), (1, 0, 1), (1, 1, 1)], 2, [2_999_999_999, 1])
    assert closure.best(asked, 1_500_000_001).levels == (1, 1)
    assert closure.best(asked, 1_499_999_999).levels == (0, 0)
    assert closure.best(asked, 1_500_000_000).levels == (0, 0)


@pytest.mark.parametrize("times", [1_000, 1_000_000, 1_000_000_000])
def test_dearer_money_changes_no_level(times: int) -> None:
    asked = drawn(4, jobs=600, parts=12, levels=6, dearest=30_000)
    dearer = asked._replace(cash=asked.cash * times, begun=asked.begun * times)
    for worth in (400, 900):
        found = closure.best(asked, worth)
        assert 0 < found.finished < 600
        assert closure.best(dearer, worth * times).levels == found.levels
    if times == 1_000:
        assert [one.levels for one in closure.curve(dearer)] == [one.levels for one in closure.curve(asked)]


def test_a_single_part_is_stocked_while_its_next_unit_pays() -> None:
    """One part, one unit a job: a newsvendor. Worth 20 and a unit at 1, a level is added while more than one job in 20
    needs it (Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. 2019, sec. 4.3: the critical ratio)."""
    levels = np.random.default_rng(5).poisson(3.0, 4_000)
    rows = [(job, 0, int(level)) for job, level in enumerate(levels) if level]
    found = closure.best(wanted(rows, 4_000, [4_000]), 20)
    assert found.levels[0] == max(k for k in range(1, 20) if (levels == k).sum() * 20 > 4_000)


@pytest.mark.parametrize("seed", range(30))
def test_the_two_corners_around_a_wish_are_neighbours_on_the_curve(seed: int) -> None:
    asked = drawn(seed, jobs=60, parts=6, levels=4, dearest=60)
    corners = closure.curve(asked)
    for jobs in range(0, corners[-1].finished + 1, 7):
        low, high = closure.around(asked, partial(finishes, jobs))
        place = corners.index(high)
        assert high.finished >= jobs
        assert low == corners[max(place - 1, 0)]
    dear = closure.around(asked, lambda _: False)
    assert dear == (corners[-1], corners[-1])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 99))
def test_filling_in_between_two_corners_reaches_the_jobs_asked_for_and_costs_no_more_than_the_next(
    seed: int, share: int
) -> None:
    asked = drawn(seed, jobs=40, parts=6, levels=4, dearest=60)
    corners = closure.curve(asked)
    for low, high in pairwise(corners):
        jobs = low.finished + (high.finished - low.finished) * share // 100
        found = closure.filled_in(asked, low, high, jobs)
        assert jobs <= found.finished
        assert all(a <= b for a, b in zip(found.levels, high.levels, strict=True))


def test_the_published_one_job_kit_is_found() -> None:
    """Smith, Chambers and Shlifer 1980 as computed in the notes on checks: p .20 .10 .05 .15 .02, holding 4 1 2 6 .5,
    penalty 30: the best kit is parts 1 and 2 at a cost of 11.2595; part by part the rule takes part 5 too, 11.275."""
    odds, holding = (0.20, 0.10, 0.05, 0.15, 0.02), (4, 1, 2, 6, 0.5)
    rows, weight = [], []
    for number, needs in enumerate(product((0, 1), repeat=5)):
        rows += [(number, part, 1) for part, needed in enumerate(needs) if needed]
        weight.append(np.prod([p if needed else 1 - p for p, needed in zip(odds, needs, strict=True)]))
    scale = 1_000_000
    copies = [round(one * scale) for one in weight]
    spread = [(job, part, level) for job, part, level in rows]
    by_job: dict[int, list[tuple[int, int]]] = {}
    for job, part, level in spread:
        by_job.setdefault(job, []).append((part, level))

    def cost(kit: set[int]) -> float:
        done = sum(w for j, w in enumerate(weight) if all(part in kit for part, _ in by_job.get(j, [])))
        return float(sum(holding[part] for part in kit) + 30 * (1 - done))

    kits = [{part for part in range(5) if chosen[part]} for chosen in product((0, 1), repeat=5)]
    best = min(kits, key=cost)
    assert best == {0, 1}
    assert cost(best) == pytest.approx(11.2595, abs=5e-5)
    assert cost({0, 1, 4}) == pytest.approx(11.275, abs=5e-4)
    # Through the cut: each kind of job stands for itself a thousand times its odds.
    thousand = [(j, n) for j, n in enumerate(round(c / 1000) for c in copies) if n]
    jobs, lines = 0, []
    for kind, count in thousand:
        for _ in range(count):
            lines += [(jobs, part, level) for part, level in by_job.get(kind, [])]
            jobs += 1
    found = closure.best(wanted(lines, jobs, [round(h * 1000) for h in holding]), 30)
    assert {part for part, level in enumerate(found.levels) if level} == {0, 1}

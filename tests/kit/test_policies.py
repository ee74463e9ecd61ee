"""Levels of each part by itself: worked by hand, and each against every level that there is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.kit.closure import Wanted
from vanstock.kit.minmax import Buying
from vanstock.kit.policies import covering, each_by_cost
from vanstock.kit.stream import Shelf, Stream


def one_part(levels: list[int], jobs: int, cash: int, quantity: int = 1, step: int = 1) -> Stream:
    """Jobs of which the first want these levels of the only part, in steps, and the rest nothing."""
    rows, none = np.array(levels, dtype=np.int64), np.zeros(jobs, dtype=np.int64)
    begun = np.array([cash * (quantity - 1)])
    wanted = Wanted(np.arange(len(rows)), np.zeros(len(rows), dtype=np.int64), rows, jobs, np.array([cash]), begun)
    return Stream((Shelf("A", step, cash, quantity, [0]),), wanted, none, none, np.zeros(1), np.zeros(1))


def test_a_need_is_covered_by_the_least_whole_steps() -> None:
    how = {"A": Buying(1, 5, 1, 1), "H": Buying(100, 5, 1_000, 1_000), "Z": Buying(1, 5, 1, 1)}
    assert covering({"A": 3.2, "H": 150.0, "X": 9.0}, how) == {"A": 4, "H": 200, "Z": 0}
    assert covering({"A": 3.0 + 1e-12, "H": -4.0, "Z": 0.0}, how) == {"A": 3, "H": 0, "Z": 0}


@given(st.floats(0, 5_000), st.sampled_from([1, 25, 100]))
def test_a_step_less_would_not_cover_the_need(need: float, step: int) -> None:
    (found,) = covering({"A": need}, {"A": Buying(step, 5, step, step)}).values()
    assert found % step == 0
    assert found - step < need + 1e-6
    assert found >= need - 1e-6


def test_a_level_rises_while_its_next_step_pays() -> None:
    """Of ten jobs five want one, three two, one three; at 100 a job and 150 a step, the third does not pay."""
    stream = one_part([1] * 5 + [2] * 3 + [3], 10, 150)
    assert each_by_cost(stream, 100) == {"A": 2}
    assert each_by_cost(stream, 151) == {"A": 3}
    assert each_by_cost(stream, 50) == {"A": 1}
    assert each_by_cost(stream, 30) == {"A": 0}, "of those that tie the least"


def test_a_first_step_that_begins_dear_is_held_against_all_that_it_opens() -> None:
    """Ordered four at a time: the first costs 600 in all, which five jobs at 100 do not bring, but eight with two."""
    stream = one_part([1] * 5 + [2] * 3, 10, 150, quantity=4, step=25)
    assert each_by_cost(stream, 100) == {"A": 50}
    assert each_by_cost(stream, 93) == {"A": 0}


@settings(deadline=None)
@given(st.lists(st.integers(1, 6), max_size=25), st.integers(1, 400), st.integers(1, 4), st.floats(1, 500))
def test_no_other_level_of_a_part_is_worth_more(levels: list[int], cash: int, quantity: int, worth: float) -> None:
    def gain(level: int) -> float:
        return worth * sum(one <= level for one in levels) - cash * (level + quantity - 1) * (level > 0)

    found = each_by_cost(one_part(levels, 30, cash, quantity), worth)["A"]
    best = max(gain(level) for level in range(8))
    assert gain(found) == pytest.approx(best)
    assert all(gain(level) < best + 1e-9 for level in range(found))


def test_one_part_by_itself_is_the_newsvendors_critical_ratio() -> None:
    """Snyder and Shen 2019, sec. 4.3: stock rises while the next unit's chance of use is above cost over worth."""
    levels = (1 + np.random.default_rng(5).poisson(3.0, 2_000)).tolist()
    worth, cash = 12.0, 900
    found = each_by_cost(one_part(levels, 2_000, cash), worth)["A"]
    used = [level for level in range(1, 15) if levels.count(level) / 2_000 > cash / worth / 2_000]
    assert found == max(used)

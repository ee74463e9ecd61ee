"""A van's kit beside what is known by hand: the Poisson loss function, and a slow simulation of evenings and jobs."""

from __future__ import annotations

import random

import pytest
from scipy.stats import poisson

from vanstock.jobneeds import JobNeeds, WeightedCase
from vanstock.kit.levels import choose, outcome
from vanstock.kit.stream import Ahead, Kind, Stream
from vanstock.kit.vankit import Slot, refilled_stream, slot_of
from vanstock.model import Part

A_DAY, TAKES = 4.0, 0.3
WEEKS = 13
DAYS = Ahead([day // 5 for day in range(5 * WEEKS)], 5, 1.0)


def needs(*cases: tuple[float, dict[str, int]]) -> JobNeeds:
    return JobNeeds("", tuple(WeightedCase(weight, need) for weight, need in cases), (), 0.0, 9)


@pytest.fixture(scope="module")
def one_part() -> Stream:
    """Four jobs a day, each taking one of a part three times in ten."""
    kind = Kind(needs((TAKES, {"a": 1}), (1 - TAKES, {})), 5 * A_DAY)
    return refilled_stream([kind], [Slot("a", 1, 100)], DAYS, seed=1, jobs=40_000)


def finished_by_hand(level: int) -> float:
    """One less the jobs lost: E[(T - k)+] of a Poisson T takers a day (the loss function: Hadley and Whitin, Analysis
    of Inventory Systems, 1963, appendix 3)."""
    mean = A_DAY * TAKES
    lost = mean * poisson.sf(level - 1, mean) - level * poisson.sf(level, mean)
    return float(1 - lost / A_DAY)


def test_a_level_filled_up_every_evening_finishes_what_the_poisson_loss_function_says(one_part: Stream) -> None:
    for level in range(6):
        assert outcome(one_part, {"a": level})[0] == pytest.approx(finished_by_hand(level), abs=0.006)


@pytest.mark.parametrize("wanted", [0.8, 0.9, 0.95, 0.98, 0.995])
def test_the_level_chosen_is_the_least_that_finishes_enough(one_part: Stream, wanted: float) -> None:
    by_hand = next(level for level in range(20) if finished_by_hand(level) >= wanted)
    assert choose(one_part, completion=wanted).levels == {"a": by_hand}


def test_jobs_that_take_two_parts_need_both_aboard_as_in_a_slow_simulation() -> None:
    spread: tuple[tuple[float, dict[str, int]], ...] = ((0.4, {"a": 1, "b": 2}), (0.2, {"b": 1}), (0.4, {}))
    stream = refilled_stream([Kind(needs(*spread), 15.0)], [Slot("a", 1, 900), Slot("b", 1, 50)], DAYS, seed=2)
    for levels in ({"a": 1, "b": 2}, {"a": 1, "b": 3}, {"a": 2, "b": 4}, {"a": 3, "b": 5}):
        assert outcome(stream, levels)[0] == pytest.approx(slowly(levels, spread, a_day=3), abs=0.02)


def slowly(levels: dict[str, int], spread: tuple[tuple[float, dict[str, int]], ...], *, a_day: float) -> float:
    """Day by day, job by job: earlier jobs draw whether or not they are finished, every evening fills up."""
    dice, jobs, finished = random.Random(3), 0, 0
    for _ in range(6_000):
        aboard = dict(levels)
        at = dice.expovariate(a_day)
        while at < 1:
            need = dice.choices([need for _, need in spread], [weight for weight, _ in spread])[0]
            for part, qty in need.items():
                aboard[part] -= qty
            jobs, finished = jobs + 1, finished + all(aboard[part] >= 0 for part in need)
            at += dice.expovariate(a_day)
    return finished / jobs


def test_fluid_is_carried_in_whole_cans_and_pieces_one_by_one() -> None:
    can = Part("F", unit="LTR", pack_size=5000, cost=56_000)
    assert slot_of("F", can) == Slot("F", 5000, 2800)
    assert slot_of("B", Part("B", pack_size=10, cost=9_200)) == Slot("B", 1, 92)

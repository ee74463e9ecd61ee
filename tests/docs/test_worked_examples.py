"""The worked examples of the arithmetic page, worked out by the program: what it says is what comes."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.kit.days import GROUPS, enumerated
from vanstock.forecast import smoothers
from vanstock.jobneeds import JobNeeds, WeightedCase
from vanstock.kit.closure import Wanted, best, curve
from vanstock.kit.minmax import Handling, buying, economic_quantity, min_and_max
from vanstock.kit.odds import job_odds
from vanstock.kit.reorder import packs_to_order
from vanstock.model import Part
from vanstock.needs.shrink import shrunken

PAGE = (Path(__file__).parents[2] / "docs" / "arithmetic.md").read_text(encoding="utf-8")
WORDS = " ".join(PAGE.split())


@pytest.mark.parametrize(
    ("row", "method", "constants"),
    [
        ("mean", smoothers.mean, [0.1]),
        ("simple, a = 0.1", smoothers.simple, [0.1]),
        ("SBA, a = 0.1", smoothers.sba, [0.1]),
        ("TSB, a = b = 0.1", smoothers.tsb, [[0.1, 0.1]]),
    ],
)
def test_a_mean_week_by_each_method(row: str, method: smoothers.Smoother, constants: list[object]) -> None:
    need = np.array([[1.0, 0, 0, 2, 0, 1, 0, 0]])
    rate = method(need, np.array(constants))[0, 0, -1]
    told = next(line for line in PAGE.splitlines() if line.startswith(f"| {row} |"))
    assert told.endswith(f"| {rate:.3f} |")


def test_the_need_of_an_interval() -> None:
    mean = 0.5 * 6 / 5
    assert f"the mean makes {mean:.1f}" in WORDS
    assert stats.poisson.ppf(0.95, mean) == 2
    assert f"({stats.poisson.cdf(2, mean):.1%}; 1 would be enough in {stats.poisson.cdf(1, mean):.1%})" in (
        WORDS.replace(" %", "%")
    )


def test_the_chance_of_a_part_leans_on_the_level_below() -> None:
    assert f"= 10.8 / 21 = {shrunken(6, 9, 0.4, 12):.0%}" in WORDS.replace(" %", "%")


def test_the_odds_of_a_job_and_of_a_second_one() -> None:
    sensor, hose, fluid = GROUPS
    cases = [(0.5, {sensor: 1}), (0.3, {sensor: 1, hose: 600}), (0.2, {fluid: 2000})]
    job = JobNeeds("J", tuple(WeightedCase(weight, need) for weight, need in cases), (), 0.0, 9)
    aboard = {sensor: 1, fluid: 4000}
    assert job_odds(job, aboard) == pytest.approx(0.7)
    assert job_odds(job, aboard | {hose: 600}) == pytest.approx(1.0)
    second = enumerated([job, job], aboard | {hose: 1200})[0][1]
    assert f"100% - 80% x 80% = {second:.0%}" in WORDS.replace(" %", "%")


def test_the_corners_of_the_curve() -> None:
    needs = [["clip"]] * 60 + [["sensor"]] * 10 + [["vaporiser", "gasket"]] * 20
    needs += [["sensor", "vaporiser", "gasket"]] * 10
    cash = {"clip": 100, "sensor": 4000, "vaporiser": 12000, "gasket": 400}
    rows = np.array([(job, list(cash).index(part), 1) for job, parts in enumerate(needs) for part in parts])
    costs = np.array(list(cash.values()))
    wanted = Wanted(rows[:, 0], rows[:, 1], rows[:, 2], len(needs), costs, np.zeros_like(costs))
    corners = curve(wanted)
    assert [one.finished for one in corners] == [0, 60, 70, 100]
    for before, one in pairwise(corners):
        more = (one.cash - before.cash) / (one.finished - before.finished) / 100
        assert f"| {one.cash / 100:.2f} | {one.finished} | {more:.2f} |" in PAGE
    for worth, found, other in ((405, corners[2], corners[3]), (420, corners[3], corners[2])):
        assert best(wanted, worth) == found
        for one in (found, other):
            assert f"{(worth * one.finished - one.cash) / 100:.2f}" in WORDS


def test_min_and_max_of_a_level_and_the_order() -> None:
    plug, handling = Part("PLUG", cost=112_000), Handling(line_cost=20, holding=0.25)
    quantity = economic_quantity(line_cost=0.20, use=62.4, holding=2.80)
    how = buying(plug, 1.2, handling)
    low, high = min_and_max(8, how)
    assert f"= {quantity:.2f}, so {how.quantity}. With the level at 8: min {low}, max {high}." in WORDS
    assert f"none on order {packs_to_order(4, low, high, 1)} are ordered" in WORDS

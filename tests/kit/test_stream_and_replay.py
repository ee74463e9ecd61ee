"""A stream of coming jobs, and weeks gone through: small ones worked by hand, and a slow obvious version."""

from __future__ import annotations

import numpy as np
import pytest

from vanstock.forecast.jobs import job_rates
from vanstock.jobneeds import JobNeeds, WeightedCase
from vanstock.kit.levels import choose, margins
from vanstock.kit.replay import Carriage, Firm, Item, packs_to_order, play
from vanstock.kit.stream import Ahead, Kind, Shelf, draw_stream, reviews_before

DAYS = 50
EITHER = JobNeeds("J", (WeightedCase(0.5, {"A": 1}), WeightedCase(0.3, {"A": 1, "B": 2})), (), 0.2, 9)
SHELVES = tuple(Shelf(g, 1, c, reviews_before(range(4, DAYS, 5), n, DAYS)) for g, c, n in (("A", 30, 1), ("B", 7, 6)))
AHEAD = Ahead([day // 5 for day in range(DAYS)], 5, 1.0)
STREAM = draw_stream([Kind(EITHER, 3.0)], SHELVES, AHEAD, seed=1, jobs=600)


def test_the_last_review_whose_order_has_come_is_found_and_weeks_repeat() -> None:
    assert reviews_before([4, 9], 2, 10) == [-6, -1, -1, -1, -1, -1, 4, 4, 4, 4]


def test_a_job_needs_what_was_needed_since_that_review() -> None:
    wanted, day = STREAM.wanted, STREAM.day
    qty = {"A": 1, "B": 2}
    for row in range(0, len(wanted.job), 37):
        job, shelf = int(wanted.job[row]), SHELVES[int(wanted.part[row])]
        at = int(day[job])
        since = max(0, at - at % DAYS + shelf.since[at % DAYS])
        mine = [int(j) for j, part in zip(wanted.job, wanted.part, strict=True) if SHELVES[int(part)] == shelf]
        assert wanted.level[row] == qty[shelf.group] * sum(since <= day[j] and j <= job for j in mine)


def test_levels_reach_the_target_and_a_step_less_loses_what_it_says() -> None:
    found = choose(STREAM, completion=0.9)
    assert found.completion >= 0.9
    for group, margin in margins(STREAM, found.levels).items():
        less = {**found.levels, group: found.levels[group] - 1}
        again = choose(STREAM, pinned=less)
        assert again.completion == pytest.approx(found.completion - margin.lost)


def test_a_week_worked_by_hand() -> None:
    firm = Firm({"A": Item(1, 2_000_000, "S", 1)}, {"S": Carriage(500, None)}, {"S": frozenset({4, 9})})
    jobs = [(0, {"A": 1}), (3, {"A": 1}), (5, {"A": 1})]
    found = play(firm, jobs, lambda _: {"A": (1, 2)}, days=10, stock={"A": 1})
    assert (found.jobs, found.finished, found.orders, found.lines, found.carriage) == (3, 2, 2, 2, 1_000)
    assert packs_to_order(-1, 1, 2, 1) == 3


def test_steady_jobs_are_counted_by_the_week_and_a_closed_week_is_no_week() -> None:
    counts, share = np.full((2, 30), [[2.0], [4.0]]), np.ones(30)
    counts[:, 7], share[7] = 0, 0
    rates = job_rates(counts, share)
    assert rates.weekly.tolist() == pytest.approx([2, 4])
    assert rates.dispersion < 1

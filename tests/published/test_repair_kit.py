"""The repair-kit values: a day of jobs with independent needs, and many jobs on one stock."""

from __future__ import annotations

import csv
import itertools
from collections.abc import Callable, Mapping, Sequence
from math import prod
from pathlib import Path

import pytest
from scipy import stats

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.draws import day_odds
from vanstock.kit.odds import job_odds

DATA = Path(__file__).parents[2] / "data" / "repair_kit.csv"
DAY = ((0.6, 0.2, 0.0, 0.3), (0.1, 0.5, 0.4, 0.1), (0.3, 0.3, 0.3, 0.3))
"""Need probabilities by part (row) and job of the day in data/repair_kit.csv."""
STOCK = {"0": 1, "1": 1, "2": 2}


def independent(chances: dict[str, float]) -> JobNeeds:
    """A job that needs one of each part with its own chance, independently."""
    prior = tuple(ComponentChoice(part, ((p, {part: 1}),)) for part, p in chances.items() if p)
    return JobNeeds("J", (), prior, 1.0, 0)


def as_cases(chances: dict[str, float]) -> JobNeeds:
    """The same job with every combination of parts written out as a case."""
    cases = []
    for taken in itertools.product((0, 1), repeat=len(chances)):
        weight = prod(p if takes else 1 - p for p, takes in zip(chances.values(), taken, strict=True))
        cases.append(WeightedCase(weight, {part: 1 for part, takes in zip(chances, taken, strict=True) if takes}))
    return JobNeeds("J", tuple(cases), (), 0.0, 0)


def together(rows: Mapping[str, Sequence[float]]) -> JobNeeds:
    """One job that takes what several take, each by itself."""
    choices = tuple(ComponentChoice(part, ((p, {part: 1}),)) for part, chances in rows.items() for p in chances)
    return JobNeeds("J", (), choices, 1.0, 0)


def in_turn(rows: Sequence[Sequence[float]], stock: Sequence[int]) -> list[float]:
    """J_n = prod_i [(1 - p_in) + p_in F(S_i - 1; p_i1 .. p_i,n-1)], where F is the odds of one job that takes part i
    for all jobs before the n-th."""
    found = []
    for job in range(len(rows[0])):
        before = [job_odds(together({"a": row[:job]}), {"a": held - 1}) for row, held in zip(rows, stock, strict=True)]
        found.append(prod(1 - row[job] + row[job] * (f or 0.0) for row, f in zip(rows, before, strict=True)))
    return found


def test_each_job_of_a_day_in_order_by_the_formula() -> None:
    """Job odds 1 .836 .75894 .6900766, mean .82125415 (computed)."""
    found = in_turn(DAY, list(STOCK.values()))
    assert found == pytest.approx([1, 0.836, 0.75894, 0.6900766], abs=5e-9)
    assert sum(found) / 4 == pytest.approx(0.82125415, abs=5e-9)
    by_scipy = [
        prod(
            1 - row[n] + row[n] * (float(stats.poisson_binom.cdf(held - 1, row[:n])) if n else float(held > 0))
            for row, held in zip(DAY, STOCK.values(), strict=True)
        )
        for n in range(4)
    ]
    assert found == pytest.approx(by_scipy, abs=1e-12)


def test_the_first_jobs_of_a_day_are_all_done_when_all_that_they_take_is_aboard() -> None:
    """1 .836 .64218 .45798873 for the first 1 to 4 jobs (computed)."""
    kits = [{str(part): row[:n] for part, row in enumerate(DAY)} for n in (1, 2, 3, 4)]
    found = [job_odds(together(rows), STOCK) for rows in kits]
    assert found == pytest.approx([1, 0.836, 0.64218, 0.45798873], abs=5e-9)


@pytest.mark.parametrize("written", [independent, as_cases])
@pytest.mark.parametrize(
    ("chances", "holding", "penalty", "best", "cost"),
    [((0.2, 0.1, 0.05, 0.15, 0.02), (4, 1, 2, 6, 0.5), 30, "01", 11.2595), ((0.5, 0.2, 0.05), (1, 1, 1), 20, "01", 3)],
)
def test_the_kit_that_costs_least(
    written: Callable[[dict[str, float]], JobNeeds],
    chances: tuple[float, ...], holding: tuple[float, ...], penalty: float, best: str, cost: float,
) -> None:  # fmt: skip
    """Holding plus the penalty of a job not finished, over all kits; the part-by-part rule takes part 5 too, 11.275
    (computed for the model of Smith, Chambers & Shlifer 1980)."""
    needs = written({str(part): p for part, p in enumerate(chances)})

    def cost_of(kit: Sequence[int]) -> float:
        return sum(holding[part] for part in kit) + penalty * (1 - (job_odds(needs, {str(p): 1 for p in kit}) or 0.0))

    kits = [kit for size in range(len(chances) + 1) for kit in itertools.combinations(range(len(chances)), size)]
    assert cost_of([int(part) for part in best]) == pytest.approx(cost, abs=1e-12)
    assert min(cost_of(kit) for kit in kits) == pytest.approx(cost, abs=1e-12)
    if len(chances) == 5:
        assert cost_of((0, 1, 4)) == pytest.approx(11.275, abs=5e-4)


def test_the_costs_along_the_order_of_need() -> None:
    """p = .5 .2 .05, holding 1 each, penalty 20: 12.4, 5.8, 3.0, 3.0 (computed)."""
    needs = as_cases({"0": 0.5, "1": 0.2, "2": 0.05})
    odds = [job_odds(needs, {str(part): 1 for part in range(size)}) or 0.0 for size in range(4)]
    assert odds == pytest.approx([0.38, 0.76, 0.95, 1], abs=1e-12)
    assert [size + 20 * (1 - done) for size, done in enumerate(odds)] == pytest.approx([12.4, 5.8, 3, 3], abs=1e-12)


def test_twenty_parts_over_four_jobs() -> None:
    """p = .05 each: mean odds .931173 with one of each, .358486 with none (computed)."""
    one_job = independent({str(part): 0.05 for part in range(20)})
    assert job_odds(one_job, {}) == pytest.approx(0.358486, abs=5e-7)
    assert sum(in_turn([[0.05] * 4] * 20, [1] * 20)) / 4 == pytest.approx(0.931173, abs=5e-7)
    found = day_odds([one_job] * 4, {str(part): 1 for part in range(20)}, seed=4, draws=100_000)
    error = sum(job.standard_error for job in found.jobs)
    assert sum(job.probability or 0.0 for job in found.jobs) / 4 == pytest.approx(0.931173, abs=error)


@pytest.mark.parametrize("written", [independent, as_cases])
def test_a_day_of_jobs_in_order(written: Callable[[dict[str, float]], JobNeeds]) -> None:
    """Model of Smith, Chambers & Shlifer 1980 over several jobs; odds computed by enumeration (data/repair_kit.csv)."""
    with DATA.open(encoding="utf-8", newline="") as lines:
        *parts, answers = csv.DictReader(lines)
    jobs = [written({row["part"]: float(row[f"job{n}"]) for row in parts}) for n in (1, 2, 3, 4)]
    found = day_odds(jobs, {row["part"]: int(row["stock"]) for row in parts}, seed=5, draws=200_000)
    for place, odds in enumerate(found.jobs, 1):
        assert odds.probability == pytest.approx(float(answers[f"job{place}"]), abs=4 * odds.standard_error + 1e-12)
    assert found.all_done == pytest.approx(0.45798873, abs=0.005)  # all four done, computed


@pytest.mark.parametrize(("jobs", "mean"), [(2, 0.98), (3, 0.962667), (4, 0.9476), (5, 0.934464), (6, 0.922976)])
def test_mean_odds_of_jobs_that_share_one_piece(jobs: int, mean: float) -> None:
    """One part, need .2, stock 1 (computed)."""
    assert sum(in_turn([[0.2] * jobs], [1])) / jobs == pytest.approx(mean, abs=5e-7)
    found = day_odds([independent({"a": 0.2})] * jobs, {"a": 1}, seed=9, draws=200_000)
    odds = [job.probability for job in found.jobs if job.probability is not None]
    assert sum(odds) / jobs == pytest.approx(mean, abs=0.002)


def test_a_single_job_completion_grows_with_the_kit() -> None:
    """p = .5 .2 .05, the kit filled in that order: completion .38 .76 .95 1 (computed)."""
    needs = independent({"a": 0.5, "b": 0.2, "c": 0.05})
    kits: list[dict[str, int]] = [{}, {"a": 1}, {"a": 1, "b": 1}, {"a": 1, "b": 1, "c": 1}]
    assert [job_odds(needs, kit) for kit in kits] == pytest.approx([0.38, 0.76, 0.95, 1], abs=1e-12)


def test_one_job_needing_several_of_a_part_agrees_with_the_poisson_binomial() -> None:
    """Poisson-binomial (.1, .2, .3) -> .504 .398 .092 .006 (computed; scipy.stats.poisson_binom agrees)."""
    choices = tuple(ComponentChoice(f"c{p}", ((p, {"a": 1}),)) for p in (0.1, 0.2, 0.3))
    needs = JobNeeds("J", (), choices, 1.0, 0)
    found = [job_odds(needs, {"a": stock}) for stock in range(4)]
    assert found == pytest.approx([0.504, 0.902, 0.994, 1], abs=1e-12)
    assert found == pytest.approx(stats.poisson_binom.cdf(range(4), (0.1, 0.2, 0.3)), abs=1e-12)

"""The repair-kit values: a day of jobs with independent needs, and many jobs on one stock."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from scipy import stats

from vanstock.kit.draws import day_odds
from vanstock.kit.odds import job_odds
from vanstock.jobneeds import ComponentChoice, JobNeeds

DATA = Path(__file__).parents[2] / "data" / "repair_kit.csv"


def independent(chances: dict[str, float]) -> JobNeeds:
    """A job that needs one of each part with its own chance, independently."""
    prior = tuple(ComponentChoice(part, ((p, {part: 1}),)) for part, p in chances.items() if p)
    return JobNeeds("J", (), prior, 1.0, 0)


def test_a_day_of_jobs_in_order() -> None:
    """Model of Smith, Chambers & Shlifer 1980 over several jobs; odds computed by enumeration (data/repair_kit.csv)."""
    with DATA.open(encoding="utf-8", newline="") as lines:
        *parts, answers = csv.DictReader(lines)
    jobs = [independent({row["part"]: float(row[f"job{n}"]) for row in parts}) for n in (1, 2, 3, 4)]
    found = day_odds(jobs, {row["part"]: int(row["stock"]) for row in parts}, seed=5, draws=200_000)
    for place, odds in enumerate(found.jobs, 1):
        assert odds.probability == pytest.approx(float(answers[f"job{place}"]), abs=4 * odds.standard_error + 1e-12)
    assert found.all_done == pytest.approx(0.45798873, abs=0.005)  # all four done, computed


@pytest.mark.parametrize(("jobs", "mean"), [(2, 0.98), (3, 0.962667), (4, 0.9476), (5, 0.934464), (6, 0.922976)])
def test_mean_odds_of_jobs_that_share_one_piece(jobs: int, mean: float) -> None:
    """One part, need .2, stock 1 (computed)."""
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

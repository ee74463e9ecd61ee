"""What our estimates of a job's needs must be able to do, on made-up firms, with margins.

`tests/benchmarks/needs_gates.py` prints the figures themselves, and more of them.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import needs_gates as gates
from tests.benchmarks.needs_firms import make_firm, periods, tabled
from vanstock.needs.mapping import PartMap

pytestmark = pytest.mark.slow
half_and_all = pytest.mark.parametrize(
    "seeds",
    [pytest.param(gates.SEEDS[:10], id="half"), pytest.param(gates.SEEDS, id="all", marks=pytest.mark.long)],
)
"""Half of the benchmark's firms, and all of them in the long run: every bound holds for both."""


@half_and_all
def test_what_jobs_take_is_foretold_as_often_as_said_and_better_than_by_two_other_ways(seeds: tuple[int, ...]) -> None:
    """Every firm is put to the test once: parts and whole jobs by tenths of what was said, both scores beside a
    regression for each part and beside raw frequencies."""
    firms = gates.all_tested(seeds=seeds)
    assert gates.worst(gates.parts_by_tenths(firms)) <= 3
    assert gates.worst(gates.jobs_by_tenths(firms)) <= 4
    log, brier = gates.beside(firms, "logistic per part")
    assert log.ratio <= 0.995
    assert brier.ratio <= 1
    assert min(log.as_good, brier.as_good) > len(firms) / 2
    log, brier = gates.beside(firms, "raw frequencies")
    assert log.ratio <= 0.95
    assert brier.ratio <= 0.98
    assert min(log.as_good, brier.as_good) >= 0.9 * len(firms)


@half_and_all
def test_a_reading_that_tells_of_a_part_is_made_use_of(seeds: tuple[int, ...]) -> None:
    found = gates.readings(gates.READING, seeds)
    gain = gates.against(found["with"], found["without"])
    assert gain.ratio <= 0.997
    assert gain.difference + 2 * gain.error < 0


@half_and_all
def test_readings_that_tell_nothing_do_next_to_no_harm(seeds: tuple[int, ...]) -> None:
    found = gates.readings(0.0, seeds)
    assert gates.against(found["with"], found["without"]).ratio <= 1.001


def test_the_scores_are_those_of_a_library_and_the_tenths_find_a_planted_fault() -> None:
    """scikit-learn's `log_loss` and `brier_score_loss`."""
    from sklearn.metrics import brier_score_loss, log_loss

    dice = np.random.default_rng(1)
    said = dice.uniform(0.01, 0.99, 20_000)
    took = dice.random(20_000) < said
    assert gates.scored(said, took) == pytest.approx((log_loss(took, said), brier_score_loss(took, said)))
    assert gates.worst(gates.tenths([said], [took])) < 3
    assert gates.worst(gates.tenths([(said + 0.05).clip(0, 1)], [took])) > 3


@pytest.mark.parametrize("seed", gates.SEEDS[:4])
def test_a_made_up_firm_keeps_to_its_catalogue_and_is_the_same_again(seed: int) -> None:
    firm = make_firm(seed)
    assert firm == make_firm(seed)
    parts = PartMap.build(firm.catalogue)
    assert 300 <= len(firm.jobs) <= 2000
    assert 4 <= len({job.family for job in firm.jobs}) <= 10
    assert 4 <= len({job.job_type for job in firm.jobs}) <= 6
    for job in firm.jobs:
        for part in job.needs:
            assert part in [group for _, group in parts.for_component(job.family, parts.component_of[part])]


@pytest.mark.parametrize("seed", gates.SEEDS[:4])
def test_readings_change_nothing_else_of_a_firm_when_they_tell_nothing(seed: int) -> None:
    told = [job._replace(readings="") for job in make_firm(seed, reading=0.0).jobs]
    assert told == list(make_firm(seed).jobs)


@pytest.mark.parametrize("seed", gates.SEEDS[:4])
def test_nothing_is_foretold_from_a_job_of_its_own_day_or_later(seed: int) -> None:
    jobs = make_firm(seed).jobs
    cuts = periods(jobs)
    for cut in cuts:
        assert max(job.date for job in jobs[cut.past]) < cut.today <= min(job.date for job in jobs[cut.coming])
    assert [cut.coming.stop for cut in cuts] == [*(cut.coming.start for cut in cuts[1:]), len(jobs)]


def test_raw_frequencies_count_the_jobs_of_one_type_and_family() -> None:
    firm = make_firm(3)
    table, cut = tabled(firm), periods(firm.jobs)[0]
    said, jobs = gates.raw(table, [cut]), firm.jobs
    for row in range(0, len(said), 17):
        job = jobs[cut.coming.start + row]
        like = [past for past in jobs[cut.past] if (past.job_type, past.family) == (job.job_type, job.family)]
        part = next(iter(job.needs or {table.parts[0]: 1}))
        if like:
            assert said[row, table.parts.index(part)] == pytest.approx(np.mean([part in past.needs for past in like]))

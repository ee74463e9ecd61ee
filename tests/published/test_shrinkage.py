"""The rat tumours and the batting averages: two published shrinkages by the formula that the needs lean by.

Gelman, Carlin, Stern, Dunson, Vehtari and Rubin, Bayesian Data Analysis, 3rd ed. (2013), table 5.1 and section 5.3;
Efron and Morris, Data Analysis Using Stein's Estimator and Its Generalizations, JASA 70 (1975), table 1.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from datetime import date
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, stats

from vanstock.model import Catalogue, FinishedJob, Fits, Job, Part, Usual
from vanstock.needs.cases import CaseBook
from vanstock.needs.marginals import marginals
from vanstock.needs.shrink import shrunken
from vanstock.needs.worths import TRIED, HeldOut, Worths, held_out, learnt, log_score

DATA = Path(__file__).parents[2] / "data" / "rat_tumours.csv"
TODAY = date(2027, 3, 1)
ALPHA, BETA = 1.3561494, 8.6150579
"""The moment fit to the 70 historical groups (printed 1.4 and 8.6, from memory; all digits computed)."""
FITTED = 2.3416141, 14.1148038
"""The beta-binomial maximum likelihood over all 71 groups (computed)."""

ONE_PART = Catalogue(parts={"SNS": Part("SNS", component="sensor")}, fits=(Fits("*", "SNS"),))


@cache
def groups() -> list[tuple[int, int]]:
    """Tumours and rats of each group; the current experiment, 4 of 14, is the last."""
    with DATA.open(encoding="utf-8", newline="") as lines:
        return [(int(row["tumours"]), int(row["rats"])) for row in csv.DictReader(lines)]


def as_jobs(rows: Sequence[tuple[int, int]]) -> list[FinishedJob]:
    """Each group a family, each rat a job of one day, each tumour a sensor taken."""
    return [
        FinishedJob(f"{group}-{rat}", TODAY, f"F{group}", "heat", (), {"SNS": 1} if rat < tumours else {})
        for group, (tumours, rats) in enumerate(rows)
        for rat in range(rats)
    ]


def test_the_table_gives_the_published_moment_fit() -> None:
    """From the mean and the sample variance of the 70 historical rates."""
    assert len(groups()) == 71
    assert groups()[-1] == (4, 14)
    rates = np.array([tumours / rats for tumours, rats in groups()[:-1]])
    both = rates.mean() * (1 - rates.mean()) / rates.var(ddof=1) - 1
    assert (both * rates.mean(), both * (1 - rates.mean())) == pytest.approx((ALPHA, BETA), abs=5e-8)


def test_the_table_gives_the_beta_binomial_maximum_likelihood() -> None:
    tumours, rats = np.array(groups()).T

    def surprise(logs: NDArray[np.float64]) -> float:
        alpha, beta = np.exp(logs)
        return -float(stats.betabinom.logpmf(tumours, rats, alpha, beta).sum())

    found = optimize.minimize(surprise, [0.5, 2.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    assert np.exp(found.x).tolist() == pytest.approx(FITTED, rel=1e-6)


def test_the_new_group_of_rats_is_shrunken_as_published() -> None:
    """4 of 14 -> .2234410 (printed .223, from memory) by the moment fit, .2082193 by maximum likelihood (computed)."""
    assert shrunken(4, 14, ALPHA / (ALPHA + BETA), ALPHA + BETA) == pytest.approx(0.2234410, abs=5e-8)
    alpha, beta = FITTED
    assert shrunken(4, 14, alpha / (alpha + beta), alpha + beta) == pytest.approx(0.2082193, abs=5e-8)


@pytest.mark.parametrize(("alpha", "beta", "mean"), [(ALPHA, BETA, 0.2234410), (*FITTED, 0.2082193)])
def test_a_job_like_fourteen_of_which_four_took_a_part_takes_it_as_often_as_the_new_group(
    alpha: float, beta: float, mean: float
) -> None:
    usual = Usual("heat", "*", "sensor", alpha / (alpha + beta), 1, alpha + beta)
    catalogue = ONE_PART._replace(usual=(usual,))
    book = CaseBook.build(as_jobs(groups()[-1:]), catalogue, today=TODAY, worths=Worths(family=0.0))
    needs = book.needs_for(Job("B", TODAY, "", "F0", "heat"))
    assert marginals(needs, {})[0].probability == pytest.approx(mean, abs=5e-8)
    assert needs.prior_weight == pytest.approx((alpha + beta) / (14 + alpha + beta))


def test_every_group_of_rats_is_shrunken_to_its_posterior_mean() -> None:
    usual = Usual("heat", "*", "sensor", ALPHA / (ALPHA + BETA), 1, ALPHA + BETA)
    catalogue = ONE_PART._replace(usual=(usual,))
    book = CaseBook.build(as_jobs(groups()), catalogue, today=TODAY, worths=Worths(family=0.0))
    for group, (tumours, rats) in enumerate(groups()):
        needs = book.needs_for(Job("B", TODAY, "", f"F{group}", "heat"))
        posterior = stats.beta(ALPHA + tumours, BETA + rats - tumours)
        assert marginals(needs, {})[0].probability == pytest.approx(posterior.mean(), abs=1e-12)


@cache
def shuffled(seed: int) -> tuple[HeldOut, Worths]:
    """The rats of all groups in an order of their own, and the worths that foretell the later ones best."""
    jobs = as_jobs(groups())
    Random(seed).shuffle(jobs)
    history = CaseBook.build(jobs, ONE_PART, today=TODAY, worths=Worths()).history()
    held = held_out(history)
    assert held is not None
    return held, learnt(history)


@pytest.mark.parametrize("seed", range(5))
def test_the_worth_chosen_for_families_of_rats_is_of_the_order_of_alpha_plus_beta(seed: int) -> None:
    """Alpha + beta is 10.0 by moments and 16.5 by maximum likelihood: one step of the grid further at most."""
    assert 4 <= shuffled(seed)[1].family <= 32


def test_over_many_orders_the_best_worth_for_families_of_rats_is_beside_alpha_plus_beta() -> None:
    mean = {
        worth: sum(log_score(shuffled(seed)[0], Worths(family=worth)) for seed in range(20)) / 20 for worth in TRIED
    }
    assert min(mean, key=lambda worth: mean[worth]) in (8.0, 16.0)


HITS = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)
"""Of 45 times at bat, 18 players (from memory; they give the published factor)."""
AT_BAT = 45


def test_batting_averages_are_shrunken_by_the_published_factor() -> None:
    """Factor .2123905 and .400 -> .2939790 from averages to three decimals (printed .212 and .294, from memory).

    Worth n (1 - f) / f at bats, the level above is the mean of all players."""
    averages = np.array([round(hits / AT_BAT, 3) for hits in HITS])
    mean = float(averages.mean())
    factor = 1 - (len(HITS) - 3) * mean * (1 - mean) / AT_BAT / float(((averages - mean) ** 2).sum())
    assert factor == pytest.approx(0.2123905, abs=5e-8)
    found = shrunken(averages * AT_BAT, AT_BAT, mean, AT_BAT * (1 - factor) / factor)
    assert found[0] == pytest.approx(0.2939790, abs=5e-8)
    assert found.tolist() == pytest.approx((mean + factor * (averages - mean)).tolist())
    # Shrunken averages keep the mean and the order of the players.
    assert found.mean() == pytest.approx(mean)
    assert (np.diff(found) <= 0).all()

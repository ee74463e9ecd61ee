"""The choosing, the spread, and a part's whole forecast."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import nbinom, norm, poisson

from vanstock.forecast import candidates, choose, empirical, spread
from vanstock.forecast.candidates import CANDIDATES, Candidate
from vanstock.forecast.choose import SERVICE, count_loss, pinball, wide_loss
from vanstock.forecast.classes import demand_class
from vanstock.forecast.parts import PartInterval, forecast_parts
from vanstock.forecast.spread import interval_quantile
from vanstock.forecast.weekly import WeeklyPanel
from vanstock.model import Forecast

Array = NDArray[np.float64]
MONDAY = date(2026, 1, 5)


def panel(need: Array, *parts: str) -> WeeklyPanel:
    names = parts or tuple(f"P{i}" for i in range(len(need)))
    weeks = tuple(MONDAY + timedelta(weeks=i) for i in range(need.shape[1]))
    return WeeklyPanel(names, weeks, need, np.ones(need.shape[1]))


def forecast(need: Array, days: int = 10, unit: str = "C62") -> list[Forecast]:
    table = panel(need)
    found = forecast_parts(table, {part: PartInterval(unit, days) for part in table.parts}, target=0.95)
    return [found[part] for part in table.parts]


@pytest.mark.parametrize(
    ("need", "name"),
    [([2, 3, 2, 3], "smooth"), ([1, 9, 1, 9], "erratic"), ([2, 0, 2, 0], "intermittent"), ([1, 0, 9, 0], "lumpy"),
     ([0, 0], "none")],
)  # fmt: skip
def test_demand_classes(need: list[int], name: str) -> None:
    assert demand_class(np.array(need, float)) == name


def test_pinball_loss_punishes_too_little_more_at_a_high_target() -> None:
    assert pinball(np.array([3.0]), np.array([1.0]), 0.9)[0] == pytest.approx(1.8)
    assert pinball(np.array([1.0]), np.array([3.0]), 0.9)[0] == pytest.approx(0.2)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 15), st.floats(1, 4), st.integers(0, 20))
def test_the_score_of_counts_is_the_slow_sum_over_whole_numbers(mean: float, ratio: float, actual: int) -> None:
    curve = poisson(mean) if ratio < 1.01 else nbinom(mean / (ratio - 1), 1 / ratio)
    variance = mean * (1.0 if ratio < 1.01 else ratio)
    crps = sum((curve.cdf(k) - (actual <= k)) ** 2 for k in range(400))
    service = np.mean([pinball(np.array(float(actual)), np.array(curve.ppf(p)), p) for p in SERVICE])
    ours = count_loss(np.array([[[mean]]]), np.array([[[variance]]]), np.array([[float(actual)]]))
    assert ours.item() == pytest.approx(crps + service, rel=1e-3, abs=1e-3)


def test_the_score_of_large_needs_is_that_of_the_normal_curve() -> None:
    """Gneiting and Raftery (2007), eq. 21, against the integral it stands for."""
    grid = np.linspace(-60, 260, 40_001)
    curve = norm(100, 20)
    step = grid[1] - grid[0]
    crps = float((((curve.cdf(grid) - (grid >= 130)) ** 2) * step).sum())
    service = np.mean([pinball(np.array(130.0), np.array(curve.ppf(p)), p) for p in SERVICE])
    ours = wide_loss(np.array([[[100.0]]]), np.array([[[400.0]]]), np.array([[130.0]]))
    assert ours.item() == pytest.approx(crps + service, rel=1e-3)


@given(st.floats(0.1, 50), st.floats(0, 200), st.floats(0.5, 0.99), st.floats(0.001, 0.009))
def test_a_higher_target_never_needs_less(mean: float, variance: float, target: float, more: float) -> None:
    at = (np.array([mean]), np.array([variance]))
    for measured in (True, False):
        low = interval_quantile(*at, target, measured=measured)
        assert (interval_quantile(*at, target + more, measured=measured) >= low - 1e-9).all()


def test_a_trial_forecasts_with_what_was_known_then_and_sums_what_came() -> None:
    need = np.arange(30.0)[None]
    paths = candidates.rates(need)
    trial = choose.try_out(need, paths, 2, np.ones(30))
    assert trial.age.tolist() == [float(age) for age in range(18, 1, -1)]
    assert trial.actual[0, -1] == 28 + 29
    mean = CANDIDATES.index(Candidate("mean"))
    assert trial.mean[mean, 0, -1] == pytest.approx(2 * np.arange(28.0).mean())
    cut = choose.try_out(need[:, :29], candidates.rates(need[:, :29]), 2, np.ones(29))
    assert trial.mean[:, :, :-1] == pytest.approx(cut.mean)
    assert trial.variance[:, :, :-1] == pytest.approx(cut.variance, rel=0.05)  # only the lot looks at all of it


def test_weeks_open_in_part_count_in_part() -> None:
    need = np.ones((1, 30))
    share = np.where(np.arange(30) == 29, 0.4, 1.0)
    trial = choose.try_out(need, candidates.rates(need, share), 2, share)
    assert trial.mean[CANDIDATES.index(Candidate("mean")), 0, -1] == pytest.approx(1.4)


def test_a_quiet_class_takes_a_long_memory_and_a_shifting_one_a_short() -> None:
    dice = np.random.default_rng(5)
    quiet = dice.poisson(3.0, (60, 104)).astype(float)
    wander = np.cumsum(dice.normal(0, 1.5, (60, 104)), axis=1)
    shifting = dice.poisson(np.maximum(12 + wander, 0.5)).astype(float)
    assert {(one.method, one.constants) for one in forecast(quiet) if not one.own} <= {
        ("mean", ()),
        ("simple", (0.02,)),
    }
    fast = [one for one in forecast(shifting) if one.demand_class == "smooth" and not one.own]
    assert fast
    assert all(one.method != "mean" and one.constants[0] >= 0.1 for one in fast)


def test_a_part_leaves_its_class_only_when_its_own_record_pays_for_it() -> None:
    dice = np.random.default_rng(7)
    steady = dice.poisson(6.0, (80, 104)).astype(float)
    wild = dice.poisson(6 * np.exp(np.cumsum(dice.normal(0, 0.25, 104))))[None].astype(float)
    found = forecast(np.vstack([steady, np.minimum(wild, 60)]), days=5)
    assert sum(one.own for one in found[:-1]) <= 2
    assert found[-1].own or found[-1].demand_class != found[0].demand_class


def test_parts_with_little_history_borrow_the_spread_of_their_component() -> None:
    errors = spread.Errors(np.array([300.0, 0.1, 0.1]), np.array([100.0, 0.1, 0.1]))
    one_class = np.zeros(3, dtype=int)
    alike, apart = (spread.dispersion(errors, one_class, np.array(rows)) for rows in ([0, 0, 1], [0, 1, 1]))
    assert alike[0] == pytest.approx(3.0, abs=0.2)
    assert alike[1] == pytest.approx(3.0, abs=0.3)
    assert apart[1] == pytest.approx(alike[2], abs=0.3)


@pytest.mark.parametrize("kind", ["too wide", "too narrow"])
def test_recalibration_asks_for_what_past_needs_say(kind: str) -> None:
    dice = np.random.default_rng(3)
    mean = np.full(4_000, 8.0)
    actual = dice.poisson(mean).astype(float) if kind == "too wide" else dice.negative_binomial(4, 1 / 3, 4_000) * 1.0
    variance = mean * (3.0 if kind == "too wide" else 1.0)
    below = spread.recalibration(
        spread.transform_mass(np.asarray(actual, dtype=np.float64), mean, variance, measured=False),
        np.ones(4_000),
        4_000,
    )
    assert (np.diff(below) >= 0).all()
    asked = spread.corrected(0.95, below)
    assert asked < 0.95 if kind == "too wide" else asked > 0.95


def test_no_history_gives_a_forecast_of_nothing() -> None:
    for need in (np.zeros((1, 0)), np.zeros((1, 1)), np.full((1, 40), np.nan)):
        found = forecast(need)[0]
        assert (found.demand_class, found.weekly_mean, found.quantiles[0.95]) == ("none", 0.0, 0.0)
        assert (found.method, found.constants) == ("mean", ())


def test_pieces_are_whole_and_litres_do_not_drown_them() -> None:
    dice = np.random.default_rng(1)
    pieces = dice.poisson(0.4, (20, 80)).astype(float)
    litres = dice.gamma(4, 2500, (1, 80))
    names = tuple(f"P{i}" for i in range(20))
    intervals = {part: PartInterval("C62", 6) for part in names}
    alone = forecast_parts(panel(pieces, *names), intervals, target=0.95)
    both = forecast_parts(
        panel(np.vstack([pieces, litres]), *names, "L"), {**intervals, "L": PartInterval("LTR", 12)}, target=0.95
    )
    assert both["L"].spread in ("gamma", empirical.NAME)
    assert all(both[p].method == alone[p].method for p in names if both[p].demand_class != both["L"].demand_class)
    assert all(q == int(q) for p in names for q in both[p].quantiles.values())


def test_the_interval_is_review_plus_lead_in_working_days() -> None:
    found = forecast_parts(panel(np.full((1, 20), 2.0), "A"), {"A": PartInterval("C62", 12, 5)}, target=0.9)["A"]
    assert found.weekly_mean == pytest.approx(2.0, rel=0.03)
    assert found.interval_mean == pytest.approx(found.weekly_mean * 12 / 5)
    assert set(found.quantiles) == {0.5, 0.8, 0.9, 0.95}


def test_the_fast_and_slow_pair_follows_a_change_and_rests_without_one() -> None:
    dice = np.random.default_rng(2)
    changed = dice.poisson(np.where(np.arange(104) < 60, 1.0, 5.0), (400, 104)).astype(float)
    steady = dice.poisson(1.0, (400, 104)).astype(float)
    constants = np.array([[0.02, 0.2]])
    after = candidates.pair(changed, constants)[0, :, 75].mean()
    assert after == pytest.approx(5.0, abs=0.5)
    calm = candidates.pair(steady, constants)[0, :, -1]
    fast = candidates.rates(steady)[CANDIDATES.index(Candidate("simple", (0.2,))), :, -1]
    assert ((calm - 1) ** 2).mean() < 0.6 * ((fast - 1) ** 2).mean()


def test_empirical_quantiles_are_past_needs_beside_their_forecasts() -> None:
    need = np.tile([0.0, 4.0], 30)[None]
    trial = choose.try_out(need, candidates.rates(need), 1, np.ones(60)).chosen(np.array([0]))
    drawn = empirical.quantiles(trial, np.array([True]), np.array([2.0]), [0.9])[0]
    assert drawn[0] == pytest.approx(4.0, abs=1.0)
    assert np.isnan(
        empirical.quantiles(trial._replace(mean=trial.mean * 0), np.array([True]), np.array([2.0]), [0.9])[0, 0]
    )


def test_a_young_firm_is_forecast_by_its_running_mean() -> None:
    dice = np.random.default_rng(11)
    for weeks in (4, 8, 12):
        need = dice.poisson(0.1, (300, weeks)).astype(float)
        found = forecast(need, days=6)
        assert np.mean([one.weekly_mean for one in found]) == pytest.approx(need.mean(), abs=0.01)

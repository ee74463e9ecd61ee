"""The weekly panel, the choice of the constant, and a part's whole forecast."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from vanstock.forecast.choose import CONSTANTS, DEFAULT_CONSTANT, best_constant, pinball, scores
from vanstock.forecast.classes import demand_class
from vanstock.forecast.parts import PartInterval, forecast_parts
from vanstock.forecast.smoothers import croston, simple
from vanstock.forecast.spread import interval_quantile
from vanstock.forecast.weekly import WeeklyPanel, weekly_panel

MONDAY = date(2026, 1, 5)
series = arrays(float, st.tuples(st.integers(1, 4), st.integers(1, 30)), elements=st.integers(0, 9).map(float))


def slow_simple(need: list[float], a: float) -> float:
    level = need[0]
    for y in need:
        level = a * y + (1 - a) * level
    return level


def slow_croston(need: list[float], a: float) -> float:
    size = gap = 0.0
    since = 0
    for y in need:
        since += 1
        if y:
            size, gap = (a * y + (1 - a) * size, a * since + (1 - a) * gap) if gap else (y, float(since))
            since = 0
    return size / gap if gap else 0.0


@given(series, st.floats(0.01, 0.99))
def test_the_kernels_agree_with_slow_obvious_ones(need: np.ndarray, a: float) -> None:
    for kernel, slow in ((simple, slow_simple), (croston, slow_croston)):
        ours = kernel(need, np.array([a]))[0, :, -1]
        assert ours == pytest.approx([slow(list(row), a) for row in need], abs=1e-9)


@given(series, st.floats(0.01, 0.99))
def test_simple_smoothing_stays_between_the_least_and_the_most(need: np.ndarray, a: float) -> None:
    levels = simple(need, np.array([a]))[0]
    assert (levels >= need.min(axis=1)[:, None] - 1e-9).all()
    assert (levels <= need.max(axis=1)[:, None] + 1e-9).all()


@given(st.floats(0.1, 50), st.floats(0, 200), st.floats(0.5, 0.99), st.floats(0.001, 0.009))
def test_a_higher_target_never_needs_less(mean: float, variance: float, target: float, more: float) -> None:
    at = (np.array([mean]), np.array([variance]))
    for measured in (True, False):
        low = interval_quantile(*at, target, measured=measured)
        assert (interval_quantile(*at, target + more, measured=measured) >= low - 1e-9).all()


def test_weeks_are_local_weeks_from_monday_zero_filled_and_the_running_week_is_left_out() -> None:
    needs = [("A", MONDAY, 1), ("A", MONDAY + timedelta(6), 2), ("A", MONDAY + timedelta(21), 7), ("Z", MONDAY, 9)]
    panel = weekly_panel(needs, parts=["A", "B"], first_day=MONDAY + timedelta(2), last_day=MONDAY + timedelta(23))
    assert panel.weeks == (MONDAY, MONDAY + timedelta(7), MONDAY + timedelta(14))
    assert panel.need.tolist() == [[3, 0, 0], [0, 0, 0]]


def test_no_history_gives_an_empty_panel_and_a_forecast_of_nothing() -> None:
    panel = weekly_panel([], parts=["A"], first_day=MONDAY, last_day=MONDAY)
    assert panel.need.shape == (1, 0)
    found = forecast_parts(panel, {"A": PartInterval("C62", 6)}, target=0.95)["A"]
    assert (found.demand_class, found.weekly_mean, found.quantiles[0.95]) == ("none", 0.0, 0.0)
    assert found.constant == DEFAULT_CONSTANT


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


def test_the_score_is_the_slow_rolling_origin_score() -> None:
    need = np.array([[0.0, 1, 0, 2, 0, 0, 1, 0, 3, 0, 0, 1, 0, 0, 2, 1]])
    ours = scores(need, "SBA", 2, target=0.9, measured=False)
    for constant, found in zip(CONSTANTS, ours, strict=True):
        losses = []
        for origin in range(11, 13 + 1):
            past = need[0, : origin + 1]
            mean = (1 - constant / 2) * slow_croston(list(past), constant) * 2
            ahead = interval_quantile(np.array([mean]), np.array([past.var() * 2]), 0.9, measured=False)
            actual = need[0, origin + 1 : origin + 3].sum()
            losses.append(pinball(np.array([actual]), ahead, 0.9)[0] / need[0].mean())
        assert found == pytest.approx(np.mean(losses))


def test_a_quiet_panel_is_given_a_small_constant_and_a_shifting_one_a_large_one() -> None:
    rng = np.random.default_rng(5)
    quiet = rng.poisson(3.0, (60, 104)).astype(float)
    wander = np.cumsum(rng.normal(0, 1.5, (60, 104)), axis=1)
    shifting = rng.poisson(np.maximum(12 + wander, 0.5)).astype(float)
    chosen = [best_constant(scores(need, "simple", 1, target=0.95, measured=False)) for need in (quiet, shifting)]
    assert chosen[0] <= 0.1 < chosen[1]


def test_one_constant_serves_all_parts_and_litres_do_not_drown_pieces() -> None:
    rng = np.random.default_rng(1)
    pieces = rng.poisson(0.4, (20, 80)).astype(float)
    litres = rng.gamma(4, 2500, (1, 80))
    parts = tuple(f"P{i}" for i in range(20))
    weeks = tuple(MONDAY + timedelta(7 * i) for i in range(80))
    intervals = {part: PartInterval("C62", 6) for part in parts}
    alone = forecast_parts(WeeklyPanel(parts, weeks, pieces), intervals, target=0.95)
    both = forecast_parts(
        WeeklyPanel((*parts, "L"), weeks, np.vstack([pieces, litres])),
        {**intervals, "L": PartInterval("LTR", 12)}, target=0.95,
    )  # fmt: skip
    assert len({found.constant for found in both.values()}) == 1
    assert both["L"].spread == "gamma"
    assert abs(both["P0"].constant - alone["P0"].constant) <= 0.1


def test_the_interval_is_review_plus_lead_in_working_days() -> None:
    panel = WeeklyPanel(("A",), tuple(MONDAY + timedelta(7 * i) for i in range(20)), np.full((1, 20), 2.0))
    found = forecast_parts(panel, {"A": PartInterval("C62", 12, 5)}, target=0.9)["A"]
    assert found.weekly_mean == pytest.approx(2.0)
    assert found.interval_mean == pytest.approx(2.0 * 12 / 5)
    assert set(found.quantiles) == {0.5, 0.8, 0.9, 0.95}

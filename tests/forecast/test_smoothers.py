"""The smoothers against slow obvious versions and laws: starts at any week, weeks open in part."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from vanstock.forecast.smoothers import (
    Smoother,
    croston,
    damped_states,
    damped_trend,
    mean,
    sba,
    simple,
    tsb,
)

Array = NDArray[np.float64]
Slow = Callable[[list[float], tuple[float, ...], list[float]], list[float]]


def step(a: float, e: float) -> float:
    return float(1 - (1 - a) ** e)


def slow_simple(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    found: list[float] = []
    for y, e in zip(need, share, strict=True):
        a = step(constant[0], e) if found else 1.0
        found.append(a * y / e + (1 - a) * (found[-1] if found else 0))
    return found


def slow_mean(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    return [sum(need[: i + 1]) / sum(share[: i + 1]) for i in range(len(need))]


def slow_croston(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    (a,), size, gap, found = constant, 0.0, 0.0, []
    last = -1
    for week, y in enumerate(need):
        if y:
            since = sum(share[last + 1 : week + 1])
            size = a * y + (1 - a) * size if gap else y
            gap = a * since + (1 - a) * gap if gap else max(since, 1)
            last = week
        found.append(size / gap if gap else 0.0)
    return found


def slow_sba(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    return [(1 - constant[0] / 2) * rate for rate in slow_croston(need, constant, share)]


def slow_tsb(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    a, b = constant
    size, often, found = None, 0.0, []
    for week, (y, e) in enumerate(zip(need, share, strict=True)):
        if week == 0:
            often = 1.0 if y else 0.0
        else:
            often += step(b, e) * ((1 / e if y else 0) - often)
        if y:
            size = y if size is None else a * y + (1 - a) * size
        found.append((size or 0) * often)
    return found


def slow_damped(need: list[float], constant: tuple[float, ...], share: list[float]) -> list[float]:
    a, g, f = constant
    level, slope, found = need[0] / share[0], 0.0, []
    for week, (y, e) in enumerate(zip(need, share, strict=True)):
        if week:
            on = sum_of_powers(f, e)
            after = step(a, e) * y / e + (1 - step(a, e)) * (level + on * slope)
            slope = f**e * slope + g * (after - level - on * slope)
            level = after
        found.append(max(level + f * slope, 0))
    return found


def sum_of_powers(f: float, e: float) -> float:
    """f + f^2 + ... + f^e, for part of a week too."""
    return e if f == 1 else f * (1 - f**e) / (1 - f)


ALL: list[tuple[Smoother, Slow, int]] = [
    (simple, slow_simple, 1), (mean, slow_mean, 1), (croston, slow_croston, 1), (sba, slow_sba, 1), (tsb, slow_tsb, 2),
    (damped_trend, slow_damped, 3),
]  # fmt: skip
every_method = pytest.mark.parametrize(("smooth", "slow", "count"), ALL, ids=[row[0].__name__ for row in ALL])  # type: ignore[attr-defined]

constant = st.sampled_from([0.05, 0.1, 0.3, 0.62, 0.98, 1.0])
open_part = st.sampled_from([1.0, 1.0, 0.8, 0.6, 0.5, 0.2])


@st.composite
def panels(draw: st.DrawFn) -> tuple[Array, Array, Array]:
    """(needs with NaN before each start, three rows of three constants, open shares)."""
    count, weeks = draw(st.integers(1, 4)), draw(st.integers(1, 20))
    amount = st.one_of(st.just(0.0), st.integers(0, 9).map(float))
    need = np.array([[draw(amount) for _ in range(weeks)] for _ in range(count)])
    for row in need:
        row[: draw(st.integers(0, weeks))] = np.nan
    constants = np.array([[draw(constant) for _ in range(3)] for _ in range(3)])
    return need, constants, np.array([draw(open_part) for _ in range(weeks)])


def given_count(constants: Array, count: int) -> Array:
    """The constants as a method that takes so many of them wants them."""
    return constants[:, 0] if count == 1 else constants[:, :count]


@every_method
@given(panels())
def test_a_smoother_is_the_slow_obvious_one(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    ours = smooth(need, given_count(constants, count), share)
    assert ours.shape == (3, *need.shape)
    for k in range(3):
        for row in range(len(need)):
            start = int(np.isnan(need[row]).sum())
            theirs = slow(list(need[row, start:]), tuple(constants[k, :count]), list(share[start:])) if start < len(
                share
            ) else []  # fmt: skip
            assert ours[k, row] == pytest.approx([0.0] * start + theirs, abs=1e-9)


@every_method
@given(panels())
def test_weeks_all_open_are_as_if_nothing_was_said_of_them(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    chosen = given_count(constants, count)
    assert (smooth(need, chosen, np.ones_like(share)) == smooth(need, chosen)).all()


@every_method
@given(panels(), st.floats(0.001, 1000))
def test_ten_times_the_need_is_ten_times_the_rate(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array], factor: float
) -> None:
    need, constants, share = panel
    chosen = given_count(constants, count)
    assert np.allclose(smooth(need * factor, chosen, share), smooth(need, chosen, share) * factor, rtol=1e-9, atol=1e-9)


@every_method
@given(panels())
def test_a_series_alone_is_as_among_others(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    chosen = given_count(constants, count)
    together = smooth(need, chosen, share)
    for k in range(3):
        alone = smooth(need[-1:], chosen[k : k + 1], share)
        assert together[k, -1] == pytest.approx(alone[0, 0], abs=1e-12)


@every_method
@given(panels(), st.integers(0, 19))
def test_what_comes_later_does_not_change_what_was_said(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array], week: int
) -> None:
    need, constants, share = panel
    chosen, upto = given_count(constants, count), min(week + 1, len(share))
    before = smooth(need[:, :upto], chosen, share[:upto])
    assert np.allclose(before, smooth(need, chosen, share)[:, :, :upto], atol=1e-12)


@every_method
@given(panels())
def test_rates_are_numbers_and_never_below_nothing(
    smooth: Smoother, slow: Slow, count: int, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    rates = smooth(need, given_count(constants, count), share)
    assert np.isfinite(rates).all()
    assert (rates >= 0).all()


@every_method
def test_a_steady_need_is_found_however_the_weeks_are_open(smooth: Smoother, slow: Slow, count: int) -> None:
    share = np.array([1, 0.4, 0.6, 1, 0.2, 0.8, 1.0])
    constants = given_count(np.array([[0.3, 0.3, 0.9]]), count)
    if smooth in (simple, mean, damped_trend):
        assert smooth(5 * share[None], constants, share) == pytest.approx(np.full((1, 1, 7), 5.0))


@pytest.mark.parametrize("smooth", [simple, mean])
@given(panels())
def test_two_half_weeks_with_half_the_need_each_are_one_week(
    smooth: Smoother, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    halves = smooth(np.repeat(need / 2, 2, axis=1), constants[:, 0], np.repeat(share / 2, 2))
    assert halves[:, :, 1::2] == pytest.approx(smooth(need, constants[:, 0], share), abs=1e-9)


@pytest.mark.parametrize("smooth", [croston, sba])
@given(panels())
def test_half_a_week_without_need_and_half_a_week_with_it_are_one_week(
    smooth: Smoother, panel: tuple[Array, Array, Array]
) -> None:
    need, constants, share = panel
    halves = np.repeat(need, 2, axis=1)
    halves[:, ::2] = np.where(np.isnan(need), np.nan, 0.0)
    found = smooth(halves, constants[:, 0], np.repeat(share / 2, 2))
    assert found[:, :, 1::2] == pytest.approx(smooth(need, constants[:, 0], share), abs=1e-9)


@given(panels(), st.integers(1, 6))
def test_so_many_half_weeks_without_need_fade_a_part_as_half_as_many_weeks(
    panel: tuple[Array, Array, Array], weeks: int
) -> None:
    need, constants, share = panel
    quiet = np.zeros((len(need), 2 * weeks))
    for smooth, chosen in ((tsb, constants[:, :2]), (simple, constants[:, 0])):
        half = smooth(np.hstack([need, quiet]), chosen, np.concatenate([share, np.full(2 * weeks, 0.5)]))
        whole = smooth(np.hstack([need, quiet[:, ::2]]), chosen, np.concatenate([share, np.ones(weeks)]))
        assert half[:, :, -1] == pytest.approx(whole[:, :, -1], abs=1e-9)


@pytest.mark.parametrize(("smooth", "constants"), [(croston, [0.05]), (sba, [0.05]), (tsb, [[0.05, 0.05]])])
def test_short_weeks_do_not_bend_the_rate_of_a_slow_part(smooth: Smoother, constants: list[float]) -> None:
    """A fifth of the weeks is open for two days of five; a need comes on one working day in twenty."""
    rng = np.random.default_rng(11)
    share = np.where(np.arange(260) % 5 == 2, 0.4, 1.0)
    need = rng.binomial((5 * share).astype(int), 0.05, (2000, 260)).astype(float)
    bent = smooth(need, np.array(constants), share)[0, :, -1].mean()
    plain = smooth(rng.binomial(5, 0.05, (2000, 260)).astype(float), np.array(constants))[0, :, -1].mean()
    assert bent == pytest.approx(plain, rel=0.03)


@every_method
def test_a_week_not_known_leaves_all_as_it_was(smooth: Smoother, slow: Slow, count: int) -> None:
    need = np.array([[np.nan, 2, 0, 1, np.nan, 3, 0]])
    constants = given_count(np.array([[0.2, 0.3, 0.9]]), count)
    gone = smooth(np.delete(need, 4, axis=1), constants)[0, 0]
    assert np.delete(smooth(need, constants)[0, 0], 4) == pytest.approx(gone)
    assert smooth(need, constants)[0, 0, 4] == pytest.approx(gone[3])


@every_method
def test_no_series_no_weeks_or_nothing_known_is_no_trouble(smooth: Smoother, slow: Slow, count: int) -> None:
    constants = given_count(np.full((2, 3), 0.1), count)
    assert smooth(np.zeros((0, 4)), constants).shape == (2, 0, 4)
    assert smooth(np.zeros((3, 0)), constants, np.zeros(0)).shape == (2, 3, 0)
    assert not smooth(np.full((3, 5), np.nan), constants).any()


def test_a_need_on_a_parts_first_short_day_does_not_make_five_a_week() -> None:
    need, share = np.array([[1.0, 0.0]]), np.array([0.2, 1.0])
    assert croston(need, np.array([0.1]), share)[0, 0].tolist() == [1, 1]
    assert tsb(need, np.array([[0.1, 0.1]]), share)[0, 0] == pytest.approx([1, 0.9])


def test_a_trend_that_falls_below_nothing_forecasts_nothing() -> None:
    need = np.array([[9.0, 6, 3, 0, 0]])
    level, trend = damped_states(need, np.array([[0.9, 0.9, 1.0]]))
    assert (level + trend)[0, 0, 3] < 0
    assert damped_trend(need, np.array([[0.9, 0.9, 1.0]]))[0, 0, 3] == 0

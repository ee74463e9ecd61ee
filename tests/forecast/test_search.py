"""The search for constants over many series: against slow obvious Python, published figures, other libraries, laws."""

from __future__ import annotations

import csv
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from vanstock.forecast.search import (
    croston_errors,
    sba_errors,
    search_croston,
    search_sba,
    search_simple,
    search_tsb,
    simple_errors,
    tsb_errors,
)

Array = NDArray[np.float64]
DATA = Path(__file__).parents[2] / "data"
GRID = np.array([0.05, 0.1, 0.25, 0.6, 1.0])
SINGLE = {"simple": simple_errors, "croston": croston_errors, "sba": sba_errors}
SEARCHES = {"simple": search_simple, "croston": search_croston, "sba": search_sba}

quantities = st.one_of(st.just(0.0), st.just(0.0), st.integers(0, 40).map(float), st.floats(0.01, 1e4))


@st.composite
def panels(draw: st.DrawFn) -> Array:
    series, weeks = draw(st.integers(1, 6)), draw(st.integers(1, 30))
    rows = st.lists(quantities, min_size=weeks, max_size=weeks)
    return np.array(draw(st.lists(rows, min_size=series, max_size=series)))


def series(name: str) -> Array:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return np.array([[float(row[0]) for row in list(csv.reader(lines))[1:]]])


def seeded(number: int, weeks: int = 104) -> Array:
    """Series with a need every week to every tenth week."""
    dice = np.random.default_rng(7)
    interval = np.exp(dice.uniform(0, np.log(10), number))
    return (dice.random((number, weeks)) < 1 / interval[:, None]) * (1.0 + dice.poisson(1.5, (number, weeks)))


def slow_simple(y: list[float], a: float) -> tuple[float, float]:
    level, error = y[0], 0.0
    for now in y[1:]:
        error += (now - level) ** 2
        level = a * now + (1 - a) * level
    return error, level


def slow_croston(y: list[float], a: float, correction: float = 1.0) -> tuple[float, float]:
    size = gap = error = 0.0
    since = 0
    for now in y:
        since += 1
        if gap:
            error += (now - correction * size / gap) ** 2
        if now > 0:
            size, gap = (a * now + (1 - a) * size, a * since + (1 - a) * gap) if gap else (now, float(since))
            since = 0
    return error, correction * size / gap if gap else 0.0


def slow_tsb(y: list[float], a: float, b: float) -> tuple[float, float]:
    needs = [now for now in y if now > 0]
    size, chance, error = (needs[0] if needs else 0.0), float(y[0] > 0), 0.0
    for now in y[1:]:
        error += (now - chance * size) ** 2
        chance = b * (now > 0) + (1 - b) * chance
        if now > 0:
            size = a * now + (1 - a) * size
    return error, size * chance


def slow(method: str, y: list[float], a: float) -> tuple[float, float]:
    if method == "simple":
        return slow_simple(y, a)
    return slow_croston(y, a, 1 - a / 2 if method == "sba" else 1.0)


def close(got: Array, wanted: Array, need: Array) -> bool:
    """Equal to 1e-9 of the series' own sum of squares: what is lost where a perfect fit cancels."""
    room = 1e-9 * (need**2).sum(axis=-1) + 1e-300
    return bool((np.abs(got - wanted) <= 1e-9 * np.abs(wanted) + room).all())


@pytest.mark.parametrize("method", SINGLE)
@settings(deadline=None)  # the first call imports what the search needs
@given(need=panels())
def test_errors_and_rates_are_those_of_slow_obvious_python(method: str, need: Array) -> None:
    wanted = np.array([[slow(method, row, a) for row in need.tolist()] for a in GRID.tolist()])
    assert close(SINGLE[method](need, GRID), wanted[:, :, 0], need)
    for c in range(len(GRID)):
        found = SEARCHES[method](need, GRID[c : c + 1])
        assert found.rate == pytest.approx(wanted[c, :, 1], rel=1e-9, abs=1e-9)
        assert close(found.error, wanted[c, :, 0], need)


@settings(deadline=None)
@given(need=panels())
def test_tsb_errors_and_rates_are_those_of_slow_obvious_python(need: Array) -> None:
    some = GRID[1:4]
    rows = need.tolist()
    wanted = np.array([[[slow_tsb(row, a, b) for row in rows] for b in GRID.tolist()] for a in some.tolist()])
    assert close(tsb_errors(need, some, GRID), wanted[..., 0], need)
    for a in range(len(some)):
        for b in range(len(GRID)):
            found = search_tsb(need, some[a : a + 1], GRID[b : b + 1])
            assert found.rate == pytest.approx(wanted[a, b, :, 1], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("method", SINGLE)
def test_a_large_panel_of_several_blocks_agrees_to_one_part_in_a_milliard(method: str) -> None:
    need = seeded(3000)
    errors = SINGLE[method](need, GRID)
    found = SEARCHES[method](need, GRID)
    for row in range(0, 3000, 37):
        pairs = [slow(method, need[row].tolist(), a) for a in GRID.tolist()]
        assert errors[:, row] == pytest.approx([error for error, _ in pairs], rel=1e-9)
        assert (found.error[row], found.rate[row]) == pytest.approx(min(pairs), rel=1e-9)


def test_simple_smoothing_agrees_with_statsmodels_at_fixed_constants() -> None:
    from statsmodels.tsa.holtwinters import SimpleExpSmoothing

    need = np.vstack([seeded(12)[:, :60], 1000 + seeded(4)[:, :60]])
    errors = simple_errors(need, GRID[:-1])
    for row in range(len(need)):
        model = SimpleExpSmoothing(need[row], initialization_method="known", initial_level=need[row, 0])
        for c, a in enumerate(GRID[:-1]):
            theirs = model.fit(smoothing_level=a, optimized=False)
            assert errors[c, row] == pytest.approx(theirs.sse, rel=1e-9)
            rate = search_simple(need[row : row + 1], GRID[c : c + 1]).rate[0]
            assert rate == pytest.approx(theirs.forecast(1)[0], rel=1e-9)


def test_the_error_of_single_smoothing_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.1-2; sums computed, the forecast printed 71.50."""
    y = series("nist_smoothing.csv")
    assert simple_errors(y, np.array([0.1, 0.5]))[:, 0] == pytest.approx([208.8184097, 181.4617662], abs=1e-6)
    assert search_simple(y, np.array([0.1])).rate[0] == pytest.approx(71.4987545, abs=1e-7)
    assert search_simple(y, np.array([0.1, 0.5])).constant[0] == 0.5


def test_the_best_constant_of_the_trending_series_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.2-4: printed .977."""
    found = search_simple(series("nist_trend.csv"), np.arange(1, 1001) / 1000)
    assert found.constant[0] == 0.977


def test_croston_sba_and_tsb_of_product_c() -> None:
    """Hyndman & Athanasopoulos, FPP 2nd ed., section 12.2, alpha .1 (computed; two libraries agree)."""
    y, a, b = series("fpp2_productC.csv"), np.array([0.1]), np.array([0.2])
    assert search_croston(y, a).rate[0] == pytest.approx(0.9845965214, abs=1e-10)
    assert search_sba(y, a).rate[0] == pytest.approx(0.9353666953, abs=1e-10)
    assert search_tsb(y, a, a).rate[0] == pytest.approx(0.8040651023, abs=1e-10)
    assert search_tsb(y, b, a).rate[0] == pytest.approx(0.7526517, abs=1e-7)
    assert search_tsb(y, a, b).rate[0] == pytest.approx(0.8112323, abs=1e-7)


def test_croston_sba_and_tsb_of_j06() -> None:
    """Hyndman & Athanasopoulos, FPP 3rd ed., section 13.2, alpha .1 (computed; two libraries agree)."""
    y, a = series("fpp3_J06.csv"), np.array([0.1])
    assert search_croston(y, a).rate[0] == pytest.approx(0.8688921, abs=1e-7)
    assert search_sba(y, a).rate[0] == pytest.approx(0.8254475, abs=1e-7)
    assert search_tsb(y, a, a).rate[0] == pytest.approx(0.0151935916, abs=1e-10)


@settings(deadline=None)
@given(need=panels())
def test_the_best_constants_error_is_the_least_of_the_grid(need: Array) -> None:
    for method, search in SEARCHES.items():
        least = SINGLE[method](need, GRID).min(axis=0)
        assert close(search(need, GRID).error, least, need)
    assert close(search_tsb(need, GRID, GRID).error, tsb_errors(need, GRID, GRID).min(axis=(0, 1)), need)


@settings(deadline=None)
@given(need=panels())
def test_the_constant_found_has_the_rate_and_error_told(need: Array) -> None:
    for method, search in SEARCHES.items():
        found = search(need, GRID)
        for row, told in enumerate(zip(*found, strict=True)):
            error, rate = slow(method, need[row].tolist(), told[0])
            assert told[1] == pytest.approx(rate, rel=1e-9, abs=1e-9)
            assert close(told[2], np.array(error), need[row])


@settings(deadline=None)
@given(need=panels(), times=st.integers(1, 40))
def test_a_series_alone_gives_what_it_gives_among_others(need: Array, times: int) -> None:
    crowd = np.vstack([need, seeded(times, need.shape[1])])
    for method, errors in SINGLE.items():
        alone = np.hstack([errors(need[row : row + 1], GRID) for row in range(len(need))])
        assert close(errors(crowd, GRID)[:, : len(need)], alone, need), method
    alone = np.concatenate([tsb_errors(need[row : row + 1], GRID, GRID) for row in range(len(need))], axis=2)
    assert close(tsb_errors(crowd, GRID, GRID)[..., : len(need)], alone, need)


@settings(deadline=None)
@given(need=panels(), power=st.integers(-8, 8))
def test_scaling_the_need_scales_the_rate_and_keeps_the_constant(need: Array, power: int) -> None:
    for search in SEARCHES.values():
        once, scaled = search(need, GRID), search(need * 2.0**power, GRID)
        assert scaled.constant.tolist() == once.constant.tolist()
        assert scaled.rate == pytest.approx(once.rate * 2.0**power, rel=1e-12)
    pair, scaled_pair = search_tsb(need, GRID, GRID), search_tsb(need * 2.0**power, GRID, GRID)
    assert scaled_pair.rate == pytest.approx(pair.rate * 2.0**power, rel=1e-12)


@pytest.mark.parametrize("weeks", [0, 1, 2, 30])
def test_a_part_that_was_never_needed_has_rate_and_error_0(weeks: int) -> None:
    need = np.zeros((3, weeks))
    for method, search in SEARCHES.items():
        assert [column.tolist() for column in search(need, GRID)] == [[GRID[0]] * 3, [0.0] * 3, [0.0] * 3]
        assert not SINGLE[method](need, GRID).any()
    assert [column.tolist() for column in search_tsb(need, GRID, GRID[1:])] == [[0.05] * 3, [0.1] * 3, [0] * 3, [0] * 3]
    assert tsb_errors(need, GRID, GRID[1:]).tolist() == np.zeros((5, 4, 3)).tolist()


def test_no_series_at_all_have_no_constants() -> None:
    need = np.zeros((0, 104))
    assert [column.shape for search in SEARCHES.values() for column in search(need, GRID)] == [(0,)] * 9
    assert tsb_errors(need, GRID, GRID).shape == (5, 5, 0)


def test_a_part_needed_alike_every_week_is_forecast_without_error_and_a_tie_goes_to_the_first() -> None:
    need = np.full((2, 52), 3.7)
    for search in (search_simple, search_croston):
        found = search(need, GRID)
        assert found.constant.tolist() == [0.05, 0.05]
        assert found.rate == pytest.approx(3.7, rel=1e-12)
        assert found.error == pytest.approx(0, abs=1e-9)


def test_a_panel_laid_out_by_week_gives_the_same() -> None:
    need = seeded(40)
    for search in SEARCHES.values():
        assert np.array_equal(search(need, GRID).rate, search(np.asfortranarray(need), GRID).rate)


def test_rates_at_fixed_constants_are_those_of_statsforecast() -> None:
    """Recorded from statsforecast 2.0.1 in double precision: simple .3, Croston and SBA .1, TSB sizes .2, chance .1."""
    need, point = seeded(6), np.array([0.1])
    simple = [0.04353082638856693, 1.1109130997767749, 0.04848843800866605, 1.4444406909342917, 1.2189006801580093]
    croston = [0.7025366174681005, 0.4534598799169558, 0.4128995084070797, 1.299501637978048, 1.6340643680273805]
    sba = [0.6674097865946954, 0.430786885921108, 0.3922545329867257, 1.2345265560791454, 1.5523611496260115]
    tsb = [0.30463013687138424, 0.7669569233412808, 0.16085981988298367, 1.3193461874781187, 1.4936115441243574]
    squares = [164.93107458709193, 143.28363057325578, 172.27401506932821, 279.2304822016047, 333.65352015482375]
    assert search_simple(need, np.array([0.3])).rate[:5] == pytest.approx(simple, rel=1e-9)
    assert simple_errors(need, np.array([0.3]))[0, :5] == pytest.approx(squares, rel=1e-9)
    assert search_croston(need, point).rate[:5] == pytest.approx(croston, rel=1e-9)
    assert search_sba(need, point).rate[:5] == pytest.approx(sba, rel=1e-9)
    assert search_tsb(need, np.array([0.2]), point).rate[:5] == pytest.approx(tsb, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("method", [*SEARCHES, "tsb"])
def test_memory_grows_linearly_and_stays_under_twice_the_input(method: str) -> None:
    peaks = []
    for number in (20_000, 40_000):
        need = seeded(number)
        tracemalloc.start()
        search_tsb(need, GRID, GRID) if method == "tsb" else SEARCHES[method](need, GRID)
        peaks.append(tracemalloc.get_traced_memory()[1] / need.nbytes)
        tracemalloc.stop()
    assert max(peaks) < 1
    assert peaks[1] <= peaks[0]

"""Prints how quickly the constants of many series are searched, beside statsforecast in the same run on one thread.

Not a test: run it with `.venv/bin/python tests/benchmarks/forecast_speed.py` after `pip install .[bench]`. Numbers of
series may follow (default 10,000, 100,000 and 1,000,000). Above 100,000 only ours runs. Ratios are what to quote;
series a second are of one machine. The second table says what a search takes alone, imports done.

Theirs is compiled and warm, and the quicker of two ways: its function called in a loop on a list of arrays, and
StatsForecast(...).forecast on a frame made beforehand, n_jobs=1. What is compared:

    simple    ours: 50 constants from .01 to .99; theirs: its search between the same bounds
    Croston   ours: 11 constants from .1 to .3 for the error of the weekly forecast; theirs: its search between the
              same bounds, sizes and intervals apart
    SBA       as Croston; theirs has no searched SBA, so its searched Croston stands in
    TSB       25 pairs of constants; theirs has no search: called once a pair, without the errors that would be needed
    ... fixed the same search of ours beside one call of theirs at fixed constants, which searches nothing
"""

from __future__ import annotations

import os

os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1", NUMBA_NUM_THREADS="1", MKL_NUM_THREADS="1")

import importlib
import importlib.util
import itertools
import statistics
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from vanstock.forecast.search import search_croston, search_sba, search_simple, search_tsb

Array = NDArray[np.float64]
WEEKS = 104
MOST_BESIDE = 100_000
SIMPLE, CROSTON, PAIR = np.linspace(0.01, 0.99, 50), np.linspace(0.1, 0.3, 11), np.linspace(0.1, 0.3, 5)
OURS: dict[str, Callable[[Array], Any]] = {
    "simple": partial(search_simple, constants=SIMPLE),
    "Croston": partial(search_croston, constants=CROSTON),
    "SBA": partial(search_sba, constants=CROSTON),
    "TSB": partial(search_tsb, size_constants=PAIR, probability_constants=PAIR),
}


class Comparison(NamedTuple):
    """A row of the table: our method, what of theirs it stands beside, and the least ratio wanted."""

    method: str
    theirs: str
    calls: list[Callable[[Array], object]]
    models: list[Any]
    bar: int


def panel(series: int) -> Array:
    """Needs every week to every tenth week, by series; made in parts, so that making it takes no more room."""
    dice, need = np.random.default_rng(20270301), np.empty((series, WEEKS))
    for first in range(0, series, 1000):
        some = need[first : first + 1000]
        chance = np.exp(-dice.uniform(0, np.log(10), len(some)))
        some[:] = (dice.random(some.shape) < chance[:, None]) * (1.0 + dice.poisson(1.5, some.shape))
    return need


def comparisons() -> list[Comparison]:
    """What is measured; ends with one line where statsforecast is missing."""
    if importlib.util.find_spec("statsforecast") is None:
        sys.exit("statsforecast is not installed: pip install .[bench]")
    warnings.filterwarnings("ignore")
    m: Any = importlib.import_module("statsforecast.models")
    pairs = list(itertools.product(PAIR, PAIR))

    def plain(function: Any, *constants: float) -> Callable[[Array], object]:
        return lambda y: function(y, 1, False, *constants)

    searched = [plain(m._croston_optimized)], [m.CrostonOptimized()]
    each_pair = [plain(m._tsb, *pair) for pair in pairs], [m.TSB(*pair, alias=f"{pair}") for pair in pairs]
    return [
        Comparison("simple", "searched", [plain(m._ses_optimized)], [m.SimpleExponentialSmoothingOptimized()], 6),
        Comparison("Croston", "searched", *searched, 3),
        Comparison("SBA", "searched Croston", *searched, 3),
        Comparison("TSB", "25 calls", *each_pair, 2),
        Comparison("Croston", "fixed .1", [plain(m._croston_classic)], [m.CrostonClassic()], 3),
        Comparison("SBA", "fixed .1", [plain(m._croston_sba)], [m.CrostonSBA()], 3),
        Comparison("TSB", "fixed .1, .1", [plain(m._tsb, 0.1, 0.1)], [m.TSB(0.1, 0.1)], 2),
    ]


def seconds(act: Callable[[], object]) -> float:
    """Wall time of one call."""
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def in_a_loop(calls: list[Callable[[Array], object]], rows: list[Array]) -> None:
    """Their functions, one series after another."""
    for call in calls:
        for row in rows:
            call(row)


def through_a_frame(models: list[Any], frame: Any) -> None:
    """Their own way for many series."""
    engine: Any = importlib.import_module("statsforecast")
    engine.StatsForecast(models=models, freq=1, n_jobs=1).forecast(df=frame, h=1)


def long_frame(need: Array) -> Any:
    """The frame that StatsForecast takes."""
    import pandas as pd

    series = np.repeat(np.arange(len(need)), WEEKS)
    return pd.DataFrame({"unique_id": series, "ds": np.tile(np.arange(WEEKS), len(need)), "y": need.ravel()})


def measure(row: Comparison, need: Array, inputs: tuple[list[Array], Any]) -> None:
    """Print one row: ours and theirs in turn; the frame's way once, unless it would take minutes."""
    rows, frame = inputs
    ours, loop = partial(OURS[row.method], need), partial(in_a_loop, row.calls, rows)
    rounds = 3 if len(need) < MOST_BESIDE else 1
    for warm in (partial(OURS[row.method], need[:2000]), partial(in_a_loop, row.calls, rows[:50])):
        warm()
    measured = [(seconds(ours), seconds(loop), seconds(ours)) for _ in range(rounds)]
    way, theirs = "loop", statistics.median(b for _, b, _ in measured)
    if len(row.models) == 1:
        through_a_frame(row.models, frame[: 50 * WEEKS])
        framed = seconds(partial(through_a_frame, row.models, frame))
        way, theirs = min((way, theirs), ("frame", framed), key=lambda one: one[1])
    mine = statistics.median([first for first, _, _ in measured] + [again for *_, again in measured])
    what = f"{row.method:8} {row.theirs:17} {way:5} {len(need):>9,}"
    print(
        f"{what} {len(need) / mine:>10,.0f} {len(need) / theirs:>10,.0f} {theirs / mine:>7.1f} {row.bar:>4}", flush=True
    )


def table(sizes: list[int]) -> None:
    """Ours beside theirs."""
    rows = comparisons()
    print(f"{'ours':8} {'theirs':17} {'way':5} {'series':>9} {'ours/s':>10} {'theirs/s':>10} {'ratio':>7} {'bar':>4}")
    for size in sizes:
        need = panel(size)
        inputs = [row.copy() for row in need], long_frame(need)
        for row in rows:
            measure(row, need, inputs)
        print(f"  errors of simple, ours over theirs, mean of 1,000 series: {fit(need[:1000]):.5f}")


def fit(need: Array) -> float:
    """What the grid gives away to a search between its points: the ratio of the sums of squares."""
    m: Any = importlib.import_module("statsforecast.models")
    found = search_simple(need, SIMPLE).error
    from scipy.optimize import minimize_scalar

    theirs = [minimize_scalar(m._ses_sse, bounds=(0.01, 0.99), args=(row,)).fun for row in need]
    return float(np.mean(found / np.array(theirs)))


def memory(field: str) -> float:
    """A figure of this process in bytes, nan where the system does not tell.

    Not getrusage: on Linux its peak is inherited from the process that started this one.
    """
    status = Path("/proc/self/status")
    lines = status.read_text(encoding="ascii").splitlines() if status.exists() else []
    return next((int(line.split()[1]) * 1024.0 for line in lines if line.startswith(field)), float("nan"))


def alone(method: str, series: int) -> None:
    """Print the time of one search and by how much the process grew at most, in a process of its own."""
    search = OURS[method]
    search(panel(10))
    need = panel(series)
    before = memory("VmRSS:")
    taken = seconds(partial(search, need))
    grown = memory("VmHWM:") - before
    figures = f"{taken:>9.2f} {need.nbytes / 1e6:>9.1f} {grown / 1e6:>9.1f} {grown / need.nbytes:>9.2f}"
    print(f"{method:8} {series:>9,} {figures}", flush=True)


def main(words: list[str]) -> None:
    """Measure and print everything."""
    if words[:1] == ["alone"]:
        alone(words[1], int(words[2]))
        return
    sizes = [int(word.replace(",", "")) for word in words] or [10_000, 100_000, 1_000_000]
    table([size for size in sizes if size <= MOST_BESIDE])
    print()
    print(f"{'ours':8} {'series':>9} {'seconds':>9} {'input MB':>9} {'grown MB':>9} {'of input':>9}  (bar: under 2)")
    for size, method in itertools.product(sizes, OURS):
        subprocess.run([sys.executable, __file__, "alone", method, str(size)], check=True)


if __name__ == "__main__":
    main(sys.argv[1:])

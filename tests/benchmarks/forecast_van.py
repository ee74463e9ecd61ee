"""Prints how long one van's forecast takes, choosing included, from warm imports, beside a bare Python start.

Not a test: `.venv/bin/python tests/benchmarks/forecast_van.py`. 300 parts, 104 weeks, five lengths of interval.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks import panels
from vanstock.forecast.parts import PartInterval, forecast_parts
from vanstock.forecast.weekly import WeeklyPanel

PARTS, RUNS = 300, 9


def main() -> None:
    """Measure and print."""
    need = panels.panel("mixed", 1, PARTS).need
    names = tuple(f"P{number}" for number in range(PARTS))
    weeks = tuple(date(2025, 1, 6) + timedelta(weeks=week) for week in range(need.shape[1]))
    table = WeeklyPanel(names, weeks, need, np.ones(need.shape[1]))
    intervals = {p: PartInterval("C62", (6, 7, 9, 12, 15)[i % 5], 5, f"c{i // 3}") for i, p in enumerate(names)}
    pairs = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        forecast_parts(table, intervals, target=0.95)
        ours = time.perf_counter() - begun
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", "pass"], check=True)
        pairs.append((ours, time.perf_counter() - begun))
    ours = statistics.median(a for a, _ in pairs[1:])
    ratio = statistics.median(a / b for a, b in pairs[1:])
    print(f"{PARTS} parts x {need.shape[1]} weeks: {ours:.3f} s (bar 0.3), {ratio:.1f} bare Python starts")


if __name__ == "__main__":
    main()

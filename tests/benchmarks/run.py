"""Prints the whole-process times that the bars are about, as ratios measured side by side in one run.

Each command is run in turn with `python -c pass`, so that a change of the machine's speed touches both; the
median of the paired ratios is the figure to quote. Not a test: run it with
`.venv/bin/python tests/benchmarks/run.py`.
"""

from __future__ import annotations

import compileall
import csv
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

ROOT = Path(__file__).parents[2]
SUNDAY, MONDAY = "2027-02-28T18:00", "2027-03-01T06:40"
RUNS = 15


def seconds(words: list[str]) -> float:
    """Wall time of one run of a command, which must end 0."""
    begun = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - begun


def vanstock(ledger: Path, line: str, now: str = MONDAY) -> list[str]:
    """The words of a vanstock command line, as the installed program runs it."""
    program = Path(sys.executable).with_name("vanstock")
    return [str(program), "--ledger", str(ledger), "--now", now, *line.split()]


def ratio(words: list[str], runs: int = RUNS) -> tuple[float, float]:
    """The median paired ratio to `python -c pass`, and the median seconds."""
    bare = [sys.executable, "-c", "pass"]
    seconds(words)
    pairs = [(seconds(words), seconds(bare)) for _ in range(runs)]
    return statistics.median(a / b for a, b in pairs), statistics.median(a for a, _ in pairs)


def make_large_firm(folder: Path, booked: int = 20) -> None:
    """300 parts, 104 weeks, about 20 finished jobs a week, 20 jobs (or so many) booked on the Monday."""
    dice = random.Random(1)
    parts = [f"P{i:03d}" for i in range(300)]
    first = date(2027, 3, 1) - timedelta(weeks=104)
    jobs, used = [], []
    for number in range(104 * 20):
        day = first + timedelta(days=7 * (number // 20) + number % 5)
        family = f"F{dice.randrange(10)}"
        jobs.append((f"J{number:05d}", day, "", family, dice.choice(("clean", "heat")), "done"))
        chosen = sorted({parts[min(int(dice.expovariate(0.02)), 299)] for _ in range(4)})
        used += [(f"J{number:05d}", part, dice.randint(1, 3), 0) for part in chosen]
    for number in range(booked):
        jobs.append(
            (f"B{number:02d}", date(2027, 3, 1), f"{8 + number // 2:02d}:00", f"F{number % 10}", "clean", "booked")
        )
    tables: dict[str, tuple[str, list[tuple[object, ...]]]] = {
        "suppliers": (
            "supplier lead_working_days order_days cutoff",
            [("S1", 1, "Mon-Fri", "17:00"), ("S2", 5, "Tue", "")],
        ),
        "families": ("family", [(f"F{i}",) for i in range(10)]),
        "parts": (
            "part component cost supplier",
            [(p, f"c{p}", "12.50", f"S{1 + i % 2}") for i, p in enumerate(parts)],
        ),
        "fits": ("family part", [("*", part) for part in parts]),
        "jobs": ("job date time family job_type status", list(jobs)),
        "used": ("job part fitted missed", list(used)),
        "stock": ("part place qty", [(p, place, 2) for p in parts for place in ("van", "store")]),
    }
    for name, (columns, rows) in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as lines:
            writer = csv.writer(lines)
            writer.writerow(columns.split())
            writer.writerows(rows)


def main() -> None:
    """Measure and print every bar."""
    compileall.compile_dir(str(ROOT / "vanstock"), quiet=1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        small, large = folder / "small.db", folder / "large.db"
        seconds(vanstock(small, f"import {ROOT / 'demo' / 'firm'}", SUNDAY))
        (folder / "firm").mkdir()
        make_large_firm(folder / "firm")
        seconds(vanstock(large, f"import {folder / 'firm'}", SUNDAY))
        busy = folder / "busy.db"
        shutil.copyfile(small, busy)
        for number in range(16):
            family, kind = ("KRA", "LUN", "DUN", "TAV")[number % 4], ("clean", "warm-up")[number % 2]
            seconds(vanstock(busy, f"booking add {family} {kind} --date 2027-03-01 --time {8 + number // 2}:15"))
        fitted = folder / "fitted.db"
        shutil.copyfile(small, fitted)
        print(f"{'command':44} {'ratio':>7} {'bar':>5} {'seconds':>8}")
        for label, words, bar, runs in (
            ("fit, demo firm", vanstock(fitted, "fit J0783 HC-UNI-412-A 2"), "9", RUNS),
            ("stock WORDS, demo firm", vanstock(small, "stock gasket"), "9", RUNS),
            ("stock, everything, demo firm", vanstock(small, "stock"), "9", RUNS),
            ("loadout, 4 jobs, demo firm", vanstock(small, "loadout"), "40", RUNS),
            ("loadout, 20 jobs, demo firm", vanstock(busy, "loadout"), "40", RUNS),
            ("loadout, 20 jobs, 2,080 unlike past jobs", vanstock(large, "loadout"), "", RUNS),
            ("reorder, 300 parts, 104 weeks", vanstock(large, "reorder"), "5 s", 5),
        ):
            found, wall = ratio(words, runs)
            print(f"{label:44} {found:7.1f} {bar:>5} {wall:8.3f}")


if __name__ == "__main__":
    main()

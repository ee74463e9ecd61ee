"""Prints how quickly a day is drawn and asked, beside plain numpy in the same run. Not a test: run it with
`.venv/bin/python tests/benchmarks/draws.py`.

20 jobs over 500 parts, 20,000 draws, 300 cases a job. The two answers of a load-out, `draw_day` and `with_stock`, are
timed inside the process with imports done. The bar is 0.25 s for both together on a two-core machine; ratios are what
to quote, because they move less with the machine. What they are ratios to:

    numbers   numpy alone draws as many uniform numbers (one a job and draw, one more for each choice of the prior)
    entries   numpy alone draws as many, and gathers as many whole numbers as the day has takes: the least that laying
              them out can cost
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.draws import DRAWS, DayDraws, draw_day

ROUNDS = 9
BAR_SECONDS = 0.25


class Kind(NamedTuple):
    """Parts that a past job took, and choices of the prior, which has half of the weight where there are any."""

    label: str
    taken: int
    prior: int


KINDS = (Kind("10 parts a case", 10, 0), Kind("25 parts a case", 25, 0), Kind("10 parts a case, 20 choices", 10, 20))


class Size(NamedTuple):
    """How large the day is."""

    jobs: int = 20
    parts: int = 500
    draws: int = DRAWS
    cases: int = 300


class Measured(NamedTuple):
    """Seconds of one round: ours, then numpy's."""

    drawing: float
    asking: float
    numbers: float
    entries: float


def make_day(size: Size, kind: Kind) -> list[JobNeeds]:
    """Jobs whose cases take parts of a half of all parts, each job of its own half."""
    dice = random.Random(20270301)
    parts = [f"P{number:03d}" for number in range(size.parts)]
    return [_job(f"J{number}", parts, size.cases, kind, dice) for number in range(size.jobs)]


def _job(name: str, parts: list[str], number: int, kind: Kind, dice: random.Random) -> JobNeeds:
    likely = dice.sample(parts, len(parts) // 2)
    weights = [dice.random() for _ in range(number)]
    for_cases = 0.5 if kind.prior else 1.0
    cases = tuple(
        WeightedCase(
            for_cases * weight / sum(weights), {part: dice.randint(1, 3) for part in _some(likely, kind, dice)}
        )
        for weight in weights
    )
    choices = tuple(
        ComponentChoice(part, ((dice.random() / 2, {part: 1}),))
        for part in dice.sample(parts, min(kind.prior, len(parts)))
    )
    return JobNeeds(name, cases, choices, 1 - for_cases, number)


def _some(likely: list[str], kind: Kind, dice: random.Random) -> list[str]:
    return dice.sample(likely, min(kind.taken, len(likely)))


def seconds(act: Callable[[], Any]) -> float:
    """Wall time of one call."""
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def plain_numbers(size: Size, kind: Kind) -> None:
    """As many uniform numbers as a day is drawn from."""
    dice = np.random.default_rng(1)
    for _ in range(size.jobs):
        dice.random(size.draws)
        for _ in range(kind.prior):
            dice.random(size.draws // 2)


def plain_entries(size: Size, kind: Kind, day: DayDraws) -> None:
    """The same, and as many whole numbers gathered as the day has takes."""
    plain_numbers(size, kind)
    source = np.arange(size.draws)
    for takes in day.takes.values():
        for take in takes:
            source[take.index]


def measured(size: Size, kind: Kind, jobs: list[JobNeeds], supply: dict[str, int]) -> Measured:
    """One round, ours and numpy's in turn."""
    begun = time.perf_counter()
    day = draw_day(jobs, seed=1, draws=size.draws)
    drawing = time.perf_counter() - begun
    return Measured(
        drawing,
        seconds(lambda: day.with_stock(supply)),
        seconds(lambda: plain_numbers(size, kind)),
        seconds(lambda: plain_entries(size, kind, day)),
    )


def table(size: Size, rounds: int = ROUNDS) -> None:
    """Print a row for each kind of day: medians of the rounds."""
    ratios = f"{'of numbers':>11} {'of entries':>11}"
    print(f"{'day':30} {'draw_day s':>11} {'with_stock s':>13} {'both s':>7} {'bar':>5} {ratios}")
    for kind in KINDS:
        jobs, dice = make_day(size, kind), random.Random(1)
        supply = {f"P{number:03d}": dice.randint(1, 4) for number in range(size.parts)}
        measured(size, kind, jobs, supply)
        found = [measured(size, kind, jobs, supply) for _ in range(rounds)]
        both = [row.drawing + row.asking for row in found]
        drawing, asking = (
            statistics.median(rows) for rows in zip(*((r.drawing, r.asking) for r in found), strict=True)
        )
        to_numbers = statistics.median(a / b.numbers for a, b in zip(both, found, strict=True))
        to_entries = statistics.median(a / b.entries for a, b in zip(both, found, strict=True))
        ours = f"{drawing:11.3f} {asking:13.3f} {statistics.median(both):7.3f} {BAR_SECONDS:5}"
        print(f"{kind.label:30} {ours} {to_numbers:11.1f} {to_entries:11.1f}", flush=True)


if __name__ == "__main__":
    table(Size())

"""Prints every gate of the levels in one go, and ends badly when one is not held: what is exact, what is promised, and
how quickly.

The exact and published checks run as tests and are listed by name. Then made-up firms (`kit_firms.py`, seeds that
nothing was tuned on) are gone through: each is known for a year, refits every four weeks of the next, and is scored
from week 26 on over many second years of the same truth; beside it, tuned with hindsight to the completion that it came
to, equal service per part, a multiple of average use, and each part by its cost. Times are of this machine, and as
ratios to a plain sort in numpy. Not a test: run it with `.venv/bin/python tests/benchmarks/kit_gates.py`; with `--firms
5000-5029` it goes through other firms alone.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import datetime, time, timedelta
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from time import perf_counter
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.fleet import Size, make_firm
from tests.benchmarks.kit_firms import FEW_TRIED, JOBS_TRIED, WEEKS, Score, Trial, make_trial, score, tuned
from vanstock.jobneeds import JobNeeds, WeightedCase
from vanstock.kit import closure
from vanstock.kit.levels import choose, steady
from vanstock.kit.minmax import Buying, min_and_max
from vanstock.kit.optimism import to_ask
from vanstock.kit.policies import covering, each_by_cost
from vanstock.kit.replay import Levels
from vanstock.kit.stream import Ahead, Kind, Shelf, Stream, draw_stream, reviews_before
from vanstock.ledger.file import open_ledger
from vanstock.routines.coming import Coming, coming
from vanstock.routines.forecasts import PartForecast, forecast_all
from vanstock.routines.past import known_on
from vanstock.routines.session import Session
from vanstock.routines.settings import level_change_pays

ROOT = Path(__file__).parents[2]
EXACT = ("tests/kit/test_closure.py", "tests/published/test_stock_control.py", "tests/published/test_repair_kit.py")
SEEDS = range(4_000, 4_030)
TARGET, EVERY = 0.95, 4
THUMB_WEEKS = 26
WORTHS = (2_000, 10_000, 20_000, 50_000, 200_000)
"""Worths of a job, in pence for one of the whole stream, that cuts are timed at."""
SURE = tuple((1 - np.exp(-np.linspace(0.05, 9, 60))).tolist())


class Promise(NamedTuple):
    """One firm: finished jobs known at the cut, the completion that a target of 95 % came to, the share of cash saved
    beside equal service and beside a multiple of average use, and the share it costs more than each part by cost."""

    seed: int
    known: int
    completion: float
    saved_on_equal: float
    saved_on_thumb: float
    above_cost: float


class Fit(NamedTuple):
    """What one refit knows: the coming jobs, the levels for whole jobs, the forecast of each part."""

    coming: Coming
    whole: Mapping[str, int]
    forecasts: Mapping[str, PartForecast]


def fits(trial: Trial) -> dict[int, Fit]:
    """Every refit of the second year, by its week."""
    found: dict[int, Fit] = {}
    before: Mapping[str, int] = {}
    with tempfile.TemporaryDirectory() as folder, closing(open_ledger(Path(folder) / "x.db", create=True)) as ledger:
        for week in range(0, WEEKS, EVERY):
            monday = trial.cut + timedelta(weeks=week)
            session = Session(ledger, datetime.combine(monday, time(7)), Path(folder) / "x.db", False)
            past = known_on(trial.past, monday)
            ahead = coming(session, past)
            chosen = choose(ahead.stream, completion=to_ask(TARGET, len(past.finished)))
            chosen = steady(ahead.stream, chosen, before, pays=level_change_pays(session))
            before = chosen.levels
            found[week] = Fit(ahead, chosen.levels, forecast_all(session, past, SURE))
    return found


def with_levels(levels: Mapping[str, int], how: Mapping[str, Buying]) -> Levels:
    """Min and max from levels, the same way for every rule."""
    return {group: min_and_max(level, how[group]) for group, level in levels.items()}


def equal(fit: Fit, knob: float) -> dict[str, int]:
    """Every part as sure to last its protection interval: 1 - exp(-knob), rounded up to one that was asked for."""
    sure = next((one for one in SURE if one >= 1 - np.exp(-knob) - 1e-12), SURE[-1])
    need = {group: row.forecast.quantiles[sure] for group, row in fit.forecasts.items()}
    return covering(need, fit.coming.buying)


def thumb(fit: Fit, times: float) -> dict[str, int]:
    """A multiple of the average use of the last half year over the protection interval."""
    need = {}
    for group, row in fit.forecasts.items():
        lately = row.history[-THUMB_WEEKS:]
        need[group] = times * sum(lately) / max(len(lately), 1) * row.forecast.interval_days / 5
    return covering(need, fit.coming.buying)


def by_cost(fit: Fit, knob: float) -> dict[str, int]:
    """Each part by itself while its next step pays at one worth of a job."""
    return each_by_cost(fit.coming.stream, float(np.exp(knob)))


def promise(seed: int, jobs_tried: int = JOBS_TRIED) -> Promise:
    """Put one firm to the test."""
    trial = make_trial(seed, jobs_tried)
    refits = fits(trial)

    def scored(levels: Callable[[Fit], Mapping[str, int]], within: Trial) -> Score:
        return score(within, {week: with_levels(levels(fit), fit.coming.buying) for week, fit in refits.items()})

    def beside(rule: Callable[[Fit, float], Mapping[str, int]], low: float, high: float, within: Trial) -> float:
        ours = scored(lambda fit: fit.whole, within)
        rival = tuned(lambda knob: scored(lambda fit: rule(fit, knob), within), ours.completion, low, high)
        return ours.cash / rival.cash

    few = make_trial(seed, min(jobs_tried, FEW_TRIED))
    known = len(known_on(trial.past, trial.cut).finished)
    return Promise(seed, known, scored(lambda fit: fit.whole, trial).completion, 1 - beside(equal, 0.1, 9.0, few),
                   1 - beside(thumb, 0.2, 30.0, few), beside(by_cost, 3.0, 12.0, trial) - 1)  # fmt: skip


def print_promises(rows: list[Promise]) -> bool:
    """The distribution over firms, and whether the gates hold: every firm within 93 to 97 % and at most 2 % above each
    part by cost, 15 and 35 % less than the other two in the median."""
    say("seed  known  completion  saved on equal  saved on thumb  above each by cost")
    for row in sorted(rows, key=lambda one: one.known):
        say(f"{row.seed}  {row.known:5}  {row.completion:10.3f}  {row.saved_on_equal:14.1%}  "
            f"{row.saved_on_thumb:14.1%}  {row.above_cost:18.1%}")  # fmt: skip
    table = np.array([row[2:] for row in rows])
    for name, one in zip(
        ("completion", "saved on equal", "saved on thumb", "above each by cost"), table.T, strict=True
    ):
        low, quarter, middle, upper, high = np.quantile(one, [0, 0.25, 0.5, 0.75, 1])
        say(f"{name}: least {low:.3f}, quarter {quarter:.3f}, median {middle:.3f}, three quarters {upper:.3f}, "
            f"most {high:.3f}")  # fmt: skip
    inside = float(((table[:, 0] >= 0.93) & (table[:, 0] <= 0.97)).mean())
    cheap = float((table[:, 3] <= 0.02).mean())
    say(f"{inside:.0%} of firms within 93 to 97 %; {cheap:.0%} at most 2 % above each part by cost")
    return (
        inside == 1
        and cheap == 1
        and 0.94 <= float(np.median(table[:, 0])) <= 0.96
        and float(np.median(table[:, 3])) <= 0.005
        and float(np.median(table[:, 1])) >= 0.15
        and float(np.median(table[:, 2])) >= 0.35
    )


def big_stream(parts: int, jobs: int, weekly: float, seed: int = 1) -> Stream:
    """A stream of so many jobs over so many parts, a twentieth of which every job may take."""
    dice = np.random.default_rng(seed)
    days = 65
    ahead = Ahead([day // 5 for day in range(days)], 5, 1.2)
    often = dice.exponential(1.0, parts)
    kinds = []
    for _ in range(40):
        cases = []
        for _ in range(60):
            picked = dice.choice(parts, 1 + int(dice.poisson(3)), replace=False, p=often / often.sum())
            cases.append(WeightedCase(1 / 60, {f"P{part}": 1 + int(dice.random() < 0.1) for part in picked}))
        kinds.append(Kind(JobNeeds("", tuple(cases), (), 0.0, 60), weekly / 40))
    since = {wait: reviews_before(range(4, days, 5), wait, days) for wait in (1, 2, 5, 7)}
    cash = np.maximum(np.exp(dice.normal(3.2, 1.2, parts)) * 100, 20).astype(int)
    shelves = [Shelf(f"P{part}", 1, int(cash[part]), 1, since[int(dice.choice([1, 2, 5, 7]))]) for part in range(parts)]
    return draw_stream(kinds, shelves, ahead, seed=seed, jobs=jobs)


def print_speed() -> bool:
    """How long cuts and the curve take, in seconds and as ratios to sorting ten million numbers."""
    closure.best(big_stream(30, 100, 10.0).wanted, 2_000)  # what is loaded on the first call is not counted
    plain = timed(lambda: np.sort(np.random.default_rng(1).random(10_000_000)))
    stream = big_stream(300, 10_000, 10.0)
    cuts = [timed(lambda worth=worth: closure.best(stream.wanted, worth)) for worth in WORTHS]  # type: ignore[misc]
    cut = max(cuts)
    whole = timed(lambda: closure.curve(stream.wanted))
    say(f"300 parts, {stream.wanted.jobs} jobs, {len(stream.wanted.job)} rows, beside a sort of ten million numbers:")
    say(f"the slowest of {len(WORTHS)} cuts {cut:.2f} s ({cut / plain:.2f})")
    say(f"the whole curve {whole:.2f} s ({whole / plain:.1f})")
    fleet = big_stream(5_000, 20_000, 500.0)
    choosing = timed(lambda: choose(fleet, completion=TARGET))
    say(f"5,000 parts, 50 vans of 10 jobs a week, {fleet.wanted.jobs} jobs: levels {choosing:.1f} s")
    return cut < 0.3 and whole < 3


def print_replay() -> bool:
    """How long a year's replay takes, refitting every week: of the demo's firm, and of a made-up one of 300 parts."""
    with tempfile.TemporaryDirectory() as folder:
        done = make_firm(Path(folder), Size(vans=1, families=17, weeks=104))
        demo = timed_replay(ROOT / "demo" / "firm")
        big = timed_replay(Path(folder))
        parts = len((Path(folder) / "parts.csv").read_text(encoding="utf-8").splitlines()) - 1
    say(f"replay of 52 weeks, a refit each week, as a whole process: the demo's firm {demo:.1f} s; "
        f"{parts} parts and {done} jobs {big:.1f} s")  # fmt: skip
    return demo < 20 and big < 20


def timed_replay(firm: Path) -> float:
    """Seconds that the replay of an import folder's firm takes."""
    with tempfile.TemporaryDirectory() as folder:
        start = [sys.executable, "-m", "vanstock", "--ledger", f"{folder}/x.db", "--now", "2027-02-28T18:00"]
        subprocess.run([*start, "import", str(firm)], cwd=ROOT, check=True, capture_output=True)
        return timed(lambda: subprocess.run([*start, "replay"], cwd=ROOT, check=True, capture_output=True))


def timed(work: Callable[[], object]) -> float:
    """Seconds that something takes."""
    begun = perf_counter()
    work()
    return perf_counter() - begun


def say(text: str) -> None:
    """Print at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def main() -> None:
    """Run all, or with `--firms FIRST-LAST` print what other firms come to; exits 1 when a gate is not held."""
    parser = argparse.ArgumentParser(description="Every gate of the levels, or what the firms named come to.")
    parser.add_argument("--firms", metavar="FIRST-LAST", help="seeds of firms to go through instead of all gates")
    parser.add_argument("--jobs", type=int, default=JOBS_TRIED, help="about how many jobs to try each firm on")
    asked = parser.parse_args()
    if asked.firms:
        first, last = map(int, asked.firms.split("-"))
        with Pool(os.cpu_count()) as pool:
            print_promises(pool.map(partial(promise, jobs_tried=asked.jobs), range(first, last + 1), chunksize=1))
        return
    say(f"== {' '.join(EXACT)}")
    exact = subprocess.run([sys.executable, "-m", "pytest", "-q", "-n", "0", *EXACT], cwd=ROOT, check=False).returncode
    say("\n== speed")
    quick = print_speed()
    soon = print_replay()
    say(f"\n== {len(SEEDS)} firms, target {TARGET:.0%}")
    with Pool(os.cpu_count()) as pool:
        kept = print_promises(pool.map(promise, SEEDS, chunksize=1))
    say(f"\nexact {not exact}, quick {quick and soon}, promises kept {kept}")
    if exact or not (quick and soon and kept):
        raise SystemExit(1)


if __name__ == "__main__":
    main()

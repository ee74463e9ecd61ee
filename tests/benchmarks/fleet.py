"""A generated firm of many vans, every screen run on it: CPU seconds, peak memory, and how fast each grows with it.

500 parts, 30 families, three years of four jobs a van on every working day (3,120 a van), the next week booked; nothing
of the demo is in it. Each screen is a process of its own, on a fresh copy of the ledger when it writes; its CPU time
and its highest resident memory are what the kernel counted. The exponent is log(time ratio) / log(size ratio) between
the smallest and the largest firm, what the bare program takes taken off: 1 grows as the firm does, 2 as its square.
Not a test: run it with `.venv/bin/python tests/benchmarks/fleet.py [--vans 5,12,50] [--only WORDS] [--keep FOLDER]`.
"""

from __future__ import annotations

import argparse
import asyncio
import csv
import json
import math
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from vanstock.ledger.untouched import leave_mark  # noqa: E402

MONDAY = date(2027, 3, 1)
SUNDAY_EVENING, MORNING = "2027-02-28T18:00", "2027-03-01T06:40"
JOBS_A_DAY = 4
TYPES = ("clean", "pressure-side", "air-side", "heat", "warm-up", "dosing", "wiring", "check")
OWN = 16
"""Parts that each family has to itself; 20 serve every family: 30 x 16 + 20 = 500."""
COMMON = 20
HTTP_OK = 200
STEEP = 1.15
"""From this exponent on a screen is named as growing faster than the firm: less is chance and start-up."""
PAGES = (("page Today", "/?van=van-01"), ("page of a job", "/job/B-01-0-0"), ("page Week", "/week"))


class Screen(NamedTuple):
    """A command line, and whether it writes."""

    name: str
    line: str
    writes: bool = False


SCREENS = (
    Screen("stock", "stock"),
    Screen("stock --place", "stock --place van-01"),
    Screen("stock WORDS", "stock gasket"),
    Screen("where", "where P01-02"),
    Screen("history", "history"),
    Screen("history PART", "history C-00"),
    Screen("place list", "place list"),
    Screen("fit", "fit B-01-0-0 C-00 2", writes=True),
    Screen("missed", "missed B-01-0-0 C-01 1", writes=True),
    Screen("load PART", "load P01-02 1 --van van-01", writes=True),
    Screen("loadout", "loadout --van van-01"),
    Screen("loadout, last van", "loadout --van {last}"),
    Screen("loadout JOB --why", "loadout B-01-0-0 --why"),
    Screen("load --all", "load --all --van van-01", writes=True),
    Screen("kit", "kit --van van-01"),
    Screen("minmax", "minmax"),
    Screen("minmax PART --why", "minmax C-00 --why"),
    Screen("reorder", "reorder"),
    Screen("order", "order --yes", writes=True),
    Screen("week", "week"),
    Screen("forecast", "forecast"),
    Screen("forecast PART --why", "forecast C-00 --why"),
    Screen("curve", "curve"),
    Screen("value", "value"),
    Screen("value --slow", "value --slow"),
    Screen("year", "year 2026"),
    Screen("count --sheet", "count --sheet --place van-01"),
    Screen("count --report", "count --report"),
    Screen("owed", "owed"),
    Screen("score", "score"),
    Screen("check", "check"),
    Screen("backup", "backup {folder}/copy.db"),
    Screen("export", "export {folder}/out"),
    Screen("booking list", "booking list"),
    Screen("booking export", "booking export --file {folder}/week.ics", writes=True),
    Screen("labels", "labels --place van-01 --file {folder}/labels.html"),
    Screen("replay, 4 weeks", "replay --weeks 4"),
    Screen("replay, 52 weeks", "replay --weeks 52"),
)


class Size(NamedTuple):
    """How big a firm is: vans, vehicle families, weeks that it has worked."""

    vans: int
    families: int = 30
    weeks: int = 156


def make_firm(folder: Path, size: Size) -> int:
    """Write a firm as an import folder; how many jobs it did."""
    vans = size.vans
    dice = random.Random(vans)
    parts = [f"P{family:02d}-{number:02d}" for family in range(size.families) for number in range(OWN)]
    parts += [f"C-{number:02d}" for number in range(COMMON)]
    names = [f"van-{number:02d}" for number in range(1, vans + 1)]
    _write(
        folder,
        "suppliers",
        "supplier lead_working_days order_days cutoff carriage carriage_paid_over",
        [(f"S{i}", (0, 1, 1, 2, 5)[i], "Mon-Fri" if i < 4 else "Tue", "16:30", "6.50", "150.00") for i in range(5)],
    )
    _write(folder, "families", "family name", [(f"F{i:02d}", f"family {i}") for i in range(size.families)])
    _write(folder, "parts", "part description component cost pack_size supplier", [_part(name) for name in parts])
    _write(folder, "fits", "family part", [_fits(name) for name in parts])
    _write(
        folder,
        "goes_with",
        "part also qty",
        [(f"P{i:02d}-{n:02d}", f"P{i:02d}-{n + 8:02d}", 1) for i in range(size.families) for n in range(8)],
    )
    _write(folder, "places", "place kind", [(name, "van") for name in names])
    _write(
        folder,
        "jobs",
        "job date time family job_type codes status van reference",
        [*_done(size, dice), *_booked(size, dice)],
    )
    _write(folder, "used", "job part fitted missed", _used(size, dice))
    _write(folder, "stock", "part place qty", _stock(names, parts, dice))
    return vans * JOBS_A_DAY * 5 * size.weeks


def _write(folder: Path, name: str, columns: str, rows: Iterable[tuple[object, ...]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as lines:
        writer = csv.writer(lines)
        writer.writerow(columns.split())
        writer.writerows(rows)


def _part(name: str) -> tuple[object, ...]:
    if name.startswith("C-"):
        number = int(name[2:])
        return name, f"common part {number}", f"common {number}", f"{2 + number}.50", (1, 5, 10)[number % 3], "S0"
    family, number = int(name[1:3]), int(name[4:])
    what = "gasket" if number >= 8 else "unit"
    cost = f"{3 + number}.20" if number >= 8 else f"{25 + 15 * number + family}.00"
    return name, f"{what} {number % 8} of family {family}", f"{what} {number % 8}", cost, 1, f"S{1 + family % 4}"


def _fits(name: str) -> tuple[str, str]:
    return ("*" if name.startswith("C-") else f"F{name[1:3]}"), name


def _kinds(size: Size) -> Iterator[tuple[str, date, str, int, int, int]]:
    """Each finished job: id, day, time, van, family, type; a van sees the families of its round more than others."""
    dice = random.Random(1000 + size.vans)
    number = 0
    first = MONDAY - timedelta(weeks=size.weeks)
    for day in range(size.weeks * 5):
        when = first + timedelta(days=day // 5 * 7 + day % 5)
        for van in range(1, size.vans + 1):
            for turn in range(JOBS_A_DAY):
                number += 1
                family = (van * 3 + int(dice.expovariate(0.25))) % size.families
                kind = min(int(dice.expovariate(0.5)), len(TYPES) - 1)
                yield f"J{number:06d}", when, f"{8 + 2 * turn:02d}:00", van, family, kind


def _done(size: Size, dice: random.Random) -> Iterator[tuple[object, ...]]:
    for job, when, at, van, family, kind in _kinds(size):
        codes = ";".join(f"P24{52 + dice.randrange(3) + kind}" for _ in range(dice.randrange(3)))
        yield job, when, at, f"F{family:02d}", TYPES[kind], codes, "done", f"van-{van:02d}", f"R{job}"


def _booked(size: Size, dice: random.Random) -> Iterator[tuple[object, ...]]:
    for van in range(1, size.vans + 1):
        for day in range(5):
            for turn in range(JOBS_A_DAY):
                family = (van * 3 + int(dice.expovariate(0.25))) % size.families
                kind = min(int(dice.expovariate(0.5)), len(TYPES) - 1)
                yield (
                    f"B-{van:02d}-{day}-{turn}",
                    MONDAY + timedelta(days=day),
                    f"{8 + 2 * turn:02d}:00",
                    f"F{family:02d}",
                    TYPES[kind],
                    f"P24{52 + kind}",
                    "booked",
                    f"van-{van:02d}",
                    "",
                )


def _used(size: Size, dice: random.Random) -> Iterator[tuple[object, ...]]:
    for job, _, _, _, family, kind in _kinds(size):
        takes: dict[str, int] = {}
        for number in range(8):
            if dice.random() < (0.55 if number == kind else 0.03):
                takes[f"P{family:02d}-{number:02d}"] = 1
                takes[f"P{family:02d}-{number + 8:02d}"] = 1
        for number in range(COMMON):
            if dice.random() < 0.5 / (1 + number):
                takes[f"C-{number:02d}"] = 1 + dice.randrange(3)
        for part, qty in takes.items():
            missed = int(dice.random() < 0.02)
            yield job, part, 0 if missed else qty, qty if missed else 0


def _stock(names: Sequence[str], parts: Sequence[str], dice: random.Random) -> Iterator[tuple[object, ...]]:
    for part in parts:
        many = 6 if part.startswith("C-") else 2
        yield part, "store", many * len(names)
        for name in names:
            if part.startswith("C-") or dice.random() < 0.15:
                yield part, name, many


class Cost(NamedTuple):
    """CPU seconds and the most megabytes resident, of one process."""

    seconds: float
    megabytes: float


def cost_of(words: Sequence[str]) -> Cost:
    """What a process costs, which must end 0."""
    with tempfile.TemporaryFile() as told:
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=told, cwd=ROOT)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            told.seek(0)
            raise SystemExit(f"{' '.join(words)} ended {process.returncode}: {told.read().decode()[-500:]}")
    return Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def vanstock(ledger: Path, line: str, now: str = MORNING) -> list[str]:
    """The words of a vanstock command line."""
    return [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", now, *line.split()]


def pages(ledger: Path, path: str) -> None:
    """Ask the phone face for a page, for the first time and again; prints the CPU seconds and megabytes of both."""
    from tests.benchmarks.web import HOST, ask
    from vanstock.web.app import create_app
    from vanstock.web.desk import Desk
    from vanstock.web.devices import Devices

    devices = Devices(ledger)
    token = devices.pair(devices.new_code(), f"bench {time.monotonic_ns()}")
    now = datetime.fromisoformat(MORNING)
    desk = Desk(str(ledger), now, hosts=frozenset({HOST}), port=8040, devices=devices, tell=lambda _: None)
    app, costs = create_app(desk), []
    for _ in range(2):
        begun = time.process_time()
        if asyncio.run(ask(app, path, cookie=f"{desk.cookie_for('http')}={token}")) != HTTP_OK:
            raise SystemExit(f"{path} was refused")
        costs.append(Cost(time.process_time() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))
    print(json.dumps(costs))


def costs_of_page(ledger: Path, path: str) -> tuple[Cost, Cost]:
    """What a page costs a process of its own, for the first time and again."""
    words = [sys.executable, str(Path(__file__)), "--page", str(ledger), path]
    told = subprocess.run(words, check=True, capture_output=True, cwd=ROOT, text=True).stdout
    first, again = json.loads(told)
    return Cost(*first), Cost(*again)


def screens_of(only: str) -> list[Screen]:
    """The screens whose name holds one of the words, or all."""
    return [one for one in SCREENS if not only or any(word in one.name for word in only.split(","))]


def measured(folder: Path, vans: int, only: str) -> dict[str, Cost]:
    """Make (unless it is there) and measure one firm."""
    ledger, found = folder / "firm.db", {}
    if not ledger.exists():
        make_firm(folder / "firm", Size(vans))
        found["import"] = cost_of(vanstock(ledger, f"import {folder / 'firm'}", SUNDAY_EVENING))
    found["(the bare program)"] = cost_of(vanstock(ledger, "--version"))
    for screen in screens_of(only):
        used = ledger
        if screen.writes:
            used = folder / "used.db"
            shutil.copyfile(ledger, used)
            leave_mark(used)
        line = screen.line.format(last=f"van-{vans:02d}", folder=folder)
        found[screen.name] = cost_of(vanstock(used, line))
        print(f"  {vans:3} {screen.name:24} {found[screen.name].seconds:8.2f} s {found[screen.name].megabytes:7.0f} MB",
              file=sys.stderr, flush=True)  # fmt: skip
    for name, path in PAGES if not only or "page" in only else ():
        found[name], found[f"{name}, again"] = costs_of_page(ledger, path)
        print(f"  {vans:3} {name:24} {found[name].seconds:8.2f} s, again {found[f'{name}, again'].seconds:.2f} s",
              file=sys.stderr, flush=True)  # fmt: skip
    shutil.rmtree(folder / "out", ignore_errors=True)
    return found


def exponent(small: float, large: float, ratio: float, least: float = 0.05) -> float:
    """How a cost grows between two firms: 1 as they do. Costs too small to tell count as `least`."""
    return math.log(max(large, least) / max(small, least)) / math.log(ratio)


def show(found: dict[int, dict[str, Cost]]) -> None:
    """Print the table, and which screens grow faster than the firm."""
    sizes = sorted(found)
    heads = "".join(f"{f'{size} vans':>18}" for size in sizes)
    print(f"{'screen':26}{heads}{'grows as n^':>13}")
    steep = []
    for name in found[sizes[0]]:
        row = [found[size].get(name, Cost(0, 0)) for size in sizes]
        bare = [found[size]["(the bare program)"].seconds for size in sizes]
        ratio = sizes[-1] / sizes[0] if len(sizes) > 1 else math.e
        power = exponent(row[0].seconds - bare[0], row[-1].seconds - bare[-1], ratio)
        print(f"{name:26}{''.join(f'{one.seconds:9.2f} s {one.megabytes:4.0f} MB' for one in row)}{power:13.2f}")
        steep += [name] if power > STEEP else []
    print(f"faster than the firm: {', '.join(steep) or 'none'}")


def main() -> None:
    """Make the firms, run the screens, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--vans", default="5,12,50")
    parser.add_argument("--only", default="", help="words of the names of screens, with commas")
    parser.add_argument("--keep", type=Path, default=None, help="where firms are kept from run to run")
    parser.add_argument("--page", nargs=2, default=None, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.page:
        pages(Path(chosen.page[0]), chosen.page[1])
        return
    with tempfile.TemporaryDirectory() as name:
        folder = chosen.keep or Path(name)
        sizes = [int(size) for size in chosen.vans.split(",")]
        show({vans: measured(folder / str(vans), vans, chosen.only) for vans in sizes})


if __name__ == "__main__":
    main()

"""Prints what the ledger's guards cost, each figure beside a bare one measured in turn in the same run.

Not a test: run it with `.venv/bin/python tests/benchmarks/ledger.py`. A row count may follow (default a million
movements). Ratios are what to quote; seconds are of one machine.
"""

from __future__ import annotations

import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from functools import partial
from pathlib import Path

from vanstock.ledger import catalogue, reading
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.checking import check
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Draft, new_id, post
from vanstock.ledger.file import Ledger, open_ledger, writing
from vanstock.ledger.schema import wanted_schema
from vanstock.ledger.valuing import Line
from vanstock.model import Family, Job, Part, Used

NOW = datetime(2027, 3, 1, 8)
PARTS = [f"P{number:03d}" for number in range(500)]
COMMITS = 400


def make_ledger(path: Path, movements: int) -> Ledger:
    """A ledger of 500 parts in a van and a store, and that many movements of past use on jobs of 20 lines."""
    ledger = open_ledger(path, create=True)
    dice = random.Random(1)
    jobs = [Job(f"J{n}", NOW.date(), "", "F", "clean", (), "done", "van", "") for n in range(movements // 20)]
    used = [Used(jobs[n // 20].job, dice.choice(PARTS), 1, 0) for n in range(len(jobs) * 20)]
    with writing(ledger):
        catalogue.save_rows(ledger, Family, [Family("F", "F")])
        catalogue.save_rows(ledger, Part, [Part(part, part, part, cost=10_000) for part in PARTS])
        post_import(ledger, ImportedFacts(jobs, history=used), at=NOW, progress=lambda _: None)
    for place in ("van", "store"):
        post(ledger, Draft(NOW, "received", tuple(Line(part, 1_000, SUPPLIER, place, 100_000) for part in PARTS)))
    return ledger


def bare_file(path: Path) -> sqlite3.Connection:
    """A file with the same tables, indexes and settings, and no trigger, guard or seal."""
    bare = sqlite3.connect(path, isolation_level=None)
    for setting in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        bare.execute(f"PRAGMA {setting}")
    for kind, _, sql in sorted(wanted_schema(), reverse=True):
        if kind in ("table", "index"):
            bare.execute(sql)
    bare.execute("INSERT INTO family VALUES ('F', 'F', NULL, NULL)")
    bare.executemany("INSERT INTO place VALUES (?, ?)", [(place, place) for place in ("van", "customer")])
    bare.execute("INSERT INTO job VALUES ('J0', '2027-03-01', '', 'F', 'clean', '', 'done', 'van', '')")
    for part in PARTS:
        bare.execute(
            "INSERT INTO part VALUES (?, '', '', 'C62', 1, 1, '', '', NULL, 0, 0, NULL, NULL, '', '', '')", (part,)
        )
        bare.executemany("INSERT INTO balance VALUES (?, ?, 1000, 100000, 0)", [(part, "van"), (part, "customer")])
    return bare


def bare_commit(bare: sqlite3.Connection, part: str) -> None:
    """The rows that one part fitted writes, and nothing else."""
    bare.execute("BEGIN IMMEDIATE")
    head = (new_id(), "2027-03-01T08:00:00+00:00", "fitted", "terminal", "", None, "d" * 64)
    seq = bare.execute("INSERT INTO entry VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", head).lastrowid
    bare.execute("INSERT INTO movement VALUES (NULL, ?, ?, 1, 'van', 'customer', 100, 'J0', NULL)", (seq, part))
    bare.execute("UPDATE balance SET qty = qty - 1, value = value - 100 WHERE part = ? AND place = 'van'", (part,))
    bare.execute("UPDATE balance SET qty = qty + 1, value = value + 100 WHERE part = ? AND place = 'customer'", (part,))
    bare.execute("INSERT INTO seal VALUES (?, ?)", (seq, "s" * 32))
    bare.execute("COMMIT")


def our_commit(ledger: Ledger, part: str) -> None:
    """One part fitted, through everything that guards it."""
    post(ledger, Draft(NOW, "fitted", (Line(part, 1, "van", CUSTOMER, job="J0"),)))


def seconds(act: Callable[[], object]) -> float:
    """Wall time of one call."""
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def commits(ledger: Ledger, folder: Path) -> None:
    """Single-entry commits, ours and bare in turn."""
    with closing(bare_file(folder / "bare.db")) as bare:
        pairs = []
        for number in range(COMMITS):
            part = PARTS[number % len(PARTS)]
            pairs.append((seconds(partial(our_commit, ledger, part)), seconds(partial(bare_commit, bare, part))))
    ours, theirs = statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs)
    print(f"{'one entry committed, ms: ours, bare rows':58} {ours * 1e3:9.2f} {theirs * 1e3:9.2f}")
    print(f"{'  speed beside the bare rows (bar: at least 0.6)':58} {statistics.median(b / a for a, b in pairs):9.2f}")


def balances(ledger: Ledger) -> None:
    """500 parts read from the balances, and the same worked out from all movements, in turn."""

    def from_movements() -> None:
        ledger.execute(
            "SELECT part, place, sum(qty), sum(value) FROM (SELECT part, to_place AS place, qty, value FROM movement"
            " UNION ALL SELECT part, from_place, -qty, -value FROM movement) GROUP BY part, place"
        ).fetchall()

    sums = [(seconds(lambda: reading.balances(ledger, place="van")), seconds(from_movements)) for _ in range(3)]
    kept = statistics.median(seconds(lambda: reading.balances(ledger, place="van")) for _ in range(50))
    print(f"{'500 balances of a van read, ms (bar: under 1)':58} {kept * 1e3:9.2f}")
    print(
        f"{'  times quicker than the sum over movements (bar: 50)':58} {statistics.median(b / a for a, b in sums):9.0f}"
    )


def main(movements: int) -> None:
    """Measure and print everything."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        empty = folder / "empty.db"
        open_ledger(empty, create=True).close()
        path = folder / "ledger.db"
        with closing(make_ledger(path, movements)) as ledger:
            size = (path.stat().st_size - empty.stat().st_size) / movements
            print(f"{movements} movements")
            print(f"{'file bytes a movement':58} {size:9.0f}")
            balances(ledger)
            commits(ledger, folder)
            print(f"{'every rule checked, s (bar: 15 for a million)':58} {seconds(lambda: check(ledger)):9.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)

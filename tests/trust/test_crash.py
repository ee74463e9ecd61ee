"""The writing process is killed at random moments, and nothing that was acknowledged is lost or half there.

A child is forked, told to write, and sent SIGKILL after a random delay of at most a few writes' length; no
part of the program is replaced or slowed. The long version asserts that kills really fell into transactions
(a journal was left) and into commits (the journal had been pushed to the disk, so that the ledger itself may
have been half-written). What a power cut does to a disk that lies about sync is not tested: SIGKILL leaves
the system's own buffers whole; torn files are in `test_torn_file`.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from vanstock.ledger.file import open_ledger
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrations, schema_of, wanted_schema
from vanstock.routines import job, stock
from vanstock.routines.session import Session
from vanstock.routines.setup import import_folder

Act = Callable[[Session, random.Random], str]
PARTS = ("SNS-1", "GKT-1", "BLT-1", "VAP-2", "FLU-1")
OLD_ENTRIES = 240


def _fit(session: Session, dice: random.Random) -> str:
    return job.fit(session, dice.choice(("J1", "J2", "J4")), dice.choice(PARTS), with_riders=True).entry.id


def _load(session: Session, dice: random.Random) -> str:
    return stock.move(session, dice.choice(PARTS), "1", source="store", target="van").entry.id


def _receive(session: Session, dice: random.Random) -> str:
    return stock.receive(session, dice.choice(PARTS), str(dice.randint(1, 9)), carriage=dice.randint(0, 99)).entry.id


def _count(session: Session, dice: random.Random) -> str:
    return stock.count(session, dice.choice(PARTS), str(dice.randint(0, 99)), place="van").entry.id


ACTS: dict[str, Act] = {"fit": _fit, "load": _load, "receive": _receive, "count": _count}


class Rig:
    """The helpers, the dice, and a count of what the kills hit."""

    def __init__(self, processes: ModuleType, seed: int) -> None:
        self.run: Any = processes
        self.dice = random.Random(seed)
        self.hit: Counter[str] = Counter()

    def killed(self, path: Path, action: Callable[[Callable[[Any], None]], None], longest: float) -> list[Any]:
        """What a child acknowledged that was killed at a random moment after it told that it was ready."""
        child = self.run.start(action)
        told = [self.run.first_told(child)]
        time.sleep(self.dice.uniform(0, longest))
        told += self.run.kill(child)
        assert told[0] == "ready", told[0]
        self.hit["kills"] += 1
        self.hit["journals left"] += self.run.journal_of(path).exists()
        self.hit["hot journals"] += self.run.hot(path)
        return told[1:]


def kill_an_act(rig: Rig, path: Path, kind: str, before: list[str]) -> list[str]:
    """Kill a process that writes entries of one kind as fast as it can; the entries that are there after it."""
    seed = rig.dice.random()

    def write(tell: Callable[[Any], None]) -> None:
        session, dice = rig.run.session(path), random.Random(seed)
        first = ACTS[kind](session, dice)  # the file is looked through whole before this one
        tell("ready")
        tell(first)
        while True:
            tell(ACTS[kind](session, dice))

    acknowledged = rig.killed(path, write, 0.012)
    after: list[str] = rig.run.entries_when_whole(path)
    new = after[len(before) :]
    assert after[: len(before)] == before
    assert new[: len(acknowledged)] == acknowledged
    assert len(new) - len(acknowledged) <= 2 - bool(acknowledged)  # written in full, the answer cut off
    rig.hit["acknowledged"] += len(acknowledged)
    return after


def write_folder(folder: Path, mark: str) -> Path:
    """Parts, jobs, past use and stock that no ledger has yet."""
    folder.mkdir()
    numbers = range(50)
    files = {
        "parts.csv": ["part,description,component,unit,cost", *(f"{mark}-{n},x,y,C62,1.50" for n in numbers)],
        "jobs.csv": ["job,date,time,family,job_type,status,van"]
        + [f"{mark}J{n},2027-02-{n % 28 + 1:02},09:00,AAA,clean,done,van" for n in numbers],
        "used.csv": ["job,part,fitted,missed", *(f"{mark}J{n},{mark}-{n},{n % 3 + 1},{n % 2}" for n in numbers)],
        "stock.csv": ["part,place,qty", *(f"{mark}-{n},van,{n + 1}" for n in numbers)],
    }  # fmt: skip
    for name, lines in files.items():
        (folder / name).write_text("\n".join(lines) + "\n")
    return folder


def kill_an_import(rig: Rig, good: Path, room: Path) -> None:
    """Kill an import into a copy of a good ledger: all of the folder is there or nothing, and it can be repeated."""
    path = Path(shutil.copy(good, room / "ledger.db"))
    folder = write_folder(room / "folder", "NEW")
    before = rig.run.entries_when_whole(path)

    def write(tell: Callable[[Any], None]) -> None:
        session = rig.run.session(path)
        tell("ready")
        import_folder(session, folder)
        tell("done")
        time.sleep(9)

    acknowledged = rig.killed(path, write, 0.06)
    after = rig.run.entries_when_whole(path)
    assert after[: len(before)] == before
    counts = [
        f"SELECT count(*) FROM {what}"
        for what in ("part WHERE part LIKE 'NEW%'", "job WHERE job LIKE 'NEW%'", "movement WHERE part LIKE 'NEW%'",
                     "missed WHERE part LIKE 'NEW%'", "counted WHERE part LIKE 'NEW%'")
    ]  # fmt: skip
    found = [rows[0][0] for rows in rig.run.rows_of(path, *counts)]
    whole = [50, 50, 100, 25, 50]
    assert found == (whole if acknowledged or len(after) > len(before) else [0] * 5)
    rig.hit["imports done"] += found == whole
    with closing(open_ledger(path)) as ledger:
        import_folder(Session(ledger, rig.run.session.__defaults__[0], path), folder)
    assert len(rig.run.entries_when_whole(path)) == len(before) + 1
    assert [rows[0][0] for rows in rig.run.rows_of(path, *counts)] == whole


def version_1(path: Path) -> Path:
    """A ledger as the first version of its tables had it: no seals, written to by plain SQL."""
    from sqlite_utils import Database, Migrations

    first = next(iter(migrations()._migrations))
    old = Migrations("vanstock")
    old(name=first.name)(first.fn)
    at = "2027-03-01T08:00:00+00:00"
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        plain.execute("BEGIN IMMEDIATE")
        old.apply(Database(plain))
        plain.execute(
            "INSERT INTO part VALUES ('P', '', 'c', 'C62', 100, 1, '', '', NULL, 0, 0, NULL, NULL, '', '', '')"
        )
        for seq in range(1, OLD_ENTRIES + 1):
            kind = "counted" if seq % 3 == 0 else "received"
            plain.execute("INSERT INTO entry VALUES (?, ?, ?, ?, 'terminal', '', NULL, '')", (seq, f"e{seq}", at, kind))
            if kind == "counted":
                plain.execute("INSERT INTO counted VALUES (?, ?, 'P', 'van', ?)", (seq, seq, seq // 3 * 2))
            else:
                row = (seq, seq)
                plain.execute("INSERT INTO movement VALUES (?, ?, 'P', 1, 'supplier', 'van', 100, NULL, NULL)", row)
        plain.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        plain.execute("PRAGMA user_version = 1")
        plain.execute("COMMIT")
    return path


HELD = ("SELECT * FROM entry", "SELECT * FROM movement", "SELECT * FROM counted", "SELECT * FROM balance")


def kill_a_migration(rig: Rig, good: Path, room: Path) -> None:
    """Kill the program while it brings an older ledger up to date: it is of one version or the other."""
    path = Path(shutil.copy(good, room / "ledger.db"))
    old_schema, held = _schema(path), rig.run.rows_of(path, *HELD)

    def write(tell: Callable[[Any], None]) -> None:
        tell("ready")
        open_ledger(path)
        tell("done")
        time.sleep(9)

    acknowledged = rig.killed(path, write, 0.05)
    version = rig.run.rows_of(path, "PRAGMA user_version")[0][0][0]  # a plain reader rolls back, as ours would
    assert version == VERSION or (version == 1 and not acknowledged)
    there = _schema(path)
    assert there == old_schema if version == 1 else wanted_schema() <= there
    rig.hit["migrations done"] += version == VERSION
    for copy in room.glob("ledger.db-copies/ledger*.db"):
        assert rig.run.rows_of(copy, "PRAGMA integrity_check", "PRAGMA user_version", *HELD) == [
            [("ok",)],
            [(1,)],
            *held,
        ]
    assert len(rig.run.entries_when_whole(path)) == OLD_ENTRIES
    assert rig.run.rows_of(path, *HELD) == held
    assert rig.run.rows_of(path, "PRAGMA user_version") == [[(VERSION,)]]


def _schema(path: Path) -> set[tuple[str, str, str]]:
    with closing(sqlite3.connect(path)) as plain:
        return schema_of(plain)


def kill_a_first_opening(rig: Rig, room: Path) -> None:
    """Kill the program while it makes a new ledger: the next opening makes it, whatever was left."""
    path = room / "ledger.db"

    def write(tell: Callable[[Any], None]) -> None:
        tell("ready")
        open_ledger(path, create=True)
        tell("done")
        time.sleep(9)

    rig.killed(path, write, 0.03)
    open_ledger(path, create=True).close()
    assert rig.run.entries_when_whole(path) == []


def kill_many(rig: Rig, firm: Path, room: Path, kills: int) -> None:
    """So many kills, one kind after the other; the ordinary acts go on in one ledger, so that damage would pile up."""
    old = version_1(room / "old.db")
    good = Path(shutil.copy(firm, room / "good.db"))
    entries = rig.run.entries_when_whole(firm)
    kinds = [*ACTS, "import", "migrate", *ACTS, "import", "migrate", "create"]
    for number in range(kills):
        kind = kinds[number % len(kinds)]
        aside = room / str(number)
        aside.mkdir()
        if kind in ACTS:
            if rig.dice.random() < 0.8:  # else the next writer first waits for a mark that nobody will leave
                firm.with_name(f"{firm.name}.left").unlink(missing_ok=True)
            entries = kill_an_act(rig, firm, kind, entries)
        elif kind == "import":
            kill_an_import(rig, good, aside)
        elif kind == "migrate":
            kill_a_migration(rig, old, aside)
        else:
            kill_a_first_opening(rig, aside)
        shutil.rmtree(aside)
    assert rig.hit["kills"] == kills


def test_a_hundred_kills_lose_nothing_that_was_acknowledged(processes: ModuleType, firm: Path, tmp_path: Path) -> None:
    rig = Rig(processes, 1)
    kill_many(rig, firm, tmp_path, 100)
    assert rig.hit["journals left"] > 0


@pytest.mark.long
def test_a_thousand_kills_lose_nothing_that_was_acknowledged(
    processes: ModuleType, firm: Path, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    rig, began = Rig(processes, 2), time.monotonic()
    kill_many(rig, firm, tmp_path, 1000)
    for name, number in {**rig.hit, "seconds": round(time.monotonic() - began)}.items():
        record_property(name, number)
        print(f"{name}: {number}")
    assert rig.hit["journals left"] > 100
    assert rig.hit["hot journals"] > 20
    assert 0 < rig.hit["imports done"] < rig.hit["kills"] / 6
    assert 0 < rig.hit["migrations done"] < rig.hit["kills"] / 6

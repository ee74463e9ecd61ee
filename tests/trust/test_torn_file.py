"""Damaged ledgers: cut off, overwritten, with a torn journal or without the one they need.

Each damaged file goes through the real command line. Nothing may end in a traceback; a damaged file is never
written to, except that SQLite itself rolls a journal back on opening; the person is told what is wrong and
which copy to go back to, and going back to it works. What no rule can see is damage to text that is not part
of what happened: a part's description, a note, a customer's reference.
"""

from __future__ import annotations

import gc
import os
import random
import signal
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest

from vanstock.errors import LedgerUnusable
from vanstock.ledger.checking import damage
from vanstock.ledger.copies import newest_copy
from vanstock.ledger.entries import Draft, post_inside
from vanstock.ledger.faults import refuse_other
from vanstock.ledger.file import writing
from vanstock.ledger.untouched import mark_of
from vanstock.ledger.valuing import Line

COMMANDS = (
    ("check",),
    ("stock",),
    ("loadout", "--date", "2027-03-01"),
    ("backup",),
    ("fit", "J1", "SNS-1"),
)
READS_ONLY = ("stock", "loadout")
WRITES = ("fit", "loadout")
"""What may change a whole ledger: a load-out keeps the odds that it tells."""
NOT_SEALED = {"entry": ("note", "digest"), "booking": ("reference",), "balance": ("count_needed",)}
WHAT_HAPPENED = ("entry", "movement", "missed", "counted", "booking", "seal", "balance")
MASTER = ("setting", "supplier", "family", "part", "fits", "goes_with", "usual", "pinned", "place")


class Pair(NamedTuple):
    """The bytes of a ledger and of the journal beside it, if there is one."""

    main: bytes
    journal: bytes | None = None


Damage = Callable[[bytes, random.Random], bytes]


def cut(data: bytes, dice: random.Random) -> bytes:
    return data[: dice.randrange(len(data))]


def noise(data: bytes, dice: random.Random) -> bytes:
    length, at = dice.randint(1, 4096), dice.randrange(len(data))
    return data[:at] + dice.randbytes(length)[: len(data) - at] + data[at + length :]


def zeros(data: bytes, dice: random.Random) -> bytes:
    length, at = dice.randint(1, 4096), dice.randrange(len(data))
    return data[:at] + bytes(min(length, len(data) - at)) + data[at + length :]


def flipped(data: bytes, dice: random.Random) -> bytes:
    at = dice.randrange(len(data))
    return data[:at] + bytes([data[at] ^ 1 << dice.randrange(8)]) + data[at + 1 :]


WAYS: tuple[Damage, ...] = (cut, noise, zeros, flipped)


class Bench:
    """A good ledger with a copy of it, and crashed ones: what damaged files are made from."""

    def __init__(self, processes: ModuleType, firm: Path, crashes: int) -> None:
        self.run: Any = processes
        self.path = firm
        assert processes.command(firm, "backup").code == 0
        copy = newest_copy(firm)
        assert copy
        self.copy = copy
        self.copied = self.copy.read_bytes()
        self.good = Pair(firm.read_bytes())
        self.rows = every_row(firm)
        self.holds = contents(firm, (*WHAT_HAPPENED, *MASTER))
        self.crashed = [self._crash(number) for number in range(crashes)]

    def lay(self, pair: Pair) -> None:
        """Put a pair in the ledger's place, as a disk or a stick would give it back."""
        for left in self.path.parent.glob(f"{self.path.stem}-set-aside*"):
            left.unlink()
        self.only_one_copy()
        mark_of(self.path).unlink(missing_ok=True)  # a stale one says no more, but is waited for
        self.path.write_bytes(pair.main)
        journal = self.run.journal_of(self.path)
        if pair.journal is None:
            journal.unlink(missing_ok=True)
        else:
            journal.write_bytes(pair.journal)

    def only_one_copy(self) -> None:
        """Leave the copy made before the damage as the only one."""
        for copy in self.copy.parent.iterdir():
            copy.unlink()
        self.copy.write_bytes(self.copied)

    def found(self) -> Pair:
        """The pair as it lies there now."""
        journal = self.run.journal_of(self.path)
        return Pair(self.path.read_bytes(), journal.read_bytes() if journal.exists() else None)

    def _crash(self, number: int) -> Pair:
        """What a writer leaves that is killed in the middle of one long transaction, its pages half written back."""
        self.lay(self.good)

        def write(tell: Callable[[Any], None]) -> None:
            session = self.run.session(self.path)
            session.ledger.execute("PRAGMA cache_size = 4")
            with writing(session.ledger):
                for entry in range(4 + 12 * number):
                    lines = (Line("GKT-1", 1, "supplier", "van", 385), Line("BLT-1", 1, "van", "store"))
                    post_inside(session.ledger, Draft(session.now, "received", lines, id=f"lost-{number}-{entry}"))
                os.kill(os.getpid(), signal.SIGKILL)

        self.run.all_told(self.run.start(write))
        assert self.run.hot(self.path)
        return self.found()

    def rolled_back(self, pair: Pair) -> Pair:
        """What SQLite alone makes of a pair by opening it, before any of the program's code is asked."""
        if pair.journal is None:
            return pair
        self.lay(pair)
        with suppress(sqlite3.Error, UnicodeDecodeError), closing(sqlite3.connect(self.path)) as plain:
            plain.execute("SELECT count(*) FROM sqlite_master").fetchone()  # an error's own words can be damaged too
        return self.found()


def contents(path: Path, tables: tuple[str, ...]) -> dict[str, list[tuple[Any, ...]]]:
    """The rows of some tables, without the columns that no seal covers."""
    found = {}
    with closing(sqlite3.connect(path)) as plain:
        plain.text_factory = bytes
        for table in tables:
            columns = [row[1].decode() for row in plain.execute(f"PRAGMA table_info({table})")]
            kept = [name for name in columns if name not in NOT_SEALED.get(table, ())]
            found[table] = sorted(plain.execute(f"SELECT {', '.join(kept)} FROM {table}").fetchall(), key=repr)
    return found


def damaged_pairs(bench: Bench, count: int, seed: int) -> Iterator[tuple[str, Pair]]:
    """So many damaged ledgers, each with what was done to it: half of them whole ledgers, half crashed ones."""
    dice = random.Random(seed)
    for number in range(count):
        way, other = WAYS[number % len(WAYS)], dice.choice(WAYS)
        crash = dice.choice(bench.crashed)
        assert crash.journal is not None
        kind = ("main", "main", "journal", "main", "main", "crashed main", "both", "no journal", "old journal")[
            number % 9
        ]
        if kind == "main":
            pair = Pair(way(bench.good.main, dice))
        elif kind == "crashed main":
            pair = Pair(way(crash.main, dice), crash.journal)
        elif kind == "journal":
            pair = Pair(crash.main, way(crash.journal, dice))
        elif kind == "both":
            pair = Pair(way(crash.main, dice), other(crash.journal, dice))
        elif kind == "no journal":
            pair = Pair(crash.main)
        else:
            pair = Pair(bench.crashed[0].main, bench.crashed[-1].journal)
        yield f"{number}: {kind}, {way.__name__}", pair


def go_through(bench: Bench, what: str, pair: Pair, hit: Counter[str]) -> None:
    """Every command on one damaged ledger, what it may not do, and what must be said."""
    left_alone = {pair, bench.rolled_back(pair)}
    bench.lay(pair)
    refused = 0
    for words in COMMANDS:
        answer = bench.run.command(bench.path, *words)
        bench.only_one_copy()
        about = f"{what}: {words[0]}: {answer}"
        assert not answer.crash, about
        assert answer.code in (0, 1), about
        assert "Traceback" not in answer.err, about
        refused += answer.code
        if answer.code == 1:
            said_so(bench, words[0], answer, hit)
        wrote = answer.code == 0 and words[0] in WRITES and bench.found() not in left_alone
        if wrote or (answer.code == 0 and words[0] == "fit"):
            assert bench.run.entries_when_whole(bench.path), about
            left_alone = {bench.found()}
            hit["written to, every rule holds"] += 1
        else:
            assert bench.found() in left_alone, about
    hit["damaged"] += 1
    hit["refused by some command"] += refused > 0


def said_so(bench: Bench, command: str, answer: Any, hit: Counter[str]) -> None:
    """One line that blames the file and names the way back; what only reads may stumble over the damage first, and
    SQLite calls a disk full when a damaged file asks it for more room than there is."""
    assert answer.err.count("\n") == 1, answer
    said = answer.err.replace(str(bench.path), "LEDGER")  # the folder's own name is no blame
    blamed = any(word in said for word in ("damaged", "not a vanstock ledger", "rules broken"))
    if not blamed and (command in READS_ONLY or (command == "backup" and "is full" in said)):
        hit["refused for another reason"] += 1
        return
    assert blamed, answer
    assert "`vanstock restore" in said, answer
    if "rules broken" not in said:
        assert str(bench.copy) in answer.err, answer


def go_back(bench: Bench, what: str) -> None:
    gc.collect()  # what commands before left open in this process, as a process of its own would not
    answer = bench.run.command(bench.path, "restore", str(bench.copy), "--yes")
    assert answer.code == 0, f"{what}: {answer}"
    assert bench.run.entries_when_whole(bench.path)


def go_through_many(bench: Bench, count: int, seed: int, back: int) -> Counter[str]:
    """So many damaged ledgers; every `back`-th is put right again from the copy."""
    hit = Counter[str]()
    for number, (what, pair) in enumerate(damaged_pairs(bench, count, seed)):
        go_through(bench, what, pair, hit)
        if number % back == 0:
            go_back(bench, what)
    assert hit["refused by some command"] > count / 2
    assert hit["refused for another reason"] < max(1, count / 100)
    return hit


@pytest.mark.parametrize("count", [54, pytest.param(120, marks=pytest.mark.long)])
def test_damaged_ledgers_are_told_of_left_alone_and_put_right(processes: ModuleType, firm: Path, count: int) -> None:
    go_through_many(Bench(processes, firm, 6), count, 1, 3)


@pytest.mark.long
def test_thousands_of_damaged_ledgers_are_told_of_left_alone_and_put_right(
    processes: ModuleType, firm: Path, record_property: Callable[[str, object], None]
) -> None:
    for name, number in go_through_many(Bench(processes, firm, 12), 3000, 2, 2).items():
        record_property(name, number)
        print(f"{name}: {number}")


def unseen(bench: Bench, count: int, seed: int) -> Counter[str]:
    """Damage whole ledgers and ask the rules alone: what of the damage that none sees has changed which rows.

    Rows of what happened must be as they were, without the columns that no seal covers.
    """
    dice, hit = random.Random(seed), Counter[str]()
    for number in range(count):
        way = WAYS[number % len(WAYS)]
        data = way(bench.good.main, dice)
        bench.lay(Pair(data))
        hit[f"{way.__name__}: all"] += 1
        if seen(bench.path):
            continue
        now = contents(bench.path, (*WHAT_HAPPENED, *MASTER))
        for table in WHAT_HAPPENED:
            assert now[table] == bench.holds[table], f"{number}: {way.__name__}: {table}"
        changed = any(now[table] != bench.holds[table] for table in MASTER)
        changed_text = not changed and data != bench.good.main and every_row(bench.path) != bench.rows
        hit[f"{way.__name__}: {'catalogue' if changed else 'note' if changed_text else 'no row'} changed, unseen"] += 1
    return hit


def seen(path: Path) -> bool:
    """Whether the rules find the file damaged, or SQLite does on opening it."""
    try:
        refuse_other(path)
        with closing(sqlite3.connect(path)) as plain:
            return bool(damage(plain))
    except (sqlite3.Error, LedgerUnusable, UnicodeDecodeError):
        return True


def every_row(path: Path) -> str:
    with closing(sqlite3.connect(path)) as plain:
        plain.text_factory = bytes
        return repr([plain.execute(f"SELECT * FROM {table}").fetchall() for table in (*WHAT_HAPPENED, *MASTER)])


def test_damage_that_no_rule_sees_has_not_touched_what_happened(processes: ModuleType, firm: Path) -> None:
    hit = unseen(Bench(processes, firm, 0), 200, 3)
    assert sum(number for name, number in hit.items() if "catalogue" in name) < 10


@pytest.mark.long
def test_damage_that_no_rule_sees_has_not_touched_what_happened_in_thousands(
    processes: ModuleType, firm: Path, record_property: Callable[[str, object], None]
) -> None:
    for name, number in sorted(unseen(Bench(processes, firm, 0), 8000, 4).items()):
        record_property(name, number)
        print(f"{name}: {number}")


def test_an_empty_file_is_told_of_with_the_copy_to_go_back_to(processes: ModuleType, firm: Path) -> None:
    bench = Bench(processes, firm, 0)
    bench.lay(Pair(b""))
    answer = processes.command(firm, "fit", "J1", "SNS-1")
    assert answer.code == 1
    assert "empty" in answer.err
    assert str(bench.copy) in answer.err
    assert firm.read_bytes() == b""
    go_back(bench, "empty")


def test_a_good_ledger_with_a_journal_left_by_a_crash_is_simply_used(processes: ModuleType, firm: Path) -> None:
    bench = Bench(processes, firm, 1)
    for words in COMMANDS:
        bench.lay(bench.crashed[0])
        answer = processes.command(firm, *words)
        assert answer.code == 0, answer
        assert "lost-0-0" not in processes.entries_when_whole(firm)

"""Child processes and command lines for the tests of trust, and what a whole ledger must show.

A child is forked with everything imported, so that one costs milliseconds and thousands can be killed. Nobody
may have the ledger open in the parent meanwhile. Loaded by path from the conftest beside it.
"""

from __future__ import annotations

import io
import json
import os
import signal
import sqlite3
import sys
import traceback
import warnings
from collections.abc import Callable
from contextlib import closing, redirect_stderr, redirect_stdout
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from vanstock.cli.main import run
from vanstock.ledger.checking import check
from vanstock.ledger.file import open_ledger
from vanstock.routines.session import Session

Tell = Callable[[Any], None]
Action = Callable[[Tell], None]


class Child(NamedTuple):
    """A forked process and the reading end of the pipe through which it tells things."""

    pid: int
    pipe: int


class Answer(NamedTuple):
    """What a command line ended with and printed; `crash` is a traceback, if it came to that."""

    code: int
    out: str
    err: str
    crash: str = ""


def start(action: Action) -> Child:
    """Fork a child that does `action(tell)` and ends; whatever it raises is told too, as {"crash": ...}."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # newer Pythons warn of threads: numpy's are idle
        pid = os.fork()
    if pid:
        os.close(writing)
        return Child(pid, reading)
    try:
        os.close(reading)
        action(lambda thing: _write_all(writing, json.dumps(thing).encode() + b"\n"))
    except BaseException:
        _write_all(writing, json.dumps({"crash": traceback.format_exc()}).encode() + b"\n")
    finally:
        os._exit(0)


def _write_all(pipe: int, data: bytes) -> None:
    while data:
        data = data[os.write(pipe, data) :]


def first_told(child: Child) -> Any:
    """Wait for the first thing a child tells."""
    line = b""
    while not line.endswith(b"\n"):
        more = os.read(child.pipe, 1)
        if not more:
            raise AssertionError("the child ended without a word")
        line += more
    return json.loads(line)


def all_told(child: Child) -> list[Any]:
    """Everything a child tells until it ends; a line that it was killed in the middle of is no telling."""
    with os.fdopen(child.pipe, "rb") as pipe:
        lines = pipe.read().split(b"\n")[:-1]
    os.waitpid(child.pid, 0)
    told = [json.loads(line) for line in lines]
    crashes = [thing["crash"] for thing in told if isinstance(thing, dict) and "crash" in thing]
    assert not crashes, crashes[0]
    return told


def kill(child: Child) -> list[Any]:
    """SIGKILL a child at once; everything it had told by then."""
    os.kill(child.pid, signal.SIGKILL)
    return all_told(child)


def at_once(count: int, action: Callable[[Tell, int], None]) -> list[list[Any]]:
    """What each of so many children told that all did `action(tell, number)` at the same time."""
    waiting, go = os.pipe()

    def one(number: int) -> Action:
        def wait_and_do(tell: Tell) -> None:
            os.close(go)
            os.read(waiting, 1)
            action(tell, number)

        return wait_and_do

    children = [start(one(number)) for number in range(count)]
    os.close(waiting)
    os.close(go)
    return [all_told(child) for child in children]


def command(ledger: Path, *words: str, now: str = "2027-03-01T12:30") -> Answer:
    """Run the command line in this process, as the console script would."""
    out, err = io.StringIO(), io.StringIO()
    before, sys.argv = sys.argv, ["vanstock", "--ledger", str(ledger), "--now", now, *words]
    code, crash = 0, ""
    try:
        with redirect_stdout(out), redirect_stderr(err):
            run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:
        code, crash = 70, traceback.format_exc()
    finally:
        sys.argv = before
    return Answer(code, out.getvalue(), err.getvalue(), crash)


def session(path: Path, now: datetime = datetime(2027, 3, 1, 12, 0)) -> Session:
    """A sitting with a ledger; whoever asks for it closes `session.ledger`."""
    return Session(open_ledger(path, create=True), now, path)


def journal_of(path: Path) -> Path:
    """Where SQLite keeps what it needs to roll a file back."""
    return path.with_name(f"{path.name}-journal")


def hot(path: Path) -> bool:
    """Whether a journal lies there that was pushed to the disk: the ledger itself may be half-written."""
    try:
        return journal_of(path).read_bytes()[8:12] not in (b"", bytes(4))
    except FileNotFoundError:
        return False


_SUMS = (
    "SELECT part, place, sum(qty), sum(value) FROM ("
    " SELECT part, to_place AS place, qty, value FROM movement UNION ALL"
    " SELECT part, from_place, -qty, -value FROM movement UNION ALL"
    " SELECT part, place, 0, 0 FROM counted) GROUP BY part, place ORDER BY part, place"
)
_HALF = (
    "SELECT seq, kind FROM entry WHERE seq NOT IN (SELECT entry FROM seal)"
    " OR reverses IS NULL AND seq NOT IN (SELECT entry FROM movement UNION SELECT entry FROM counted"
    " UNION SELECT entry FROM missed UNION SELECT entry FROM booking)"
)


def entries_when_whole(path: Path) -> list[str]:
    """The ids of all entries in order, of a ledger that must open, be whole, and keep every rule."""
    with closing(open_ledger(path)) as ledger:
        assert ledger.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert ledger.execute(_HALF).fetchall() == []
        kept = ledger.execute("SELECT part, place, qty, value FROM balance ORDER BY part, place").fetchall()
        assert kept == ledger.execute(_SUMS).fetchall()
        assert [finding for finding in check(ledger) if finding.wrong] == []
        return [row[0] for row in ledger.execute("SELECT id FROM entry ORDER BY seq")]


def rows_of(path: Path, *queries: str) -> list[list[Any]]:
    """What a file holds, read by plain SQLite."""
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        return [plain.execute(query).fetchall() for query in queries]

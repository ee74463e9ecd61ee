"""Phones that post acts over a real line to `vanstock serve` while somebody logs at the terminal, and what must be true
of the ledger afterwards. Used by a test with few acts and by the benchmark with many."""

from __future__ import annotations

import os
import socket
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from functools import partial
from http.client import HTTPConnection
from pathlib import Path
from threading import Event
from typing import NamedTuple
from urllib.parse import urlencode

from vanstock.web.devices import Devices

ROOT = Path(__file__).parents[2]
NOW = "2027-03-01T07:30"


class Posted(NamedTuple):
    """What was done: the ids that each phone sent, how long each answer took in seconds, every answer that was no plain
    yes, and the runs of the command line beside that ended well and ill."""

    ids: tuple[str, ...]
    seconds: tuple[float, ...]
    errors: tuple[str, ...]
    written: int
    failed: tuple[str, ...]


def vanstock(ledger: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", NOW, *words]


@contextmanager
def serving(ledger: Path) -> Iterator[int]:
    """`vanstock serve` as a process of its own; its port."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = int(found.getsockname()[1])
    line = vanstock(ledger, "serve", "--host", "127.0.0.1", "--port", str(port))
    with ledger.with_suffix(".log").open("w") as log:
        server = subprocess.Popen(line, cwd=ROOT, stdout=log, stderr=log)
    try:
        deadline = time.monotonic() + 60
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                assert time.monotonic() < deadline, ledger.with_suffix(".log").read_text()
                time.sleep(0.05)
        yield port
    finally:
        server.terminate()
        server.wait(20)


def _phone(ledger: Path, port: int, acts: int, fields: dict[str, str], number: int) -> list[tuple[str, float, str]]:
    """Post so many acts as one phone: the id of each, how long its answer took, and what was wrong with it."""
    devices = Devices(ledger)
    token = devices.pair(devices.new_code(), f"phone {number}")
    home = f"http://127.0.0.1:{port}"
    headers = {
        "Origin": home, "Accept": "application/json", "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": f"vanstock_{port}={token}",
    }  # fmt: skip
    told = []
    with closing(HTTPConnection("127.0.0.1", port, timeout=60)) as line:
        for act in range(acts):
            entry = f"{number:08x}{act:024x}"
            begun = time.perf_counter()
            line.request("POST", "/act", urlencode({"act": "fit", "id": entry, **fields}), headers)
            answer = line.getresponse()
            text = answer.read().decode()
            took = time.perf_counter() - begun
            told.append((entry, took, "" if answer.status == 200 and '"done"' in text else f"{answer.status} {text}"))
    return told


def _terminal(ledger: Path, fields: dict[str, str], done: Event) -> tuple[int, list[str]]:
    """Log the same part at the terminal, one program after the other, until told to stop; at least once."""
    good, failed = 0, []
    while True:
        line = vanstock(ledger, "fit", fields["job"], fields["part"], fields["qty"])
        ended = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, check=False, env={**os.environ})
        good += ended.returncode == 0
        if ended.returncode:
            failed.append(ended.stderr)
        if done.is_set():
            return good, failed


def post_at_once(ledger: Path, port: int, *, phones: int, acts: int, fields: dict[str, str]) -> Posted:
    """Have so many phones post so many acts each, all at once, with a writer at the terminal beside them."""
    done = Event()
    with ThreadPoolExecutor(phones + 1) as pool:
        writer = pool.submit(_terminal, ledger, fields, done)
        try:
            each = list(pool.map(partial(_phone, ledger, port, acts, fields), range(phones)))
        finally:
            done.set()
        written, failed = writer.result()
    ids, seconds, errors = zip(*(one for phone in each for one in phone), strict=True)
    return Posted(ids, seconds, tuple(filter(None, errors)), written, tuple(failed))


def faults_after(ledger: Path, posted: Posted, fields: dict[str, str]) -> list[str]:
    """What is wrong with a ledger after that: each act is there once, each run of the terminal too, nothing else is,
    the amounts are theirs, and `vanstock check` finds nothing."""
    with closing(sqlite3.connect(ledger)) as connection:
        rows = connection.execute("SELECT id, device FROM entry WHERE kind = 'fitted'").fetchall()
        fitted = connection.execute(
            "SELECT total(qty) FROM movement WHERE part = ? AND job = ?", (fields["part"], fields["job"])
        ).fetchone()[0]
    from_phones = Counter(entry for entry, device in rows if device.startswith("phone "))
    from_terminal = sum(device == "terminal" for _, device in rows)
    checked = subprocess.run(vanstock(ledger, "check"), cwd=ROOT, capture_output=True, text=True, check=False)
    faults: list[tuple[bool, Callable[[], str]]] = [
        (bool(posted.errors), lambda: f"answers: {posted.errors[:3]}"),
        (bool(posted.failed), lambda: f"terminal: {posted.failed[:3]}"),
        (
            from_phones != Counter(posted.ids),
            lambda: f"{len(posted.ids)} acts, {from_phones.total()} entries of theirs",
        ),
        (from_terminal != posted.written, lambda: f"{posted.written} runs, {from_terminal} entries of the terminal"),
        (fitted != len(posted.ids) + posted.written, lambda: f"{fitted:g} fitted"),
        (checked.returncode != 0, lambda: f"check: {checked.stdout}{checked.stderr}"),
    ]
    return [words() for wrong, words in faults if wrong]

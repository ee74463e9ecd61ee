"""Looking whether a ledger's file changed takes no lock away, and sees every transaction and every other file.

That closing a handle takes a process's locks away is SQLite's warning (https://www.sqlite.org/howtocorrupt.html, 2.2).
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from tests.conftest import new_ledger
from vanstock.errors import LedgerUnusable
from vanstock.ledger import changed, restoring
from vanstock.ledger.changed import changes
from vanstock.ledger.copies import push_to_disk
from vanstock.ledger.file import writing

TRY_TO_WRITE = """
import sqlite3, sys
try:
    sqlite3.connect(sys.argv[1], timeout=0, isolation_level=None).execute("BEGIN IMMEDIATE")
except sqlite3.OperationalError as error:
    print(error)
else:
    print("written to")
"""


def another_program_says(path: Path) -> str:
    """What another process is told that begins to write."""
    tried = subprocess.run([sys.executable, "-c", TRY_TO_WRITE, str(path)], capture_output=True, text=True, check=True)
    return tried.stdout.strip()


def test_looking_in_the_middle_of_a_transaction_lets_no_other_program_write(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    with closing(new_ledger(path)) as ledger:
        for _ in range(2):
            with writing(ledger):
                ledger.execute("UPDATE family SET name = name || '.'")
                for _ in range(3):
                    changes(path)
                assert another_program_says(path) == "database is locked"
        changes(path)
        assert another_program_says(path) == "written to"


def test_each_transaction_and_each_other_file_is_another_state_and_nothing_else_is(tmp_path: Path) -> None:
    path, other = tmp_path / "ledger.db", tmp_path / "other.db"
    with closing(new_ledger(path)) as ledger, closing(new_ledger(other)):
        seen = [changes(path)]
        for _ in range(3):
            assert changes(path) == seen[-1]
            with writing(ledger):
                ledger.execute("UPDATE family SET name = name || '.'")
            seen.append(changes(path))
        assert len(set(seen)) == 4
        assert [one.transactions - seen[0].transactions for one in seen] == [0, 1, 2, 3]
    other.replace(path)
    assert changes(path) not in seen
    path.unlink()
    with pytest.raises(LedgerUnusable, match="no ledger"):
        changes(path)


def test_only_so_many_handles_are_kept_and_the_newest_file_is_still_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(changed, "MOST_OPEN", 3)
    monkeypatch.setattr(changed, "_HANDLES", {})
    paths = [tmp_path / f"{number}.db" for number in range(6)]
    for number, path in enumerate(paths):
        path.write_bytes(bytes(24) + number.to_bytes(4, "big"))
        assert changes(path).transactions == number
        assert len(changed._HANDLES) == min(number + 1, 3)
    assert [changes(path).transactions for path in paths] == list(range(6))


def test_a_ledger_set_aside_by_copying_stays_closed_to_writers_until_it_is_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, copy = tmp_path / "ledger.db", tmp_path / "copy.db"
    with closing(new_ledger(path)) as ledger, closing(sqlite3.connect(copy)) as target:
        ledger.backup(target)
    told: list[str] = []
    no_links = OSError("no links here")

    def pushed(pushed_path: Path) -> None:
        if "set-aside" in pushed_path.name:
            told.append(another_program_says(path))
        push_to_disk(pushed_path)

    def link(*_: object) -> None:
        raise no_links

    monkeypatch.setattr(os, "link", link)
    monkeypatch.setattr(restoring, "push_to_disk", pushed)
    aside = restoring.put_back(path, copy, datetime(2027, 3, 1, 12))
    assert told == ["database is locked"]
    assert aside is not None
    assert aside.exists()

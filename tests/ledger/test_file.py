"""Opening the ledger: where it is, making it, and every file that is not one."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from vanstock.errors import LedgerUnusable, NotFound
from vanstock.ledger import file
from vanstock.ledger.file import ledger_path, open_ledger, writing
from vanstock.ledger.schema import VERSION
from vanstock.routines.session import Session


def test_the_named_file_comes_before_the_variable_and_the_variable_before_the_data_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("VANSTOCK_LEDGER", str(tmp_path / "b.db"))
    assert ledger_path("a.db") == Path("a.db")
    assert ledger_path() == tmp_path / "b.db"
    monkeypatch.delenv("VANSTOCK_LEDGER")
    assert ledger_path().name == "ledger.db"
    assert "vanstock" in str(ledger_path())


def test_a_missing_ledger_is_not_made_unless_asked_for(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="vanstock import"):
        open_ledger(tmp_path / "none.db")
    assert not (tmp_path / "none.db").exists()


def test_only_the_usual_place_of_a_new_ledger_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "deep"))
    monkeypatch.delenv("VANSTOCK_LEDGER", raising=False)
    open_ledger(ledger_path(), create=True).close()
    assert ledger_path().exists()
    with pytest.raises(NotFound, match="plug in the stick"):
        open_ledger(tmp_path / "stick" / "ledger.db", create=True)
    assert not (tmp_path / "stick").exists()


def test_a_file_that_is_no_database_is_named_and_left_alone(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.db"
    sheet.write_bytes(b"PK\x03\x04" + b"x" * 4096)
    with pytest.raises(LedgerUnusable, match=r"sheet\.db is a spreadsheet or an archive, not a vanstock ledger"):
        open_ledger(sheet)
    assert sheet.read_bytes() == b"PK\x03\x04" + b"x" * 4096


def test_another_programs_database_is_named_and_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE song (name TEXT)")
    connection.close()
    before = other.read_bytes()
    with pytest.raises(LedgerUnusable, match="not a vanstock ledger"):
        open_ledger(other)
    assert other.read_bytes() == before


def test_a_ledger_from_a_newer_program_is_refused(session: Session) -> None:
    session.ledger.execute(f"PRAGMA user_version = {VERSION + 1}")
    with pytest.raises(LedgerUnusable, match="newer vanstock"):
        open_ledger(session.path)


def test_a_locked_ledger_is_told_in_plain_words(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(file, "BUSY_SECONDS", 0)
    other = open_ledger(session.path)
    with (
        writing(session.ledger),
        pytest.raises(LedgerUnusable, match="being written by another program"),
        writing(other),
    ):
        pass
    other.close()


def test_two_writers_in_turn_lose_nothing(new_session: Callable[..., Session]) -> None:
    from vanstock.ledger.entries import SUPPLIER, Draft, post
    from vanstock.ledger.valuing import Line

    one, two = new_session("shared"), new_session("shared")
    for turn in range(20):
        sender = (one, two)[turn % 2]
        post(sender.ledger, Draft(sender.now, "received", lines=(Line("SNS-1", 1, SUPPLIER, "van", 100),)))
    assert one.ledger.execute("SELECT qty, value FROM balance WHERE place = 'van'").fetchone() == (20, 2000)

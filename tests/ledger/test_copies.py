"""Copies are whole, dated, checked and thinned out; going back loses nothing unsaid and is one step."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from vanstock.errors import BadValue, LedgerLocked, LedgerUnusable, NotFound
from vanstock.ledger import copies, reading, restoring
from vanstock.ledger.checking import check
from vanstock.ledger.copies import Copy, to_remove
from vanstock.ledger.file import open_ledger
from vanstock.model import Job
from vanstock.routines import booking, job, settings, stock, trust
from vanstock.routines.session import Session, copy_wanted


@pytest.fixture
def busy(session: Session) -> Session:
    booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean", reference="C-1"))
    stock.receive(session, "SNS-1", "3", place="van")
    job.fit(session, "J1", "SNS-1")
    return session


def facts(connection: sqlite3.Connection) -> list[list[tuple[object, ...]]]:
    """Every row of every table but the migrations' own."""
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '\\_%' ESCAPE '\\' ORDER BY name"
    ).fetchall()
    return [sorted(connection.execute(f"SELECT * FROM {name}").fetchall(), key=repr) for (name,) in tables]


def at(session: Session, moment: datetime) -> Session:
    return session._replace(now=moment)


def test_a_copy_has_a_dated_name_and_everything_in_it(busy: Session) -> None:
    made = trust.backup(busy)
    assert made.file == busy.path.parent / "ledger.db-copies" / "ledger-2027-03-01T120000.db"
    assert made.entries == 3
    with closing(sqlite3.connect(made.file)) as copy:
        assert facts(copy) == facts(busy.ledger)
        assert [finding for finding in check(copy) if finding.wrong] == []
    assert trust.backup(busy).file.name == "ledger-2027-03-01T120000-2.db"
    assert sorted(file.name for file in made.file.parent.iterdir()) == [
        "ledger-2027-03-01T120000-2.db", "ledger-2027-03-01T120000.db",
    ]  # fmt: skip


def test_a_damaged_ledger_is_not_copied_over_the_good_copies(busy: Session) -> None:
    trust.backup(busy)
    busy.ledger.execute("UPDATE balance SET qty = qty + 1")
    with pytest.raises(LedgerUnusable, match="damaged"):
        trust.backup(busy)
    assert len(list((busy.path.parent / "ledger.db-copies").iterdir())) == 1


def test_the_last_n_and_one_a_week_and_one_a_month_are_kept() -> None:
    begin = datetime(2025, 1, 1, 7)
    daily = [Copy(Path(f"{number}"), begin + timedelta(days=number)) for number in range(800)]
    gone = set(to_remove(daily, 10))
    kept = [copy for copy in daily if copy not in gone]
    assert kept[-10:] == daily[-10:]
    assert {(c.at.year, c.at.month) for c in kept} == {(c.at.year, c.at.month) for c in daily}
    year = [copy.at.isocalendar()[:2] for copy in daily[-364:]]
    assert set(year) <= {copy.at.isocalendar()[:2] for copy in kept}
    assert len(kept) <= 10 + 53 + 27
    assert to_remove(daily[:5], 10) == []


def test_thinning_out_leaves_other_files_other_ledgers_and_the_newest_alone(
    busy: Session, new_session: Callable[..., Session], tmp_path: Path
) -> None:
    settings.change_setting(busy, "backups_kept", "1")
    folder = tmp_path / "stick"
    folder.mkdir()
    elsewhere = tmp_path / "other"
    elsewhere.mkdir()
    other = new_session("other/ledger")
    stock.receive(other, "SNS-1", "3", place="van")
    theirs = trust.backup(at(other, datetime(2027, 3, 1, 8)), folder).file
    (folder / "ledger-notes.txt").write_text("mine")
    first = trust.backup(at(busy, datetime(2027, 3, 1, 8, 30)), folder).file
    second = trust.backup(at(busy, datetime(2027, 3, 1, 9)), folder)
    assert second.removed == (first,)
    assert sorted(folder.iterdir()) == sorted([theirs, second.file, folder / "ledger-notes.txt"])


def test_the_days_copy_is_due_right_after_the_days_first_entry_and_as_the_firm_set(busy: Session) -> None:
    assert copy_wanted(busy) == ""
    tuesday = at(busy, datetime(2027, 3, 2, 7))
    assert copy_wanted(tuesday) == ""
    job.fit(tuesday, "J1", "SNS-1")
    assert copy_wanted(tuesday) == "offer"
    settings.change_setting(busy, "daily_backup", "always")
    assert copy_wanted(tuesday) == "always"
    settings.change_setting(busy, "daily_backup", "never")
    assert copy_wanted(tuesday) == ""
    with pytest.raises(BadValue, match="offer, always, never"):
        settings.change_setting(busy, "daily_backup", "sometimes")


def test_going_back_says_what_would_be_lost_and_keeps_the_present_aside(busy: Session) -> None:
    copy = trust.backup(busy).file
    later = at(busy, datetime(2027, 3, 1, 15))
    job.fit(later, "J1", "GKT-1")
    job.finish(later, "J1")
    loss = trust.what_would_be_lost(str(busy.path), copy)
    assert loss.lost
    assert [past.entry.kind for past in loss.lost.entries] == ["finished", "fitted"]
    assert (loss.entries, loss.newest[:16]) == (3, "2027-03-01T12:00")
    before = busy.path.read_bytes()
    busy.ledger.close()
    done = trust.restore(str(busy.path), copy, later.now)
    assert done.aside == busy.path.with_name("ledger-set-aside-2027-03-01T150000.db")
    assert done.aside.read_bytes() == before
    with closing(open_ledger(busy.path)) as ledger:
        assert len(reading.entries_about(ledger)) == 3


def test_whoever_had_the_old_file_open_writes_no_more_to_it(busy: Session, new_session: Callable[..., Session]) -> None:
    copy = trust.backup(busy).file
    other = new_session()
    trust.restore(str(busy.path), copy, busy.now)
    with pytest.raises(LedgerUnusable, match="replaced while it was open"):
        job.fit(other, "J1", "GKT-1")


def test_a_copy_that_is_damaged_or_missing_or_the_ledger_itself_is_not_put_back(busy: Session, tmp_path: Path) -> None:
    copy = trust.backup(busy).file
    with copy.open("r+b") as file:
        file.truncate(copy.stat().st_size // 2)
    for wrong, error in ((copy, LedgerUnusable), (tmp_path / "none.db", NotFound), (busy.path, BadValue)):
        with pytest.raises(error):
            trust.what_would_be_lost(str(busy.path), wrong)
    before = busy.path.read_bytes()
    with pytest.raises(LedgerUnusable):
        trust.restore(str(busy.path), copy, busy.now)
    assert busy.path.read_bytes() == before
    assert not list(busy.path.parent.glob("*set-aside*"))


def test_a_ledger_too_damaged_to_read_is_replaced_and_its_journal_does_not_spoil_the_copy(busy: Session) -> None:
    copy = trust.backup(busy).file
    busy.ledger.close()
    busy.path.write_bytes(os.urandom(5000))
    journal = busy.path.with_name("ledger.db-journal")
    journal.write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + os.urandom(3000))
    assert trust.what_would_be_lost(str(busy.path), copy).lost is None
    aside = trust.restore(str(busy.path), copy, busy.now).aside
    assert aside
    assert not journal.exists()
    with closing(open_ledger(busy.path)) as ledger:
        assert [finding for finding in check(ledger) if finding.wrong] == []
        assert len(reading.entries_about(ledger)) == 3


def test_the_ledger_as_it_was_holds_the_entries_up_to_and_with_the_moment(busy: Session, tmp_path: Path) -> None:
    wanted = facts(busy.ledger)
    copied = reading.balances(busy.ledger)
    later = at(busy, datetime(2027, 3, 1, 12, 1))
    job.fit(later, "J1", "GKT-1")
    job.undo(later)
    made = trust.as_it_was(str(busy.path), trust.read_moment("2027-03-01 12:00"), tmp_path / "then.db")
    assert (made.entries, made.of) == (3, 5)
    with closing(open_ledger(made.file)) as then:
        assert facts(then) == wanted
        assert reading.balances(then) == copied
    everything = trust.as_it_was(str(busy.path), trust.read_moment("2027-03-01"), None)
    assert everything.file == busy.path.with_name("ledger-as-it-was-2027-03-01T2359.db")
    with closing(open_ledger(everything.file)) as now:
        assert facts(now) == facts(busy.ledger)
    assert not [file for file in tmp_path.iterdir() if file.name.endswith((".part", ".left")) and "then" in file.name]


def test_the_ledger_as_it_was_never_overwrites_and_says_what_a_moment_is(busy: Session, tmp_path: Path) -> None:
    (tmp_path / "there.db").write_text("mine")
    with pytest.raises(LedgerUnusable, match="exists already"):
        trust.as_it_was(str(busy.path), busy.now, tmp_path / "there.db")
    with pytest.raises(BadValue, match="2027-03-02T12:00"):
        trust.read_moment("yesterday noon")
    with pytest.raises(BadValue):
        trust.read_moment("2027-03-02T25:00")


def test_names_of_copies_are_read_back_oldest_first_and_strangers_are_not(tmp_path: Path) -> None:
    for name in (
        "a-2027-03-02T070000", "a-2027-03-01T070000-2", "a-2027-03-01T070000", "b-2027-03-01T070000",
        "a-2027-99-01T070000", "a-version-1-2027-03-01T070000",
    ):  # fmt: skip
        (tmp_path / f"{name}.db").touch()
    assert [copy.file.name for copy in copies.copies_in(tmp_path, Path("a.db"))] == [
        "a-2027-03-01T070000.db", "a-2027-03-01T070000-2.db", "a-2027-03-02T070000.db",
    ]  # fmt: skip
    assert copies.copies_in(tmp_path / "none", Path("a.db")) == []
    assert restoring.would_be_lost(tmp_path / "none.db", tmp_path / "x", 20) == restoring.Lost(0, (), {})


def test_what_a_copy_cut_short_left_behind_is_swept_away_after_a_day(busy: Session) -> None:
    folder = busy.path.parent / "ledger.db-copies"
    folder.mkdir()
    old, new = folder / ".ledger-2027-02-01T070000.db.77.part", folder / ".ledger-2027-03-01T070000.db.78.part"
    for left in (old, new):
        left.touch()
    os.utime(old, (0, 0))
    trust.backup(busy)
    assert (old.exists(), new.exists()) == (False, True)


def test_a_copy_made_by_a_clock_set_back_is_not_thinned_out_at_once(busy: Session) -> None:
    settings.change_setting(busy, "backups_kept", "2")
    for hour in (10, 11, 12):
        trust.backup(at(busy, datetime(2027, 3, 1, hour)))
    made = trust.backup(at(busy, datetime(2027, 3, 1, 9)))
    assert made.file.exists()


def test_going_back_says_that_settings_and_pins_would_go_back_too(busy: Session) -> None:
    copy = trust.backup(busy).file
    settings.change_setting(busy, "target", "0.9")
    loss = trust.what_would_be_lost(str(busy.path), copy)
    assert loss.lost
    assert (loss.lost.total, loss.lost.tables) == (0, ("setting",))


def test_a_ledger_that_is_only_locked_is_not_replaced_unseen(busy: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    copy = trust.backup(busy).file
    monkeypatch.setattr("vanstock.ledger.copies.BUSY_SECONDS", 0.1)
    with closing(sqlite3.connect(busy.path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(LedgerLocked):
            trust.what_would_be_lost(str(busy.path), copy)


def test_a_part_logged_before_its_job_by_a_wrong_clock_is_left_out_with_it(busy: Session, tmp_path: Path) -> None:
    later, before = at(busy, datetime(2027, 3, 5, 8)), at(busy, datetime(2027, 3, 2, 8))
    booking.add_booking(later, Job("J9", later.today, "08:00", "AAA", "clean"))
    job.fit(before, "J9", "SNS-1")
    made = trust.as_it_was(str(busy.path), trust.read_moment("2027-03-03"), tmp_path / "then.db")
    assert (made.entries, made.of) == (3, 5)


def test_what_was_forgotten_is_forgotten_in_the_ledger_as_it_was_before(busy: Session, tmp_path: Path) -> None:
    later = at(busy, datetime(2027, 3, 2, 8))
    trust.forget(later, "C-1")
    made = trust.as_it_was(str(busy.path), trust.read_moment("2027-03-01"), tmp_path / "then.db")
    with closing(open_ledger(made.file)) as then:
        assert then.execute("SELECT job FROM forgotten").fetchall() == [("J1",)]
        assert [finding for finding in check(then) if finding.wrong] == []


def test_copies_of_a_linked_ledger_lie_beside_the_ledger_itself(busy: Session, tmp_path: Path) -> None:
    (tmp_path / "links").mkdir()
    link = tmp_path / "links" / "mine.db"
    link.symlink_to(busy.path)
    assert copies.usual_folder(link) == copies.usual_folder(busy.path)
    settings.change_setting(busy, "backup_folder", "elsewhere")
    assert trust.backup_folder(busy) == busy.path.parent / "elsewhere"

"""`backup`, `restore`, `check`, `forget` and the day's copy as a person meets them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import at_a_terminal, typed_at_a_terminal

Run = Callable[..., Any]
MORNING, EVENING, TUESDAY = "2027-03-01T06:40", "2027-03-01T18:00", "2027-03-02T07:00"


def test_a_copy_made_in_the_evening_brings_back_the_evening(vanstock: Run, tmp_path: Path) -> None:
    said = vanstock("backup", now=EVENING)
    assert (said.code, said.err) == (0, "")
    (copy,) = tmp_path.glob("*-copies/*.db")
    assert str(copy) in said.out
    vanstock("fit J0783 HC-UNI-412-A 2", now=TUESDAY)
    refused = vanstock(f"restore {copy}", now=TUESDAY)
    assert refused.code == 1
    assert "1 entry would be lost:" in refused.out
    assert "2 x HC-UNI-412-A van -> customer" in refused.out
    assert refused.err.startswith("vanstock: nothing was changed: say --yes")
    done = vanstock(f"restore {copy} --yes", now=TUESDAY)
    assert done.code == 0
    assert "kept beside it as" in done.out
    assert vanstock(f"restore {copy} --yes", now=TUESDAY).out.count("nothing would be lost") == 1


def test_the_copies_there_are_are_listed_newest_first(vanstock: Run) -> None:
    assert "no copies yet" in vanstock("restore").out
    vanstock("backup", now=MORNING)
    vanstock("backup", now=EVENING)
    rows = [line for line in vanstock("restore").out.splitlines() if line.startswith("Mon 2027-03-01")]
    assert [row[15:20] for row in rows] == ["18:00", "06:40"]


def test_check_says_every_rule_and_ends_1_when_one_is_broken(vanstock: Run, tmp_path: Path) -> None:
    import sqlite3

    good = vanstock("check")
    assert good.code == 0
    assert good.out.rstrip().endswith("rules hold")
    raw = sqlite3.connect(tmp_path / "firm.db", isolation_level=None)
    raw.execute("UPDATE balance SET qty = qty + 1 WHERE part = 'HC-UNI-412-A' AND place = 'van'")
    raw.close()
    bad = vanstock("check")
    assert bad.code == 1
    assert "BROKEN  every balance and value is the sum of its movements" in bad.out
    assert "HC-UNI-412-A at van" in bad.out
    document = json.loads(vanstock("check --json").out)
    assert document["ok"] is False
    assert sum(not rule["ok"] for rule in document["rules"]) == 2
    refused = vanstock("fit J0783 HC-UNI-412-A")
    assert refused.code == 1
    assert "is damaged" in refused.err
    assert "vanstock restore" in refused.err


def test_forgetting_wants_a_yes_and_says_where_the_reference_was(vanstock: Run, tmp_path: Path) -> None:
    asked = vanstock("forget B-1762")
    assert asked.code == 1
    assert "1 job and 0 notes would be blanked for good: say --yes" in asked.err
    assert vanstock("forget nobody --yes").code == 1
    vanstock("backup")
    done = vanstock("forget B-1762 --yes")
    assert done.code == 0
    assert "1 copy in" in done.err
    assert b"B-1762" not in (tmp_path / "firm.db").read_bytes()


def test_the_first_entry_of_a_day_offers_the_days_copy_and_the_second_does_not(vanstock: Run, tmp_path: Path) -> None:
    assert "makes the day's copy" in vanstock("fit J0783 HC-UNI-412-A", now=MORNING).err
    assert vanstock("fit J0783 HC-UNI-412-A", now=MORNING).err == ""
    assert "copy written and checked" in vanstock("setting daily_backup always", now=MORNING).err
    assert "copy written and checked" in vanstock("fit J0783 HC-UNI-412-A", now=TUESDAY).err
    assert vanstock("fit J0783 HC-UNI-412-A", now=TUESDAY).err == ""
    assert len(list(tmp_path.glob("*-copies/*.db"))) == 2
    vanstock("setting daily_backup never")
    assert vanstock("fit J0783 HC-UNI-412-A", now="2027-03-03T08:00").err == ""
    assert vanstock("setting daily_backup sometimes").code == 1


def test_a_copy_that_cannot_be_made_does_not_undo_the_entry(vanstock: Run, tmp_path: Path) -> None:
    vanstock("setting daily_backup always")
    vanstock(f"setting backup_folder {tmp_path / 'gone' / 'stick'}")
    said = vanstock("fit J0783 HC-UNI-412-A", now=MORNING)
    assert said.code == 0
    assert "fitted on J0783" in said.out
    assert "no copy was made" in said.err
    assert vanstock("check").code == 0


@at_a_terminal
@pytest.mark.parametrize(("answer", "copies"), [("\n", 1), ("n\n", 0)])
def test_a_person_at_a_terminal_is_asked_and_return_means_yes(
    imported: Path, tmp_path: Path, answer: str, copies: int
) -> None:
    ledger = tmp_path / "firm.db"
    ledger.write_bytes(imported.read_bytes())
    words = ["--ledger", str(ledger), "--now", MORNING, "fit", "J0783", "HC-UNI-412-A"]
    assert typed_at_a_terminal(words, answer)[0] == 0
    assert len(list(tmp_path.glob("*-copies/*.db"))) == copies


def test_until_belongs_to_a_new_file(vanstock: Run, tmp_path: Path) -> None:
    vanstock("fit J0783 HC-UNI-412-A", now=EVENING)
    said = vanstock(f"restore --until 2027-03-01T12:00 --to {tmp_path / 'noon.db'}")
    assert said.code == 0
    assert "(1 of 2 entries)" in said.out
    assert vanstock(f"restore --to {tmp_path / 'noon.db'}").code == 1
    assert vanstock("restore --until yesterday").code == 1


def test_a_copy_of_another_ledger_is_called_that(vanstock: Run, tmp_path: Path) -> None:
    from vanstock.ledger import catalogue
    from vanstock.ledger.entries import Counted, Draft, post
    from vanstock.ledger.file import open_ledger, writing
    from vanstock.model import Part

    other = open_ledger(tmp_path / "other.db", create=True)
    with writing(other):
        catalogue.save_rows(other, Part, [Part("P", "p", "p")])
    post(other, Draft(datetime(2027, 3, 1, 8), "counted", counted=(Counted("P", "van", 1),)))
    other.close()
    said = vanstock(f"restore {tmp_path / 'other.db'}")
    assert said.code == 1
    assert "CAREFUL: it is a copy of another ledger" in said.out


def test_a_copy_into_a_folder_that_was_not_there_says_so_once(vanstock: Run, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    assert f"note: {stick} was not there and was made" in vanstock(f"backup {stick}", now=MORNING).err
    assert vanstock(f"backup {stick}", now=EVENING).err == ""

"""Calendar files as a person brings them in: what is told, within 80 columns, and what is refused."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.routines.calendars import calendar, event
from vanstock.routines import calendarin

Run = Callable[..., Any]


@pytest.fixture
def phone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A phone's file in the folder in which the commands run: a job, a series, a half-named job, a lunch."""
    monkeypatch.chdir(tmp_path)
    return calendar(
        tmp_path / "phone.ics",
        event("a", ":20270311T090000", "KRA limp mode P20CB"),
        event("b", ":20270312T083000", "Lunthorpe Wharfer 2.2, clean", "RRULE:FREQ=WEEKLY;COUNT=2"),
        event("c", ":20270315T100000", "Tavelmar Ribo 1.5, light on, P2463"),
        event("d", ":20270315T123000", "Lunch"),
    )


def narrow(text: str) -> bool:
    return all(len(line) <= 80 for line in text.splitlines())


def test_an_import_says_what_it_did_what_to_settle_and_how_to_take_it_back(vanstock: Run, phone: Path) -> None:
    assert vanstock('booking words "limp mode" --job-type heat-source').code == 0
    looked = vanstock("booking import phone.ics --look")
    assert "would be booked J0797: Thu 2027-03-11 09:00, KRA heat-source P20CB, van" in looked.out
    assert "undo" not in looked.out
    said = vanstock("booking import phone.ics")
    assert (said.code, narrow(said.out)) == (0, True)
    assert said.out.splitlines()[:2] == [
        "phone.ics, 2027-02-22 to 2027-06-29: 3 booked, 1 no job, left alone",
        "booked J0797: Thu 2027-03-11 09:00, KRA heat-source P20CB, van",
    ]
    assert "  vanstock booking add TAV TYPE --date 2027-03-15 --time 10:00 --codes P2463" in said.out
    assert said.out.rstrip().endswith("vanstock undo takes all of it back")
    again = vanstock("booking import phone.ics")
    assert again.out.startswith("phone.ics, 2027-02-22 to 2027-06-29: 3 as before, 1 no job, left alone\n")
    assert vanstock("undo").code == 0
    assert "J0797" not in vanstock("booking list --from 2027-03-10 --to 2027-04-01").out


def test_an_import_as_json_has_its_acts_and_what_to_settle(vanstock: Run, phone: Path) -> None:
    found = json.loads(vanstock("booking import phone.ics --json").out)
    assert [(act["what"], act["job"], act["family"]) for act in found["acts"]] == [
        ("booked", "J0797", "LUN"), ("booked", "J0798", "LUN"),
    ]  # fmt: skip
    assert [bool(one["command"]) for one in found["look"]] == [True, True]


def test_an_event_that_is_half_understood_says_how_its_words_are_taught(vanstock: Run, phone: Path) -> None:
    said = " ".join(vanstock("booking import phone.ics --look").out.split())
    assert "`vanstock booking words PHRASE` with --family FAMILY, --job-type TYPE or --not-a-job teaches" in said
    for words in ('"limp mode" --job-type heat-source', '"light on" --job-type clean', '"fen lane" --nothing'):
        assert vanstock(f"booking words {words}").code == 0
    assert "teaches" not in vanstock("booking import phone.ics --look").out


def test_counts_of_an_import_are_in_its_json(vanstock: Run, phone: Path) -> None:
    found = json.loads(vanstock("booking import phone.ics --json").out)
    assert (found["no_jobs"], found["same"], found["past"], bool(found["entry"])) == (1, 0, 0, True)


def test_words_are_listed_with_who_made_them(vanstock: Run) -> None:
    assert vanstock('booking words "Fen Lane" --nothing').code == 0
    found = json.loads(vanstock("booking words --json").out)["words"]
    assert found[0] == {"phrase": "fen lane", "means": "nothing", "value": "", "by_hand": True}
    assert {"phrase": "heat source", "means": "job type", "value": "heat-source", "by_hand": False} in found
    assert vanstock('booking words "fen lane" --forget').code == 0
    assert not any(one["by_hand"] for one in json.loads(vanstock("booking words --json").out)["words"])


def test_an_export_says_what_is_in_it_that_others_may_see(vanstock: Run, phone: Path) -> None:
    vanstock("booking import phone.ics")
    said = vanstock("booking export --file out.ics --date 2027-03-09 --days 5")
    assert said.out == "wrote out.ics: 2 jobs from 2027-03-09 to 2027-03-13\n"
    assert "1 of them names your reference" in said.err
    assert "1 of them came from a calendar" in said.err
    back = vanstock("booking import out.ics")
    assert back.out.startswith("out.ics, 2027-02-22 to 2027-06-29: 2 as before\n")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("booking import", "name one calendar file, or --watch and a folder"),
        ("booking import phone.ics --watch .", "name one calendar file, or --watch and a folder"),
        ("booking import --watch . --look", "--watch goes without --look"),
        ("booking import --watch phone.ics", "is no folder"), ("booking import none.ics", "is no file"),
        ("booking import phone.ics --from tomorrow", "cannot be read"), ("booking words x", "give a phrase and one of"),
        ("booking words --nothing", "give a phrase and one of"), ("booking words x --family KRA --forget", "one of"),
        ("booking export --file firm.db", "does not end in .ics"), ("booking export --days 0", "name 1 to 62"),
        ("setting time_zone Nowhere/Town", "is no time zone"), ("setting time_zone Europe", "is no time zone"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_told_in_one_line(vanstock: Run, phone: Path, line: str, says: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out, said.err.count("\n")) == (1, "", 1)
    assert says in said.err


def test_a_watch_brings_in_each_file_and_outlives_a_broken_one(
    vanstock: Run, phone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wait between two looks is where the person acts: a broken file comes, then Ctrl-C."""
    looks = iter(range(4))

    def person(_: float) -> None:
        turn = next(looks)
        if turn == 1:
            Path("broken.ics").write_text("no calendar", encoding="utf-8")
        elif turn == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr(time, "sleep", person)
    said = vanstock("booking import --watch .")
    assert said.code == 0
    assert said.out.count("phone.ics, 2027-02-22") == 1
    assert said.out.startswith("watching . for calendar files; Ctrl-C ends\n")
    assert said.out.endswith("no longer watching\n")
    assert said.err.count("broken.ics is no calendar file") == 1
    assert sorted(path.name for path in Path().glob("*.ics")) == ["broken.ics", "phone.ics"]
    assert calendarin.KIND in vanstock("history J0797").out

"""What a ledger holds never steers a terminal: no escape, control or direction character gets out of it.

The data here could not come in through an import; it is written into the ledger directly, as another program might.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import at_a_terminal, typed_at_a_terminal
from vanstock.cli import show
from vanstock.ledger import catalogue
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, post
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.valuing import Line
from vanstock.model import Family, Fits, GoesWith, Job, Part, Place, Supplier, Usual

Run = Callable[..., Any]
EVIL = "\x1b]0;owned\x07\x1b[2J\x9b3J\u202elive\u2066\x7f\x00\u2028\x85\r\nFAKE\tline"
"""A terminal title, a cleared screen, an 8-bit escape, overrides of direction, DEL, NUL, line breaks of all kinds."""
RICHS_OWN = re.compile(r"\x1b\[(\?25[lh]|[0-9;]*[mKA])|\r+(?=\n|\x1b\[)")
"""Colours, and what moves the bar of a long work: rich's own, not in `EVIL`; and a terminal's line ends."""

READING = (
    "loadout", "stock", "stock vaporiser", "stock --place store", "history", "history J1", "history P1", "reorder",
    "forecast", "forecast P1", "forecast P1 --why", "minmax", "minmax P1", "minmax P1 --past", "minmax P1 --why",
    "curve", "booking list", "place list", "setting", "check",
)  # fmt: skip
WITH_JSON = (
    "loadout", "stock", "history", "reorder", "forecast", "forecast P1 --why", "minmax", "minmax P1 --past",
    "minmax P1 --why", "curve", "booking list", "place list", "setting", "check",
)  # fmt: skip
WRITING = (
    "load --all", "load P1 1", "fit J1 P1 --with", "fit J1 P1", "missed J1 P1", "finish J1 --used P2=9", "undo",
    "count P1 3", "received P1 2", "booking move J1 --date 2027-03-03", "booking cancel J1",
    "minmax P1 --min 1 --max 2", "backup",
)  # fmt: skip
MISTAKEN = (
    "stock nothing",
    "fit J1 vaporiser",
    "fit J9 P1",
    "fit J1 P1 --from attic",
    "booking add ZZZ clean --date 2027-03-02",
)


@pytest.fixture(scope="module")
def evil_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger every text of which holds what no terminal should get."""
    path = tmp_path_factory.mktemp("evil") / "evil.db"
    ledger = open_ledger(path, create=True)
    now = datetime(2027, 3, 1, 6, 0)
    with writing(ledger):
        fill_catalogue(ledger)
        goods = tuple(Line(part, 5, SUPPLIER, place, 900) for part in ("P1", "P2") for place in ("van", "store", EVIL))
        post(ledger, Draft(at=now, kind="received", lines=goods, note=EVIL, device=EVIL))
        jobs = [Job(f"J{n}", date(2027, 3, 1), "08:00", "F1", "clean", (EVIL,), reference=EVIL) for n in (1, 2)]
        past = [Job(f"K{n}", date(2027, 2, n), "", "F1", EVIL, (), "done", reference=EVIL) for n in range(1, 20)]
        post(ledger, Draft(at=now, kind="booked", bookings=(*jobs, *past), note=EVIL))
        used = tuple(Line("P1", 1, "van", CUSTOMER, job=job.job) for job in past)
        post(ledger, Draft(at=now, kind="fitted", lines=used, missed=(Missed("K1", "P2", 1),), note=EVIL))
        post(ledger, Draft(at=now, kind="counted", counted=(Counted("P1", EVIL, 1),), note=EVIL))
        catalogue.save_setting(ledger, "currency", EVIL)
    ledger.close()
    return path


def fill_catalogue(ledger: Any) -> None:
    catalogue.add_place(ledger, Place(EVIL, "store"))
    catalogue.save_rows(ledger, Supplier, [Supplier("S" + EVIL, EVIL, 2, "Mon-Fri", "17:00", email=EVIL)])
    catalogue.save_rows(ledger, Family, [Family("F1", EVIL), Family(EVIL, EVIL)])
    parts = [
        Part(name, f"vaporiser {EVIL}", f"{name} {EVIL}", "C62", 10_000, 1, "S" + EVIL, EVIL, hazard=EVIL, gtin=EVIL)
        for name in ("P1", "P2", f"P3{EVIL}")
    ]
    catalogue.save_rows(ledger, Part, parts)
    catalogue.save_rows(ledger, Fits, [Fits("F1", part.part) for part in parts])
    catalogue.save_rows(ledger, GoesWith, [GoesWith("P1", part.part, 1) for part in parts[1:]])
    usual = [Usual("clean", "*", part.component, 0.9, 1, 8) for part in parts]
    catalogue.save_rows(ledger, Usual, usual)


def assert_safe(*printed: str) -> None:
    for text in printed:
        odd = {c for c in text if not c.isprintable() and c != "\n"}
        assert not odd, ascii(text)
        assert not any(line.startswith("FAKE") for line in text.split("\n")), ascii(text)


@pytest.fixture
def copy(evil_ledger: Path, tmp_path: Path) -> Path:
    path = tmp_path / "evil.db"
    path.write_bytes(evil_ledger.read_bytes())
    return path


@pytest.mark.parametrize("line", READING)
def test_no_command_lets_data_steer_a_pipe(vanstock: Run, copy: Path, line: str) -> None:
    said = vanstock(line, ledger=copy)
    assert said.code == 0 or line == "check"
    assert_safe(said.out, said.err)


@pytest.mark.parametrize("line", WITH_JSON)
def test_json_escapes_what_does_not_print_and_reads_back_the_same(vanstock: Run, copy: Path, line: str) -> None:
    said = vanstock(f"{line} --json", ledger=copy)
    assert_safe(said.out, said.err)
    document = json.loads(said.out)
    if line in ("stock", "history", "reorder", "booking list", "place list"):
        assert any(EVIL in text for text in texts_in(document))


def texts_in(document: Any) -> list[str]:
    """Every text in a JSON document, keys too."""
    if isinstance(document, dict):
        return [*document, *(text for value in document.values() for text in texts_in(value))]
    if isinstance(document, list):
        return [text for value in document for text in texts_in(value)]
    return [document] if isinstance(document, str) else []


@pytest.mark.parametrize("line", WRITING)
def test_what_was_recorded_is_said_without_it(vanstock: Run, copy: Path, line: str) -> None:
    said = vanstock(line, ledger=copy)
    assert said.code == 0, said.err
    assert_safe(said.out, said.err)


@pytest.mark.parametrize("line", MISTAKEN)
def test_a_mistake_is_one_line_whatever_the_ledger_holds(vanstock: Run, copy: Path, line: str) -> None:
    said = vanstock(line, ledger=copy)
    assert (said.code, said.out) == (1, "")
    assert_safe(said.err)
    assert said.err.count("\n") == 1


@at_a_terminal
@pytest.mark.parametrize("line", ["loadout", "stock", "history", "reorder", "booking list", "fit J1 P1 --with"])
def test_no_command_lets_data_steer_a_terminal(copy: Path, line: str) -> None:
    words = ["--ledger", str(copy), "--now", "2027-03-01T06:40", *line.split()]
    code, printed = typed_at_a_terminal(words, COLUMNS="100")
    shown = RICHS_OWN.sub("", printed)
    assert code == 0
    assert "P1" in shown or "J1" in shown
    assert_safe(shown)


@pytest.mark.parametrize("text", [EVIL, "\ud800", "\U000e0041", "\x7f", "plain", "naïve ½ 数", "\xa0"], ids=ascii)
def test_json_of_any_text_reads_back_the_same(capsys: pytest.CaptureFixture[str], text: str) -> None:
    show.as_json({"text": text, text: [text]})
    printed = capsys.readouterr().out
    assert_safe(printed)
    assert json.loads(printed) == {"text": text, text: [text]}


def test_letters_of_every_script_are_printed_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    show.say("naïve ½ 数 ж\xa0é")
    show.as_json(["naïve ½ 数 ж é"])
    assert capsys.readouterr().out == 'naïve ½ 数 ж é\n[\n "naïve ½ 数 ж é"\n]\n'


def test_a_picture_holds_nothing_that_is_no_text(vanstock: Run, copy: Path, tmp_path: Path) -> None:
    from xml.etree import ElementTree

    said = vanstock(f"forecast P1 --chart {tmp_path / 'a.svg'}", ledger=copy)
    assert (said.code, said.err) == (0, "")
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert_safe(text)
    ElementTree.fromstring(text)
    assert vanstock(f"forecast P1 --chart {tmp_path / 'a.png'}", ledger=copy).code == 0

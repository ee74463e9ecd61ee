"""Whatever words a command line holds, it ends 0, 1 or 2, without a traceback, and prints nothing but text."""

from __future__ import annotations

import io
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import strategies as st

from vanstock.cli.main import HOMES, run
from vanstock.model import Job
from vanstock.routines import job, stock
from vanstock.routines.booking import add_booking
from vanstock.routines.session import Session

Fuzz = Callable[[str, Callable[..., None], st.SearchStrategy[Any]], None]

COMMANDS = tuple(command for commands in HOMES.values() for command in commands if command != "serve")  # never ends
PLAIN = (
    *(
        "add",
        "list",
        "move",
        "cancel",
        "J1",
        "J2",
        "j1",
        "J0001",
        "AAA",
        "BBB",
        "clean",
        "heat-source",
        "van",
        "store",
        "Van",
    ),
    *(
        "GKT-1",
        "gasket",
        "vaporiser",
        "cleaning fluid",
        "HOS-1",
        "GLV-1",
        "9520000000356",
        "VAP-1",
        "gaskt",
        "hose 8 mm",
    ),
    *(
        "1",
        "2.5L",
        "600mm",
        "1pack",
        "0",
        "-1",
        "0.3",
        "999999999",
        "GKT-1=2",
        "FLU-1=2.5",
        "=",
        "PART=QTY",
        "x" * 80,
        "9" * 30,
    ),
    *("target", "0.9", "working_days", "Mon-Fri", "currency", "vat_added_percent", "closed_days", "2027-12-25", "nan"),
    *(
        "2027-03-01",
        "2027-02-30",
        "1990-01-01",
        "2100-12-31",
        "08:30",
        "25:00",
        "P2463",
        "P24*3",
        "",
        " ",
        "'",
        '"',
        "*",
        "%s",
        "{}",
    ),
    *(
        "--json",
        "--help",
        "--all",
        "--with",
        "--without",
        "--store",
        "--unpin",
        "--min",
        "--max",
        "--van",
        "--date",
        "--from",
    ),
    *(
        "--to",
        "--place",
        "--reason",
        "--cost",
        "--carriage",
        "--limit",
        "--time",
        "--codes",
        "--ref",
        "--job",
        "--used",
        "--",
    ),
    *("--version", "--now", "--van=", "--limit=0", "--limit=x", "-h", "-", "--no-such", "[red]", "١٢", "½", "naïve"),
)
RIGHT = (
    "fit J1 GKT-1 1 --with",
    "fit J2 vaporiser 1 --from store",
    "missed J1 SNS-1 1",
    "finish J1 --used GKT-1=2 --used FLU-1=2.5",
    "undo",
    "count GKT-1 3 --place van --reason found",
    "received FLU-1 2packs --cost 5.60 --carriage 4.95 --place store",
    "stock gasket --place van",
    "history J1 --limit 5",
    "history --json",
    "load GKT-1 1 --from store --van van",
    "load --all",
    "loadout --date 2027-03-01 --van van",
    "reorder --date 2027-03-02",
    "order --set GKT-1=2 --drop FLU-1 --supplier NEXT --yes",
    "order --budget 250 --no-top-up --again --json",
    "order list --all",
    "order show O0001",
    "order sent O0001",
    "order cancel O0001 GKT-1",
    "receive O0001 --came GKT-1=1 --price GKT-1=4 --rest cancel",
    "receive O0001 --damaged GKT-1=1 --use-by GKT-1=2028-01-31 --carriage 7.50 --expected 2027-03-09 --place van",
    "forecast GKT-1",
    "forecast GKT-1 --why",
    "minmax GKT-1 --past",
    "minmax GKT-1 --min 2 --max 6",
    "minmax GKT-1 --unpin",
    "minmax GKT-1 --why",
    "minmax --completion 0.9 --cash 250",
    "curve --more 50",
    "replay --weeks 4",
    "booking add AAA clean --date 2027-03-02 --time 09:00 --codes P20CB --ref R1 --job X1",
    "booking list --from 2027-03-01 --to 2027-03-09",
    "booking move J1 --date 2027-03-04 --time 14:00 --van van",
    "booking cancel J1",
    "place add depot --store",
    "setting target 0.9",
    "setting vat_added_percent 20",
    "setting closed_days 2027-12-25",
    "setting working_days Mon-Sat",
    "export out",
    "check",
    "backup copies",
    "forget R1",
)
STRANGE = (
    "\x1b[31m",
    "\x9b",
    "\u202e",
    "\x7f",
    "a\nb",
    "\t",
    "\x07--x",
    "\udcff",
    "\ud800",
    "--\x1b[2J",
    "\u2028",
    "\xa0",
)


class Said(NamedTuple):
    """How a command line ended and what it printed."""

    code: int
    out: str
    err: str


def said(words: list[str], monkeypatch: pytest.MonkeyPatch) -> Said:
    out, err = io.StringIO(), io.StringIO()
    monkeypatch.setattr(sys, "argv", ["vanstock", *words])
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    with redirect_stdout(out), redirect_stderr(err):
        try:
            run()
        except SystemExit as ended:
            return Said(int(ended.code or 0), out.getvalue(), err.getvalue())
        except Exception as error:
            # The words may be no text, which a test report cannot carry.
            raise AssertionError(ascii(f"{words}: {type(error).__name__}: {error}")) from None
    raise AssertionError("a command line ends by saying how")


def is_plain(word: str) -> bool:
    """Whether a word can stand on a command line and names no file outside the folder."""
    return not set(word) & set("/\\\0") and ".." not in word and not word.startswith("~")


def only_text(*printed: str) -> None:
    for text in printed:
        odd = sorted({ascii(c) for c in text if not c.isprintable() and c != "\n"})
        assert not odd, (odd, ascii(text))
        assert "Traceback" not in text


@pytest.fixture
def template(session: Session, tmp_path: Path) -> Path:
    """The small firm with two jobs, some stock and some history."""
    add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean", ("P2463",)))
    add_booking(session, Job("J2", session.today, "", "BBB", "heat-source"))
    stock.receive(session, "GKT-1", "50", place="van")
    stock.receive(session, "FLU-1", "2packs")
    job.fit(session, "J1", "GKT-1")
    job.miss(session, "J1", "SNS-1")
    session.ledger.close()
    return session.path


@contextmanager
def a_folder_of_its_own(folder: Path, template: Path) -> Iterator[Path]:
    folder.mkdir()
    ledger = folder / "small.db"
    shutil.copyfile(template, ledger)
    try:
        yield ledger
    finally:
        shutil.rmtree(folder)


plain_words = (st.sampled_from(PLAIN) | st.text(max_size=8).filter(str.isprintable)).filter(is_plain)
strange_words = (st.sampled_from(STRANGE) | st.text(st.characters(), max_size=4)).filter(is_plain)
commands = st.sampled_from(COMMANDS)


@st.composite
def nearly_right(draw: st.DrawFn) -> tuple[str, list[str]]:
    """A right command line with up to two of its words changed for others."""
    command, *words = draw(st.sampled_from(RIGHT)).split()
    for _ in range(draw(st.integers(0, 2)) if words else 0):
        words[draw(st.integers(0, len(words) - 1))] = draw(plain_words)
    return command, words


Line = tuple[str, list[str]]


@pytest.fixture
def run_line(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Line], Said]:
    """Runs a command line in a folder of its own and looks at how it ended and what it printed."""

    def run_one(line: Line) -> Said:
        command, words = line
        with a_folder_of_its_own(tmp_path / "here", template) as ledger:
            monkeypatch.chdir(ledger.parent)
            found = said(["--ledger", ledger.name, "--now", "2027-03-01T12:30", command, *words], monkeypatch)
            monkeypatch.chdir(tmp_path)
        assert found.code in (0, 1, 2)
        only_text(found.out, found.err)
        assert found.err or not found.code or command == "check"
        return found

    return run_one


def test_command_lines(fuzz: Fuzz, run_line: Callable[[Line], Said]) -> None:
    ended: set[int] = set()
    fuzz(
        "command lines",
        lambda line: ended.add(run_line(line).code),
        nearly_right() | st.tuples(commands, st.lists(plain_words, max_size=5)),
    )
    assert ended == {0, 1, 2}


def test_words_that_are_no_text(fuzz: Fuzz, run_line: Callable[[Line], Said]) -> None:
    def law(line: Line) -> None:
        run_line(line)

    words = st.lists(strange_words | st.sampled_from(("J1", "GKT-1", "add", "1", "target")), min_size=1, max_size=3)
    fuzz("words that are no text", law, st.tuples(commands, words))


def test_a_limit_beyond_any_number_of_entries(run_line: Callable[[Line], Said]) -> None:
    run_line(("history", ["--limit", "9223372036854775808"]))

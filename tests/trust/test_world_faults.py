"""The world's faults: disk full or read-only, missing rights, a pulled stick, a wrong clock, a file that is no ledger.

Each gets one plain line and exit 1, and nothing is lost. What is real here and what is simulated:

- A full disk and a read-only one are real, a file system of 1 MB in memory, where this user may mount one. A full
  disk is besides simulated wherever the tests run, by a limit on the size of files (`RLIMIT_FSIZE`) and by a limit on
  the pages of the ledger (`PRAGMA max_page_count`, by which SQLite itself says that the disk is full).
- Missing rights are real: the command line runs as the system's user "nobody" when the tests run as root, whom
  rights do not bind.
- A pulled stick is a real file system taken away where one may be mounted, else a folder that was renamed.
- The clock is not turned: the ledger's newest entry is put into the future, which looks the same to the program.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from vanstock.errors import LedgerUnusable
from vanstock.ledger.schema import VERSION
from vanstock.routines import job, settings, setup, stock, trust
from vanstock.routines.session import open_session

ROOT = Path(__file__).parents[2]
SUNDAY, MONDAY = "2027-02-28T18:00", "2027-03-01T08:00"
FIRM = {
    "suppliers": "supplier,name,lead_working_days,order_days,cutoff,carriage,carriage_paid_over\n"
    "DAY,Day,0,Mon-Fri,11:00,5,75\n",
    "families": "family,name\nAAA,Alder\n",
    "parts": "part,description,component,unit,cost,pack_size,supplier\n"
    "SNS-1,pressure sensor,pressure sensor,C62,47.20,1,DAY\n"
    "FLU-1,cleaning fluid,cleaning fluid,LTR,5.60,5,DAY\n",
    "fits": "family,part\n*,FLU-1\nAAA,SNS-1\n",
    "usual": "job_type,family,component,probability,qty,worth_jobs\nclean,*,cleaning fluid,0.9,2,20\n",
    "jobs": "job,date,time,family,job_type,codes,status,van,reference\nJ1,2027-03-01,09:00,AAA,clean,,booked,van,\n",
    "stock": "part,place,qty,unit_cost\nSNS-1,van,3,47.20\nFLU-1,van,10,5.60\n",
}
FIT, COUNT, UNTIL = ("fit", "J1", "SNS-1"), ("count", "SNS-1", "2"), ("restore", "--until", "2027-03-01T07:00")
READING = [("stock",), ("loadout",), ("check",)]


class Said(NamedTuple):
    """What a command line printed and how it ended."""

    code: int
    out: str
    err: str


def start(words: list[str], wrap: list[str] | None = None) -> Said:
    done = subprocess.run(
        [sys.executable, *(wrap or ["-m", "vanstock"]), *words],
        cwd=ROOT, capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    return Said(done.returncode, done.stdout, done.stderr)


def vanstock(ledger: Path, *words: object, now: str = MONDAY) -> Said:
    clock = ["--now", now] if now else []
    return start(["--ledger", str(ledger), *clock, *map(str, words)])


def refused(said: Said, *words: object) -> None:
    """One plain line that says these words, exit 1, and no word of success."""
    assert said.code == 1, said
    assert said.err.startswith("vanstock: "), said
    assert said.err.count("\n") == 1, said
    assert len(said.err) < 500, said
    for word in words:
        assert str(word) in said.err, said
    for boast in ("restored", "written and checked", "imported", "counted", "fitted", "as it was on", "hold\n"):
        assert boast not in said.out, said


def went_well(said: Said) -> None:
    assert said.code == 0, said


def entries(ledger: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(f"{ledger.as_uri()}?mode=ro", uri=True)) as connection:
        return connection.execute("SELECT seq, id, at, kind FROM entry ORDER BY seq").fetchall()


def works_again(ledger: Path, before: list[tuple[object, ...]]) -> None:
    """Every entry is there, every rule holds, and the next act is one more entry."""
    assert entries(ledger) == before
    went_well(vanstock(ledger, "check"))
    went_well(vanstock(ledger, *COUNT))
    assert entries(ledger)[:-1] == before


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("firm")
    for name, text in FIRM.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def made(firm: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small firm's ledger with two entries, made once and only copied."""
    ledger = tmp_path_factory.mktemp("made") / "ledger.db"
    went_well(vanstock(ledger, "import", firm, now=SUNDAY))
    went_well(vanstock(ledger, *FIT, now="2027-03-01T06:40"))
    return ledger


@pytest.fixture(scope="module")
def more(firm: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same firm with something more to import: thirty parts and a stock line of each."""
    folder = tmp_path_factory.mktemp("more")
    for file in firm.iterdir():
        shutil.copy(file, folder)
    with (folder / "parts.csv").open("a") as parts, (folder / "stock.csv").open("a") as lines:
        for number in range(300):
            parts.write(f"NEW-{number},{'long words ' * 8}{number},bolt,C62,0.40,1,DAY\n")
            lines.write(f"NEW-{number},van,5,0.40\n")
    return folder


@pytest.fixture
def ledger(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "ledger.db"))


# A small file system of our own


def mounted(*words: str) -> bool:
    return shutil.which("mount") is not None and subprocess.run(["mount", *words], capture_output=True).returncode == 0


def take_away(stick: Path) -> None:
    subprocess.run(["umount", "--lazy", str(stick)], check=True, capture_output=True)


@pytest.fixture
def stick(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB in memory, taken away afterwards whatever happens."""
    where = tmp_path / "stick"
    where.mkdir()
    if not mounted("-t", "tmpfs", "-o", "size=1m", "tmpfs", str(where)):
        pytest.skip("this user may not mount a file system")
    try:
        yield where
    finally:
        while os.path.ismount(where) and subprocess.run(["umount", "--lazy", str(where)]).returncode == 0:
            pass


@pytest.fixture
def on_stick(stick: Path, made: Path) -> Path:
    return Path(shutil.copy(made, stick / "ledger.db"))


def fill(stick: Path) -> Path:
    filler = stick / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    return filler


def lock(stick: Path) -> None:
    assert mounted("-o", "remount,ro", str(stick))


def unlock(stick: Path) -> None:
    assert mounted("-o", "remount,rw", str(stick))


def no_litter(folder: Path) -> None:
    assert [file for file in folder.rglob("*") if file.name.endswith((".part", "-journal"))] == []


# Disk full


@pytest.mark.parametrize("words", [FIT, COUNT, ("import",), ("place", "add", "van 2"), ("setting", "target", "0.8")])
def test_on_a_full_disk_nothing_is_written_and_nothing_lost(on_stick: Path, words: tuple[str, ...], more: Path) -> None:
    filler, before, was = fill(on_stick.parent), on_stick.read_bytes(), entries(on_stick)
    said = vanstock(on_stick, *words, *([more] if words == ("import",) else []))
    refused(said, "disk that holds", on_stick, "is full", "nothing was written", "make room")
    assert on_stick.read_bytes() == before
    no_litter(on_stick.parent)
    filler.unlink()
    works_again(on_stick, was)


def test_a_new_ledger_on_a_full_disk_is_made_once_there_is_room(stick: Path, firm: Path) -> None:
    filler, ledger = fill(stick), stick / "ledger.db"
    for _ in range(2):
        refused(vanstock(ledger, "import", firm, now=SUNDAY), ledger, "is full", "nothing was written")
    filler.unlink()
    went_well(vanstock(ledger, "import", firm, now=SUNDAY))
    went_well(vanstock(ledger, "check"))
    assert len(entries(ledger)) == 1


def test_on_a_full_disk_the_ledger_can_still_be_read(on_stick: Path) -> None:
    fill(on_stick.parent)
    for words in READING:
        went_well(vanstock(on_stick, *words))


def test_a_copy_on_a_full_disk_is_refused_whole(on_stick: Path, ledger: Path) -> None:
    fill(on_stick.parent)
    for source, folder in ((on_stick, ()), (ledger, (on_stick.parent,)), (ledger, (on_stick.parent / "sub",))):
        refused(vanstock(source, "backup", *folder), "is full", "make room")
    assert [file for file in on_stick.parent.rglob("*.db") if file != on_stick] == []
    no_litter(on_stick.parent)
    works_again(ledger, entries(on_stick))


def test_going_back_on_a_full_disk_leaves_the_ledger_in_place(on_stick: Path, made: Path) -> None:
    filler, before = fill(on_stick.parent), on_stick.read_bytes()
    refused(vanstock(on_stick, "restore", made, "--yes"), on_stick, "No space left", "nothing was changed")
    refused(vanstock(on_stick, *UNTIL), "is full", "make room")
    assert on_stick.read_bytes() == before
    assert sorted(file.name for file in on_stick.parent.glob("*.db")) == ["ledger.db"]
    no_litter(on_stick.parent)
    filler.unlink()
    works_again(on_stick, entries(made))


def test_as_it_was_on_another_disk_that_is_full_names_that_file(stick: Path, ledger: Path) -> None:
    fill(stick)
    refused(vanstock(ledger, *UNTIL, "--to", stick / "then.db"), stick / "then.db", "is full", "make room")
    assert not (stick / "then.db").exists()
    no_litter(stick)


def changed_pages(before: bytes, after: bytes) -> list[int]:
    """Which pages differ, but for the count of changes in the first, which SQLite raises in taking a write back."""
    blank = bytes(96 - 24)
    one, other = before[:24] + blank + before[96:], after[:24] + blank + after[96:]
    assert len(one) == len(other)
    return [at // 4096 for at in range(0, len(one), 4096) if one[at : at + 4096] != other[at : at + 4096]]


LIMITED = """
import resource, runpy, sys
limit = int(sys.argv.pop(1))
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
runpy.run_module("vanstock", run_name="__main__")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
@pytest.mark.parametrize("words", ["fit", "count", "import", "backup", "restore", "until"])
@pytest.mark.parametrize("room", [0, 10_000, 60_000])
def test_a_file_that_may_not_grow_loses_nothing(ledger: Path, made: Path, more: Path, words: str, room: int) -> None:
    """Simulated: no file may be larger than `room` bytes, so a write fails half-way with EFBIG."""
    line = {
        "fit": FIT, "count": COUNT, "import": ("import", str(more)), "backup": ("backup",),
        "restore": ("restore", str(made), "--yes"), "until": UNTIL,
    }[words]  # fmt: skip
    before, was = ledger.read_bytes(), entries(ledger)
    said = start([str(room), "--ledger", str(ledger), "--now", MONDAY, *line], ["-c", LIMITED])
    refused(said)
    assert any(word in said.err for word in ("has no room", "File too large", "is full")), said
    went_well(vanstock(ledger, "check"))  # takes back what could not be, while no file might grow
    assert changed_pages(before, ledger.read_bytes()) == []
    assert [file.name for file in ledger.parent.rglob("*.db")] == ["ledger.db"]
    works_again(ledger, was)
    assert [file for file in ledger.parent.rglob("*") if file.name.endswith(".part")] == []


def test_a_ledger_that_may_not_have_one_page_more_says_that_the_disk_is_full(ledger: Path, more: Path) -> None:
    """Simulated: SQLite's own limit on the pages of a file ends like a full disk."""
    before, was = ledger.read_bytes(), entries(ledger)
    with open_session(str(ledger), datetime.fromisoformat(MONDAY)) as session:
        session.ledger.execute("PRAGMA max_page_count = 1")
        with pytest.raises(LedgerUnusable, match="is full: nothing was written, make room"):
            setup.import_folder(session, more)
    assert ledger.read_bytes() == before
    works_again(ledger, was)


# Read-only, and missing rights


def writing_is_refused(ledger: Path, made: Path, more: Path, run: Callable[..., Said]) -> None:
    before = ledger.read_bytes()
    for words in (FIT, COUNT, ("import", more), ("place", "add", "van 2"), ("setting", "target", "0.8"), UNDONE):
        refused(run(ledger, *words), ledger, "cannot be written", "read-only", "nothing was written")
    assert ledger.read_bytes() == before


UNDONE = ("undo",)


def test_a_read_only_stick_can_be_read_but_not_written(on_stick: Path, made: Path, more: Path, ledger: Path) -> None:
    was, before = entries(on_stick), on_stick.read_bytes()
    lock(on_stick.parent)
    for words in READING:
        went_well(vanstock(on_stick, *words))
    writing_is_refused(on_stick, made, more, vanstock)
    refused(vanstock(on_stick, "backup"), "cannot make the folder", "Read-only", "no copy was made")
    refused(vanstock(ledger, "backup", on_stick.parent), on_stick.parent, "Read-only", "no copy was made")
    refused(vanstock(on_stick, "restore", made, "--yes"), "Read-only", "nothing was changed")
    refused(vanstock(on_stick, *UNTIL), "ledger-as-it-was", "Read-only", "--to")
    refused(vanstock(on_stick.parent / "new.db", "import", more), "new.db", "read-only")
    assert sorted(file.name for file in on_stick.parent.iterdir()) == ["ledger.db"]
    assert on_stick.read_bytes() == before
    unlock(on_stick.parent)
    works_again(on_stick, was)


def test_from_a_read_only_stick_a_copy_can_be_made_and_put_back(on_stick: Path, ledger: Path, tmp_path: Path) -> None:
    lock(on_stick.parent)
    went_well(vanstock(on_stick, "backup", tmp_path / "copies"))
    went_well(vanstock(on_stick, *UNTIL, "--to", tmp_path / "then.db"))
    was = entries(ledger)
    went_well(vanstock(ledger, *COUNT))
    went_well(vanstock(ledger, "restore", on_stick, "--yes"))
    works_again(ledger, was)


AS_NOBODY = """
import codecs, importlib, linecache, os, pkgutil, sys, traceback
import vanstock
for coding in ("utf-8-sig", "utf-16", "latin-1", "ascii"):
    codecs.lookup(coding)
for module in pkgutil.walk_packages(vanstock.__path__, "vanstock."):
    if not module.name.endswith("__main__"):
        importlib.import_module(module.name)
from vanstock.cli.main import run
warm, *words = sys.argv[1:]
def once(words):
    sys.argv = ["vanstock", *words]
    try:
        run()
    except SystemExit as ended:
        return ended.code or 0
quiet, out, err = os.open(os.devnull, os.O_WRONLY), os.dup(1), os.dup(2)
os.dup2(quiet, 1), os.dup2(quiet, 2)
safe = [word for word in words[2:] if word[0] != "/" or "import" in words]
once(["--ledger", warm, *safe])  # loads what nobody may not read
once(["--ledger", warm, "stock", "-"])
sys.stdout.flush()
os.dup2(out, 1), os.dup2(err, 2)
if os.geteuid() == 0:
    os.setegid(65534)
    os.seteuid(65534)
code = once(words)
sys.stdout.flush()
os._exit(code)
"""


@pytest.fixture
def common() -> Iterator[Path]:
    """A folder that everybody may look into."""
    folder = Path(tempfile.mkdtemp(dir="/tmp"))
    folder.chmod(0o777)
    try:
        yield folder
    finally:
        for below in folder.rglob("*"):
            below.chmod(0o777)
        for below in [folder, *folder.rglob("*")]:  # again, for what could not be looked into
            below.chmod(0o777)
        shutil.rmtree(folder)


@pytest.fixture
def as_nobody(made: Path, tmp_path: Path) -> Callable[..., Said]:
    """Runs a command line as a person with no rights to what is not everybody's."""

    def run(ledger: Path, *words: object) -> Said:
        warm = shutil.copy(made, tmp_path / "warm.db")
        line = [str(warm), "--ledger", str(ledger), "--now", MONDAY, *map(str, words)]
        return start(line, ["-c", AS_NOBODY])

    return run


pytestmark = pytest.mark.slow
posix = pytest.mark.skipif(os.name != "posix", reason="rights as Unix has them")


@posix
@pytest.mark.parametrize(("file", "folder"), [(0o444, 0o555), (0o444, 0o777), (0o666, 0o555)])
def test_a_ledger_without_the_right_to_write_can_be_read(
    common: Path, made: Path, more: Path, as_nobody: Callable[..., Said], file: int, folder: int
) -> None:
    home = common / "home"
    home.mkdir()
    ledger = Path(shutil.copy(made, home / "ledger.db"))
    readable = Path(shutil.copytree(more, common / "more"))
    readable.chmod(0o755)
    copy = Path(shutil.copy(made, common / "copy.db"))
    copy.chmod(0o644)
    ledger.chmod(file)
    home.chmod(folder)
    for words in READING:
        went_well(as_nobody(ledger, *words))
    writing_is_refused(ledger, made, readable, as_nobody)
    if folder == 0o555:
        refused(as_nobody(ledger, "backup"), "cannot make the folder", "Permission denied", "no copy was made")
        refused(as_nobody(ledger, "restore", copy, "--yes"), "Permission denied", "nothing was changed")
        refused(as_nobody(ledger, *UNTIL), "Permission denied", "--to")
        refused(as_nobody(home / "new.db", "import", readable), "new.db", "read-only")
    assert [found.name for found in home.iterdir() if found.suffix == ".db"] == ["ledger.db"]
    went_well(as_nobody(ledger, "backup", common))
    home.chmod(0o777)
    ledger.chmod(0o666)
    works_again(ledger, entries(made))


@posix
def test_a_ledger_that_may_not_be_read_is_said_to_be_another_persons(
    common: Path, made: Path, as_nobody: Callable[..., Said]
) -> None:
    ledger = Path(shutil.copy(made, common / "ledger.db"))
    ledger.chmod(0)
    for words in (*READING, COUNT, ("backup",), UNTIL):
        refused(as_nobody(ledger, *words), ledger, "may not be read", "another person's")
    copy = Path(shutil.copy(made, common / "mine.db"))
    copy.chmod(0o666)
    refused(as_nobody(copy, "restore", ledger, "--yes"), ledger, "may not be read")
    ledger.chmod(0o666)
    works_again(ledger, entries(made))


@posix
def test_a_ledger_in_a_folder_that_may_not_be_looked_into_is_said_to_be_another_persons(
    common: Path, made: Path, firm: Path, as_nobody: Callable[..., Said]
) -> None:
    home = common / "home"
    home.mkdir()
    ledger = Path(shutil.copy(made, home / "ledger.db"))
    seen = shutil.copytree(firm, common / "firm")
    seen.chmod(0o777)
    home.chmod(0)
    for words in (*READING, COUNT, ("import", seen), ("backup",), UNTIL):
        refused(as_nobody(ledger, *words), ledger, "cannot be looked at", "another person's")
    home.chmod(0o777)
    works_again(ledger, entries(made))


@posix
def test_a_folder_to_import_that_may_not_be_looked_at_is_told_before_a_ledger_is_made(
    common: Path, firm: Path, as_nobody: Callable[..., Said]
) -> None:
    home = common / "home"
    shutil.copytree(firm, home / "firm")
    home.chmod(0)
    said = as_nobody(common / "ledger.db", "import", home / "firm")
    assert (said.code, said.out) == (1, "")
    assert said.err == f"vanstock: {home / 'firm'} cannot be looked at: Permission denied\n"
    assert not (common / "ledger.db").exists()


@posix
def test_a_copy_into_a_folder_of_another_person_is_refused(
    common: Path, made: Path, as_nobody: Callable[..., Said]
) -> None:
    ledger = Path(shutil.copy(made, common / "ledger.db"))
    ledger.chmod(0o666)
    home = common / "home"
    home.mkdir()
    home.chmod(0o555)
    for folder in (home, home / "sub"):
        refused(as_nobody(ledger, "backup", folder), folder, "Permission denied", "no copy was made")
    assert list(home.iterdir()) == []


@pytest.fixture
def half_written(stick: Path, made: Path) -> Path:
    """A ledger whose last write was cut short and lies half in its journal; simulated by `LIMITED`."""
    ledger = Path(shutil.copy(made, stick / "ledger.db"))
    start(["60000", "--ledger", str(ledger), "--now", MONDAY, *COUNT], ["-c", LIMITED])
    assert ledger.with_name("ledger.db-journal").stat().st_size > 0
    return ledger


@pytest.mark.parametrize("words", [*READING, COUNT, ("backup",), UNTIL])
def test_whatever_is_done_first_after_a_crash_finds_the_ledger_whole(
    half_written: Path, made: Path, words: tuple[str, ...]
) -> None:
    went_well(vanstock(half_written, *words))
    assert entries(half_written)[:2] == entries(made)
    went_well(vanstock(half_written, "check"))


def test_going_back_after_a_crash_still_lists_what_would_be_lost(
    half_written: Path, firm: Path, tmp_path: Path
) -> None:
    older = tmp_path / "older.db"
    went_well(vanstock(older, "import", firm, now=SUNDAY))
    said = vanstock(half_written, "restore", older, "--yes")
    went_well(said)
    assert "cannot be read" not in said.out
    assert "would be lost" in said.out


def test_a_half_written_ledger_on_a_read_only_stick_says_where_it_can_be_opened(
    half_written: Path, made: Path, tmp_path: Path
) -> None:
    lock(half_written.parent)
    for words in (*READING, COUNT, ("backup",), UNTIL):
        refused(vanstock(half_written, *words), half_written, "half-written", "read-only", "copy it", "-journal")
    for file in half_written.parent.iterdir():
        shutil.copy(file, tmp_path)
    went_well(vanstock(tmp_path / "ledger.db", "check"))
    works_again(tmp_path / "ledger.db", entries(made))


# A stick that is not there


ALL = [*READING, FIT, COUNT, ("place", "add", "van 2"), ("setting", "target", "0.8"), ("backup",), UNTIL, ("restore",)]


def test_a_stick_that_is_out_is_asked_for_and_no_ledger_is_made_in_its_place(
    stick: Path, made: Path, firm: Path
) -> None:
    ledger = stick / "books" / "ledger.db"
    ledger.parent.mkdir()
    shutil.copy(made, ledger)
    take_away(stick)
    for words in (*ALL, ("import", firm)):
        refused(vanstock(ledger, *words), f"the folder {ledger.parent} is not there", "plug in the stick", "--ledger")
    refused(vanstock(ledger, "restore", made, "--yes"), ledger, "nothing was changed", "stick")
    assert list(stick.iterdir()) == []


def test_a_folder_renamed_away_is_asked_for_and_works_again_when_it_is_back(
    tmp_path: Path, made: Path, firm: Path
) -> None:
    home, away = tmp_path / "home", tmp_path / "away"
    home.mkdir()
    ledger = Path(shutil.copy(made, home / "ledger.db"))
    home.rename(away)
    for words in (*ALL, ("import", firm)):
        refused(vanstock(ledger, *words), f"the folder {home} is not there", "plug in the stick", "--ledger")
    assert not home.exists()
    away.rename(home)
    works_again(ledger, entries(made))


def test_a_ledger_missing_from_its_folder_is_asked_for_before_a_new_one_is_offered(tmp_path: Path) -> None:
    ledger = tmp_path / "ledger.db"
    for words in ALL:
        refused(vanstock(ledger, *words), f"no ledger at {ledger}", "plug in the stick", "--ledger", "vanstock import")
    assert list(tmp_path.iterdir()) == []


def pull_out(ledger: Path, made: Path) -> Path:
    ledger.parent.rename(ledger.parent.with_name("away"))
    return ledger.parent.with_name("away") / ledger.name


def delete(ledger: Path, made: Path) -> Path:
    kept = ledger.with_name("kept.db")
    os.link(ledger, kept)
    ledger.unlink()
    return kept


def replace(ledger: Path, made: Path) -> Path:
    kept = ledger.with_name("kept.db")
    ledger.rename(kept)
    shutil.copy(made, ledger)
    return kept


@posix
@pytest.mark.parametrize(
    ("fault", "told"), [(pull_out, "is gone"), (delete, "is gone"), (replace, "was replaced while it was open")]
)
def test_a_ledger_that_went_away_while_open_is_written_neither_there_nor_here(
    tmp_path: Path, made: Path, fault: Callable[[Path, Path], Path], told: str
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    ledger = Path(shutil.copy(made, home / "ledger.db"))
    with open_session(str(ledger), datetime.fromisoformat(MONDAY)) as session:
        stock.receive(session, "SNS-1", "1", place="van")
        was = entries(ledger)
        old = fault(ledger, made)
        before = old.read_bytes()
        for act in (
            lambda: stock.receive(session, "SNS-1", "1", place="van"),
            lambda: job.fit(session, "J1", "SNS-1"),
            lambda: stock.add_place(session, "van 2", "van"),
        ):
            with pytest.raises(LedgerUnusable, match=told):
                act()
    assert old.read_bytes() == before
    if ledger.exists():
        assert ledger.read_bytes() == made.read_bytes()
    else:
        assert ledger.parent.exists() == (old.parent == ledger.parent)
    works_again(old, was)


def test_a_stick_pulled_while_the_ledger_is_open_is_told(on_stick: Path) -> None:
    stick = on_stick.parent
    with open_session(str(on_stick), datetime.fromisoformat(MONDAY)) as session:
        stock.receive(session, "SNS-1", "1", place="van")
        take_away(stick)
        with pytest.raises(LedgerUnusable, match=r"is gone: was the stick it lies on pulled\? Nothing was written"):
            stock.receive(session, "SNS-1", "1", place="van")
    assert list(stick.iterdir()) == []


# The clock


def local(ahead: timedelta) -> str:
    return (datetime.now() + ahead).isoformat(timespec="seconds")


def test_with_the_clock_set_back_an_act_is_refused_and_both_times_are_named(ledger: Path) -> None:
    future = local(timedelta(days=400))
    went_well(vanstock(ledger, *COUNT, now=future))
    before, was = ledger.read_bytes(), entries(ledger)
    for words in (("count", "SNS-1", "1"), FIT, ("missed", "J1", "SNS-1"), ("received", "SNS-1", "1"), UNDONE):
        said = vanstock(ledger, *words, now="")
        refused(said, "clock says", future[:16].replace("T", " "), "nothing was written", "Set the clock", "--now")
        assert f"{datetime.now():%Y-%m-%d %H:}" in said.err
    assert ledger.read_bytes() == before
    for words in READING:
        went_well(vanstock(ledger, *words, now=""))
    assert entries(ledger) == was


def test_one_entry_at_a_time_that_is_said_is_the_way_out_of_a_wrong_clock(ledger: Path) -> None:
    went_well(vanstock(ledger, *COUNT, now=local(timedelta(days=400))))
    refused(vanstock(ledger, *COUNT, now=""), "--now")
    went_well(vanstock(ledger, *COUNT, now=local(timedelta())))
    went_well(vanstock(ledger, *COUNT, now=""))
    went_well(vanstock(ledger, "check"))
    assert len(entries(ledger)) == 5


def test_a_clock_a_few_minutes_behind_is_let_be(ledger: Path) -> None:
    went_well(vanstock(ledger, *COUNT, now=local(timedelta(minutes=13))))
    went_well(vanstock(ledger, *COUNT, now=""))
    went_well(vanstock(ledger, *COUNT, now=local(timedelta(minutes=17))))
    refused(vanstock(ledger, *COUNT, now=""), "clock says")


# What is no ledger


def text(file: Path, made: Path) -> None:
    file.write_text("part,qty\nSNS-1,2\n" * 400)


def noise(file: Path, made: Path) -> None:
    file.write_bytes(bytes((number * number * 31 + 7) % 251 for number in range(20_000)))


def other_program(file: Path, made: Path) -> None:
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE entry (name TEXT)")


def empty(file: Path, made: Path) -> None:
    file.touch()


def spreadsheet(file: Path, made: Path) -> None:
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")


def old_spreadsheet(file: Path, made: Path) -> None:
    file.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000))


def newer(file: Path, made: Path) -> None:
    shutil.copy(made, file)
    with closing(sqlite3.connect(file)) as connection:
        connection.execute(f"PRAGMA user_version = {VERSION + 1}")


def half(file: Path, made: Path) -> None:
    file.write_bytes(made.read_bytes()[: made.stat().st_size // 2 + 100])


def folder(file: Path, made: Path) -> None:
    file.mkdir()


def pipe(file: Path, made: Path) -> None:
    os.mkfifo(file)


def device(file: Path, made: Path) -> None:
    file.symlink_to(os.devnull)


def lost_link(file: Path, made: Path) -> None:
    file.symlink_to(file.with_name("nowhere") / "ledger.db")


THINGS: dict[Callable[[Path, Path], None], str] = {
    text: "is not a vanstock ledger",
    noise: "is not a vanstock ledger",
    other_program: "is a database, but not a vanstock ledger",
    empty: "is empty, not a",
    spreadsheet: "is a spreadsheet or an archive, not a vanstock ledger",
    old_spreadsheet: "is a spreadsheet or an archive, not a vanstock ledger",
    newer: f"newer vanstock (file version {VERSION + 1}, this program knows {VERSION}): update vanstock",
    half: "is damaged",
    folder: "is a folder, not a ledger",
    pipe: "is a pipe or a device, not a ledger",
    device: "is a pipe or a device, not a ledger",
    lost_link: "is a link to",
}
things = pytest.mark.parametrize("thing", [pytest.param(thing, id=thing.__name__) for thing in THINGS])


def look(file: Path) -> object:
    if file.is_file():
        return file.read_bytes()
    return sorted(file.iterdir()) if file.is_dir() else os.lstat(file)[:3]


@posix
@things
def test_what_is_no_ledger_is_named_and_left_alone(
    tmp_path: Path, made: Path, more: Path, thing: Callable[[Path, Path], None]
) -> None:
    file = tmp_path / "thing.db"
    thing(file, made)
    before = look(file)
    lines: list[tuple[object, ...]] = [*READING[:2], COUNT, FIT, ("backup",), ("backup", tmp_path), ("restore",), UNTIL]
    if thing is not empty:  # an empty file may become a ledger
        lines.append(("import", more))
    for words in lines:
        refused(vanstock(file, *words), file, THINGS[thing])
    checked = vanstock(file, "check")
    refused(checked, "rules broken" if thing is half else THINGS[thing])
    assert ("BROKEN" in checked.out) == (thing is half)
    assert look(file) == before
    assert [found.name for found in tmp_path.iterdir()] == ["thing.db"]


@posix
@things
def test_what_is_no_ledger_is_not_put_in_the_ledgers_place(
    tmp_path: Path, made: Path, ledger: Path, thing: Callable[[Path, Path], None]
) -> None:
    file = tmp_path / "thing.db"
    thing(file, made)
    before = ledger.read_bytes()
    said = vanstock(ledger, "restore", file, "--yes")
    refused(said, file)
    assert THINGS[thing] in said.err or f"no copy at {file}" in said.err, said
    assert ledger.read_bytes() == before
    no_litter(tmp_path)
    assert sorted(found.name for found in tmp_path.iterdir()) == ["ledger.db", "thing.db"]
    works_again(ledger, entries(made))


@posix
@pytest.mark.parametrize("thing", [text, empty, other_program, spreadsheet, newer, half])
def test_a_copy_is_put_back_over_a_file_that_is_no_ledger_and_that_file_is_kept(
    tmp_path: Path, made: Path, thing: Callable[[Path, Path], None]
) -> None:
    file = tmp_path / "thing.db"
    thing(file, made)
    before = file.read_bytes()
    went_well(vanstock(file, "restore", made, "--yes"))
    [aside] = tmp_path.glob("thing-set-aside-*.db")
    assert aside.read_bytes() == before
    works_again(file, entries(made))


@posix
def test_a_copy_put_back_through_a_link_replaces_the_file_and_keeps_the_link(tmp_path: Path, made: Path) -> None:
    real, link = tmp_path / "stick" / "ledger.db", tmp_path / "link.db"
    real.parent.mkdir()
    shutil.copy(made, real)
    link.symlink_to(real)
    went_well(vanstock(link, *COUNT))
    went_well(vanstock(link, "restore", made, "--yes"))
    assert link.is_symlink()
    assert len(list(real.parent.glob("ledger-set-aside-*.db"))) == 1
    works_again(real, entries(made))


def test_a_file_that_is_no_ledger_points_to_the_newest_copy_beside_it(ledger: Path) -> None:
    went_well(vanstock(ledger, "backup"))
    [copy] = ledger.with_name("ledger.db-copies").iterdir()
    ledger.write_text("part,qty\n" * 500)
    refused(vanstock(ledger, "stock"), "vanstock restore", f"the newest copy beside it is {copy}")
    went_well(vanstock(ledger, "restore", copy, "--yes"))
    went_well(vanstock(ledger, "check"))


# Where copies cannot go


@posix
def test_a_copy_goes_only_into_a_folder_that_is_there_or_can_be_made(ledger: Path, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for where in (tmp_path / "file", Path(os.devnull)):
        refused(vanstock(ledger, "backup", where), where, "is not a folder", "name a folder", "no copy was made")
    missing = tmp_path / "no" / "such"
    refused(vanstock(ledger, "backup", missing), f"the folder {missing.parent} is not there", "no copy was made")
    refused(vanstock(ledger, "backup", tmp_path / "file" / "sub"), "Not a directory", "no copy was made")
    refused(vanstock(ledger, *UNTIL, "--to", missing), missing, "--to")
    refused(vanstock(ledger, *UNTIL, "--to", tmp_path / "file"), "exists already", "name another file")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["file", "ledger.db"]


def test_the_copy_after_the_days_first_entry_may_fail_without_the_entry_seeming_lost(on_stick: Path) -> None:
    with open_session(str(on_stick), datetime.fromisoformat(SUNDAY)) as session:
        settings.change_setting(session, "daily_backup", "always")
        settings.change_setting(session, "backup_folder", str(on_stick / "not a folder"))
    was = entries(on_stick)
    said = vanstock(on_stick, *COUNT, now="2027-03-02T08:00")
    assert len(entries(on_stick)) == len(was) + 1
    assert said.code == 0, said
    assert "counted" in said.out
    assert "no copy was made" in said.err


def test_trust_names_every_fault_of_a_routine_in_the_same_words(tmp_path: Path) -> None:
    (tmp_path / "ledger.db").write_text("part,qty\n" * 500)
    with pytest.raises(LedgerUnusable, match="is not a vanstock ledger"):
        trust.check(str(tmp_path / "ledger.db"), lambda _: None)

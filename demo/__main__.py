"""`python3 demo`: sets everything up and walks through the main job on the invented firm."""

import hashlib
import os
import pathlib
import shlex
import shutil
import sys
import typing

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
sys.dont_write_bytecode = True

import bootstrap

FIRM = bootstrap.ROOT / "demo" / "firm"
WORK = bootstrap.ROOT / "demo" / "work"
LEDGER = WORK / "demo.db"
MONDAY, FRIDAY = "2027-03-01T06:40", "2027-03-05T14:00"
STEPS = (
    (MONDAY, "loadout", "Monday 6:40. Four jobs are booked: how likely each is finished, what to do about it."),
    (MONDAY, "loadout J0785 --why", "Why is the 16:00 in doubt? The finished jobs that its odds rest on."),
    (MONDAY, "booking move J0784 --time 10:30", "The factor's round comes at 12:00, so the two jobs before and after it swap."),
    (MONDAY, "booking move J0783 --time 13:30", "The job that wants the sensor comes after the round."),
    (MONDAY, "load --all", "Carry the load list out to the van and record it in one go."),
    ("2027-03-01T09:20", "fit J0782 vaporiser --with", "On the job: the vaporiser is fitted, and what goes on new with it."),
    ("2027-03-01T09:50", "reading J0782 idle 8mbar --after", "The gauge at idle once the filter is clean."),
    ("2027-03-01T10:05", "finish J0782 --used FL-UNI-800-A=2.1L --used FL-UNI-801-A=2L", "Flushed, reset, done: the fluid and the finished job in one line."),
    ("2027-03-01T12:10", "received PS-LUN-400-A 1 --place van", "The round has brought the sensor."),
    ("2027-03-01T16:50", "missed J0785 DS-KRB-020-A", "Nobody could say which engine the 16:00 has; it was the other one. Said, so that it is learnt."),
    ("2027-03-01T17:00", "stock vaporiser", "What is left, and where."),
    (FRIDAY, "reorder", "Friday: the week's order, supplier by supplier, in packs, before each cut-off."),
    (FRIDAY, "minmax DS-KRA-010-B --why", "Why is the vaporiser kept at these levels? The jobs they protect, and what one more would buy."),
    (FRIDAY, "curve", "How many jobs would more cash on the shelves finish, and where does the firm stand?"),
    (FRIDAY, "replay --weeks 26", "The last half year again: whole-job levels beside simpler rules and what really happened."),
    (FRIDAY, "score", "And were the odds any good?"),
)  # fmt: skip


def main() -> None:
    """Set up, then run each step as a person would type it; ends with the first step that fails."""
    python = bootstrap.ensure("")
    WORK.mkdir(exist_ok=True)
    with bootstrap.alone():
        walk(python)


def walk(python: pathlib.Path) -> None:
    """The steps one after another on a fresh copy of the imported ledger."""
    shutil.copyfile(str(_imported(python)), str(LEDGER))
    say("Ullermoor Filter Rescue is invented: one van, one store, 781 finished jobs, four suppliers.")
    say("Its ledger is %s; every command below works on it." % os.path.relpath(str(LEDGER)))
    for clock, command, told in STEPS:
        say("\n== %s\n$ vanstock %s\n" % (told, command))
        status = vanstock(python, LEDGER, clock, command)
        if status != 0:
            bootstrap.stop("the demo stopped: vanstock %s ended %d" % (command, status))
    say("\nTry it yourself: VANSTOCK_LEDGER=%s %s --help" % (LEDGER, python.with_name("vanstock")))


def say(text: str) -> None:
    """Print at once, so that lines keep their order with the commands' own."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def vanstock(python: pathlib.Path, ledger: pathlib.Path, clock: str, command: str) -> int:
    """Run one vanstock command line on a ledger at a fixed time."""
    words: "typing.List[object]" = [python, "-m", "vanstock", "--ledger", ledger, "--now", clock]
    status: int = bootstrap.run(words + shlex.split(command))
    return status


def _imported(python: pathlib.Path) -> pathlib.Path:
    """A ledger with the firm's files imported, made again when the files or the program have changed."""
    digest = hashlib.sha256()
    for path in sorted(FIRM.glob("*.csv")) + sorted((bootstrap.ROOT / "vanstock").rglob("*.py")):
        digest.update(path.read_bytes())
    ready: pathlib.Path = WORK / ("imported-%s.db" % digest.hexdigest()[:16])
    if not ready.exists():
        for old in WORK.glob("imported-*"):
            old.unlink()
        begun = ready.with_suffix(".part")
        say("Sunday evening: the firm's spreadsheets go in.\n$ vanstock import demo/firm\n")
        status = vanstock(python, begun, "2027-02-28T18:00", "import demo/firm")
        if status != 0:
            bootstrap.stop("the demo stopped: importing demo/firm ended %d" % status)
        begun.replace(ready)
    return ready


if __name__ == "__main__":
    main()

"""Runs the console blocks of the documentation on the demo firm and compares, or rewrites, their output.

A page's blocks run in order on one ledger. Between them a page can direct: `<!-- clock: TIME -->` sets the time from
there on; `<!-- fill: FILE PART=QTY ... -->` writes what was counted into a count sheet, as a reader would;
`<!-- meanwhile: COMMAND -->` runs what need not be shown; `<!-- until: WORDS -->` cuts the next block's output before
the line that begins with them; `<!-- screen: NAME COMMAND -->` runs a command whose output is the picture
`docs/pictures/NAME.svg`.
`python tests/docs/console.py [PAGE ...]` rewrites the output and the pictures of every page, or of those named, after a
wanted change; the tests only compare.
"""

from __future__ import annotations

import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")])
_BLOCK = re.compile(
    r"<!-- (?P<what>clock|fill|meanwhile|until|screen): (?P<rest>[^>]+) -->|```console\n(?P<body>.*?)```", re.DOTALL
)
_ENTRY = re.compile(r"\b[0-9a-f]{8}\b")
BAD_STOCK = 'part,place,qty\nFL-UNI-800-A,van,"4,5"\nHC-UNI-412-A,attic,36\nGK-KRA-0111-A,van,2\n'
"""A file with three mistakes, in the folder `bad` that every page finds beside `firm`."""
PHONE = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//invented//phone//EN
X-WR-CALNAME:Work
BEGIN:VEVENT
UID:3f1c@phone.example
DTSTAMP:20270228T170000Z
DTSTART;TZID=Europe/London:20270311T090000
SUMMARY:Kerrowell Alder 2.0\\, limp mode\\, P20CB
DESCRIPTION:12 Fen Lane\\nref: B-1801
END:VEVENT
BEGIN:VEVENT
UID:77aa@phone.example
DTSTAMP:20270228T170000Z
DTSTART;TZID=Europe/London:20270312T083000
SUMMARY:LUN clean
RRULE:FREQ=WEEKLY;COUNT=2
END:VEVENT
BEGIN:VEVENT
UID:90b2@phone.example
DTSTAMP:20270228T170000Z
DTSTART;VALUE=DATE:20270315
SUMMARY:Tavelmar Ribo 1.5\\, filter light\\, P2463
END:VEVENT
BEGIN:VEVENT
UID:c0de@phone.example
DTSTAMP:20270228T170000Z
DTSTART;TZID=Europe/London:20270315T123000
SUMMARY:Lunch with the accountant
END:VEVENT
END:VCALENDAR
"""
"""A phone's calendar, as `phone.ics` beside `firm`."""
_FIRST_CLOCK = "2027-03-01T06:40"


class Screen(NamedTuple):
    """A command and its output, of which a page shows a picture."""

    command: str
    output: str


class Rerun(NamedTuple):
    """A page as it is, as it would be with the output that its commands give now, and its screens by name."""

    before: str
    after: str
    screens: dict[str, Screen]


@dataclass
class Sitting:
    """Where a page's commands run: a folder holding the demo firm's files, the clock, and what the page directed."""

    folder: Path
    clock: str = _FIRST_CLOCK
    until: str = ""
    screens: dict[str, Screen] = field(default_factory=dict)

    def run(self, command: str, *, must: bool = False) -> str:
        """The output of one command line, as a reader would see it; raises when it `must` end well and does not."""
        words = shlex.split(command)
        if words[0] == "vanstock":
            words = [sys.executable, "-m", "vanstock", "--now", self.clock, *words[1:]]
        elif words[0] == "cat":
            return (self.folder / words[1]).read_bytes().decode(_encoding(words[1])).replace("\r\n", "\n")
        environment = {**os.environ, "VANSTOCK_LEDGER": "firm.db", "PYTHONUTF8": "1", "COLUMNS": "80"}
        done = subprocess.run(
            words, cwd=self.folder, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, encoding="utf-8", check=False,
        )  # fmt: skip
        if must and done.returncode:
            raise ValueError(f"{command}: {done.stdout}")
        return done.stdout

    def direct(self, what: str, rest: str) -> None:
        """Do what a page directs between its blocks."""
        if what == "clock":
            self.clock = rest
        elif what == "fill":
            self.fill(*rest.split())
        elif what == "meanwhile":
            self.run(rest, must=True)
        elif what == "until":
            self.until = rest
        else:
            name, _, command = rest.partition(" ")
            self.screens[name] = Screen(command, self.run(command, must=True))

    def shown(self, output: str) -> list[str]:
        """The lines of an output that the page shows."""
        lines = output.splitlines()
        if not self.until:
            return lines
        end = next(number for number, line in enumerate(lines) if line.startswith(self.until))
        return [*"\n".join(lines[:end]).rstrip().splitlines(), "..."]

    def fill(self, file: str, *answers: str) -> None:
        """Write answers into the column `counted` of a count sheet."""
        counted = dict(answer.split("=") for answer in answers)
        with (self.folder / file).open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        with (self.folder / file).open("w", encoding="utf-8", newline="") as lines:
            writer = csv.DictWriter(lines, list(rows[0]))
            writer.writeheader()
            writer.writerows(row | {"counted": counted.get(row["part"], "")} for row in rows)


def _encoding(file: str) -> str:
    """How a file is written: the suppliers' lists are as their programs write them."""
    return "cp1252" if file.startswith("lists/") else "utf-8"


def rerun(page: Path) -> Rerun:
    """Run a page's commands again."""
    text = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(ROOT / "demo" / "firm", folder / "firm")
        shutil.copytree(ROOT / "demo" / "lists", folder / "lists")
        (folder / "bad").mkdir()
        (folder / "bad" / "stock.csv").write_text(BAD_STOCK, encoding="utf-8")
        (folder / "phone.ics").write_text(PHONE, encoding="utf-8")
        sitting = Sitting(folder)
        if "vanstock import firm" not in text:
            sitting.run("vanstock import firm")
        return Rerun(text, _BLOCK.sub(lambda found: _again(found, sitting), text), sitting.screens)


def _again(found: re.Match[str], sitting: Sitting) -> str:
    if found["what"]:
        sitting.direct(found["what"], found["rest"])
        return found[0]
    lines = []
    for line in found["body"].splitlines():
        if line.startswith("$ "):
            lines += [line, *sitting.shown(sitting.run(line[2:]))]
    sitting.until = ""
    return "```console\n" + "".join(f"{line.rstrip()}\n" for line in lines) + "```"


def settled(text: str) -> str:
    """A page with what differs from run to run made the same: entry ids."""
    return _ENTRY.sub("........", text)


def rewrite(page: Path) -> None:
    """Write a page and its pictures anew where they differ from what its commands give now."""
    sys.path.insert(0, str(ROOT))
    from tests.docs import terminal

    before, after, screens = rerun(page)
    if settled(before) != settled(after):
        page.write_text(after, encoding="utf-8")
        sys.stdout.write(f"rewrote {page.relative_to(ROOT)}\n")
    for name, screen in screens.items():
        picture = terminal.picture(name)
        drawn = terminal.draw(*screen)
        if not picture.exists() or picture.read_text(encoding="utf-8") != drawn:
            picture.write_text(drawn, encoding="utf-8")
            sys.stdout.write(f"drew {picture.relative_to(ROOT)}\n")


if __name__ == "__main__":
    for one in [Path(word).resolve() for word in sys.argv[1:]] or PAGES:
        rewrite(one)

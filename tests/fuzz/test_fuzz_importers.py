"""Whatever a folder holds, import takes it whole or refuses it in plain words and leaves the ledger as it was."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest
from hypothesis import strategies as st

from vanstock.errors import ImportRefused, VanstockError
from vanstock.ledger.file import open_ledger
from vanstock.routines.session import Session
from vanstock.routines.setup import export_folder, import_folder

Fuzz = Callable[[str, Callable[..., None], st.SearchStrategy[Any]], None]
Files = dict[str, bytes]

EVENING = datetime(2027, 2, 28, 18, 0)
ROOT = Path(__file__).parents[2]
DEMO = ("suppliers.csv", "families.csv", "parts.csv", "fits.csv", "goes_with.csv")
NASTY = (
    *(b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\x1b[31m", b"\xc2\x9b", b"\xe2\x80\xae", b"\r", b"\n"),
    *(b'"', b'""', b",", b",,", b";", b"\t", b"'", b"=1+1", b"-", b"*", b"\xc2\xa0", b"\xe2\x80\xa8", b"\x1a", b"\r\n"),
    *(b"9" * 30, b"x" * 201, b"y" * 140_000, b"\xd9\xa3"),
)
CELLS = (
    *("", "0", "1", "-1", "2.5", "0.333", "999999999", "1e3", "nan", "van", "store", "Van", "customer", "attic", "AAA"),
    *(
        "aaa",
        "*",
        "VAP-1",
        "vap-1",
        "VAP-2",
        "GKT-1",
        "FLU-1",
        "HOS-1",
        "NEW-1",
        "DAY",
        "WEEK",
        "C62",
        "LTR",
        "GAL",
        "J1",
    ),
    *("J4", "J9", "2026-05-04", "2027-03-02", "2027-02-28", "booked", "done", "cancelled", "09520000000011", "17:00"),
    *("Mon-Fri", "vaporiser", "cleaning fluid", "a,b", "two\nlines", "'=1+1", "=1+1", "''", "-5", "'tis", "\x9b31m"),
    *(
        "\u202e",
        "x" * 64,
        "x" * 65,
        "x" * 200,
        "x" * 201,
        "P2463;P2452",
        "1pack",
        "clean",
        "heat-source",
        "0.5",
        "1999",
    ),
)


class Change(NamedTuple):
    """One change to a folder: what kind, where as numbers taken modulo what is there, and what is put there."""

    kind: str
    file: int
    at: int
    to: int
    raw: bytes
    cell: str


def on_bytes(files: Files, name: str, change: Change) -> None:
    text = files[name]
    at = change.at % (len(text) + 1)
    to = min(len(text), at + change.to % 20)
    new = {
        "insert": text[:at] + change.raw + text[at:],
        "replace": text[:at] + change.raw + text[to:],
        "cut": text[:at],
        "drop": text[:at] + text[to:],
        "splice": text[:at] + sorted(files.items())[change.to % len(files)][1][-at:],
        "utf-16": text.decode("utf-8", "replace").encode("utf-16"),
        "latin-1": text.replace(b"e", b"\xe9"),
        "delimiter": text.replace(b",", change.raw[:1]),
        "line ends": text.replace(b"\r\n", change.raw[:2]),
    }
    files[name] = new[change.kind]


def on_rows(files: Files, name: str, change: Change) -> None:
    rows = [row.split(b",") for row in files[name].split(b"\r\n")]
    row = change.at % len(rows)
    column = change.to % len(rows[row])
    quoted = '"' + change.cell.replace('"', '""') + '"'
    if change.kind == "cell of another row":
        other = rows[change.file // 7 % len(rows)]
        rows[row][column] = other[column % len(other)]
    elif change.kind == "cell":
        rows[row][column] = quoted.encode() if set(change.cell) & set(',"\n') else change.cell.encode()
    elif change.kind == "row twice":
        rows.insert(change.to % len(rows), list(rows[row]))
    elif change.kind == "row away":
        del rows[row]
    elif change.kind == "column away":
        rows = [cells[:column] + cells[column + 1 :] for cells in rows]
    elif change.kind == "swap":
        rows[row], rows[change.to % len(rows)] = rows[change.to % len(rows)], rows[row]
    elif change.kind == "move":
        to = sorted(files)[change.to % len(files)]
        files[to] = files[to] + b",".join(rows[row]) + b"\r\n"
    files[name] = b"\r\n".join(b",".join(cells) for cells in rows)


BYTES = ("insert", "replace", "cut", "drop", "splice", "utf-16", "latin-1", "delimiter", "line ends")
ROWS = (*["cell", "cell of another row"] * 4, "row twice", "row away", "row away", "column away", "swap", "move")


def changed(files: Files, changes: list[Change]) -> Files:
    now = dict(files)
    for change in changes:
        if not now:
            return now
        name = sorted(now)[change.file % len(now)]
        if change.kind == "file away":
            del now[name]
        elif change.kind in BYTES:
            on_bytes(now, name, change)
        else:
            on_rows(now, name, change)
    return now


places = st.integers(0, 2_000)
raws = st.sampled_from(NASTY) | st.binary(min_size=1, max_size=6)
words = st.sampled_from(CELLS) | st.text(st.characters(codec="utf-8"), max_size=12)
kinds = st.sampled_from((*ROWS * 2, *BYTES, "file away"))
changes = st.lists(st.builds(Change, kinds, places, places, places, raws, words), max_size=3)
inputs = st.tuples(st.sampled_from(("good", "good", "good", "demo")), st.booleans(), changes)


def fresh(template: Path, ledger: Path) -> Session:
    """A sitting with a copy of a ledger."""
    shutil.copyfile(template, ledger)
    return Session(open_ledger(ledger), EVENING, ledger)


@pytest.fixture
def templates(broken: ModuleType, tmp_path: Path) -> dict[bool, Path]:
    """An empty ledger, and one that has the good folder already."""
    made = {}
    for filled in (False, True):
        made[filled] = tmp_path / f"template-{filled}.db"
        session = Session(open_ledger(made[filled], create=True), EVENING, made[filled])
        if filled:
            import_folder(session, broken.write(tmp_path / "first", broken.as_bytes(broken.GOOD)))
        session.ledger.close()
    return made


def demo_files() -> Files:
    """A dozen rows of each of the demo firm's files that stand by themselves."""
    lines = {name: (ROOT / "demo" / "firm" / name).read_bytes().splitlines(keepends=True) for name in DEMO}
    known = {row.split(b",")[0] for row in lines["parts.csv"][:13]}
    return {
        name: b"".join(row for n, row in enumerate(rows) if n < 13 and (n == 0 or stands(name, row, known)))
        for name, rows in lines.items()
    }


def stands(name: str, row: bytes, known: set[bytes]) -> bool:
    cells = row.strip().split(b",")
    wanted = {"fits.csv": cells[1:2], "goes_with.csv": cells[:2], "parts.csv": [c for c in cells[-1:] if c]}.get(
        name, []
    )
    return set(wanted) <= known


def told_plainly(mistake: VanstockError) -> None:
    assert "\n" not in str(mistake)
    if isinstance(mistake, ImportRefused):
        assert mistake.problems
        for problem in mistake.problems:
            assert problem.line >= 1
            assert problem.text
            assert len(problem.text) < 2_000


def test_import_folders(fuzz: Fuzz, broken: ModuleType, templates: dict[bool, Path], tmp_path: Path) -> None:
    good = {"good": broken.as_bytes(broken.GOOD), "demo": demo_files()}
    before = {filled: path.read_bytes() for filled, path in templates.items()}
    sessions = {filled: fresh(path, tmp_path / f"{filled}.db") for filled, path in templates.items()}
    folder, out = tmp_path / "folder", tmp_path / "out"
    taken = {"whole": 0}

    def law(drawn: tuple[str, bool, list[Change]]) -> None:
        name, filled, what = drawn
        session = sessions[filled]
        shutil.rmtree(folder, ignore_errors=True)
        broken.write(folder, changed(good[name], what))
        try:
            imported = import_folder(session, folder)
        except VanstockError as mistake:
            told_plainly(mistake)
            assert session.path.read_bytes() == before[filled]
            return
        taken["whole"] += 1
        if imported.total:
            comes_back(session, out)
            session.ledger.close()
            sessions[filled] = fresh(templates[filled], session.path)
        assert sessions[filled].path.read_bytes() == before[filled]

    try:
        fuzz("import folders", law, inputs)
    finally:
        for session in sessions.values():
            session.ledger.close()
    assert taken["whole"] > 5


def comes_back(session: Session, out: Path) -> None:
    """That an export of the ledger is nothing new to it."""
    shutil.rmtree(out, ignore_errors=True)
    below_zero = export_folder(session, out)["below zero"]
    if below_zero:
        return
    stands = session.path.read_bytes()
    assert import_folder(session, out).total == 0
    assert session.path.read_bytes() == stands

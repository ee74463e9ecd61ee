"""The faces of a forecast: the table, the page of one part, its picture, and the levels of past lists."""

from __future__ import annotations

import json
import re
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from vanstock.errors import VanstockError
from vanstock.exchange.chart import Picture, draw
from vanstock.ledger import file

Run = Callable[..., Any]
FRIDAY, NEXT_FRIDAY = "2027-03-05T14:00", "2027-03-12T14:00"
SOME = ("FL-UNI-800-A", "CN-UNI-820-A", "HS-UNI-411-A", "DS-KRA-010-B", "PS-SKV-400-A")
HEADINGS = ("each week", "kind", "method", "rests on", "coming", "how many", "spread", "levels", "changed")
MONDAYS = tuple(date(2026, 1, 5) + timedelta(days=7 * week) for week in range(60))
PICTURE = Picture(
    part="SNS-1", description="pressure sensor", unit="pieces", whole=True, mondays=MONDAYS,
    need=tuple(float(week % 3) for week in range(60)), level=(1.0,) * 60, interval_days=6, half=1, most=3, min=3, max=4,
)  # fmt: skip


def test_the_table_gives_every_part_a_line_of_at_most_eighty_columns(vanstock: Run) -> None:
    lines = vanstock("forecast", now=FRIDAY).out.splitlines()
    assert max(map(len, lines)) <= 80
    weeks = int(re.findall(r"last (\d+) weeks", lines[0])[0])
    assert 20 <= weeks <= 26
    rows = [line for line in lines[2:] if re.match(r"[A-Z]{2}-[A-Z]{3}-", line)]
    assert len(rows) == len(lines) - 2 - 3  # headings, and a paragraph of three lines
    end = lines[0].index("weeks") + 5
    for row in rows:
        assert re.fullmatch(rf"[ ▁▂▃▄▅▆▇█.]{{{weeks}}}", row[end - weeks : end]), row


@pytest.mark.parametrize("part", SOME)
def test_the_page_of_a_part_is_one_screen(vanstock: Run, part: str) -> None:
    said = vanstock(f"forecast {part} --why", now=FRIDAY)
    lines = said.out.splitlines()
    assert (said.code, said.err) == (0, "")
    assert lines[0].startswith(f"{part}  ")
    assert len(lines) <= 30
    assert max(map(len, lines)) <= 80
    for heading in HEADINGS:
        assert any(line.startswith(heading.ljust(11)) for line in lines), heading


def test_the_page_and_its_json_tell_the_same(vanstock: Run) -> None:
    page = " ".join(vanstock("forecast DS-KRA-010-B --why", now=FRIDAY).out.split())
    (found,) = json.loads(vanstock("forecast DS-KRA-010-B --why --json", now=FRIDAY).out)["parts"]
    assert f"{found['weeks']} weeks, {found['weeks_with_need']} with need" in page
    assert f"ADI {found['adi']:.2f}" in page
    assert f"CV2 {found['cv2']:.2f}" in page
    assert found["what_the_method_does"] in page
    assert f"min {found['min']}, max {found['max']}: {found['basis']}" in page
    assert f"{float(found['weekly_mean']):.2f} a week" in page
    assert f"to {found['interval_ends']}" in page
    assert all(week["week"] in page for week in found["next_weeks"])
    assert f"{found['quantiles']['0.95']} in 95" in page
    assert f"{found['spread']} curve" in page
    assert found["week_ago"]["date"] in page
    assert len(found["history"]) == found["weeks"]


def test_the_page_says_that_nothing_changed_or_what_did(vanstock: Run) -> None:
    changed = json.loads(vanstock("forecast FL-UNI-800-A --why --json", now=FRIDAY).out)["parts"][0]
    assert "mean week" in changed["changed"]
    then, now = (f"{float(one['weekly_mean']):.2f}" for one in (changed["week_ago"], changed))
    page = " ".join(vanstock("forecast FL-UNI-800-A --why", now=FRIDAY).out.split())
    assert f"since Fri 2027-02-26: mean week from {then} to {now}" in page
    assert "nothing changed (mean week" in " ".join(vanstock("forecast PS-SKV-400-A --why", now=FRIDAY).out.split())


def test_a_part_with_few_needs_is_said_to_borrow(vanstock: Run) -> None:
    said = " ".join(vanstock("forecast PS-SKV-400-A --why", now=FRIDAY).out.split())
    assert "borrowed from other parts called filter pressure sensor and all intermittent parts" in said


def test_a_part_that_was_never_needed_has_a_short_page(vanstock: Run) -> None:
    rows = json.loads(vanstock("forecast --json", now=FRIDAY).out)["parts"]
    never = next(row["part"] for row in rows if not row["weeks_with_need"])
    said = vanstock(f"forecast {never} --why", now=FRIDAY)
    assert "never needed" in said.out
    assert json.loads(vanstock(f"forecast {never} --why --json", now=FRIDAY).out)["parts"][0]["adi"] is None


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("forecast --why", "name the part"),
        ("forecast --chart x.png", "name the part"),
        ("forecast DS-KRA-010-B --chart x.pdf", "ends in neither .svg nor .png"),
        ("forecast DS-KRA-010-B --chart x", "ends in neither .svg nor .png"),
        ("forecast DS-KRA-010-B --chart no/such/folder/x.png", "cannot write no/such/folder/x.png: there is no folder"),
        ("forecast 'filter pressure' --why", "could be"),
        ("minmax --past", "name the part whose past levels"),
        ("minmax GK-KRA-011-A --past --unpin", "one at a time"),
    ],
)
def test_a_mistake_is_one_line(vanstock: Run, line: str, says: str) -> None:
    said = vanstock(line, now=FRIDAY)
    assert (said.code, said.out) == (1, "")
    assert says in said.err
    assert len(said.err.splitlines()) == 1


def test_a_part_is_drawn_as_png_and_svg(vanstock: Run, tmp_path: Path) -> None:
    said = vanstock(f"forecast FL-UNI-800-A --chart {tmp_path / 'a.PNG'}", now=FRIDAY)
    assert (said.code, said.err) == (0, "")
    assert "FL-UNI-800-A drawn to" in said.out
    data = (tmp_path / "a.PNG").read_bytes()
    assert data.startswith(b"\x89PNG")
    assert struct.unpack(">II", data[16:24]) == (780, 640)  # two dots for each of a phone's 390
    both = vanstock(f"forecast FL-UNI-800-A --why --json --chart {tmp_path / 'a.svg'}", now=FRIDAY)
    assert json.loads(both.out)["parts"]
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")
    assert sorted(path.name for path in tmp_path.iterdir() if "a." in path.name) == ["a.PNG", "a.svg"]


def test_the_same_values_give_the_same_svg_without_a_date(tmp_path: Path) -> None:
    for name in ("a.svg", "b.svg"):
        draw(tmp_path / name, PICTURE)
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert text == (tmp_path / "b.svg").read_text(encoding="utf-8")
    assert "dc:date" not in text
    assert "SNS-1 pressure sensor" in text


@pytest.mark.parametrize(
    "text", [r"$\frac{1}{0$", "$x$ y_1^2", "\u4e2d\u6587 \U0001f527", "d" * 200, "<b>&amp;", "%s {0}"]
)
def test_any_description_is_drawn_as_it_is_written(tmp_path: Path, text: str) -> None:
    draw(tmp_path / "a.png", PICTURE._replace(description=text, part=text))
    draw(tmp_path / "a.svg", PICTURE._replace(description=text, part=text))


@pytest.mark.parametrize(
    "changed",
    [
        {"mondays": (), "need": (), "level": (), "half": 0, "most": 0, "min": 0, "max": 0},
        {"mondays": MONDAYS[:1], "need": (0.0,), "level": (0.0,)},
        {"min": 4},
        {"min": 3_999, "max": 4_000},
        {"whole": False, "unit": "L", "half": 0.0, "most": 0.0, "min": 0.0, "max": 0.0, "need": (0.0,) * 60},
    ],
)
def test_any_part_can_be_drawn(tmp_path: Path, changed: dict[str, Any]) -> None:
    draw(tmp_path / "a.png", PICTURE._replace(**changed))


def test_a_picture_that_cannot_be_written_leaves_nothing_half_written(tmp_path: Path) -> None:
    (tmp_path / "a.png").mkdir()
    with pytest.raises(VanstockError, match="cannot write"):
        draw(tmp_path / "a.png", PICTURE)
    with pytest.raises(VanstockError, match="cannot write"):
        draw(tmp_path / "\0.png", PICTURE)
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]


def test_drawing_leaves_matplotlib_as_it_was(tmp_path: Path) -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    draw(tmp_path / "a.png", PICTURE)
    assert dict(mpl.rcParams) == before


def test_last_weeks_levels_can_be_explained(vanstock: Run) -> None:
    assert vanstock("minmax FL-UNI-800-A --past", now=FRIDAY).out.startswith("no past levels of FL-UNI-800-A yet")
    assert vanstock("reorder", now=FRIDAY).err == ""
    (then,) = json.loads(vanstock("forecast FL-UNI-800-A --json", now=FRIDAY).out)["parts"]
    vanstock("minmax FL-UNI-800-A --min 10 --max 20", now=FRIDAY)
    assert vanstock("reorder --json", now=NEXT_FRIDAY).err == ""
    past = json.loads(vanstock("minmax FL-UNI-800-A --past --json", now=NEXT_FRIDAY).out)["past"]
    assert [row["pinned"] for row in past] == [True, False]
    assert (past[0]["min"], past[0]["max"]) == ("10", "20")
    assert {key: past[1][key] for key in ("method", "weekly_mean", "quantiles")} == {
        key: then[key] for key in ("method", "weekly_mean", "quantiles")
    }
    lines = vanstock("minmax FL-UNI-800-A --past", now=NEXT_FRIDAY).out.splitlines()
    assert max(map(len, lines)) <= 80
    assert any(re.match("2027-03-12 14:00 +10 L +20 L  pinned by hand; ", line) for line in lines)


def test_a_ledger_that_is_busy_does_not_stop_the_list(
    vanstock: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "BUSY_SECONDS", 0)
    free = vanstock("reorder", now=FRIDAY).out
    with closing(sqlite3.connect(tmp_path / "firm.db", isolation_level=None)) as other:
        other.execute("DELETE FROM basis")
        other.execute("BEGIN IMMEDIATE")
        said = vanstock("reorder", now=FRIDAY)
    assert (said.code, said.out) == (0, free)
    assert said.err.startswith("note: what this list rests on was not kept")
    assert len(said.err.splitlines()) == 1
    assert vanstock("minmax FL-UNI-800-A --past", now=FRIDAY).out.startswith("no past levels")

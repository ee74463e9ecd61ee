"""The count sheet on paper and as a table: a box a line, no figures, nothing run or fetched, one page of ten lines."""

from __future__ import annotations

import re
import shutil
import subprocess
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.errors import BadValue
from vanstock.exchange.countsheet import COLUMNS, read_answers, write
from vanstock.exchange.printed import rendered
from vanstock.model import Part
from vanstock.routines.counting import CountSheet, SheetCode, SheetLine
from vanstock.routines.countprint import sheet_page

CODE = SheetCode(12, "0a1b2c3d", datetime(2027, 3, 1, 7, 30), frozen=False)
WHY = "short at 3 of the last 4 counts: look for a leak, a wrong pack size, or parts fitted and not logged"
FLUID = Part("FLU-1", "filter cleaning fluid", unit="LTR")


def sheet(lines: int = 4, *, full: bool = False) -> CountSheet:
    parts = [FLUID, *(Part(f"PRT-{number}", "exhaust temperature sensor, before filter") for number in range(1, lines))]
    rows = [
        SheetLine(
            part, "van" if number < lines / 2 else "store", WHY if number < 2 else "never counted", 77_123, number
        )
        for number, part in enumerate(parts)
    ]
    return CountSheet(CODE._replace(frozen=full), full, tuple(rows))


def html(found: CountSheet, *, figures: bool = False) -> str:
    return rendered("count.html.j2", sheet_page(found, figures=figures))


def test_there_is_a_box_for_each_line_and_what_the_ledger_has_only_when_asked_for() -> None:
    """A count that does not show the figure is a real count: common practice, no source."""
    blind = html(sheet())
    assert blind.count('class="box"') == 4
    assert "77.123" not in blind
    assert "77123" not in blind
    assert html(sheet(), figures=True).count("77.123 L") == 1
    for words in (WHY, "S12-0a1b2c3d-20270301-0730", "Monday 1 March 2027", "<h2>van</h2>", "<h2>store</h2>"):
        assert words in blind


def test_a_full_sheet_says_the_frozen_moment_and_has_lines_for_what_else_is_found() -> None:
    page = html(sheet(full=True))
    assert "Frozen on Monday 1 March 2027 at 07:30" in page
    assert "F12-0a1b2c3d-20270301-0730" in page
    assert page.count('class="line"') == 6
    assert html(sheet()).count('class="line"') == 0


def test_the_page_needs_nothing_beside_it_and_hostile_words_become_no_markup() -> None:
    bad = "<script>alert(1)</script><img src=x onerror=y>"
    found = sheet()
    page = html(found._replace(lines=(SheetLine(Part(bad, bad), bad, bad, 1, 1),)))
    assert "<script" not in page
    assert "<img" not in page
    assert "//" not in page.removeprefix("<!DOCTYPE html>")
    assert not re.search(r"url\(|@import|<link", page)
    assert page.count("&lt;script&gt;") >= 4


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=20), min_size=1)
)
def test_a_table_reads_back_as_it_was_written(tmp_path_factory: pytest.TempPathFactory, names: list[str]) -> None:
    path = tmp_path_factory.mktemp("sheet") / "count.csv"
    lines = tuple(SheetLine(Part(name, name), "van", "never counted", 1, 1) for name in names)
    write(path, sheet_page(CountSheet(CODE, False, lines)))
    rows, problems = read_answers(path)
    assert problems == []
    assert [row[1:] for row in rows] == [(name, "van", "", str(CODE)) for name in names]


def test_the_table_has_the_ledgers_figure_only_when_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "c.csv"
    for figures in (False, True):
        write(path, sheet_page(sheet(), figures=figures))
        header = path.read_text(encoding="utf-8").splitlines()[0].split(",")
        assert header == [name for name in COLUMNS if figures or name != "ledger"]


@pytest.mark.parametrize("name", ["firm.db", "count", "count.html.db", "count.txt"])
def test_only_a_file_named_as_a_page_or_a_table_is_written_over(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("kept")
    with pytest.raises(BadValue, match=r"name it like count\.html or count\.csv"):
        write(tmp_path / name, sheet_page(sheet()))
    assert (tmp_path / name).read_text() == "kept"


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="there is no chromium on the PATH to print with")
def test_ten_lines_at_two_places_print_on_one_a4_sheet(tmp_path: Path) -> None:
    """ISO 216: A4 is 210 by 297 mm; ISO 32000-1, 8.3.2.3: a point is a 72nd of an inch (from memory)."""
    page, paper = tmp_path / "count.html", tmp_path / "count.pdf"
    write(page, sheet_page(sheet(10)))
    quiet = ("--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync")
    words = [
        "chromium",
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        *quiet,
        f"--user-data-dir={tmp_path / 'profile'}",
    ]
    printing = [*words, "--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri()]
    subprocess.run(printing, check=True, capture_output=True, timeout=120)
    pdf = paper.read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    (size,) = set(re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf))
    assert [float(side) for side in size] == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=1)

"""Labels on sheets: each code says its part number, the sheets add up, and the page needs nothing beside it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from vanstock.errors import BadValue, NotFound
from vanstock.exchange.labels import GRIDS, SHEET, Label, as_html, laid_out, module_mm, parse_grid
from vanstock.ledger.catalogue import save_pin
from vanstock.ledger.file import writing
from vanstock.routines.labels import Wish, hard_to_read, label_sheets, write_sheets
from vanstock.routines.session import Session
from vanstock.routines.stock import count

LONG = Label("W" * 64, "a description that goes on " * 8, ("van: pieces, pack 10",) * 3, "maker's label must show")
_SQUARE = re.compile(r"M(\d+) (\d+)h(\d+)v1")


def page(*labels: Label, grid: str = "3x8", start: int = 1) -> str:
    return as_html(laid_out(labels, GRIDS[grid], title="Labels", start=start))


def code_of(number: str) -> str:
    cell = laid_out([Label(number, "")], GRIDS["3x8"], title="").sheets[0][0]
    assert cell
    return cell.code


def painted(svg: str, scale: int = 4) -> Image.Image:
    """The code of a page as a picture, by its squares."""
    side = int(re.findall(r'viewBox="0 0 (\d+)', svg)[0])
    picture = Image.new("L", (side * scale, side * scale), 255)
    pen = ImageDraw.Draw(picture)
    for across, down, length in (map(int, one) for one in _SQUARE.findall(svg)):
        pen.rectangle((across * scale, down * scale, (across + length) * scale - 1, (down + 1) * scale - 1), fill=0)
    return picture


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=64))
def test_every_part_number_is_read_back_from_its_code(number: str) -> None:
    read = zxingcpp.read_barcodes(painted(code_of(number)), text_mode=zxingcpp.TextMode.Plain)
    assert [one.text for one in read] == [number]


def test_a_code_keeps_its_quiet_zone_and_a_level_that_a_scratch_does_not_hurt() -> None:
    """Four light modules around, ISO/IEC 18004."""
    code = painted(code_of("GK-KRA-011-A"), 1)
    dark = code.point(lambda one: 255 - one).getbbox()
    assert dark == (4, 4, code.width - 4, code.height - 4)
    assert zxingcpp.read_barcodes(painted(code_of("GK-KRA-011-A")))[0].ec_level in ("M", "Q", "H")


@pytest.mark.parametrize("name", GRIDS)
def test_the_common_sheets_fit_on_a4_and_hold_a_code_that_a_phone_reads(name: str) -> None:
    grid = GRIDS[name]
    assert grid.columns * grid.width + (grid.columns - 1) * grid.gap <= SHEET[0]
    assert grid.rows * grid.height <= SHEET[1]
    assert module_mm("GK-KRA-011-A", grid) > 0.33


def test_labels_begin_where_the_used_sheet_ends_and_go_on_over_the_next() -> None:
    made = laid_out([Label(f"P-{number}", "") for number in range(30)], GRIDS["3x8"], title="", start=5)
    assert [len(sheet) for sheet in made.sheets] == [24, 10]
    assert [cell is None for cell in made.sheets[0][:6]] == [True, True, True, True, False, False]
    assert page(Label("A", ""), start=5).count("<div></div>") == 4


def test_the_page_needs_nothing_beside_it_and_hostile_words_become_no_markup() -> None:
    bad = "<script>alert(1)</script><img src=x onerror=y>"
    made = page(Label(bad[:64], bad, (bad,), bad))
    assert "<script" not in made
    assert "<img" not in made
    assert "//" not in made.removeprefix("<!DOCTYPE html>")
    assert not re.search(r"url\(|@import|<link", made)


def test_long_words_are_cut_off_at_the_smallest_letters_and_never_the_code() -> None:
    made = laid_out([LONG], GRIDS["5x13"], title="")
    cell = made.sheets[0][0]
    assert cell
    assert cell.what.text.endswith("…")
    assert cell.small.text.endswith("must show")
    assert zxingcpp.read_barcodes(painted(cell.code))[0].text == LONG.part


@pytest.mark.parametrize(
    ("name", "size", "gap", "words"),
    [
        ("3x9", "", "", "none of 2x4"),
        ("3", "50x30", "", "not two numbers"),
        ("3x8", "70", "", "not two numbers"),
        ("3x8", "70x40", "", "do not fit on A4"),
        ("3x8", "63.5x33.9", "20", "do not fit on A4"),
        ("9x9", "20x20", "", "too small"),
        ("0x8", "50x30", "", "at least 1x1"),
        ("3x0", "50x30", "", "at least 1x1"),
        ("1.5x8", "50x30", "", "finer than a whole number"),
        ("3x8", "", "-1", "no length"),
        ("3x8", "1e9x1", "", "not two numbers"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(name: str, size: str, gap: str, words: str) -> None:
    with pytest.raises(BadValue, match=words):
        parse_grid(name, size=size, gap=gap)


def test_other_sheets_are_told_by_their_labels_size() -> None:
    assert parse_grid("3X8", size="70 x 37").size == "70 x 37 mm"
    assert parse_grid("3x8", gap="3").gap == 30
    assert parse_grid("3x8").size == "63.5 x 33.9 mm"


@pytest.fixture
def stocked(session: Session) -> Session:
    for part, qty, place in (("BLT-1", "20", "store"), ("GKT-1", "3", "van"), ("FLU-1", "4.5", "van")):
        count(session, part, qty, place=place)
    return session


def test_without_parts_there_is_a_label_for_each_bin_place_by_place(stocked: Session) -> None:
    def named(**wish: str) -> list[tuple[str, str]]:
        found = label_sheets(stocked, Wish(**wish), GRIDS["3x8"])  # type: ignore[arg-type]
        return [(label.part.part, label.place) for label in found.labels]

    assert named() == [("GKT-1", "van"), ("FLU-1", "van"), ("BLT-1", "store")]
    assert named(place="Van") == [("GKT-1", "van"), ("FLU-1", "van")]
    assert named(family="bbb") == [("FLU-1", "van"), ("BLT-1", "store")]


def test_named_parts_have_a_label_each_time_they_are_named(stocked: Session) -> None:
    found = label_sheets(stocked, Wish(("GKT-1", "bolt", "GKT-1"), place="van"), GRIDS["3x8"], start=24)
    assert [(label.part.part, label.place) for label in found.labels] == [
        ("GKT-1", "van"), ("BLT-1", "van"), ("GKT-1", "van"),
    ]  # fmt: skip
    assert (found.sheets, found.where(1), found.where(2)) == (2, (1, 8, 3), (2, 1, 1))


def test_nothing_to_label_and_a_start_beyond_the_sheet_are_told(session: Session) -> None:
    with pytest.raises(NotFound, match="nothing lies in van: name the parts"):
        label_sheets(session, Wish(place="van"), GRIDS["3x8"])
    with pytest.raises(NotFound, match="no family 'ZZZ': there is AAA, BBB"):
        label_sheets(session, Wish(("GKT-1",), family="ZZZ"), GRIDS["3x8"])
    for start in (0, 25):
        with pytest.raises(BadValue, match="labels 1 to 24"):
            label_sheets(session, Wish(("GKT-1",)), GRIDS["3x8"], start=start)


def test_a_label_says_unit_pack_levels_and_that_dangerous_goods_show_their_own(
    stocked: Session, tmp_path: Path, words_of: Callable[[Path], str]
) -> None:
    with writing(stocked.ledger) as ledger:
        save_pin(ledger, "FLU-1", (5_000, 12_500))
        ledger.execute("UPDATE part SET hazard = 'UN1719/8/III/TC3' WHERE part = 'FLU-1'")
    write_sheets(stocked, label_sheets(stocked, Wish(place="van"), GRIDS["2x4"]), tmp_path / "l.html")
    words = words_of(tmp_path / "l.html")
    assert (
        "FLU-1 filter cleaning fluid van: litres, pack 5 L min 5 L, max 12.5 L in all maker's label must show" in words
    )
    assert "GKT-1 vaporiser gasket van: pieces" in words
    assert words.count("maker's label") == 1


@pytest.fixture
def words_of() -> Callable[[Path], str]:
    def read(path: Path) -> str:
        text = re.sub(r"<[^>]*>", " ", path.read_text(encoding="utf-8").replace("&#39;", "'"))
        return " ".join(text.split())

    return read


def test_a_file_that_is_no_page_is_not_written_over(stocked: Session, tmp_path: Path) -> None:
    with pytest.raises(BadValue, match=r"name the page like labels\.html"):
        write_sheets(stocked, label_sheets(stocked, Wish(), GRIDS["3x8"]), tmp_path / "firm.db")


def test_codes_too_fine_for_the_label_are_named(stocked: Session) -> None:
    small, large = (label_sheets(stocked, Wish(("GKT-1",)), GRIDS[name]) for name in ("5x13", "2x4"))
    assert (hard_to_read(small), hard_to_read(large)) == ((), ())
    assert module_mm("w" * 64, GRIDS["5x13"]) < 0.33 < module_mm("w" * 64, GRIDS["2x4"])

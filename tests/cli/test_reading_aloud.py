"""What a screen reader is given (`--plain`), and what narrow, wide and colourless terminals show."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run, at_a_terminal, typed_at_a_terminal

MORNING = "2027-03-01T06:40"
SCREENS = (
    "loadout",
    "loadout J0785 --why",
    "stock gasket",
    "history DS-KRA-010-A",
    "reorder",
    "week",
    "minmax",
    "minmax GK-KRA-011-A --why",
    "forecast",
    "curve",
    "value",
    "value --slow",
    "year 2026",
    "owed",
    "count --sheet",
    "count --report",
    "booking list",
    "place list",
    "setting",
    "score",
)
DRAWN = re.compile(r"[─━│┃┌└▁▂▃▄▅▆▇█]|[#=]{3}|-{3}")


@pytest.mark.parametrize("screen", SCREENS)
def test_what_is_read_aloud_has_every_word_and_figure_and_nothing_drawn_or_aligned(vanstock: Run, screen: str) -> None:
    shown = vanstock(screen, now=MORNING)
    spoken = vanstock(f"--plain {screen}", now=MORNING)
    assert (spoken.code, spoken.err) == (shown.code, shown.err)
    assert "  " not in spoken.out
    assert not DRAWN.search(spoken.out)
    without_drawings = DRAWN.sub(" ", shown.out)
    assert figures(without_drawings) <= figures(spoken.out)


def figures(text: str) -> set[str]:
    """Every part number, date and number; one that a narrow column has broken in two is whole in the other."""
    return set(re.findall(r"(?<![\w.-])[A-Z]{2}-[A-Z]{3}-\d{3}-[A-Z]\b|\b\d{4}-\d\d-\d\d\b|\b\d+\.\d\d\b", text))


def test_each_row_names_its_columns_and_leaves_out_empty_cells(vanstock: Run) -> None:
    spoken = vanstock("--plain booking list", now=MORNING).out.splitlines()
    assert spoken[0].startswith("J0782; ")
    assert "family: KRA" in spoken[0]
    assert not any(line.rstrip().endswith(":") for line in spoken)


def test_it_can_be_set_for_good_in_the_environment(vanstock: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VANSTOCK_PLAIN", "1")
    assert "part: " in vanstock("count --sheet", now=MORNING).out or "what: " in vanstock("count --sheet").out
    monkeypatch.delenv("VANSTOCK_PLAIN")
    assert "what: " not in vanstock("count --sheet", now=MORNING).out


@at_a_terminal
@pytest.mark.slow
@pytest.mark.parametrize("columns", [60, 200])
@pytest.mark.parametrize("screen", ["loadout", "week"])
def test_a_screen_keeps_within_a_narrow_and_a_wide_terminal(
    imported: Path, tmp_path: Path, columns: int, screen: str
) -> None:
    ledger = shutil.copy(imported, tmp_path / "copy.db")
    words = ["--ledger", str(ledger), "--now", MORNING, screen]
    _, shown = typed_at_a_terminal(words, COLUMNS=str(columns), NO_COLOR="1")
    assert not re.search(r"\x1b\[[0-9;]*[34][0-7]m", shown)
    lines = [re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", line).rstrip() for line in shown.splitlines()]
    assert max(len(line) for line in lines if "━" not in line) <= columns

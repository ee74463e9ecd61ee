"""Every picture of a page is there, is shown with words for who cannot see it, and is small; none lies about unused."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest

from tests.browser.pictured import PICTURED, Pictured

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize("pictured", PICTURED, ids=[one.name for one in PICTURED])
def test_a_pictures_page_shows_it_with_words_in_its_place(pictured: Pictured) -> None:
    shown = (DOCS / pictured.doc).read_text(encoding="utf-8")
    assert f"![{pictured.alt}](pictures/{pictured.name}.png)" in shown
    picture = (DOCS / "pictures" / f"{pictured.name}.png").read_bytes()
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"  # PNG (W3C Recommendation, third edition), 5.2; 11.2.1: width and height
    assert struct.unpack(">II", picture[16:24]) == (390, 844)
    assert len(picture) < 60_000


@pytest.mark.parametrize("drawn", sorted((DOCS / "pictures").glob("*.svg")), ids=lambda drawn: drawn.stem)
def test_a_picture_of_the_terminal_is_small_and_fetches_nothing(drawn: Path) -> None:
    svg = drawn.read_text(encoding="utf-8")
    assert len(svg) < 60_000
    assert set(re.findall(r"\w+://[^\"' )]+", svg)) == {"http://www.w3.org/2000/svg"}  # SVG's own name, not an address
    assert not re.search(r"@import|@font-face|href|src|url\((?!#)|<script", svg)


def test_no_picture_is_shown_nowhere_or_missing() -> None:
    pages = "".join(page.read_text(encoding="utf-8") for page in DOCS.glob("*.md"))
    shown = set(re.findall(r"!\[[^\]]+\]\(pictures/([^)]+)\)", pages))
    assert shown == {file.name for file in (DOCS / "pictures").iterdir()}

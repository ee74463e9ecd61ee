"""Draws the pictures of the documentation; only with `python -m pytest tests/browser --pictures`."""

from __future__ import annotations

from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import Page

from tests.browser.conftest import ROOT
from tests.browser.pictured import PICTURED, Pictured
from tests.browser.proxy import Line

COLOURS = 48


@pytest.mark.parametrize("pictured", PICTURED, ids=[one.name for one in PICTURED])
def test_a_page_of_the_documentation_is_drawn(phone: Page, line: Line, pictured: Pictured) -> None:
    phone.goto(pictured.address)
    if pictured.before:
        pictured.before(phone, line)
    seen = Image.open(BytesIO(phone.screenshot(animations="disabled", caret="hide"))).convert("RGB")
    few = seen.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    file = ROOT / "docs" / "pictures" / f"{pictured.name}.png"
    file.parent.mkdir(exist_ok=True)
    few.save(file, optimize=True)
    assert file.stat().st_size < 60_000

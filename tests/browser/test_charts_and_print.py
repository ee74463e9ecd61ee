"""Charts and the page to print in a browser: shown under the strict policy, legible by day and night, with few bytes
before Today is seen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.hand import FLUID
from tests.browser.test_pages import SMALL_TARGETS, SMALL_TEXT, fits_every_screen, unfold, violations

CHARTS = {"curve": ("/curve", "A little more cash"), "forecast": (f"/forecast/{FLUID}", "What it rests on")}
LETTER_SHARE = 8 / (3.3 * 72)
"""The height of the smallest letters as a share of a picture's width: 8 points of 3.3 inches."""
CUT_WORDS = """() => {
  const cut = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text; (text = walker.nextNode());) {
    for (const word of text.data.matchAll(/[a-z]{4,}/gi)) {
      const range = document.createRange();
      range.setStart(text, word.index);
      range.setEnd(text, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map((one) => Math.round(one.top))).size > 1) cut.push(word[0]);
    }
  }
  return cut;
}"""
BRIGHTNESS = """(image) => {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [40, 40];
  const paper = canvas.getContext("2d");
  paper.drawImage(image, 0, 0, 40, 40);
  return paper.getImageData(0, 0, 1, 1).data.slice(0, 3).reduce((all, one) => all + one, 0);
}"""


@pytest.mark.slow
@pytest.mark.parametrize("name", CHARTS)
def test_a_chart_can_be_read_by_day_and_by_night(
    new_phone: Callable[..., BrowserContext], name: str, pictures: Path
) -> None:
    page, (address, last) = new_phone().new_page(), CHARTS[name]
    page.goto(address)
    expect(page.locator("main")).to_contain_text(last, timeout=40_000)
    image = page.locator("img.chart")
    brightness = {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        expect(image).to_have_js_property("complete", True, timeout=20_000)
        page.wait_for_function("() => document.querySelector('img.chart').naturalWidth > 0", timeout=40_000)
        brightness[scheme] = image.evaluate(BRIGHTNESS)
        page.screenshot(path=pictures / f"{name}-{scheme}.png", full_page=True)
        assert violations(page) == [], scheme
    assert brightness["light"] > 3 * 200
    assert brightness["dark"] < 3 * 50
    assert image.evaluate("(image) => image.clientWidth") * LETTER_SHARE >= 12
    unfold(page)
    assert (page.evaluate(SMALL_TEXT), page.evaluate(SMALL_TARGETS)) == ([], [])
    fits_every_screen(page)
    page.goto(image.evaluate("(image) => image.currentSrc"))  # by itself, under the policy of every answer
    assert page.evaluate("() => getComputedStyle(document.querySelector('path')).fill") == "rgb(16, 19, 23)"


def test_the_page_to_print_has_its_look_under_the_policy(phone: Page, pictures: Path) -> None:
    phone.goto("/load")
    phone.get_by_role("link", name="Page to print").click()
    expect(phone.locator("h1")).to_be_visible()
    box = phone.locator(".box").first
    assert box.evaluate("(box) => getComputedStyle(box).borderTopStyle") == "solid"
    phone.screenshot(path=pictures / "print.png", full_page=True)
    assert violations(phone) == []
    fits_every_screen(phone)


def test_no_word_of_the_page_to_print_is_cut_into_letters_on_a_phone(phone: Page) -> None:
    phone.goto("/print")
    assert phone.evaluate(CUT_WORDS) == []
    phone.set_viewport_size({"width": 360, "height": 740})
    assert phone.evaluate(CUT_WORDS) == []
    fits_every_screen(phone)


def test_the_first_view_of_today_is_under_60_kb_in_eleven_requests_and_shown_before_any_script(phone: Page) -> None:
    line = phone.context.new_cdp_session(phone)
    weights: list[float] = []
    line.on("Network.loadingFinished", lambda told: weights.append(told["encodedDataLength"]))
    line.send("Network.enable")
    phone.goto("/", wait_until="networkidle")
    assert 5 < len(weights) <= 11
    assert sum(weights) < 60_000
    waited_for: list[str] = phone.evaluate(
        "() => performance.getEntriesByType('resource').filter((one) => one.renderBlockingStatus === 'blocking')"
        ".map((one) => new URL(one.name).pathname)"
    )
    assert waited_for == ["/static/style.css"]

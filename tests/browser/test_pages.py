"""Every page can be read and pressed: by eye, thumb and keyboard, in the light and in the dark, large and upright.

The bars are WCAG 2.2 at level AA as axe-core finds them (its copy and licence lie in axe/), and the house's
own: no target under 48 px (WCAG 2.5.8 asks for 24) and none that touches another, no text under 17 px, nothing to
scroll sideways.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import FLUID, GASKET, JOB, answers, figure, form, kinds, press, ready, waiting
from tests.browser.proxy import Line, Reply
from vanstock.ledger.file import open_ledger
from vanstock.routines.orderseen import SeenLine, draft_seen
from vanstock.routines.session import Session
from vanstock.routines.stock import add_place, count, receive

AXE = Path(__file__).with_name("axe") / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PAGES = {
    "today": "/", "load": "/load", "job": f"/job/{JOB}", "found": f"/job/{JOB}?q=vaporiser", "stock": "/stock",
    "week": "/week", "history": f"/history/{GASKET}", "missing": "/nothing-here",
}  # fmt: skip
EVERY_PAGE = pytest.mark.parametrize("address", PAGES.values(), ids=PAGES)
SMALL_TEXT = """() => {
  const small = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const parent = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !parent.checkVisibility()) continue;
    if (parseFloat(getComputedStyle(parent).fontSize) < 17) small.push(walk.currentNode.data.trim());
  }
  return small;
}"""
SMALL_TARGETS = """() => {
  const small = [];
  for (const target of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary")) {
    if (!target.checkVisibility() || target.classList.contains("skip")) continue;
    const label = ["checkbox", "radio"].includes(target.type) ? target.labels[0] : null;
    const { width, height } = (label ?? target).getBoundingClientRect();
    if (Math.min(width, height) < 48) small.push([target.outerHTML.slice(0, 80), width, height]);
  }
  return small;
}"""
BUTTONS_THAT_TOUCH = """() => {
  const all = [...document.querySelectorAll("main button, main .button")].filter((one) => one.checkVisibility());
  const close = (one, other) => {
    const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
    const across = Math.max(b.left - a.right, a.left - b.right), down = Math.max(b.top - a.bottom, a.top - b.bottom);
    return across < 5 && down < 5;
  };
  const words = (one) => one.textContent.trim();
  return all.flatMap((one, place) =>
    all.slice(place + 1).filter((other) => close(one, other)).map((other) => [words(one), words(other)]));
}"""
WIDER_THAN_THE_SCREEN = """() => {
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= width) return [];
  const all = [...document.body.querySelectorAll("*")].filter((one) => one.getBoundingClientRect().right > width + 1);
  return ["scrolls", ...all.map((one) => one.outerHTML.slice(0, 80))];
}"""


def fits_every_screen(page: Page) -> None:
    """Nothing scrolls sideways: upright, on a desk, small, in the largest zoom, with letters at twice the size."""
    for width, height in ((390, 844), (1280, 800), (640, 400), (320, 640)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(WIDER_THAN_THE_SCREEN) == [], width
    page.set_viewport_size({"width": 390, "height": 844})
    page.evaluate("() => { document.documentElement.style.fontSize = '200%'; }")
    assert page.evaluate(WIDER_THAN_THE_SCREEN) == [], "letters at twice the size"
    page.evaluate("() => { document.documentElement.style.fontSize = ''; }")


def has_no_fault(page: Page, picture: Path) -> None:
    """No fault of accessibility in the light or the dark, no small letter or target, nothing to scroll sideways."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.screenshot(path=picture.with_name(f"{picture.name}-{scheme}.png"), full_page=True)
        assert violations(page) == [], scheme
    assert (page.evaluate(SMALL_TEXT), page.evaluate(SMALL_TARGETS)) == ([], [])
    assert page.evaluate(BUTTONS_THAT_TOUCH) == []
    fits_every_screen(page)


def unfold(page: Page) -> None:
    page.evaluate("() => { for (const part of document.querySelectorAll('details')) part.open = true; }")


def violations(page: Page) -> list[tuple[str, str, list[str]]]:
    """What axe-core finds wrong: rule, help, and the elements."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    options = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
    found: dict[str, Any] = page.evaluate("(options) => axe.run(document, options)", options)
    return [(one["id"], one["help"], [node["html"][:120] for node in one["nodes"]]) for one in found["violations"]]


def with_everything_waiting(page: Page, line: Line) -> None:
    """Fill the box of waiting acts with one of each: refused, on its way, and an answer."""
    line.instead = Reply(422, '{"state": "refused", "why": "the part is unknown"}', "application/json")
    press(page, "fit", FLUID)
    expect(waiting(page).locator(".refused")).to_have_count(1)
    line.instead = None
    press(page, "fit", GASKET)
    expect(answers(page)).to_have_count(1)
    line.dead = True
    form(page, "minus", GASKET).evaluate("(form) => { form.requestSubmit(); }")
    expect(waiting(page)).to_contain_text("1 act waiting")


@pytest.mark.slow
@EVERY_PAGE
def test_no_fault_of_accessibility_is_found_in_the_light_or_the_dark(phone: Page, address: str, pictures: Path) -> None:
    phone.goto(address)
    for scheme in ("light", "dark"):
        phone.emulate_media(color_scheme=scheme)
        name = re.sub(r"\W+", "-", address).strip("-") or "today"
        phone.screenshot(path=pictures / f"{name}-{scheme}.png", full_page=True)
        unfold(phone)
        assert violations(phone) == [], scheme


@pytest.mark.slow
def test_no_fault_of_accessibility_is_found_in_what_waits(phone: Page, line: Line, pictures: Path) -> None:
    phone.goto(PAGES["job"])
    with_everything_waiting(phone, line)
    has_no_fault(phone, pictures / "waiting")


@pytest.mark.slow
def test_the_reorder_list_comes_by_itself_when_it_is_worked_out(phone: Page, laptop: Laptop, pictures: Path) -> None:
    connection = open_ledger(laptop.ledger)
    session = Session(connection, datetime(2027, 3, 1, 7, 0), laptop.ledger)
    draft_seen(session, "GWC", [SeenLine(FLUID, "40")])
    connection.close()
    phone.goto("/week")
    expect(phone.get_by_role("heading", name="To order")).to_be_visible()
    expect(phone.locator("[data-again]")).to_have_count(0, timeout=40_000)
    expect(phone.locator("section[data-supplier]").first).to_contain_text("order by")
    unfold(phone)
    has_no_fault(phone, pictures / "week-worked-out")


@pytest.mark.slow
def test_the_page_that_pairs_has_no_fault_either(new_phone: Callable[..., BrowserContext], pictures: Path) -> None:
    page = new_phone(paired=False).new_page()
    page.goto("/")
    expect(page).to_have_url(re.compile(r"/pair$"))
    page.get_by_label("Code from the screen").fill("ABCD-EFGH")
    page.get_by_label("A name for this phone").fill("phone of Kim")
    page.get_by_role("button", name="Pair").click()
    expect(page.get_by_role("alert")).to_be_visible()
    has_no_fault(page, pictures / "pair")


@pytest.mark.slow
@pytest.mark.parametrize("address", ["/", "/load"], ids=["today", "load"])
def test_a_day_with_all_that_there_is_to_say_has_no_fault(
    phone: Page, laptop: Laptop, pictures: Path, address: str
) -> None:
    connection = open_ledger(laptop.ledger)
    session = Session(connection, datetime(2027, 3, 1, 7, 0), laptop.ledger)
    add_place(session, "van 2", "van")
    count(session, "PS-LUN-400-A", "1", place="van 2")
    count(session, FLUID, "1200", place="van")
    receive(session, "CH-UNI-810-A", "1", place="van", use_by="2027-02-01")
    receive(session, "CH-UNI-811-A", "1", place="van", use_by="2027-03-05")
    connection.close()
    phone.goto(address)
    for words in ("OVER THE LIMIT", "In other vans", "Expired", "Expires soon", "Aboard with the load"):
        expect(phone.locator("main")).to_contain_text(words)
    has_no_fault(phone, pictures / f"{address.strip('/') or 'today'}-all")
    if address == "/load":
        card = phone.locator(".card").filter(has_text="van 2 has 1 x PS-LUN-400-A")
        card.get_by_role("textbox").fill("1")
        card.get_by_role("button", name="Loaded").click()
        expect(answers(phone)).to_contain_text("van now has 1")


@EVERY_PAGE
def test_targets_are_large_text_can_be_read_and_nothing_scrolls_sideways(
    new_phone: Callable[..., BrowserContext], address: str, pictures: Path
) -> None:
    page = new_phone().new_page()
    page.goto(address)
    unfold(page)
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(BUTTONS_THAT_TOUCH) == []
    assert page.evaluate(SMALL_TEXT) == []
    fits_every_screen(page)


def test_nothing_moves_under_the_thumb_when_an_act_is_answered(
    new_phone: Callable[..., BrowserContext],
) -> None:
    page = new_phone().new_page()
    page.goto(PAGES["job"])
    heading, button = page.get_by_role("heading", level=1), form(page, "fit", GASKET).get_by_role("button").first
    button.scroll_into_view_if_needed()
    before = heading.bounding_box(), button.bounding_box()
    press(page, "fit", GASKET)
    assert (heading.bounding_box(), button.bounding_box()) == before
    expect(answers(page)).to_have_count(1)
    assert (heading.bounding_box(), button.bounding_box()) == before
    expect(figure(page, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "1")
    assert button.bounding_box() == pytest.approx(before[1], abs=1)


def test_letters_and_paper_change_places_in_the_dark(new_phone: Callable[..., BrowserContext]) -> None:
    def brightness(scheme: str) -> list[float]:
        page = new_phone(color_scheme=scheme).new_page()
        page.goto("/")
        read = "() => ['backgroundColor', 'color'].map((name) => getComputedStyle(document.body)[name])"
        return [sum(map(float, re.findall(r"[\d.]+", color)[:3])) for color in page.evaluate(read)]

    (paper, ink), (dark_paper, light_ink) = brightness("light"), brightness("dark")
    assert paper > ink
    assert dark_paper < light_ink


def test_a_part_is_fitted_and_taken_back_with_the_keyboard_alone(new_phone: Callable[..., BrowserContext]) -> None:
    page = new_phone().new_page()
    page.goto("/")
    tab_to(page, lambda element: JOB in element["text"])
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(JOB))
    tab_to(page, lambda element: element["name"].endswith("fit 1 x vaporiser gasket"))
    page.keyboard.press("Enter")
    expect(answers(page)).to_contain_text(GASKET)
    expect(figure(page, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "1")
    assert "vaporiser gasket" in focused(page)["name"]
    tab_to(page, lambda element: element["text"] == "Undo")
    page.keyboard.press("Enter")
    expect(figure(page, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "0")


@pytest.mark.slow
def test_a_day_is_gone_through_with_the_keyboard_alone(
    new_phone: Callable[..., BrowserContext], laptop: Laptop
) -> None:
    page = new_phone().new_page()
    keys = page.keyboard

    def turn_to(name: str, path: str) -> None:
        tab_to(page, lambda element: element["text"] == name)
        keys.press("Enter")
        expect(page).to_have_url(re.compile(path))
        ready(page)

    page.goto("/")
    turn_to("Load", "/load")
    tab_to(page, lambda element: "exhaust fuel vaporiser" in element["text"])
    keys.press("Space")
    expect(answers(page).first).to_contain_text("loaded 1 x DS-KRA-010-A")
    turn_to("Stock", "/stock")
    tab_to(page, lambda element: element["tag"] == "INPUT")
    keys.type("gasket")
    keys.press("Enter")
    expect(page).to_have_url(re.compile("q=gasket"))
    ready(page)
    tab_to(page, lambda element: element["tag"] == "SUMMARY")
    keys.press("Enter")
    tab_to(page, lambda element: element["tag"] == "INPUT")
    keys.type("2")
    keys.press("Enter")
    expect(answers(page).first).to_contain_text("counted 2 x")
    turn_to("Today", "/$")
    tab_to(page, lambda element: "J0784" in element["text"])
    keys.press("Enter")
    expect(page).to_have_url(re.compile("J0784"))
    ready(page)
    tab_to(page, lambda element: element["text"].startswith("Finish"))
    keys.press("Enter")
    expect(answers(page).first).to_contain_text("finished J0784")
    turn_to("Week", "/week")
    page.locator("section[data-supplier]").first.wait_for(timeout=60_000)
    tab_to(page, lambda element: element["text"].startswith("Draft this order"))
    keys.press("Enter")
    expect(answers(page).first).to_contain_text("O0001")
    assert kinds(laptop.ledger) == ["loaded", "counted", "finished", "order drafted"]


def focused(page: Page) -> dict[str, str]:
    """What has the focus: its words, its name, and whether the eye can see that it has."""
    found: dict[str, str] = page.evaluate("""() => {
        const one = document.activeElement;
        const { outlineStyle, outlineWidth } = getComputedStyle(one);
        const seen = outlineStyle !== "none" && parseFloat(outlineWidth) >= 2 ? "yes" : "";
        return { text: one.textContent.trim(), name: one.getAttribute("aria-label") ?? "", seen, tag: one.tagName };
    }""")
    return found


def tab_to(page: Page, wanted: Callable[[dict[str, str]], bool]) -> None:
    """Press Tab until the wanted element has the focus; on the way every stop can be seen."""
    for _ in range(120):
        page.keyboard.press("Tab")
        element = focused(page)
        if element["tag"] != "BODY":
            assert element["seen"], element
            if wanted(element):
                return
    pytest.fail("Tab never came to it")

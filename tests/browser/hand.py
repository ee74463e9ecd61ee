"""A hand on the phone: where the buttons and figures of a page are, and what the ledger says afterwards."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import expect

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

    from tests.browser.proxy import Line

JOB, GASKET, VAPORISER, FLUID = "J0782", "GK-KRA-011-A", "DS-KRA-010-B", "FL-UNI-800-A"


def form(page: Page, act: str, part: str = "", *, riders: bool = False) -> Locator:
    """The first form of an act that is a button alone, for a part where one is named."""
    found = page.locator(f"form[data-act]:has(input[name=act][value='{act}'])")
    if part:
        found = found.filter(has=page.locator(f"input[name=part][value='{part}']"))
    with_riders = page.locator("input[name=with]")
    found = found.filter(has=with_riders) if riders else found.filter(has_not=with_riders)
    return found.first


def ready(page: Page) -> None:
    """The scripts of the page that is there have begun: until then a form is sent as without any."""
    page.wait_for_load_state("load")


def press(page: Page, act: str, part: str = "", *, riders: bool = False) -> None:
    button = form(page, act, part, riders=riders).get_by_role("button")
    button.wait_for()
    ready(page)
    button.click()


def press_unanswered(page: Page, line: Line) -> None:
    """Fit a gasket, which is recorded, but whose answer is lost on the way back."""
    line.lose_answers = 1
    press(page, "fit", GASKET)
    expect(waiting(page)).to_contain_text("out of reach")


def figure(page: Page, part: str, place: str) -> Locator:
    return page.locator(f"[data-qty-part='{part}'][data-place='{place}']").first


def waiting(page: Page) -> Locator:
    return page.locator("#waiting")


def answers(page: Page) -> Locator:
    return page.locator("#waiting .answer")


def kept(page: Page) -> list[str]:
    """The keys of the acts that this phone keeps."""
    keys: list[str] = page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('act:')).sort()")
    return keys


def recorded(ledger: Path) -> list[tuple[str, str]]:
    """Kind and id of the entries made since the import, in the ledger's order."""
    with closing(sqlite3.connect(ledger)) as connection:
        rows = connection.execute("SELECT kind, id FROM entry WHERE device LIKE 'phone %' ORDER BY seq")
        return [(str(kind), str(entry)) for kind, entry in rows]


def kinds(ledger: Path) -> list[str]:
    return [kind for kind, _ in recorded(ledger)]


def settled(page: Page) -> None:
    """Everything was answered, nothing is kept, and the figures are the laptop's own."""
    ready(page)
    expect(page.locator("#waiting .on-the-way")).to_have_count(0)
    expect(page.locator("[data-waiting]")).to_have_count(0)
    assert kept(page) == []

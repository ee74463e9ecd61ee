"""The pages of which the documentation shows a picture: the one list of them.

To add one: a line here, its picture in the documentation as `![alt](pictures/NAME.png)` with the same words, and
`python -m pytest tests/browser --pictures`, which draws them all anew from the demo firm on a fixed morning.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.browser.proxy import Line


class Pictured(NamedTuple):
    """A page: the picture's name, its address, the words for who cannot see it, the documentation's page, and what to
    do on it before it is drawn."""

    name: str
    address: str
    alt: str
    doc: str = "phone.md"
    before: Callable[[Page, Line], None] | None = None


def _two_acts_wait(page: Page, line: Line) -> None:
    line.dead = True
    for part in ("GK-KRA-011-A", "DS-KRA-010-B"):
        page.locator(f"main > ul [data-part='{part}'] button.plus").first.click()
    page.get_by_text("is out of reach").wait_for()


def _worked_out(page: Page, _: Line) -> None:
    page.locator("section[data-supplier]").first.wait_for(timeout=60_000)
    page.locator("[data-again]").wait_for(state="detached", timeout=60_000)


def _line_by_line(page: Page, line: Line) -> None:
    _worked_out(page, line)
    page.locator("section[data-supplier=PDP]").get_by_role("button", name="Draft this order").click()
    page.locator("section[data-order] summary").click()
    page.locator("section[data-order] .less").nth(1).click()
    page.locator("#waiting").evaluate("(box) => box.replaceChildren()")
    page.locator("section[data-order] details").evaluate("(part) => part.scrollIntoView()")


PICTURED = (
    Pictured("today", "/", "Today: two jobs that should finish, two in danger, each with its odds and what it lacks"),
    Pictured("load", "/load", "Load: what to carry from the store, each line with a box to tick"),
    Pictured("job", "/job/J0782", "A job: the parts it will probably take, with a plus for each and what the van has"),
    Pictured("waiting", "/job/J0782", "Without signal: two acts wait at the foot of the page, each with Undo",
             before=_two_acts_wait),
    Pictured("stock", "/stock?q=gasket", "Stock: what lies where of the parts that match a word, and how much"),
    Pictured("week", "/week", "Week: an order to draft, each line with a box to leave it out and a minus and a plus",
             before=_worked_out),
    Pictured("goods-in", "/week", "Week: goods in line by line, how much came and how much of it is damaged",
             before=_line_by_line),
)  # fmt: skip

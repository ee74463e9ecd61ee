"""Pages without signal, where the browser lets a worker serve them: old pages say that they are old, acts never pass.

Over plain http no browser gives a page a worker, except on localhost, which is therefore used here, and the worker is
registered by hand.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import GASKET, JOB, answers, figure, kinds, press, waiting
from tests.browser.proxy import Line
from vanstock.web.devices import Devices

SEEN = "async () => (await (await caches.open('seen-2')).keys()).map((one) => new URL(one.url).pathname)"


@pytest.fixture
def worked(new_phone: Callable[..., BrowserContext], line: Line) -> Page:
    """A page on localhost that its worker serves, with the job's page seen once."""
    context = new_phone()
    for cookie in context.cookies():
        here = {"name": cookie["name"], "value": cookie["value"], "domain": "localhost", "path": "/"}
        context.add_cookies([here])  # type: ignore[list-item]
    page = context.new_page()
    page.goto(f"http://localhost:{line.port}/")
    page.evaluate(
        "async () => { await navigator.serviceWorker.register('/sw.js'); await navigator.serviceWorker.ready; }"
    )
    page.goto(f"http://localhost:{line.port}/job/{JOB}")
    return page


def test_over_plain_http_no_worker_is_asked_for(phone: Page, line: Line) -> None:
    phone.goto("/")
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    assert phone.evaluate("'serviceWorker' in navigator") is False


def test_a_page_seen_before_opens_without_the_laptop_says_so_and_is_fetched_anew(
    worked: Page, line: Line, laptop: Laptop
) -> None:
    line.dead = True
    worked.reload()
    expect(worked.locator("main")).to_contain_text("The laptop is out of reach: this page was seen")
    press(worked, "fit", GASKET)
    expect(waiting(worked)).to_contain_text("1 act waiting")
    expect(figure(worked, GASKET, f"on {JOB}")).to_have_text("1")
    line.dead = False
    expect(answers(worked)).to_contain_text(GASKET)
    expect(worked.locator("[data-old]")).to_have_count(0)
    expect(figure(worked, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "1")
    assert kinds(laptop.ledger) == ["fitted"]


def test_a_page_not_seen_before_says_that_there_is_nothing_to_show(worked: Page, line: Line) -> None:
    line.dead = True
    worked.goto(f"http://localhost:{line.port}/stock")
    expect(worked.locator("body")).to_contain_text("was not opened before")


def test_neither_acts_nor_codes_nor_what_was_looked_up_are_kept(worked: Page, line: Line) -> None:
    press(worked, "fit", GASKET)
    expect(answers(worked)).to_have_count(1)
    worked.get_by_label("Find a part").fill("gasket")
    expect(worked.locator("#found [data-part]").first).to_be_visible()
    worked.goto(f"http://localhost:{line.port}/pair?code=ABCD-EFGH")
    seen = worked.evaluate(SEEN)
    assert f"/job/{JOB}" in seen
    assert "/static/style.css" in seen
    assert {"/act", "/find", "/pair"} & set(seen) == set()


def test_what_was_seen_is_forgotten_when_the_phone_is_no_longer_paired(worked: Page, laptop: Laptop) -> None:
    assert f"/job/{JOB}" in worked.evaluate(SEEN)
    devices = Devices(laptop.ledger)
    for device in devices.paired():
        devices.revoke(device.name)
    worked.evaluate("() => { window.dispatchEvent(new Event('online')); }")
    worked.wait_for_timeout(500)
    assert worked.evaluate(SEEN) == []

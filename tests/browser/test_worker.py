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

SEEN = """async () => {
  const stores = await Promise.all((await caches.keys()).map((name) => caches.open(name)));
  const kept = await Promise.all(stores.map((store) => store.keys()));
  return kept.flat().map((one) => new URL(one.url).pathname);
}"""
REGISTER = "async () => { await navigator.serviceWorker.register('/sw.js'); await navigator.serviceWorker.ready; }"
FILL = """async () => {
  const store = await caches.open((await caches.keys())[0]);
  for (let number = 0; number < 60; number += 1) await store.put(`/job/old-${number}`, new Response("old"));
}"""


@pytest.fixture
def local(new_phone: Callable[..., BrowserContext], line: Line) -> Page:
    """A page of a paired phone on localhost, without a worker."""
    context = new_phone()
    for cookie in context.cookies():
        here = {"name": cookie["name"], "value": cookie["value"], "domain": "localhost", "path": "/"}
        context.add_cookies([here])  # type: ignore[list-item]
    page = context.new_page()
    page.goto(f"http://localhost:{line.port}/load")
    return page


@pytest.fixture
def worked(local: Page, line: Line) -> Page:
    """A page on localhost that its worker serves, with the job's page seen once."""
    local.evaluate(REGISTER)
    local.goto(f"http://localhost:{line.port}/job/{JOB}")
    return local


def eventually(page: Page, is_so: Callable[[list[str]], bool]) -> None:
    """Wait until what the worker keeps is so."""
    for _ in range(50):
        if is_so(page.evaluate(SEEN)):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"the worker keeps {page.evaluate(SEEN)}")


def test_over_plain_http_no_worker_is_asked_for(phone: Page, line: Line) -> None:
    phone.goto("/")
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    assert phone.evaluate("'serviceWorker' in navigator") is False


def test_a_page_seen_before_opens_without_the_laptop_says_so_and_is_fetched_anew(
    worked: Page, line: Line, laptop: Laptop
) -> None:
    line.dead = True
    worked.reload()
    expect(worked.locator("main")).to_contain_text("The computer is out of reach: this page was seen")
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


def test_neither_acts_nor_codes_nor_what_was_looked_up_nor_trouble_are_kept(
    worked: Page, line: Line, laptop: Laptop
) -> None:
    press(worked, "fit", GASKET)
    expect(answers(worked)).to_have_count(1)
    worked.get_by_label("Find a part").fill("gasket")
    expect(worked.locator("#found [data-part]").first).to_be_visible()
    worked.goto(f"http://localhost:{line.port}/pair?code=ABCD-EFGH")
    away = laptop.ledger.rename(laptop.ledger.with_suffix(".away"))
    trouble = worked.goto(f"http://localhost:{line.port}/stock")
    away.rename(laptop.ledger)
    assert trouble
    assert trouble.status == 503
    seen = worked.evaluate(SEEN)
    assert f"/job/{JOB}" in seen
    assert "/static/style.css" in seen
    assert {"/act", "/find", "/pair", "/stock"} & set(seen) == set()


def test_what_was_seen_is_forgotten_when_the_phone_is_no_longer_paired(worked: Page, laptop: Laptop) -> None:
    assert f"/job/{JOB}" in worked.evaluate(SEEN)
    devices = Devices(laptop.ledger)
    for device in devices.paired():
        devices.revoke(device.name)
    worked.evaluate("() => { window.dispatchEvent(new Event('online')); }")
    eventually(worked, lambda seen: seen == [])


def test_a_page_opened_when_no_longer_paired_forgets_what_was_seen(worked: Page, laptop: Laptop) -> None:
    devices = Devices(laptop.ledger)
    for device in devices.paired():
        devices.revoke(device.name)
    worked.reload()
    expect(worked.get_by_role("heading", level=1)).to_have_text("Pair this phone")
    eventually(worked, lambda seen: all(path.startswith("/static/") for path in seen))


def test_a_page_open_before_there_was_a_worker_is_kept_and_old_pages_make_room(local: Page, line: Line) -> None:
    local.evaluate(REGISTER)
    eventually(local, lambda seen: "/load" in seen)
    local.evaluate(FILL)
    local.goto(f"http://localhost:{line.port}/stock")
    eventually(local, lambda seen: "/stock" in seen and "/load" not in seen)
    pages = [path for path in local.evaluate(SEEN) if not path.startswith("/static/")]
    assert (len(pages), pages[-1]) == (60, "/stock")

"""In a real browser: what a person wrote stays text where scripts put it into the page, and the pages' own forms carry
an Origin without their script too (with another Referrer-Policy a browser would send `null`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import GASKET, JOB, answers, kinds, press, waiting
from tests.browser.proxy import Line
from vanstock.web.devices import Devices

EVIL = "'><img src=x onerror=document.title=1> zz oddment {constructor} &lt;b&gt;"
PARTS = f'part,description,component,unit,cost,pack_size\nZZ-1,"{EVIL}",oddments,C62,1.00,1\n'


@pytest.mark.slow
def test_what_a_person_wrote_stays_text_where_scripts_put_it(
    phone: Page, laptop: Laptop, line: Line, tmp_path: Path
) -> None:
    (tmp_path / "parts.csv").write_text(PARTS)
    (tmp_path / "fits.csv").write_text("family,part\n*,ZZ-1\n")
    laptop.entries("import", str(tmp_path))
    phone.goto(f"/job/{JOB}")
    phone.get_by_label("Find a part").fill("oddment")
    expect(phone.locator("#found [data-part='ZZ-1']")).to_contain_text("<img src=x onerror=document.title=1>")
    line.dead = True
    press(phone, "fit", "ZZ-1")
    expect(waiting(phone)).to_contain_text("<img src=x")
    line.dead = False
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    expect(answers(phone)).to_contain_text("<img src=x")
    phone.goto(f"/job/{JOB}")
    expect(phone.locator("#top")).to_contain_text("<img src=x")
    assert phone.locator("img").count() == 0
    assert phone.title() != "1"


@pytest.mark.slow
def test_pairing_and_an_act_go_through_without_scripts(
    new_phone: Callable[..., BrowserContext], laptop: Laptop
) -> None:
    page = new_phone(paired=False, java_script_enabled=False).new_page()
    page.goto(f"/pair?code={Devices(laptop.ledger).new_code()}")
    page.get_by_label("A name for this phone").fill("phone without scripts")
    page.get_by_role("button", name="Pair").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("1 March 2027")
    page.goto(f"/job/{JOB}")
    press(page, "fit", GASKET)
    expect(page.locator("#top")).to_contain_text(f"fitted on {JOB}")
    assert kinds(laptop.ledger) == ["fitted"]
    assert page.evaluate("document.cookie") == ""

"""The moments of a day on the phone, each pressed through as a technician would, and what the ledger has afterwards."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import FLUID, GASKET, JOB, VAPORISER, answers, figure, form, kinds, press, waiting
from tests.browser.proxy import Line
from vanstock.web.devices import Devices


def answered(page: Page, words: str | re.Pattern[str]) -> None:
    """The answer came, and the page shows the laptop's own figures."""
    expect(answers(page).first).to_contain_text(words)
    expect(page.locator("[data-waiting]")).to_have_count(0)


def card(page: Page, part: str) -> Page:
    """Unfold what a part's card keeps folded."""
    folded = page.locator(f"[data-part='{part}'] details:not([open]) > summary").first
    folded.click()
    return page


@pytest.mark.slow
def test_a_job_from_today_to_finished(phone: Page, laptop: Laptop) -> None:
    phone.goto("/")
    phone.get_by_role("link", name=JOB).click()
    press(phone, "fit", VAPORISER)
    answered(phone, f"fitted on {JOB}: 1 x {VAPORISER}")
    expect(phone.locator("[data-waiting]")).to_have_count(0)
    press(phone, "fit", GASKET)
    answered(phone, GASKET)
    fluid = card(phone, FLUID).locator(f"[data-part='{FLUID}']").first
    fluid.get_by_label("How much").fill("2.1L")
    fluid.get_by_role("button", name="Fitted").click()
    answered(phone, "2.1 L")
    expect(figure(phone, FLUID, f"on {JOB}")).to_have_text("2.1")
    expect(phone.locator("details[open]")).to_have_count(1)
    bolt = "BT-UNI-012-A"
    card(phone, bolt)
    press(phone, "missed", bolt)
    answered(phone, f"missed on {JOB}")
    phone.get_by_label("What").select_option("idle")
    phone.get_by_label("Value").fill("8")
    phone.get_by_label("Unit").select_option("mbar")
    phone.get_by_label("after the work").check()
    phone.get_by_role("button", name="Write the reading").click()
    answered(phone, re.compile("8 mbar"))
    expect(phone.locator("dl")).to_contain_text("8 mbar")
    press(phone, "finish")
    answered(phone, f"finished {JOB}")
    expect(phone.get_by_role("button", name=f"Finish {JOB}")).to_have_count(0)
    assert kinds(laptop.ledger) == ["fitted", "fitted", "fitted", "missed", "read", "finished"]
    phone.get_by_role("link", name="Today").click()
    expect(phone.get_by_role("link", name=JOB)).to_contain_text("finished")


def test_what_goes_on_new_with_a_part_is_fitted_in_the_same_tap(phone: Page, laptop: Laptop) -> None:
    phone.goto(f"/job/{JOB}")
    press(phone, "fit", VAPORISER, riders=True)
    answered(phone, GASKET)
    expect(figure(phone, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "1")
    assert kinds(laptop.ledger) == ["fitted"]
    press(phone, "minus", VAPORISER)
    answered(phone, "undone")
    expect(figure(phone, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "0")


def test_lines_of_the_load_list_are_ticked_one_by_one_and_then_all(phone: Page, laptop: Laptop) -> None:
    phone.goto("/load")
    ticks = phone.locator("form[data-act]:has(input[name=act][value=load])")
    count = ticks.count()
    ticks.first.get_by_role("button").click()
    answered(phone, "loaded 1 x")
    expect(ticks).to_have_count(count - 1)
    phone.get_by_role("button", name="Everything on this list is aboard").click()
    answered(phone, "loaded into van")
    expect(ticks).to_have_count(0)
    assert kinds(laptop.ledger) == ["loaded", "loaded"]


def test_without_the_laptop_a_ticked_line_stays_ticked(phone: Page, line: Line) -> None:
    phone.goto("/load")
    line.dead = True
    press(phone, "load")
    expect(waiting(phone)).to_contain_text("1 act waiting")
    expect(form(phone, "load").locator("button[data-taken]")).to_have_count(1)
    phone.wait_for_timeout(1500)
    expect(phone.locator("button[data-taken]")).to_have_count(1)


def test_a_count_sets_the_figure_at_once_and_in_the_ledger(phone: Page, line: Line, laptop: Laptop) -> None:
    phone.goto("/stock?place=van")
    shelf = phone.locator("li.card").filter(has_text=GASKET)
    shelf.locator("summary").click()
    line.dead = True
    shelf.get_by_label("Counted").fill("7")
    shelf.get_by_role("button", name="Record the count").click()
    expect(waiting(phone)).to_contain_text(f"counted 7 x {GASKET} in van")
    expect(figure(phone, GASKET, "van")).to_have_text("7")
    line.dead = False
    answered(phone, f"counted 7 x {GASKET} in van")
    expect(figure(phone, GASKET, "van")).to_have_attribute("data-qty", "7")
    assert kinds(laptop.ledger) == ["counted"]


@pytest.mark.slow
def test_an_order_is_drafted_sent_and_its_goods_taken_in_and_each_can_be_undone(phone: Page, laptop: Laptop) -> None:
    phone.goto("/week")
    supplier = phone.locator("section[data-supplier=PDP]")
    expect(supplier).to_be_visible(timeout=40_000)
    parts = supplier.locator("[name^='take:']")
    first, second = (parts.nth(place).get_attribute("name", timeout=1000) or "" for place in (0, 1))
    supplier.locator(".more").first.click()
    parts.nth(1).uncheck()
    supplier.get_by_role("button", name="Draft this order").click()
    answered(phone, re.compile(rf"drafted O0001 from PDP: 3 x {first[5:]}"))
    assert second[5:] not in answers(phone).inner_text()
    order = phone.locator("section[data-order=O0001]")
    order.get_by_role("button", name="It is sent to PDP").click()
    answered(phone, "sent O0001 to PDP, expected 2027-03-08")
    order.locator("summary").click()
    order.locator("[name^='came:']").first.fill("2")
    order.locator(".less").nth(1).click()
    order.locator("[name^='damaged:']").nth(2).fill("1")
    order.get_by_label("The rest").select_option("cancel")
    order.get_by_role("button", name="Record what came").click()
    answered(phone, re.compile(rf"received O0001 into store: 2 x {first[5:]}.*\(1 damaged\)"))
    expect(order).to_have_count(0)
    for back in ("received", "order sent", "order drafted"):
        phone.reload()
        expect(phone.locator("#top")).to_contain_text(f"{back} O0001")
        phone.locator("#top").get_by_role("button", name="Undo").click()
        answered(phone, f"undone: {back}")
    expect(phone.locator("main")).to_contain_text("Nothing is on order.")
    assert kinds(laptop.ledger) == ["order drafted", "order sent", "received", "undone", "undone", "undone"]


def test_parts_are_found_while_typing_and_fitted_from_what_was_found(phone: Page, laptop: Laptop) -> None:
    phone.goto(f"/job/{JOB}")
    phone.get_by_label("Find a part").press_sequentially("gaskt vap", delay=20)
    found = phone.locator(f"#found [data-part='{GASKET}']")
    expect(found).to_have_count(1)
    phone.keyboard.press("ArrowDown")
    expect(phone.locator("#found :focus")).to_have_count(1)
    phone.keyboard.press("Escape")
    expect(phone.get_by_label("Find a part")).to_be_focused()
    found.locator("button.plus").first.click()
    answered(phone, GASKET)
    expect(found.locator(f"[data-place='on {JOB}']")).to_have_attribute("data-qty", "1")
    expect(phone.get_by_label("Find a part")).to_have_value("gaskt vap")
    phone.get_by_label("Find a part").fill("")
    expect(phone.locator("#found > *")).to_have_count(0)
    assert kinds(laptop.ledger) == ["fitted"]


def test_finding_says_when_the_phone_was_taken_off_and_puts_no_other_page_into_this_one(
    job: Page, laptop: Laptop
) -> None:
    devices = Devices(laptop.ledger)
    for device in devices.paired():
        devices.revoke(device.name)
    job.get_by_label("Find a part").fill("gasket")
    expect(job.locator("#found")).to_have_text("This phone must be paired with the computer again.")
    expect(job.locator("#found *")).to_have_count(0)


def test_finding_says_when_the_laptop_is_out_of_reach(phone: Page, line: Line) -> None:
    phone.goto(f"/job/{JOB}")
    line.dead = True
    phone.get_by_label("Find a part").fill("gasket")
    expect(phone.locator("#found")).to_contain_text("out of reach")


def test_a_new_phone_is_paired_with_the_code_and_sees_today(new_phone: object, laptop: Laptop) -> None:
    page: Page = new_phone(paired=False).new_page()  # type: ignore[operator]
    page.goto(f"/pair?code={Devices(laptop.ledger).new_code()}")
    page.get_by_label("A name for this phone").fill("Kim's phone")
    page.get_by_role("button", name="Pair").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("1 March 2027")
    assert "Kim's phone" in [device.name for device in Devices(laptop.ledger).paired()]


def test_the_page_comes_fresh_when_it_is_gone_back_to(phone: Page) -> None:
    phone.goto(f"/job/{JOB}")
    phone.goto("/stock")
    phone.go_back()
    press(phone, "fit", GASKET)
    answered(phone, GASKET)
    phone.go_forward()
    expect(figure(phone, GASKET, "van")).to_have_attribute("data-qty", "0")


def test_what_was_ticked_without_the_laptop_is_not_loaded_again_with_the_whole_list(
    phone: Page, line: Line, laptop: Laptop
) -> None:
    phone.goto("/load")
    everything = phone.get_by_role("button", name="Everything on this list is aboard")
    ticks = phone.locator("button.tick")
    line.dead = True
    ticks.first.click()
    expect(waiting(phone)).to_contain_text("1 act waiting")
    expect(everything).to_be_disabled()
    expect(ticks.first).to_be_disabled()
    waiting(phone).get_by_role("button", name="Undo").click()  # or it may have left: then an undo waits behind it
    expect(everything).to_be_enabled()
    phone.wait_for_timeout(700)  # not a double tap
    everything.click()
    for tick in ticks.all():
        expect(tick).to_be_disabled()
        expect(tick).to_have_attribute("data-taken", "")
    line.dead = False
    answered(phone, "loaded into van")
    expect(ticks).to_have_count(0)
    assert kinds(laptop.ledger)[-1] == "loaded"


def test_a_job_is_finished_once_however_often_it_is_tapped(job: Page, line: Line, laptop: Laptop) -> None:
    line.dead = True
    press(job, "finish")
    expect(waiting(job)).to_contain_text("1 act waiting")
    expect(form(job, "finish").get_by_role("button")).to_be_disabled()
    line.dead = False
    answered(job, f"finished {JOB}")
    assert kinds(laptop.ledger) == ["finished"]

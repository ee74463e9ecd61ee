"""An act logged under a car arrives once: whatever the line, the laptop, the tabs and the thumb do."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import (
    FLUID,
    GASKET,
    JOB,
    answers,
    figure,
    form,
    kept,
    kinds,
    press,
    press_unanswered,
    recorded,
    settled,
    waiting,
)
from tests.browser.proxy import Line, Reply

ADDRESS = f"/job/{JOB}"
FITTED, PUMP = f"on {JOB}", "DS-LUN-030-A"
REFUSED = Reply(422, json.dumps({"state": "refused", "why": "the part is unknown"}), "application/json")
UUID4 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")  # RFC 9562, section 5.4


def test_the_page_is_not_in_a_safe_place(job: Page) -> None:
    assert job.evaluate("[isSecureContext, typeof crypto.randomUUID, typeof navigator.locks]") == [
        False, "undefined", "undefined",
    ]  # fmt: skip


def test_a_part_fitted_is_told_with_an_undo_and_the_figures_are_the_laptops(job: Page, laptop: Laptop) -> None:
    before = float(figure(job, GASKET, "van").inner_text())
    press(job, "fit", GASKET)
    expect(answers(job)).to_contain_text(f"fitted on {JOB}: 1 x {GASKET}")
    assert figure(job, GASKET, FITTED).inner_text() == "1"  # also before the laptop's own figure is here
    settled(job)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "1")
    expect(figure(job, GASKET, "van")).to_have_attribute("data-qty", f"{before - 1:g}")
    answers(job).get_by_role("button", name="Undo").click()
    expect(answers(job)).to_contain_text("undone")
    settled(job)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "0")
    assert kinds(laptop.ledger) == ["fitted", "undone"]


def test_the_act_goes_out_with_an_id_made_on_the_phone_and_the_local_time(job: Page, line: Line) -> None:
    press(job, "fit", GASKET)
    expect(answers(job)).to_have_count(1)
    (act,) = line.posted
    assert UUID4.fullmatch(act["id"])
    local = job.evaluate("new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 15)")
    assert act["made"].startswith(local)


def test_a_double_tap_is_one_act_and_the_button_shows_that_it_was_taken(job: Page, laptop: Laptop) -> None:
    button = form(job, "fit", GASKET).get_by_role("button")
    button.dblclick()
    expect(job.locator("[data-taken]")).to_have_count(1)
    expect(answers(job)).to_have_count(1)
    settled(job)
    assert kinds(laptop.ledger) == ["fitted"]
    job.wait_for_timeout(700)
    press(job, "fit", GASKET)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "2")
    assert kinds(laptop.ledger) == ["fitted", "fitted"]


def test_without_the_laptop_acts_wait_in_words_and_the_figures_count_them(job: Page, line: Line) -> None:
    before = float(figure(job, GASKET, "van").inner_text())
    line.dead = True
    press(job, "fit", GASKET)
    press(job, "fit", FLUID)
    expect(waiting(job)).to_contain_text("2 acts waiting for the computer")
    expect(waiting(job).get_by_role("listitem").first).to_contain_text(f"1 x {GASKET}")
    expect(waiting(job)).to_contain_text("out of reach")
    expect(figure(job, GASKET, FITTED)).to_have_text("1")
    expect(figure(job, GASKET, "van")).to_have_text(f"{before - 1:g}")
    expect(figure(job, GASKET, "van")).to_have_attribute("data-qty", f"{before:g}")
    assert len(kept(job)) == 2


def test_acts_outlive_a_reload_and_a_closed_tab_and_go_out_in_the_order_made(
    job: Page, line: Line, laptop: Laptop
) -> None:
    line.dead = True
    for part in (GASKET, FLUID):
        press(job, "fit", part)
    expect(waiting(job)).to_contain_text("2 acts waiting")
    made = [key.rsplit(":", 1)[1] for key in kept(job)]
    context = job.context
    job.close()
    line.dead = False
    again = context.new_page()
    again.goto(ADDRESS)
    settled(again)
    assert [entry for _, entry in recorded(laptop.ledger)] == made
    assert list(dict.fromkeys(act["id"] for act in line.posted)) == made
    again.reload()
    expect(figure(again, GASKET, FITTED)).to_have_attribute("data-qty", "1")


def test_a_link_does_not_leave_the_page_while_the_laptop_is_out_of_reach(job: Page, line: Line) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("out of reach")
    job.get_by_role("link", name="Load").click()
    expect(waiting(job)).to_contain_text("This page stays")
    expect(job).to_have_url(re.compile(JOB))
    line.dead = False
    job.get_by_role("link", name="Load").click()
    expect(job).to_have_url(re.compile("/load"))
    settled(job)


def test_what_could_not_be_sent_is_tried_again_by_itself(job: Page, line: Line) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("1 act waiting")
    line.dead = False
    settled(job)
    expect(answers(job)).to_contain_text(GASKET)


def test_the_laptop_is_asked_at_once_when_the_network_comes_back(job: Page, line: Line) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("out of reach")
    job.wait_for_timeout(3500)  # after the tries at 0, 1 and 3 seconds the next one is at 7
    line.dead = False
    job.evaluate("() => { window.dispatchEvent(new Event('online')); }")
    expect(waiting(job).locator(".on-the-way")).to_have_count(0, timeout=2000)


@pytest.mark.slow
def test_what_hangs_on_a_line_that_went_away_is_given_up_when_another_comes(job: Page, line: Line) -> None:
    line.stalled = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("1 act waiting")
    job.wait_for_timeout(3200)
    line.stalled = False
    job.evaluate("() => { window.dispatchEvent(new Event('online')); }")
    expect(answers(job)).to_contain_text(GASKET, timeout=5000)  # it would have hung for 15 seconds
    line.moving.set()


def test_a_killed_server_that_comes_back_gets_what_waited(job: Page, laptop: Laptop) -> None:
    laptop.kill()
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("1 act waiting")
    laptop.start()
    settled(job)
    assert kinds(laptop.ledger) == ["fitted"]


def test_an_answer_lost_after_the_act_was_recorded_counts_once(job: Page, line: Line, laptop: Laptop) -> None:
    line.lose_answers = 2
    press(job, "fit", GASKET)
    expect(answers(job)).to_contain_text(f"fitted on {JOB}: 1 x {GASKET}")
    settled(job)
    assert len(line.posted) >= 3
    assert len({act["id"] for act in line.posted}) == 1
    assert kinds(laptop.ledger) == ["fitted"]
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "1")


def test_two_tabs_show_the_same_and_record_each_act_once(job: Page, line: Line, laptop: Laptop) -> None:
    other = job.context.new_page()
    other.goto(ADDRESS)
    line.dead = True
    press(job, "fit", GASKET)
    press(other, "fit", FLUID)
    for tab in (job, other):
        expect(waiting(tab)).to_contain_text("2 acts waiting")
        expect(figure(tab, GASKET, FITTED)).to_have_text("1")
    line.dead = False
    for tab in (job, other):
        settled(tab)
        expect(figure(tab, GASKET, FITTED)).to_have_attribute("data-qty", "1")
        expect(figure(tab, FLUID, FITTED)).not_to_have_attribute("data-qty", "0")
    assert kinds(laptop.ledger) == ["fitted", "fitted"]


def test_a_refused_act_stays_with_its_reason_until_it_is_sent_again(job: Page, line: Line, laptop: Laptop) -> None:
    line.instead = REFUSED
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("Not recorded: the part is unknown")
    expect(figure(job, GASKET, FITTED)).to_have_text("0")
    job.reload()
    expect(waiting(job)).to_contain_text("Not recorded: the part is unknown")
    sent = len(line.posted)
    line.instead = None
    press(job, "fit", FLUID)
    expect(answers(job)).to_contain_text(FLUID)
    assert len(line.posted) == sent + 1
    waiting(job).get_by_role("button", name="Send again").click()
    expect(waiting(job).locator(".refused")).to_have_count(0)
    settled(job)
    assert kinds(laptop.ledger) == ["fitted", "fitted"]


def test_a_refused_act_is_dropped_only_when_asked_twice(job: Page, line: Line, laptop: Laptop) -> None:
    line.instead = REFUSED
    press(job, "fit", GASKET)
    waiting(job).get_by_role("button", name="Drop it").click()
    waiting(job).get_by_role("button", name="Keep it").click()
    assert len(kept(job)) == 1
    waiting(job).get_by_role("button", name="Drop it").click()
    waiting(job).get_by_role("button", name="Yes, drop it").click()
    expect(waiting(job).locator(".refused")).to_have_count(0)
    assert kept(job) == []
    assert recorded(laptop.ledger) == []


def test_the_same_id_with_other_content_is_refused_and_sent_again_under_a_new_one(
    job: Page, line: Line, laptop: Laptop
) -> None:
    press_unanswered(job, line)
    job.evaluate("""() => {
        const key = Object.keys(localStorage).find((one) => one.startsWith("act:"));
        localStorage.setItem(key, localStorage.getItem(key).replace('["qty","1"]', '["qty","2"]'));
    }""")
    expect(waiting(job)).to_contain_text("already in the ledger with other content")
    waiting(job).get_by_role("button", name="Send again").click()
    settled(job)
    assert kinds(laptop.ledger) == ["fitted", "fitted"]
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "3")


def test_taking_back_what_never_left_the_phone_drops_it(job: Page, line: Line, laptop: Laptop) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    press(job, "fit", FLUID)
    expect(waiting(job)).to_contain_text("2 acts waiting")
    waiting(job).get_by_role("listitem").filter(has_text=FLUID).get_by_role("button", name="Undo").click()
    expect(waiting(job)).to_contain_text("1 act waiting")
    line.dead = False
    settled(job)
    assert kinds(laptop.ledger) == ["fitted"]


def test_taking_back_what_may_have_arrived_undoes_it_behind(job: Page, line: Line, laptop: Laptop) -> None:
    press_unanswered(job, line)
    line.dead = True
    assert kinds(laptop.ledger) == ["fitted"]
    waiting(job).get_by_role("listitem").get_by_role("button", name="Undo").click()
    expect(figure(job, GASKET, FITTED)).to_have_text("0")
    line.dead = False
    settled(job)
    assert kinds(laptop.ledger) == ["fitted", "undone"]
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "0")


def test_a_phone_that_is_no_longer_paired_says_so_and_keeps_all(job: Page, line: Line) -> None:
    cookies = job.context.cookies()
    job.context.clear_cookies()
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("must be paired")
    assert len(kept(job)) == 1
    job.context.add_cookies(cookies)  # type: ignore[arg-type]
    job.evaluate("() => { window.dispatchEvent(new Event('focus')); }")
    settled(job)


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (Reply(500, "broken"), "has trouble (error 500)"),
        (Reply(503, '{"state": "later", "why": "the file is busy"}', "application/json"), "has trouble (error 503)"),
        (Reply(403, '{"state": "refused", "why": "not ours"}', "application/json"), "does not know this address"),
        (Reply(421, "This is not an address that it was told to answer to."), "does not know this address"),
        (Reply(200, "<html><body>Welcome to the guest network</body></html>"), "out of reach"),
    ],
    ids=["500", "503", "403", "421", "somebody else's page"],
)
def test_what_is_not_an_answer_of_the_laptop_keeps_the_act(job: Page, line: Line, reply: Reply, words: str) -> None:
    line.instead = reply
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text(words)
    assert len(kept(job)) == 1
    line.instead = None
    settled(job)


def test_where_keeping_is_forbidden_it_says_so_and_sends_directly(
    new_phone: Callable[..., BrowserContext], line: Line, laptop: Laptop
) -> None:
    page = new_phone().new_page()
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } })"
    )
    page.goto(ADDRESS)
    line.dead = True
    press(page, "fit", GASKET)
    expect(waiting(page)).to_contain_text("This phone cannot keep acts")
    expect(waiting(page)).to_contain_text("1 act waiting")
    line.dead = False
    expect(answers(page)).to_contain_text(GASKET)
    expect(waiting(page)).not_to_contain_text("cannot keep acts")
    assert kinds(laptop.ledger) == ["fitted"]


def test_what_is_typed_stays_while_figures_are_fetched(job: Page) -> None:
    job.get_by_label("Value").fill("23.5")
    job.get_by_label("Value").focus()
    form(job, "fit", GASKET).evaluate("(form) => form.requestSubmit()")
    expect(answers(job)).to_contain_text(GASKET)
    settled(job)
    expect(job.get_by_label("Value")).to_have_value("23.5")
    expect(job.get_by_label("Value")).to_be_focused()


def test_what_is_typed_stays_with_its_part_when_the_list_grows(job: Page) -> None:
    job.locator(f"[data-part='{FLUID}'] summary").first.click()
    typed = job.locator(f"[data-part='{FLUID}']").first.get_by_label("How much")
    typed.fill("3.5")
    job.get_by_label("Find a part").fill(PUMP)
    job.locator(f"#found [data-part='{PUMP}'] button.plus").first.click()
    expect(job.locator(f"main > ul [data-part='{PUMP}']")).to_have_count(1)
    expect(typed).to_have_value("3.5")
    expect(typed).to_be_visible()
    expect(job.locator("main > ul").get_by_label("How much").and_(job.locator("[name=qty]:visible"))).to_have_count(1)


def test_words_from_the_laptop_are_shown_and_never_run(job: Page, line: Line) -> None:
    why = "<img src=x onerror=alert(1)><b>bold</b>"
    line.instead = Reply(422, json.dumps({"state": "refused", "why": why}), "application/json")
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text(why)
    expect(waiting(job).locator("img, b")).to_have_count(0)

"""Each way a phone, a line or a laptop may fail, by itself: the act is in the ledger once, or still on the phone.

What the ledger has is read from its file by its own SQL (`recorded`), never from the page.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import NOW, Laptop
from tests.browser.hand import (
    FLUID,
    GASKET,
    JOB,
    VAPORISER,
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
from vanstock.ledger.file import open_ledger
from vanstock.model import Job
from vanstock.routines.booking import add_booking
from vanstock.routines.orderseen import SeenLine, draft_seen
from vanstock.routines.session import Session
from vanstock.web.devices import Devices

ADDRESS, FITTED, SENSOR = f"/job/{JOB}", f"on {JOB}", "PS-KRA-400-B"
BUSY = Reply(503, '{"state": "later", "why": "the file is busy"}', "application/json")
REFUSED = Reply(422, json.dumps({"state": "refused", "why": "the part is unknown"}), "application/json")
GUEST_NETWORK = Reply(200, "<html><body>Welcome to the guest network</body></html>")
AGAIN = "() => { window.dispatchEvent(new Event('online')); }"


def ids(page: Page) -> list[str]:
    """The ids of the acts that the phone keeps, in the order made."""
    return [key.rsplit(":", 1)[1] for key in kept(page)]


def minutes_ago(ledger: Path) -> list[int]:
    """Whole minutes from each act to the computer's standing clock: seconds that the test itself took fall off."""
    with closing(sqlite3.connect(ledger)) as connection:
        rows = connection.execute("SELECT at FROM entry WHERE device LIKE 'phone %' ORDER BY seq")
        ages = [datetime.fromisoformat(NOW) - datetime.fromisoformat(at[:19]) for (at,) in rows]
    return [age // timedelta(minutes=1) for age in ages]


def pass_a_double_tap(page: Page) -> None:
    page.wait_for_timeout(650)


def test_an_act_survives_a_reload_of_the_page(job: Page, line: Line, laptop: Laptop) -> None:
    line.instead = BUSY
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("1 act waiting")
    (made,) = ids(job)
    job.reload()
    expect(waiting(job)).to_contain_text("1 act waiting")
    expect(figure(job, GASKET, FITTED)).to_have_text("1")
    line.instead = None
    job.evaluate(AGAIN)
    settled(job)
    assert recorded(laptop.ledger) == [("fitted", made)]


def test_an_act_survives_its_tab_and_is_sent_by_any_other_page(job: Page, line: Line, laptop: Laptop) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    (made,) = ids(job)
    context = job.context
    job.close()
    line.dead = False
    other = context.new_page()
    other.goto("/load")
    expect(answers(other)).to_contain_text(GASKET)
    settled(other)
    assert recorded(laptop.ledger) == [("fitted", made)]


def test_two_tabs_that_send_at_the_same_time_record_each_act_once_and_in_order(
    job: Page, line: Line, laptop: Laptop
) -> None:
    other = job.context.new_page()
    other.goto(ADDRESS)
    line.dead = True
    for tab, part in ((job, GASKET), (other, FLUID), (job, VAPORISER), (other, GASKET)):
        press(tab, "fit", part)
        expect(waiting(tab)).to_contain_text("waiting for the computer")
    for tab in (job, other):
        expect(waiting(tab)).to_contain_text("4 acts waiting")
    made = ids(job)
    line.meet = 2  # the first act is let through when both tabs have sent it
    line.dead = False
    for tab in (job, other):
        tab.evaluate(AGAIN)
    for tab in (job, other):
        settled(tab)
    assert [act["id"] for act in line.posted[:2]] == [made[0]] * 2
    assert [entry for _, entry in recorded(laptop.ledger)] == made
    assert kinds(laptop.ledger) == ["fitted"] * 4


def test_tabs_tell_each_other_of_what_waits_is_refused_and_dropped(job: Page, line: Line, laptop: Laptop) -> None:
    other = job.context.new_page()
    other.goto("/stock")
    line.instead = REFUSED
    press(job, "fit", GASKET)
    expect(waiting(other)).to_contain_text("Not recorded: the part is unknown")
    waiting(other).get_by_role("button", name="Drop it").click()
    waiting(other).get_by_role("button", name="Yes, drop it").click()
    expect(waiting(job).locator(".refused")).to_have_count(0)
    assert kept(job) == []
    assert recorded(laptop.ledger) == []


def test_five_failures_in_a_row_are_one_entry(job: Page, line: Line, laptop: Laptop) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("out of reach")
    (made,) = ids(job)
    line.dead, line.instead = False, BUSY
    job.evaluate(AGAIN)
    expect(waiting(job)).to_contain_text("error 503")
    line.instead = GUEST_NETWORK
    job.evaluate(AGAIN)
    expect(waiting(job)).to_contain_text("out of reach")
    line.instead, line.lose_answers = None, 1
    job.evaluate(AGAIN)
    while line.lose_answers:
        job.wait_for_timeout(50)
    laptop.kill()
    job.evaluate(AGAIN)
    expect(waiting(job)).to_contain_text("out of reach")
    laptop.start()
    job.evaluate(AGAIN)
    settled(job)
    assert recorded(laptop.ledger) == [("fitted", made)]
    assert {act["id"] for act in line.posted} == {made}
    assert len(line.posted) >= 4


def test_fit_minus_undo_and_minus_without_the_laptop_arrive_in_that_order(
    job: Page, line: Line, laptop: Laptop
) -> None:
    press(job, "fit", GASKET)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "1")
    line.dead = True
    pass_a_double_tap(job)
    press(job, "fit", GASKET)
    expect(figure(job, GASKET, FITTED)).to_have_text("2")
    expect(waiting(job)).to_contain_text("out of reach")
    press(job, "minus", GASKET)  # of the fit that may have arrived, by its name
    expect(figure(job, GASKET, FITTED)).to_have_text("1")
    pass_a_double_tap(job)
    press(job, "minus", GASKET)  # of the one that has
    expect(figure(job, GASKET, FITTED)).to_have_text("0")
    waiting(job).get_by_role("button", name="Undo").last.click()  # which has not left the phone
    expect(figure(job, GASKET, FITTED)).to_have_text("1")
    pass_a_double_tap(job)
    press(job, "minus", GASKET)
    expect(figure(job, GASKET, FITTED)).to_have_text("0")
    line.dead = False
    job.evaluate(AGAIN)
    settled(job)
    (_, first), (_, second), *_ = recorded(laptop.ledger)
    assert kinds(laptop.ledger) == ["fitted", "fitted", "undone", "undone"]
    assert undone(laptop.ledger) == [second, first]
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "0")


def undone(ledger: Path) -> list[str]:
    """The ids of the entries that entries of phones took back, in order."""
    with closing(sqlite3.connect(ledger)) as connection:
        rows = connection.execute(
            "SELECT r.id FROM entry e JOIN entry r ON r.seq = e.reverses WHERE e.device LIKE 'phone %' ORDER BY e.seq"
        )
        return [str(one) for (one,) in rows]


def test_a_minus_never_takes_back_another_entry_when_its_own_was_refused(job: Page, line: Line, laptop: Laptop) -> None:
    press(job, "fit", GASKET)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "1")
    line.instead = BUSY
    pass_a_double_tap(job)
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("error 503")
    press(job, "minus", GASKET)
    line.only, line.instead = {"act": "fit"}, REFUSED
    job.evaluate(AGAIN)
    expect(waiting(job)).to_contain_text("Not recorded: the part is unknown")
    expect(waiting(job).locator(".on-the-way")).to_have_count(0)
    assert kinds(laptop.ledger) == ["fitted"]
    expect(figure(job, GASKET, FITTED)).to_have_text("1")


def test_a_phone_whose_store_is_full_says_so_and_sends_directly(job: Page, line: Line, laptop: Laptop) -> None:
    job.evaluate("""() => {
        for (let size = 2 ** 22; size >= 1; size = size > 1 ? size / 2 : 0) {
            try {
                for (let number = 0; ; number++) localStorage.setItem(`fill ${size} ${number}`, "x".repeat(size));
            } catch (error) { if (error.name !== "QuotaExceededError") throw error; }
        }
    }""")
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("This phone cannot keep acts")
    assert kept(job) == []
    line.dead = False
    job.evaluate(AGAIN)
    expect(answers(job)).to_contain_text(GASKET)
    expect(waiting(job)).not_to_contain_text("cannot keep acts")
    assert kinds(laptop.ledger) == ["fitted"]


def sent_after(line: Line, meanwhile: int) -> bool:
    """Whether the last act that the dead line swallowed was sent after the phone's clock was moved on."""
    waited = int(line.unheard[-1].get("waited", "-1")) if line.unheard else 0
    return waited >= meanwhile if meanwhile > 0 else waited < 0


@pytest.mark.parametrize(
    ("at_first", "meanwhile", "ago"),
    [(-86_400 * 3, 7200, 120), (5 * 3600, -86_400, 0)],
    ids=["days slow, and sent two hours later", "hours fast, and set back a day while it waits"],
)
def test_a_wrong_clock_changes_neither_time_nor_order(
    new_phone: Callable[..., BrowserContext], line: Line, laptop: Laptop, at_first: int, meanwhile: int, ago: int
) -> None:
    page = new_phone().new_page()
    off = f"window.off = {at_first}; const real = Date.now; Date.now = () => real() + 1000 * window.off"
    page.add_init_script(off)
    page.goto(ADDRESS)
    line.dead = True
    press(page, "fit", GASKET)
    expect(waiting(page)).to_contain_text("1 act waiting")
    page.evaluate(f"() => {{ window.off += {meanwhile}; }}")
    press(page, "fit", FLUID)
    expect(waiting(page)).to_contain_text("2 acts waiting")
    made = ids(page)
    for _ in range(400):  # else one sent before the clock was set may still be on its way
        if sent_after(line, meanwhile):
            break
        page.wait_for_timeout(50)
    assert sent_after(line, meanwhile)
    line.dead = False
    page.evaluate(AGAIN)
    settled(page)
    assert [entry for _, entry in recorded(laptop.ledger)] == made
    assert minutes_ago(laptop.ledger) == [ago, 0]


def test_what_was_tapped_for_one_ledger_is_never_recorded_in_another(
    job: Page, line: Line, laptop: Laptop, tmp_path: Path
) -> None:
    line.dead = True
    press(job, "fit", GASKET)
    expect(waiting(job)).to_contain_text("1 act waiting")
    (made,) = ids(job)
    laptop.kill()
    mine = laptop.ledger.read_bytes()
    laptop.ledger.unlink()
    another_firm(laptop.ledger)
    line.dead = False
    laptop.start()
    job.evaluate(AGAIN)
    expect(waiting(job)).to_contain_text("page of another ledger")
    assert recorded(laptop.ledger) == []
    laptop.ledger.write_bytes(mine)
    waiting(job).get_by_role("button", name="Send again").click()
    settled(job)
    assert recorded(laptop.ledger) == [("fitted", made)]


def another_firm(ledger: Path) -> None:
    """A ledger with a job of the same number, and its own parts."""
    from tests.conftest import fill_small_firm

    connection = open_ledger(ledger, create=True)
    session = Session(connection, datetime(2027, 2, 28, 18, 0), ledger, True)
    fill_small_firm(session)
    add_booking(session, Job(JOB, date(2027, 3, 1), "08:00", "AAA", "heat-source", ()))
    connection.close()


def test_a_phone_taken_off_while_acts_wait_sends_them_once_it_is_paired_again(
    job: Page, line: Line, laptop: Laptop
) -> None:
    press_unanswered(job, line)
    devices = Devices(laptop.ledger)
    for device in devices.paired():
        devices.revoke(device.name)
    press(job, "fit", FLUID)
    expect(waiting(job)).to_contain_text("must be paired")
    made = ids(job)
    assert len(made) == 2
    job.goto(f"/pair?code={devices.new_code()}")
    job.get_by_label("A name for this phone").fill("phone paired again")
    job.get_by_role("button", name="Pair").click()
    expect(answers(job).first).to_contain_text("fitted on")
    settled(job)
    assert recorded(laptop.ledger) == [("fitted", made[0]), ("fitted", made[1])]


def test_figures_count_what_goes_with_a_part_and_what_is_taken_back_while_it_waits(
    job: Page, line: Line, laptop: Laptop
) -> None:
    before = int(figure(job, GASKET, "van").inner_text())
    line.dead = True
    press(job, "fit", VAPORISER, riders=True)
    expect(figure(job, GASKET, FITTED)).to_have_text("1")
    expect(figure(job, GASKET, "van")).to_have_text(str(before - 1))
    line.dead = False
    job.evaluate(AGAIN)
    settled(job)
    expect(figure(job, GASKET, FITTED)).to_have_attribute("data-qty", "1")
    job.goto("/stock?q=gasket&place=van")
    line.dead = True
    job.locator("#top").get_by_role("button", name="Undo").click()
    expect(figure(job, GASKET, "van")).to_have_text(str(before))
    assert kinds(laptop.ledger) == ["fitted"]


def test_what_makes_sense_once_can_wait_once_until_it_is_taken_back(phone: Page, line: Line, laptop: Laptop) -> None:
    connection = open_ledger(laptop.ledger)
    session = Session(connection, datetime(2027, 3, 1, 7, 0), laptop.ledger)
    number = draft_seen(session, "ODP", [SeenLine(SENSOR, "2")]).order.order_no
    connection.close()
    phone.goto("/week")
    line.dead = True
    sent, came = (form(phone, act).get_by_role("button") for act in ("sent", "receive"))
    sent.click()
    expect(sent).to_be_disabled()
    came.click()
    expect(came).to_be_disabled()
    waiting(phone).get_by_role("listitem").filter(has_text="received").get_by_role("button").click()
    expect(came).to_be_enabled()
    expect(sent).to_be_disabled()
    line.dead = False
    phone.evaluate(AGAIN)
    expect(answers(phone).last).to_contain_text(f"sent {number}")
    settled(phone)
    assert kinds(laptop.ledger)[0] == "order sent"
    assert kinds(laptop.ledger).count("order sent") == 1

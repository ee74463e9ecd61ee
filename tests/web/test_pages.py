"""The pages: what they show is what the terminal says, kept until the ledger changes, and whole without the script."""

from __future__ import annotations

import re
import time
from html import unescape

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import NOW, Firm, form_of
from vanstock.ledger.catalogue import save_pin
from vanstock.ledger.file import open_ledger, writing
from vanstock.routines import stock
from vanstock.routines.morning import load_out
from vanstock.routines.session import Session
from vanstock.routines.wording import percent


def text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


def test_today_shows_the_jobs_in_order_with_the_odds_of_the_load_out(firm: Firm, phone: TestClient) -> None:
    page = text(phone.get("/").text)
    connection = open_ledger(firm.ledger)
    found = load_out(Session(connection, NOW, firm.ledger), NOW.date())
    connection.close()
    assert page.index("J1 AAA") < page.index("J2 BBB")
    for outlook in found.jobs:
        assert outlook.odds is not None
        assert f"{outlook.job.time} {percent(outlook.odds)}" in page
    for caution in found.cautions:
        assert caution in page


def test_today_is_worked_out_once_until_the_ledger_changes(firm: Firm, phone: TestClient) -> None:
    phone.get("/")
    kept = list(firm.desk.load_outs._values.values())
    phone.get("/")
    phone.get("/load")
    assert list(firm.desk.load_outs._values.values()) == kept
    assert len(kept) == 1
    phone.post("/act", data={"act": "count", "id": "a" * 32, "part": "FLU-1", "qty": "0", "place": "van"})
    assert "FLU-1" in phone.get("/").text
    assert len(firm.desk.load_outs._values) == 2


def test_what_another_program_writes_is_seen_at_once(firm: Firm, phone: TestClient) -> None:
    before = text(phone.get("/load").text)
    assert "exhaust vaporiser" in before
    connection = open_ledger(firm.ledger)
    stock.move(Session(connection, NOW, firm.ledger), "VAP-2", "1", source="store", target="van")
    connection.close()
    assert "Nothing to load" in text(phone.get("/load").text)


def test_the_odds_that_were_shown_are_kept_for_the_score(firm: Firm, phone: TestClient) -> None:
    from vanstock.ledger.said import last_said

    phone.get("/")
    connection = open_ledger(firm.ledger)
    said = {row.job for row in last_said(connection)}
    connection.close()
    assert said == {"J1", "J2"}


def test_a_tick_on_the_load_list_is_an_act_at_once(firm: Firm, phone: TestClient) -> None:
    form = form_of(phone.get("/load").text, act="load", part="VAP-2")
    phone.post("/act", data=form)
    assert firm.held("VAP-2") == 1
    assert 'value="load"' not in phone.get("/load").text


def test_a_job_shows_what_it_takes_biggest_chance_first_and_what_is_aboard(phone: TestClient) -> None:
    page = phone.get("/job/J1").text
    chances = [float(found) for found in re.findall(r'class="chance">&?g?t?;?(\d+)%', page)]
    assert chances == sorted(chances, reverse=True)
    assert chances
    assert 'data-qty-part="FLU-1" data-qty="4.5" data-unit="LTR" data-pack="5000" data-place="van"' in page
    assert 'data-qty-part="FLU-1" data-qty="0" data-unit="LTR" data-pack="5000" data-place="on J1"' in page


def test_fitting_shows_at_once_and_offers_what_goes_on_new_with_it(phone: TestClient) -> None:
    form = form_of(phone.get("/job/J1").text, act="fit", part="VAP-2")
    phone.post("/act", data=form)
    page = phone.get("/job/J1").text
    assert 'data-qty-part="VAP-2" data-qty="1" data-unit="C62" data-pack="1" data-place="on J1"' in page
    assert form_of(page, act="minus", part="VAP-2")
    rider = form_of(page, act="fit", part="BLT-1", qty="2")
    phone.post("/act", data=rider)
    assert "not logged yet: 1 x vaporiser gasket" in text(phone.get("/job/J1").text)


def test_parts_found_on_a_job_are_the_families_first(phone: TestClient) -> None:
    found = phone.get("/find?job=J2&q=pressure").json()["parts"]
    assert [part["part"] for part in found] == ["HOS-1", "SNS-1"]
    assert phone.get("/find?job=J1&q=presure senser").json()["parts"][0]["part"] == "SNS-1"
    assert phone.get("/find?q=9520000000356").json()["parts"][0]["part"] == "SNS-1"
    assert phone.get("/find?q=").json() == {"parts": []}
    cards = phone.get("/find?job=J1&q=gasket", headers={"accept": "text/html"}).text
    assert form_of(cards, act="fit", part="GKT-1")
    assert "<html" not in cards
    assert form_of(phone.get("/job/J1?q=gasket").text, act="fit", part="GKT-1")


def test_readings_before_and_after_are_shown_with_what_they_say(phone: TestClient) -> None:
    for number, (value, after) in enumerate((("35", ""), ("8", "1"))):
        phone.post("/act", data={
            "act": "reading", "id": f"{number:032x}", "job": "J1", "kind": "idle", "value": value, "unit": "mbar",
            "after": after,
        })  # fmt: skip
    page = text(phone.get("/job/J1").text)
    assert "filter pressure at idle 35 mbar asks for cleaning" in page
    assert "better by 27 mbar" in page
    assert "The maker's figure and procedure come first." in page


def test_stock_is_found_counted_and_has_its_history(firm: Firm, phone: TestClient) -> None:
    page = phone.get("/stock?q=gasket").text
    form = form_of(page, act="count", part="GKT-1")
    phone.post("/act", data={**form, "qty": "5"})
    assert firm.held("GKT-1") == 5
    assert "counted 5 x GKT-1 in van" in text(phone.get("/history/GKT-1").text)
    assert "No part matches" in phone.get("/stock?q=zzzz").text


def test_the_reorder_list_comes_when_it_is_worked_out(firm: Firm, phone: TestClient) -> None:
    connection = open_ledger(firm.ledger)
    with writing(connection):
        save_pin(connection, "GLV-1", (50, 100))
    connection.close()
    first = phone.get("/week").text
    assert "Being worked out" in first
    assert 'http-equiv="refresh"' in first
    for _ in range(300):
        page = phone.get("/week").text
        if "Being worked out" not in page:
            break
        time.sleep(0.1)
    assert "WEEK Weekly Run order by Tue 2027-03-02 12:00" in text(page)
    assert "GLV-1" in page
    assert "http-equiv" not in page


@pytest.mark.parametrize(
    ("path", "status"),
    [("/job/J9", 404), ("/history/zzz", 404), ("/?date=x", 422), ("/?van=x", 404), ("/nowhere", 404)],
)
def test_a_mistake_is_told_in_a_line_on_a_page_of_ours(phone: TestClient, path: str, status: int) -> None:
    answer = phone.get(path)
    assert answer.status_code == status
    assert "That did not work" in answer.text


def test_what_a_person_typed_is_shown_as_text(phone: TestClient) -> None:
    page = phone.get("/job/J1?q=%22%3E%3Cb%20onload=x%3E").text
    assert "<b onload" not in page
    fields = {"act": "count", "id": "a" * 32, "part": "GKT-1", "qty": "2", "place": "van", "reason": "<i>broken</i>"}
    phone.post("/act", data=fields)
    assert "<i>" not in phone.get("/history/GKT-1").text


def test_after_the_last_booked_job_of_today_the_next_day_is_shown(firm: Firm, phone: TestClient) -> None:
    assert "Today, Monday 1 March" in text(phone.get("/").text)
    for number, job in enumerate(("J1", "J2")):
        phone.post("/act", data={"act": "finish", "id": f"{number:032x}", "job": job})
    firm.desk.now = NOW.replace(hour=15)
    assert "Tuesday 2 March" in text(phone.get("/").text)

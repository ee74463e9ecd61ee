"""Today is sent as it was last made while nothing on it can have changed, and never longer: held against the page made
anew."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import NOW, PORT, Firm
from vanstock.ledger.file import open_ledger
from vanstock.routines import stock
from vanstock.routines.session import Session
from vanstock.web.desk import Kept


def without_ids(page: str) -> str:
    return re.sub(r'name="id" value="[^"]*"', "", page)


def settled(phone: TestClient, path: str = "/") -> str:
    """The page once it is kept: the first asking may write down the odds that it tells."""
    phone.get(path)
    phone.get(path)
    return phone.get(path).text


def anew(firm: Firm, phone: TestClient, path: str = "/") -> str:
    """The page made again from the ledger, nothing kept of it."""
    firm.desk.shown, firm.desk.load_outs = Kept(), Kept()
    return phone.get(path).text


def fit(phone: TestClient, number: int) -> None:
    phone.post("/act", data={"act": "fit", "id": f"{number:032x}", "job": "J1", "part": "GKT-1", "qty": "1"})


def load_at_the_terminal(firm: Firm) -> None:
    connection = open_ledger(firm.ledger)
    stock.move(Session(connection, NOW, firm.ledger), "VAP-2", "1", source="store", target="van")
    connection.close()


def test_a_page_is_sent_again_as_it_was_while_nothing_changed(firm: Firm, phone: TestClient) -> None:
    fit(phone, 1)
    first = settled(phone)
    assert 'value="undo"' in first
    assert phone.get("/").text == first  # the same to the id of the form that undoes
    assert without_ids(anew(firm, phone)) == without_ids(first)


def test_an_act_of_this_phone_or_another_program_changes_it(firm: Firm, phone: TestClient) -> None:
    before = settled(phone)
    fit(phone, 1)
    after = settled(phone)
    assert "fitted 1 x" in after
    assert "fitted 1 x" not in before
    load_at_the_terminal(firm)
    moved = phone.get("/").text
    assert without_ids(moved) != without_ids(after)
    assert without_ids(moved) == without_ids(anew(firm, phone))


def test_the_undo_line_goes_to_the_second_when_it_is_too_old(firm: Firm, phone: TestClient) -> None:
    firm.desk.now = NOW.replace(minute=37)
    fit(phone, 1)
    firm.desk.now = datetime(2027, 3, 1, 7, 45)
    settled(phone)
    for second, there in ((59, True), (60, True), (61, False)):
        firm.desk.now = datetime(2027, 3, 1, 7, 51) + timedelta(seconds=second)
        page = phone.get("/").text
        assert ('value="undo"' in page) == there, second
        assert without_ids(page) == without_ids(anew(firm, phone)), second


def test_it_is_another_page_after_midnight_and_in_the_next_quarter_of_an_hour(firm: Firm, phone: TestClient) -> None:
    firm.desk.now = datetime(2027, 3, 1, 23, 59, 59)
    assert "Today, Monday" in settled(phone)
    firm.desk.now = datetime(2027, 3, 2, 0, 0)
    page = phone.get("/").text
    assert "Today, Monday" not in page
    assert without_ids(page) == without_ids(anew(firm, phone))
    firm.desk.now = datetime(2027, 3, 1, 23, 59, 58)  # a clock set back is not answered from the future
    assert "Today, Monday" in phone.get("/").text


def test_each_phone_day_and_van_has_its_own(
    firm: Firm, phone: TestClient, new_client: Callable[..., TestClient]
) -> None:
    fit(phone, 1)
    other = new_client()
    token = firm.devices.pair(firm.devices.new_code(), "Lee")
    assert token
    other.cookies.set(firm.desk.cookie_for("http"), token, domain="van.test")
    assert 'value="undo"' in settled(phone)
    assert 'value="undo"' not in settled(other)
    assert "2 March" in settled(phone, "/?date=2027-03-02")
    assert 'value="undo"' in phone.get("/").text
    firm.devices.revoke("Lee")
    assert other.get("/").status_code == 303


def test_the_answer_to_an_act_is_not_kept(firm: Firm, phone: TestClient) -> None:
    fit(phone, 1)
    address = f"/?answer={1:032x}"
    assert "fitted on J1" in settled(phone, address)
    assert "fitted on J1" not in settled(phone)
    assert not [key for key in firm.desk.shown._values if "answer" in str(key)]


@pytest.mark.parametrize("again", ["as it was written", "under its old number and count"])
def test_a_ledger_put_in_its_place_is_seen(firm: Firm, phone: TestClient, again: str) -> None:
    settled(phone)
    fresh = firm.ledger.read_bytes()
    fit(phone, 1)
    one = settled(phone)
    other = firm.ledger.with_name("other.db")
    other.write_bytes(fresh)
    if again == "as it was written":
        other.replace(firm.ledger)
    else:  # a program that writes the file over; an act brings it to the count that the first act did
        firm.ledger.write_bytes(fresh)
        load_at_the_terminal(firm)
    page = phone.get("/").text
    assert without_ids(page) != without_ids(one)
    assert without_ids(page) == without_ids(anew(firm, phone))


def test_a_ledger_that_is_gone_is_told_of_and_not_hidden_by_what_was_kept(firm: Firm, phone: TestClient) -> None:
    settled(phone)
    os.rename(firm.ledger, firm.ledger.with_name("pulled.db"))
    assert phone.get("/").status_code == 503
    os.rename(firm.ledger.with_name("pulled.db"), firm.ledger)
    assert phone.get("/", headers={"host": f"van.test:{PORT}"}).status_code == 200

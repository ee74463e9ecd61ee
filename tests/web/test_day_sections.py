"""What the load-out says beside its lists stands on the phone too: other vans, use-by dates, what is too much."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from html import unescape
from importlib.resources import files

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import NOW, Firm, form_of, send
from vanstock.ledger import catalogue
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Job, Part
from vanstock.routines.booking import add_booking
from vanstock.routines.dangerous import over_limit
from vanstock.routines.entrywords import in_a_line
from vanstock.routines.morning import load_out
from vanstock.routines.session import Session
from vanstock.routines.stock import add_place, count, history, receive
from vanstock.routines.today import state_of
from vanstock.routines.wording import in_other_van
from vanstock.web.pages import warm

SECOND = "van 2"


@contextmanager
def sitting(firm: Firm) -> Iterator[Session]:
    connection = open_ledger(firm.ledger)
    yield Session(connection, NOW, firm.ledger)
    connection.close()


def text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


@pytest.fixture
def lent(firm: Firm) -> Firm:
    """The one vaporiser lies in the second van, which has no job."""
    with sitting(firm) as session:
        add_place(session, SECOND, "van")
        count(session, "VAP-2", "0", place="store")
        count(session, "VAP-2", "1", place=SECOND)
    return firm


def test_a_part_in_another_van_is_named_in_the_terminals_words(lent: Firm, phone: TestClient) -> None:
    with sitting(lent) as session:
        (row,) = load_out(session).elsewhere
    for path in ("/", "/load", "/print"):
        page = text(phone.get(path).text)
        assert "in other vans" in page.casefold(), path
        assert in_other_van(row) in page, path
    assert "In other vans" not in phone.get("/?van=van%202").text


def test_when_two_have_met_one_tap_records_what_went_over(lent: Firm, phone: TestClient) -> None:
    form = form_of(phone.get("/load").text, act="load", part="VAP-2")
    assert (form["place"], form["van"]) == (SECOND, "van")
    assert "qty" not in form, "how much is for the person to say"
    status, said = send(phone, **{**form, "id": "1" * 32, "qty": "1"})
    assert status == 200
    assert said["said"].startswith("loaded 1 x VAP-2 exhaust vaporiser from van 2; van now has 1")
    assert (lent.held("VAP-2"), lent.held("VAP-2", SECOND)) == (1, 0)
    assert "In other vans" not in phone.get("/load").text


def test_what_has_expired_and_what_soon_will_are_on_today_and_load(firm: Firm, phone: TestClient) -> None:
    with sitting(firm) as session:
        receive(session, "FLU-1", "1", place="van", use_by="2027-02-01")
        receive(session, "FLU-1", "2", place="van", use_by="2027-03-10")
    for path in ("/", "/load"):
        page = text(phone.get(path).text)
        assert re.search(r"Expired: take it out; look at the dates 1 L x FLU-1 [a-z ]*use by 2027-02-01, in van", page)
        assert re.search(r"Expires soon: use it first; look at the dates 2 L x FLU-1 [a-z ]*use by 2027-03-10", page)


def test_a_van_that_carries_too_much_is_told_before_all_else_and_once(firm: Firm, phone: TestClient) -> None:
    """1,002 points are over the 1,000 of ADR 1.1.3.6.3 (UNECE)."""
    with sitting(firm) as session:
        with writing(session.ledger) as ledger:
            solvent = Part("SOLV", "solvent", "solvent", "LTR", hazard="UN1993/3/II/TC2", weight_grams=800)
            catalogue.save_rows(ledger, Part, [solvent])
        count(session, "SOLV", "334", place="van")
        aboard = load_out(session).aboard
        assert aboard
        (over,) = over_limit(aboard.points)
    assert "1,002 points" in over
    for path, first in (("/", "J1"), ("/load", "From store"), ("/print", "J1")):
        page = text(phone.get(path).text)
        assert page.count(over) == 1, path
        assert page.index(over) < page.index(first), path
        assert "Aboard with the load: 1,002 of at most 1,000 points" in page


def test_the_whole_list_recorded_later_says_what_the_store_had_not(firm: Firm, phone: TestClient) -> None:
    form = form_of(phone.get("/load").text, act="load-all")
    with sitting(firm) as session:
        count(session, "VAP-2", "0", place="store")
    status, said = send(phone, **{**form, "id": "2" * 32})
    assert status == 200
    assert "note: by the ledger there was not enough VAP-2 in store" in said["said"]


def test_what_was_done_last_is_told_in_few_words_however_long_the_list(firm: Firm, phone: TestClient) -> None:
    with sitting(firm) as session:
        for part in ("GKT-1", "BLT-1", "SNS-1", "GLV-1", "HOS-1"):
            count(session, part, "9", place="store")
    lines = json.dumps([[part, "1", "store"] for part in ("GKT-1", "BLT-1", "SNS-1", "GLV-1", "HOS-1")])
    assert send(phone, act="load-all", lines=lines, van="van")[0] == 200
    assert re.search(r"loaded 1 x [^;]*; 1 x [^;]*; 1 [^;]*; and 2 more Undo", text(phone.get("/").text))


def test_each_van_that_sets_out_is_worked_out_before_anybody_asks(lent: Firm) -> None:
    with sitting(lent) as session:
        add_booking(session, Job("J9", date(2027, 3, 1), "07:45", "AAA", "clean", van=SECOND))
    warm(lent.desk)
    with sitting(lent) as session:
        known = [lent.desk.load_outs.known((state_of(session), session.today, van)) for van in ("van", SECOND)]
    assert [found and found.van for found in known] == ["van", SECOND]


@pytest.mark.parametrize("page", ["job", "stock"])
def test_the_van_that_was_chosen_goes_along_with_a_photo(lent: Firm, phone: TestClient, page: str) -> None:
    path = "/job/J1?van=van%202" if page == "job" else "/stock?van=van%202"
    field = re.search(r'<form class="scan".*?</form>', phone.get(path).text, re.DOTALL)
    assert field
    assert '<input type="hidden" name="van" value="van 2">' in field[0]
    fields = {"van": SECOND, "job": "J1"} if page == "job" else {"van": SECOND}
    sent = phone.post("/scan", files={"photo": ("photo.jpg", b"", "image/jpeg")}, data=fields)
    assert "van=van%202" in sent.headers["location"]


def test_every_script_and_the_style_sheet_are_kept_for_pages_without_signal() -> None:
    own = files("vanstock.web").joinpath("static")
    names = {file.name for file in own.iterdir() if file.name.endswith((".js", ".css"))} - {"sw.js"}
    worker = own.joinpath("sw.js").read_text(encoding="utf-8")
    shell = worker[worker.index("const SHELL") : worker.index("const NEVER")]
    assert set(re.findall(r'"/static/([^"]*)"', shell)) == names


def test_history_says_what_the_terminal_says(firm: Firm, phone: TestClient) -> None:
    with sitting(firm) as session:
        found = history(session, "GKT-1")
        said = in_a_line(found.entries[0], found.parts)
    assert said == "counted 3 x GKT-1 in van; 3 x GKT-1 count difference -> van"
    assert said in text(phone.get("/history/GKT-1").text)

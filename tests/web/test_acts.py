"""Acts: each is one entry through the terminal's routine, once however often it is sent, with or without the script."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HOME, ID, NOW, SCRIPT, Firm, form_of, forms, newest, send
from vanstock.ledger.entries import post
from vanstock.ledger.file import open_ledger
from vanstock.ledger.reading import job_named
from vanstock.routines import ordering
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting
from vanstock.routines.stock import count
from vanstock.web.acts import ACTS


def recorded(answer: dict[str, str]) -> tuple[str, ...]:
    """An answer without the hint of what is not logged yet, which is about now."""
    said = answer["said"].split("\ngoes on new with it")[0].split("\nnote: usually goes on new")[0]
    return (answer["state"], said, answer["entry"])


def test_a_part_fitted_is_one_entry_of_this_phone(firm: Firm, phone: TestClient) -> None:
    code, answer = send(phone, act="fit", job="J1", part="GKT-1", qty="1")
    said = "fitted on J1: 1 x GKT-1 vaporiser gasket; left: 2"
    assert (code, answer) == (200, {"state": "done", "said": said, "entry": ID, "undo": True})
    assert firm.held("GKT-1") == 2
    past = newest(firm)
    assert (past.entry.id, past.entry.kind, past.entry.device) == (ID, "fitted", "Kim")
    assert any(said in line for line in firm.told)


def test_the_same_act_sent_again_gets_the_same_answer_and_counts_once(firm: Firm, phone: TestClient) -> None:
    acts: list[dict[str, str]] = [
        {"act": "fit", "job": "J1", "part": "GKT-1", "qty": "1"},
        {"act": "fit", "job": "J1", "part": "VAP-2", "qty": "1", "with": "1"},
        {"act": "missed", "job": "J1", "part": "SNS-1", "qty": "1"},
        {"act": "minus", "job": "J1", "part": "GKT-1"},
        {"act": "load", "part": "VAP-2", "qty": "1", "place": "store", "van": "van"},
        {"act": "load-all", "lines": '[["VAP-2", "1", "store"], ["FLU-1", "2", "store"]]', "van": "van"},
        {"act": "reading", "job": "J1", "kind": "idle", "value": "35", "unit": "mbar"},
        {"act": "reading", "job": "J1", "kind": "idle", "value": "8", "unit": "mbar", "after": "1"},
        {"act": "count", "part": "BLT-1", "qty": "18", "place": "van"},
        {"act": "finish", "job": "J1"},
    ]
    sent = [{**act, "id": f"{number:032x}"} for number, act in enumerate(acts)]
    first = [send(phone, **act) for act in sent]
    assert [code for code, _ in first] == [200] * len(acts)
    held = [firm.held(part) for part in ("GKT-1", "VAP-2", "BLT-1", "FLU-1")]
    again = [send(phone, **act, made="2027-03-01T07:20") for act in sent]
    assert [recorded(answer) for _, answer in again] == [recorded(answer) for _, answer in first]
    assert [firm.held(part) for part in ("GKT-1", "VAP-2", "BLT-1", "FLU-1")] == held


def test_another_act_under_a_known_id_is_refused(firm: Firm, phone: TestClient) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1")
    code, answer = send(phone, act="fit", job="J1", part="GKT-1", qty="2")
    assert (code, answer["state"]) == (409, "refused")
    assert firm.held("GKT-1") == 2


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"act": "fit", "job": "J9", "part": "GKT-1"}, "no job"),
        ({"act": "fit", "job": "J1", "part": "GKT-1", "qty": "2L"}, "kept in pieces"),
        ({"act": "fit", "job": "J1", "part": "GKT-1", "qty": "-1"}, "above zero"),
        ({"act": "fit", "job": "J1", "part": "zzz"}, "no part matches"),
        ({"act": "fit", "job": "J1", "part": "GKT-1\x07"}, "cannot be printed"),
        ({"act": "fit", "job": "J1"}, "part is missing"),
        ({"act": "fit", "job": "J1", "part": "x" * 400}, "too long"),
        ({"act": "drop table"}, "no act"),
        ({"act": "undo", "entry": ""}, "entry is missing"),
        ({"act": "undo", "entry": "ffffffff"}, "no entry begins"),
        ({"act": "minus", "job": "J1", "part": "GKT-1"}, "nothing of GKT-1"),
        ({"act": "load-all", "lines": "[[1]]"}, "cannot be read"),
        ({"act": "load-all", "lines": "[]"}, "nothing was named"),
        ({"act": "load-all", "lines": "[" * 5000}, "cannot be read"),
        ({"act": "reading", "job": "J1", "kind": "idle", "value": "35"}, "no unit"),
        ({"act": "receive", "order": "O9"}, "no order"),
        ({"act": "fit", "job": "J1", "part": "GKT-1", "id": "x"}, "no id"),
    ],
)
def test_what_cannot_be_is_refused_with_a_reason(
    firm: Firm, phone: TestClient, fields: dict[str, str], why: str
) -> None:
    code, answer = send(phone, **fields)
    assert (code, answer["state"]) == (422, "refused")
    assert why in answer["why"]
    assert newest(firm).entry.kind == "booked"


def test_trouble_that_may_pass_asks_the_phone_to_keep_the_act(firm: Firm, phone: TestClient) -> None:
    firm.ledger.rename(firm.ledger.with_suffix(".away"))
    code, answer = send(phone, act="fit", job="J1", part="GKT-1", qty="1")
    assert (code, answer["state"]) == (503, "later")
    firm.ledger.with_suffix(".away").rename(firm.ledger)
    assert send(phone, act="fit", job="J1", part="GKT-1", qty="1")[0] == 200


@pytest.mark.parametrize(
    ("made", "taken"),
    [
        ("2027-03-01T07:12:30", datetime(2027, 3, 1, 7, 12, 30)),
        ("2027-02-16T09:00", datetime(2027, 2, 16, 9, 0)),
        ((NOW - timedelta(days=15)).isoformat(), NOW),
        ((NOW + timedelta(minutes=1)).isoformat(), NOW),
        ("yesterday", NOW),
        ("9999-12-31T23:59:59-14:00", NOW),
        ("", NOW),
    ],
)
def test_an_act_has_the_time_it_was_made_where_that_can_be(
    firm: Firm, phone: TestClient, made: str, taken: datetime
) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1", made=made)
    assert newest(firm).entry.at[:19] == taken.isoformat()


def test_undo_takes_an_act_back_and_again_puts_it_back(firm: Firm, phone: TestClient) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1")
    _, answer = send(phone, act="undo", entry=ID, id="b" * 32)
    assert answer["said"].startswith("undone: fitted")
    assert firm.held("GKT-1") == 3
    assert send(phone, act="undo", entry=answer["entry"], id="c" * 32)[1]["said"].startswith("put back")
    assert firm.held("GKT-1") == 2


def test_minus_takes_back_the_last_fit_or_miss_of_that_part_on_that_job_alone(firm: Firm, phone: TestClient) -> None:
    for number, part in enumerate(("GKT-1", "GKT-1", "BLT-1")):
        send(phone, act="fit", job="J1", part=part, qty="1", id=f"{number:032x}")
    send(phone, act="minus", job="J1", part="GKT-1", id="d" * 32)
    assert (firm.held("GKT-1"), firm.held("BLT-1")) == (2, 19)
    assert newest(firm).entry.reverses == f"{1:032x}"
    assert send(phone, act="minus", job="J2", part="GKT-1", id="e" * 32)[0] == 422
    send(phone, act="minus", job="J1", part="GKT-1", id="f" * 32)
    assert firm.held("GKT-1") == 3
    assert send(phone, act="minus", job="J1", part="GKT-1", id="0" * 31 + "a")[0] == 422


def test_without_the_script_a_form_leads_back_to_its_page_with_the_answer(firm: Firm, phone: TestClient) -> None:
    fields = form_of(phone.get("/job/J1").text, act="fit", part="GKT-1")
    back = phone.post("/act", data=fields, headers={"referer": f"{HOME}/job/J1?q=gas"})
    assert back.status_code == 303
    assert back.headers["location"] == f"/job/J1?q=gas&answer={fields['id']}"
    page = phone.get(back.headers["location"]).text
    assert "fitted on J1: 1 x GKT-1" in page
    undo = form_of(page, act="undo")
    assert undo["entry"] == fields["id"]
    phone.post("/act", data=undo, headers={"referer": f"{HOME}/job/J1"})
    assert firm.held("GKT-1") == 3


def test_a_form_sent_twice_by_the_browser_is_recorded_once_and_says_so(firm: Firm, phone: TestClient) -> None:
    fields = form_of(phone.get("/job/J1").text, act="fit", part="GKT-1")
    for _ in range(2):
        back = phone.post("/act", data=fields, headers={"referer": f"{HOME}/job/J1"})
    assert "sent twice and recorded once" in phone.get(back.headers["location"]).text
    assert firm.held("GKT-1") == 2


@pytest.mark.parametrize(
    "referer",
    [
        "", "http://evil.test:8040/job/J1", f"{HOME}//evil.test/", rf"{HOME}/\\evil.test", f"{HOME}/act", "//x/",
        f"{HOME}/{'a/' * 3000}<",
    ],
)  # fmt: skip
def test_the_way_back_stays_with_us(phone: TestClient, referer: str) -> None:
    fields = {"act": "fit", "id": ID, "job": "J1", "part": "GKT-1"}
    back = phone.post("/act", data=fields, headers={"referer": referer}).headers["location"]
    assert back == f"/?answer={ID}"


def test_a_refusal_without_the_script_is_shown_on_the_page(phone: TestClient) -> None:
    fields = {"act": "count", "id": ID, "part": "GKT-1", "qty": "-1", "place": "van"}
    back = phone.post("/act", data=fields, headers={"referer": f"{HOME}/stock"})
    page = phone.get(back.headers["location"]).text
    assert "Not recorded:" in page
    assert "a count cannot be below zero" in page


def test_the_answer_to_one_phone_is_not_shown_to_another(firm: Firm, phone: TestClient, stranger: TestClient) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1")
    token = firm.devices.pair(firm.devices.new_code(), "Sam")
    assert token
    stranger.cookies.set(firm.desk.cookie_for("http"), token, domain="van.test")
    page = stranger.get(f"/?answer={ID}").text
    assert "fitted on J1" not in page
    assert 'value="undo"' not in page


def test_finishing_marks_the_job_done_and_says_what_was_not_logged(firm: Firm, phone: TestClient) -> None:
    send(phone, act="fit", job="J1", part="VAP-2", qty="1")
    _, answer = send(phone, act="finish", job="J1", id="b" * 32)
    assert answer["said"].splitlines()[0] == "finished J1"
    assert "GKT-1" in answer["said"]
    connection = open_ledger(firm.ledger)
    job = job_named(connection, "J1")
    connection.close()
    assert job
    assert job.status == "done"
    assert send(phone, act="finish", job="J1", id="c" * 32)[0] == 422
    assert "finished" in phone.get("/").text


def test_the_whole_load_list_is_recorded_as_it_was_shown(firm: Firm, phone: TestClient) -> None:
    everything = form_of(phone.get("/load").text, act="load-all")
    assert ["VAP-2", "1", "store"] in json.loads(everything["lines"])
    assert phone.post("/act", data=everything, headers=SCRIPT).status_code == 200
    assert (firm.held("VAP-2", "store"), firm.held("VAP-2")) == (0, 1)


def test_an_order_is_received_as_ordered(firm: Firm, phone: TestClient) -> None:
    connection = open_ledger(firm.ledger)
    session = Session(connection, NOW, firm.ledger)
    look = ordering.LastLook(amounts={"SNS-1": "1"}, supplier="DAY", top_up=False)
    number = ordering.draft(session, ordering.propose(session, look).orders[0]).order.order_no
    connection.close()
    form = form_of(phone.get("/week").text, act="receive")
    assert form["order"] == number
    _, answer = send(phone, **form)
    assert f"received {number} into store: " in answer["said"]
    assert firm.held("SNS-1", "store") == 1
    assert "Nothing is on order" in phone.get("/week").text


def test_every_act_on_every_page_is_known_and_says_what_it_will_record(phone: TestClient) -> None:
    from vanstock.web.acts import NEEDED

    typed = {"qty", "value", "kind", "unit"}
    for path in ("/", "/load", "/job/J1", "/job/J1?q=gasket", "/stock", "/week"):
        page = phone.get(path).text
        assert page.count("data-act ") == page.count("data-said=") == len(forms(page))
        for fields in forms(page):
            assert set(NEEDED[fields["act"]]) <= {*fields, *typed}
            assert fields["act"] in ACTS


def test_the_ledger_checks_out_after_acts_from_phone_and_terminal(firm: Firm, phone: TestClient) -> None:
    from vanstock.ledger.entries import Draft, Missed
    from vanstock.routines.trust import check

    send(phone, act="fit", job="J1", part="VAP-2", qty="1", **{"with": "1"}, made="2027-02-20T10:00")
    connection = open_ledger(firm.ledger)
    post(connection, Draft(NOW, "missed", missed=(Missed("J1", "SNS-1", 1),)))
    connection.close()
    send(phone, act="minus", job="J1", part="VAP-2", id="e" * 32)
    assert [finding for finding in check(str(firm.ledger), lambda _: None) if finding.wrong] == []


@pytest.mark.parametrize(
    "wrong",
    [{"id": ""}, {"qty": "2\u200b"}, {"id": "short"}],
    ids=["no id", "what cannot be printed", "an id that is none"],
)
def test_a_refusal_is_told_on_the_next_page_and_no_other(phone: TestClient, wrong: dict[str, str]) -> None:
    back = phone.post("/act", data={"id": ID, "act": "fit", "job": "J1", "part": "GKT-1"} | wrong)
    assert "Not recorded:" in phone.get(back.headers["location"]).text
    for path in ("/", "/load", "/stock?answer="):
        assert "Not recorded:" not in phone.get(path).text


def test_the_copy_of_the_day_has_the_time_it_is_made_at_and_not_that_of_an_act_sent_late(
    firm: Firm, phone: TestClient
) -> None:
    connection = open_ledger(firm.ledger)
    change_setting(Session(connection, NOW - timedelta(hours=1), firm.ledger), "daily_backup", "always")
    connection.close()
    send(phone, act="fit", job="J1", part="GKT-1", qty="1", waited="86400")
    send(phone, id="a" * 32, act="fit", job="J1", part="GKT-1", qty="1")
    copied = [line for line in firm.told if "copy written" in line]
    assert len(copied) == 1
    assert "20270301" in copied[0].replace("-", "")


def test_an_act_sent_late_is_refused_too_while_the_computers_clock_is_behind_the_ledger(
    firm: Firm, phone: TestClient
) -> None:
    connection = open_ledger(firm.ledger)
    newest_of_all = datetime.now() + timedelta(days=400)
    count(Session(connection, newest_of_all, firm.ledger), "GKT-1", "3", place="van")
    connection.close()
    firm.desk.now = None
    for waited in ("0", "59", "60", "86400"):
        code, answer = send(phone, act="fit", job="J1", part="GKT-1", qty="1", waited=waited)
        assert (code, "this machine's clock says" in answer["why"]) == (422, True), waited

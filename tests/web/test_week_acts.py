"""Orders and goods in from the phone, Undo for every act, clocks that are wrong, other ledgers, more vans."""

from __future__ import annotations

import re
from datetime import datetime

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import NOW, Firm, form_of, forms, newest, send
from vanstock.ledger.file import open_ledger
from vanstock.ledger.reading import job_named, used_on_job
from vanstock.model import Job
from vanstock.routines import ordering
from vanstock.routines.booking import add_booking
from vanstock.routines.orderseen import SeenLine, draft_seen
from vanstock.routines.session import Session
from vanstock.routines.stock import add_place, count
from vanstock.web.acts import ACTS


def drafted(firm: Firm) -> str:
    """An order of two sensors and a pack of bolts, drafted on the computer."""
    connection = open_ledger(firm.ledger)
    session = Session(connection, NOW, firm.ledger)
    lines = [SeenLine("SNS-1", "2")]
    number = draft_seen(session, "DAY", lines).order.order_no
    connection.close()
    return number


def order_state(firm: Firm, number: str) -> tuple[str, list[tuple[str, int, int, int]]]:
    connection = open_ledger(firm.ledger)
    found = ordering.order_named(Session(connection, NOW, firm.ledger), number)
    connection.close()
    return found.state, [(line.part, line.ordered, line.received, line.cancelled) for line in found.lines]


def test_an_order_is_drafted_as_it_was_changed_on_the_page(firm: Firm, phone: TestClient) -> None:
    fields = {"act": "order", "supplier": "WEEK", "qty:GLV-1": "70", "take:GLV-1": "1", "qty:FLU-1": "5"}
    code, answer = send(phone, **fields)
    assert (code, answer["said"]) == (200, "drafted O0001 from WEEK: 100 pr x GLV-1")
    assert order_state(firm, "O0001") == ("drafted", [("GLV-1", 100, 0, 0)])
    assert send(phone, **fields)[1] == answer
    again = send(phone, **fields, **{"on-order:GLV-1": "0"}, id="c" * 32)
    assert (again[0], "was ordered meanwhile" in again[1]["why"]) == (422, True)
    assert send(phone, **fields, **{"on-order:GLV-1": "100"}, id="d" * 32)[0] == 200


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"supplier": "DAY", "qty:SNS-1": "1"}, "every line was left out"),
        ({"supplier": "DAY", "qty:SNS-1": "0", "take:SNS-1": "1"}, "every line was left out"),
        ({"supplier": "DAY"}, "every line was left out"),
        ({"supplier": "DAY", "qty:SNS-1": "-1", "take:SNS-1": "1"}, "nothing to order"),
        ({"supplier": "DAY", "qty:SNS-1": "two", "take:SNS-1": "1"}, "'two'"),
        ({"supplier": "DAY", "qty:GLV-1": "10", "take:GLV-1": "1"}, "does not come from DAY"),
        ({"supplier": "NONE", "qty:SNS-1": "1", "take:SNS-1": "1"}, "does not come from NONE"),
        ({"supplier": "DAY", "qty:zzz": "1", "take:zzz": "1"}, "no part"),
        ({"supplier": "DAY", "qty:SNS-1": "1", "take:SNS-1": "1", "on-order:SNS-1": "x"}, "'x'"),
    ],
)
def test_an_order_that_cannot_be_is_refused_with_a_reason(
    firm: Firm, phone: TestClient, fields: dict[str, str], why: str
) -> None:
    code, answer = send(phone, act="order", **fields)
    assert (code, answer["state"]) == (422, "refused")
    assert why in answer["why"]


def test_goods_in_are_taken_line_by_line_as_the_page_prefills_them(firm: Firm, phone: TestClient) -> None:
    number = drafted(firm)
    page = phone.get("/week").text
    assert re.search(r'name="came:SNS-1" value="2"', page)
    code, answer = send(phone, act="sent", order=number)
    assert (code, answer["said"][:20]) == (200, f"sent {number} to DAY, e")
    fields = {
        "act": "receive",
        "order": number,
        "came:SNS-1": "1",
        "damaged:SNS-1": "",
        "rest": "cancel",
        "place": "van",
    }
    code, answer = send(phone, **fields, id="e" * 32)
    assert answer["said"].startswith(f"received {number} into van: 1 x SNS-1; it is received")
    assert (firm.held("SNS-1"), order_state(firm, number)[0]) == (1, "received")


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"came:SNS-1": ""}, "say how much of SNS-1 came"),
        ({"came:SNS-1": "1", "damaged:SNS-1": "2"}, "more of SNS-1 is damaged than came"),
        ({"came:SNS-1": "0"}, "nothing came"),
        ({"came:SNS-1": "1", "rest": "never"}, "comes later or is cancelled"),
        ({"came:SNS-1": "1", "place": "shed"}, "shed"),
    ],
)
def test_goods_in_that_cannot_be_are_refused(firm: Firm, phone: TestClient, fields: dict[str, str], why: str) -> None:
    code, answer = send(phone, act="receive", order=drafted(firm), **fields)
    assert code == 422
    assert why in answer["why"]


@pytest.mark.parametrize(
    ("qty", "held"), [("2,5", 2000), ("0,125 L", 4375), ("500ml", 4000), ("1,000", 4500), ("1,2,3", 4500)]
)
def test_a_decimal_comma_is_a_point_unless_it_may_mean_a_thousand(
    firm: Firm, phone: TestClient, qty: str, held: int
) -> None:
    code, _ = send(phone, act="fit", job="J1", part="FLU-1", qty=qty)
    assert (code == 200, firm.held("FLU-1")) == (held != 4500, held)


EVERY_ACT: dict[str, dict[str, str]] = {
    "fit": {"job": "J1", "part": "GKT-1", "qty": "1"},
    "missed": {"job": "J1", "part": "SNS-1", "qty": "1"},
    "minus": {"job": "J1", "part": "BLT-1"},
    "undo": {"entry": "b" * 32},
    "load": {"part": "VAP-2", "qty": "1", "place": "store", "van": "van"},
    "load-all": {"lines": '[["VAP-2", "1", "store"]]', "van": "van"},
    "finish": {"job": "J1"},
    "reading": {"job": "J1", "kind": "idle", "value": "35", "unit": "mbar"},
    "count": {"part": "BLT-1", "qty": "11", "place": "van"},
    "order": {"supplier": "DAY", "qty:SNS-1": "1", "take:SNS-1": "1", "on-order:SNS-1": "2"},
    "sent": {"order": "O0001"},
    "receive": {"order": "O0001", "came:SNS-1": "1", "rest": "cancel"},
}


def everything(firm: Firm) -> tuple[object, ...]:
    """What the ledger says lies where, is on order, is logged on jobs and stands of jobs, by its own SQL tables."""
    connection = open_ledger(firm.ledger)
    session = Session(connection, NOW, firm.ledger)
    balances = connection.execute(
        "SELECT part, place, sum(qty) FROM (SELECT part, to_place AS place, qty FROM movement UNION ALL"
        " SELECT part, from_place, -qty FROM movement) GROUP BY part, place HAVING sum(qty) <> 0 ORDER BY 1, 2"
    ).fetchall()
    open_orders = [order for order in ordering.order_list(session, only_open=False) if order.is_open]
    orders = [
        (one.order_no, one.state, [(line.part, line.ordered, line.received, line.cancelled) for line in one.lines])
        for one in open_orders
    ]
    used = [row for job in ("J1", "J2") for row in used_on_job(connection, job) if row.fitted or row.missed]
    jobs = [job_named(connection, name) for name in ("J1", "J2")]
    connection.close()
    return balances, orders, used, jobs


def test_there_is_a_way_to_undo_every_act_of_the_contract() -> None:
    assert set(EVERY_ACT) == set(ACTS)


@pytest.mark.parametrize("name", EVERY_ACT)
def test_undo_stands_beside_every_act_and_one_tap_takes_it_back(firm: Firm, phone: TestClient, name: str) -> None:
    drafted(firm)
    send(phone, act="fit", job="J1", part="BLT-1", qty="2", id="b" * 32)
    before = everything(firm)
    _, answer = send(phone, act=name, **EVERY_ACT[name])
    assert (answer["state"], answer["undo"]) == ("done", True)
    assert everything(firm) != before
    undo = form_of(phone.get("/").text, act="undo", entry=answer["entry"])  # also after a reload, without the script
    _, undone = send(phone, **{**undo, "id": "f" * 32})
    assert undone["state"] == "done"
    assert everything(firm) == before


@pytest.mark.parametrize(
    ("fields", "taken"),
    [
        ({"waited": "5400", "made": "2031-01-01T00:00:00"}, datetime(2027, 3, 1, 6, 0)),  # a clock years fast
        ({"waited": "90", "made": "2027-02-27T07:30:00"}, datetime(2027, 3, 1, 7, 28, 30)),  # days slow
        ({"waited": "20", "made": "2027-03-01T04:30:00"}, NOW),  # hours slow, sent at once
        ({"made": "2027-03-01T07:12:30"}, datetime(2027, 3, 1, 7, 12, 30)),  # the clock was set back meanwhile
        ({"waited": "9" * 9, "made": "2027-03-01T07:12:30"}, datetime(2027, 3, 1, 7, 12, 30)),
        ({"waited": "-5", "made": ""}, NOW),
        ({"waited": "soon", "made": ""}, NOW),
    ],
)
def test_a_wrong_clock_on_the_phone_does_not_change_the_time_of_an_act(
    firm: Firm, phone: TestClient, fields: dict[str, str], taken: datetime
) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1", **fields)
    assert newest(firm).entry.at[:19] == taken.isoformat()


def test_an_act_of_another_ledgers_page_is_refused(firm: Firm, phone: TestClient) -> None:
    mark = re.search(r'<body[^>]* data-ledger="([^"]+)"', phone.get("/").text)
    assert mark
    code, answer = send(phone, act="fit", job="J1", part="GKT-1", qty="1", ledger="f" * 32)
    assert (code, "another ledger" in answer["why"]) == (422, True)
    assert send(phone, act="fit", job="J1", part="GKT-1", qty="1", ledger=mark[1])[0] == 200


def test_after_an_undo_both_are_offered_to_put_back_and_to_undo_what_stood_before(phone: TestClient) -> None:
    send(phone, act="fit", job="J1", part="GKT-1", qty="1", id="1" * 32)
    send(phone, act="fit", job="J1", part="BLT-1", qty="2", id="2" * 32)
    send(phone, act="undo", entry="2" * 32, id="3" * 32)
    page = phone.get("/").text
    assert [form["entry"] for form in forms(page) if form["act"] == "undo"] == ["3" * 32, "1" * 32]
    assert re.findall(r"<button>(Put back|Undo)</button>", page) == ["Put back", "Undo"]


def test_with_two_vans_the_choice_goes_along_and_each_act_names_its_van(firm: Firm, phone: TestClient) -> None:
    connection = open_ledger(firm.ledger)
    session = Session(connection, NOW, firm.ledger)
    add_place(session, "van 2", "van")
    for part, qty in (("VAP-2", "2"), ("GKT-1", "4"), ("BLT-1", "20"), ("FLU-1", "10")):
        count(session, part, qty, place="store")
    add_booking(session, Job("J3", NOW.date(), "09:00", "AAA", "heat-source", ("P20CB",), van="van 2"))
    connection.close()
    for path in ("/", "/load", "/stock", "/week", "/job/J3", "/history/GKT-1", "/stock?q=gasket"):
        page = phone.get(path + ("&" if "?" in path else "?") + "van=van%202").text
        nav = page[page.index('<nav aria-label="Pages">') :]
        assert re.findall(r'href="([^"]*)"', nav) == [f"{to}?van=van%202" for to in ("/", "/load", "/stock", "/week")]
    assert 'href="/job/J3?van=van%202"' in phone.get("/?van=van%202").text
    load = form_of(phone.get("/load?van=van%202").text, act="load", part="VAP-2")
    assert load["van"] == "van 2"
    assert form_of(phone.get("/load?van=van%202").text, act="load-all")["van"] == "van 2"
    fit = form_of(phone.get("/job/J3").text, act="fit", part="VAP-2")
    assert fit["place"] == "van 2"
    send(phone, **{**load, "id": "1" * 32})
    assert (firm.held("VAP-2", "store"), firm.held("VAP-2", "van 2")) == (1, 1)
    shown = phone.get("/stock?van=van%202").text
    assert {form["place"] for form in forms(shown) if form["act"] == "count"} == {"van 2"}
    assert "in van<" in phone.get("/stock?place=&van=van%202").text
    assert "van=" not in phone.get("/week").text

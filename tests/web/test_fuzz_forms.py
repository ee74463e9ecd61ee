"""Whatever is sent by any form, or to any address, of the phone face: the answer is one of ours and never a failure,
what is refused leaves the ledger as it was, and what is recorded is one entry. The forms are those of the pages
themselves, every field of each."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from hashlib import sha256
from itertools import count, cycle, islice
from pathlib import Path
from urllib.parse import quote, urlencode

import httpx2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from starlette.testclient import TestClient

from tests.web.conftest import HOME, NOW, Firm
from tests.web.crawl import Answer, Direct, Form, every_page
from vanstock.ledger.catalogue import save_pin
from vanstock.ledger.file import open_ledger, writing
from vanstock.routines import ordering
from vanstock.routines.session import Session
from vanstock.routines.trust import check
from vanstock.web.acts import ACTS, NEEDED

FORM = "application/x-www-form-urlencoded"
SCRIPT = {"origin": HOME, "accept": "application/json"}
SETTINGS = settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
HOSTILE = [
    "", " ", "\x00", "a\x00b", "\x1b[2J", "\r\nSet-Cookie: a=b", "\u202e1", "\u0661", "\N{MINUS SIGN}1", "\ufeff1",
    "\U0001f600", "\xa01", "'; DROP TABLE entries; --", "\"><script>alert(1)</script>", "{{7*7}}", "%s%n", "../../etc",
    "0", "-1", "1e9", "1e-9", "NaN", "inf", "9" * 30, "1" * 300, "x" * 20_000, "1pack", "2.5L", "1,5", "0x10", "null",
    "[]", "[[[]]]", '[["GKT-1", "1", "store"]]', '[["GKT-1", 1, null]]', "[" * 3000, '{"a": 1}', "9999-12-31",
    "0001-01-01", "2027-02-29", "9999-12-31T23:59:59-14:00", "customer", "store", "van", "J1", "GKT-1", "undo",
]  # fmt: skip
WORDS = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=40))
NAMES = st.sampled_from(sorted({name for names in NEEDED.values() for name in names} | {
    "id", "act", "place", "van", "with", "unit", "after", "reason", "made", "date", "__proto__", "",
}))  # fmt: skip
PATHS = ["/", "/load", "/job/J1", "/job/{}", "/history/{}", "/stock", "/find", "/pair", "/static/{}", "/{}"]


class Place(Firm):
    """The small firm with something on each page: an order to come, a reorder list, an entry to undo; and its forms."""

    def __init__(self, ledger: Path, fill: Callable[[Session], None]) -> None:
        super().__init__(ledger, fill)
        self._order()
        token = self.devices.pair(self.devices.new_code(), "Kim")
        assert token
        self.cookie = {"cookie": f"{self.desk.cookie_for('http')}={token}"}
        with TestClient(self.app, HOME, headers=self.cookie, follow_redirects=False) as phone:
            act = {"act": "fit", "id": "0" * 32, "job": "J1", "part": "GKT-1", "qty": "1"}
            assert phone.post("/act", data=act, headers=SCRIPT).status_code == 200
            self._wait_for_the_list(phone)
            self.pages = every_page(
                phone, "/pair", "/find?job=J1&q=gasket", "/job/J1?q=gasket", "/history/J1", "/sw.js"
            )
            self._wait_for_the_list(phone)
        shapes = {form.shape: form for page in self.pages.values() for form in page.forms}
        self.forms = [shapes[shape] for shape in sorted(shapes)]
        self.fresh = ledger.read_bytes()

    def _order(self) -> None:
        connection = open_ledger(self.ledger)
        session = Session(connection, NOW, self.ledger)
        look = ordering.LastLook(amounts={"SNS-1": "1"}, supplier="DAY", top_up=False)
        ordering.draft(session, ordering.propose(session, look).orders[0])
        with writing(connection):
            save_pin(connection, "GLV-1", (50, 100))
        connection.close()

    @staticmethod
    def _wait_for_the_list(phone: TestClient) -> None:
        for _ in range(300):
            if "Being worked out" not in phone.get("/week").text:
                return
            time.sleep(0.1)
        pytest.fail("the reorder list does not come")

    def put_back(self) -> None:
        copy = self.ledger.with_suffix(".copy")
        copy.write_bytes(self.fresh)
        copy.replace(self.ledger)

    def content(self) -> tuple[int, str]:
        """How many entries there are, and everything in the ledger in short."""
        with sqlite3.connect(self.ledger) as connection:
            (entries,) = connection.execute("SELECT count(*) FROM entry").fetchone()
            return entries, sha256(connection.serialize()).hexdigest()

    def faults(self) -> list[object]:
        return [finding for finding in check(str(self.ledger), lambda _: None) if finding.wrong]


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Place:
    from tests.conftest import fill_small_firm

    return Place(tmp_path_factory.mktemp("fuzz") / "firm.db", fill_small_firm)


@pytest.fixture
def phone(firm: Place) -> Iterator[Direct]:
    """A paired phone, before the ledger as it was filled."""
    firm.put_back()
    line = Direct(firm.app, {"host": HOME.removeprefix("http://"), "content-type": FORM, **firm.cookie, **SCRIPT})
    yield line
    line.runner.close()


def encoded(fields: dict[str, str]) -> str:
    return urlencode(fields, errors="surrogatepass")


def sent(phone: Direct, form: Form, fields: dict[str, str]) -> Answer:
    """What a form is answered when it is sent as a browser sends it."""
    if form.method == "get":
        return phone.ask("GET", f"{form.action.partition('?')[0]}?{encoded(fields)}")
    if form.kind == FORM:
        return phone.ask("POST", form.action, encoded(fields).encode())
    files = {name: ("a\x00.png", fields[name].encode(errors="replace")) for name in form.choices if name in fields}
    rest = {name: value for name, value in fields.items() if name not in files}
    request = httpx2.Request("POST", HOME, data=rest, files=files)
    return phone.ask("POST", form.action, request.read(), content_type=request.headers.get("content-type", FORM))


def never_fails(firm: Place, phone: Direct, form: Form, fields: dict[str, str]) -> str:
    """Send a form and hold the answer against the ledger; the state it was answered."""
    before = firm.content()
    answer = sent(phone, form, fields)
    after = firm.content()
    is_document = answer.headers["content-type"] == "application/json" and form.method == "post"
    document = json.loads(answer.body) if is_document else {}
    state = str(document.get("state", ""))
    assert answer.status < 500, (form.shape, fields)
    assert str(document["said"] if state == "done" else document.get("why", "-")), (form.shape, fields)
    if form.method == "post" and state != "done":
        assert after == before, (form.shape, fields, "was not recorded and yet changed the ledger")
    assert after[0] - before[0] in ((0, 1) if state == "done" else (0,)), (form.shape, fields)
    return state


def test_every_page_and_every_act_is_reached(firm: Place) -> None:
    routes = [route for route in firm.app.app.app.routes if isinstance(route, Route)]  # type: ignore[attr-defined]
    paths = {address.partition("?")[0] for address in firm.pages}
    shown = [route for route in routes if "GET" in (route.methods or ()) and route.path != "/authority.crt"]
    assert [route.path for route in shown if not any(map(route.path_regex.match, paths))] == []
    posted = {form.action for form in firm.forms if form.method == "post"}
    assert {route.path for route in routes if "POST" in (route.methods or ())} == posted
    assert {form.fields["act"] for form in firm.forms if "act" in form.fields} == set(ACTS)


def try_every_field(firm: Place, phone: Direct, words_each: int) -> set[tuple[str, str]]:
    """Every field of every form left out and with so many of the hostile words, in turn; act and state of each."""
    states: set[tuple[str, str]] = set()
    turn, number = cycle(HOSTILE), count(1)
    for form in firm.forms:
        for name in form.fields:
            for word in (None, *islice(turn, words_each)):
                own = {"id": f"{next(number):032x}"} if "id" in form.fields else {}
                fields = {key: value for key, value in {**form.fields, **own, name: word}.items() if value is not None}
                states.add((form.fields.get("act", form.action), never_fails(firm, phone, form, fields)))
        assert firm.faults() == [], form.shape
        firm.put_back()
    return states


@pytest.mark.slow
def test_every_field_of_every_form_may_hold_anything(firm: Place, phone: Direct) -> None:
    states = try_every_field(firm, phone, 3)
    assert {(act, "refused") for act in ACTS} <= states
    assert len({act for act, state in states if state == "done"}) > len(ACTS) // 2, "hardly anything was recorded"


@pytest.mark.long
def test_every_field_of_every_form_may_hold_every_hostile_word(firm: Place, phone: Direct) -> None:
    try_every_field(firm, phone, len(HOSTILE))


@pytest.mark.slow
def test_any_form_is_recorded_or_refused_in_words(firm: Place, phone: Direct) -> None:
    acts = [form for form in firm.forms if "act" in form.fields]
    states: list[str] = []

    @SETTINGS
    @given(form=st.sampled_from(acts), other=st.dictionaries(NAMES, WORDS, max_size=3), number=st.uuids())
    def record(form: Form, other: dict[str, str], number: object) -> None:
        chosen = {name: words[0] for name, words in form.choices.items()}
        states.append(never_fails(firm, phone, form, {**form.fields, **chosen, "id": str(number), **other}))

    record()
    assert {"done", "refused"} <= set(states)
    assert firm.faults() == []


@pytest.mark.slow
@SETTINGS
@given(body=st.binary(max_size=200))
def test_any_bytes_are_refused(firm: Place, phone: Direct, body: bytes) -> None:
    before = firm.content()
    for path in ("/act", "/pair"):
        assert phone.ask("POST", path, body).status in (400, 422, 429)
    assert firm.content() == before


@pytest.mark.slow
@SETTINGS
@given(
    path=st.sampled_from(PATHS),
    query=st.dictionaries(st.sampled_from(["q", "van", "place", "date", "job", "answer", "code"]), WORDS, max_size=4),
    word=WORDS,
)  # fmt: skip
def test_any_address_is_answered_by_a_page(
    firm: Place, phone: Direct, path: str, query: dict[str, str], word: str
) -> None:
    before = firm.content()[0]
    answer = phone.ask("GET", f"{path.format(quote(word, safe='', errors='surrogatepass'))}?{encoded(query)}")
    assert answer.status < 500
    answer.body.decode("utf-8")
    assert firm.content()[0] == before


@pytest.mark.slow
@SETTINGS
@given(code=WORDS, name=WORDS)
def test_any_pairing_form_is_answered(firm: Place, phone: Direct, code: str, name: str) -> None:
    answer = phone.ask("POST", "/pair", encoded({"code": code, "name": name}).encode(), cookie="")
    assert answer.status in (422, 429)
    assert [device.name for device in firm.devices.paired()] == ["Kim"]

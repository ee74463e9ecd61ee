"""Whatever is sent to any address of the phone face, the answer is one of ours and never a failure."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import urlencode

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tests.web.conftest import HOME, Firm
from vanstock.routines.trust import check
from vanstock.web.acts import ACTS

SETTINGS = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
KNOWN = st.sampled_from([
    "J1", "J2", "j1", "GKT-1", "VAP-2", "gasket", "van", "store", "customer", "1", "2.5L", "0", "-1", "1e9", "9" * 30,
    "1pack", "idle", "35", "mbar", "1" * 300, "a" * 32, '[["GKT-1", "1", "store"]]', "[[[]]]", "null", "\u0661",
    "\N{MINUS SIGN}1",
])  # fmt: skip
WORDS = st.one_of(KNOWN, st.text(max_size=40))
NAMES = st.sampled_from([
    "id", "act", "job", "part", "qty", "place", "van", "with", "entry", "lines", "kind", "value", "unit", "after",
    "order", "reason", "made", "code", "name", "date", "waited", "ledger", "supplier", "rest", "came:GKT-1", "came:",
    "damaged:GKT-1", "qty:GLV-1", "take:GLV-1", "on-order:GLV-1",
])  # fmt: skip
GOOD = {
    "job": ["J1", "J2"], "part": ["GKT-1", "VAP-2", "FLU-1", "gloves"], "qty": ["1", "2", "0.5"],
    "place": ["van", "store"], "van": ["van"], "kind": ["idle", "3000", "regen"], "value": ["35", "8", "-2"],
    "unit": ["mbar", "kPa", "C"], "after": ["1", ""], "with": ["1", ""], "lines": ['[["GKT-1", "1", "store"]]'],
    "made": ["2027-03-01T07:20"], "id": [],
}  # fmt: skip
SENSIBLE = {name: st.sampled_from(words) if words else st.uuids().map(str) for name, words in GOOD.items()}
FIELDS = st.tuples(
    st.fixed_dictionaries({**SENSIBLE, "act": st.sampled_from(sorted(ACTS))}),
    st.one_of(st.just({}), st.dictionaries(NAMES, WORDS, max_size=2)),
).map(lambda one: {**one[0], **one[1]})
PATHS = ["/", "/load", "/job/J1", "/job/{}", "/history/{}", "/stock", "/find", "/pair", "/static/{}", "/{}"]


def encoded(fields: dict[str, str]) -> str:
    return urlencode(fields, errors="surrogatepass")


@pytest.mark.slow
@SETTINGS
@given(fields=st.one_of(FIELDS, st.dictionaries(st.one_of(NAMES, st.text(max_size=5)), WORDS, max_size=8)))
def test_any_form_is_recorded_or_refused_in_words(firm: Firm, phone: TestClient, fields: dict[str, str]) -> None:
    headers = {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"}
    answer = phone.post("/act", content=encoded(fields), headers=headers)
    assert answer.status_code in (200, 409, 422)
    state: dict[str, Any] = answer.json()
    assert state["said"] if state["state"] == "done" else state["why"]
    json.dumps(state).encode()


@pytest.mark.slow
@SETTINGS
@given(body=st.binary(max_size=200))
def test_any_bytes_are_refused(firm: Firm, phone: TestClient, body: bytes) -> None:
    headers = {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"}
    for path in ("/act", "/pair"):
        assert phone.post(path, content=body, headers=headers).status_code in (400, 422, 429)


@pytest.mark.slow
@SETTINGS
@given(
    path=st.sampled_from(PATHS),
    query=st.dictionaries(st.sampled_from(["q", "van", "place", "date", "job", "answer", "code"]), WORDS, max_size=4),
    word=WORDS,
)  # fmt: skip
def test_any_address_is_answered_by_a_page(
    firm: Firm, phone: TestClient, path: str, query: dict[str, str], word: str
) -> None:
    from urllib.parse import quote

    address = path.format(quote(word, safe="", errors="surrogatepass"))
    answer = phone.get(f"{address}?{encoded(query)}", headers={"host": "van.test:8040"})
    assert answer.status_code < 500
    answer.content.decode("utf-8")


@pytest.mark.slow
@SETTINGS
@given(code=WORDS, name=WORDS)
def test_any_pairing_form_is_answered(firm: Firm, stranger: TestClient, code: str, name: str) -> None:
    headers = {"origin": HOME, "content-type": "application/x-www-form-urlencoded"}
    answer = stranger.post("/pair", content=encoded({"code": code, "name": name}), headers=headers)
    assert answer.status_code in (422, 429)
    assert firm.devices.paired() == []


@pytest.mark.slow
def test_after_all_that_the_ledger_keeps_its_rules(firm: Firm, phone: TestClient) -> None:
    states: list[str] = []

    @SETTINGS
    @given(fields=FIELDS)
    def record(fields: dict[str, str]) -> None:
        headers = {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"}
        states.append(phone.post("/act", content=encoded(fields), headers=headers).json()["state"])

    record()
    assert states.count("done") > 5, "hardly anything was recorded: this test tries nothing"
    assert [finding for finding in check(str(firm.ledger), lambda _: None) if finding.wrong] == []

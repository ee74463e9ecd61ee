"""The door: hosts, origins, bodies, headers, and what an unpaired device sees. The attacks are those of the OWASP cheat
sheets on cross-site request forgery and on DNS rebinding, named from memory."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HOME, PORT, Firm

PAGES = ("/", "/load", "/job/J1", "/stock", "/week", "/history/GKT-1", "/find?q=gasket")
ACT = {"act": "fit", "id": "a" * 32, "job": "J1", "part": "GKT-1", "qty": "1"}


@pytest.mark.parametrize("host", ["evil.test", "evil.test:8040", "van.test", "van.test:80", "van.test:8041", ""])
def test_a_host_that_is_not_ours_with_its_port_is_answered_nothing(phone: TestClient, host: str) -> None:
    answer = phone.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "J1" not in answer.text


def test_the_address_at_which_a_request_came_in_is_ours(new_client: Callable[..., TestClient]) -> None:
    client = new_client(f"http://192.0.2.7:{PORT}")
    assert client.get("/pair").status_code == 200
    assert client.get("/pair", headers={"host": f"192.0.2.8:{PORT}"}).status_code == 421


@pytest.mark.parametrize(
    "origin",
    [None, "null", "http://van.test", "http://van.test:8041", "https://van.test:8040", "http://evil.test:8040"],
)
def test_a_post_from_another_page_records_nothing(firm: Firm, phone: TestClient, origin: str | None) -> None:
    del phone.headers["origin"]
    headers = {"origin": origin} if origin else {}
    assert phone.post("/act", data=ACT, headers=headers).status_code == 403
    assert phone.post("/act", data=ACT, headers={**headers, "accept": "application/json"}).status_code == 403
    assert firm.held("GKT-1") == 3
    assert phone.post("/act", data=ACT, headers={"origin": HOME}).status_code == 303
    assert firm.held("GKT-1") == 2


@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=x", "text/plain", "application/json", ""])
def test_only_a_plain_form_is_taken(phone: TestClient, kind: str) -> None:
    answer = phone.post("/act", content=b"act=fit", headers={"content-type": kind, "accept": "application/json"})
    assert (answer.status_code, answer.json()["state"]) == (415, "refused")


def test_a_body_too_large_is_refused_whether_or_not_its_length_is_said(phone: TestClient) -> None:
    headers = {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"}
    big = b"part=" + b"x" * 70_000
    for body in (big, iter([big[:40_000], big[40_000:]])):
        assert phone.post("/act", content=body, headers=headers).status_code in (413, 422)
    many = {f"field{number}": "x" for number in range(1100)}
    assert phone.post("/act", data={**ACT, **many}, headers={"accept": "application/json"}).status_code == 422


@pytest.mark.parametrize("path", [*PAGES, "/static/queue.js", "/sw.js", "/no-such-page"])
def test_an_unpaired_phone_sees_the_pairing_page_and_nothing_else(stranger: TestClient, path: str) -> None:
    answer = stranger.get(path)
    assert answer.status_code in (303, 401)
    assert answer.headers.get("location", "/pair") == "/pair"
    assert "J1" not in answer.text
    script = stranger.get(path, headers={"accept": "application/json"})
    assert (script.status_code, script.json()) == (401, {"state": "unpaired"})


def test_an_unpaired_phone_records_nothing(firm: Firm, stranger: TestClient) -> None:
    headers = {"origin": HOME, "accept": "application/json"}
    answer = stranger.post("/act", data=ACT, headers=headers)
    assert (answer.status_code, answer.json()) == (401, {"state": "unpaired"})
    assert stranger.post("/act", data=ACT, headers={"origin": HOME}).status_code == 401
    assert firm.held("GKT-1") == 3


def test_a_made_up_token_is_no_token(firm: Firm, stranger: TestClient) -> None:
    for token in ("x", "../device", "a" * 5000):
        stranger.cookies.set(firm.desk.cookie, token, domain="van.test")
        assert stranger.get("/").status_code == 303


@pytest.mark.parametrize("path", [*PAGES, "/pair", "/static/style.css", "/no-such-page"])
def test_every_answer_carries_the_headers_that_keep_a_browser_to_ours(phone: TestClient, path: str) -> None:
    headers = phone.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("path", [*PAGES, "/pair"])
def test_no_page_holds_what_the_policy_forbids_or_anything_from_outside(phone: TestClient, path: str) -> None:
    page = phone.get(path).text
    assert " style=" not in page
    assert "<style" not in page
    assert "javascript:" not in page
    assert " onclick" not in page
    assert "https://" not in page
    assert "<script>" not in page


@pytest.mark.parametrize(
    "name", ["../app.py", "..%2fapp.py", "%2e%2e/app.py", "..\\app.py", "/etc/passwd", "style.css/", "", ".", "app.py"]
)
def test_nothing_outside_the_static_files_is_served(phone: TestClient, name: str) -> None:
    answer = phone.get(f"/static/{name}")
    assert answer.status_code in (303, 307, 404)
    assert "import" not in answer.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_do_nothing(phone: TestClient, method: str) -> None:
    assert phone.request(method, "/act").status_code == 405

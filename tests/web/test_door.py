"""The door: hosts, origins, bodies, headers, and what an unpaired device sees. The attacks are those of the OWASP cheat
sheets on cross-site request forgery and on DNS rebinding, named from memory."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest
from starlette.routing import Route
from starlette.testclient import TestClient
from starlette.types import Message

from tests.web.conftest import HOME, PORT, Firm
from tests.web.crawl import every_page
from vanstock.web.guard import BODY_BYTES, Guard

PAGES = (
    "/", "/load", "/job/J1", "/stock", "/week", "/history/GKT-1", "/find?q=gasket", "/curve", "/forecast/GKT-1",
)  # fmt: skip
PICTURES = ("/curve.svg", "/forecast.svg?part=GKT-1")
ACT = {"act": "fit", "job": "J1", "part": "GKT-1", "qty": "1"}
SCRIPT = {"accept": "application/json"}
FORM = {"content-type": "application/x-www-form-urlencoded"}
PHOTO = {"content-type": "multipart/form-data; boundary=x"}
PHOTO = {"content-type": "multipart/form-data; boundary=x"}
OPEN = {"/pair", "/authority.crt", "/static/style.css", "/static/icon.svg"}


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Firm:
    """One firm for all: what these tests try comes to nothing."""
    from tests.conftest import fill_small_firm

    return Firm(tmp_path_factory.mktemp("door") / "firm.db", fill_small_firm)


@pytest.fixture(scope="module")
def token(firm: Firm) -> str:
    return firm.devices.pair(firm.devices.new_code(), "Kim") or ""


@pytest.fixture
def phone(firm: Firm, token: str, new_client: Callable[..., TestClient]) -> TestClient:
    client = new_client(headers={"origin": HOME})
    client.cookies.set(firm.desk.cookie_for("http"), token, domain="van.test")
    return client


def addresses(firm: Firm) -> list[tuple[str, str]]:
    """Every address of the application with each method that it knows, and others."""
    routes = [route for route in firm.app.app.app.routes if isinstance(route, Route)]  # type: ignore[attr-defined]
    known = {
        (method, re.sub(r"{(\w+)(:\w+)?}", lambda name: {"job": "J1", "name": "queue.js"}[name[1]], route.path))
        for route in routes
        for method in {*(route.methods or ()), "GET", "HEAD", "POST", "PUT", "OPTIONS"}
    }
    loaded = {("GET", f"/static/{file.name}") for file in files("vanstock.web").joinpath("static").iterdir()}
    beside = {("GET", path) for path in ("/nowhere", "//", "/pair/", "/pair/x", "/pair%3Fx", "/static/style.css%23x")}
    return sorted(known | loaded | beside)


@pytest.mark.parametrize("host", [
    "evil.test", "evil.test:8040", "van.test", "van.test:80", "van.test:8041", "", "van.test.:8040", "x@van.test:8040",
    "van.test:8040.evil.test", "van.test:08040", "van.test:8040@evil.test", "127.0.0.1:8040", " ", "van.test:8040,x",
])  # fmt: skip
def test_a_host_that_is_not_ours_with_its_port_is_answered_nothing(phone: TestClient, host: str) -> None:
    for path in ("/", "/pair", "/static/style.css"):
        answer = phone.get(path, headers={"host": host})
        assert answer.status_code == 421
        assert "J1" not in answer.text


def test_two_hosts_are_none_and_large_letters_are_the_same(phone: TestClient) -> None:
    headers = [("host", f"van.test:{PORT}"), ("host", "evil.test")]
    assert phone.get("/pair", headers=headers).status_code == 421
    assert phone.get("/pair", headers=[("host", f"van.test:{PORT}")] * 2).status_code == 421
    assert phone.get("/pair", headers={"host": f"VAN.test:{PORT}"}).status_code == 200


def test_the_address_at_which_a_request_came_in_is_ours(new_client: Callable[..., TestClient]) -> None:
    client = new_client(f"http://192.0.2.7:{PORT}")
    assert client.get("/pair").status_code == 200
    assert client.get("/pair", headers={"host": f"192.0.2.8:{PORT}"}).status_code == 421
    for scheme, port, status in (("http", 80, 200), ("https", 443, 200), ("http", 443, 421), ("https", 80, 421)):
        client = new_client(f"{scheme}://192.0.2.7:{port}", headers={"host": "192.0.2.7"})
        assert client.get("/pair").status_code == status, (scheme, port)


@pytest.mark.parametrize("origins", [
    [], ["null"], ["http://van.test"], ["http://van.test:8041"], ["https://van.test:8040"], ["http://evil.test:8040"],
    ["http://van.test:8040.evil.test"], [HOME, HOME], [HOME, "http://evil.test"], [f"{HOME}/"], ["HTTP://van.test:8040"],
])  # fmt: skip
def test_a_post_from_another_page_records_nothing(
    firm: Firm, token: str, new_client: Callable[..., TestClient], origins: list[str]
) -> None:
    phone = new_client(headers={"cookie": f"{firm.desk.cookie_for('http')}={token}"})
    headers = [("origin", origin) for origin in origins]
    act = {**ACT, "id": "a" * 32}
    held = firm.held("GKT-1")
    assert phone.post("/act", data=act, headers=headers).status_code == 403
    assert phone.post("/act", data=act, headers=[*headers, ("accept", "application/json")]).status_code == 403
    code = firm.devices.new_code()
    assert phone.post("/pair", data={"code": code, "name": "Sam"}, headers=headers).status_code == 403
    assert firm.held("GKT-1") == held
    assert [device.name for device in firm.devices.paired()] == ["Kim"]


def test_a_post_from_a_page_of_ours_is_recorded(firm: Firm, phone: TestClient) -> None:
    held = firm.held("GKT-1")
    assert phone.post("/act", data={**ACT, "id": "b" * 32}).status_code == 303
    assert firm.held("GKT-1") == held - 1


def test_only_a_plain_form_is_taken(phone: TestClient) -> None:
    for kind in ("text/plain", "application/json", "application/x-www-form-urlencodedx", ""):
        answer = phone.post("/act", content=b"act=fit", headers={"content-type": kind, **SCRIPT})
        assert (answer.status_code, answer.json()["state"]) == (415, "refused"), kind


def test_a_body_too_large_is_refused_whether_or_not_its_length_is_said(phone: TestClient, stranger: TestClient) -> None:
    big = b"part=" + b"x" * BODY_BYTES
    for client, path, status in ((phone, "/act", 413), (stranger, "/pair", 413), (stranger, "/act", 401)):
        for body in (big, iter([big[:40_000], big[40_000:]])):
            answer = client.post(path, content=body, headers={**FORM, **SCRIPT, "origin": HOME})
            assert answer.status_code == status, path
    many = {f"field{number}": "x" for number in range(1100)}
    assert phone.post("/act", data={**ACT, "id": "c" * 32, **many}, headers=SCRIPT).status_code == 422


def test_a_form_that_says_two_lengths_is_refused(phone: TestClient) -> None:
    headers = {**FORM, "content-length": "7", "transfer-encoding": "chunked"}
    assert phone.post("/act", content=b"act=fit", headers=headers).status_code == 400


def test_a_form_that_comes_too_slowly_or_is_cut_off_is_answered_and_not_recorded(firm: Firm, token: str) -> None:
    """A lost line is every day's, and what comes a letter at a time holds nobody up."""
    guard = Guard(firm.app.app, firm.desk, body_seconds=0.2, photo_seconds=0.2)  # type: ignore[attr-defined]
    held = firm.held("GKT-1")

    begun = iter([b"--x\r\n"])

    async def drip() -> Message:
        await asyncio.sleep(0.05)
        return {"type": "http.request", "body": b"a", "more_body": True}

    async def drip_a_photo() -> Message:
        return {**await drip(), "body": next(begun, b"a")}

    async def cut() -> Message:
        return {"type": "http.disconnect"}

    async def post(path: str, receive: Callable[[], Any]) -> int:
        headers = {
            "host": f"van.test:{PORT}",
            "origin": HOME,
            "cookie": f"{firm.desk.cookie_for('http')}={token}",
            **(PHOTO if path == "/scan" else FORM),
            **SCRIPT,
        }
        said: list[Message] = []

        async def send(message: Message) -> None:
            said.append(message)

        scope = {
            "type": "http", "method": "POST", "scheme": "http", "path": path, "query_string": b"", "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
            "server": ("192.0.2.1", PORT), "client": ("192.0.2.9", 1), "http_version": "1.1",
        }  # fmt: skip
        await asyncio.wait_for(guard(scope, receive, send), 5)
        assert b"later" in said[1]["body"]
        return int(said[0]["status"])

    for path, slow in (("/act", drip), ("/pair", drip), ("/scan", drip_a_photo)):
        for receive in (slow, cut):
            assert asyncio.run(post(path, receive)) == 408
    assert firm.held("GKT-1") == held


def test_an_unpaired_phone_sees_the_pairing_page_and_nothing_else(firm: Firm, stranger: TestClient) -> None:
    tried = addresses(firm)
    assert {path for _, path in tried} > {"/", "/load", "/job/J1", "/act", "/sw.js", "/static/queue.js", *OPEN}
    for method, path in tried:
        kind = PHOTO if path == "/scan" else FORM
        answer = stranger.request(method, path, headers={"origin": HOME, **kind})
        script = stranger.request(method, path, headers={"origin": HOME, **kind, **SCRIPT})
        if path in OPEN:
            assert answer.status_code in (200, 404, 405, 422), (method, path)
            continue
        assert answer.status_code in (303, 401), (method, path)
        assert answer.headers.get("location", "/pair") == "/pair"
        assert answer.text in ("", "This phone is not paired: open /pair.\n"), (method, path)
        assert script.status_code == 401
        assert method == "HEAD" or script.json() == {"state": "unpaired"}, (method, path)


def test_the_pairing_page_leads_nowhere_and_says_nothing_of_the_firm(stranger: TestClient) -> None:
    for answer in (
        stranger.get("/pair"), stranger.put("/pair"), stranger.post("/pair", headers={"origin": HOME, **FORM}),
        stranger.post("/pair", content=b"name=\0", headers={"origin": HOME, **FORM}),
        stranger.post("/pair", content=b"x" * 70_000, headers={"origin": HOME, **FORM}),
    ):  # fmt: skip
        assert not re.search(r"/load|/stock|/week|queue\.js|J1|GKT|Kim", answer.text)


def test_an_unpaired_phone_records_nothing(firm: Firm, stranger: TestClient) -> None:
    held = firm.held("GKT-1")
    act = {**ACT, "id": "d" * 32}
    answer = stranger.post("/act", data=act, headers={"origin": HOME, **SCRIPT})
    assert (answer.status_code, answer.json()) == (401, {"state": "unpaired"})
    assert stranger.post("/act", data=act, headers={"origin": HOME}).status_code == 401
    assert firm.held("GKT-1") == held


def test_a_made_up_token_is_no_token(firm: Firm, stranger: TestClient) -> None:
    name = firm.desk.cookie_for("http")
    for cookie in ("x", "../device", "a" * 5000, "", '"\\777"', "\xff", "*", "device-*", "%00"):
        assert stranger.get("/", headers={b"cookie": f"{name}={cookie}".encode("latin-1")}).status_code == 303


def test_the_cookie_is_the_one_of_this_port_and_way(
    firm: Firm, token: str, new_client: Callable[..., TestClient]
) -> None:
    plain, safe = new_client(), new_client(f"https://van.test:{PORT}")
    assert (firm.desk.cookie_for("http"), firm.desk.cookie_for("https")) == (
        f"vanstock_{PORT}",
        f"__Host-vanstock_{PORT}",
    )
    for client, name, status in (
        (plain, f"vanstock_{PORT}", 200), (plain, f"vanstock_{PORT + 1}", 303), (plain, "vanstock", 303),
        (plain, f"__Host-vanstock_{PORT}", 303), (plain, f"VANSTOCK_{PORT}", 303),
        (safe, f"__Host-vanstock_{PORT}", 200), (safe, f"vanstock_{PORT}", 303),
    ):  # fmt: skip
        assert client.get("/stock", headers={"cookie": f"{name}={token}"}).status_code == status, name


def test_a_cookie_put_beside_ours_takes_no_phone_off_and_makes_it_nobody_else(
    firm: Firm, token: str, stranger: TestClient
) -> None:
    other = firm.devices.pair(firm.devices.new_code(), "Sam")
    name = firm.desk.cookie_for("http")
    for cookies in (f"{name}=x; {name}={token}", f"{name}={token}; {name}=x", f"a=b;{name}={token};{name}={token}"):
        assert stranger.get("/stock", headers={"cookie": cookies}).status_code == 200, cookies
    two = [("cookie", f"{name}={token}"), ("cookie", f"{name}={other}")]
    assert stranger.get("/stock", headers=two).status_code == 303
    firm.devices.revoke("Sam")
    assert stranger.get("/stock", headers=two).status_code == 200


@pytest.mark.parametrize(
    "path", [*PAGES, *PICTURES, "/print", "/pair", "/static/style.css", "/sw.js", "/no-such-page", "/pair?refused"]
)
def test_every_answer_carries_the_headers_that_keep_a_browser_to_ours(phone: TestClient, path: str) -> None:
    for answer in (
        phone.get(path), phone.get(path, headers={"cookie": ""}), phone.get(path, headers={"host": "evil.test"}),
        phone.post(path), phone.post(path, headers={"origin": "null"}), phone.head(path), phone.options(path),
    ):  # fmt: skip
        headers = answer.headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert (policy["default-src"], policy["script-src"], policy["base-uri"]) == ("'none'", "'self'", "'none'")
        assert (policy["form-action"], policy["frame-ancestors"]) == ("'self'", "'none'")
        assert not re.search(r"unsafe|http|\*|data:", headers["content-security-policy"])
        assert headers["referrer-policy"] == "same-origin"  # `no-referrer` makes the Origin of our own forms null
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert headers["cross-origin-resource-policy"] == headers["cross-origin-opener-policy"] == "same-origin"
        assert re.fullmatch("no-store|private, (no-cache|max-age=900)", headers["cache-control"])
        assert not [name for name in headers if name.startswith("access-control-")]


def test_no_page_holds_what_the_policy_forbids_or_anything_from_outside(phone: TestClient) -> None:
    pages = every_page(phone, "/pair", "/job/J1?q=gasket")
    for address, page in pages.items():
        for tag, held in page.elements:
            assert tag not in ("iframe", "object", "embed", "base"), address
            assert tag != "style" or address.startswith("/print"), address  # let through by its hash
            assert not [name for name in held if name.startswith("on") or name == "style"], (address, tag)
            assert tag != "script" or held["src"].startswith("/static/")
            for name in ("href", "src", "action", "formaction", "data-find"):
                assert re.match(r"[/#](?!/)", held.get(name, "/")), (address, tag, held)
    assert {"/load", "/stock", "/week", "/job/J1", "/static/queue.js"} <= set(pages)


def test_no_file_of_the_pages_asks_for_anything_outside_or_runs_what_is_not_its_own() -> None:
    for file in files("vanstock.web").joinpath("static").iterdir():
        text = file.read_text(encoding="utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?://|url\(\s*['\"]?(?!/)|@import", text), file.name
        assert not re.findall(r"(?:from|import)\s*\(?\s*['\"](?!\./)", text), file.name
        sinks = r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|setHTML|\.srcdoc"
        assert not re.search(sinks, text), file.name


NAMES = ("../app.py", "..%2fapp.py", "%2e%2e/app.py", "%2e%2e%2fapp.py", "..\\app.py", "%5c..%5capp.py", "/etc/passwd",
         "style.css/", "", ".", "%2e%2e", "app.py", "%00", "style.css%00", "%ed%a0%80", "style.css%2f..%2f..%2fapp.py",
         "....//app.py", "templates", "../templates/base.html.j2", "STYLE.CSS", "style.css;x")  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_nothing_outside_the_static_files_is_served(phone: TestClient, name: str) -> None:
    answer = phone.get(f"/static/{name}")
    assert answer.status_code in (303, 307, 404)
    assert "import" not in answer.text
    assert "extends" not in answer.text


def test_other_methods_do_nothing(firm: Firm, phone: TestClient) -> None:
    held = firm.held("GKT-1")
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "GET", "HEAD", "PROPFIND"):
        answer = phone.request(method, "/act", params={**ACT, "id": "e" * 32})
        assert answer.status_code == 405, method
    assert firm.held("GKT-1") == held
    code = firm.devices.new_code()
    for method in ("GET", "HEAD", "PUT", "OPTIONS"):
        phone.request(method, "/pair", params={"code": code, "name": "Sam"})
    assert [device.name for device in firm.devices.paired()] == ["Kim"]

"""Pairing: the code once and for ten minutes, few tries, the cookie, names, revoking; and that no secret is told."""

from __future__ import annotations

import json
import stat
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HOME, PORT, Firm
from vanstock.errors import BadValue, NotFound
from vanstock.web import pairing
from vanstock.web.devices import Devices

OWN = {"origin": HOME}


def pair(client: TestClient, code: str, name: str = "Kim") -> int:
    return client.post("/pair", data={"code": code, "name": name}, headers=OWN).status_code


def test_a_code_pairs_one_phone_once(firm: Firm, new_client: Callable[..., TestClient]) -> None:
    code = firm.devices.new_code()
    first, second = new_client(), new_client()
    assert pair(first, code.lower().replace("-", " ")) == 303
    assert first.get("/").status_code == 200
    assert pair(second, code, "Sam") == 422
    assert second.get("/").status_code == 303
    assert [device.name for device in firm.devices.paired()] == ["Kim"]


def test_looking_at_the_link_does_not_spend_the_code(firm: Firm, stranger: TestClient) -> None:
    code = firm.devices.new_code()
    for _ in range(5):
        page = stranger.get(f"/pair?code={code}")
        assert page.status_code == 200
        assert f'value="{code}"' in page.text
        assert page.headers["cache-control"] == "no-store"
        assert "set-cookie" not in page.headers
    for method in ("HEAD", "OPTIONS", "PUT", "DELETE"):
        assert "set-cookie" not in stranger.request(method, f"/pair?code={code}&name=Kim", headers=OWN).headers
    assert pair(stranger, code) == 303


def test_a_code_is_good_for_ten_minutes(firm: Firm, stranger: TestClient) -> None:
    code = firm.devices.new_code()
    file = next(firm.devices.folder.glob("code-*"))
    assert json.loads(file.read_text())["until"] == pytest.approx(time.time() + 600, abs=5)
    file.write_text(json.dumps({"until": time.time() - 1}))
    assert pair(stranger, code) == 422
    for until in (time.time() + 3600, 1e400, "never", None):  # made by a clock that was wrong, or by a hand
        file.write_text(json.dumps({"until": until}))
        assert firm.devices.pair(code, "Kim") is None
    firm.devices.new_code()
    assert not file.exists()


def test_the_cookie_is_for_this_server_alone(
    firm: Firm, stranger: TestClient, new_client: Callable[..., TestClient]
) -> None:
    answer = stranger.post("/pair", data={"code": firm.devices.new_code(), "name": "Kim"}, headers=OWN)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"vanstock_{PORT}=")
    for word in ("HttpOnly", "SameSite=strict", "Path=/"):
        assert word in cookie
    assert "Domain" not in cookie
    assert "Secure" not in cookie
    safe = new_client(f"https://van.test:{PORT}")
    fields = {"code": firm.devices.new_code(), "name": "Sam"}
    answer = safe.post("/pair", data=fields, headers={"origin": f"https://van.test:{PORT}"})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"__Host-vanstock_{PORT}=")  # a browser takes it with Secure, Path=/ and no Domain alone
    for word in ("HttpOnly", "SameSite=strict", "Path=/", "Secure"):
        assert word in cookie
    assert "Domain" not in cookie


def test_without_an_authority_of_its_own_a_server_offers_none(stranger: TestClient) -> None:
    assert stranger.get("/authority.crt").status_code == 404
    assert "authority" not in stranger.get("/pair").text


def test_wrong_codes_are_few(firm: Firm, stranger: TestClient) -> None:
    for _ in range(pairing.TRIES_EACH):
        assert pair(stranger, "AAAA-AAAA") == 422
    answer = stranger.post("/pair", data={"code": firm.devices.new_code(), "name": "Kim"}, headers=OWN)
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 0
    assert firm.devices.paired() == []


def test_many_addresses_share_the_wrong_codes() -> None:
    tries = pairing.Tries()
    for number in range(pairing.TRIES_ALL):
        assert not tries.too_many(f"192.0.2.{number}")
        tries.wrong(f"192.0.2.{number}")
    assert tries.too_many("192.0.2.99")


@pytest.mark.parametrize("name", ["", "   ", "x" * 41, "a\x07b", "terminal", "a\u202eb", "a\0b", "a\u200bb"])
def test_a_name_that_cannot_be_used_leaves_the_code_good(firm: Firm, stranger: TestClient, name: str) -> None:
    code = firm.devices.new_code()
    assert pair(stranger, code, name) == 422
    assert pair(stranger, code) == 303


def test_two_phones_have_two_names_and_only_a_code_tells_which_are_taken(firm: Firm, stranger: TestClient) -> None:
    firm.devices.pair(firm.devices.new_code(), "Kim")
    with pytest.raises(BadValue, match="already"):
        firm.devices.pair(firm.devices.new_code(), " kim ")
    with pytest.raises(BadValue, match="already"):
        firm.devices.pair(firm.devices.new_code(), "\uff2bim")  # the same letters, full width
    taken = stranger.post("/pair", data={"code": "AAAA-AAAA", "name": "Kim"}, headers=OWN).text
    assert "already" not in taken


def test_of_many_that_send_one_code_at_once_one_is_paired(firm: Firm) -> None:
    code = firm.devices.new_code()
    with ThreadPoolExecutor(8) as pool:
        tokens = list(pool.map(lambda number: firm.devices.pair(code, f"phone {number}"), range(8)))
    assert sum(token is not None for token in tokens) == 1
    assert len(firm.devices.paired()) == 1


def test_a_phone_taken_off_sees_nothing_more(firm: Firm, phone: TestClient) -> None:
    assert phone.get("/").status_code == 200
    Devices(firm.ledger).revoke("kim")
    assert phone.get("/").status_code == 303
    with pytest.raises(NotFound, match="none"):
        firm.devices.revoke("Kim")


def test_what_is_kept_is_for_its_owner_and_holds_no_secret(firm: Firm) -> None:
    code = firm.devices.new_code()
    token = firm.devices.pair(code, "Kim")
    code = firm.devices.new_code()
    assert token
    assert stat.S_IMODE(firm.devices.folder.stat().st_mode) == 0o700
    for file in firm.devices.folder.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        held = file.name + file.read_text()
        assert token not in held
        assert code.replace("-", "") not in held


def test_no_secret_is_told_at_the_terminal_or_stands_in_a_page(
    firm: Firm, stranger: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("DEBUG")
    code = firm.devices.new_code()
    assert pair(stranger, code) == 303
    token = stranger.cookies[firm.desk.cookie_for("http")]
    pages = "".join(stranger.get(path).text for path in ("/", "/job/J1", "/load", "/stock", "/week", "/pair"))
    told = "\n".join(firm.told)
    assert "paired: Kim" in told
    ours = "\n".join(record.getMessage() for record in caplog.records if not record.name.startswith("http"))
    for secret in (code, code.replace("-", ""), token):
        assert secret not in pages + told + ours
    assert "<h1>Today" in pages

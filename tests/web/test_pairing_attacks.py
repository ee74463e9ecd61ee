"""Pairing under attack: guesses at once and under other names, two phones at once, files that others could touch, a
phone that was taken off, and copies of the ledger in other hands."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HOME, Firm
from vanstock.errors import BadValue, LedgerUnusable
from vanstock.web import pairing
from vanstock.web.devices import Devices

OWN = {"origin": HOME}
ROOT = Path(__file__).parents[2]
AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def pair(client: TestClient, code: str, name: str = "Kim", **said: str) -> int:
    return client.post("/pair", data={"code": code, "name": name}, headers=OWN | said).status_code


def vanstock(firm: Firm, *words: str) -> None:
    line = [sys.executable, "-m", "vanstock", "--ledger", str(firm.ledger), *words]
    subprocess.run(line, cwd=ROOT, capture_output=True, check=True)


def test_codes_are_many_and_of_letters_that_cannot_be_confused(firm: Firm) -> None:
    """31 letters in 8 places: 39 bits. Thirty guesses in ten minutes find one code in 28 thousand million."""
    codes = [firm.devices.new_code() for _ in range(40)]
    assert len(set(codes)) == 40
    assert all(re.fullmatch("[2-9A-HJKMNP-Z]{4}-[2-9A-HJKMNP-Z]{4}", code) for code in codes)
    assert len(set("".join(codes)) - {"-"}) > 28


def test_a_pairing_lasts_as_long_as_its_cookie(firm: Firm, stranger: TestClient) -> None:
    answer = stranger.post("/pair", data={"code": firm.devices.new_code(), "name": "Kim"}, headers=OWN)
    lasts = re.search(r"Max-Age=(\d+)", answer.headers["set-cookie"])
    assert lasts
    assert stranger.get("/stock").status_code == 200
    file = next(firm.devices.folder.glob("device-*"))
    for age, status in ((int(lasts[1]) - 60, 200), (int(lasts[1]) + 60, 303)):
        file.write_text(json.dumps({"name": "Kim", "paired": time.time() - age}))
        assert stranger.get("/stock").status_code == status
    assert firm.devices.paired() == []


def test_who_sends_wrong_codes_cannot_call_himself_another(
    firm: Firm, stranger: TestClient, new_client: Callable[..., TestClient]
) -> None:
    for number in range(pairing.TRIES_EACH):
        said = {"x-forwarded-for": f"192.0.2.{number}", "forwarded": f"for=192.0.2.{number}"}
        assert pair(stranger, "AAAA-AAAA", f"phone {number}", **said) == 422
    code = firm.devices.new_code()
    assert pair(stranger, code, **{"x-forwarded-for": "192.0.2.99"}) == 429
    assert pair(new_client(client=("192.0.2.50", 50000)), code) == 303


def test_one_machine_has_all_of_an_ipv6_network() -> None:
    tries = pairing.Tries()
    for number in range(pairing.TRIES_EACH):
        tries.wrong(f"2001:db8:1:2:{number}::5%eth0")
    assert tries.too_many("2001:db8:1:2:ffff::1")
    assert not tries.too_many("2001:db8:1:3::1")
    tries.not_wrong("2001:db8:1:2::")
    assert not tries.too_many("2001:db8:1:2::")


def test_of_many_wrong_codes_sent_at_once_few_are_looked_at(stranger: TestClient) -> None:
    with ThreadPoolExecutor(25) as pool:
        answers = list(pool.map(lambda number: pair(stranger, f"AAAA-AA{number}"), range(25)))
    assert (answers.count(422), answers.count(429)) == (pairing.TRIES_EACH, 25 - pairing.TRIES_EACH)


def test_a_right_code_is_no_wrong_one(firm: Firm, new_client: Callable[..., TestClient]) -> None:
    for number in range(pairing.TRIES_EACH + 2):
        client, code = new_client(), firm.devices.new_code()
        assert pair(client, code, "") == 422
        assert pair(client, code, f"phone {number}") == 303


def test_of_many_that_take_one_name_at_once_one_has_it(firm: Firm) -> None:
    codes = [firm.devices.new_code() for _ in range(8)]

    def paired(code: str) -> bool:
        try:
            return firm.devices.pair(code, "Kim") is not None
        except BadValue:
            return False

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(paired, codes)) == 1


def test_a_phone_taken_off_at_the_terminal_is_out_at_once_and_what_waits_on_it_counts_after_pairing_again(
    firm: Firm, phone: TestClient
) -> None:
    act = {"act": "fit", "id": "f" * 32, "job": "J1", "part": "GKT-1", "qty": "1"}
    script = {"accept": "application/json"}
    assert phone.get("/stock").status_code == 200
    vanstock(firm, "device", "revoke", "Kim")
    answer = phone.post("/act", data=act, headers=script)
    assert (answer.status_code, answer.json()) == (401, {"state": "unpaired"})
    assert phone.get("/stock").status_code == 303
    assert firm.held("GKT-1") == 3
    token = firm.devices.pair(firm.devices.new_code(), "Kim")
    phone.cookies.clear()
    for _ in range(2):
        answer = phone.post("/act", data=act, headers=script | {"cookie": f"{firm.desk.cookie_for('http')}={token}"})
        assert answer.status_code == 200
    assert firm.held("GKT-1") == 2


def test_nothing_counts_in_a_folder_that_others_can_write_to(firm: Firm, phone: TestClient) -> None:
    code = firm.devices.new_code()
    for mode, status in ((0o770, 303), (0o707, 303), (0o755, 200), (0o700, 200)):
        firm.devices.folder.chmod(mode)
        assert phone.get("/stock").status_code == status, oct(mode)
    firm.devices.folder.chmod(0o777)
    for refused in (firm.devices.new_code, firm.devices.paired, lambda: firm.devices.revoke("Kim")):
        with pytest.raises(LedgerUnusable, match="others can write to"):
            refused()
    answer = phone.post("/pair", data={"code": code, "name": "Sam"})
    assert answer.status_code == 503
    assert "others can write to" in answer.text


@pytest.mark.skipif(not AS_ROOT, reason="only root can give a folder away")
def test_nothing_counts_in_a_folder_that_is_somebody_elses(firm: Firm, phone: TestClient) -> None:
    os.chown(firm.devices.folder, 65534, -1)
    assert phone.get("/stock").status_code == 303
    with pytest.raises(LedgerUnusable, match="others can write to"):
        firm.devices.new_code()


def test_a_file_is_seen_whole_or_not_at_all(firm: Firm) -> None:
    """Else one program would sweep away the code that another is just writing."""
    done = threading.Event()

    def look() -> tuple[int, int]:
        whole = torn = 0
        while not done.is_set():
            for file in firm.devices.folder.glob("code-*.json"):
                text = file.read_text()
                whole, torn = (whole + 1, torn) if text.endswith("}") else (whole, torn + 1)
        return whole, torn

    firm.devices.new_code()
    with ThreadPoolExecutor(1) as pool:
        looking = pool.submit(look)
        for _ in range(40):
            firm.devices.new_code()
        done.set()
        whole, torn = looking.result()
    assert whole > 0
    assert torn == 0
    assert len(list(firm.devices.folder.iterdir())) == 41


def test_no_copy_of_the_ledger_carries_a_way_in(firm: Firm, phone: TestClient, tmp_path: Path) -> None:
    assert phone.post("/act", data={"act": "finish", "id": "a" * 32, "job": "J2"}).status_code == 303
    secret = next(firm.devices.folder.glob("device-*")).stem.removeprefix("device-")
    token = phone.cookies[firm.desk.cookie_for("http")]
    copies, tables = tmp_path / "copies", tmp_path / "tables"
    vanstock(firm, "backup", str(copies))
    vanstock(firm, "export", str(tables))
    written = [file for folder in (copies, tables) for file in folder.rglob("*") if file.is_file()]
    assert len(written) > 5
    for file in [*written, firm.ledger]:
        held = str(file).encode() + file.read_bytes()
        for word in (secret.encode(), bytes.fromhex(secret), token.encode(), b".devices"):
            assert word not in held, file
    assert Devices(next(copies.glob("*.db"))).paired() == []
    assert Devices(firm.ledger.with_name("another.db")).paired() == []

"""`vanstock serve` as a process of its own, and `vanstock device`: what they print, and that they answer."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.web.conftest import Firm
from vanstock.cli.serve import _greet

ROOT = Path(__file__).parents[2]


def vanstock(firm: Firm, *words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "vanstock", "--ledger", str(firm.ledger), *words]
    return subprocess.run(line, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def a_server(firm: Firm, out: Path, *words: str) -> Iterator[int]:
    """`vanstock serve` as a process of its own that prints to a file, at the port that this gives, until it is left."""
    port = free_port()
    serve = ["--now", "2027-03-01T07:30", "serve", "--host", "127.0.0.1", "--port", str(port), *words]
    line = [sys.executable, "-m", "vanstock", "--ledger", str(firm.ledger), *serve]
    with out.open("w") as file:
        process = subprocess.Popen(line, cwd=ROOT, stdout=file, stderr=file, env={**os.environ, "TZ": "UTC"})
    try:
        _until_it_listens(out)
        yield port
    finally:
        process.terminate()
        process.wait(10)


def _until_it_listens(out: Path) -> None:
    for _ in range(400):
        if "device add" in out.read_text():
            return
        time.sleep(0.05)
    pytest.fail(f"the server did not start: {out.read_text()}")


class Running(NamedTuple):
    """A server's port, and where it prints."""

    port: int
    out: Path

    @property
    def printed(self) -> str:
        return self.out.read_text()

    def get(self, path: str, host: str = "") -> tuple[int, str]:
        line = HTTPConnection("127.0.0.1", self.port, timeout=10)
        line.request("GET", path, headers={"Host": host or f"van.test:{self.port}"})
        answer = line.getresponse()
        text = answer.read().decode() + str(answer.headers)
        line.close()
        return answer.status, text


@pytest.fixture
def running(firm: Firm, tmp_path: Path) -> Iterator[Running]:
    out = tmp_path / "printed"
    with a_server(firm, out, "--name", "van.test") as port:
        yield Running(port, out)


@pytest.mark.slow
def test_serve_prints_an_address_and_a_code_that_pairs_over_a_real_line(firm: Firm, running: Running) -> None:
    assert f"serving at http://van.test:{running.port}\n" in running.printed
    assert "A code that pairs a phone: vanstock device add.\n" in running.printed
    code = re.match(r"([0-9A-Z]{4}-[0-9A-Z]{4}): open /pair", vanstock(firm, "device", "add").stdout)
    assert code
    assert running.get("/")[0] == 303
    assert running.get("/pair", host=f"localhost:{running.port}")[0] == 200
    assert running.get("/pair", host="evil.test")[0] == 421
    home = f"http://127.0.0.1:{running.port}"
    request = urllib.request.Request(f"{home}/pair", data=f"code={code[1]}&name=Kim".encode(), headers={"Origin": home})
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with opener.open(request, timeout=20) as page:
        assert b"J1" in page.read()
    assert "paired: Kim" in running.printed
    assert code[1] not in running.printed


@pytest.mark.slow
def test_the_server_says_neither_what_it_is_nor_who_asked(running: Running) -> None:
    _, text = running.get("/pair?code=SECRET12")
    assert "uvicorn" not in text.lower()
    assert "SECRET12" not in running.printed


@pytest.mark.slow
def test_what_a_stranger_sends_is_neither_a_failure_nor_a_line_at_the_terminal(running: Running) -> None:
    before = running.printed
    host = f"Host: van.test:{running.port}\r\n"
    form = f"{host}Origin: http://van.test:{running.port}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    for sent, answered in (
        ("\x16\x03\x01garbage\r\n\r\n", "400"), (f"GET [x HTTP/1.1\r\n{host}\r\n", "303"),
        (f"GET http://[/ HTTP/1.1\r\n{host}\r\n", "303"), (f"GET /pair HTTP/1.1\r\n{host}{host}\r\n", "400"),
        ("GET /pair HTTP/1.0\r\n\r\n", "421"), (f"CONNECT evil.test:80 HTTP/1.1\r\n{host}\r\n", "401"),
        (f"GET /pair HTTP/1.1\r\n{host}Connection: upgrade\r\nUpgrade: websocket\r\n\r\n", "200"),
        (f"POST /pair HTTP/1.1\r\n{form}Content-Length: 9\r\nContent-Length: 8\r\n\r\ncode=SECRET12", "400"),
        (f"POST /pair HTTP/1.1\r\n{form}Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", "400"),
        (f"POST /pair HTTP/1.1\r\n{form}Content-Length: 900\r\n\r\ncode=SECRET12&name=", ""),
    ):  # fmt: skip
        with socket.create_connection(("127.0.0.1", running.port), timeout=10) as line:
            line.sendall(sent.encode("latin-1"))
            if answered:
                assert line.recv(4096).decode("latin-1").split(" ")[1] == answered, sent
    assert running.get("/pair")[0] == 200
    assert running.printed == before


@pytest.mark.slow
def test_a_port_in_use_is_told_in_one_line(firm: Firm, running: Running) -> None:
    said = vanstock(firm, "serve", "--host", "127.0.0.1", "--port", str(running.port))
    assert said.returncode == 1
    assert said.stderr.startswith(f"vanstock: cannot listen at 127.0.0.1 port {running.port}")
    assert said.stdout == ""


def test_at_a_terminal_the_code_is_shown_with_a_picture_of_it(
    firm: Firm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    _greet(["http://van.test:8040", "http://192.0.2.7:8040"], firm.devices, None)
    said = capsys.readouterr().out
    shown = r"with the code ([0-9A-Z]{4}-[0-9A-Z]{4}): open http://van.test:8040/pair, or scan this."
    code = re.search(shown, " ".join(said.split()))
    assert code
    assert "\N{FULL BLOCK}" in said
    assert firm.devices.pair(code[1], "Kim")


def test_serve_does_not_start_where_others_could_pair_phones(firm: Firm) -> None:
    firm.devices.new_code()
    firm.devices.folder.chmod(0o777)
    for words in (["serve", "--port", str(free_port())], ["device"], ["device", "add"]):
        said = vanstock(firm, *words)
        assert (said.returncode, said.stdout) == (1, "")
        assert said.stderr.startswith(f"vanstock: others can write to {firm.devices.folder}")
        assert said.stderr.count("\n") == 1


def test_devices_are_listed_added_and_taken_off(firm: Firm) -> None:
    assert "no phone is paired" in vanstock(firm, "device").stdout
    code = vanstock(firm, "device", "add").stdout[:9]
    assert firm.devices.pair(code, "Kim's phone")
    assert "Kim's phone" in vanstock(firm, "device").stdout
    document = json.loads(vanstock(firm, "device", "--json").stdout)
    assert [set(row) for row in document["devices"]] == [{"device", "paired", "last_seen"}]
    assert vanstock(firm, "device", "revoke", "kim's phone").stdout == "kim's phone is no longer paired\n"
    again = vanstock(firm, "device", "revoke", "Kim's phone")
    assert again.returncode == 1
    assert again.stderr == 'vanstock: no device "Kim\'s phone" is paired: there is none\n'


@pytest.mark.parametrize(
    "words", [["--name", "a b"], ["--certificate", "x.pem"], ["--certificate", "x.pem", "--key", "x.pem"]]
)
def test_what_serve_cannot_do_is_told_in_one_line(firm: Firm, words: list[str]) -> None:
    said = vanstock(firm, "serve", *words)
    assert (said.returncode, said.stdout) == (1, "")
    assert said.stderr.startswith("vanstock: ")
    assert said.stderr.count("\n") == 1

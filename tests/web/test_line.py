"""Lines of a real server: who says nothing, or a letter at a time, is hung up on; one address takes not every place."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from http.client import HTTPResponse

import pytest
import uvicorn

from tests.web.conftest import Firm
from vanstock.web.line import LINES_EACH, PatientLine

HEAD = b"GET /pair HTTP/1.1\r\nHost: van.test:8040\r\n"


class Hasty(PatientLine):
    """The same line with less patience, so that a test need not wait."""

    head_seconds = 0.6


@pytest.fixture
def port(firm: Firm) -> Iterator[int]:
    """The port of a server that is running."""
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(firm.app, http=Hasty, access_log=False, log_level="error", ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    yield int(listening.getsockname()[1])
    server.should_exit = True
    thread.join()
    listening.close()


def call(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=5)


def answered(line: socket.socket) -> int:
    """The status of the answer, which is read to its end."""
    answer = HTTPResponse(line)
    answer.begin()
    answer.read()
    return answer.status


def hung_up(line: socket.socket) -> bool:
    """Whether the other end is gone; waits for it or for an answer."""
    try:
        return line.recv(65536) == b""
    except ConnectionError:
        return True


def test_who_says_nothing_or_a_letter_at_a_time_is_hung_up_on(port: int) -> None:
    with ExitStack() as stack:
        silent, slow, again = (stack.enter_context(call(port)) for _ in range(3))
        again.sendall(HEAD + b"\r\n")
        assert answered(again) == 200
        with suppress(OSError):
            for letter in HEAD:
                slow.sendall(bytes([letter]))
                again.sendall(bytes([letter]))
                time.sleep(0.03)
        assert [hung_up(line) for line in (silent, slow, again)] == [True, True, True]


def test_who_asks_in_time_is_answered_again_and_again(port: int) -> None:
    with call(port) as line:
        for _ in range(4):
            line.sendall(HEAD)
            time.sleep(0.2)
            line.sendall(b"\r\n")
            assert answered(line) == 200


def test_one_address_takes_not_every_place(port: int) -> None:
    with ExitStack() as stack:
        lines = [stack.enter_context(call(port)) for _ in range(LINES_EACH)]
        lines[-1].sendall(HEAD + b"\r\n")
        assert answered(lines[-1]) == 200
        one_more = stack.enter_context(call(port))
        with suppress(OSError):
            one_more.sendall(HEAD + b"\r\n")
        assert hung_up(one_more)

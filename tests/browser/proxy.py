"""A bad line between phone and laptop: a small HTTP proxy whose tests may lose answers, refuse or answer in its place.

Not a proxy for anything else: it reads whole requests and answers, one connection each.
"""

from __future__ import annotations

import http.client
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import NamedTuple
from urllib.parse import parse_qsl


class Reply(NamedTuple):
    """What the proxy answers in the laptop's place."""

    status: int
    body: str
    kind: str = "text/html"


class Line(ThreadingHTTPServer):
    """The line: `dead` answers nothing, `stalled` holds what is asked until `moving` and never answers it,
    `lose_answers` lets so many posts through and loses what came back, `instead` answers itself (acts with the fields
    of `only`), `meet` holds so many acts until all have come; `posted` is every act that arrived, in order, `unheard`
    every act that a dead line swallowed, `photos` how many bytes each photo came in."""

    daemon_threads = True

    def __init__(self, upstream: int) -> None:
        super().__init__(("127.0.0.1", 0), Ear)
        self.upstream = upstream
        self.dead = False
        self.stalled = False
        self.moving = threading.Event()
        self.lose_answers = 0
        self.instead: Reply | None = None
        self.only: dict[str, str] = {}
        self.meet = 0
        self.met = threading.Event()
        self.posted: list[dict[str, str]] = []
        self.unheard: list[dict[str, str]] = []
        self.photos: list[int] = []
        self.port: int = self.server_address[1]
        threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True).start()

    def wait_for_the_others(self) -> None:
        """Hold an act until as many as `meet` have come."""
        if len(self.posted) >= self.meet:
            self.met.set()
        self.met.wait(20)

    def close(self) -> None:
        self.shutdown()
        self.server_close()


class Ear(BaseHTTPRequestHandler):
    """One request on a line."""

    server: Line

    def do_GET(self) -> None:
        self._pass_on(b"")

    def do_POST(self) -> None:
        self._pass_on(self.rfile.read(int(self.headers.get("Content-Length", "0"))))

    def _pass_on(self, body: bytes) -> None:
        line = self.server
        self.close_connection = True
        if line.stalled:
            line.moving.wait(20)
            return
        is_act = self.command == "POST" and self.path == "/act"
        if is_act:
            (line.unheard if line.dead else line.posted).append(dict(parse_qsl(body.decode(), keep_blank_values=True)))
        if line.dead:
            return
        if is_act:
            line.wait_for_the_others()
        if self.command == "POST" and self.path == "/scan":
            line.photos.append(len(body))
        with suppress(OSError):
            if is_act and line.instead and line.only.items() <= line.posted[-1].items():
                self._answer(line.instead.status, [("Content-Type", line.instead.kind)], line.instead.body.encode())
            else:
                self._fetch(body, lose=is_act and line.lose_answers > 0)

    def _fetch(self, body: bytes, *, lose: bool) -> None:
        headers = {**self.headers, "Connection": "close"}
        for name in {"Host", "Origin", "Referer"} & set(headers):  # the laptop knows its own port only
            headers[name] = headers[name].replace(f":{self.server.port}", f":{self.server.upstream}")
        laptop = http.client.HTTPConnection("127.0.0.1", self.server.upstream, timeout=30)
        laptop.request(self.command, self.path, body, headers)
        answer = laptop.getresponse()
        content = answer.read()
        laptop.close()
        if lose:
            self.server.lose_answers -= 1
            return
        own = {"connection", "transfer-encoding", "content-length"}
        self._answer(answer.status, [pair for pair in answer.getheaders() if pair[0].lower() not in own], content)

    def _answer(self, status: int, headers: list[tuple[str, str]], content: bytes) -> None:
        self.send_response_only(status)
        for name, value in [*headers, ("Content-Length", str(len(content))), ("Connection", "close")]:
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""

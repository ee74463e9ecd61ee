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


class Line:
    """The line: `dead` answers nothing, `lose_answers` lets so many posts through and loses what came back, `instead`
    answers itself; `posted` is every act that arrived, in order."""

    def __init__(self, upstream: int) -> None:
        self.upstream = upstream
        self.dead = False
        self.lose_answers = 0
        self.instead: Reply | None = None
        self.posted: list[dict[str, str]] = []
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._server.daemon_threads = True
        self.port: int = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()

    def acts(self, name: str) -> list[dict[str, str]]:
        """The acts of one kind that arrived, each once, in the order in which they first did."""
        return list({act["id"]: act for act in self.posted if act["act"] == name}.values())

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        line = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                self._pass_on(b"")

            def do_POST(self) -> None:
                self._pass_on(self.rfile.read(int(self.headers.get("Content-Length", "0"))))

            def _pass_on(self, body: bytes) -> None:
                self.close_connection = True
                if line.dead:
                    return
                is_act = self.command == "POST" and self.path == "/act"
                if is_act:
                    line.posted.append(dict(parse_qsl(body.decode(), keep_blank_values=True)))
                if is_act and line.instead:
                    self._answer(line.instead)
                    return
                with suppress(OSError):
                    self._fetch(body, lose=is_act and line.lose_answers > 0)

            def _fetch(self, body: bytes, *, lose: bool) -> None:
                laptop = http.client.HTTPConnection("127.0.0.1", line.upstream, timeout=30)
                headers = {**self.headers, "Connection": "close"}
                for name in {"Host", "Origin", "Referer"} & set(headers):  # the laptop knows its own port only
                    headers[name] = headers[name].replace(f":{line.port}", f":{line.upstream}")
                laptop.request(self.command, self.path, body, headers)
                answer = laptop.getresponse()
                content = answer.read()
                laptop.close()
                if lose:
                    line.lose_answers -= 1
                    return
                self.send_response_only(answer.status)
                for name, value in answer.getheaders():
                    if name.lower() not in {"connection", "transfer-encoding", "content-length"}:
                        self.send_header(name, value)
                self._finish(content)

            def _answer(self, reply: Reply) -> None:
                self.send_response_only(reply.status)
                self.send_header("Content-Type", reply.kind)
                self._finish(reply.body.encode())

            def _finish(self, content: bytes) -> None:
                self.send_header("Content-Length", str(len(content)))
                self.send_header("Connection", "close")
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, format: str, *args: object) -> None:
                """Say nothing."""

        return Handler

"""Every page of the phone face by following its own links, and every form on them: what is new is found by itself."""

from __future__ import annotations

import asyncio
from html.parser import HTMLParser
from typing import Any, NamedTuple
from urllib.parse import unquote, urlsplit

from starlette.testclient import TestClient
from starlette.types import ASGIApp, Message

FOLLOWED = {"a": "href", "link": "href", "script": "src", "img": "src", "source": "src"}
MOST_PAGES = 150


class Form(NamedTuple):
    """A form as a browser would send it: fields by name with what they hold, and what a person may choose."""

    method: str
    action: str
    kind: str
    fields: dict[str, str]
    choices: dict[str, tuple[str, ...]]

    @property
    def shape(self) -> tuple[str, str, str, tuple[str, ...]]:
        """What it is for: the action, the act, the names of the fields."""
        return self.method, urlsplit(self.action).path, self.fields.get("act", ""), tuple(sorted(self.fields))


class Page(HTMLParser):
    """The elements of a page with their attributes, its text, links and forms."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.forms: list[Form] = []
        self._select = ""
        self._option: str | None = None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {name: value or "" for name, value in attrs}
        self.elements.append((tag, held))
        if tag == "form":
            kind = held.get("enctype", "application/x-www-form-urlencoded")
            self.forms.append(Form(held.get("method", "get").lower(), held["action"], kind, {}, {}))
        elif tag in ("input", "textarea", "button") and held.get("name"):
            self.forms[-1].fields[held["name"]] = held.get("value", "")
            if held.get("type") == "file":
                self.forms[-1].choices[held["name"]] = ("a file",)
        elif tag == "select":
            self._select = held["name"]
            self.forms[-1].fields[self._select] = ""
        elif tag == "option" and self._select:
            self._option = held.get("value")
            if self._option is not None:
                self._choose(self._option)

    def _choose(self, value: str) -> None:
        form = self.forms[-1]
        form.choices[self._select] = (*form.choices.get(self._select, ()), value)
        form.fields[self._select] = form.fields[self._select] or value

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        if self._select and self.elements[-1][0] == "option" and self._option is None and data.strip():
            self._choose(data.strip())

    @property
    def links(self) -> list[str]:
        """Where it leads to and what it loads."""
        return [held[FOLLOWED[tag]] for tag, held in self.elements if held.get(FOLLOWED.get(tag, ""))]

    @property
    def text(self) -> str:
        """What a person reads."""
        return " ".join("".join(self.words).split())


def every_page(phone: TestClient, *starts: str) -> dict[str, Page]:
    """Every page that links lead to from Today and the starts, by its address; what is not HTML has no elements."""
    found: dict[str, Page] = {}
    waiting = ["/", *starts]
    while waiting and len(found) < MOST_PAGES:
        address = urlsplit(waiting.pop(0))._replace(fragment="").geturl()
        if address in found:
            continue
        answer = phone.get(address)
        is_page = answer.headers.get("content-type", "").startswith("text/html")
        assert answer.status_code == 200, (address, answer.status_code)
        found[address] = Page(answer.text if is_page else "")
        waiting += [link for link in found[address].links if link.startswith("/")]
    assert len(found) < MOST_PAGES, "the pages have no end: this finds not all"
    return found


class Answer(NamedTuple):
    """What the application answered."""

    status: int
    headers: dict[str, str]
    body: bytes


class Direct:
    """An application asked without a client between, for tests that ask a thousand times."""

    def __init__(self, app: ASGIApp, headers: dict[str, str]) -> None:
        self.app, self.headers, self.runner = app, headers, asyncio.Runner()

    def ask(self, method: str, address: str, body: bytes = b"", **headers: str) -> Answer:
        """The answer to one request; the words of a header's name are parted by `_`."""
        path, _, query = address.partition("?")
        named = self.headers | {name.replace("_", "-"): value for name, value in headers.items()}
        scope = {
            "type": "http", "http_version": "1.1", "method": method, "scheme": "http", "path": unquote(path),
            "raw_path": path.encode(), "query_string": query.encode(), "root_path": "", "client": ("192.0.2.9", 50000),
            "server": ("192.0.2.1", 8040),
            "headers": [(name.encode("latin-1"), value.encode("latin-1")) for name, value in named.items()],
        }  # fmt: skip
        return self.runner.run(self._ask(scope, body))

    async def _ask(self, scope: dict[str, Any], body: bytes) -> Answer:
        said: list[Message] = []

        async def receive() -> Message:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Message) -> None:
            said.append(message)

        await self.app(scope, receive, send)
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in said[0]["headers"]}
        return Answer(said[0]["status"], headers, b"".join(one.get("body", b"") for one in said[1:]))

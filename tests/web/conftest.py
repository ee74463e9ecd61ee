"""A phone for the tests: starlette's own client, on a name with a port, before an application on the small firm."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import date, datetime
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.conftest import fill_small_firm, new_ledger
from vanstock.ledger.file import open_ledger
from vanstock.ledger.reading import entries_about
from vanstock.model import Job, PastEntry
from vanstock.routines.booking import add_booking
from vanstock.routines.session import Session
from vanstock.routines.stock import count, stock
from vanstock.web.app import create_app
from vanstock.web.desk import Desk
from vanstock.web.devices import Devices

PORT = 8040
HOME = f"http://van.test:{PORT}"
NOW = datetime(2027, 3, 1, 7, 30)
SCRIPT = {"accept": "application/json"}
ID = "0f1e2d3c-4b5a-4697-8877-665544332211"


class Firm:
    """The small firm's ledger with stock and two jobs today, or an empty one, and an application that serves it."""

    def __init__(self, ledger: Path, fill: Callable[[Session], None] | None) -> None:
        self.ledger, self.told = ledger, list[str]()
        connection = new_ledger(ledger, filled=False)
        if fill:
            self._begin(Session(connection, datetime(2027, 2, 28, 18, 0), ledger, True), fill)
        connection.close()
        self.devices = Devices(ledger)
        self.desk = Desk(
            str(ledger), NOW, hosts=frozenset({f"van.test:{PORT}"}), port=PORT, devices=self.devices,
            tell=self.told.append,
        )  # fmt: skip
        self.app = create_app(self.desk)

    def _begin(self, session: Session, fill: Callable[[Session], None]) -> None:
        fill(session)
        for part, qty in (("GKT-1", "3"), ("BLT-1", "20"), ("FLU-1", "4.5"), ("GLV-1", "10")):
            count(session, part, qty, place="van")
        count(session, "VAP-2", "1", place="store")
        add_booking(session, Job("J1", date(2027, 3, 1), "08:00", "AAA", "heat-source", ("P20CB",)))
        add_booking(session, Job("J2", date(2027, 3, 1), "13:30", "BBB", "clean"))

    def held(self, part: str, place: str = "van") -> int:
        connection = open_ledger(self.ledger)
        rows = stock(Session(connection, NOW, self.ledger), part, place=place)
        connection.close()
        return rows[0].balance.qty


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    return Firm(tmp_path / "firm.db", fill_small_firm)


@pytest.fixture
def new_client(firm: Firm) -> Iterator[Callable[..., TestClient]]:
    """Makes clients: `new_client()` is not paired; `follow_redirects` is off."""
    with ExitStack() as stack:

        def one(base: str = HOME, **options: Any) -> TestClient:
            return stack.enter_context(TestClient(firm.app, base, follow_redirects=False, **options))

        yield one


@pytest.fixture
def stranger(new_client: Callable[..., TestClient]) -> TestClient:
    """A phone that is not paired."""
    return new_client()


@pytest.fixture
def phone(firm: Firm, new_client: Callable[..., TestClient]) -> TestClient:
    """A phone that is paired as Kim."""
    client = new_client()
    token = firm.devices.pair(firm.devices.new_code(), "Kim")
    assert token
    client.cookies.set(firm.desk.cookie_for("http"), token, domain="van.test")
    client.headers["origin"] = HOME
    return client


def forms(page: str) -> list[dict[str, str]]:
    """The hidden fields of every act on a page."""
    found = re.findall(r"<form[^>]*data-act[^>]*>(.*?)</form>", page, re.DOTALL)
    hidden = r'<input type="hidden" name="([^"]*)" value="([^"]*)">'
    return [{name: unescape(value) for name, value in re.findall(hidden, form)} for form in found]


def form_of(page: str, **wanted: str) -> dict[str, str]:
    """The first act on a page whose fields are so."""
    return next(fields for fields in forms(page) if wanted.items() <= fields.items())


def send(phone: TestClient, **fields: str) -> tuple[int, Any]:
    answer = phone.post("/act", data={"id": ID, **fields}, headers=SCRIPT)
    return answer.status_code, answer.json()


def newest(firm: Firm) -> PastEntry:
    connection = open_ledger(firm.ledger)
    found = entries_about(connection, limit=1)[0]
    connection.close()
    return found

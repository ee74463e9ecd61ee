"""What a phone has to fetch before it sees Today, with ten jobs: under 60 kB in all even unpacked, in few rounds.

The bar is the house's own; how long that takes on a slow line is for tests/benchmarks/web.py.
"""

from __future__ import annotations

import re
from datetime import date

from starlette.testclient import TestClient

from tests.web.conftest import Firm
from vanstock.ledger.file import open_ledger
from vanstock.model import Job
from vanstock.routines.booking import add_booking
from vanstock.routines.session import Session

MOST_BYTES = 60_000
_LOADED = re.compile(r'<(?:link|script|img)[^>]* (?:href|src)="(/[^"]*)"')
_IMPORTED = re.compile(r'import\s(?:[^"]*?from\s)?"\./([^"]*)"')


def book_to_ten(firm: Firm) -> None:
    connection = open_ledger(firm.ledger)
    session = Session(connection, firm.desk.moment(), firm.ledger)
    for number in range(3, 11):
        kind = ("AAA", "heat-source", ("P20CB", "P246B")) if number % 2 else ("BBB", "clean", ("P2463",))
        add_booking(session, Job(f"J{number}", date(2027, 3, 1), f"{8 + number}:30", *kind))
    connection.close()


def fetched(phone: TestClient, path: str) -> list[dict[str, int]]:
    """What a browser fetches for a page, in rounds: each names what the next one fetches; address and bytes."""
    rounds, seen, wanted = [], set[str](), {path}
    while wanted:
        answers = {address: phone.get(address) for address in sorted(wanted)}
        assert all(answer.status_code == 200 for answer in answers.values())
        headers = {address: sum(len(a) + len(b) + 4 for a, b in one.headers.raw) for address, one in answers.items()}
        rounds.append({address: len(answer.content) + headers[address] for address, answer in answers.items()})
        seen |= wanted
        texts = [answer.text for answer in answers.values()]
        named = {name for text in texts for name in _LOADED.findall(text)}
        wanted = (named | {f"/static/{name}" for text in texts for name in _IMPORTED.findall(text)}) - seen
    return rounds


def test_the_first_view_of_ten_jobs_is_under_60_kb_in_three_rounds(firm: Firm, phone: TestClient) -> None:
    book_to_ten(firm)
    assert phone.get("/").text.count('class="job') >= 10
    rounds = fetched(phone, "/")
    everything = {address: size for one in rounds for address, size in one.items()}
    assert {"/static/style.css", "/static/queue.js", "/static/acts.js", "/static/figures.js"} <= set(everything)
    assert sum(everything.values()) < MOST_BYTES, everything
    assert len(rounds) <= 3
    assert len(everything) <= 11
    before_anything_is_seen = {"/", "/static/style.css"}  # modules wait for the page, pictures are not waited for
    assert sum(everything[address] for address in before_anything_is_seen) < MOST_BYTES / 2
    assert re.findall(r"<script[^>]*>", phone.get("/").text) == ['<script type="module" src="/static/queue.js">']


def test_what_is_large_is_sent_packed_to_whoever_can_unpack_it(phone: TestClient) -> None:
    for path in ("/", "/static/queue.js", "/curve.svg"):
        packed, plain = (phone.get(path, headers={"accept-encoding": one}) for one in ("gzip", "identity"))
        assert packed.headers["content-encoding"] == "gzip"
        assert "content-encoding" not in plain.headers
        assert int(packed.headers["content-length"]) < int(plain.headers["content-length"]) / 2
        assert packed.content == plain.content
        assert packed.headers["vary"] == "Accept-Encoding"

"""A photo sent from a phone: it leads to the part's card, in words where it does not, and nothing of it stays."""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from starlette.testclient import TestClient

from tests.exchange.photos import as_file, drawn, on_a_table, photo
from tests.exchange.test_scanning import HOSTILE
from tests.web.conftest import HOME, Firm, form_of

JSON = {"accept": "application/json"}
GASKET = photo("GKT-1")


def send(phone: TestClient, file: bytes = GASKET, *, script: bool = False, **fields: str) -> Any:
    headers = JSON if script else {}
    return phone.post("/scan", files={"photo": ("photo.jpg", file, "image/jpeg")}, data=fields, headers=headers)


def text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


def test_a_label_opens_its_card_on_the_job_with_the_plus_ready(firm: Firm, phone: TestClient) -> None:
    answer = send(phone, job="J1")
    assert answer.status_code == 303
    assert re.fullmatch(r"/job/J1\?q=GKT-1&answer=\w+#found", answer.headers["location"])
    page = phone.get(answer.headers["location"]).text
    assert "read GKT-1 vaporiser gasket" in text(page)
    found = page[page.index('id="found"') : page.index("What it will probably take")]
    assert "<li" in found
    assert phone.post("/act", data=form_of(found, act="fit", part="GKT-1")).status_code == 303
    assert firm.held("GKT-1") == 2


def test_a_makers_barcode_opens_its_part_on_the_stock_page_at_the_place_looked_at(phone: TestClient) -> None:
    answer = send(phone, photo("9520000000356", "EAN13"), place="store")
    assert answer.headers["location"].startswith("/stock?place=store&q=SNS-1&answer=")
    page = text(phone.get(answer.headers["location"]).text)
    assert "read EAN-13 9520000000356: SNS-1 pressure sensor" in page
    assert "SNS-1 in store" in page
    assert send(phone).headers["location"].startswith("/stock?q=GKT-1")


def test_the_script_is_told_the_part_and_the_page(phone: TestClient) -> None:
    answer = send(phone, script=True, job="J1")
    told = answer.json()
    assert (answer.status_code, told["state"], told["part"]) == (200, "found", "GKT-1")
    assert phone.get(told["page"]).status_code == 200


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (as_file(Image.new("L", (300, 300), 120)), "no label or barcode can be read in this picture"),
        (photo("9520000000998", "EAN13"), "no part has GTIN 9520000000998"),
        (photo("ANOTHER-7"), "no part is called what the QR Code says, 'ANOTHER-7'"),
        (b"", "no photo was sent"),
    ],
    ids=["nothing in it", "an unknown GTIN", "another text", "no photo"],
)
def test_what_cannot_be_found_is_said_on_the_page_it_came_from(phone: TestClient, file: bytes, words: str) -> None:
    answer = send(phone, file, script=True, job="J1")
    assert (answer.status_code, answer.json()["state"]) == (422, "unread")
    assert words in answer.json()["why"]
    page = phone.get(send(phone, file, job="J1").headers["location"]).text
    assert words in text(page)
    assert "Not recorded" not in page


def test_a_hostile_file_is_refused_in_words(phone: TestClient) -> None:
    for name, (file, _) in HOSTILE.items():
        answer = send(phone, file, script=True)
        assert (answer.status_code, answer.json()["state"]) == (422, "unread"), name


def test_what_a_code_says_is_never_markup(phone: TestClient) -> None:
    answer = send(phone, photo("<script>alert(1)</script>"), job="J1")
    page = phone.get(answer.headers["location"]).text
    assert "<script>alert" not in page
    assert "<script>alert(1)</script>" in unescape(page)


def test_a_body_too_large_is_refused_whether_or_not_its_length_is_said(phone: TestClient) -> None:
    assert send(phone, b"x" * 20_000_000, script=True).status_code == 413
    head = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a"\r\n\r\n'

    def endless() -> Iterator[bytes]:
        yield head
        for _ in range(20):
            yield b"x" * 1_000_000

    kind = {"content-type": "multipart/form-data; boundary=x", **JSON}
    assert phone.post("/scan", content=endless(), headers=kind).status_code == 413


def test_a_body_that_is_no_such_form_is_refused(phone: TestClient) -> None:
    kind = {"content-type": "multipart/form-data; boundary=x", **JSON}
    nameless = b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n--x--\r\n"
    for body in (b"", b"--x", b"--x\r\n\r\n", b"--y\r\n\r\nfoo\r\n--y--\r\n", nameless):
        assert phone.post("/scan", content=body, headers=kind).status_code in (400, 422), body
        boundless = {**kind, "content-type": "multipart/form-data"}
        assert phone.post("/scan", content=body, headers=boundless).status_code == 400


def test_a_form_with_too_much_in_it_is_refused(phone: TestClient) -> None:
    many = [("photo", (f"{number}.jpg", GASKET, "image/jpeg")) for number in range(3)]
    assert phone.post("/scan", files=many, headers=JSON).status_code == 400
    fields = {f"field{number}": "1" for number in range(10)}
    assert phone.post("/scan", files=many[:1], data=fields, headers=JSON).status_code == 400
    assert send(phone, script=True, job="J" * 1000).status_code == 400
    assert send(phone, script=True, job="J\x001").status_code == 422


def test_a_job_that_there_is_not_is_told_and_leads_nowhere(phone: TestClient) -> None:
    assert send(phone, script=True, job="//evil.test").status_code == 404
    assert send(phone, script=True, job="../../week").status_code == 404


def test_only_a_form_with_a_file_is_taken(phone: TestClient) -> None:
    for kind in ("application/x-www-form-urlencoded", "image/jpeg", "text/plain", ""):
        answer = phone.post("/scan", content=GASKET, headers={"content-type": kind, **JSON})
        assert (answer.status_code, answer.json()["state"]) == (415, "refused"), kind


def test_other_addresses_take_no_photo(firm: Firm, phone: TestClient) -> None:
    fields = {"act": "fit", "id": "a" * 32, "job": "J1", "part": "GKT-1", "qty": "1"}
    for path in ("/act", "/pair", "/scan/", "/stock"):
        answer = phone.post(path, files={"photo": ("a.jpg", GASKET, "image/jpeg")}, data=fields, headers=JSON)
        assert answer.status_code == 415, path
    assert firm.held("GKT-1") == 3


def test_only_a_paired_phone_on_a_page_of_ours_is_answered(phone: TestClient, stranger: TestClient) -> None:
    stranger.headers["origin"] = HOME
    assert send(stranger, script=True).status_code == 401
    for origin in ("http://evil.test:8040", "null"):
        phone.headers["origin"] = origin
        assert send(phone, script=True).status_code == 403


def test_a_photo_is_never_written_to_disk(phone: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "not there"))
    table = on_a_table((drawn("GKT-1"), (1000, 1000)), size=(2500, 2500))
    file = as_file(table, "PNG", compress_level=0)
    assert len(file) > 6_000_000
    assert send(phone, file, script=True).json()["part"] == "GKT-1"


def test_a_photo_records_nothing(firm: Firm, phone: TestClient) -> None:
    before = firm.ledger.read_bytes()
    send(phone, job="J1")
    assert firm.ledger.read_bytes() == before
    assert firm.told == []


def test_without_what_scanning_needs_the_page_says_how_to_install_it(
    phone: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert 'action="/scan"' in phone.get("/stock").text
    monkeypatch.setitem(sys.modules, "zxingcpp", None)
    for address in ("/stock", "/job/J1"):
        page = phone.get(address).text
        assert 'action="/scan"' not in page
        assert "pip install .[scan]" in page
    assert "pip install .[scan]" in send(phone, script=True).json()["why"]

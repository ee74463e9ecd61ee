"""The pages with charts: at once, with the terminal's figures, drawn once for the ledger as it is, in nobody's way."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from html import unescape
from pathlib import Path
from typing import TypeVar

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import NOW, Firm
from vanstock.errors import BadValue
from vanstock.ledger.file import open_ledger
from vanstock.quantity import format_money, in_hundred
from vanstock.routines.curve import USUAL_MORE, curve, more_told, told_spots
from vanstock.routines.forecastwords import figures_of, told_of, weeks_of
from vanstock.routines.levels import pin
from vanstock.routines.session import Session
from vanstock.routines.why import why
from vanstock.web.behind import Behind

T = TypeVar("T")
ROOT = Path(__file__).parents[2]


def text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


def worked_out(phone: TestClient, path: str) -> str:
    for _ in range(300):
        page = phone.get(path).text
        if "Being worked out" not in page:
            return page
        time.sleep(0.05)
    return pytest.fail("it never was worked out")


def in_a_sitting(firm: Firm, ask: Callable[[Session], T]) -> T:
    connection = open_ledger(firm.ledger)
    found = ask(Session(connection, NOW, firm.ledger))
    connection.close()
    return found


def pictures_in(page: str) -> list[str]:
    """The addresses of the pictures in a page, the dark one first."""
    return [unescape(found) for found in re.findall(r'(?:srcset|src)="(/[a-z]+\.svg[^"]*)"', page)]


def test_the_curve_comes_at_once_and_then_with_the_figures_of_the_terminal(firm: Firm, phone: TestClient) -> None:
    first = phone.get("/curve").text
    assert "Being worked out" in first
    assert 'http-equiv="refresh"' in first
    assert len(pictures_in(first)) == 2
    page = worked_out(phone, "/curve")
    found = in_a_sitting(firm, lambda session: curve(session, USUAL_MORE))
    rows = [text(row) for row in re.findall(r"<tr.*?</tr>", page)[1:]]
    told = [
        f"{format_money(spot.cash)} {in_hundred(spot.completion)} {words}".rstrip() for spot, words in told_spots(found)
    ]
    assert rows == told
    assert told == ["0.00 2.5", "186.55 95.5 stock today, if kept so", "191.57 95.5 min and max today"]
    assert more_told(found) in text(page)
    assert "http-equiv" not in page
    assert pictures_in(page) == pictures_in(first)
    assert 'href="/curve"' in phone.get("/week").text


def test_the_page_of_a_part_has_the_words_and_figures_of_its_forecast(firm: Firm, phone: TestClient) -> None:
    assert "Being worked out" in phone.get("/forecast/GKT-1").text
    page = worked_out(phone, "/forecast/GKT-1")
    found = in_a_sitting(firm, lambda session: why(session, "GKT-1"))
    for what, figure in (*figures_of(found), *told_of(found), *weeks_of(found)):
        assert f"{what} {figure}" in text(page)
    for path in ("/stock?q=GKT-1", "/history/GKT-1"):
        assert 'href="/forecast/GKT-1"' in phone.get(path).text
    assert "/forecast/" not in phone.get("/history/J1").text


@pytest.mark.parametrize("path", ["/curve", "/forecast/GKT-1"])
def test_a_picture_is_svg_with_words_beside_it_loaded_when_it_is_near_and_drawn_once(
    firm: Firm, phone: TestClient, path: str
) -> None:
    page = phone.get(path).text
    image = re.search(r"<img [^>]*>", page)
    assert image
    assert all(f" {name}=" in image[0] for name in ("alt", "width", "height"))
    assert 'loading="lazy"' in image[0]
    assert "the table below gives" in image[0]
    dark, light = (phone.get(address) for address in pictures_in(page))
    for answer in (dark, light):
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/svg+xml")
        assert answer.text.startswith("<svg ")
        assert len(answer.content) < 60_000
    assert dark.text != light.text
    drawings = list(firm.desk.drawings._values.values())
    assert [phone.get(address).text for address in pictures_in(page)] == [dark.text, light.text]
    assert list(map(id, firm.desk.drawings._values.values())) == list(map(id, drawings))
    assert len(drawings) == 2


def test_another_ledger_has_another_picture_at_another_address(phone: TestClient) -> None:
    before = phone.get("/forecast/GKT-1").text
    drawn = phone.get(pictures_in(before)[1]).text
    phone.post("/act", data={"act": "fit", "id": "a" * 32, "job": "J1", "part": "GKT-1", "qty": "40"})
    after = phone.get("/forecast/GKT-1").text
    assert set(pictures_in(after)).isdisjoint(pictures_in(before))
    assert phone.get(pictures_in(after)[1]).text != drawn


def test_nobody_waits_for_what_is_being_worked_out(firm: Firm, phone: TestClient) -> None:
    phone.get("/")
    with firm.desk.curves._lock, firm.desk.forecasts._lock, firm.desk.drawings._lock:  # as if it took for ever
        for path in ("/curve", "/forecast/GKT-1", "/forecast/FLU-1", "/", "/load", "/job/J1", "/stock"):
            assert phone.get(path).status_code == 200
        assert phone.post("/act", data={"act": "fit", "id": "b" * 32, "job": "J1", "part": "BLT-1"}).status_code == 303
    assert "of 100 jobs" in worked_out(phone, "/curve")


@pytest.mark.parametrize(
    ("path", "status"),
    [("/forecast/zzz", 404), ("/forecast/gasket", 200), ("/forecast.svg?part=zzz", 404), ("/forecast.svg", 404),
     ("/forecast/pressure", 422)],
)  # fmt: skip
def test_a_name_that_is_no_part_is_told(phone: TestClient, path: str, status: int) -> None:
    assert phone.get(path).status_code == status


def test_matplotlib_is_only_loaded_for_a_picture() -> None:
    program = (
        "import sys, vanstock.web.app, vanstock.web.chartpages, vanstock.routines.pictures as p; "
        "sys.exit(any(name.partition('.')[0] in ('matplotlib', 'numpy', 'scipy') for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", program], cwd=ROOT, check=False).returncode == 0


def test_a_firm_of_which_no_job_is_known_has_no_curve(tmp_path: Path) -> None:
    empty = Firm(tmp_path / "firm.db", None)
    token = empty.devices.pair(empty.devices.new_code(), "Kim")
    assert token
    with TestClient(empty.app, "http://van.test:8040", follow_redirects=False) as phone:
        phone.cookies.set(empty.desk.cookie_for("http"), token, domain="van.test")
        page = worked_out(phone, "/curve")
        assert "no jobs are known to come yet" in page
        assert pictures_in(page) == []
        assert phone.get("/curve.svg").status_code == 404


def test_a_part_that_is_called_like_another_page_has_its_own_picture(firm: Firm, phone: TestClient) -> None:
    with closing(sqlite3.connect(firm.ledger)) as ledger, ledger:
        columns = (
            "description, component, unit, cost, pack_size, supplier, supplier_part, lead_working_days, "
            "one_time_use, surcharge, shelf_life_days, weight_grams, hazard, gtin, superseded_by, bulk_ml"
        )
        ledger.execute(f"INSERT INTO part SELECT 'curve', {columns} FROM part WHERE part = 'GKT-1'")
    pictures = [phone.get(path).text for path in ("/curve.svg", "/forecast.svg?part=curve")]
    assert pictures[0] != pictures[1]


def test_what_cannot_be_worked_out_says_why_on_the_page_and_is_tried_again_when_asked(
    firm: Firm, phone: TestClient
) -> None:
    in_a_sitting(firm, lambda session: pin(session, "SNS-1", "3", "5"))
    assert "data-supplier" in worked_out(phone, "/week")
    with closing(sqlite3.connect(firm.ledger)) as ledger:
        ledger.execute("INSERT INTO setting (name, value) VALUES ('target', 'most of them')")
        ledger.commit()
    for path, what in (("/curve", "The curve"), ("/week", "The reorder list")):
        failed = worked_out(phone, path)
        assert f"{what} could not be worked out: " in text(failed)
        assert ("This is the list before" in failed) == ("data-supplier" in failed) == (path == "/week")
        assert "data-again" not in failed
        assert "refresh" not in failed
        assert not [address for address in pictures_in(failed) if "curve" in address]
        assert "Being worked out" in phone.get(path).text
    assert "most of them" in "".join(firm.told)
    with closing(sqlite3.connect(firm.ledger)) as ledger:
        ledger.execute("DELETE FROM setting WHERE name = 'target'")
        ledger.commit()
    for path in ("/curve", "/week"):
        assert "could not be worked out" not in worked_out(phone, path)


def test_a_mistake_is_told_once_in_its_own_words(firm: Firm) -> None:
    def refused(session: Session) -> None:
        raise BadValue("no part PAN-1")

    behind = Behind(firm.desk, "a forecast")
    told = ""
    for _ in range(200):
        told = told or behind.begin("PAN-1", refused)
        time.sleep(0 if told else 0.01)
    assert told == "a forecast could not be worked out: no part PAN-1"
    assert told in firm.told
    assert behind.begin("another", refused) == ""

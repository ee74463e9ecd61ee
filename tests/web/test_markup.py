"""What a person wrote, wherever it is kept, stands on every page as text: never as an element or an attribute. The ways
in are those of the OWASP cheat sheet on cross-site scripting, named from memory."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HOME, Firm
from tests.web.crawl import Page, every_page
from vanstock.ledger import catalogue
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Family, Fits, GoesWith, Job, Part, Place, Supplier, Usual
from vanstock.routines import ordering
from vanstock.routines.booking import add_booking
from vanstock.routines.session import Session
from vanstock.routines.stock import count

EVIL = "\"'></title><zz-evil onerror=a>{{7*7}}&quot;"
VAN = "van'><zz-van>"


def fill(session: Session) -> None:
    """A firm of which every word that is free is hostile."""
    with writing(session.ledger) as ledger:
        catalogue.add_place(ledger, Place(VAN, "van"))
        catalogue.save_rows(ledger, Supplier, [Supplier("DAY", f"Day {EVIL}", 0, "Mon-Fri", "11:00", 495, 7500)])
        catalogue.save_rows(ledger, Family, [Family("AAA", f"Alder {EVIL}"), Family("BBB", f"Beck {EVIL}")])
        words = {"VAP-2": "vaporiser", "GKT-1": "gasket", "BLT-1": "bolt", "FLU-1": "fluid", "GLV-1": "gloves"}
        words |= {"SNS-1": "sensor"}
        catalogue.save_rows(ledger, Part, [
            Part(part, f"{what} {EVIL}", f"{what} {EVIL}", "LTR" if part == "FLU-1" else "C62", 1000, supplier="DAY")
            for part, what in words.items()
        ])  # fmt: skip
        catalogue.save_rows(ledger, Fits, [Fits("*", part) for part in words])
        catalogue.save_rows(ledger, GoesWith, [GoesWith("VAP-2", "GKT-1", 1)])
        catalogue.save_rows(ledger, Usual, [
            Usual(f"clean {EVIL}", "*", f"{what} {EVIL}", 0.9, 1, 8) for what in words.values()
        ])  # fmt: skip
        catalogue.save_pin(ledger, "SNS-1", (5, 9))


class EvilFirm(Firm):
    """The pages of such a firm, after acts whose words are hostile too, of a phone with such a name."""

    def __init__(self, ledger: Path) -> None:
        super().__init__(ledger, fill)
        connection = open_ledger(ledger)
        session = Session(connection, datetime(2027, 2, 28, 19, 0), ledger)
        for job, van in ((f"J3 {EVIL}", "van"), ("J4", VAN)):
            add_booking(session, Job(job, date(2027, 3, 1), "09:00", "AAA", f"clean {EVIL}", van=van))
        count(session, "GKT-1", "7", place="store", reason=f"because {EVIL}")
        look = ordering.LastLook(amounts={"SNS-1": "1"}, supplier="DAY", top_up=False)
        ordering.draft(session, ordering.propose(session, look).orders[0])
        connection.close()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Page]:
    firm = EvilFirm(tmp_path_factory.mktemp("evil") / "firm.db")
    token = firm.devices.pair(firm.devices.new_code(), '"><zz-evil>')
    headers = {"cookie": f"{firm.desk.cookie_for('http')}={token}", "origin": HOME}
    with TestClient(firm.app, HOME, headers=headers, follow_redirects=False) as phone:
        act = {"act": "fit", "id": "a" * 32, "job": "J4", "part": "GKT-1", "qty": "1"}
        assert phone.post("/act", data=act).status_code == 303
        evil = {"q": EVIL, "place": EVIL}
        starts = ("/pair", "/history/GKT-1", "/history/J4", f"/?answer={'a' * 32}", "/?date=2027-03-01")
        found = every_page(phone, *starts)
        for path in ("/stock", "/job/J4", "/history/" + EVIL.replace("/", ""), "/nowhere", "/pair"):
            found[f"{path} with words"] = Page(phone.get(path, params={**evil, "code": EVIL}).text)
        cards = phone.get("/find", params={"job": "J4", "q": "gasket"}, headers={"accept": "text/html"})
        found["/find as cards"] = Page(cards.text)
        found["/pair refused"] = Page(phone.post("/pair", data={"code": EVIL, "name": EVIL}).text)
        answer = phone.get("/find", params={"job": "J4", "q": "gasket"})
        assert answer.headers["content-type"] == "application/json"
    return found


def test_what_a_person_wrote_is_text_on_every_page(pages: dict[str, Page]) -> None:
    for address, page in pages.items():
        for tag, held in page.elements:
            assert not tag.startswith("zz-"), (address, tag)
            known = {name for name in held if name.isascii() and name.replace("-", "").isalpha()}
            assert set(held) == known, (address, tag, held)
            assert not [name for name in held if name.startswith("on") or "zz" in name], (address, tag, held)
            assert "javascript:" not in held.get("href", ""), address
        assert "49" not in page.text.split(), address


def test_it_stands_there_as_it_was_written(pages: dict[str, Page]) -> None:
    shown = {address.partition("?")[0] for address, page in pages.items() if "zz-evil onerror=" in page.text}
    assert {"/", "/job/J4", "/stock", "/load", "/history/GKT-1", "/week", "/find as cards"} <= shown
    held = [held for page in pages.values() for _, held in page.elements]
    for name in ("data-said", "aria-label", "value"):
        assert any("zz-evil onerror=" in one.get(name, "") for one in held), name
    assert any(VAN in one.get("data-place", "") for one in held)

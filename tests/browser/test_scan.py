"""Labels and scanning together: sheets as Chromium prints them are photographed, so to speak, and every label on them
leads to its part; a photo taken on a page opens the card."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import Laptop
from tests.browser.hand import GASKET, JOB, answers, figure, press
from tests.browser.proxy import Line
from tests.browser.test_pages import SMALL_TARGETS, SMALL_TEXT, fits_every_screen, violations
from tests.exchange.photos import HANDS, as_file, drawn, on_a_table
from vanstock.exchange.labels import GRIDS, Label, as_html, laid_out
from vanstock.routines.labels import Sheets, Wish, label_sheets, write_sheets
from vanstock.routines.scan import part_meant, read_photo
from vanstock.routines.session import open_session

NOW = datetime(2027, 3, 1, 7, 30)
A4_DOTS_AT_96 = {"width": 794, "height": 1123}
_200_DPI = 200 / 96
TOO_FULL = """() => [...document.querySelectorAll(".label")].filter((label) => {
  const edge = label.getBoundingClientRect();
  return [...label.querySelectorAll("p, svg")].some((one) => {
    const { left, right, top, bottom } = one.getBoundingClientRect();
    return left < edge.left || right > edge.right || top < edge.top || bottom > edge.bottom
      || one.scrollWidth > one.clientWidth + 1;
  });
}).map((label) => label.innerText)"""


class Printed:
    """All labels of the demo firm on sheets, their page in a browser as it is printed, and a picture of each sheet."""

    def __init__(self, ledger: Path, page: Page, folder: Path) -> None:
        self.ledger, self.page = ledger, page
        with open_session(str(ledger), NOW) as session:
            self.found: Sheets = label_sheets(session, Wish(), GRIDS["3x8"], start=4)
            write_sheets(session, self.found, folder / "labels.html")
        page.goto((folder / "labels.html").as_uri())
        page.emulate_media(media="print")
        self.pictures = [Image.open(BytesIO(one.screenshot())) for one in page.locator(".sheet").all()]

    def label(self, number: int) -> Image.Image:
        """One label of the sheets by its number, cut out with its edges."""
        sheet, _, _ = self.found.where(number)
        box = self.page.locator(".label").nth(number - 1).bounding_box()
        above = self.page.locator(".sheet").nth(sheet - 1).bounding_box()
        assert box
        assert above
        left, top = (box["x"] - above["x"]) * _200_DPI, (box["y"] - above["y"]) * _200_DPI
        right, bottom = left + box["width"] * _200_DPI, top + box["height"] * _200_DPI
        return self.pictures[sheet - 1].crop((round(left), round(top), round(right), round(bottom))).convert("L")


@pytest.fixture(scope="module")
def printed(chromium: Browser, served: Laptop, tmp_path_factory: pytest.TempPathFactory) -> Printed:
    context = chromium.new_context(viewport=A4_DOTS_AT_96, device_scale_factor=_200_DPI)  # type: ignore[arg-type]
    return Printed(served.fresh, context.new_page(), tmp_path_factory.mktemp("labels"))


@pytest.mark.slow
def test_every_label_on_the_sheets_leads_to_its_part(printed: Printed, pictures: Path) -> None:
    wanted = [label.part.part for label in printed.found.labels]
    assert len(wanted) > 50
    with open_session(str(printed.ledger), NOW) as session:
        read = [
            part_meant(session, read_photo(as_file(printed.label(number), quality=75))).part.part
            for number in range(1, len(wanted) + 1)
        ]
    for number, picture in enumerate(printed.pictures, 1):
        picture.save(pictures / f"labels-{number}.png")
    assert read == wanted


def test_a_photo_of_a_whole_sheet_has_all_of_its_codes(printed: Printed) -> None:
    wanted = [
        label.part.part for number, label in enumerate(printed.found.labels, 1) if printed.found.where(number)[0] == 1
    ]
    assert sorted(code.text for code in read_photo(as_file(printed.pictures[0].convert("L")))) == sorted(wanted)


@pytest.mark.parametrize("hand", HANDS)
def test_a_label_is_read_from_a_hand_that_is_not_a_scanner(printed: Printed, hand: str) -> None:
    label = printed.label(7)
    taken = on_a_table((label, (450, 300)), size=(900, 600))
    with open_session(str(printed.ledger), NOW) as session:
        found = part_meant(session, read_photo(as_file(HANDS[hand](taken), quality=60)))
    assert found.part == printed.found.labels[6].part


def test_the_sheets_print_on_as_many_pages_of_a4_and_nothing_stands_over_its_label(printed: Printed) -> None:
    made = printed.page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", made)) == printed.found.sheets == len(printed.pictures) == 3
    assert printed.page.evaluate(TOO_FULL) == []


@pytest.mark.parametrize("name", GRIDS)
def test_long_words_fit_on_the_labels_of_every_sheet(printed: Printed, name: str) -> None:
    small = ("store: litres, pack 20 L", "min 47.5 L, max 162.5 L in all", "as of 2027-03-01")
    long = [
        Label("DS-KRB-010-A", "exhaust fuel vaporiser, to engine 40000", small, "maker's label must show"),
        Label("W" * 64, "W" * 300, small, "maker's label must show"),
        Label("ПРОВЕРКА-ЖЩ-0123456789", "Щ" * 90, small),
        Label("検査部品番号" * 5, "排気温度センサー" * 12, small),
        Label("A", ""),
    ]
    page = printed.page.context.new_page()
    page.set_content(as_html(laid_out(long, GRIDS[name], title="Labels")))
    page.emulate_media(media="print")
    full = page.evaluate(TOO_FULL)
    page.close()
    assert full == []


def picture_of(text: str, kind: str = "QRCode") -> dict[str, object]:
    """A file as a phone's camera hands it to the page, larger than it needs to be."""
    code = drawn(text, kind, scale=12)
    file = as_file(on_a_table((code, (1500, 1100)), size=(3000, 2200)).convert("RGB"), quality=98)
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": file}


CAMERA = "form[data-scan] input[type=file]"


def test_a_photo_on_the_job_opens_the_card_and_a_tap_logs_the_part(phone: Page, line: Line, pictures: Path) -> None:
    phone.goto(f"/job/{JOB}")
    expect(phone.locator(CAMERA)).to_have_attribute("capture", "environment")
    phone.set_input_files(CAMERA, picture_of(GASKET))  # type: ignore[arg-type]
    card = phone.locator(f"#found .card[data-part='{GASKET}']")
    expect(card).to_be_visible()
    expect(phone.locator("form[data-scan] [role=status]")).to_have_text(f"read {GASKET} vaporiser gasket")
    assert len(line.photos) == 1
    assert line.photos[0] < 1_000_000, "the photo is made smaller before it is sent"
    phone.screenshot(path=pictures / "scanned.png")
    assert violations(phone) == []
    assert (phone.evaluate(SMALL_TEXT), phone.evaluate(SMALL_TARGETS)) == ([], [])
    fits_every_screen(phone)
    press(phone, "fit", GASKET)
    expect(answers(phone)).to_contain_text(GASKET)
    expect(figure(phone, GASKET, f"on {JOB}")).to_have_attribute("data-qty", "1")


def test_a_barcode_on_the_stock_page_shows_its_part_there(phone: Page) -> None:
    phone.goto("/stock?place=store")
    phone.set_input_files(CAMERA, picture_of("9520000000011", "EAN13"))  # type: ignore[arg-type]
    expect(phone.get_by_role("status")).to_contain_text(["read EAN-13 9520000000011: DS-KRA-010-A"])
    expect(phone.locator("main .card")).to_have_count(1)
    expect(phone.locator("main .card")).to_contain_text("DS-KRA-010-A in store")
    assert violations(phone) == []
    fits_every_screen(phone)


def test_without_signal_it_says_that_scanning_needs_the_laptop(phone: Page, line: Line) -> None:
    phone.goto(f"/job/{JOB}")
    line.dead = True
    phone.set_input_files(CAMERA, picture_of(GASKET))  # type: ignore[arg-type]
    expect(phone.locator("form[data-scan] [role=status]")).to_contain_text("out of reach")


def test_scanning_works_with_scripts_switched_off(new_phone: Callable[..., BrowserContext], pictures: Path) -> None:
    page = new_phone(java_script_enabled=False).new_page()
    page.goto(f"/job/{JOB}")
    page.screenshot(path=pictures / "scan-without-scripts.png")
    page.set_input_files(CAMERA, picture_of(GASKET))  # type: ignore[arg-type]
    page.get_by_role("button", name="Look it up").click()
    expect(page.locator(f"#found .card[data-part='{GASKET}']")).to_be_visible()
    expect(page.locator("#top")).to_contain_text(f"read {GASKET}")

"""An order as a supplier can take it: what each form says, that nothing in it runs or is mangled, and that it is whole.

What a form must be is checked against the standards named beside the checks, and read by other programs: the standard
library's mail, CSV and HTML readers, openpyxl, and a browser where there is one. The UBL form is in published/test_ubl.
"""

from __future__ import annotations

import csv
import io
import mailbox
import re
import shutil
import smtplib
import subprocess
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from decimal import Decimal
from email import message_from_bytes, policy
from email.message import EmailMessage
from html.parser import HTMLParser
from pathlib import Path
from zipfile import ZipFile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet
from rich.cells import cell_len

from vanstock.errors import BadValue, VanstockError
from vanstock.exchange.csvfile import undefused
from vanstock.exchange.orderdocs import CSV_COLUMNS, ENDINGS, as_csv, as_html, as_text, as_xlsx, as_xml, write_all
from vanstock.model import Part, Supplier
from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import UNITS, format_money, value_of

DAY = date(2027, 3, 1)
FLUID = Part("FLU-1", "filter cleaning fluid", "", "LTR", 56_000, 5000, supplier_part="CH 7781", gtin="9520000000356")
HOSE = Part("HOS-1", "pressure hose 8 mm", "", "MTR", 71_000, 5000)
GLOVES = Part("GLV-1", "nitrile gloves", "", "PR", 1_400, 50, supplier_part="GL50")
VAPORISER = Part("VAP-2", "exhaust vaporiser", "", cost=1_300_000, supplier_part="VAP-2")
CLIP = Part(
    "CLP-9", "hose clip", "", cost=345, pack_size=100, supplier_part="A-LONG-NUMBER-0123456789-0123456789-0123456789"
)
PARTS = (FLUID, HOSE, GLOVES, VAPORISER, CLIP)
HOSTILE = (
    "", "=1+1", "+1", "-1", "@SUM(A1)", "＝1", "'=1+1", '"so", he said', "<script>alert(1)</script>", "{{ 7 * 7 }}",
    "a\r\nb\tc", "From here", ">quoted", ".", "-- ", "~r x", "\x00\x07\x1b[31m", "\u202e\ud800", "🔧 ‍👩🏽‍🔧 部品番号",
    "x" * 200, "word " * 40, f"{'x' * 62}  y", f"{'x' * 72}  y", "_x0041_", "http://example.invalid", "007", "1e5",
    "TRUE",
)  # fmt: skip
TEXTS = st.sampled_from(HOSTILE) | st.text(max_size=200)
WRITERS = {".csv": as_csv, ".html": as_html, ".xlsx": as_xlsx, ".xml": as_xml}


def line(part: Part, packs: int) -> OrderDocLine:
    qty = packs * part.pack_size
    return OrderDocLine(part, qty, packs, part.cost, value_of(qty, part.unit, part.cost))


def order(*lines: OrderDocLine) -> OrderDoc:
    supplier = Supplier("WEEK", "Weekly Run", email="orders@example.invalid")
    goods = sum(row.cost for row in lines)
    cutoff, comes = datetime(2027, 3, 2, 12), date(2027, 3, 11)
    return OrderDoc(
        "O0007", DAY, supplier, "Hill Filters", "GBP", cutoff, comes, lines, goods, 1200, "At the back gate."
    )


def plain_order() -> OrderDoc:
    return order(*(line(part, 3) for part in PARTS))


@st.composite
def orders(draw: st.DrawFn) -> OrderDoc:
    """Orders of anything in any unit with hostile texts wherever a text can stand."""

    def one() -> OrderDocLine:
        part = Part(
            draw(TEXTS.filter(str.strip)), draw(TEXTS), unit=draw(st.sampled_from(sorted(UNITS))),
            cost=draw(st.integers(0, 10**7)), pack_size=draw(st.integers(1, 10**4)), supplier_part=draw(TEXTS),
            gtin=draw(st.sampled_from(["", "9520000000356"])),
        )  # fmt: skip
        return line(part, draw(st.integers(1, 1000)))

    doc = order(*(one() for _ in range(draw(st.integers(1, 3)))))
    return doc._replace(firm=draw(TEXTS), note=draw(TEXTS), supplier=Supplier(draw(TEXTS), draw(TEXTS)))


def file_of(ending: str, doc: OrderDoc, folder: Path) -> Path:
    path = folder / f"a{ending}"
    WRITERS[ending](path, doc)
    return path


def shown(text: str) -> str:
    """A text as every form shows it, said again here: one line of what prints."""
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text).strip()


# --- the text ---------------------------------------------------------------------------------------------------------


def test_the_text_says_what_is_ordered_of_whom_by_when_and_what_it_costs() -> None:
    assert as_text(order(line(FLUID, 2), line(HOSE, 1), line(VAPORISER, 1), line(CLIP, 3))) == "\n".join((
        "Order O0007 from Hill Filters",
        "",
        "To             Weekly Run",
        "Ordered by     Hill Filters",
        "Ordered on     Monday 1 March 2027",
        "Must be in by  Tuesday 2 March 2027, 12:00",
        "Expected       Thursday 11 March 2027",
        "Note           At the back gate.",
        "Amounts        in GBP, ex VAT",
        "",
        "     your number                                  quantity       price    cost",
        "  1  CH 7781                                          10 L  5.60 per L   56.00",
        "     filter cleaning fluid",
        "     2 packs of 5 L, our number FLU-1, GTIN 9520000000356",
        "  2  HOS-1 (ours)                                      5 m  7.10 per m   35.50",
        "     pressure hose 8 mm",
        "     1 pack of 5 m",
        "  3  VAP-2                                               1      130.00  130.00",
        "     exhaust vaporiser",
        "  4  A-LONG-NUMBER-0123456789-0123456789-0123456789",
        "                                                       300      0.0345   10.35",
        "     hose clip",
        "     3 packs of 100, our number CLP-9",
        "",
        "                                                                 goods  231.85",
        "                                                              carriage   12.00",
        "                                                          total ex VAT  243.85",
        "",
    ))  # fmt: skip


def test_what_is_not_known_is_left_out_and_the_end_of_the_day_is_no_time() -> None:
    doc = plain_order()
    unknown = as_text(doc._replace(cutoff=None, expected=None, note="", firm=""))
    assert unknown.startswith("Order O0007\n")
    for label in ("Must be in", "Expected", "Note", "Ordered by"):
        assert label not in unknown
    late = as_text(doc._replace(cutoff=datetime(2027, 3, 2, 23, 59)))
    assert "Must be in by  Tuesday 2 March 2027\n" in late


@settings(max_examples=150, deadline=None)
@given(orders())
def test_no_line_of_the_text_is_one_that_a_mail_program_changes(doc: OrderDoc) -> None:
    """RFC 5322, 2.1.1 (78 characters); RFC 3676, 4.2-4.5 (a space at the end flows, > quotes, "-- " signs); RFC 4155
    ("From " begins another message); RFC 5321, 4.5.2 (a leading point is doubled); uuencoded "begin " (from memory)."""
    text = as_text(doc)
    rows = text.split("\n")
    assert text.splitlines() == rows[:-1]
    assert rows[0].startswith("Order O0007")
    for row in rows:
        assert len(row) <= 78
        assert row == row.rstrip()
        assert not row.startswith(("From ", ">", ".", "~", "--", "begin ", "#"))
        assert row.isprintable()


@settings(max_examples=60, deadline=None)
@given(doc=orders())
def test_the_text_goes_through_mail_and_comes_out_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc
) -> None:
    text = as_text(doc)
    sent = EmailMessage(policy=policy.SMTP)
    sent["Subject"] = "order"
    sent.set_content(text, cte="8bit")
    read = message_from_bytes(bytes(sent), policy=policy.default)
    assert isinstance(read, EmailMessage)
    assert read.get_content().replace("\r\n", "\n") == text
    data = text.replace("\n", "\r\n")
    assert smtplib._quote_periods(data.encode()) == data.encode()  # type: ignore[attr-defined]
    with closing(mailbox.mbox(tmp_path_factory.mktemp("mail") / "box")) as box:
        key = box.add(bytes(sent).replace(b"\r\n", b"\n"))
        box.flush()
        assert len(box) == 1
        assert b"\n>" not in box.get_bytes(key)


@given(st.text(st.characters(min_codepoint=0x4E00, max_codepoint=0x9FA5), min_size=1, max_size=200))
def test_wide_letters_take_two_columns_so_the_figures_still_stand_in_line(name: str) -> None:
    """Unicode Standard Annex 11: ideographs are wide; measured here by the library rich."""
    part = VAPORISER._replace(part=name, description=name, supplier_part="")
    text = as_text(order(line(part, 1))._replace(firm=name))
    assert all(cell_len(row) <= 78 for row in text.splitlines())
    (figures,) = (row for row in text.splitlines() if row.endswith("130.00  130.00"))
    assert cell_len(figures) == 78


# --- the table --------------------------------------------------------------------------------------------------------


def test_the_table_has_a_row_for_each_line_with_exact_figures_and_codes(tmp_path: Path) -> None:
    """UN/ECE Recommendation 20 unit codes; ISO 8601 dates."""
    rows = list(csv.DictReader(io.StringIO(file_of(".csv", plain_order(), tmp_path).read_text(encoding="utf-8"))))
    assert [(row["qty"], row["unit"], row["packs"], row["pack_size"], row["price"], row["cost"]) for row in rows] == [
        ("15", "LTR", "3", "5", "5.60", "84.00"), ("15", "MTR", "3", "5", "7.10", "106.50"),
        ("150", "PR", "3", "50", "0.14", "21.00"), ("3", "C62", "3", "1", "130.00", "390.00"),
        ("300", "C62", "3", "100", "0.0345", "10.35"),
    ]  # fmt: skip
    assert [row["supplier_part"] for row in rows] == ["CH 7781", "", "GL50", "VAP-2", CLIP.supplier_part]
    assert {(row["order"], row["date"], row["expected"], row["currency"]) for row in rows} == {
        ("O0007", "2027-03-01", "2027-03-11", "GBP")
    }


@settings(max_examples=100, deadline=None)
@given(doc=orders())
def test_the_table_reads_back_and_no_cell_begins_as_a_formula(
    tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc
) -> None:
    """RFC 4180; OWASP, "CSV Injection": a cell begins with = + - @ tab or a line break only as a number."""
    raw = file_of(".csv", doc, tmp_path_factory.mktemp("csv")).read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == len(doc.lines) + 1
    header, *rows = csv.reader(io.StringIO(raw.decode()), strict=True)
    assert tuple(header) == CSV_COLUMNS
    for row, wanted in zip(rows, doc.lines, strict=True):
        cells = dict(zip(header, row, strict=True))
        for column in ("part", "description", "supplier_part"):
            assert undefused(cells[column]) == shown(getattr(wanted.part, column))
        assert not any(re.match(r"[=+\-@＝＋－＠\t\r\n](?![0-9.]+\Z)", cell) for cell in row)
    assert sum(Decimal(row[12]) for row in rows) == Decimal(format_money(doc.goods))


# --- the page ---------------------------------------------------------------------------------------------------------


class Markup(HTMLParser):
    """A page as a browser would take it: its elements, and the text that is no style."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.elements and self.elements[-1][0] != "style":
            self.pieces.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.pieces).split())


def test_the_page_has_every_fact_line_and_sum_and_needs_nothing_beside_it(tmp_path: Path) -> None:
    path = file_of(".html", plain_order(), tmp_path)
    page = Markup(path)
    for words in ("Order O0007 from Hill Filters", "ToWeekly Run", "Must be in byTuesday 2 March 2027, 12:00",
                  "ExpectedThursday 11 March 2027", "Amountsin GBP, ex VAT", "goods611.85 ", "carriage12.00 ",
                  "total ex VAT623.85",
                  "1CH 7781FLU-1filter cleaning fluid3 packs of 5 LGTIN 952000000035615 L5.60 per L84.00"):  # fmt: skip
        assert words in page.text
    assert "//" not in path.read_text(encoding="utf-8").removeprefix("<!DOCTYPE html>")
    tags = [tag for tag, _ in page.elements]
    assert not {"script", "link", "img", "iframe", "form", "svg"} & set(tags)
    assert tags.count("thead") == tags.count("h1") == 1
    assert {attributes.get("scope") for tag, attributes in page.elements if tag == "th"} == {"col", "row"}


@settings(max_examples=60, deadline=None)
@given(doc=orders())
def test_whatever_the_texts_are_the_page_has_the_same_elements_and_shows_them(
    tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc
) -> None:
    """OWASP, Cross Site Scripting Prevention: encode what goes between tags (from memory)."""
    folder = tmp_path_factory.mktemp("page")
    page = Markup(file_of(".html", doc, folder))
    tame = doc._replace(
        lines=tuple(
            row._replace(part=row.part._replace(part="p", description="d" if shown(row.part.description) else ""))
            for row in doc.lines
        ),
        firm="f" if shown(doc.firm) else "", note="n" if shown(doc.note) else "",
        supplier=Supplier("s" if shown(doc.supplier.supplier) or shown(doc.supplier.name) else ""),
    )  # fmt: skip
    assert page.elements == Markup(file_of(".html", tame, folder)).elements
    for row in doc.lines:
        for text in (row.part.part, row.part.description, row.part.supplier_part):
            assert " ".join(shown(text).split()) in page.text


def pdf_of(doc: OrderDoc, folder: Path) -> bytes:
    page, paper = file_of(".html", doc, folder), folder / "a.pdf"
    quiet = ("--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync")
    words = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", *quiet, f"--user-data-dir={folder / 'profile'}"]
    printing = [*words, "--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri()]
    subprocess.run(printing, check=True, capture_output=True, timeout=120)
    return paper.read_bytes()


def printed(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="there is no chromium on the PATH to print with")
def test_a_usual_order_prints_on_one_a4_sheet_and_many_lines_flow_to_more(tmp_path: Path) -> None:
    """ISO 216: A4 is 210 by 297 mm; ISO 32000-1, 8.3.2.3: a point is a 72nd of an inch (from memory)."""
    usual = pdf_of(order(*(line(part, 3) for part in PARTS * 3)), tmp_path)
    assert printed(usual) == 1
    (size,) = set(re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", usual))
    assert [float(side) for side in size] == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=1)
    assert printed(pdf_of(order(*(line(part, 3) for part in PARTS * 40)), tmp_path)) > 3


@pytest.mark.slow
@pytest.mark.skipif(
    shutil.which("chromium") is None or shutil.which("pdftotext") is None, reason="needs chromium and pdftotext"
)
def test_the_headings_stand_on_every_sheet_and_the_sums_on_the_last(tmp_path: Path) -> None:
    (tmp_path / "many.pdf").write_bytes(pdf_of(order(*(line(part, 3) for part in PARTS * 20)), tmp_path))
    words = ["pdftotext", "-layout", str(tmp_path / "many.pdf"), "-"]
    sheets = subprocess.run(words, check=True, capture_output=True, text=True).stdout.rstrip("\f").split("\f")
    assert len(sheets) > 2
    assert all("your number" in sheet and "quantity" in sheet for sheet in sheets)
    assert ["total ex VAT" in sheet for sheet in sheets] == [False] * (len(sheets) - 1) + [True]


# --- the workbook -----------------------------------------------------------------------------------------------------


def sheet_of(path: Path, *, values: bool) -> Worksheet:
    book = load_workbook(path, data_only=values)
    assert len(book.worksheets) == 1
    return book.worksheets[0]


def test_the_workbook_has_numbers_as_numbers_with_their_formats_and_sums_as_formulas_with_values(
    tmp_path: Path,
) -> None:
    """Read by openpyxl, formulas and kept values apart."""
    path = file_of(".xlsx", plain_order(), tmp_path)
    kept, formulas = sheet_of(path, values=True), sheet_of(path, values=False)
    assert kept["A1"].value == "Order O0007 from Hill Filters"
    assert kept["A2"].value == (
        "To Weekly Run; Ordered by Hill Filters; Ordered on Monday 1 March 2027; Must be in by Tuesday 2 March 2027, "
        "12:00; Expected Thursday 11 March 2027; Amounts in GBP, ex VAT"
    )
    assert kept["A3"].value == "At the back gate."
    assert [cell.value for cell in kept[4]][:3] == ["line", "your number", "our number"]
    assert [cell.value for cell in kept[5]] == [
        1, "CH 7781", "FLU-1", "filter cleaning fluid", "9520000000356", 15, "L", 3, 5, 5.6, 84,
    ]  # fmt: skip
    clip = kept[9]
    assert [clip[9].value, clip[9].number_format, clip[10].number_format] == [0.0345, "0.0000", "#,##0.00"]
    assert [formulas.cell(row, 11).value for row in (10, 11, 12)] == ["=SUM(K5:K9)", 12, "=K10+K11"]
    assert [kept.cell(row, 11).value for row in (10, 11, 12)] == [611.85, 12, 623.85]
    assert [kept.cell(row, 10).value for row in (10, 11, 12)] == ["goods", "carriage", "total ex VAT, GBP"]
    assert kept.freeze_panes == "A5"
    assert kept.print_title_rows == "$4:$4"
    assert kept.column_dimensions["D"].width > kept.column_dimensions["A"].width


def test_a_quantity_shows_its_decimals_and_no_more(tmp_path: Path) -> None:
    part = FLUID._replace(pack_size=2_500)
    kept = sheet_of(file_of(".xlsx", order(line(part, 1), line(part, 2)), tmp_path), values=True)
    assert [(kept.cell(row, 6).value, kept.cell(row, 6).number_format) for row in (5, 6)] == [(2.5, "0.0"), (5, "0")]


@settings(max_examples=60, deadline=None)
@given(doc=orders())
def test_whatever_the_texts_are_the_workbook_runs_only_its_own_two_formulas_and_opens_no_link(
    tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc
) -> None:
    """ECMA-376, part 1, 18.3.1.40 (f holds a formula), 18.8.45 (quotePrefix keeps a cell text when it is edited)."""
    path = file_of(".xlsx", doc, tmp_path_factory.mktemp("book"))
    with ZipFile(path) as parts:
        markup = parts.read("xl/worksheets/sheet1.xml").decode()
        assert "hyperlink" not in markup
        assert not [name for name in parts.namelist() if "external" in name or "vba" in name]
    assert markup.count("<f>") == 2
    kept = sheet_of(path, values=True)
    first = 5 if shown(doc.note) else 4
    for row, wanted in enumerate(doc.lines, first):
        for column, text in ((2, wanted.part.supplier_part), (3, wanted.part.part), (4, wanted.part.description)):
            cell = kept.cell(row, column)
            held = (cell.value or "") if isinstance(cell.value, str | None) else None
            assert held is not None
            assert held.replace("_x005F_", "_") == shown(text)
            assert cell.value is None or (cell.data_type == "s" and cell.quotePrefix)
    costs = [kept.cell(row, 11).value for row in range(first, first + len(doc.lines) + 3)]
    *lines, goods, carriage, total = (round(float(str(cost)) * 100) for cost in costs)
    assert (sum(lines), goods, carriage, total) == (doc.goods, doc.goods, doc.carriage, doc.total)


def test_a_text_that_no_cell_holds_is_told_and_not_left_out(tmp_path: Path) -> None:
    with pytest.raises(BadValue, match="too long for a spreadsheet cell: shorten its note"):
        as_xlsx(tmp_path / "a.xlsx", plain_order()._replace(note="x" * 40_000))


# --- all of them ------------------------------------------------------------------------------------------------------


def test_every_form_is_written_under_the_orders_number_in_place_of_an_old_one(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "orders"
    write_all(folder, order(line(FLUID, 1)))
    doc = plain_order()
    paths = write_all(folder, doc)
    assert paths == tuple(folder / f"O0007{ending}" for ending in (".txt", ".csv", ".html", ".xlsx", ".xml"))
    assert sorted(folder.iterdir()) == sorted(paths)
    assert paths[0].read_bytes() == as_text(doc).encode()
    for path in paths[1:]:
        assert path.read_bytes() == file_of(path.suffix, doc, tmp_path).read_bytes()


def test_the_same_order_gives_the_same_bytes_and_another_gives_others(tmp_path: Path) -> None:
    doc = plain_order()
    first = [path.read_bytes() for path in write_all(tmp_path / "a", doc)]
    again = [path.read_bytes() for path in write_all(tmp_path / "b", doc)]
    other = [path.read_bytes() for path in write_all(tmp_path / "c", order(line(FLUID, 1)))]
    assert first == again
    assert not set(first) & set(other)
    assert load_workbook(tmp_path / "a" / "O0007.xlsx").properties.created == datetime(2027, 3, 1)


@settings(max_examples=40, deadline=None)
@given(doc=orders())
def test_every_form_of_any_order_can_be_written(tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc) -> None:
    assert all(path.stat().st_size for path in write_all(tmp_path_factory.mktemp("all"), doc))


@pytest.mark.parametrize(
    "number", ["", ".", "..", "../O1", "a/b", "a\\b", "O1.", "-", "O 1", "O1\n", "a\0b", "C:x", "x" * 101]
)
def test_a_number_that_is_no_file_name_is_refused_and_writes_nothing(tmp_path: Path, number: str) -> None:
    with pytest.raises(BadValue, match=r"cannot name a file: use letters, digits, - and \."):
        write_all(tmp_path / "orders", plain_order()._replace(number=number))
    assert not list(tmp_path.iterdir())


def test_an_order_of_nothing_or_that_does_not_add_up_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadValue, match="order O0007 has no lines"):
        write_all(tmp_path, order())
    with pytest.raises(BadValue, match=r"its lines cost 611\.85 and its goods 611\.86"):
        write_all(tmp_path, plain_order()._replace(goods=61_186))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("ending", ENDINGS)
def test_where_one_form_cannot_be_put_in_place_none_is_and_the_old_ones_stay(tmp_path: Path, ending: str) -> None:
    for old in write_all(tmp_path, order(line(FLUID, 1))):
        old.write_text("old")
    taken = tmp_path / f"O0007{ending}"
    taken.unlink()
    taken.mkdir()
    with pytest.raises(VanstockError, match=f"cannot write .*O0007{ending}: a folder has that name"):
        write_all(tmp_path, plain_order())
    assert len(list(tmp_path.iterdir())) == len(ENDINGS)
    assert all(path.read_text() == "old" for path in tmp_path.iterdir() if path != taken)


def test_an_order_that_one_form_cannot_hold_leaves_the_old_ones_as_they_were(tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in write_all(tmp_path, plain_order())}
    with pytest.raises(BadValue, match="shorten its note"):
        write_all(tmp_path, plain_order()._replace(note="x" * 40_000))
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_folder_that_cannot_be_is_told_plainly(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("kept")
    for folder in (tmp_path / "file", tmp_path / "file" / "under", tmp_path / "a\0b", tmp_path / ("x" * 300)):
        with pytest.raises(VanstockError, match=r"\Acannot write order O0007 into .*: .+\Z"):
            write_all(folder, plain_order())
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
def test_one_form_that_cannot_be_written_is_told_and_leaves_nothing(
    tmp_path: Path, write: Callable[[Path, OrderDoc], None]
) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    for path in (folder, tmp_path / "a\0b", tmp_path / ("x" * 300)):
        with pytest.raises(VanstockError, match=r"\Acannot write .*: .+\Z"):
            write(path, plain_order())
    assert list(tmp_path.iterdir()) == [folder]

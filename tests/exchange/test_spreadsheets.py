"""Spreadsheets as people make them: their cells, their headings, and everything nasty that a file can be."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from vanstock.errors import BadValue
from vanstock.exchange import sheets
from vanstock.exchange.headings import Headed, Matching, find_headings, match_columns
from vanstock.exchange.knowncolumns import known_columns, plain
from vanstock.exchange.table import Cell, Row, Table, read_csv_table
from vanstock.exchange.tidy import KIND_OF, Ways, tidy
from vanstock.exchange.workbook import read_book

Rows = Sequence[Sequence[Any]]
Save = Callable[..., Path]


@pytest.fixture
def save(tmp_path: Path) -> Save:
    """Writes rows as the only sheet of a workbook."""

    def save_rows(rows: Rows, name: str = "list.xlsx", formats: dict[str, str] | None = None) -> Path:
        book = Workbook()
        sheet = book.worksheets[0]
        for row in rows:
            sheet.append(list(row))
        for cell, shown in (formats or {}).items():
            sheet[cell].number_format = shown
        book.save(tmp_path / name)
        return tmp_path / name

    return save_rows


def only(path: Path) -> Table:
    (table,) = read_book(path).sheets.values()
    return table


def table_of(*rows: Sequence[str], first: int = 1) -> Table:
    return Table("x.csv", "", tuple(Row(n, tuple(map(Cell, row))) for n, row in enumerate(rows, first) if any(row)))


def matched(*rows: Sequence[str], said: dict[str, str] | None = None) -> tuple[Headed, Matching]:
    headed = find_headings(table_of(*rows), sheets.PARTS)
    return headed, match_columns(headed, sheets.PARTS, said or {}, {})


def ours(matching: Matching) -> list[str]:
    return [match.ours for match in matching.matches]


def test_cells_come_with_what_the_spreadsheet_holds_them_for(save: Save) -> None:
    row = ["text", 12.5, 7, True, date(2027, 3, 1), datetime(2027, 3, 1, 8, 30), time(17, 0), " ", 0.1 + 0.2, 1e-5]
    path = save([row], formats={"B1": "[$€-407]#,##0.00", "C1": "[$-409]0"})
    assert only(path).rows == (
        Row(1, (
            Cell("text"), Cell("12.5", "number", "€"), Cell("7", "number"), Cell("yes", "yes-no"),
            Cell("2027-03-01", "date"), Cell("2027-03-01 08:30", "date"), Cell("17:00", "time"), Cell(""),
            Cell("0.3", "number"), Cell("0.00001", "number"),
        )),
    )  # fmt: skip


def test_the_dates_of_a_workbook_that_counts_from_1904_are_the_same_days(tmp_path: Path) -> None:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.worksheets[0].append([date(2027, 3, 1)])
    book.save(tmp_path / "mac.xlsx")
    assert only(tmp_path / "mac.xlsx").rows[0].cells[0].text == "2027-03-01"


def test_formulas_without_a_kept_value_and_errors_are_told_and_not_taken_for_empty(save: Save) -> None:
    path = save([["A1", "=1+1"], ["#N/A", None]])
    rows = only(path).rows
    assert rows[0].cells[1] == Cell("=1+1", "formula")
    assert rows[1].cells[0] == Cell("#N/A", "error")
    for cell, says in ((rows[0].cells[1], "has no value kept beside it"), (rows[1].cells[0], "error of the spread")):
        with pytest.raises(BadValue, match=says):
            tidy("cost", cell, Ways())


def test_a_formula_with_its_value_kept_is_that_value(tmp_path: Path) -> None:
    import xlsxwriter  # type: ignore[import-untyped]

    with xlsxwriter.Workbook(tmp_path / "kept.xlsx") as book:
        book.add_worksheet().write_formula("A1", "=6*7", None, 42)
    assert only(tmp_path / "kept.xlsx").rows[0].cells == (Cell("42", "number"),)


def test_hidden_sheets_are_not_read_unless_they_are_named(tmp_path: Path) -> None:
    book = Workbook()
    book.worksheets[0].append(["seen"])
    hidden = book.create_sheet("Old")
    hidden.append(["not seen"])
    hidden.sheet_state = "hidden"
    book.save(tmp_path / "two.xlsx")
    assert list(read_book(tmp_path / "two.xlsx").sheets) == ["Sheet"]
    assert list(read_book(tmp_path / "two.xlsx", "old").sheets) == ["Old"]
    with pytest.raises(BadValue, match="has no sheet 'New': there is Sheet, Old"):
        read_book(tmp_path / "two.xlsx", "New")


def changed(path: Path, part: str, change: Callable[[bytes], bytes]) -> Path:
    """The workbook with one of its parts changed."""
    target = path.with_name(f"changed-{path.name}")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for one in old.namelist():
            new.writestr(one, change(old.read(one)) if one == part else old.read(one))
    return target


SHEET = "xl/worksheets/sheet1.xml"


def test_what_a_sheet_says_of_its_size_is_not_believed(save: Save) -> None:
    path = save([["a", "b"], ["c", "d"]])
    lying = changed(path, SHEET, lambda text: text.replace(b'ref="A1:B2"', b'ref="A1"'))
    assert only(lying).rows == only(path).rows


def test_a_number_beyond_any_is_an_error_of_the_sheet_and_no_traceback(save: Save) -> None:
    """IEEE 754 binary64 has none beyond 1.8E308, and readers of such text make infinity of it."""
    path = save([["Part", "Cost"], ["A", 2]])
    path = changed(path, SHEET, lambda text: text.replace(b"<v>2</v>", b"<v>1E999</v>"))
    assert only(path).rows[1].cells[1] == Cell("inf", "error")


def test_entities_are_refused_before_anything_is_unfolded(save: Save) -> None:
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    path = changed(save([["a"]]), SHEET, lambda text: bomb + text.split(b"?>", 1)[-1])
    with pytest.raises(BadValue, match="declares entities"):
        read_book(path)


def with_size(path: Path, size: int) -> Path:
    """The workbook with a sheet that says it unpacks to so many bytes."""
    target = path.with_name(f"{size}-{path.name}")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for one in old.namelist():
            new.writestr(one, old.read(one))
        next(info for info in new.filelist if info.filename == SHEET).file_size = size
    return target


def test_a_workbook_that_would_unpack_without_end_is_refused(save: Save) -> None:
    with pytest.raises(BadValue, match="unpacks to far more"):
        read_book(with_size(save([["a"]]), 10**9))


def test_a_workbook_that_lies_about_what_it_unpacks_to_is_refused(save: Save) -> None:
    with pytest.raises(BadValue, match=r"no workbook|cannot be read"):
        read_book(with_size(save([["a" * 1000]]), 10))


@pytest.mark.parametrize(
    "content",
    [b"", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, b"PK\x05\x06" + b"\0" * 18, b"part,cost\nA,1\n"],
    ids=["empty", "password or old", "empty zip", "csv"],
)
def test_what_is_no_workbook_is_told_with_what_to_do(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "prices.xlsx"
    path.write_bytes(content)
    with pytest.raises(BadValue, match=r"prices.xlsx is no workbook .* has a password: save it as .xlsx"):
        read_book(path)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_damaged_workbook_is_read_or_refused_in_plain_words(tmp_path: Path, data: st.DataObject) -> None:
    if not (tmp_path / "whole.xlsx").exists():
        book = Workbook()
        book.worksheets[0].append(["Part", "Price"])
        book.worksheets[0].append(["A1", "=1"])
        book.save(tmp_path / "whole.xlsx")
    raw = bytearray((tmp_path / "whole.xlsx").read_bytes())
    for place, value in data.draw(st.lists(st.tuples(st.integers(0, len(raw) - 1), st.integers(0, 255)), max_size=6)):
        raw[place] = value
    (tmp_path / "hurt.xlsx").write_bytes(raw[: data.draw(st.integers(len(raw) // 2, len(raw)))])
    with suppress(BadValue):
        read_book(tmp_path / "hurt.xlsx")


CSV = [["Nr", "Preis", "Text"], ["A1", "12,50", "a;b"], ["A2", "1.234,00", 'Dü"se'], ["A3", "3", "two\nlines"]]


@pytest.mark.parametrize("between", [";", ",", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_csv_of_any_kind_gives_the_same_cells(tmp_path: Path, between: str, encoding: str) -> None:
    import csv

    path = tmp_path / "list.csv"
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=between).writerows(CSV)
    rows = read_csv_table(path).rows
    assert [[cell.text for cell in row.cells] for row in rows] == CSV
    assert [row.number for row in rows] == [1, 2, 3, 4]


def test_a_first_line_that_names_the_separator_is_followed_and_lines_are_still_counted(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"sep=|\r\nPart|Price\r\n\r\nA,1|2\r\n")
    table = read_csv_table(tmp_path / "a.csv")
    assert [(row.number, row.cells[0].text) for row in table.rows] == [(2, "Part"), (4, "A,1")]


def test_empty_cells_at_the_end_of_rows_make_no_list_too_wide(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(f"Part,Price{',' * 300}\nA,2{',' * 300}\n")
    rows = read_csv_table(tmp_path / "a.csv").rows
    assert [row.cells for row in rows] == [(Cell("Part"), Cell("Price")), (Cell("A"), Cell("2"))]


def test_noughts_that_a_program_kept_by_a_formula_are_kept(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('Part,Price\n="00123",2\n')
    assert read_csv_table(tmp_path / "a.csv").rows[1].cells[0] == Cell("00123")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b'Part,Price\nA,"1\nB,2\n', "a.csv:2: a quote"), (b"Part\0,Price", "is no text"), (b"\xff\xfe\x00", "damaged"),
        (b"Part,Pri\x81ce", "neither UTF-8 nor Windows-1252"),
        (b",".join([b"a"] * 201), "a row of more than 200 columns"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_told(tmp_path: Path, content: bytes, says: str) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    with pytest.raises(BadValue, match=says):
        read_csv_table(tmp_path / "a.csv")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=60) | st.text("a1;,\t|\"'\n\r=£€ ", max_size=40).map(str.encode))
def test_any_bytes_are_a_table_or_told_to_be_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    with suppress(BadValue):
        read_csv_table(tmp_path / "a.csv")


def test_title_rows_are_passed_over_and_two_rows_of_headings_joined() -> None:
    headed, found = matched(
        ["Price list", "", "", ""], ["Valid", "March", "", ""], ["", "", "", ""],
        ["Article", "", "Price (£)", ""], ["No.", "Text", "List", "Net"], ["A-1", "a hose", "2.00", "1.50"],
    )  # fmt: skip
    assert (headed.first, headed.number, headed.joined) == (4, 5, True)
    assert [heading.text for heading in headed.headings] == [
        "Article No.", "Article Text", "Price (£) List", "Price (£) Net"
    ]  # fmt: skip
    assert ours(found) == ["part", "", "", "cost"]


def test_a_title_above_the_headings_is_not_joined_with_them() -> None:
    headed, found = matched(["Supplier", "Orlebeck", ""], ["Part", "Description", "Price"], ["A", "b", "1"])
    assert (headed.number, headed.joined, ours(found)) == (2, False, ["part", "description", "cost"])


def test_two_columns_are_never_taken_for_one() -> None:
    _, found = matched(["Part", "Net price", "Trade price"], ["A", "1", "2"])
    assert ours(found) == ["part", "", ""]
    assert [heading.text for heading in found.two["cost"]] == ["Net price", "Trade price"]
    _, found = matched(["Part", "Cost", "Trade price"], ["A", "1", "2"])  # ours by its own name
    assert (ours(found), found.two) == (["part", "cost", ""], {})
    _, found = matched(["Part", "Price", "Price"], ["A", "1", "2"])
    assert [heading.text for heading in found.two["cost"]] == ["Price", "Price (2)"]


def test_slips_are_found_by_spelling_and_said_to_be() -> None:
    _, found = matched(["Part nubmer", "Descripton", "Pack", "Colour"], ["A", "b", "1", "red"])
    assert ours(found) == ["part", "description", "pack_size", ""]
    assert [match.how for match in found.matches[:3]] == ["spelling", "spelling", "name"]


@pytest.mark.parametrize(
    ("heading", "why"),
    [("Price inc VAT", "includes VAT"), ("Price per 100", "is for several"), ("Box price", "is for several"),
     ("Net price / 10", "is for several"), ("Bruttopreis inkl. MwSt", "includes VAT")],
)  # fmt: skip
def test_prices_that_are_not_of_one_unit_without_vat_are_not_taken_and_it_is_told(heading: str, why: str) -> None:
    _, found = matched(["Part", heading, "Description"], ["A", "1", "b"])
    assert (found.matches[1].ours, found.matches[1].why) == ("", why)


@pytest.mark.parametrize(
    "heading", ["Price per 1", "Price each", "Cost (ex. VAT)", "NET PRICE GBP", "Net price excl VAT"]
)
def test_prices_of_one_unit_without_vat_are_taken(heading: str) -> None:
    _, found = matched(["Part", heading, "Description"], ["A", "1", "b"])
    assert found.matches[1].ours == "cost"


def test_what_is_said_goes_before_names_and_what_is_not_there_is_told() -> None:
    _, found = matched(["Part", "Price", "Net"], ["A", "1", "2"], said={"price": "", "net": "cost"})
    assert ours(found) == ["part", "", "cost"]
    for said, says in (({"gone": "cost"}, "no column is headed 'gone'"), ({"net": "costs"}, "no column of ours"),
                       ({"net": "cost", "price": "cost"}, "cannot both be cost")):  # fmt: skip
        with pytest.raises(BadValue, match=says):
            matched(["Part", "Price", "Net"], ["A", "1", "2"], said=said)


def test_of_two_columns_of_one_heading_only_the_one_named_is_put_aside() -> None:
    _, found = matched(["Part", "Net price", "Net price"], ["A", "1", "2"])
    assert [heading.text for heading in found.two["cost"]] == ["Net price", "Net price (2)"]
    for said, means in (("net price", ["part", "", "cost"]), ("net price 2", ["part", "cost", ""])):
        _, found = matched(["Part", "Net price", "Net price"], ["A", "1", "2"], said={said: ""})
        assert ours(found) == means


def test_a_sheet_without_headings_is_told() -> None:
    with pytest.raises(BadValue, match="no headings found"):
        find_headings(table_of(["1", "2"], ["3", "4"]), sheets.PARTS)
    with pytest.raises(BadValue, match="is empty: save it again"):
        find_headings(table_of(), sheets.PARTS)


def test_every_column_of_ours_is_described_and_has_a_name_that_no_other_of_its_sheet_has() -> None:
    known = known_columns()
    assert {(sheet.file.removesuffix(".csv"), column) for sheet in sheets.ALL for column in sheet.columns} == set(known)
    for sheet in sheets.ALL:
        stem = sheet.file.removesuffix(".csv")
        for column in sheet.columns:
            assert known[stem, column].what
            assert known[stem, column].example
            own = plain(column)
            assert [other for other in sheet.columns if own in known[stem, other].names] == [column]


@pytest.mark.parametrize(
    ("column", "cell", "means"),
    [
        ("cost", Cell("3.333333333", "number"), "3.3333"), ("cost", Cell("n/a"), ""),
        ("cost", Cell("12.3", "number", "£"), "12.3"),
        ("pack_size", Cell("10 pcs"), "10pcs"), ("qty", Cell("2,0 Stk"), "2pcs"), ("qty", Cell("2,5 ltr"), "2.5l"),
        ("qty", Cell("4.0", "number"), "4"), ("weight_kg", Cell("0,4 kg"), "0.4kg"), ("unit", Cell("Each"), "C62"),
        ("unit", Cell("ltr."), "LTR"), ("unit", Cell("MTR"), "MTR"), ("one_time_use", Cell("Y"), "1"),
        ("one_time_use", Cell("no", "yes-no"), "0"), ("share", Cell("51 %"), "0.51"),
        ("share", Cell("0.51", "number"), "0.51"),
        ("lead_working_days", Cell("2 working days"), "2"), ("date", Cell("2027-03-01 08:30", "date"), "2027-03-01"),
        ("time", Cell("2027-03-01 08:30", "date"), "08:30"), ("cutoff", Cell("5 pm"), "17:00"),
        ("cutoff", Cell("12:30 am"), "00:30"),
        ("cutoff", Cell("17.30"), "17:30"), ("order_days", Cell("Monday to Friday"), "Mon-Fri"),
        ("order_days", Cell("tuesday and Thu"), "Tue;Thu"), ("status", Cell("Completed"), "done"),
        ("part", Cell("1234", "number"), "1234"), ("part", Cell("DS\xa01"), "DS 1"), ("part", Cell("'=1+1"), "=1+1"),
        ("part", Cell("-"), "-"), ("gtin", Cell("-"), ""), ("gtin", Cell("9520000000028", "number"), "9520000000028"),
        ("description", Cell("none"), "none"), ("kind", Cell("Van"), "van"),
    ],
)  # fmt: skip
def test_cells_are_read_as_the_folder_has_them(column: str, cell: Cell, means: str) -> None:
    assert tidy(column, cell, Ways(mark="," if "," in cell.text else ".")) == means


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("part", Cell("2027-03-01", "date"), "turned into a date"), ("part", Cell("1-Mar"), "turned into a date"),
        ("part", Cell("1.2E+05"), "cut short"), ("gtin", Cell("9,52E+12"), "cut short"),
        ("part", Cell("1234567890123456", "number"), "cut short"), ("cost", Cell("2027-03-01", "date"), "is a date in"),
        ("cost", Cell("5%"), "not a number"), ("cost", Cell("12", "number", "€"), "is in EUR"),
        ("unit", Cell("box"), "no unit"),
        ("one_time_use", Cell("maybe"), "neither yes nor no"), ("status", Cell("lost"), "not booked"),
        ("date", Cell("45000", "number"), "a number in the spreadsheet"), ("time", Cell("8", "number"), "not a time"),
        ("time", Cell("0.25", "number"), "is a number in the spreadsheet, not a time"),
        ("cutoff", Cell("8.25", "number"), "is a number in the spreadsheet, not a time"),
        ("share", Cell("ca 50%"), "is not a share"), ("probability", Cell("50 of 100 %"), "is not a share"),
        ("time", Cell("soon"), "not a time"), ("cost", Cell("yes", "yes-no"), "yes or no in"),
    ],
)  # fmt: skip
def test_what_cannot_be_known_is_told_and_not_guessed(column: str, cell: Cell, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        tidy(column, cell, Ways())


def test_a_number_that_the_ledger_knows_is_taken_whatever_it_looks_like() -> None:
    assert tidy("part", Cell("1-Mar"), Ways(known=frozenset({"1-Mar"}))) == "1-Mar"


def test_units_are_read_by_recommendation_20_codes() -> None:
    """UN/ECE Recommendation 20: C62 one, H87 piece, PR pair, LTR litre, MTR metre, KGM kilogram."""
    codes = {"H87": "C62", "PR": "PR", "LTR": "LTR", "MTR": "MTR", "KGM": "KGM", "C62": "C62"}
    assert {code: tidy("unit", Cell(code), Ways()) for code in codes} == codes


def test_the_starter_workbook_opens_with_a_heading_for_every_column_and_no_rows(tmp_path: Path) -> None:
    from vanstock.exchange.starter import starter_workbook

    assert starter_workbook() == starter_workbook()
    (tmp_path / "s.xlsx").write_bytes(starter_workbook())
    book = load_workbook(tmp_path / "s.xlsx")
    assert book.sheetnames == ["notes", *(sheet.file.removesuffix(".csv") for sheet in sheets.ALL)]
    for sheet in sheets.ALL:
        page = book[sheet.file.removesuffix(".csv")]
        heads = [cell.value for cell in page[1]]
        assert heads == [f"{name} *" if name in sheet.required else name for name in sheet.columns]
        assert all(cell.comment and "Example" in cell.comment.text for cell in page[1])
        assert (page.max_row, page.freeze_panes) == (1, "B2")


def test_the_starter_workbook_offers_what_cells_take(tmp_path: Path) -> None:
    from vanstock.exchange.starter import starter_workbook

    (tmp_path / "s.xlsx").write_bytes(starter_workbook())
    book = load_workbook(tmp_path / "s.xlsx")
    rules = {
        (page.title, page[f"{str(rule.sqref).split(':')[0][0]}1"].value.rstrip(" *")): rule
        for page in book.worksheets[1:]
        for rule in page.data_validations.dataValidation
    }
    assert rules["parts", "unit"].formula1 == '"C62,PR,LTR,MTR,KGM"'
    assert rules["jobs", "status"].formula1 == '"booked,done,cancelled"'
    assert "suppliers!$A$2" in rules["parts", "supplier"].formula1
    assert "families!$A$2" in rules["fits", "family"].formula1
    assert (rules["parts", "supplier"].errorStyle, rules["parts", "unit"].errorStyle) == ("warning", None)
    assert (rules["usual", "probability"].formula1, rules["usual", "probability"].formula2) == ("0", "1")
    assert rules["jobs", "date"].type == "date"


def test_numbers_of_parts_are_text_in_the_starter_workbook_so_that_no_nought_is_lost(tmp_path: Path) -> None:
    """ECMA-376 part 1, 18.8.30: the number format 49 is `@`, text."""
    from lxml import etree

    from vanstock.exchange.starter import starter_workbook

    (tmp_path / "s.xlsx").write_bytes(starter_workbook())
    spaces = {"x": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
    with zipfile.ZipFile(tmp_path / "s.xlsx") as book:
        styles = etree.fromstring(book.read("xl/styles.xml"))
        formats = [one.get("numFmtId") for one in styles.findall("x:cellXfs/x:xf", spaces)]
        for number, sheet in enumerate(sheets.ALL, 2):
            page = etree.fromstring(book.read(f"xl/worksheets/sheet{number}.xml"))
            shown = {}
            for column in page.findall("x:cols/x:col", spaces):
                for place in range(int(column.get("min", "0")), int(column.get("max", "0")) + 1):
                    shown[place] = formats[int(column.get("style", "0"))]
            ids = [place for place, name in enumerate(sheet.columns, 1) if KIND_OF.get(name) == "number"]
            assert {shown[place] for place in ids} <= {"49"}, sheet.file

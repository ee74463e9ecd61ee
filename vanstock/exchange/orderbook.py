"""An order as a workbook for a spreadsheet program: one sheet, numbers as numbers, sums that follow a change.

Every text is written as text, so nothing in it runs as a formula, now or when the cell is edited; the same order gives
the same bytes. Knows nothing of files, and expects texts that print; called by `orderdocs`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time
from decimal import Decimal
from io import BytesIO
from typing import Any, NamedTuple

from vanstock.errors import BadValue
from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import format_money, format_price, format_qty, unit

_COLUMNS = (
    ("line", 5), ("your number", 18), ("our number", 18), ("description", 44), ("GTIN", 16), ("quantity", 11),
    ("unit", 6), ("packs", 8), ("pack size", 10), ("price", 12), ("cost", 14),
)  # fmt: skip
_COST = len(_COLUMNS) - 1
_OPTIONS = {
    "in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False,
}  # fmt: skip
_MONEY = "#,##0.00"
_A4 = 9


class _Page(NamedTuple):
    """The sheet being written, and its book's formats by what they are for."""

    sheet: Any
    looks: Any

    def text(self, row: int, column: int, words: str, look: str = "text") -> None:
        """A cell that stays text; raises `BadValue` where no cell can hold it."""
        if self.sheet.write_string(row, column, words, self.looks(look)):
            raise BadValue("the order holds a text too long for a spreadsheet cell: shorten its note")

    def number(self, row: int, column: int, digits: str, look: str = "") -> None:
        """A number that shows the decimals in its digits, or as `look` says."""
        decimals = len(digits.partition(".")[2])
        shown = look or ("0." + "0" * decimals if decimals else "0")
        self.sheet.write_number(row, column, Decimal(digits), self.looks(shown))


def as_workbook(doc: OrderDoc, title: str, facts: Sequence[str]) -> bytes:
    """The whole file: `title` and `facts` above the headings, the lines, and their sums below."""
    from xlsxwriter import Workbook  # type: ignore[import-untyped]

    held = BytesIO()
    book = Workbook(held, _OPTIONS)
    book.set_properties({"title": title, "created": datetime.combine(doc.day, time())})
    page = _Page(book.add_worksheet("order"), _looks(book))
    page.text(0, 0, title, "title")
    for row, fact in enumerate(facts, 1):
        page.text(row, 0, fact, "fact")
    first = len(facts) + 2
    _lay_out(page, first - 1)
    for row, line in enumerate(doc.lines, first):
        _write_line(page, row, row - first + 1, line)
    _write_sums(page, doc, first)
    book.close()
    return held.getvalue()


def _looks(book: Any) -> Any:
    """A way to ask the book for a format: one of the named ones, or a number format."""
    wrapped = {"quote_prefix": True, "text_wrap": True, "valign": "top"}
    named = {
        "title": {"bold": True, "font_size": 14, "quote_prefix": True},
        "fact": {"quote_prefix": True},
        "text": wrapped,
        "heading": wrapped | {"bold": True, "bottom": 1},
        "figure heading": wrapped | {"bold": True, "bottom": 1, "align": "right"},
        "sum": {"bold": True, "num_format": _MONEY},
        "sum name": {"bold": True, "align": "right"},
    }
    made: dict[str, Any] = {}

    def look(name: str) -> Any:
        if name not in made:
            made[name] = book.add_format(named.get(name, {"num_format": name, "valign": "top"}))
        return made[name]

    return look


def _lay_out(page: _Page, headings: int) -> None:
    """The headings and the width of each column; the headings stay in sight and are printed on every sheet of A4."""
    for column, (name, width) in enumerate(_COLUMNS):
        figures = name in ("line", "quantity", "packs", "pack size", "price", "cost")
        page.text(headings, column, name, "figure heading" if figures else "heading")
        page.sheet.set_column(column, column, width)
    page.sheet.freeze_panes(headings + 1, 0)
    page.sheet.repeat_rows(headings)
    page.sheet.set_paper(_A4)
    page.sheet.set_landscape()
    page.sheet.fit_to_pages(1, 0)


def _write_line(page: _Page, row: int, number: int, line: OrderDocLine) -> None:
    part, code = line.part, line.part.unit
    page.number(row, 0, str(number))
    for column, words in enumerate((part.supplier_part, part.part, part.description, part.gtin), 1):
        page.text(row, column, words)
    page.number(row, 5, format_qty(line.qty, code))
    page.text(row, 6, unit(code).symbol or "each")
    if part.pack_size > 1:
        page.number(row, 7, str(line.packs))
        page.number(row, 8, format_qty(part.pack_size, code))
    page.number(row, 9, format_price(line.price))
    page.number(row, _COST, format_money(line.cost), _MONEY)


def _write_sums(page: _Page, doc: OrderDoc, first: int) -> None:
    """Goods and total as formulas with their values beside them: read right where nothing is worked out anew."""
    goods = first + len(doc.lines)
    for row, name in enumerate(("goods", "carriage", f"total ex VAT, {doc.currency}"), goods):
        page.text(row, _COST - 1, name, "sum name")
    column = chr(ord("A") + _COST)
    sums = (f"=SUM({column}{first + 1}:{column}{goods})", "", f"={column}{goods + 1}+{column}{goods + 2}")
    for row, (formula, pence) in enumerate(zip(sums, (doc.goods, doc.carriage, doc.total), strict=True), goods):
        if formula:
            page.sheet.write_formula(row, _COST, formula, page.looks("sum"), Decimal(format_money(pence)))
        else:
            page.number(row, _COST, format_money(pence), "sum")

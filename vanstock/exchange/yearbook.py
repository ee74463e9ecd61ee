"""A workbook of several tables for a spreadsheet program: numbers as numbers, sums as formulas with values beside.

Every text is written as text, so nothing in it runs as a formula; the same tables give the same bytes. Knows nothing of
what the figures mean; called by `routines.yearfile`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

from vanstock.exchange.csvfile import write_rows
from vanstock.exchange.inplace import put_bytes
from vanstock.quantity import format_money

ENDINGS = (".csv", ".xlsx")
_OPTIONS = {
    "in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False,
}  # fmt: skip
_MONEY = "#,##0.00;[Red]-#,##0.00"
_A4 = 9
_LONGEST = 32_000
Cell = str | int | Decimal
"""Text, pence, or a number that shows the decimals in its digits."""


class Head(NamedTuple):
    """A column: its heading, its width in letters, and whether it holds pence, which are added up below."""

    name: str
    width: int
    money: bool = False


class Leaf(NamedTuple):
    """One sheet: its name on the tab, what stands above, its columns and rows; `summed` adds its money up below."""

    name: str
    above: tuple[str, ...]
    heads: tuple[Head, ...]
    rows: Sequence[tuple[Cell, ...]]
    summed: bool = True


def write_table(path: Path, leaf: Leaf) -> None:
    """Write one table as CSV, without what stands above it and without sums; raises `VanstockError`."""
    write_rows(path, [head.name for head in leaf.heads], ([_plain(cell) for cell in row] for row in leaf.rows))


def _plain(cell: Cell) -> str:
    return format_money(cell) if isinstance(cell, int) else str(cell)


def write_book(path: Path, leaves: Sequence[Leaf], title: str, day: date) -> None:
    """Write every table as a sheet of a workbook, in place of an old file or not at all; raises `VanstockError`."""
    put_bytes(path, as_workbook(leaves, title, day))


def as_workbook(leaves: Sequence[Leaf], title: str, day: date) -> bytes:
    """The whole file, dated with the day it is about."""
    from xlsxwriter import Workbook  # type: ignore[import-untyped]

    held = BytesIO()
    book = Workbook(held, _OPTIONS)
    book.set_properties({"title": title, "created": datetime.combine(day, time())})
    looks = _looks(book)
    for leaf in leaves:
        _write_leaf(book.add_worksheet(leaf.name), leaf, looks)
    book.close()
    return held.getvalue()


def _looks(book: Any) -> dict[str, Any]:
    text = {"quote_prefix": True, "text_wrap": True, "valign": "top"}
    wanted = {
        "title": {"bold": True, "font_size": 14, "quote_prefix": True},
        "above": {"quote_prefix": True},
        "text": text,
        "heading": text | {"bold": True, "bottom": 1},
        "figure heading": text | {"bold": True, "bottom": 1, "align": "right"},
        "money": {"num_format": _MONEY, "valign": "top"},
        "sum": {"num_format": _MONEY, "bold": True, "top": 1},
        "sum name": {"bold": True, "top": 1},
    }
    looks = {name: book.add_format(look) for name, look in wanted.items()}
    numbers = {places: "0." + "0" * places if places else "0" for places in range(7)}
    return looks | {shown: book.add_format({"num_format": shown, "valign": "top"}) for shown in numbers.values()}


def _write_leaf(sheet: Any, leaf: Leaf, looks: dict[str, Any]) -> None:
    for row, line in enumerate(leaf.above):
        sheet.write_string(row, 0, _printable(line), looks["above" if row else "title"])
    first = len(leaf.above) + 2 if leaf.above else 1
    _lay_out(sheet, leaf, first - 1, looks)
    for row, cells in enumerate(leaf.rows, first):
        for column, cell in enumerate(cells):
            _write_cell(sheet, (row, column), cell, looks)
    if leaf.summed:
        _write_sums(sheet, leaf, first, looks)


def _lay_out(sheet: Any, leaf: Leaf, headings: int, looks: dict[str, Any]) -> None:
    """Headings that stay in sight and are printed on every sheet of A4."""
    for column, head in enumerate(leaf.heads):
        numbers = head.money or any(isinstance(row[column], Decimal) for row in leaf.rows[:1])
        sheet.write_string(headings, column, head.name, looks["figure heading" if numbers else "heading"])
        sheet.set_column(column, column, head.width)
    sheet.freeze_panes(headings + 1, 0)
    sheet.repeat_rows(headings)
    sheet.set_paper(_A4)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)


def _write_cell(sheet: Any, at: tuple[int, int], cell: Cell, looks: dict[str, Any]) -> None:
    if isinstance(cell, str):
        sheet.write_string(*at, _printable(cell)[:_LONGEST], looks["text"])
    elif isinstance(cell, int):
        sheet.write_number(*at, Decimal(format_money(cell)), looks["money"])
    else:
        places = min(max(-int(cell.as_tuple().exponent), 0), 6)
        sheet.write_number(*at, cell, looks["0." + "0" * places if places else "0"])


def _write_sums(sheet: Any, leaf: Leaf, first: int, looks: dict[str, Any]) -> None:
    """Sums as formulas with their values beside them: read right where nothing is worked out anew."""
    below = first + len(leaf.rows)
    for column, head in enumerate(leaf.heads):
        if head.money:
            letter = _letters(column)
            total = sum(cell for row in leaf.rows if isinstance(cell := row[column], int))
            formula = f"=SUM({letter}{first + 1}:{letter}{below})" if leaf.rows else "=0"
            sheet.write_formula(below, column, formula, looks["sum"], Decimal(format_money(total)))
        else:
            sheet.write_string(below, column, "" if column else "all", looks["sum name"])


def _letters(column: int) -> str:
    """The letters that name a column, from 0 for A.

    >>> _letters(0), _letters(25), _letters(26)
    ('A', 'Z', 'AA')
    """
    before, last = divmod(column, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + last)


def _printable(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)

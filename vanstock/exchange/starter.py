"""The starter workbook: one sheet for each file of the import folder, ready to fill in, and a sheet of notes.

Headings stay in sight and have a comment each; what every row needs has a star. Cells take what their column takes:
lists to choose from, also of what other sheets name, dates, numbers. Numbers of parts are text, so that no nought is
lost. Examples stand in the notes alone. Called by `routines.bookfile`.
"""

from __future__ import annotations

from datetime import date, datetime
from io import BytesIO
from typing import Any

from vanstock.exchange import sheets
from vanstock.exchange.csvfile import Sheet
from vanstock.exchange.knowncolumns import Known, known_columns
from vanstock.exchange.tidy import KIND_OF

NOTES = "notes"
LAST_ROW = 5_000
_MADE = datetime(2027, 1, 1)  # noqa: DTZ001 - always the same, so that the file is too
_TEXT = 49
"""The number format for text (ECMA-376 part 1, 18.8.30)."""
_A_NUMBER = {"error_title": "a number", "error_message": "Write a number of zero or more."}
_CHOICES = {
    "unit": ["C62", "PR", "LTR", "MTR", "KGM"], "one_time_use": ["yes", "no"], "kind": ["van", "store"],
    "status": ["booked", "done", "cancelled"],
}  # fmt: skip
_NAMED_IN = {
    "supplier": ("suppliers", "supplier"), "family": ("families", "family"), "part": ("parts", "part"),
    "also": ("parts", "part"), "superseded_by": ("parts", "part"), "component": ("parts", "component"),
    "job": ("jobs", "job"),
}  # fmt: skip
"""Columns that name a row of another sheet, and where."""
_FORMATS = {
    "price": "0.00##", "money": "0.00", "date": "yyyy-mm-dd", "quantity": "General", "share": "General",
    "days": "General", "plain number": "General",
}  # fmt: skip
_WIDTHS = {"description": 36, "name": 28, "email": 28, "hazard": 22, "component": 24, "readings": 24}
_NOTE_COLUMNS = (("sheet", 12), ("column", 20), ("needed", 8), ("what it is", 60), ("example", 26))
_FILL_FIRST = (
    "1. suppliers: who you buy from, with a short code of your own.",
    "2. families: the vehicles you work on, those with one engine and exhaust layout together.",
    "3. parts: what you carry. Give parts that serve for the same one component.",
    "4. fits: which part serves which family; * is every family. goes_with: what is fitted new together with a part.",
    "5. stock: what lies in the van and the store, counted.",
    "6. jobs and used: the jobs booked, and as many past ones as you have, with what they took.",
    "7. usual: what a kind of job usually takes, where you have few past jobs; what goes_with brings needs no row. "
    "places: more vans and stores.",
)
_ABOUT = (
    "Sheets and columns that you have nothing for can stay empty. A heading with a star * is needed in every row.",
    "Keep the names of the sheets and the headings. Take nothing from the examples below: they are invented.",
    "Units: C62 is pieces, PR pairs, LTR litres, MTR metres, KGM kilograms. A pack is no unit: a can of 5 litres has "
    "unit LTR and pack_size 5, and its cost is that of one litre.",
    "Costs are without VAT, in the currency of the ledger (setting currency). Quantities are in the part's unit.",
)


def starter_workbook() -> bytes:
    """The whole file; always the same bytes."""
    from xlsxwriter import Workbook  # type: ignore[import-untyped]

    held = BytesIO()
    book = Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "vanstock starter workbook", "created": _MADE})
    looks = _looks(book)
    _write_notes(book.add_worksheet(NOTES), looks)
    for sheet in sheets.ALL:
        _write_sheet(book.add_worksheet(sheet.file.removesuffix(".csv")), sheet, looks)
    book.close()
    return held.getvalue()


def _looks(book: Any) -> dict[str, Any]:
    heading = {"bold": True, "bottom": 2, "text_wrap": True, "valign": "top", "num_format": _TEXT}
    looks = {
        "heading": book.add_format({**heading, "bold": False, "italic": True}),
        "needed": book.add_format(heading),
        "title": book.add_format({"bold": True, "font_size": 14}),
        "text": book.add_format({"num_format": _TEXT, "text_wrap": True, "valign": "top"}),
        "plain": book.add_format({"num_format": _TEXT}),
    }
    return looks | {kind: book.add_format({"num_format": shown}) for kind, shown in _FORMATS.items()}


def _write_notes(page: Any, looks: dict[str, Any]) -> None:
    page.write_string(0, 0, "Vanstock: the starter workbook", looks["title"])
    row = 2
    for title, lines in (("What to fill in first", _FILL_FIRST), ("How", _ABOUT)):
        page.write_string(row, 0, title, looks["needed"])
        for line in lines:
            row += 1
            page.merge_range(row, 0, row, 4, line, looks["text"])
            page.set_row(row, 32 if len(line) > 110 else 16)
        row += 2
    for column, (head, width) in enumerate(_NOTE_COLUMNS):
        page.write_string(row, column, head, looks["needed"])
        page.set_column(column, column, width)
    for sheet in sheets.ALL:
        for name in sheet.columns:
            row += 1
            known = known_columns()[sheet.file.removesuffix(".csv"), name]
            needed = "yes" if name in sheet.required else ""
            for column, text in enumerate((known.sheet, name, needed, known.what, known.example)):
                page.write_string(row, column, text, looks["text"])


def _write_sheet(page: Any, sheet: Sheet, looks: dict[str, Any]) -> None:
    for place, name in enumerate(sheet.columns):
        known = known_columns()[sheet.file.removesuffix(".csv"), name]
        needed = name in sheet.required
        page.write_string(0, place, f"{name} *" if needed else name, looks["needed" if needed else "heading"])
        page.write_comment(0, place, _comment(known, needed), {"x_scale": 1.6, "y_scale": 0.9})
        look = looks.get(KIND_OF.get(name, ""), looks["plain"])
        page.set_column(place, place, _WIDTHS.get(name, max(12, len(name) + 3)), look)
        rule = _rule(sheet, place, name)
        if rule:
            page.data_validation(1, place, LAST_ROW, place, rule)
    page.freeze_panes(1, 1)


def _comment(known: Known, needed: bool) -> str:
    always = "Needed in every row. " if needed else ""
    return f"{known.what[0].upper()}{known.what[1:]}. {always}Example: {known.example}"


def _rule(sheet: Sheet, place: int, name: str) -> dict[str, Any]:
    """What the cells of a column take; nothing where any text will do."""
    if name in _CHOICES:
        words = _CHOICES[name]
        return {"validate": "list", "source": words, "error_message": f"Choose one of {', '.join(words)}."}
    stem = sheet.file.removesuffix(".csv")
    other = _NAMED_IN.get(name)
    if other and other != (stem, name):
        return _named_elsewhere(*other)
    if place == 0 and len(sheet.required) < 3 and (stem, name) in _NAMED_IN.values():
        return _only_once()
    return _number_rule(name)


def _named_elsewhere(stem: str, column: str) -> dict[str, Any]:
    """A list of what another sheet names so far; another name is asked about, as the ledger may have it already."""
    letter = _letter(stem, column)
    names = f"{stem}!${letter}$2:${letter}${LAST_ROW + 1}"
    return {
        "validate": "list", "source": f"=OFFSET({stem}!${letter}$2,0,0,MAX(1,COUNTA({names})),1)",
        "error_type": "warning", "error_title": f"not on the sheet {stem}",
        "error_message": f"Not on the sheet {stem}. Keep it if vanstock has it already, or if it is * for every one.",
    }  # fmt: skip


def _letter(stem: str, column: str) -> str:
    sheet = next(one for one in sheets.ALL if one.file == f"{stem}.csv")
    return chr(ord("A") + sheet.columns.index(column))


def _only_once() -> dict[str, Any]:
    return {
        "validate": "custom", "value": f"=COUNTIF($A$2:$A${LAST_ROW + 1},A2)=1", "error_type": "warning",
        "error_title": "given already", "error_message": "Another row has this already: each needs one of its own.",
    }  # fmt: skip


def _number_rule(name: str) -> dict[str, Any]:
    kind = KIND_OF.get(name, "")
    if kind == "date":
        return {"validate": "date", "criteria": "between", "minimum": date(1990, 1, 1), "maximum": date(2100, 12, 31),
                "error_message": "Write a date, like 2027-03-01."}  # fmt: skip
    if kind == "share":
        return {"validate": "decimal", "criteria": "between", "minimum": 0, "maximum": 1,
                "error_message": "Write a number from 0 to 1."}  # fmt: skip
    if name.startswith("year_"):
        return {"validate": "integer", "criteria": "between", "minimum": 1900, "maximum": 2100,
                "error_message": "Write a year, like 2014."}  # fmt: skip
    if kind == "days":
        return {"validate": "integer", "criteria": ">=", "value": 0, **_A_NUMBER}
    if kind in ("price", "money", "quantity", "plain number"):
        return {"validate": "decimal", "criteria": ">=", "value": 0, **_A_NUMBER}
    return {}

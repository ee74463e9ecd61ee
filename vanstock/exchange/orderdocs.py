"""An order as a supplier can take it: the text of an e-mail, a table, a page to print, a workbook, a UBL document.

Every form says the same in the same words (see `Letter`); `orderbook` and `ubl` make the last two. All money is ex VAT.
Knows no ledger and no clock, and sends nothing. Called by the routine that writes an order's documents.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from vanstock.errors import BadValue, VanstockError
from vanstock.exchange import orderbook, ubl
from vanstock.exchange.csvfile import write_rows
from vanstock.exchange.inplace import put_bytes
from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import format_money, format_price, format_qty, show_qty, unit

ENDINGS = (".txt", ".csv", ".html", ".xlsx", ".xml")
CSV_COLUMNS = (
    "order", "date", "line", "supplier_part", "part", "description", "gtin", "qty", "unit", "packs", "pack_size",
    "price", "cost", "currency", "expected",
)  # fmt: skip
WIDTH = 78
"""RFC 5322, 2.1.1: lines should be no longer, lest a mail program break them."""
_FILE_NAME = re.compile(r"[^\W_][\w.-]{0,98}\w|[^\W_]")
_LABEL = 15
_END_OF_DAY = time(23, 59)


class Line(NamedTuple):
    """One line in words: the supplier's number for the part, the firm's own, what it is, and the figures."""

    number: str
    yours: str
    ours: str
    what: str
    gtin: str
    quantity: str
    packs: str
    price: str
    cost: str


class Letter(NamedTuple):
    """The order in words: its title, what there is to know of it by label, its lines, and its sums by label."""

    title: str
    facts: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]
    sums: tuple[tuple[str, str], ...]


def in_words(doc: OrderDoc) -> Letter:
    """The order in words that print on one line each; what is not known is left out."""
    doc = _printable(doc)
    supplier = doc.supplier.name or doc.supplier.supplier
    facts = (
        ("To", supplier),
        ("Ordered by", doc.firm),
        ("Ordered on", _day(doc.day)),
        ("Must be in by", "" if doc.cutoff is None else _moment(doc.cutoff)),
        ("Expected", "" if doc.expected is None else _day(doc.expected)),
        ("Note", doc.note),
        ("Amounts", f"in {doc.currency}, ex VAT"),
    )
    sums = (("goods", doc.goods), ("carriage", doc.carriage), ("total ex VAT", doc.total))
    return Letter(
        f"Order {doc.number} from {doc.firm}" if doc.firm else f"Order {doc.number}",
        tuple((label, words) for label, words in facts if words),
        tuple(_line(number, line) for number, line in enumerate(doc.lines, 1)),
        tuple((label, format_money(pence)) for label, pence in sums),
    )


def _line(number: int, line: OrderDocLine) -> Line:
    part, symbol = line.part, unit(line.part.unit).symbol
    price = format_price(line.price)
    return Line(
        str(number), part.supplier_part, part.part, part.description, part.gtin, show_qty(line.qty, part.unit),
        _packs(line), f"{price} per {symbol}" if symbol else price, format_money(line.cost),
    )  # fmt: skip


def _packs(line: OrderDocLine) -> str:
    """`2 packs of 5 L`; nothing for a part that comes singly."""
    if line.part.pack_size <= 1:
        return ""
    noun = "pack" if line.packs == 1 else "packs"
    return f"{line.packs} {noun} of {show_qty(line.part.pack_size, line.part.unit)}"


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B} {day.year}"


def _moment(moment: datetime) -> str:
    """The day, and the time of day unless that is its end."""
    day = _day(moment.date())
    return day if moment.time() == _END_OF_DAY else f"{day}, {moment:%H:%M}"


def _printable(doc: OrderDoc) -> OrderDoc:
    """The order with a space for every kind of space and line break in its texts, and a question mark for whatever else
    does not print: no form could hold all of that, and each would show it in another way."""
    lines = tuple(
        line._replace(
            part=line.part._replace(
                part=_plain(line.part.part), description=_plain(line.part.description), gtin=_plain(line.part.gtin),
                supplier_part=_plain(line.part.supplier_part),
            )
        )
        for line in doc.lines
    )  # fmt: skip
    supplier = doc.supplier._replace(
        supplier=_plain(doc.supplier.supplier), name=_plain(doc.supplier.name), email=_plain(doc.supplier.email)
    )
    return doc._replace(
        supplier=supplier, lines=lines, number=_plain(doc.number), firm=_plain(doc.firm), note=_plain(doc.note),
        currency=_plain(doc.currency),
    )  # fmt: skip


def _plain(text: str) -> str:
    if not text.isprintable():
        text = "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)
    return text.strip()


def as_text(doc: OrderDoc) -> str:
    """The text of an e-mail, its subject as the first line.

    No line is wider than `WIDTH`, begins with anything but a label or spaces, or ends with a space: so none is broken,
    quoted (RFC 3676, 4.5), taken for a signature or for the head of another message ("From ", RFC 4155), or stuffed.
    """
    letter = in_words(doc)
    subject = next(iter(_wrapped(letter.title, WIDTH)))
    facts = [row for label, words in letter.facts for row in _labelled(label, words)]
    return "\n".join([subject, "", *facts, "", *_table(letter), "", *_sums(letter), ""])


def _labelled(label: str, words: str) -> Iterator[str]:
    for row in _wrapped(words, WIDTH - _LABEL):
        yield f"{label:<{_LABEL}}{row}"
        label = ""


def _table(letter: Letter) -> Iterator[str]:
    """Each line's number and figures under their headings, and what it is below."""
    left = len(str(len(letter.lines))) + 4
    headings = ("quantity", "price", "cost")
    rows = [(line.quantity, line.price, line.cost) for line in letter.lines]
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    room = WIDTH - left - sum(width + 2 for width in widths)

    def row(number: str, name: str, figures: Sequence[str]) -> str:
        gap = " " * (room - _columns(name))
        aligned = "".join(f"  {figure:>{width}}" for figure, width in zip(figures, widths, strict=True))
        return f"{number:>{left - 2}}  {name}{gap}{aligned}"

    yield row("", "your number", headings)
    for line, figures in zip(letter.lines, rows, strict=True):
        name = line.yours or f"{line.ours} (ours)"
        *above, last = _wrapped(name, WIDTH - left)
        if _columns(last) > room:
            above, last = [*above, last], ""
        for at, piece in enumerate(above):
            yield f"{line.number if not at else '':>{left - 2}}  {piece}"
        yield row("" if above else line.number, last, figures)
        ours = f"our number {line.ours}" if line.yours and line.yours != line.ours else ""
        gtin = f"GTIN {line.gtin}" if line.gtin else ""
        for detail in filter(None, (line.what, ", ".join(filter(None, (line.packs, ours, gtin))))):
            yield from (f"{'':{left}}{piece}" for piece in _wrapped(detail, WIDTH - left))


def _sums(letter: Letter) -> Iterator[str]:
    amounts = max(len(amount) for _, amount in letter.sums)
    for label, amount in letter.sums:
        yield f"{label:>{WIDTH - amounts - 2}}  {amount:>{amounts}}"


def _columns(text: str) -> int:
    """How many columns the text takes: two for a wide letter (Unicode Annex 11), at least one for every other, because
    mail counts them."""
    return sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def _wrapped(text: str, width: int) -> list[str]:
    """The text in lines of so many columns, broken between words where that can be."""
    rows = [""]
    for word in text.split(" "):
        joined = f"{rows[-1]} {word}" if rows[-1] else word
        if _columns(joined) <= width:
            rows[-1] = joined
            continue
        rows.append("")
        for letter in word:
            if _columns(rows[-1] + letter) > width:
                rows.append("")
            rows[-1] += letter
    return [row.rstrip() for row in rows if row.strip()] or [""]


def as_csv(path: Path, doc: OrderDoc) -> None:
    """Write the lines as a CSV table, every row with its order; `qty` and `price` are in the unit of the row, a UN/ECE
    Recommendation 20 code. The carriage is no line. Raises `VanstockError` when the file cannot be written."""
    doc = _printable(doc)
    expected = "" if doc.expected is None else doc.expected.isoformat()
    rows = (
        (
            doc.number, doc.day.isoformat(), str(number), line.part.supplier_part, line.part.part,
            line.part.description, line.part.gtin, format_qty(line.qty, line.part.unit), line.part.unit,
            str(line.packs), format_qty(line.part.pack_size, line.part.unit), format_price(line.price),
            format_money(line.cost), doc.currency, expected,
        )
        for number, line in enumerate(doc.lines, 1)
    )  # fmt: skip
    write_rows(path, CSV_COLUMNS, rows)


def as_html(path: Path, doc: OrderDoc) -> None:
    """Write the order as a page to print on A4; raises `VanstockError` when the file cannot be written."""
    from jinja2 import Environment, StrictUndefined

    house = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = (files("vanstock.exchange") / "templates" / "order.html.j2").read_text(encoding="utf-8")
    put_bytes(path, house.from_string(template).render(letter=in_words(doc)).encode())


def as_xlsx(path: Path, doc: OrderDoc) -> None:
    """Write the order as a workbook; raises `VanstockError` when the file cannot be written."""
    letter = in_words(doc)
    facts = dict(letter.facts)
    note = facts.pop("Note", "")
    above = "; ".join(f"{label} {words}" for label, words in facts.items())
    put_bytes(path, orderbook.as_workbook(_printable(doc), letter.title, [above, note] if note else [above]))


def as_xml(path: Path, doc: OrderDoc) -> None:
    """Write the order as a UBL 2.1 Order; raises `VanstockError` when the file cannot be written."""
    letter = in_words(doc)
    facts = dict(letter.facts)
    until = f"must be in by {facts['Must be in by']}" if "Must be in by" in facts else ""
    notes = [note for note in (facts.get("Note", ""), until, "all amounts are ex VAT") if note]
    put_bytes(path, ubl.as_xml(_printable(doc), notes, [line.packs for line in letter.lines]))


def _reason(error: Exception) -> str:
    return (error.strerror or str(error)) if isinstance(error, OSError) else "the name cannot be that of a file"


def write_all(folder: Path, doc: OrderDoc) -> tuple[Path, ...]:
    """Write the order in every form, named by its number, in place of what was there; returns the files in the order of
    `ENDINGS`. Every form is whole in a folder aside before the first is put in its place.

    Raises `BadValue` for an order that no document can be made of, `VanstockError` when a file cannot be written.
    """
    _check(doc)
    paths = tuple(folder / f"{doc.number}{ending}" for ending in ENDINGS)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(
            dir=folder, prefix=f".{doc.number}.", suffix=".part", ignore_cleanup_errors=True
        ) as aside:
            made = [Path(aside) / path.name for path in paths]
            made[0].write_text(as_text(doc), encoding="utf-8", newline="\n")
            for path, write in zip(made[1:], (as_csv, as_html, as_xlsx, as_xml), strict=True):
                write(path, doc)
            for path in paths:
                if path.is_dir():
                    raise VanstockError(f"cannot write {path}: a folder has that name: move or rename it")
            for path, target in zip(made, paths, strict=True):
                path.replace(target)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        raise VanstockError(f"cannot write order {doc.number} into {folder}: {_reason(error)}") from error
    return paths


def _check(doc: OrderDoc) -> None:
    """Raise `BadValue` for an order without lines or a name for its files, or whose lines are not its goods."""
    if not _FILE_NAME.fullmatch(doc.number):
        raise BadValue(f"order number {doc.number!r} cannot name a file: use letters, digits, - and .")
    if not doc.lines:
        raise BadValue(f"order {doc.number} has no lines: there is nothing to send")
    lines = sum(line.cost for line in doc.lines)
    if lines != doc.goods:
        raise BadValue(
            f"order {doc.number}: its lines cost {format_money(lines)} and its goods {format_money(doc.goods)}: "
            "look at the order's lines before sending it"
        )

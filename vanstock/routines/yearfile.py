"""The year as a file for the accountant: one table of parts and places as CSV, or a workbook of every table.

Every table comes from the same lines, so each adds up to the summary. No figure is worked out here but the cost of one
unit, which is shown and never added. Called by `cli.year`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from pathlib import Path

from vanstock.errors import BadValue
from vanstock.exchange.yearbook import ENDINGS, Cell, Head, Leaf, write_book, write_table
from vanstock.ledger.worth import WAYS
from vanstock.quantity import PRICE_SCALE, format_money, format_price, format_qty, round_half_up, unit
from vanstock.routines.session import Session
from vanstock.routines.slow import SlowStock, slow_stock
from vanstock.routines.value import ASK
from vanstock.routines.year import CLAIM_HEADS, HEADS, Sums, Year, YearLine

_MONEY = 13
_CHANGES = tuple(Head(HEADS[way], _MONEY, money=True) for way in WAYS)
_OPENING, _CLOSING = Head("stock at the start", _MONEY, money=True), Head("stock at the end", _MONEY, money=True)
CLAIMS = "claims on suppliers, outside the stock"
_PART = (Head("part", 18), Head("description", 40))


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name ends in .csv or .xlsx."""
    if path.suffix.lower() not in ENDINGS:
        raise BadValue(f"{path.name!r} ends in neither .csv nor .xlsx: name the file like year.xlsx")


def write_year(session: Session, path: Path, found: Year) -> None:
    """Write the year as its file's ending says; raises `BadValue` for another ending than .csv and .xlsx, and
    `VanstockError` when the file cannot be written."""
    check_ending(path)
    if path.suffix.lower() == ".csv":
        write_table(path, _every_line(found))
    else:
        write_book(path, leaves(found, slow_stock(session, found.last)), title(found), found.last)


def title(found: Year) -> str:
    """What the year is called: its days, and how far it has come."""
    so_far = "" if found.last == found.ends else f", so far to {found.last}"
    return f"stock from {found.first} to {found.ends}{so_far}"


def summary(found: Year) -> list[tuple[str, int]]:
    """The reconciliation line by line, in pence; a line of what is not explained only when there is such a thing."""
    total = found.total
    rows = [("stock at the start", total.opening)]
    rows += [(HEADS[way], total.changes[way]) for way in WAYS]
    if total.unexplained:
        rows.append(("not explained: run `vanstock check`", total.unexplained))
    return [*rows, ("stock at the end", total.closing)]


def claim_summary(found: Year) -> list[tuple[str, int]]:
    """What claims came to, in pence, outside the reconciliation; nothing where no claim came to any."""
    return [(CLAIM_HEADS[way], pence) for way, pence in found.claim_sums.items()] if found.claims else []


def leaves(found: Year, slow: SlowStock) -> list[Leaf]:
    """Every sheet of the workbook."""
    return [
        _summary(found), _groups("by component", "component", found.by_component()),
        _groups("by place", "place", found.by_place()), _months(found), _purchases(found), _closing(found),
        _counted(found), _claims(found), _slow(slow),
    ]  # fmt: skip


def notes(found: Year) -> list[str]:
    """What must be said beside the figures."""
    difference = found.fifo - found.total.closing
    same = "the same" if not difference else f"{format_money(abs(difference))} {'more' if difference > 0 else 'less'}"
    told = [
        f"{found.currency}; {found.basis}; money owed back by suppliers is not in it",
        f"first in, first out would make the stock at the end {format_money(found.fifo)}, {same}",
    ]
    if not found.since:
        told.append("the ledger holds no stock yet")
    elif found.since > found.last.isoformat():
        told.append(f"the ledger follows the stock only from {found.since} on")
    elif found.since > found.first.isoformat():
        told.append(f"the ledger follows the stock from {found.since} on: what lay there was brought in at first count")
    return told


def _summary(found: Year) -> Leaf:
    heads = (Head("what", 44), Head(f"value, {found.currency}", 16, money=True))
    above = (title(found), *notes(found), ASK)
    claims: list[tuple[Cell, ...]] = [("", ""), (CLAIMS, ""), *claim_summary(found)] if found.claims else []
    return Leaf("summary", above, heads, [*summary(found), *claims], summed=False)


def _groups(name: str, what: str, groups: Sequence[Sums]) -> Leaf:
    heads = (Head(what, 32), _OPENING, *_CHANGES, _CLOSING)
    return Leaf(name, (), heads, [_sums_row(group) for group in groups])


def _sums_row(group: Sums) -> tuple[Cell, ...]:
    return (group.name, group.opening, *(group.changes[way] for way in WAYS), group.closing)


def _months(found: Year) -> Leaf:
    """The opening and closing of months follow on each other: they are not to be added up."""
    heads = (Head("month", 10), _OPENING, *_CHANGES, _CLOSING)
    return Leaf("by month", (), heads, [_sums_row(month) for month in found.months], summed=False)


def _purchases(found: Year) -> Leaf:
    heads = (
        Head("supplier", 12), Head("name", 32), Head("bought, carriage included", 16, money=True),
        Head("sent back", 16, money=True), Head("kept", 16, money=True),
    )  # fmt: skip
    rows = []
    for row in found.purchases:
        known = found.suppliers.get(row.supplier)
        rows.append((row.supplier or "(none)", known.name if known else "", row.bought, row.sent_back,
                     row.bought + row.sent_back))  # fmt: skip
    return Leaf("purchases", (), heads, rows)


def _closing(found: Year) -> Leaf:
    heads = (
        Head("place", 10), *_PART, Head("component", 28), Head("quantity", 10), Head("unit", 6), Head("unit cost", 12),
        Head("value", _MONEY, money=True),
    )  # fmt: skip
    return Leaf("stock at the end", (), heads, list(_closing_rows(found.lines)))


def _closing_rows(lines: Iterable[YearLine]) -> Iterable[tuple[Cell, ...]]:
    for line in sorted(lines, key=lambda line: (line.place, line.part.component, line.part.part)):
        qty, value = line.closing
        if qty or value:
            part = line.part
            yield (line.place, part.part, part.description, part.component, Decimal(format_qty(qty, part.unit)),
                   unit(part.unit).symbol or "each", _unit_cost(qty, value, part.unit), value)  # fmt: skip


def _unit_cost(qty: int, value: int, code: str) -> Decimal | str:
    """What one unit costs on the average of its place, to four decimals; nothing where there is none."""
    if not qty:
        return ""
    top, bottom = value * unit(code).scale * PRICE_SCALE, qty * 100
    price = round_half_up(top, bottom) if bottom > 0 else round_half_up(-top, -bottom)
    return Decimal(format_price(price))


def _counted(found: Year) -> Leaf:
    heads = (
        Head("date", 11), Head("what", 18), *_PART, Head("place", 10), Head("quantity", 10), Head("unit", 6),
        Head("value", _MONEY, money=True), Head("note", 40),
    )  # fmt: skip
    rows = []
    for row in found.counted:
        part = found.parts[row.part]
        rows.append((row.day, row.way, row.part, part.description, row.place, Decimal(format_qty(row.qty, part.unit)),
                     unit(part.unit).symbol or "each", row.value, row.note))  # fmt: skip
    return Leaf("counts and write-offs", (), heads, rows)


def _claims(found: Year) -> Leaf:
    heads = (
        Head("date", 11), Head("what", 38), *_PART, Head("job", 10), Head("value", _MONEY, money=True),
        Head("claims", 24),
    )  # fmt: skip
    rows = [(row.day, CLAIM_HEADS[row.way], row.part, found.parts[row.part].description, row.job, row.value, row.note)
            for row in found.claims]  # fmt: skip
    return Leaf("claims", (), heads, rows)


def _slow(slow: SlowStock) -> Leaf:
    heads = (*_PART, Head("quantity", 10), Head("unit", 6), Head("value", _MONEY, money=True), Head("why", 60))
    rows: list[tuple[Cell, ...]] = [
        (one.part.part, one.part.description, Decimal(format_qty(one.qty, one.part.unit)),
         unit(one.part.unit).symbol or "each", one.value, "; ".join(one.why))
        for one in slow.candidates
    ]  # fmt: skip
    above = ("candidates for writing down", "what stock is worth below its cost is a judgement: ask your accountant")
    return Leaf("candidates", above, heads, rows)


def _every_line(found: Year) -> Leaf:
    """Each part at each place, amounts and pence: every column of pence adds up to its line of the summary."""
    names = ("part", "description", "component", "place", "unit", "opening_qty", "opening")
    ways = [way.replace(" ", "_") for way in WAYS]
    heads = [*names, *(name for way in ways for name in (f"{way}_qty", way)), "closing_qty", "closing", "unit_cost"]
    rows = []
    for line in found.lines:
        part, code = line.part, line.part.unit
        amounts: list[Cell] = []
        for qty, value in (line.opening, *(line.changes.get(way, (0, 0)) for way in WAYS), line.closing):
            amounts += [Decimal(format_qty(qty, code)), value]
        about = (part.part, part.description, part.component, line.place, code)
        rows.append((*about, *amounts, _unit_cost(*line.closing, code)))
    return Leaf("lines", (), tuple(Head(name, 10) for name in heads), rows)

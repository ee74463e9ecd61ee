"""The stock of an accounting year, or of any time, for the accountant: how it came about, to the penny.

Opening + brought in + bought - used on jobs - sent back - written off, +/- count differences and moves between places
= closing. Each figure is a sum of movements; opening and closing are sums of their own, so that what does not add up
would show. A figure never rests on today's prices, but for a supplier that was not said. What claims on suppliers lost
and gained is no stock: it stands beside. Called by `cli.year`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.ledger import catalogue, worth
from vanstock.ledger.valuing import first_in_first_out
from vanstock.ledger.worth import CLAIM_WAYS, WAYS, ClaimChange, Difference, Flow, Held, Purchases
from vanstock.model import Part, Supplier
from vanstock.quantity import round_half_up
from vanstock.routines.session import Session
from vanstock.routines.settings import setting_text, year_start
from vanstock.routines.value import NO_COMPONENT, basis, end_of, start_of

HEADS = dict(zip(WAYS, (
    "brought in at first count", "bought, carriage included", "used on jobs", "sent back to suppliers", "written off",
    "count differences", "moved between places",
), strict=True))  # fmt: skip
CLAIM_HEADS = dict(zip(CLAIM_WAYS, (
    "lost: written off", "gained", "credited on failed parts, off their jobs",
), strict=True))  # fmt: skip
_NOTHING = (0, 0)


class YearLine(NamedTuple):
    """A part at a place: base units and pence at the start and at the end, and how each way changed them."""

    part: Part
    place: str
    opening: tuple[int, int]
    changes: Mapping[str, tuple[int, int]]
    closing: tuple[int, int]


class Sums(NamedTuple):
    """The same of a group of lines or of a month, in pence only."""

    name: str
    opening: int
    changes: Mapping[str, int]
    closing: int

    @property
    def unexplained(self) -> int:
        """Pence by which the changes miss the closing: none, in a ledger that is whole."""
        return self.closing - self.opening - sum(self.changes.values())


class Year(NamedTuple):
    """The stock from the start of the day `first` to the end of `last`, the last day of it so far; it ends on `ends`.

    `since` is the day from which the ledger knows what stock is worth. `fifo` is the closing value if the oldest had
    gone first, for comparing.
    """

    first: date
    last: date
    ends: date
    since: str
    basis: str
    currency: str
    lines: tuple[YearLine, ...]
    months: tuple[Sums, ...]
    purchases: tuple[Purchases, ...]
    counted: tuple[Difference, ...]
    claims: tuple[ClaimChange, ...]
    suppliers: Mapping[str, Supplier]
    parts: Mapping[str, Part]
    fifo: int

    @property
    def total(self) -> Sums:
        """Everything together."""
        return next(iter(grouped(self.lines, lambda _: "")), Sums("", 0, dict.fromkeys(WAYS, 0), 0))

    @property
    def claim_sums(self) -> dict[str, int]:
        """Pence that claims on suppliers came to each way, below zero where they were lost; no part of the stock."""
        return {way: sum(row.value for row in self.claims if row.way == way) for way in CLAIM_WAYS}

    def by_component(self) -> list[Sums]:
        """Component by component."""
        return grouped(self.lines, lambda line: line.part.component or NO_COMPONENT)

    def by_place(self) -> list[Sums]:
        """Place by place."""
        return grouped(self.lines, lambda line: line.place)


def accounting_year(session: Session, text: str = "") -> tuple[date, date]:
    """The first and last day of the accounting year that begins in a year like `2027`, or that today is in."""
    month, day = year_start(session)
    if text and not (text.isascii() and text.isdigit() and len(text) == 4 and 1900 <= int(text) <= 9000):
        raise BadValue(f"{text!r} is not a year: write the one it begins in, like 2027")
    begins = int(text) if text else session.today.year - ((session.today.month, session.today.day) < (month, day))
    return date(begins, month, day), date(begins + 1, month, day) - timedelta(days=1)


def year(session: Session, first: date, ends: date) -> Year:
    """The stock from the start of one day to the end of another, so far as it has come; raises `BadValue`."""
    if first > session.today:
        raise BadValue(f"{first} is still to come: name a time that has begun by today, {session.today}")
    if ends < first:
        raise BadValue(f"{ends} is before {first}: name the first day and then the last")
    with worth.one_moment(session.ledger):
        return _year(session, first, ends)


def _year(session: Session, first: date, ends: date) -> Year:
    last = min(ends, session.today)
    since, until = start_of(first), end_of(last)
    opening, closing = worth.held(session.ledger, end_of(first - timedelta(days=1)), until)
    counted = worth.differences(session.ledger, since, until)
    flows = worth.flows(session.ledger, since, until, counted)
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    order = [place.place for place in catalogue.places(session.ledger)]
    lines = sorted(_lines(parts, opening, flows, closing), key=lambda line: (line.part.part, order.index(line.place)))
    return Year(
        first, last, ends, worth.begun(session.ledger), basis(session), setting_text(session, "currency"),
        tuple(lines), tuple(_months(first, last, flows, sum(value for _, value in opening.values()))),
        tuple(worth.purchases(session.ledger, since, until)),
        tuple(_act_by_act(row for row in counted if row.way != worth.BROUGHT)),
        tuple(worth.claim_changes(session.ledger, since, until)),
        {one.supplier: one for one in catalogue.rows_of(session.ledger, Supplier)}, parts,
        _as_first_in_first_out(closing, worth.layers(session.ledger, until)),
    )  # fmt: skip


def _act_by_act(counted: Iterable[Difference]) -> list[Difference]:
    """An act and its undoing in a later month as one, and not there where they come to nothing."""
    found: dict[tuple[int, str, str, str], Difference] = {}
    for row in counted:
        key = (row.act, row.part, row.place, row.way)
        old = found.get(key)
        found[key] = old._replace(qty=old.qty + row.qty, value=old.value + row.value) if old else row
    return [row for row in found.values() if row.qty or row.value]


def _lines(parts: Mapping[str, Part], opening: Held, flows: Iterable[Flow], closing: Held) -> list[YearLine]:
    changes: dict[tuple[str, str], dict[str, tuple[int, int]]] = {}
    for flow in flows:
        ways = changes.setdefault((flow.part, flow.place), {})
        old = ways.get(flow.way, _NOTHING)
        ways[flow.way] = (old[0] + flow.qty, old[1] + flow.value)
    lines = [
        YearLine(parts[key[0]], key[1], opening.get(key, _NOTHING), changes.get(key, {}), closing.get(key, _NOTHING))
        for key in opening.keys() | changes.keys() | closing.keys()
    ]
    return [line for line in lines if {line.opening, *line.changes.values(), line.closing} != {_NOTHING}]


def grouped(lines: Iterable[YearLine], name: Callable[[YearLine], str]) -> list[Sums]:
    """The lines added up by what `name` says of each, in the order of the names."""
    found: dict[str, Sums] = {}
    for line in lines:
        group = name(line)
        old = found.get(group, Sums(group, 0, {}, 0))
        changes = {way: old.changes.get(way, 0) + line.changes.get(way, _NOTHING)[1] for way in WAYS}
        found[group] = Sums(group, old.opening + line.opening[1], changes, old.closing + line.closing[1])
    return [found[group] for group in sorted(found)]


def _months(first: date, last: date, flows: Iterable[Flow], opening: int) -> list[Sums]:
    """Every month of the time, also one in which nothing moved."""
    changes: dict[str, dict[str, int]] = {}
    for flow in flows:
        ways = changes.setdefault(flow.month, dict.fromkeys(WAYS, 0))
        ways[flow.way] += flow.value
    found = []
    for number in range(first.year * 12 + first.month - 1, last.year * 12 + last.month):
        name = f"{number // 12}-{number % 12 + 1:02}"
        ways = changes.get(name, dict.fromkeys(WAYS, 0))
        found.append(Sums(name, opening, ways, opening + sum(ways.values())))
        opening = found[-1].closing
    return found


def _as_first_in_first_out(closing: Held, came: Mapping[str, list[tuple[int, int]]]) -> int:
    """Pence of the closing stock if the oldest had gone first; the average where nothing that came in accounts for it,
    and below zero."""
    pooled: dict[str, tuple[int, int]] = {}
    for (part, _), (qty, value) in closing.items():
        old = pooled.get(part, _NOTHING)
        pooled[part] = (old[0] + qty, old[1] + value)
    total = 0
    for part, (qty, value) in pooled.items():
        if qty <= 0:
            total += value
            continue
        pence, rest = first_in_first_out(came.get(part, []), qty)
        total += pence + round_half_up(value * rest, qty)
    return total

"""What must go back to whom by when, what is owed for it, and what unused goods may still go back.

Goods that came on an order may go back while the supplier's return window is open (setting return_days), when no job
took them and there is more on hand than the last reorder list wants. What has expired is neither. Only reads. Called by
`cli.owed`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import NamedTuple

from vanstock.ledger import basis, catalogue, reading
from vanstock.ledger.claims import Claim, claims
from vanstock.ledger.orderrows import LotRow, rows_of
from vanstock.ledger.orders import Receipt, receipts
from vanstock.model import Catalogue, Job, Part, Supplier, stock_groups
from vanstock.quantity import show_qty, value_of
from vanstock.routines.apart import left_to_return
from vanstock.routines.expiry import usable_balances
from vanstock.routines.oldunits import Owed, told_of
from vanstock.routines.session import Session
from vanstock.routines.settings import last_day

_NEVER = "9999-12-31"
_MOST_JOBS = 2


class OwedBy(NamedTuple):
    """What goes back to one supplier, what is due first at the head and what was sent at the end."""

    supplier: Supplier
    rows: tuple[Owed, ...]

    @property
    def total(self) -> int:
        """Pence still to be paid back."""
        return sum(row.claim.open_amount for row in self.rows)


class MayGoBack(NamedTuple):
    """Unused goods that may still go back: so many base units that came on an order, until which day, what was paid for
    them, why nothing asks for them, and booked jobs on cars that they fit."""

    part: Part
    qty: int
    order_no: str
    supplier: str
    last_day: date
    amount: int
    why: str
    jobs: tuple[str, ...]


class OwedList(NamedTuple):
    """What is owed, supplier by supplier, earliest due first, and what may still go back, earliest last day first."""

    suppliers: tuple[OwedBy, ...]
    may_go_back: tuple[MayGoBack, ...]

    @property
    def total(self) -> int:
        """Pence still to be paid back by all."""
        return sum(one.total for one in self.suppliers)


def owed(session: Session, *, everything: bool = False) -> OwedList:
    """What must go back and what may; with `everything` also what was credited or given up."""
    known = catalogue.read_catalogue(session.ledger)
    found = claims(session.ledger)
    by_supplier: dict[str, list[Owed]] = defaultdict(list)
    for claim in found:
        if everything or not claim.closed:
            by_supplier[claim.supplier].append(told_of(claim, known.parts[claim.part], session.today))
    groups = [
        OwedBy(known.suppliers.get(name, Supplier(name)), tuple(sorted(rows, key=_first_due)))
        for name, rows in by_supplier.items()
    ]
    ordered = sorted(groups, key=lambda one: (_first_due(one.rows[0]), one.supplier.supplier))
    return OwedList(tuple(ordered), tuple(_may_go_back(session, known, found)))


def _first_due(row: Owed) -> tuple[bool, bool, str, str]:
    claim = row.claim
    return claim.closed, claim.sent, claim.due or _NEVER, claim.claim


class _Shelves(NamedTuple):
    """Parts stocked as one, by the number they are stocked under: what is on hand and has not expired, of each part by
    itself too (`lies`), and the most wanted by the last list or a pin; a part that neither has spoken of is not in
    `most`."""

    known: Catalogue
    groups: Mapping[str, str]
    on_hand: Mapping[str, int]
    lies: Mapping[str, int]
    most: Mapping[str, int]


def _shelves(session: Session, known: Catalogue) -> _Shelves:
    groups = stock_groups(known)
    on_hand: dict[str, int] = defaultdict(int)
    lies: dict[str, int] = defaultdict(int)
    for held in usable_balances(session, session.today):
        on_hand[groups[held.part]] += held.qty
        lies[held.part] += held.qty
    now = session.now.astimezone().isoformat(timespec="seconds")
    listed = {part: row.level.max for part, row in basis.newest(session.ledger, now).items()}
    pinned = {part: most for part, (_, most) in catalogue.pins(session.ledger).items()}
    most: dict[str, int] = {}
    for levels in (listed, pinned):  # of several numbers stocked as one, the one they are stocked under goes before
        most |= {groups[part]: level for part, level in levels.items() if part in groups}
        most |= {part: level for part, level in levels.items() if groups.get(part) == part}
    return _Shelves(known, groups, on_hand, lies, most)


def _may_go_back(session: Session, known: Catalogue, found: Iterable[Claim]) -> list[MayGoBack]:
    """Goods received within the window beyond what is wanted of them, the newest goods left over first; whole packs."""
    shelves = _shelves(session, known)
    spare = {group: shelves.on_hand.get(group, 0) - most for group, most in shelves.most.items()}
    for claim in found:
        if claim.place and not claim.sent and not claim.closed and shelves.groups[claim.part] in spare:
            spare[shelves.groups[claim.part]] -= claim.qty
    rows = []
    for came in reversed(receipts(session.ledger)):
        group, pack = shelves.groups[came.part], known.parts[came.part].pack_size
        if last_day(session, "return_days", came.day) < session.today or spare.get(group, 0) <= 0:
            continue
        packs = min(_unused(session, shelves, came), spare[group]) // pack
        if packs > 0:
            spare[group] -= packs * pack
            rows.append(_row(session, shelves, came, packs * pack))
    return sorted(rows, key=lambda row: (row.last_day, row.part.part))


def _unused(session: Session, shelves: _Shelves, came: Receipt) -> int:
    """Base units of a receipt that no job took since, that still lie somewhere, have not expired and are not
    claimed already."""
    alike = [part for part, group in shelves.groups.items() if group == shelves.groups[came.part]]
    taken = sum(reading.fitted_since(session.ledger, part, came.entry) for part in alike)
    good = came.qty - max(taken, 0) - _late(session, came)
    return max(min(good, shelves.lies.get(came.part, 0), left_to_return(session, came.part, came.order_no)), 0)


def _late(session: Session, came: Receipt) -> int:
    """Base units of a receipt that came with a day to be used by which is past."""
    rows = rows_of(session.ledger, came.entry)
    today = session.today.isoformat()
    return sum(row.qty for row in rows if isinstance(row, LotRow) and row.part == came.part and row.use_by < today)


def _row(session: Session, shelves: _Shelves, came: Receipt, qty: int) -> MayGoBack:
    part, group = shelves.known.parts[came.part], shelves.groups[came.part]
    held, most = (show_qty(amount, part.unit) for amount in (shelves.on_hand[group], shelves.most[group]))
    families = {fits.family for fits in shelves.known.fits if fits.part == part.part}
    jobs = [job.job for job in reading.jobs(session.ledger) if _may_take(job, families, session.today)]
    return MayGoBack(
        part, qty, came.order_no, came.supplier, last_day(session, "return_days", came.day),
        value_of(qty, part.unit, came.price), f"{held} on hand, max is {most}", tuple(jobs[:_MOST_JOBS]),
    )  # fmt: skip


def _may_take(job: Job, families: set[str], today: date) -> bool:
    return job.status == "booked" and job.date >= today and job.family in families

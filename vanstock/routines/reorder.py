"""The weekly reorder list: what to order from whom, in what packs, before which cut-off."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.csvfile import write_rows
from vanstock.kit.reorder import StockPosition, SupplierOrder, plan_reorder
from vanstock.ledger.basis import Basis
from vanstock.ledger.orders import on_order
from vanstock.model import Catalogue, Job, MinMax, Supplier
from vanstock.quantity import format_money, format_qty
from vanstock.routines.coming import WEEKS
from vanstock.routines.expiry import usable_balances
from vanstock.routines.forecasts import PartForecast, forecast_all
from vanstock.routines.levels import Plan, plan_levels
from vanstock.routines.past import Past, fitted_so_far, group_supply, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar, handling, target
from vanstock.routines.why import bases
from vanstock.workdays import next_cutoff

if TYPE_CHECKING:
    from vanstock.needs.cases import CaseBook

SEED = 20_270_301


@dataclass(frozen=True, slots=True)
class Reorder:
    """The list: supplier by supplier, with the moment each order must be in, and what it rests on."""

    date: date
    orders: tuple[tuple[SupplierOrder, Supplier, datetime | None], ...]
    catalogue: Catalogue
    basis: tuple[Basis, ...] = ()


class Ahead(NamedTuple):
    """What a review looks at: the past, the levels and the stream they rest on, forecasts, each part's position, and
    what the rule would order of each supplier."""

    past: Past
    plan: Plan
    forecasts: Mapping[str, PartForecast]
    positions: tuple[StockPosition, ...]
    orders: tuple[SupplierOrder, ...]
    holding: float

    @property
    def weekly_use(self) -> dict[str, float]:
        """Base units used in a week, by group."""
        stream = self.plan.coming.stream
        return {shelf.group: float(mean) for shelf, mean in zip(stream.shelves, stream.weekly_mean, strict=True)}

    def worth(self, part: str) -> float:
        """What ordering a part is worth in jobs: those that its next step would finish or its last one loses, and all
        that take it where booked jobs need it."""
        group = self.past.groups.get(part, part)
        margin = self.plan.margins[group]
        short = any(row.levels.part == group and row.position < row.booked_need for row in self.positions)
        return margin.taken if short else max(margin.lost, margin.gained)


def look_ahead(session: Session, day: date | None = None) -> Ahead:
    """Everything that a review on `day` (today when None) rests on."""
    past = read_past(session)
    forecasts = forecast_all(session, past)
    plan = plan_levels(session, past)
    intervals = {part: row.forecast.interval_days for part, row in forecasts.items()}
    booked = _booked(session, past, plan.coming.book, (day or session.today, intervals))
    positions = tuple(_positions(session, past, plan.levels, booked, on=day or session.today))
    orders = tuple(plan_reorder(positions, past.catalogue.suppliers))
    return Ahead(past, plan, forecasts, positions, orders, handling(session).holding)


def reorder(session: Session, day: date | None = None, ahead: Ahead | None = None) -> Reorder:
    """Work out what to order at a review on `day` (today when None), from what is ahead where that is known already;
    raises `BadValue` for one too far ahead."""
    review = day or session.today
    if review > session.today + timedelta(days=7 * WEEKS):
        raise BadValue(f"{review} is more than {WEEKS} weeks ahead: what to order then cannot be known yet")
    ahead = ahead or look_ahead(session, day)
    moment = session.now if review == session.today else datetime.combine(review, datetime.min.time())
    listed = tuple(_with_cutoff(session, ahead.past, order, moment) for order in ahead.orders)
    rests_on = bases(session, ahead.forecasts, ahead.plan.levels)
    return Reorder(review, listed, ahead.past.catalogue, rests_on)


def _with_cutoff(
    session: Session, past: Past, order: SupplierOrder, moment: datetime
) -> tuple[SupplierOrder, Supplier, datetime | None]:
    supplier = past.catalogue.suppliers.get(order.supplier)
    if supplier is None:
        return order, Supplier(order.supplier), None
    cutoff = next_cutoff(supplier.order_days, supplier.cutoff, now=moment, calendar=calendar(session))
    return order, supplier, cutoff


@dataclass(frozen=True, slots=True)
class _Booked:
    """What booked jobs take of each part: within its protection interval, and after it."""

    needed: Mapping[str, int]
    reserved: Mapping[str, int]


def _booked(session: Session, past: Past, book: CaseBook, when: tuple[date, Mapping[str, int]]) -> _Booked:
    """The need of booked jobs at the target quantile inside each part's interval, at the median beyond it."""
    from vanstock.kit.needsum import day_need_quantiles
    from vanstock.needs.begun import still_needed

    review, intervals = when
    ahead = sorted((j for j in past.jobs if j.status == "booked" and j.date >= review), key=lambda j: (j.date, j.time))
    needs = {job.job: still_needed(book.needs_for(job), fitted_so_far(session, past, job)) for job in ahead}
    days, aim = calendar(session), target(session)
    parts_by_length: dict[int, list[str]] = defaultdict(list)
    for part, length in intervals.items():
        parts_by_length[length].append(part)
    needed: dict[str, int] = {}
    reserved: dict[str, int] = {}
    for length, parts in parts_by_length.items():
        last = days.add_working(review, length)
        soon, later = _split(ahead, last)
        within = day_need_quantiles([needs[j.job] for j in soon], probability=aim, seed=SEED)
        beyond = day_need_quantiles([needs[j.job] for j in later], probability=0.5, seed=SEED)
        needed |= {part: within[part] for part in parts if within.get(part)}
        reserved |= {part: beyond[part] for part in parts if beyond.get(part)}
    return _Booked(needed, reserved)


def _split(jobs: list[Job], last: date) -> tuple[list[Job], list[Job]]:
    return [job for job in jobs if job.date <= last], [job for job in jobs if job.date > last]


def _positions(
    session: Session, past: Past, wanted: Mapping[str, MinMax], booked: _Booked, *, on: date
) -> list[StockPosition]:
    """The position of every part with levels; what has expired on the day is not on hand."""
    held: dict[str, int] = defaultdict(int)
    for row in usable_balances(session, on):
        held[row.part] += row.qty
    on_hand = group_supply(past, held)
    coming = group_supply(past, on_order(session.ledger))
    return [
        StockPosition(
            part=past.catalogue.parts[past.catalogue.current(part)],
            levels=level,
            on_hand=on_hand.get(part, 0),
            on_order=coming.get(part, 0),
            reserved=booked.reserved.get(part, 0),
            booked_need=booked.needed.get(part, 0),
        )
        for part, level in wanted.items()
    ]


def write_csv(path: Path, found: Reorder) -> None:
    """Write the list to a CSV file, one row a line; raises `VanstockError` when it cannot be written."""
    header = ("supplier", "supplier_part", "part", "description", "qty", "unit", "packs", "cost")
    rows = []
    for order, _, _ in found.orders:
        for line in order.lines:
            part = found.catalogue.parts[line.part]
            amounts = (format_qty(line.qty, part.unit), part.unit, str(line.packs), format_money(line.cost))
            rows.append((order.supplier, part.supplier_part, line.part, part.description, *amounts))
    write_rows(path, header, rows)

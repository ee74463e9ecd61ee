"""The frozen values that pass between rooms. They hold no behaviour beyond looking themselves up.

Quantities are whole base units, money whole pence, prices ten-thousandths (see `quantity`). An empty
string stands for "not given" in text fields, None in numbers.

They are named tuples: as frozen and as small as a slotted dataclass, and fifteen times quicker to define,
which every command would otherwise pay for before it has done anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, NamedTuple

EVERY_FAMILY = "*"
_NOTHING: Mapping[str, Any] = MappingProxyType({})


class Supplier(NamedTuple):
    """Who sells parts, how long they take, when an order must be in, what the carriage costs, at what time of day
    goods come (empty: not known), and the least value of goods that an order is sent for (pence)."""

    supplier: str
    name: str = ""
    lead_working_days: int = 0
    order_days: str = "Mon-Fri"
    cutoff: str = ""
    carriage: int = 0
    carriage_paid_over: int | None = None
    email: str = ""
    comes_at: str = ""
    least_order: int = 0


class Family(NamedTuple):
    """Vehicles that share an engine and exhaust layout."""

    family: str
    name: str = ""
    year_from: int | None = None
    year_to: int | None = None


class Part(NamedTuple):
    """A part number and what is known of it. `pack_size` is base units; `cost` a price per unit ex VAT;
    `surcharge` pence; `weight_grams` grams and `bulk_ml` millilitres of room for one unit; `lead_working_days`
    None means the supplier's."""

    part: str
    description: str = ""
    component: str = ""
    unit: str = "C62"
    cost: int = 0
    pack_size: int = 1
    supplier: str = ""
    supplier_part: str = ""
    lead_working_days: int | None = None
    one_time_use: bool = False
    surcharge: int = 0
    shelf_life_days: int | None = None
    weight_grams: int | None = None
    hazard: str = ""
    gtin: str = ""
    superseded_by: str = ""
    bulk_ml: int | None = None


class Fits(NamedTuple):
    """A part fits a family (`*` is every family); `share` is how often this part is the one, 0..1."""

    family: str
    part: str
    share: float = 1.0


class GoesWith(NamedTuple):
    """Fitting one unit of `part` takes `qty` base units of `also`."""

    part: str
    also: str
    qty: int


class Usual(NamedTuple):
    """What a job usually takes before there is history: `probability` that it needs `qty` base units of
    the component, worth so many finished jobs of evidence."""

    job_type: str
    family: str
    component: str
    probability: float
    qty: int
    worth_jobs: float


class Job(NamedTuple):
    """A booking or a finished job. `time` is HH:MM or empty; `status` booked, done or cancelled; `chosen` are
    the part numbers it is known to take of those that could be; `readings` as `vanstock.readings` writes them."""

    job: str
    date: date
    time: str
    family: str
    job_type: str
    codes: tuple[str, ...] = ()
    status: str = "booked"
    van: str = "van"
    reference: str = ""
    chosen: tuple[str, ...] = ()
    readings: str = ""


class Word(NamedTuple):
    """A phrase in a calendar event and what it means: family, job type, not a job or nothing; `value` says which."""

    phrase: str
    means: str
    value: str = ""


class Used(NamedTuple):
    """What one job took of one part: fitted, and missed (needed on the job and not aboard)."""

    job: str
    part: str
    fitted: int
    missed: int


class OpeningStock(NamedTuple):
    """A counted quantity of a part at a place when the ledger began, worth `value` pence in all."""

    part: str
    place: str
    qty: int
    value: int


class Place(NamedTuple):
    """Where stock lies or goes: kind is van, store, or one of the ledger's own outside places."""

    place: str
    kind: str


class Catalogue(NamedTuple):
    """Everything known of parts, families and suppliers, as looked up by the pure rooms."""

    parts: Mapping[str, Part] = _NOTHING
    families: Mapping[str, Family] = _NOTHING
    suppliers: Mapping[str, Supplier] = _NOTHING
    fits: tuple[Fits, ...] = ()
    goes_with: tuple[GoesWith, ...] = ()
    usual: tuple[Usual, ...] = ()

    def current(self, part: str) -> str:
        """The part number that replaces `part` at the end of its supersession chain, or itself."""
        return self.chain(part)[-1]

    def chain(self, part: str) -> list[str]:
        """The part and every number that replaced it since, oldest first."""
        found = [part]
        while (known := self.parts.get(found[-1])) and known.superseded_by and known.superseded_by not in found:
            found.append(known.superseded_by)
        return found

    def lead_working_days(self, part: str) -> int:
        """Working days from order to goods in: the part's own, else its supplier's, else 0."""
        known = self.parts[part]
        if known.lead_working_days is not None:
            return known.lead_working_days
        supplier = self.suppliers.get(known.supplier)
        return supplier.lead_working_days if supplier else 0


class FinishedJob(NamedTuple):
    """A finished job and what it needed: base units by part number, fitted plus missed, return visits
    settled; how many jobs like it it stands for, more than one where the others were not read."""

    job: str
    date: date
    family: str
    job_type: str
    codes: tuple[str, ...]
    needs: Mapping[str, int]
    readings: str = ""
    stands_for: float = 1.0


class Movement(NamedTuple):
    """One line of an entry: `qty` base units and `value` pence of a part from one place to another."""

    part: str
    qty: int
    from_place: str
    to_place: str
    value: int = 0
    job: str = ""


class Entry(NamedTuple):
    """One act of a person, as read back: local time with offset, kind, device, note, what it reverses."""

    seq: int
    id: str
    at: str
    kind: str
    device: str
    note: str
    reverses: str = ""


class PastEntry(NamedTuple):
    """An entry with its lines, and the id of the entry that undid it."""

    entry: Entry
    movements: tuple[Movement, ...]
    missed: tuple[tuple[str, str, int], ...]
    counted: tuple[tuple[str, str, int], ...]
    bookings: tuple[Job, ...]
    undone_by: str


class Balance(NamedTuple):
    """What the ledger says lies at a place: base units, pence, and whether a count is needed."""

    part: str
    place: str
    qty: int
    value: int
    count_needed: bool = False


class Forecast(NamedTuple):
    """How many of a part are coming: units per week, and the need over its protection interval.

    Means and quantiles are in base units; `interval_days` are working days; `own` when the part departs from
    what serves its class; `quantiles` maps a probability to the least need that holds at least that much.
    """

    part: str
    demand_class: str
    method: str
    constants: tuple[float, ...]
    own: bool
    weeks: int
    weeks_with_need: int
    weekly_mean: float
    interval_days: int
    interval_mean: float
    interval_variance: float
    spread: str
    quantiles: Mapping[float, float]

    @property
    def how(self) -> str:
        """The method with its constants, as it is shown."""
        return " ".join([self.method, "/".join(f"{constant:g}" for constant in self.constants)]).rstrip()


class MinMax(NamedTuple):
    """The levels a part is ordered by, in base units; `basis` says in words where they come from."""

    part: str
    min: int
    max: int
    pinned: bool
    basis: str


class Moment(NamedTuple):
    """The clock as a routine sees it: local time with its offset."""

    now: datetime

    @property
    def today(self) -> date:
        """The local date."""
        return self.now.date()


def stock_groups(catalogue: Catalogue) -> dict[str, str]:
    """The part number each part is stocked under: one name for parts that stand in for each other.

    A superseded number is stocked under its successor. Two parts are interchangeable both ways when each
    is listed with share 0 ("fits too, not the usual one") where the other is the usual one, in the same
    component; they are stocked under the first of the two by name. Everything else is its own group.
    """
    current = {part: catalogue.current(part) for part in catalogue.parts}
    usual_at: dict[tuple[str, str], set[str]] = {}
    spare_at: dict[tuple[str, str], set[str]] = {}
    for fits in catalogue.fits:
        known = catalogue.parts.get(fits.part)
        if known and known.component:
            table = usual_at if fits.share > 0 else spare_at
            table.setdefault((fits.family, known.component), set()).add(current[fits.part])
    stands_in = {(a, b) for key, spares in spare_at.items() for a in spares for b in usual_at.get(key, ())}
    first = {part: part for part in current.values()}
    for a, b in sorted(stands_in):
        if a < b and (b, a) in stands_in:
            first[b] = first[a]
    return {part: first[now] for part, now in current.items()}


class Finding(NamedTuple):
    """What was found of one rule that the ledger must keep: nothing wrong, or the first things that are."""

    rule: str
    wrong: tuple[str, ...]

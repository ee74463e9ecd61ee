"""Turning rows of the import folder into model values, one function for each file.

Each notes on its record what cannot be read and returns None when no value can be made. What a row says
of other rows is checked in `checks`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from functools import lru_cache

from vanstock.codes import read_codes
from vanstock.errors import BadValue
from vanstock.exchange.csvfile import Record
from vanstock.exchange.gtin import parse_gtin
from vanstock.model import EVERY_FAMILY, Family, Fits, GoesWith, Job, OpeningStock, Part, Place, Supplier, Used, Usual
from vanstock.quantity import (
    LARGEST_MONEY,
    format_money,
    parse_decimal,
    parse_money,
    parse_price,
    parse_qty,
    parse_share,
    parse_whole,
    round_half_up,
    unit,
    value_of,
)
from vanstock.readings import read_readings, write_readings
from vanstock.workdays import parse_cutoff, parse_date, parse_days

_COST = re.compile(r"[0-9]+(\.[0-9]{1,15})?")
_LONGEST_ID = 64


def _id(record: Record, column: str) -> str:
    text = record.required(column)
    if len(text) > _LONGEST_ID:
        record.wrong(f"{column} is longer than {_LONGEST_ID} characters: shorten it")
    return text


def _not_below_zero(parse: Callable[[str], int]) -> Callable[[str], int]:
    def checked(text: str) -> int:
        value = parse(text)
        if value < 0:
            raise BadValue(f"{text!r} is below zero: write zero or more")
        return value

    return checked


def _days_up_to(most: int) -> Callable[[str], int]:
    def checked(text: str) -> int:
        days = parse_whole(text, "days")
        if days > most:
            raise BadValue(f"{text!r} is more than {most} days: write how many days it is")
        return days

    return checked


_LEAD = _days_up_to(365)
_LIFE = _days_up_to(36_500)


def _yes_no(text: str) -> bool:
    if text.lower() not in ("0", "1", "yes", "no"):
        raise BadValue(f"{text!r} is neither 0 nor 1: write 1 for yes, 0 for no")
    return text.lower() in ("1", "yes")


def _time(text: str) -> str:
    return parse_cutoff(text).strftime("%H:%M")


def _days(text: str) -> str:
    parse_days(text)
    return text


def _email(text: str) -> str:
    if "@" not in text or " " in text:
        raise BadValue(f"{text!r} is not an e-mail address: write one like orders@factor.example")
    return text


def _year(text: str) -> int:
    year = parse_whole(text, "year")
    if not 1900 <= year <= 2100:
        raise BadValue(f"year {text!r} is not between 1900 and 2100: write it in four digits")
    return year


def _chosen(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(part.strip() for part in text.split(";") if part.strip()))


def _readings(text: str) -> str:
    return write_readings(read_readings(text))


def _millilitres(text: str) -> int:
    return parse_qty(text, "LTR")


def _unit(text: str) -> str:
    return unit(text).code


def _grams(text: str) -> int:
    return parse_qty(text, "KGM")


def _qty(record: Record, column: str, code: str, default: int) -> int:
    """The quantity in a cell; `default` when it cannot be read or the unit it is in (`code`) is not known."""
    return record.read(column, lambda text: parse_qty(text, code), default) if code else default


def _float_share(what: str) -> Callable[[str], float]:
    return lambda text: float(parse_share(text, what))


def place(record: Record) -> Place | None:
    """A row of places.csv."""
    kind = record.text("kind").lower()
    if kind not in ("van", "store"):
        record.wrong(f"kind {kind!r} is neither van nor store: write one of the two")
    return Place(_id(record, "place"), kind)


def supplier(record: Record) -> Supplier | None:
    """A row of suppliers.csv."""
    return Supplier(
        supplier=_id(record, "supplier"),
        name=record.text("name"),
        lead_working_days=record.read("lead_working_days", _LEAD, 0),
        order_days=record.read("order_days", _days, "Mon-Fri"),
        cutoff=record.read("cutoff", _time, ""),
        carriage=record.read("carriage", _not_below_zero(parse_money), 0),
        carriage_paid_over=record.read("carriage_paid_over", _not_below_zero(parse_money), None),
        email=record.read("email", _email, ""),
        comes_at=record.read("comes_at", _time, ""),
        least_order=record.read("least_order", _not_below_zero(parse_money), 0),
    )


def family(record: Record) -> Family | None:
    """A row of families.csv."""
    found = Family(
        family=_id(record, "family"),
        name=record.text("name"),
        year_from=record.read("year_from", _year, None),
        year_to=record.read("year_to", _year, None),
    )
    if found.family == EVERY_FAMILY:
        record.wrong("family * stands for every family and cannot be one's id: choose another")
    if found.year_from and found.year_to and found.year_from > found.year_to:
        record.wrong(f"year_from {found.year_from} is after year_to {found.year_to}: swap them")
    return found


def part(record: Record) -> Part | None:
    """A row of parts.csv; a unit that cannot be read is left empty, so that no quantity is read in a wrong one."""
    code = record.read("unit", _unit, "") if record.text("unit") else "C62"
    one = unit(code or "C62").scale
    pack = _qty(record, "pack_size", code, one)
    if pack <= 0:
        record.wrong(f"pack_size {record.text('pack_size')!r} must be above zero: write 1 for what is sold singly")
        pack = one
    return Part(
        part=_id(record, "part"),
        description=record.text("description"),
        component=record.text("component"),
        unit=code,
        cost=record.read("cost", _not_below_zero(parse_price), 0),
        pack_size=pack,
        supplier=record.text("supplier"),
        supplier_part=record.text("supplier_part"),
        lead_working_days=record.read("lead_working_days", _LEAD, None),
        one_time_use=record.read("one_time_use", _yes_no, False),
        surcharge=record.read("surcharge", _not_below_zero(parse_money), 0),
        shelf_life_days=record.read("shelf_life_days", _LIFE, None),
        weight_grams=record.read("weight_kg", _not_below_zero(_grams), None),
        hazard=record.text("hazard"),
        gtin=record.read("gtin", parse_gtin, ""),
        superseded_by=record.text("superseded_by"),
        bulk_ml=record.read("bulk_litres", _not_below_zero(_millilitres), None),
    )


def fits(record: Record) -> Fits | None:
    """A row of fits.csv."""
    return Fits(_id(record, "family"), _id(record, "part"), record.read("share", _float_share("share"), 1.0))


def goes_with(record: Record, parts: Mapping[str, Part]) -> GoesWith | None:
    """A row of goes_with.csv; the quantity is in the unit of the part that goes with."""
    also = parts.get(record.text("also"))
    qty = _qty(record, "qty", also.unit, unit(also.unit or "C62").scale) if also else 1
    if qty <= 0:
        record.wrong(f"qty {record.text('qty')!r} must be above zero: write how many")
        return None
    return GoesWith(_id(record, "part"), _id(record, "also"), qty)


def usual(record: Record, unit_of_component: Mapping[str, str]) -> Usual | None:
    """A row of usual.csv; the quantity is in the unit of the component's parts."""
    component = _id(record, "component")
    record.required("probability")
    code = unit_of_component.get(component, "")
    qty = _qty(record, "qty", code, unit(code or "C62").scale)
    if qty <= 0:
        record.wrong(f"qty {record.text('qty')!r} must be above zero: write how many")
    return Usual(
        job_type=_id(record, "job_type"),
        family=_id(record, "family"),
        component=component,
        probability=record.read("probability", _float_share("probability"), 0.0),
        qty=max(qty, 1),
        worth_jobs=record.read("worth_jobs", _worth, 8.0),
    )


def _worth(text: str) -> float:
    worth = float(parse_decimal(text, "number of jobs"))
    if not 0 <= worth <= 10_000:
        raise BadValue(f"{text!r} is not between 0 and 10000 jobs: write how many jobs it counts as")
    return worth


def job(record: Record, today: date) -> Job | None:
    """A row of jobs.csv."""
    before = len(record.problems)
    day = record.read("date", parse_date, today) if record.required("date") else today
    status = record.text("status", "booked").lower()
    if status not in ("booked", "done", "cancelled"):
        record.wrong(f"status {status!r} is not booked, done or cancelled: write one of them")
    if status == "done" and day > today:
        record.wrong(f"a job dated {day} cannot be done yet, today is {today}: correct the date, or write booked")
    found = Job(
        job=_id(record, "job"),
        date=day,
        time=record.read("time", _time, ""),
        family=_id(record, "family"),
        job_type=_id(record, "job_type"),
        codes=record.read("codes", read_codes, ()),
        status=status,
        van=record.text("van", "van"),
        reference=record.text("reference"),
        chosen=record.read("chosen", _chosen, ()),
        readings=record.read("readings", _readings, ""),
    )
    return found if len(record.problems) == before else None


@lru_cache(maxsize=4096)
def _used_qty(text: str, code: str) -> int:
    return _not_below_zero(lambda plain: parse_qty(plain, code))(text)


def used(record: Record, parts: Mapping[str, Part]) -> Used | None:
    """A row of used.csv, quantities in the part's unit; nothing fitted and nothing missed is a problem."""
    known = parts.get(record.text("part"))
    code = known.unit if known else ""
    fitted = record.read("fitted", lambda text: _used_qty(text, code), 0) if code else 1
    missed = record.read("missed", lambda text: _used_qty(text, code), 0) if code else 0
    if not fitted and not missed:
        record.wrong("neither fitted nor missed has a quantity: give one, or take the row out")
        return None
    return Used(_id(record, "job"), _id(record, "part"), fitted, missed)


def stock(record: Record, parts: Mapping[str, Part]) -> OpeningStock | None:
    """A row of stock.csv: a counted quantity, worth so much a unit or the part's own cost."""
    known = parts.get(record.text("part"))
    name, where = _id(record, "part"), _id(record, "place")
    record.required("qty")
    if known is None or not known.unit:
        return OpeningStock(name, where, 0, 0)
    qty = record.read("qty", _not_below_zero(lambda text: parse_qty(text, known.unit)), 0)
    worth = record.read("unit_cost", lambda text: _value(text, qty, known), value_of(qty, known.unit, known.cost))
    if worth > LARGEST_MONEY:
        record.wrong(f"qty {record.text('qty')!r} would be worth {format_money(worth)}: correct it or the part's cost")
    return OpeningStock(name, where, qty, worth)


def _value(text: str, qty: int, known: Part) -> int:
    """Pence for `qty` at a unit cost with as many decimals as it takes."""
    if not _COST.fullmatch(text):
        raise BadValue(f"{text!r} is not a cost of zero or more: write digits with a point, like 12.50")
    top, bottom = Decimal(text).as_integer_ratio()
    return round_half_up(qty * top * 100, unit(known.unit).scale * bottom)

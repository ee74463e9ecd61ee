"""Readings a technician takes by hand, each with its unit: parsing, storing, judging and comparing them.

The limits are common practice and stand for no maker: every judgement defers to the maker's figure. A
reading warns and never blocks; only what cannot be read is refused. No pressure is guessed from a bare
number, because kPa, mbar and psi get mixed. Called by the routines that keep jobs, and by the faces.
Reads no file and no clock. Stdlib only.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, NamedTuple

from vanstock.errors import BadValue

Side = Literal["low", "expected", "high"]
Verdict = Literal["better", "worse", "no change", "not compared"]

DEFER = "These limits are common practice. The maker's figure and procedure come first."
GAUGE_STEP_PA = 1000
"""One step of the usual gauge, 10 mbar: a change of one step cannot be told from none."""

_AMOUNT = re.compile(r"([+-]?(?:[0-9]{1,7}(?:[.,][0-9]{1,3})?|[.,][0-9]{1,3}))\s*(.*)", re.DOTALL)
_TWO_WAYS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_AFTER = "after"
_LONGEST_SHOWN = 40


class Measure(NamedTuple):
    """What is measured, in base units (Pa, tenths of a degree Celsius, s): the least there can be of it."""

    name: str
    least: int
    example: str


class Unit(NamedTuple):
    """A unit as it is shown, base units in one, and how people type it."""

    symbol: str
    measure: Measure
    scale: Decimal
    spellings: tuple[str, ...]


class Band(NamedTuple):
    """Readings below `below` base units (None: all the rest) and not in the band before: what they say."""

    below: int | None
    side: Side
    words: str


class Kind(NamedTuple):
    """A kind of reading: how it is called, what it measures, its bands from low to high, a value as it is typed where
    that of the measure would be a strange one."""

    kind: str
    title: str
    measure: Measure
    bands: tuple[Band, ...]
    lower_is_better: bool = False
    typed: str = ""

    @property
    def example(self) -> str:
        """A value as it is typed."""
        return self.typed or self.measure.example


PRESSURE = Measure("pressure", -101_325, "35 mbar")
TEMPERATURE = Measure("temperature", -2731, "610 C")
TIME = Measure("time", 0, "2 min")

UNITS = (
    Unit("Pa", PRESSURE, Decimal(1), ("pa",)),
    Unit("hPa", PRESSURE, Decimal(100), ("hpa",)),
    Unit("mbar", PRESSURE, Decimal(100), ("mbar",)),
    Unit("kPa", PRESSURE, Decimal(1000), ("kpa",)),
    Unit("bar", PRESSURE, Decimal(100_000), ("bar",)),
    Unit("psi", PRESSURE, Decimal("6894.757293168"), ("psi",)),
    Unit("C", TEMPERATURE, Decimal(10), ("c", "°c", "degc", "deg c")),
    Unit("s", TIME, Decimal(1), ("s", "sec", "secs")),
    Unit("min", TIME, Decimal(60), ("min", "mins")),
)
_CROSSED = Band(0, "low", "below zero with the engine running: see that the hoses are not crossed")
KINDS = (
    Kind("off", "filter pressure, key on and engine off", PRESSURE, (
        Band(0, "low", "below zero with the engine off: look at the sensor and its hoses first"),
        Band(2001, "expected", "as expected with the engine off"),
        Band(None, "high", "too far from zero with the engine off: look at the sensor and its hoses first"),
    ), typed="5 mbar"),
    Kind("idle", "filter pressure at idle", PRESSURE, (
        _CROSSED,
        Band(1001, "expected", "clean"),
        Band(3000, "expected", "nothing to clean at idle"),
        Band(None, "high", "asks for cleaning"),
    ), lower_is_better=True),
    Kind("3000", "filter pressure near 3,000 rpm", PRESSURE, (
        _CROSSED,
        Band(10_000, "expected", "as expected"),
        Band(25_001, "high", "asks for cleaning"),
        Band(None, "high", "badly blocked: force no regeneration past what the maker allows"),
    ), lower_is_better=True, typed="210 mbar"),
    Kind("regen", "exhaust temperature while regenerating", TEMPERATURE, (
        Band(5500, "low", "too cool: look at the heat source"),
        Band(6801, "expected", "as expected while regenerating"),
        Band(None, "high", "too hot: stop"),
    )),
    Kind("flush", "filter temperature before flushing", TEMPERATURE, (
        Band(1000, "expected", "below 100 C: flush only while it is falling"),
        Band(None, "high", "too hot to flush: wait until it is below 100 C and falling"),
    ), typed="60 C"),
    # 110 psi to 10 bar, which a gauge in psi shows as 145.
    Kind("air", "compressor pressure", PRESSURE, (
        Band(758_423, "low", "below the usual pressure: let it fill, and look for a leak"),
        Band(1_000_001, "expected", "as expected at the compressor"),
        Band(None, "high", "above the usual pressure: turn it down before you go on"),
    ), typed="9 bar"),
    Kind("revs", "revs held near 3,000", TIME, (
        Band(120, "low", "shorter than two minutes: vapour may be left"),
        Band(301, "expected", "as long as it takes to clear the vapour"),
        Band(None, "high", "longer than five minutes: let it idle, and look at the temperature"),
    )),
    Kind("hold", "pressure the vaporiser holds", PRESSURE, (
        Band(GAUGE_STEP_PA + 1, "expected", "holds no pressure, as a new one"),
        Band(None, "high", "holds pressure: blocked, a new one holds none"),
    ), lower_is_better=True, typed="0 mbar"),
)  # fmt: skip

_KIND_NAMED = {kind.kind: kind for kind in KINDS}
_UNIT_TYPED = {spelling: unit for unit in UNITS for spelling in unit.spellings}
_UNIT_SHOWN = {unit.symbol: unit for unit in UNITS}


class Reading(NamedTuple):
    """One reading as it was taken; `after` when it was taken after the work."""

    kind: str
    amount: Decimal
    unit: str
    after: bool = False

    @property
    def base(self) -> int:
        """Whole pascals, tenths of a degree Celsius or seconds, halves away from zero."""
        return int((self.amount * _UNIT_SHOWN[self.unit].scale).to_integral_value(rounding=ROUND_HALF_UP))


class Judgement(NamedTuple):
    """Which side of the expected a reading lies on, and what that says in one line."""

    side: Side
    words: str

    @property
    def in_full(self) -> str:
        """The words and the line that defers to the maker, for where a judgement stands alone."""
        return f"{self.words}. {DEFER}"


class Change(NamedTuple):
    """What became of a reading by the work, and the same in words with both amounts."""

    verdict: Verdict
    words: str


def parse_reading(kind: str, text: str, *, after: bool = False) -> Reading:
    """The reading in `35mbar`, `35 mbar` or `3,5 kPa`; raises `BadValue` without a unit or with a wrong one.

    >>> parse_reading("idle", "3,5 kPa").base
    3500
    """
    known = _kind(kind)
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    found = _AMOUNT.fullmatch(typed)
    if not found:
        raise BadValue(f"{known.kind} {_shown(text)} is not a reading: write it like {known.example}")
    if _TWO_WAYS.fullmatch(found[1]):
        raise BadValue(f"{known.kind} {_shown(text)} can be read two ways: write thousands without a comma")
    unit = _unit(known, found[2], text)
    # Adding zero turns a typed -0 into 0, which would be stored and shown with its sign.
    reading = Reading(known.kind, Decimal(found[1].replace(",", ".")) + 0, unit.symbol, after)
    if reading.base < known.measure.least:
        raise BadValue(f"{known.kind} {_shown(text)} is lower than any {known.measure.name} can be: write it again")
    return reading


def _kind(name: str) -> Kind:
    known = _KIND_NAMED.get(name.strip().lower())
    if known is None:
        raise BadValue(f"reading {_shown(name)} is not one of {', '.join(_KIND_NAMED)}: write one like idle 35 mbar")
    return known


def _unit(kind: Kind, typed: str, text: str) -> Unit:
    units = ", ".join(unit.symbol for unit in UNITS if unit.measure == kind.measure)
    if not typed:
        raise BadValue(f"{kind.kind} {_shown(text)} has no unit: write one of {units}, like {kind.example}")
    unit = _UNIT_TYPED.get(typed.lower())
    if unit is None or unit.measure != kind.measure:
        raise BadValue(f"{kind.kind} is a {kind.measure.name}: {_shown(typed)} cannot be used, write one of {units}")
    return unit


def _shown(text: str) -> str:
    """What was typed, as a message quotes it: escaped, and cut off where it is long."""
    return repr(text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}...")


def read_readings(text: str) -> tuple[Reading, ...]:
    """The readings in `idle 35 mbar;3000 210 mbar;after idle 8 mbar`; raises `BadValue`."""
    return tuple(_read_one(piece) for piece in text.split(";") if piece.strip())


def _read_one(piece: str) -> Reading:
    words = piece.split()
    after = words[0].lower() == _AFTER
    kind, *rest = words[after:] or [""]
    return parse_reading(kind, " ".join(rest), after=after)


def write_readings(readings: Iterable[Reading]) -> str:
    """The readings as they are stored, each as it was taken: the inverse of `read_readings`."""
    return ";".join(f"{_AFTER} {_written(row)}" if row.after else _written(row) for row in readings)


def _written(reading: Reading) -> str:
    return f"{reading.kind} {_amount(reading)}"


def _amount(reading: Reading) -> str:
    return f"{reading.amount:f} {reading.unit}"


def show_reading(reading: Reading) -> str:
    """The reading as a person reads it: `filter pressure at idle 35 mbar`."""
    when = ", after the work" if reading.after else ""
    return f"{_KIND_NAMED[reading.kind].title} {_amount(reading)}{when}"


def judge(reading: Reading) -> Judgement:
    """Which side of the expected a reading lies on; show it with `DEFER`, or use its `in_full`.

    >>> judge(parse_reading("idle", "35 mbar"))
    Judgement(side='high', words='asks for cleaning')
    """
    bands = _KIND_NAMED[reading.kind].bands
    band = next(band for band in bands if band.below is None or reading.base < band.below)
    return Judgement(band.side, band.words)


def compared(before: Reading, after: Reading, *, step_pa: int = GAUGE_STEP_PA) -> Change:
    """Whether a pressure got better; one step of the gauge (`step_pa`, pascals) or less is no change.

    Only kinds where nearer to zero is better are called better or worse. Raises `BadValue` for readings of
    two kinds.
    """
    if before.kind != after.kind:
        raise BadValue(f"{before.kind} and {after.kind} cannot be compared: take the same reading before and after")
    amounts = f"{_amount(before)} before, {_amount(after)} after"
    if not _KIND_NAMED[before.kind].lower_is_better:
        return Change("not compared", amounts)
    gain = abs(before.base) - abs(after.base)
    if abs(gain) <= step_pa:
        return Change("no change", f"{amounts}: too little for the gauge to tell, so no improvement")
    verdict: Verdict = "better" if gain > 0 else "worse"
    return Change(verdict, f"{amounts}: {verdict} by {Decimal(abs(gain)).scaleb(-2).normalize():f} mbar")


def band(reading: Reading) -> str:
    """A coarse label to tell jobs alike by, like `idle high`; empty for a reading after the work."""
    return "" if reading.after else f"{reading.kind} {judge(reading).side}"

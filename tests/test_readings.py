"""Readings taken by hand: units, the stored form, what they say, and what the work changed.

No published source gives the limits: each is marked as common practice.
"""

from __future__ import annotations

import re
import subprocess
import sys
from decimal import Decimal

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy import constants

from vanstock.errors import BadValue
from vanstock.readings import (
    DEFER,
    KINDS,
    UNITS,
    Kind,
    Reading,
    Unit,
    band,
    compared,
    judge,
    parse_reading,
    read_readings,
    show_reading,
    write_readings,
)

SIDES = ("low", "expected", "high")
KIND_NAMES = ("off", "idle", "3000", "regen", "flush", "air", "revs", "hold")
PAIRS = [(kind, unit) for kind in KINDS for unit in UNITS if unit.measure == kind.measure]


@st.composite
def any_reading(draw: st.DrawFn) -> Reading:
    kind, unit = draw(st.sampled_from(PAIRS))
    whole = draw(st.integers(-2000, 2000) | st.integers(0, 9_999_999))
    reading = Reading(kind.kind, Decimal(whole).scaleb(-draw(st.integers(0, 3))), unit.symbol, draw(st.booleans()))
    assume(reading.base >= kind.measure.least)
    return reading


def side(kind: str, text: str) -> str:
    return judge(parse_reading(kind, text)).side


def says(kind: str, text: str) -> str:
    return judge(parse_reading(kind, text)).words


def verdict(kind: str, before: str, after: str) -> str:
    return compared(parse_reading(kind, before), parse_reading(kind, after, after=True)).verdict


# Units


@pytest.mark.parametrize(
    ("text", "amount", "unit", "base"),
    [
        ("35mbar", "35", "mbar", 3500), ("35 mbar", "35", "mbar", 3500), (" 3,5 kPa ", "3.5", "kPa", 3500),
        ("35hPa", "35", "hPa", 3500), ("3500 pa", "3500", "Pa", 3500), (".035 BAR", "0.035", "bar", 3500),
        ("-2 mbar", "-2", "mbar", -200), ("\N{MINUS SIGN}2 mbar", "-2", "mbar", -200), ("+0,5 mbar", "0.5", "mbar", 50),
        ("1.250 bar", "1.250", "bar", 125_000), ("0,125 bar", "0.125", "bar", 12_500),
    ],
)  # fmt: skip
def test_a_pressure_is_read_as_people_write_it(text: str, amount: str, unit: str, base: int) -> None:
    reading = parse_reading("idle", text)
    assert (str(reading.amount), reading.unit, reading.base) == (amount, unit, base)


@pytest.mark.parametrize("text", ["620 C", "620c", "620 °C", "620degC", "620 deg C", "620,0 C"])
def test_a_temperature_is_read_as_people_write_it(text: str) -> None:
    assert (parse_reading("regen", text).base, parse_reading("regen", text).unit) == (6200, "C")


@pytest.mark.parametrize("text", ["2 min", "2mins", "120 s", "120secs"])
def test_a_time_is_read_as_people_write_it(text: str) -> None:
    assert parse_reading("revs", text).base == 120


def test_130_psi_is_8_963_bar_and_10_mbar_is_1_kilopascal() -> None:
    """NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757 kPa, 1 bar = 100 kPa, 1 mbar = 100 Pa (from memory)."""
    assert abs(parse_reading("air", "130 psi").base - parse_reading("air", "8.963 bar").base) <= 50
    assert parse_reading("air", "130 psi").base == round(130 * 6894.757)
    assert parse_reading("idle", "10 mbar").base == parse_reading("idle", "1 kPa").base == 1000


@given(any_reading())
def test_base_units_agree_with_the_constants_of_scipy(reading: Reading) -> None:
    """CODATA and SI values as scipy.constants gives them."""
    scale = {
        "Pa": 1, "hPa": constants.hecto, "mbar": constants.milli * constants.bar, "kPa": constants.kilo,
        "bar": constants.bar, "psi": constants.psi, "C": 10, "s": 1, "min": constants.minute,
    }[reading.unit]  # fmt: skip
    exact = float(reading.amount) * scale
    assert abs(reading.base - exact) <= 0.5 + 1e-9 * abs(exact)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.symbol)
def test_a_unit_of_another_measure_is_refused_and_the_right_ones_are_named(kind: Kind, unit: Unit) -> None:
    if unit.measure == kind.measure:
        assert parse_reading(kind.kind, f"1 {unit.symbol}").unit == unit.symbol
        return
    right = [other.symbol for other in UNITS if other.measure == kind.measure]
    with pytest.raises(BadValue, match=f"is a {kind.measure.name}: .* write one of {', '.join(right)}"):
        parse_reading(kind.kind, f"1 {unit.symbol}")


@pytest.mark.parametrize(
    ("kind", "units"), [("idle", "Pa, hPa, mbar, kPa, bar, psi"), ("regen", "C"), ("revs", "s, min")]
)
def test_a_bare_number_is_refused_and_the_units_are_named(kind: str, units: str) -> None:
    with pytest.raises(BadValue, match=f"{kind} '35' has no unit: write one of {units}, like "):
        parse_reading(kind, "35")


@pytest.mark.parametrize(
    ("kind", "text", "told"),
    [
        ("idle", "", "write it like 35 mbar"),
        ("idle", "mbar", "write it like 35 mbar"),
        ("idle", "high", "write it like 35 mbar"),
        ("idle", "٣ mbar", "write it like 35 mbar"),
        ("idle", "1e3 mbar", "'e3 mbar' cannot be used"),
        ("idle", "35 mbar 36 mbar", "'mbar 36 mbar' cannot be used"),
        ("idle", "12345678 Pa", "cannot be used"),
        ("regen", "1150 F", "write one of C"),
        ("air", "1,300 mbar", "can be read two ways"),
        ("revs", "-2 min", "lower than any time can be"),
        ("regen", "-300 C", "lower than any temperature can be"),
        ("air", "-2 bar", "lower than any pressure can be"),
        ("warm", "35 mbar", "not one of off, idle, 3000, regen, flush, air, revs, hold"),
        ("", "35 mbar", "not one of off, idle"),
    ],
)
def test_what_is_no_reading_is_refused_with_the_way_to_write_one(kind: str, text: str, told: str) -> None:
    with pytest.raises(BadValue, match=told):
        parse_reading(kind, text)


@given(
    st.sampled_from(KIND_NAMES) | st.text(max_size=8), st.text(max_size=60) | st.from_regex(r"[0-9.,]{1,9} ?[a-zA-Z°]*")
)
@example("idle", "1\x1b[31m")
@example("idle", "\ud800")
@example("\u202eidle", "1 mbar")
def test_whatever_is_typed_is_a_reading_or_one_printable_line(kind: str, text: str) -> None:
    try:
        reading = parse_reading(kind, text)
    except BadValue as mistake:
        told = str(mistake)
    else:
        told = write_readings([reading])
        assert read_readings(told) == (reading,)
    assert told.isprintable()


# The stored form


def test_readings_are_stored_as_they_were_taken() -> None:
    text = "idle 35 mbar;3000 210 mbar;after idle 8 mbar;flush 80 C;revs 3 min"
    readings = read_readings(text)
    assert [row.kind for row in readings] == ["idle", "3000", "idle", "flush", "revs"]
    assert [row.after for row in readings] == [False, False, True, False, False]
    assert write_readings(readings) == text
    assert read_readings(" Idle  35mbar ; ;AFTER idle 8 mbar;") == (readings[0], readings[2])
    assert read_readings("") == ()


@given(st.lists(any_reading(), max_size=6))
def test_what_is_written_is_read_back(readings: list[Reading]) -> None:
    text = write_readings(readings)
    found = read_readings(text)
    assert found == tuple(readings)
    assert write_readings(found) == text


@pytest.mark.parametrize(
    "text", ["idle", "after", "after idle", "35 mbar", "idle 35 mbar, 3000 210 mbar", "idle;35 mbar"]
)
def test_a_stored_form_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(BadValue):
        read_readings(text)


def test_a_zero_typed_with_a_minus_is_a_zero() -> None:
    assert write_readings([parse_reading("off", "-0 mbar")]) == "off 0 mbar"


def test_a_reading_is_shown_with_its_unit_as_it_was_taken() -> None:
    assert show_reading(parse_reading("idle", "3,50 kPa")) == "filter pressure at idle 3.50 kPa"
    assert show_reading(parse_reading("3000", "80 mbar", after=True)).endswith("near 3,000 rpm 80 mbar, after the work")


# What readings say: common practice, no source


def test_about_30_mbar_at_idle_and_about_200_near_3000_rpm_asks_for_cleaning() -> None:
    """Common practice, no source."""
    for kind, text in (("idle", "30 mbar"), ("idle", "32 mbar"), ("3000", "200 mbar"), ("3000", "100 mbar")):
        assert (side(kind, text), says(kind, text)) == ("high", "asks for cleaning")
    assert says("3000", "250 mbar") == "asks for cleaning"
    assert says("3000", "251 mbar").startswith("badly blocked")
    assert side("3000", "99 mbar") == "expected"


@pytest.mark.parametrize("text", ["0 mbar", "9 mbar", "10 mbar", "1 kPa"])
def test_up_to_10_mbar_at_idle_is_clean_on_a_gauge_that_steps_by_10(text: str) -> None:
    """Common practice, no source."""
    assert (side("idle", text), says("idle", text)) == ("expected", "clean")


@pytest.mark.parametrize("text", ["11 mbar", "20 mbar", "29.9 mbar"])
def test_under_30_mbar_there_is_nothing_to_clean_at_idle(text: str) -> None:
    """Common practice, no source."""
    assert (side("idle", text), says("idle", text)) == ("expected", "nothing to clean at idle")


def test_with_the_engine_off_0_to_20_mbar_is_expected() -> None:
    """Common practice, no source."""
    assert [side("off", text) for text in ("-1 mbar", "0 mbar", "20 mbar", "21 mbar")] == [
        "low", "expected", "expected", "high",
    ]  # fmt: skip


def test_a_filter_pressure_below_zero_with_the_engine_running_is_low() -> None:
    """Common practice, no source."""
    assert (side("idle", "-1 mbar"), side("3000", "-1 mbar")) == ("low", "low")


def test_a_regeneration_near_620_c_is_expected_a_cooler_one_points_to_the_heat_source() -> None:
    """Common practice, no source."""
    assert [side("regen", f"{degrees} C") for degrees in (550, 600, 620, 680)] == ["expected"] * 4
    assert (side("regen", "549 C"), side("regen", "681 C")) == ("low", "high")
    assert "heat source" in says("regen", "420 C")
    assert "stop" in says("regen", "750 C")


def test_a_flush_is_allowed_at_99_c_while_it_falls_and_not_at_100() -> None:
    """Common practice, no source."""
    assert (side("flush", "99 C"), side("flush", "100 C")) == ("expected", "high")
    assert side("flush", "99.96 C") == "high"
    assert "only while it is falling" in says("flush", "20 C")
    assert "wait" in says("flush", "100 C")


def test_about_130_psi_is_expected_at_the_compressor() -> None:
    """Common practice, no source."""
    for text in ("130 psi", "110 psi", "145 psi", "8.963 bar", "10 bar"):
        assert side("air", text) == "expected"
    assert (side("air", "109 psi"), side("air", "146 psi")) == ("low", "high")


def test_revs_are_held_for_two_to_five_minutes() -> None:
    """Common practice, no source."""
    assert [side("revs", text) for text in ("119 s", "2 min", "5 min", "301 s")] == [
        "low", "expected", "expected", "high",
    ]  # fmt: skip


def test_a_blocked_vaporiser_holds_pressure_and_a_new_one_does_not() -> None:
    """Common practice, no source."""
    assert (side("hold", "0 mbar"), side("hold", "10 mbar")) == ("expected", "expected")
    assert (side("hold", "11 mbar"), side("hold", "2 bar")) == ("high", "high")


def test_every_judgement_is_one_plain_line_that_defers_to_the_maker() -> None:
    for kind in KINDS:
        for limit in kind.bands:
            assert re.fullmatch(r"[ -~]+[^.]", limit.words)
    assert "maker's figure" in DEFER
    assert judge(parse_reading("idle", "35 mbar")).in_full == f"asks for cleaning. {DEFER}"


def test_the_bands_of_a_kind_rise_and_leave_nothing_out() -> None:
    assert tuple(kind.kind for kind in KINDS) == KIND_NAMES
    for kind in KINDS:
        *limits, last = [limit.below for limit in kind.bands]
        assert last is None
        found = [limit for limit in limits if limit is not None]
        assert len(found) == len(limits)
        assert found == sorted(set(found))
        sides = [SIDES.index(limit.side) for limit in kind.bands]
        assert sides == sorted(sides)


@given(any_reading(), any_reading())
def test_more_is_never_judged_lower(first: Reading, second: Reading) -> None:
    second = second._replace(kind=first.kind, unit=first.unit)
    low, high = sorted((first, second), key=lambda row: row.base)
    assert SIDES.index(judge(low).side) <= SIDES.index(judge(high).side)


# Before and after


def test_one_step_of_the_gauge_is_never_called_an_improvement() -> None:
    """Common practice, no source."""
    assert verdict("idle", "30 mbar", "20 mbar") == "no change"
    assert verdict("idle", "30 mbar", "10 mbar") == "better"
    assert verdict("idle", "3 kPa", "20 mbar") == "no change"
    assert verdict("idle", "20 mbar", "30 mbar") == "no change"


def test_a_change_is_told_with_both_amounts() -> None:
    before, after = read_readings("3000 21 kPa;after 3000 80 mbar")
    assert compared(before, after) == ("better", "21 kPa before, 80 mbar after: better by 130 mbar")
    assert compared(after, before).words == "80 mbar before, 21 kPa after: worse by 130 mbar"
    assert "no improvement" in compared(before, before).words


def test_a_finer_gauge_can_tell_a_smaller_change() -> None:
    before, after = read_readings("idle 30 mbar;after idle 20 mbar")
    assert compared(before, after, step_pa=100).verdict == "better"


def test_a_pressure_that_went_below_zero_is_no_improvement() -> None:
    assert verdict("idle", "20 mbar", "-60 mbar") == "worse"


@pytest.mark.parametrize(
    ("kind", "before", "after"),
    [("off", "0 mbar", "20 mbar"), ("regen", "420 C", "610 C"), ("flush", "120 C", "80 C"), ("air", "8 bar", "9 bar")],
)
def test_a_kind_where_less_is_not_better_is_shown_and_not_called_better(kind: str, before: str, after: str) -> None:
    found = compared(parse_reading(kind, before), parse_reading(kind, after, after=True))
    assert found == ("not compared", f"{before} before, {after} after")


def test_two_kinds_are_not_compared() -> None:
    with pytest.raises(BadValue, match="take the same reading before and after"):
        compared(parse_reading("3000", "210 mbar"), parse_reading("idle", "8 mbar", after=True))


@given(any_reading(), any_reading())
def test_a_change_and_its_reverse_are_opposites(first: Reading, second: Reading) -> None:
    second = second._replace(kind=first.kind, unit=first.unit)
    opposite = {"better": "worse", "worse": "better", "no change": "no change", "not compared": "not compared"}
    assert compared(second, first).verdict == opposite[compared(first, second).verdict]


# Likeness of jobs, and what it costs to be ready


def test_a_band_is_the_kind_and_its_side_of_readings_before_the_work_only() -> None:
    readings = read_readings("idle 35 mbar;regen 420 C;off 0 mbar;after idle 8 mbar")
    assert [band(row) for row in readings] == ["idle high", "regen low", "off expected", ""]


def test_codes_and_readings_load_nothing_but_the_standard_library() -> None:
    code = (
        "import sys; old = set(sys.modules); import vanstock.codes, vanstock.readings; print(*set(sys.modules) - old)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    ours = {name for name in loaded if name.split(".")[0] == "vanstock"}
    assert ours == {"vanstock", "vanstock.codes", "vanstock.errors", "vanstock.readings"}
    assert {name.split(".")[0] for name in loaded - ours} <= sys.stdlib_module_names


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)
def test_the_example_of_a_kind_can_be_typed_and_asks_for_no_caution(kind: Kind) -> None:
    reading = parse_reading(kind.kind, kind.example)
    assert judge(reading).side == ("high" if kind.kind in ("idle", "3000") else "expected")

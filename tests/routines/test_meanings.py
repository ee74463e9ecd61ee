"""The table of fault codes: what it says of a code, what codes point to together; and which cautions parts call for."""

from __future__ import annotations

import csv
import re
from importlib.resources import files

import pytest

from vanstock.codes import base_code, is_generic
from vanstock.model import Part
from vanstock.routines.cautions import DEFER, all_cautions, cautions_for
from vanstock.routines.meanings import all_codes, group_of, hints, meaning_of

ROWS = list(csv.DictReader((files("vanstock.reference") / "fault_codes.csv").read_text(encoding="utf-8").splitlines()))
CAPITALS = {
    "A", "B", "Boost", "Closed", "Coolant", "Cooling", "Cylinder", "EGR", "Engine", "Exhaust",
    "Filter", "Glow", "Intake", "Manifold", "Mass", "Particulate", "Soot", "Thermostat", "Turbo", "Vehicle",
}  # fmt: skip
GROUPS = {"filter", "regen", "dp-sensor", "egt", "doser", "glow", "thermostat", "egr", "boost", "air", "pm-sensor"}
STOPPED = ("P246B", "P24A2", "P2458", "P2459")


def test_the_table_holds_118_codes_each_once() -> None:
    assert len(ROWS) == len({row["code"] for row in ROWS}) == len(all_codes()) == 118


def test_every_code_of_the_table_is_generic_and_of_the_standard_shape() -> None:
    """The shape and the generic groups are those of SAE J2012 / ISO 15031-6."""
    for row in ROWS:
        assert re.fullmatch(r"P[02][0-9A-F]{3}", row["code"]), row
        assert is_generic(row["code"]), row
        assert base_code(row["code"]) == row["code"]


def test_every_code_has_a_group_and_a_meaning_of_one_plain_line() -> None:
    assert {row["group"] for row in ROWS} == GROUPS
    for row in ROWS:
        assert row.keys() == {"code", "group", "meaning"}
        assert row["meaning"].strip() == row["meaning"] != "", row
        assert re.fullmatch(r"[ -~]+", row["meaning"]), row


def test_no_meaning_names_a_brand() -> None:
    """A name is written with a capital: the only capitals are those of these plain words."""
    found = {word for row in ROWS for word in re.findall(r"\b\w*[A-Z]\w*", row["meaning"])}
    assert found == CAPITALS


@pytest.mark.parametrize("code", ["P2463", "P2463-00", "P246300", "P2463-00-24", "p2463"])
def test_a_meaning_is_found_with_and_without_a_suffix(code: str) -> None:
    assert meaning_of(code) == "Particulate filter restricted by soot, bank 1"
    assert group_of(code) == "filter"


@pytest.mark.parametrize("code", ["P1ABC", "P1ABC-17", "480B", "P24", "", "U0100"])
def test_a_code_that_is_not_known_has_no_meaning(code: str) -> None:
    assert (meaning_of(code), group_of(code)) == ("", "")


@pytest.mark.parametrize("cool", ["P244C", "P24A0"])
@pytest.mark.parametrize("stopped", STOPPED)
def test_regeneration_held_off_with_too_cool_an_exhaust_points_to_the_heat_source(stopped: str, cool: str) -> None:
    """Common practice, no source."""
    (told,) = hints([f"{cool}-00", "P0401", f"{stopped}13"])
    assert told.startswith(f"{stopped}13 with {cool}-00: ")
    for words in ("heat source", "Rule out fuse, pump and relay first", "the maker's test comes first"):
        assert words in told
    assert "\n" not in told


@pytest.mark.parametrize(
    "codes", [[], ["P2463"], ["P244C", "P24A0"], list(STOPPED), ["P246B", "P244D"], ["246B", "244C"]]
)
def test_one_of_the_two_alone_points_nowhere(codes: list[str]) -> None:
    assert hints(codes) == []


def test_several_such_codes_are_told_in_one_line() -> None:
    assert len(hints([*STOPPED, "P244C", "P24A0"])) == 1


def test_what_a_hint_rests_on_is_what_the_table_says() -> None:
    for code in STOPPED:
        assert "regeneration" in meaning_of(code)
    assert "too cool" in meaning_of("P244C")
    assert "temperature too low" in meaning_of("P24A0")


def test_the_two_tables_are_read_from_the_same_place() -> None:
    assert all_cautions()
    assert {path.name for path in files("vanstock.reference").iterdir()} >= {"cautions.csv", "fault_codes.csv"}


@pytest.mark.parametrize("component", ["vaporiser", "exhaust doser"])
def test_work_on_a_fuel_line_or_a_control_unit_is_told_with_its_danger(component: str) -> None:
    """Fire from fuel lines: HSE HSG261. Sparks at a battery: HSE INDG139. The rest is common practice, no source."""
    told = cautions_for([Part("A-1", component=component)])
    assert any(line.startswith("Fuel lines: pressure off first") for line in told)
    assert any("no spark at a battery" in line for line in told)
    assert told[-1] == DEFER


def test_a_glow_plug_is_told_with_the_battery_and_not_with_the_fuel() -> None:
    told = " ".join(cautions_for([Part("A-1", component="glow plug")]))
    assert "no spark at a battery" in told
    assert "Fuel lines" not in told

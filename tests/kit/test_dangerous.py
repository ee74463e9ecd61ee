"""Points of what is aboard: reading hazard texts, units, what is unknown, and against plain fractions."""

from __future__ import annotations

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.errors import BadValue
from vanstock.kit.dangerous import DangerousLine, Points, count_points, transport_category
from vanstock.model import Part

FIRM = Path(__file__).parents[2] / "demo" / "firm" / "parts.csv"
AEROSOL = Part("CAN", hazard="UN1950/2.1/-/TC2", weight_grams=450, pack_size=12)
FLUID = Part("FLU", unit="LTR", hazard="UN1719/8/III/TC3", weight_grams=1_080, pack_size=5_000)
PARTS = {part.part: part for part in (
    AEROSOL, FLUID, Part("BLT"), Part("RNS", unit="LTR", hazard="not classified"),
    Part("POW", unit="KGM", hazard="UN1823/8/II/TC2"), Part("OLD", hazard="UN1950/2.1/-/TC2"),
    Part("BAN", hazard="UN2315/9/II/TC0"), Part("FOR", hazard="UN2037/2/-/TC4"), Part("NEW", unit="LTR"),
)}  # fmt: skip


def count(**held: int) -> Points:
    return count_points(held, PARTS)


@pytest.mark.parametrize(
    ("text", "category"),
    [
        ("UN1950/2.1/-/TC2", 2), ("UN1719/8/III/TC3", 3), (" un 1950 / 2.1 / - / tc 2 ", 2), ("UN1263/3/II/T C 2", 2),
        ("TC0", 0), ("UN1950 2.1 TC2", 2), ("UN1263/3/II/TC2 (D/E)", 2), ("UN1263/3/III/TC3; keep cool", 3),
        ("UN1263/3/III/TC3; UN1719/8/III/TC3", 3), ("", None), ("  ", None), ("not ADR", None), ("NOT  adr.", None),
        ("not classified", None), ("not ADR; harmful if swallowed", None), ("not dangerous goods", None),
    ],
)  # fmt: skip
def test_a_hazard_text_gives_its_category_whatever_its_spaces_and_case(text: str, category: int | None) -> None:
    assert transport_category(text) == category


@pytest.mark.parametrize(
    "text",
    [
        "UN1719/8/III", "flammable", "TC5", "TC22", "TC2.1", "TC", "UN1950/TC2/TC3", "TC2; TCx", "not ADR; TC2",
        "not ADR under 5 L", "not ADR if limited quantity", "UN1719 not ADR", "not ADR; UN1719", "XTC2", "TC²", "TC-2",
        "UN1950/2.1/-/2", "TC2 3",
    ],
)  # fmt: skip
def test_a_hazard_text_that_cannot_be_read_is_refused_and_never_guessed(text: str) -> None:
    with pytest.raises(BadValue, match="data sheet"):
        transport_category(text)


def test_litres_kilograms_and_aerosols_by_weight_are_added_up() -> None:
    """By hand: 24 x 0.45 kg x 3 + 12.5 L x 1 + 0.25 kg x 3 = 32.4 + 12.5 + 0.75."""
    found = count(CAN=24, FLU=12_500, POW=250, BLT=40, RNS=20_000)
    assert found.rows == (
        DangerousLine("CAN", "10.8 kg", 2, Decimal("32.4")), DangerousLine("FLU", "12.5 L", 3, Decimal("12.5")),
        DangerousLine("POW", "0.25 kg", 2, Decimal("0.75")),
    )  # fmt: skip
    assert (found.total, found.over, found.unknown, found.surely_within) == (Decimal("45.65"), False, (), True)


def test_what_cannot_be_counted_is_told_with_what_to_do() -> None:
    found = count(OLD=2, NEW=1_000, GONE=1)
    assert (found.rows, found.total, found.over, found.surely_within) == ((), Decimal(0), False, False)
    assert [(one.part, one.why) for one in found.unknown] == [
        ("GONE", "it is not in the list of parts: add it, with its hazard"),
        (
            "NEW",
            "no hazard text: write the transport category from the data sheet, or not ADR, as hazard in the parts list",
        ),
        ("OLD", "counted by weight, and none is known: give the weight of one with its contents"),
    ]


def test_category_0_is_over_and_category_4_counts_nothing_even_without_a_weight() -> None:
    found = count(BAN=1, FOR=3)
    assert [(row.part, row.quantity, row.points) for row in found.rows] == [
        ("BAN", "1 without a weight", Decimal(0)), ("FOR", "3 without a weight", Decimal(0)),
    ]  # fmt: skip
    assert (found.total, found.over, found.never, found.unknown) == (Decimal(0), True, ("BAN",), ())
    assert not count(FOR=3).over


def test_a_light_liquid_in_pieces_counts_the_room_it_takes_or_says_that_it_may_be_more() -> None:
    solvent = Part("SOL", hazard="UN1268/3/II/TC2", weight_grams=3_800)
    row = count_points({"SOL": 2}, {"SOL": solvent})
    assert row.rows[0].quantity == "7.6 kg by weight, a liquid's litres may be more"
    assert (row.total, row.surely_within) == (Decimal("22.8"), False)
    roomy = count_points({"SOL": 2}, {"SOL": solvent._replace(bulk_ml=5_500)})
    assert roomy.rows[0].quantity == "11 L by the room it takes"
    assert (roomy.total, roomy.surely_within) == (Decimal(33), True)


def test_an_aerosol_is_weighed_whatever_its_room_and_its_unit() -> None:
    roomy = count_points({"CAN": 2}, {"CAN": AEROSOL._replace(bulk_ml=900)})
    assert (roomy.rows[0].quantity, roomy.surely_within) == ("0.9 kg", True)
    odd = AEROSOL._replace(unit="LTR", weight_grams=900)
    assert count_points({"CAN": 500}, {"CAN": odd}).rows[0].quantity == "0.45 kg"


def test_what_is_below_zero_is_not_aboard() -> None:
    assert count(CAN=-3, FLU=0, BAN=-1, GONE=-1) == Points((), Decimal(0), 1_000, over=False, unknown=())


def test_every_hazard_text_of_the_invented_firm_can_be_read() -> None:
    with FIRM.open(encoding="utf-8", newline="") as file:
        texts = {row["part"]: row["hazard"] for row in csv.DictReader(file)}
    found = {part: transport_category(text) for part, text in texts.items()}
    assert {part: category for part, category in found.items() if category is not None} == {
        "FL-UNI-800-A": 3, "CH-UNI-810-A": 2, "CH-UNI-811-A": 2,
    }  # fmt: skip


hazards = st.sampled_from(["TC0", "TC1", "UN1950/2.1/-/TC2", "TC2", "TC3", "TC4", "not ADR", "", "?"])
maybe = st.one_of(st.none(), st.integers(0, 30_000))
kept = st.tuples(st.sampled_from(["C62", "PR", "LTR", "MTR", "KGM"]), hazards, maybe, maybe).map(
    lambda given: Part("X", unit=given[0], hazard=given[1], weight_grams=given[2], bulk_ml=given[3])
)
aboard = st.lists(st.tuples(kept, st.integers(-5, 400_000)), max_size=6)


def count_all(load: list[tuple[Part, int]]) -> Points:
    return count_points({f"P{n}": qty for n, (_, qty) in enumerate(load)},
                        {f"P{n}": part for n, (part, _) in enumerate(load)})  # fmt: skip


def slowly(load: list[tuple[Part, int]]) -> tuple[Fraction, bool, int]:
    """Total, whether it is over and how many are unknown, one unit after the other in fractions."""
    total, unknown, amounts = Fraction(0), 0, dict.fromkeys(range(5), Fraction(0))
    for part, qty in load:
        category = next((n for n in range(5) if f"TC{n}" in part.hazard), None)
        if qty <= 0:
            continue
        if part.hazard == "?" or (part.hazard == "" and part.unit in ("LTR", "KGM")):
            unknown += 1
        elif category is not None:
            units = Fraction(qty, 1_000 if part.unit in ("LTR", "MTR", "KGM") else 1)
            poured = part.unit == "KGM" or (part.unit == "LTR" and "UN1950" not in part.hazard)
            heavy, roomy = part.weight_grams or 0, 0 if "UN1950" in part.hazard else part.bulk_ml or 0
            amount = units if poured else units * (Fraction(max(heavy, roomy), 1_000) if heavy else 0)
            unknown += amount == 0 and category in (1, 2, 3)
            amounts[category] += amount if category else 1
    total = amounts[1] * 50 + amounts[2] * 3 + amounts[3]
    alone = [(amounts[n], most) for n, most in ((1, 20), (2, 333), (3, 1_000)) if amounts[n]]
    over = total > 1_000 or amounts[0] > 0 or (len(alone) == 1 and alone[0][0] > alone[0][1])
    return total, over, unknown


@given(aboard)
def test_points_are_what_fractions_give(load: list[tuple[Part, int]]) -> None:
    found = count_all(load)
    assert (Fraction(found.total), found.over, len(found.unknown)) == slowly(load)
    assert sum(Fraction(row.points) for row in found.rows) == Fraction(found.total)


@given(aboard, aboard)
def test_more_aboard_never_has_fewer_points(load: list[tuple[Part, int]], more: list[tuple[Part, int]]) -> None:
    less, all_of_it = count_all(load), count_all(load + more)
    assert all_of_it.total >= less.total
    if less.total > less.limit or less.never:
        assert all_of_it.over


@given(aboard)
def test_every_part_aboard_is_counted_unknown_or_no_dangerous_goods(load: list[tuple[Part, int]]) -> None:
    found = count_all(load)
    told = [row.part for row in found.rows] + [one.part for one in found.unknown]
    assert len(set(told)) == len(told)
    quiet = {part.hazard for n, (part, qty) in enumerate(load) if qty > 0 and f"P{n}" not in told}
    assert quiet <= {"", "not ADR"}


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        category = transport_category(text)
    except BadValue:
        return
    assert category in (None, 0, 1, 2, 3, 4)

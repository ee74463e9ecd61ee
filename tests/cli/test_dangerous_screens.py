"""Dangerous goods and weight as a person and a machine meet them: the morning, and the stock van by van."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
PARTS = "part,description,component,unit,cost,pack_size,hazard,weight_kg\n"


def firm(tmp_path: Path, parts: str, stock: str) -> str:
    """A folder with these parts and this stock, and one van beside the usual one."""
    folder = tmp_path / "goods"
    folder.mkdir()
    (folder / "parts.csv").write_text(PARTS + parts, encoding="utf-8")
    (folder / "stock.csv").write_text(f"part,place,qty\n{stock}", encoding="utf-8")
    (folder / "places.csv").write_text("place,kind\nsecond,van\n", encoding="utf-8")
    return str(folder)


def block(said: Any, heading: str) -> str:
    assert said.code == 0, said
    return " ".join(said.out.split(f"\n{heading}", 1)[1].split("\n\n", 1)[0].split())


@pytest.mark.parametrize(("litres", "points", "over"), [(333, "999", False), (334, "1002", True)])
def test_333_litres_of_category_2_pass_and_334_do_not(
    vanstock: Run, tmp_path: Path, litres: int, points: str, over: bool
) -> None:
    """ADR 1.1.3.6.3 and 1.1.3.6.4 (UNECE): three points a litre of transport category 2, 1,000 at most. Imported,
    shown and counted by whole commands."""
    ledger = tmp_path / "goods.db"
    folder = firm(tmp_path, "SOLV,solvent,solvent,LTR,5,1,UN1993/3/II/TC2,0.8\n", f"SOLV,van,{litres}\n")
    assert vanstock(f"import {folder}", ledger=ledger).code == 0
    counted = json.loads(vanstock("stock --dangerous --json", ledger=ledger).out)["vans"]
    assert [(row["van"], Decimal(row["points"]), row["over"]) for row in counted] == [
        ("van", Decimal(points), over),
        ("second", Decimal(0), False),
    ]
    said = vanstock("loadout", ledger=ledger)
    assert said.out.splitlines()[2].startswith("!! OVER THE LIMIT for dangerous goods: 1,002 points") == over
    aboard = json.loads(vanstock("loadout --json", ledger=ledger).out)
    assert Decimal(aboard["aboard"]["dangerous"]["points"]) == Decimal(points)
    assert any("OVER THE LIMIT" in text for text in aboard["cautions"]) == over
    assert "adviser" in block(said, "ABOARD")


def test_what_cannot_be_counted_is_named_with_what_to_do(vanstock: Run, tmp_path: Path) -> None:
    ledger = tmp_path / "goods.db"
    fluid, spray = "MYST,unknown fluid,fluid,LTR,5,1,,1\n", "SPRY,spray,spray,C62,5,1,UN1950/2.1/-/TC2,\n"
    odd = "ODD,another fluid,rinse,LTR,5,1,,1\n"
    folder = firm(
        tmp_path, f"{fluid}{odd}{spray}GSK,gasket,gasket,C62,1,1,,\n", "MYST,van,2\nODD,van,2\nSPRY,van,1\nGSK,van,1\n"
    )
    vanstock(f"import {folder}", ledger=ledger)
    said = vanstock("stock --dangerous --place van", ledger=ledger)
    told = " ".join(said.out.split())
    assert "NOT COUNTED, so there may be more points: MYST, ODD: no hazard text" in told
    assert "SPRY: counted by weight, and none is known" in told
    assert "GSK" not in told
    assert "nothing counted" in block(vanstock("loadout", ledger=ledger), "ABOARD")


def test_a_van_without_dangerous_goods_says_nothing_of_them(vanstock: Run, tmp_path: Path) -> None:
    ledger = tmp_path / "goods.db"
    vanstock(f"import {firm(tmp_path, 'GSK,gasket,gasket,C62,1,1,,0.5', 'GSK,van,3')}", ledger=ledger)
    assert "ABOARD" not in vanstock("loadout", ledger=ledger).out
    assert json.loads(vanstock("loadout --json", ledger=ledger).out)["aboard"] == {
        "weight_kg": "1.5",
        "payload_kg": None,
        "without_weight": [],
        "dangerous": None,
    }
    assert vanstock("stock --dangerous", ledger=ledger).out == (
        "van: no dangerous goods by the ledger\nsecond: no dangerous goods by the ledger\n"
    )
    vanstock("setting payload_kg 250", ledger=ledger)
    assert block(vanstock("loadout", ledger=ledger), "ABOARD") == "- 1.5 kg of parts, 250 kg may be (payload_kg)"


def test_the_load_is_counted_with_what_is_aboard_and_stands_on_the_page_too(vanstock: Run, tmp_path: Path) -> None:
    page = tmp_path / "load.html"
    said = vanstock(f"loadout --print {page}")
    told = block(said, "ABOARD WITH THE LOAD")
    assert "20.9 of at most 1,000 points" in told, "14.5 L of category 3; 2.11 kg of aerosols, category 2, at 3 a kg"
    assert "20.9 of at most 1,000 points" in page.read_text(encoding="utf-8")
    assert "10.9 of at most 1,000 points" in vanstock("stock --dangerous").out
    assert all(len(line) <= 80 for line in vanstock("stock --dangerous").out.splitlines())


@pytest.mark.parametrize(
    ("line", "told"),
    [("stock fluid --dangerous", "leave the part out"), ("stock --dangerous --place store", "no van named 'store'")],
)
def test_points_are_of_a_whole_van(vanstock: Run, line: str, told: str) -> None:
    said = vanstock(line)
    assert (said.code, told in said.err) == (1, True)

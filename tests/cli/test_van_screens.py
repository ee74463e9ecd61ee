"""Several vans on the terminal: where a part is, parts from place to place, a van's kit, and what is refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]
TO_SECOND = 'load GK-KRA-011-A=1 HC-UNI-412-A=4 --from van --van "van 2"'


def at(vanstock: Run, part: str) -> dict[str, str]:
    rows = json.loads(vanstock(f"stock {part} --json").out)["parts"]
    return {row["place"]: row["qty"] for row in rows if row["qty"] != "0"}


def worth(vanstock: Run) -> str:
    return str(json.loads(vanstock("value --json").out)["value"])


def test_parts_go_from_van_to_van_and_to_a_store_and_back_by_undo(vanstock: Run) -> None:
    vanstock('place add "van 2"')
    before, value = at(vanstock, "GK-KRA-011-A"), worth(vanstock)
    said = vanstock(TO_SECOND).out
    assert "loaded 1 x GK-KRA-011-A vaporiser gasket from van into van 2" in said
    assert at(vanstock, "GK-KRA-011-A") == {"van 2": "1", "store": before["store"]}
    assert at(vanstock, "HC-UNI-412-A")["van 2"] == "4"
    assert worth(vanstock) == value
    assert "store now has" in vanstock('load HC-UNI-412-A 2 --from "van 2" --to store').out
    vanstock("undo")
    vanstock("undo " + re.search(r"entry ([0-9a-f]{8})", said)[1])  # type: ignore[index]
    assert at(vanstock, "GK-KRA-011-A") == before


def test_where_is_one_document_for_machines(vanstock: Run) -> None:
    found = json.loads(vanstock("where DS-KRA-010-B --json").out)
    assert {row["part"] for row in found["lies"]} == {"DS-KRA-010-A", "DS-KRA-010-B"}
    assert [row["part"] for row in found["stands_in"]] == ["DS-KRA-010-A"]
    assert [row["job"] for row in found["jobs"]] == ["J0782"]
    assert found["jobs_looked_at"] == found["jobs_booked"] == 15
    assert found["nearest"][0] == "store has 1 x DS-KRA-010-A"


def test_a_kit_is_filled_up_once_and_stays_within_what_the_store_has(vanstock: Run) -> None:
    before = json.loads(vanstock("kit --json").out)
    assert before["completion"] == pytest.approx(before["target"], abs=0.02)
    said = vanstock("load --kit").out
    assert said.count("loaded ") == sum(len(row["load"]) for row in before["parts"])
    after = json.loads(vanstock("kit --json").out)
    assert not any(row["load"] for row in after["parts"])
    assert vanstock("load --kit").out.startswith("nothing to load: what the stores have of the kit of van is aboard")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("load", "name one part to load"),
        ("load --all --kit", "name one part to load"),
        ("load GK-KRA-011-A 1 2", "name one part and its quantity, or several as PART=QTY"),
        ("load GK-KRA-011-A=1 2", "load '2' cannot be read"),
        ("load --all --to store", "name it with --van"),
        ("load --all --from van", "say where each line comes from: leave --from out"),
        ("load --kit --from van", "say where each line comes from: leave --from out"),
        ("load --kit --date 2027-03-02", "--date belongs to --all"),
        ("load GK-KRA-011-A=1 --from van", "van is both where it comes from and where it goes"),
        ("load GK-KRA-011-A=1 --from attic", "attic"),
    ],
)
def test_what_cannot_be_carried_is_refused_in_one_line(vanstock: Run, line: str, told: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out) == (1, "")
    assert told in said.err
    assert said.err.count("\n") == 1

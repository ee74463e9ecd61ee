"""The screens of `count`: the sheet, answers in one go, the report; what is refused; none wider than 80 columns."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run

MORNING = "2027-03-01T07:30"
EVENING = "2027-03-01T18:00"


def narrow(text: str) -> bool:
    return all(len(line) <= 80 for line in text.splitlines() if not line.startswith("written to"))


def document(text: str) -> Any:
    return json.loads(text)


def fill(path: Path, answers: dict[str, str]) -> None:
    with path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, list(rows[0]))
        writer.writeheader()
        writer.writerows(row | {"counted": answers.get(row["part"], "")} for row in rows)


def test_the_sheet_says_why_in_plain_words_and_keeps_the_figures_to_itself(vanstock: Run, tmp_path: Path) -> None:
    vanstock("fit J0783 PS-LUN-400-A --without", MORNING)
    page, sheet = tmp_path / "count.html", tmp_path / "count.csv"
    said = vanstock(f"count --sheet --lines 5 --file {page} --file {sheet}", EVENING)
    assert said.code == 0
    assert narrow(said.out)
    assert said.out.startswith("5 lines most worth counting\n")
    assert said.out.index("PS-LUN-400-A") < said.out.index("DS-LUN-010-A")
    assert "marked: the ledger" in said.out
    rows = list(csv.DictReader(sheet.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 5
    assert {row["counted"] for row in rows} == {""}
    assert "ledger" not in rows[0]
    assert page.read_text().count('class="box"') == 5
    with_figures = document(vanstock("count --sheet --lines 5 --figures --json", EVENING).out)
    assert all("ledger" in line for line in with_figures["lines"])
    assert all("ledger" not in line for line in document(vanstock("count --sheet --json", EVENING).out)["lines"])


def test_several_parts_typed_are_one_entry_with_its_difference_report_and_one_undo(vanstock: Run) -> None:
    said = vanstock("count GP-KRA-100-A=3 FL-UNI-800-A=4.5L HC-UNI-412-A=40 --place van", EVENING)
    assert said.code == 0
    assert narrow(said.out)
    assert "counted 3 lines in van: 1 agree, 2 differ" in said.out
    assert "lost 11.20" in said.out
    assert "wrong either way by" in said.out
    vanstock("undo", EVENING)
    assert document(vanstock("stock GP-KRA-100-A --place van --json").out)["parts"][0]["qty"] == "4"
    assert "nothing was counted so far" in vanstock("count --report", EVENING).out


def test_a_full_count_holds_its_answers_against_the_frozen_moment(vanstock: Run, tmp_path: Path) -> None:
    sheet = tmp_path / "full.csv"
    said = vanstock(f"count --sheet --all --place van --file {sheet}", MORNING)
    assert narrow(said.out)
    assert "frozen at Mon 2027-03-01 07:30" in said.out
    vanstock("fit J0783 FL-UNI-800-A 2.5L --without", "2027-03-01T10:00")
    fill(sheet, {"FL-UNI-800-A": "4.5", "GP-KRA-100-A": "3"})
    found = document(vanstock(f"count --answers {sheet} --json", EVENING).out)
    assert found["frozen"] == "2027-03-01T07:30"
    assert [(line["part"], line["ledger"], line["counted"], line["difference"]) for line in found["lines"]] == [
        ("GP-KRA-100-A", "4", "3", "-1"), ("FL-UNI-800-A", "4.5", "4.5", "0"),
    ]  # fmt: skip
    assert found["lines"][1]["moved_since"] == "-2.5"
    assert (found["net"], found["absolute"]) == ("-11.20", "11.20")
    assert len(found["not_counted"]) == 33
    said = vanstock(f"count --answers {sheet}", EVENING)
    assert (said.code, said.out) == (1, "")
    assert "every answer is in the ledger already" in said.err


def test_bad_answers_are_each_named_by_file_and_line_and_nothing_is_recorded(vanstock: Run, tmp_path: Path) -> None:
    sheet = tmp_path / "mine.csv"
    sheet.write_text(
        "part,place,counted\nGP-KRA-100-A,van,3\nGP-KRA-100-A,van,2\nNOPE,van,1\nFL-UNI-800-A,van,1 gallon\n"
    )
    said = vanstock(f"count --answers {sheet}", EVENING)
    assert said.code == 1
    assert [line.split(": ")[0] for line in said.err.splitlines()] == [
        "mine.csv:3", "mine.csv:4", "mine.csv:5", "vanstock",
    ]  # fmt: skip
    assert "nothing was counted so far" in vanstock("count --report", EVENING).out


def test_the_report_has_parts_places_and_totals(vanstock: Run) -> None:
    vanstock("count GP-KRA-100-A=3 HC-UNI-412-A=38", MORNING)
    vanstock("count FL-UNI-800-A 14L --place store", EVENING)
    said = vanstock("count --report", EVENING)
    assert narrow(said.out)
    assert "counted 3 lines so far: 1 agree, 2 differ" in said.out
    found = document(vanstock("count --report --since 2027-03-01 --json", EVENING).out)
    assert {place["place"]: place["net"] for place in found["places"]} == {"van": "-11.20", "store": "-5.60"}
    assert (found["counts"], found["disagreed"], found["net"]) == (3, 2, "-16.80")
    assert [part["part"] for part in found["parts"]] == ["GP-KRA-100-A", "FL-UNI-800-A"]
    later = vanstock("count --report --since 2027-03-02", EVENING)
    assert "nothing was counted since 2027-03-02" in later.out


def test_one_part_typed_as_before_says_as_before_and_has_json(vanstock: Run) -> None:
    assert (
        "counted 36 x HC-UNI-412-A in van: 2 fewer than the ledger had, posted" in vanstock("count HC-UNI-412-A 36").out
    )
    found = document(vanstock("count HC-UNI-412-A 40 --json").out)
    assert [(line["ledger"], line["counted"], line["difference"]) for line in found["lines"]] == [("36", "40", "4")]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("count", "name a part and what you counted"),
        ("count HC-UNI-412-A", "cannot be read: write PART QTY for one part"),
        ("count HC-UNI-412-A 3 --sheet", "name a part and what you counted"),
        ("count --report --sheet", "name a part and what you counted"),
        ("count HC-UNI-412-A=3 4", "'4' cannot be read"),
        ("count HC-UNI-412-A=3 GP-KRA-100-A 4", "'GP-KRA-100-A' cannot be read"),
        ("count --all", "name a part and what you counted"),
        ("count HC-UNI-412-A=3 --all", "--all, --file and --figures go with --sheet"),
        ("count HC-UNI-412-A=3 --since 2027-01-01", "--since goes with --report"),
        ("count --sheet --file firm.db", "ends in neither .html nor .csv"),
        ("count --sheet --place attic", "no van or store named 'attic'"),
        ("count --answers nowhere.csv", "nothing was recorded"),
        ("count HC-UNI-412-A=3 --code F1", "is no sheet's code"),
        ("count --report --since 2027-02-30", "does not exist"),
    ],
)
def test_what_cannot_be_is_told_in_one_line_and_ends_1(vanstock: Run, line: str, told: str) -> None:
    said = vanstock(line, EVENING)
    assert (said.code, said.out) == (1, "")
    assert told in said.err

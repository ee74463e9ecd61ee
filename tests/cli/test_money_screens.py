"""The screens of money: what stock is worth, what lies long, and the year, on the demo firm's ledger."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

Run = Callable[..., Any]
SCREENS = ("value", "value --date 2027-02-28", "value --date 2026-12-31", "value --slow", "year", "year 2026",
           "year --from 2027-02-28 --to 2027-02-28", "year --from 2027-02-01")  # fmt: skip


@pytest.mark.parametrize("line", SCREENS)
def test_a_screen_of_money_fits_eighty_columns_and_a_pipe_gets_no_escapes(vanstock: Run, line: str) -> None:
    said = vanstock(line)
    assert (said.code, said.err) == (0, "")
    assert "\x1b" not in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    assert all(row == row.rstrip() for row in said.out.splitlines())


def test_the_value_shown_is_that_of_the_stock_list_and_of_its_rows(vanstock: Run) -> None:
    total = re.search(r"worth (\S+)", vanstock("stock").out)
    assert total
    assert f"all places  60  {total[1]}" in re.sub(r" {2,}", "  ", vanstock("value").out)
    found = json.loads(vanstock("value --json").out)
    assert found["value"] == total[1]
    assert sum(Decimal(row["value"]) for row in found["rows"]) == Decimal(found["value"])
    assert sum(row["lines"] for row in found["rows"]) == 60


def test_the_year_tells_what_was_brought_in_and_leaves_the_judgement_to_the_accountant(vanstock: Run) -> None:
    vanstock("received GP-KRA-100-A 4")
    vanstock("undo")
    vanstock("count HC-UNI-412-A 36")
    out = vanstock("year").out
    assert re.search(r"brought in at first count +2144\.15\n", out)
    assert re.search(r"bought, carriage included +0\.00\n", out)
    assert re.search(r"sent back to suppliers +0\.00\n", out)
    assert re.search(r"count differences +-0\.76\n", out)
    assert re.search(r"stock at the end +2143\.39\n", out)
    assert out.endswith("ask your accountant which of these figures to use, and how stock is to be valued\n")


def test_the_json_of_the_year_adds_up(vanstock: Run) -> None:
    vanstock("received FL-UNI-800-A 2packs --cost 6.10 --carriage 4.95")
    found = json.loads(vanstock("year --json").out)
    ways = ("brought_in", "bought", "used", "sent_back", "written_off", "count_difference", "moved")
    for one in (found, *found["components"], *found["places"], *found["months"]):
        assert sum(Decimal(one[name]) for name in ("opening", *ways)) == Decimal(one["closing"])
    assert (found["bought"], found["purchases"]) == (
        "65.95", [{"supplier": "GWC", "bought": "65.95", "sent_back": "0.00"}],
    )  # fmt: skip


def test_the_year_is_written_to_a_file_and_said(vanstock: Run, tmp_path: Path) -> None:
    for name in ("year.csv", "year.xlsx"):
        said = vanstock(f"year --file {tmp_path / name}")
        assert said.code == 0
        assert said.out.endswith(f"written to {tmp_path / name}\n")
        assert (tmp_path / name).stat().st_size
    with (tmp_path / "year.csv").open(encoding="utf-8", newline="") as lines:
        assert sum(Decimal(row["closing"]) for row in csv.DictReader(lines)) == Decimal("2144.15")


CLAIMED = (
    (1, "order --supplier PDP --set DS-SKV-010-A=2 --set DS-LUN-030-A=2 --yes"),
    (1, "order sent O0001"),
    (3, "receive O0001 --carriage 6.00 --wrong ET-SKV-310-A=ET-KRA-310-A:1 --damaged DS-LUN-030-A=1"
        " --price DS-SKV-010-A=190"),
    (4, "goes-back PS-KRA-400-B --job J0781 --warranty"),
    (5, "goes-back DS-SKV-010-A 1 --order O0001"),
    (6, "sent-back R0001 R0003 R0005 R0006"),
    (7, "give-up R0003"),
    (8, "give-up R0004"),
    (9, "credited R0005"),
)  # fmt: skip


def test_the_year_shows_what_the_screens_of_claims_said_was_lost_and_credited(vanstock: Run, tmp_path: Path) -> None:
    """By hand: 1.56 of carriage on the dosing injector, 40.00 and 58.00 are lost, 47.20 came; 191.56 left the store."""
    said = [vanstock(line, now=f"2027-03-0{day}T10:00").out for day, line in CLAIMED]
    lost = [Decimal(amount) for out in said[5:8] for amount in re.findall(r"(\S+) (?:is lost|more than will)", out)]
    assert lost == [Decimal("1.56"), Decimal("40.00"), Decimal("58.00")]
    shown = vanstock(f"year --file {tmp_path / 'year.xlsx'}", now="2027-03-09T10:00").out
    assert re.search(r"sent back to suppliers +-191\.56\nwritten off +0\.00\n", shown)
    assert re.search(r"outside the stock +value\n[- ]+\nlost: written off +-99\.56\ngained +0\.00\n"
                     r"credited on failed parts, off their jobs +47\.20\n", shown)  # fmt: skip
    assert max(map(len, shown.splitlines()[:-1])) <= 80
    found = json.loads(vanstock("year --json", now="2027-03-09T10:00").out)
    assert found["claims"] == {"lost": "-99.56", "gained": "0.00", "credited_on_failed_parts": "47.20"}
    book = load_workbook(tmp_path / "year.xlsx", data_only=True)
    assert ("lost: written off", -99.56) in list(book["summary"].iter_rows(values_only=True))
    assert [row[5] for row in book["claims"].iter_rows(min_row=2, values_only=True)] == [-1.56, -40, -58, 47.2, -52.36]
    assert [row[0] for row in book["counts and write-offs"].iter_rows(min_row=2, values_only=True)] == ["all"]


def test_the_year_has_no_block_of_claims_where_there_are_none(vanstock: Run) -> None:
    assert "claims" not in vanstock("year").out
    assert set(json.loads(vanstock("year --json").out)["claims"].values()) == {"0.00"}


def test_slow_stock_defers_to_the_accountant_and_its_json_adds_up(vanstock: Run) -> None:
    out = vanstock("value --slow").out
    found = json.loads(vanstock("value --slow --json").out)
    total = sum(Decimal(one["value"]) for one in found["candidates"])
    assert f"{len(found['candidates'])} lines, {total} at what they cost" in out
    assert "is a judgement" in out
    twelve = [one for one in found["slow"] if "12_months" in one]
    assert f"12 months or more: {len(twelve)} parts" in out


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("value --date 2027-03-02", "2027-03-02 is still to come: name a day up to today, 2027-03-01"),
        ("value --date yesterday", "date 'yesterday' cannot be read: write it as 2027-03-01"),
        ("year 27", "'27' is not a year: write the one it begins in, like 2027"),
        ("year 2027 --from 2027-01-01", "name a year, or the days with --from and --to, not both"),
        ("year --to 2027-01-01", "--to without --from: name the first day too"),
        ("year 2028", "2028-01-01 is still to come: name a time that has begun by today, 2027-03-01"),
        ("year --file year.pdf", "'year.pdf' ends in neither .csv nor .xlsx: name the file like year.xlsx"),
        ("setting year_starts 02-29", "'02-29' is not a day that every year has: write month and day, like 04-06"),
    ],
)
def test_a_mistake_about_money_is_told_in_one_line(vanstock: Run, line: str, says: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out, said.err) == (1, "", f"vanstock: {says}\n")

"""Shelf life as a person and a machine meet it: goods in, the morning, stock, history, fitting, throwing away."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

Run = Callable[..., Any]
FLUID = "FL-UNI-800-A"
PAST, SOON = "2027-02-15", "2027-03-20"


def flat(said: Any) -> str:
    assert said.code == 0, said
    return " ".join(said.out.split())


def test_goods_in_tell_their_date_and_history_and_stock_show_it(vanstock: Run) -> None:
    said = vanstock(f"received {FLUID} 2packs --use-by {PAST}")
    assert said.err.endswith(f"note: 10 L x {FLUID} to be used by {PAST}, which is past\n")
    assert f"on hand: 10 L to use by {PAST} (expired); 19.5 L without a date" in flat(vanstock(f"history {FLUID}"))
    row = next(line for line in vanstock(f"stock {FLUID}").out.splitlines() if " store " in line)
    assert row.endswith("5.5 L expired")
    shown = json.loads(vanstock(f"stock {FLUID} --json").out)["parts"]
    assert [(one["place"], one["qty"], one["expired"]) for one in shown] == [
        ("van", "4.5", "4.5"),
        ("store", "25", "5.5"),
    ]
    lots = json.loads(vanstock(f"history {FLUID} --json").out)["lots"]
    assert lots == [
        {"qty": "10", "use_by": PAST, "expired": True},
        {"qty": "19.5", "use_by": None, "expired": False},
    ]


def test_the_morning_lists_what_to_take_out_and_what_to_use_first(vanstock: Run, tmp_path: Path) -> None:
    vanstock(f"received {FLUID} 5L --use-by {PAST} --place van")
    vanstock(f"received FL-UNI-801-A 5L --use-by {SOON}")
    page = tmp_path / "load.html"
    said = vanstock(f"loadout --print {shlex.quote(str(page))}")
    expired = said.out.split("\nEXPIRED: take it out", 1)[1].split("\n\n")[0]
    assert " ".join(expired.splitlines()[-1].split()) == f"5 L {FLUID} filter cleaning fluid, alkaline {PAST} van"
    soon = said.out.split("\nEXPIRES WITHIN 30 DAYS", 1)[1].split("\n\n")[0]
    assert f"5 L FL-UNI-801-A filter rinse fluid {SOON}" in " ".join(soon.split())
    assert all(len(line) <= 80 for line in said.out.split("\nwritten to")[0].splitlines())
    for words in ("EXPIRED", "EXPIRES SOON", PAST, SOON):
        assert words in page.read_text(encoding="utf-8")
    found = json.loads(vanstock("loadout --json").out)
    assert found["expired"] == [{"part": FLUID, "qty": "5", "use_by": PAST, "place": "van"}]
    assert found["expiring"] == [{"part": "FL-UNI-801-A", "qty": "5", "use_by": SOON}]
    quiet = vanstock("loadout --date 2027-03-07")
    assert "nothing booked" in quiet.out
    assert "EXPIRED" in quiet.out


def test_a_morning_without_dates_says_nothing_of_them(vanstock: Run) -> None:
    assert "EXPIRE" not in vanstock("loadout").out


def test_fitting_says_in_one_line_that_an_expired_can_is_about(vanstock: Run) -> None:
    vanstock(f"received {FLUID} 5L --use-by {PAST}")
    said = vanstock(f"fit J0782 {FLUID} 2L")
    assert said.code == 0
    assert next(line for line in said.err.splitlines() if PAST in line).startswith(
        f"note: by the ledger there is {FLUID}"
    )
    assert said.err.count(PAST) == 1
    assert PAST not in vanstock("fit J0782 GK-KRA-011-A 1").err


def test_a_write_off_tells_its_value_and_is_taken_back_in_one_step(vanstock: Run) -> None:
    vanstock(f"received {FLUID} 5L --use-by {PAST}")
    said = vanstock(f"write-off {FLUID} --expired --why old")
    assert said.out.startswith(
        f"written off: 4.5 L x {FLUID} filter cleaning fluid, alkaline in van, worth 25.20; left: 0 L"
    )
    assert "written off: 0.5 L" in said.out
    assert "expired" not in vanstock(f"stock {FLUID}").out
    assert vanstock("undo").out.startswith("undone: expired of")
    assert "4.5 L expired" in vanstock(f"stock {FLUID}").out
    assert vanstock("write-off GK-KRA-011-A").err == (
        "vanstock: how much of GK-KRA-011-A? Say it, like `vanstock write-off GK-KRA-011-A 1`\n"
    )
    assert "worth 3.85; left: 2" in vanstock("write-off GK-KRA-011-A 1 --place store --why bent").out


def test_a_date_read_off_the_cans_is_kept(vanstock: Run) -> None:
    said = vanstock(f"use-by {FLUID} 10L {SOON}")
    assert said.out.startswith(f"{FLUID} on hand: 10 L to use by {SOON}; 9.5 L without a date\n")
    assert SOON in flat(vanstock(f"history {FLUID}"))
    assert vanstock(f"use-by {FLUID} 10L soon").code == 1

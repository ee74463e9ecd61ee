"""The contract for machines: JSON keys and types, decimal strings, exit codes, where things are printed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
DECIMAL = re.compile(r"-?\d+(\.\d+)?")
MONEY = re.compile(r"-?\d+\.\d\d")


def document(vanstock: Run, line: str) -> Any:
    said = vanstock(f"{line} --json")
    assert (said.code, said.err) == (0, "")
    return json.loads(said.out)


def check(value: Any, shape: Any, where: str = "") -> None:
    """That a document has exactly the keys of a shape, and values of its kinds."""
    if isinstance(shape, dict):
        assert set(value) >= set(shape), where
        for key, inner in shape.items():
            check(value[key], inner, f"{where}.{key}")
    elif isinstance(shape, list):
        assert isinstance(value, list), where
        for item in value:
            check(item, shape[0], f"{where}[]")
    elif isinstance(shape, re.Pattern):
        assert isinstance(value, str), where
        assert shape.fullmatch(value), (where, value)
    else:
        assert isinstance(value, shape), (where, value)


ODDS = (float, type(None))
LOADOUT = {
    "date": str, "van": str, "day_odds": ODDS,
    "jobs": [{
        "job": str, "time": str, "family": str, "job_type": str, "odds": ODDS, "odds_now": ODDS,
        "standard_error": float,
        "needs": [{"component": str, "part": str, "probability": float, "qty": DECIMAL, "on_hand": DECIMAL,
                   "jobs_like_it": int}],
        "short": [{"part": str, "qty": DECIMAL, "lost_odds": float}],
    }],
    "load": [{"part": str, "qty": DECIMAL, "from": str, "on_hand": DECIMAL, "reason": str}],
    "buy": [{"part": str, "qty": DECIMAL, "supplier": str, "cutoff": str, "gain": float}],
    "cautions": [str],
}  # fmt: skip
BESIDE = {
    "expected": ODDS, "expected_now": ODDS,
    "jobs": [{"codes": [str], "jobs_like_it": int, "splits": [{"component": str,
                                                              "parts": [{"part": str, "share": float}]}]}],
    "do": [{"job": str, "action": re.compile("load|buy|ask|move"), "parts": [str], "odds": float, "gain": float,
            "words": str}],
    "left_behind": [{"part": str, "qty": DECIMAL, "from": str, "cost": float}],
    "buy": [{"arrives": str, "comes": str, "in_time": bool}],
}  # fmt: skip
"""What a load-out tells beside the keys that others rely on."""
WHY = {
    "date": str, "van": str, "job": LOADOUT["jobs"][0], "do": BESIDE["do"][0],  # type: ignore[index]
    "codes": [{"code": str, "meaning": str}], "hints": [str], "readings": [{"reading": str, "words": str}],
    "levels": [{"name": str, "jobs": int, "faded": float, "worth": float, "share": float}],
    "usual": {"share": float, "worth_jobs": float}, "half_life_days": float, "worths_chosen_on": int,
    "took": [{"component": str, "probability": float, "alike": int, "same_code": int}],
    "like_it": {"same_type_and_family": int, "and_fault_code": int},
    "nearest": [{"job": str, "date": str, "weight": float, "took": [{"part": str, "qty": DECIMAL}]}],
}  # fmt: skip
BAND = {"low": float, "high": float, "number": int, "said": float, "came": float}
SCORE = {
    "jobs": [BAND], "parts": [BAND], "parts_jobs": int, "since": str, "finished": int, "first_time": int,
    "second_visit_cost": MONEY, "second_visits": [{"part": str, "jobs": int, "cost": MONEY}],
}  # fmt: skip
READINGS = {
    "job": str,
    "readings": [{"kind": str, "amount": DECIMAL, "unit": str, "after": bool, "side": str, "words": str}],
}
REORDER = {
    "date": str,
    "suppliers": [{
        "supplier": str, "cutoff": str, "goods": MONEY, "carriage": MONEY, "total": MONEY, "below_least_order": MONEY,
        "lines": [{"part": str, "qty": DECIMAL, "packs": int, "cost": MONEY, "on_hand": DECIMAL, "on_order": DECIMAL,
                   "min": DECIMAL, "max": DECIMAL, "why": str}],
    }],
}  # fmt: skip
ORDER = {
    "drafted": [str],
    "orders": [{
        "supplier": str, "cutoff": (str, type(None)), "expected": (str, type(None)), "goods": MONEY, "carriage": MONEY,
        "total": MONEY, "top_up": str, "notes": [str],
        "lines": [{"part": str, "qty": DECIMAL, "cost": MONEY, "why": str}],
    }],
}  # fmt: skip
MINMAX = {
    "target": float, "completion": float, "cash": MONEY,
    "parts": [{"part": str, "min": DECIMAL, "max": DECIMAL, "pinned": bool, "basis": str}],
    "changed": [{"part": str, "min_before": DECIMAL, "max_before": DECIMAL, "why": str}],
}  # fmt: skip
TAKEN = {"share": float, "jobs": [{"family": str, "job_type": str, "share": float}]}
LEVEL_WHY = {
    **MINMAX["parts"][0], "taken_by": TAKEN, "find_it_there": float, "step": DECIMAL, "step_cost": MONEY,  # type: ignore[index]
    "one_less_loses": TAKEN, "one_more_finishes": TAKEN, "one_job_in_100_costs": MONEY, "ordered_by": DECIMAL,
    "review_weekday": re.compile("[a-z]+day"), "comes_after_working_days": int, "weekly_use": DECIMAL,
    "surely_used_before_it_expires": type(None),
}  # fmt: skip
SPOT = {"cash": MONEY, "completion": float}
CURVE = {
    "points": [SPOT], "minmax": SPOT, "stock": SPOT, "target": float,
    "more": {**SPOT, "spent": MONEY, "parts": [{"part": str, "qty": DECIMAL}]},
}  # fmt: skip
REPLAY = {
    "weeks": int, "from": str, "weeks_before": int, "standard_error": float, "warnings": [str],
    "policies": [{"policy": str, "how": str, "jobs": int, "completion": float, "counter_runs": int,
                  "second_visits": int, "cash": (str, type(None)), "peak_cash": (str, type(None)),
                  "orders": (int, type(None)), "lines": (int, type(None)), "carriage": (str, type(None))}],
}  # fmt: skip
STOCK = {"parts": [{"part": str, "place": str, "qty": DECIMAL, "value": MONEY, "count_needed": bool}]}
LABELS = {
    "grid": str, "width_mm": DECIMAL, "height_mm": DECIMAL, "sheets": int,
    "labels": [{"part": str, "place": str, "code": str, "min": (str, type(None)), "max": (str, type(None)),
                "sheet": int, "row": int, "column": int}],
}  # fmt: skip
FORECAST = {
    "parts": [{"part": str, "class": str, "method": str, "weekly_mean": DECIMAL, "interval_days": int,
               "interval_mean": DECIMAL, "quantiles": {"0.5": DECIMAL, "0.95": DECIMAL}}],
}  # fmt: skip


@pytest.mark.parametrize(
    ("line", "shape"),
    [("loadout", LOADOUT), ("loadout", BESIDE), ("loadout J0785", WHY), ("loadout J0785 --why", WHY),
     ("score", SCORE), ("reading J0785", READINGS), ("reading", {"kinds": [{"kind": str, "what": str}]}),
     ("reorder", REORDER), ("order", ORDER), ("order list", {"orders": list}),
     ("minmax", MINMAX), ("minmax --cash 2500", {**MINMAX, "target": type(None)}),
     ("minmax GK-KRA-011-A --why", LEVEL_WHY), ("curve", CURVE), ("replay --weeks 4", REPLAY),
     ("stock", STOCK), ("labels", LABELS), ("forecast", FORECAST),
     ("booking list", {"jobs": [{"job": str, "date": str, "codes": [str], "chosen": [str], "readings": str}]}),
     ("place list", {"places": [{"place": str}]}),
     ("history J0001", {"entries": [{"entry": str, "at": str, "movements": [{"part": str, "qty": DECIMAL}]}]}),
     ("setting", {"target": str})],
)  # fmt: skip
def test_every_reading_command_prints_one_document_of_its_shape(vanstock: Run, line: str, shape: Any) -> None:
    check(document(vanstock, line), shape)


def test_every_list_of_the_load_out_that_is_checked_holds_something(vanstock: Run) -> None:
    found = document(vanstock, "loadout")
    assert all(found[name] for name in ("jobs", "do", "load", "buy", "cautions"))
    assert all(any(job[name] for job in found["jobs"]) for name in ("needs", "short", "codes", "splits"))


def test_odds_lie_between_nought_and_one_and_loading_never_lowers_them(vanstock: Run) -> None:
    for job in document(vanstock, "loadout")["jobs"]:
        assert 0 <= job["odds_now"] <= job["odds"] <= 1


def test_order_lines_add_up(vanstock: Run) -> None:
    for order in document(vanstock, "reorder")["suppliers"]:
        goods = sum(round(float(line["cost"]) * 100) for line in order["lines"])
        assert goods == round(float(order["goods"]) * 100)
        assert round(float(order["total"]) * 100) == goods + round(float(order["carriage"]) * 100)


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("fit J9999 SNS", 1, "no job 'J9999'"),
        ("fit J0782 'vaporiser gasket' 2L", 1, "kept in pieces"),
        ("stock flux-capacitor", 1, "no part matches"),
        ("stock --place attic", 1, "no van or store named 'attic'"),
        ("labels flux-capacitor", 1, "no part matches"),
        ("labels --place attic", 1, "no van or store named 'attic'"),
        ("labels --grid 3x9", 1, "--grid '3x9' is none of"),
        ("labels --from 25", 1, "it has labels 1 to 24"),
        ("labels --file labels.pdf", 1, "name the page like labels.html"),
        ("loadout --date 2027-02-30", 1, "does not exist"),
        ("loadout --van lorry", 1, "no van named 'lorry'"),
        ("load", 1, "name one part to load, or --all"),
        ("load GK-KRA-011-A 1 --from van", 1, "name two places"),
        ("minmax --min 2", 1, "name the part to pin"),
        ("minmax GK-KRA-011-A --min 2", 1, "give both --min and --max"),
        ("minmax --why", 1, "name the part whose levels you want explained"),
        ("minmax flux --why", 1, "no part matches"),
        ("minmax GK-KRA-011-A --why --past", 1, "one at a time"),
        ("minmax GK-KRA-011-A --why --cash 100", 1, "one at a time"),
        ("minmax GK-KRA-011-A --past --completion 0.9", 1, "one at a time"),
        ("minmax GK-KRA-011-A --unpin --completion 0.9", 1, "one at a time"),
        ("minmax GK-KRA-011-A --min 1 --max 2 --cash 100", 1, "one at a time"),
        ("minmax GK-KRA-011-A --min 1 --max 2 --unpin", 1, "one at a time"),
        ("minmax --completion 95", 1, "--completion '95' is not a share of jobs between 0 and 1, like 0.9"),
        ("minmax --completion 0", 1, "is not a share of jobs"),
        ("minmax --completion 1", 1, "is not a share of jobs"),
        ("minmax --completion nan", 1, "is not a number"),
        ("minmax --cash -5", 1, "--cash '-5' is below zero"),
        ("minmax --cash much", 1, "--cash 'much' is not a number"),
        ("curve --more -1", 1, "--more '-1' is below zero"),
        ("curve --more much", 1, "--more 'much' is not a number"),
        ("curve --chart curve.pdf", 1, "ends in neither .svg nor .png"),
        ("curve --chart no/such/folder/curve.png", 1, "cannot write no/such/folder/curve.png"),
        ("replay --chart replay", 1, "ends in neither .svg nor .png"),
        ("replay --weeks 3", 1, "3 weeks cannot be gone through: ask for 4 to 520"),
        ("setting review_day Mon-Fri", 1, "is not one weekday, like Fri"),
        ("setting review_day Someday", 1, "not one weekday"),
        ("setting line_cost -- -1", 1, "is below zero"),
        ("setting holding_percent 101", 1, "is not a number from 0 to 100"),
        ("setting level_change_pays much", 1, "is not a number"),
        ("undo zzz", 1, "no entry begins with"),
        ("received FL-UNI-800-A 1 --cost x", 1, "--cost 'x' is not a number"),
        ("count FL-UNI-800-A -- -1", 1, "cannot be below zero"),
        ("booking add KRA clean --date 2027-03-02 --time 25:00", 1, "does not exist"),
        ("booking add KRA clean --date 2027-03-02 --codes P24*3", 1, "fault code 'P24*3' is not one"),
        ("reading J0785 idle", 1, "a reading has a kind and a value with its unit"),
        ("reading J0785 idle 45", 1, "idle '45' has no unit: write one of Pa, hPa, mbar, kPa, bar, psi, like 35 mbar"),
        ("reading J0785 boost 1bar", 1, "reading 'boost' is not one of"),
        ("reading J9999 idle 45mbar", 1, "no job 'J9999'"),
        ("score --since yesterday", 1, "cannot be read"),
        ("order --set GK-KRA-011-A", 1, "--set 'GK-KRA-011-A' cannot be read: write it like"),
        ("order --budget -5", 1, "--budget '-5' is below zero"),
        ("order --supplier NOBODY", 1, "no supplier 'NOBODY': there is "),
        ("order show O0001", 1, "no order 'O0001'"),
        ("order sent O0001", 1, "no order 'O0001'"),
        ("order cancel O0001", 1, "no order 'O0001'"),
        ("receive O0001", 1, "no order 'O0001'"),
        ("receive O0001 --rest perhaps", 1, "--rest 'perhaps' is neither later nor cancel"),
        ("receive O0001 --carriage -5", 1, "--carriage '-5' is below zero"),
        ("setting payload_kg 0", 1, "is not above zero"),
        ("setting second_visit_cost -1", 2, "No such option"),
        ("setting target 2", 1, "is not a number from"),
        ("import nowhere", 1, "there is no nowhere: name the folder"),
        ("import nowhere.xlsx", 1, "there is no nowhere.xlsx: name the folder"),
        ("fit", 2, "Missing argument"),
        ("nonsense", 2, "No such command"),
        ("stock --colour", 2, "No such option"),
    ],
)  # fmt: skip
def test_a_mistake_ends_with_its_code_and_one_line_on_stderr(vanstock: Run, line: str, code: int, says: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out) == (code, "")
    assert says in said.err
    if code == 1:
        assert said.err.count("\n") == 1
        assert said.err.startswith("vanstock: ")


def test_a_moment_that_is_none_is_told(vanstock: Run) -> None:
    assert "is not a moment" in vanstock("stock", now="yesterday").err


def test_no_ledger_is_told_with_what_to_do(vanstock: Run, tmp_path: Path) -> None:
    said = vanstock("stock", ledger=tmp_path / "none.db")
    assert said.code == 1
    assert "make one with `vanstock start` or `vanstock import FOLDER`" in said.err
    assert not (tmp_path / "none.db").exists()


def test_a_refused_import_lists_every_problem_and_makes_no_ledger_entries(vanstock: Run, tmp_path: Path) -> None:
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "families.csv").write_text("family,year_from\nAAA,20x4\n,2010\n")
    said = vanstock(f"import {tmp_path / 'bad'}")
    assert said.code == 1
    assert said.err.splitlines() == [
        "families.csv:2: year_from: year '20x4' is not a whole number: write it in digits alone",
        "families.csv:3: family is empty: every row needs one",
        "vanstock: 2 problems found, nothing was imported: mend the lines named and import again",
    ]

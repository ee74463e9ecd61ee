"""What must go back as a person types and reads it, on the demo firm."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_order_screens import fits

Run = Callable[..., Any]
PART = "EV-KRA-500-A"
"""An EGR valve with a surcharge of 35.00."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the first test that wants the delivery leaves it for the others."""
    return tmp_path_factory.mktemp("delivered") / "firm.db"


@pytest.fixture
def delivered(vanstock: Run, tmp_path: Path, kept: Path) -> Run:
    """One EGR valve came on an order, the temperature sensor of the same order was another part."""
    ledger = tmp_path / "firm.db"
    if not kept.exists():
        deliver(vanstock)
        shutil.copyfile(ledger, kept)
    shutil.copyfile(kept, ledger)
    return vanstock


def deliver(vanstock: Run) -> None:
    assert vanstock(f"order --supplier ODP --set {PART}=1 --yes").code == 0
    came = vanstock(f"receive O0001 --damaged {PART}=0 --wrong TH-TAV-200-A=GP-FEN-100-A:1", now="2027-03-02T08:00")
    assert came.code == 0
    assert "GP-FEN-100-A, in place of TH-TAV-200-A, goes back to ODP" in came.out.replace("\n", " ")
    fits(came.out)


def test_an_old_unit_from_the_shelf_to_the_credit(delivered: Run) -> None:
    shown = delivered("owed", now="2027-03-02T08:00")
    assert "owed, not taken off" in shown.out
    fitted = delivered(f"fit J0790 {PART} --without --from store", now="2027-03-02T10:00")
    assert "the old unit goes back to ODP by 2027-03-30 (R0001, 35.00)\n" in fitted.out
    assert "taken off on J0790" in delivered("owed", now="2027-03-02T10:00").out.replace("\n", " ")
    late = delivered("owed", now="2027-03-31T10:00")
    assert "2027-03-30 OVERDUE" in late.out
    sent = delivered("sent-back R0001 --on 2027-03-30", now="2027-03-31T10:00")
    assert sent.out.startswith("R0001 sent back to ODP, 35.00 to be credited\nentry ")
    assert "OVERDUE" not in delivered("owed", now="2027-03-31T10:00").out
    less = delivered("credited R0001 30.00", now="2027-04-02T10:00")
    assert less.out.startswith("R0001: 30.00 credited by ODP; 5.00 still owed\n")
    lost = delivered("give-up R0001", now="2027-04-02T10:00")
    assert lost.out.startswith("R0001 given up: 5.00 is lost: written off, a cost of the year\n")
    again = delivered("credited R0001", now="2027-04-02T10:00")
    assert (again.code, again.out) == (1, "")
    assert again.err.startswith("vanstock: R0001 is credited, the rest given up since 2027-04-02")
    every = delivered("owed --all", now="2027-04-02T10:00")
    assert "30.00 credited" in every.out
    assert "R0001" not in delivered("owed", now="2027-04-02T10:00").out
    assert delivered("undo", now="2027-04-02T10:00").out.startswith("undone: given up of ")
    fits(shown.out, fitted.out, late.out, sent.out, less.out, lost.out, every.out)
    assert delivered("check").code == 0


def test_unused_and_failed_parts_are_set_apart(delivered: Run) -> None:
    failed = delivered(f"goes-back {PART} --job J0790 --warranty", now="2027-03-02T12:00")
    assert failed.out.startswith(f"R0003: 1 x {PART} EGR valve, failed, off J0790, goes back to ODP")
    unused = delivered(f"goes-back {PART} 1 --order O0001 --by 2027-03-20", now="2027-03-02T12:00")
    assert "it stays stock in store until `vanstock sent-back R0004`" in unused.out
    sent = delivered("sent-back R0003 R0004", now="2027-03-03T12:00")
    assert f"1 x {PART} left store, in the books at" in sent.out
    fits(failed.out, unused.out, sent.out)


def test_nothing_to_send_back_is_said(vanstock: Run) -> None:
    assert vanstock("owed").out == "nothing must go back\n"


def test_what_may_still_go_back_is_told_after_a_reorder_list(delivered: Run) -> None:
    assert delivered("reorder", now="2027-03-05T14:00").code == 0
    shown = delivered("owed", now="2027-03-05T14:00")
    assert "may still go back, unused" in shown.out
    fits(shown.out)
    rows = json.loads(delivered("owed --json", now="2027-03-05T14:00").out)["may_go_back"]
    assert {row["last_day"] for row in rows} == {"2027-04-01"}
    assert {row["order"] for row in rows} == {"O0001"}


def test_machines_read_what_is_owed_as_decimals(delivered: Run) -> None:
    found = json.loads(delivered("owed --json", now="2027-04-01T08:00").out)
    (one,) = found["suppliers"]
    assert (one["supplier"], found["total"], one["owed"]) == ("ODP", "79.10", "79.10")
    assert [(row["claim"], row["kind"], row["owed"], row["due"], row["overdue"]) for row in one["claims"]] == [
        ("R0001", "old unit", "35.00", "2027-03-30", True), ("R0002", "return", "44.10", "2027-04-01", False),
    ]  # fmt: skip


def test_a_part_that_nobody_knows_is_told_what_to_do_with(vanstock: Run) -> None:
    vanstock("order --supplier ODP --yes")
    said = vanstock("receive O0001 --wrong TH-TAV-200-A=QQ-12:1", now="2027-03-02T08:00")
    assert (said.code, said.out) == (1, "")
    assert "'QQ-12' is not in the catalogue: add it to parts.csv and import the folder" in said.err


def test_a_wrong_part_without_the_other_is_told_the_right_form(vanstock: Run) -> None:
    vanstock("order --supplier ODP --yes")
    said = vanstock("receive O0001 --wrong TH-TAV-200-A", now="2027-03-02T08:00")
    assert (said.code, said.out) == (1, "")
    assert "write it like --wrong GP-KRA-100-A=GP-FEN-100-A:2" in said.err


def test_machines_read_every_step_of_a_claim(delivered: Run) -> None:
    def read(command: str) -> Any:
        return json.loads(delivered(f"{command} --json", now="2027-03-02T12:00").out)

    made = read(f"goes-back {PART} 1")
    assert (made["claim"]["claim"], made["claim"]["order"], made["claim"]["place"]) == ("R0003", "O0001", "store")
    gone = read("sent-back R0003 R0002")
    assert [(one["claim"], one["step"]) for one in gone["claims"]] == [("R0002", "sent back"), ("R0003", "sent back")]
    less = read("credited R0002 40.00")
    assert (less["credited"], less["claims"][0]["owed"], less["lost"]) == ("40.00", "4.10", "0.00")
    lost = read("give-up R0002")
    assert (lost["lost"], lost["claims"][0]["step"]) == ("4.10", "credited, the rest given up")
    entries = json.loads(delivered("history R0002 --json", now="2027-03-02T12:00").out)["entries"]
    assert [one["entry"] for one in entries[:3]] == [lost["entry"], less["entry"], gone["entry"]]


def test_an_undoing_that_is_refused_says_what_to_undo_first_and_history_shows_it(delivered: Run) -> None:
    shown = delivered("history R0002", now="2027-03-02T12:00")
    assert shown.out.startswith("claim R0002: 1 entry\n")
    (came,) = re.findall(r"\b[0-9a-f]{8}\b", shown.out)
    delivered("sent-back R0002", now="2027-03-02T12:00")
    refused = delivered(f"undo {came}", now="2027-03-02T12:00")
    assert refused.code == 1
    assert (
        "R0002 was changed again after that: undo `sent back` of 2027-03-02 12:00 first (vanstock undo " in refused.err
    )
    first = refused.err.rstrip().rstrip(")").split()[-1]
    order = delivered("history O0001", now="2027-03-02T12:00")
    assert order.out.startswith("order O0001: ")
    assert first in order.out
    fits(shown.out, order.out)
    assert delivered(f"undo {first}", now="2027-03-02T12:00").code == 0
    assert delivered(f"undo {came}", now="2027-03-02T12:00").code == 0

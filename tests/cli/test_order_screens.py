"""Orders and goods in as a person types them: what is shown, written and refused, on the demo firm."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

Run = Callable[..., Any]


def fits(*printed: str) -> None:
    for text in printed:
        assert "\x1b" not in text
        assert all(len(row) <= 80 and row == row.rstrip() for row in text.splitlines())


def test_an_order_from_the_list_to_the_shelf(vanstock: Run, tmp_path: Path) -> None:
    looked = vanstock("order")
    assert looked.out.rstrip().endswith("nothing drafted: add --yes to draft these orders")
    drafted = vanstock(f"order --yes --to {tmp_path / 'out'}")
    assert "drafted O0001: " in drafted.out
    assert any((tmp_path / "out").iterdir())
    assert "nothing to order" in vanstock("order").out
    listed = vanstock("order list")
    assert "O0001" in listed.out
    sent = vanstock("order sent O0001")
    assert sent.out.startswith("sent O0001 to ")
    again = vanstock("order sent O0001")
    assert (again.code, again.err) == (1, "vanstock: O0001 is sent already\n")
    shown = vanstock("order show O0001")
    assert "O0001 is sent" in shown.out
    came = vanstock("receive O0001 --carriage 4.95", now="2027-03-02T08:00")
    assert "O0001 is received; into store" in came.out
    fits(listed.out, sent.out, shown.out, came.out)
    assert vanstock("undo").out.startswith("undone: received of ")
    assert "O0001 is sent" in vanstock("order show o0001").out


def test_what_is_cancelled_is_told_and_the_supplier_is_to_be_told(vanstock: Run) -> None:
    vanstock("order --yes")
    said = vanstock("order cancel O0001")
    assert said.out.startswith("cancelled on O0001: what was still to come; it is cancelled")
    assert said.err == "note: tell the supplier too\n"
    assert "O0001" not in vanstock("order list").out
    assert "cancelled" in vanstock("order list --all").out


def test_machines_read_orders_and_goods_in_as_decimals(vanstock: Run) -> None:
    drafted = json.loads(vanstock("order --yes --json").out)["drafted"]
    assert drafted[0] == "O0001"
    (order, *_) = json.loads(vanstock("order list --json").out)["orders"]
    assert (order["order"], order["state"]) == ("O0001", "drafted")
    line = order["lines"][0]
    came = json.loads(vanstock(f"receive O0001 --came {line['part']}={line['ordered']} --json").out)
    assert (came["order"], came["state"], came["place"]) == ("O0001", "received", "store")
    assert {one["part"]: one["received"] for one in came["lines"]}[line["part"]] == line["ordered"]
    shown = json.loads(vanstock("order show O0001 --json").out)
    assert all(float(one["to_come"]) == 0 for one in shown["lines"])


def test_the_orders_that_would_be_drafted_fit_eighty_columns(vanstock: Run) -> None:
    fits(vanstock("order").out)


def test_a_part_named_twice_for_one_option_is_refused(vanstock: Run) -> None:
    said = vanstock("receive O0001 --came GKT-1=1 --came GKT-1=2")
    assert (said.code, said.err) == (1, "vanstock: --came names GKT-1 twice: say it once\n")


def test_a_date_that_is_no_pair_is_told_how_to_write_a_date_and_not_an_amount(vanstock: Run) -> None:
    said = vanstock("receive O0001 --use-by soon")
    assert (said.code, said.out) == (1, "")
    assert "--use-by 'soon' cannot be read: write it like --use-by FL-UNI-800-A=2028-06-30" in said.err

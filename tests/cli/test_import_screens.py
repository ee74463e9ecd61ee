"""Bringing spreadsheets in at the command line: shown, asked, refused with the option that answers, never half."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import at_a_terminal, typed_at_a_terminal

Run = Callable[..., Any]
ROOT = Path(__file__).parents[2]
LIST = ROOT / "demo" / "lists" / "pdp-prices.csv"


def put(folder: Path, *lines: str, name: str = "list.csv") -> Path:
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / name


def test_a_price_list_is_shown_and_without_yes_refused_with_nothing_written(vanstock: Run, tmp_path: Path) -> None:
    before = (tmp_path / "firm.db").read_bytes()
    said = vanstock(f"import {LIST} --as parts --supplier 'penthwick dealer parts'")
    assert said.code == 1
    assert said.err == ("vanstock: nothing was imported: look at what stands above, then import again with --yes\n")
    assert "EV-TAV-500-A  EGR valve with cooler        248.00  1012.50  +308.3 %  look twice" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    assert (tmp_path / "firm.db").read_bytes() == before
    assert not (tmp_path / "firm.db-copies").exists()


def test_with_yes_it_is_written_after_a_copy_and_the_second_time_there_is_nothing_new(
    vanstock: Run, tmp_path: Path
) -> None:
    said = vanstock(f"import {LIST} --as parts --supplier PDP --yes")
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines()[-1] == "imported, new or changed: 7 parts"
    assert "copy of the ledger from before: " in said.out
    assert len(list((tmp_path / "firm.db-copies").iterdir())) == 1
    again = vanstock(f"import {LIST} --as parts --supplier PDP")
    assert (again.code, again.out.splitlines()[-1]) == (
        0, "nothing new: the ledger already has everything in that file"
    )  # fmt: skip
    assert "columns as the last time for PDP" in again.out
    assert vanstock("check").code == 0


def test_a_long_list_of_changes_is_cut_and_all_shows_it(vanstock: Run, tmp_path: Path) -> None:
    rows = [f"N-{number},{number}.50" for number in range(1, 31)]
    path = put(tmp_path, "Part,Price", *rows)
    assert "and 10 more: --all shows them" in vanstock(f"import {path} --as parts").out
    shown = vanstock(f"import {path} --as parts --all").out
    assert "N-30" in shown
    assert "more: --all" not in shown


def test_what_is_not_clear_is_told_with_the_options_that_answer_it(vanstock: Run, tmp_path: Path) -> None:
    path = put(tmp_path, "Part,Net price,Trade price,Weight", 'GK-KRA-011-A,4,5,"1,250"')
    said = vanstock(f"import {path} --as parts --yes")
    assert (said.code, said.err.splitlines()) == (1, [
        "list.csv:1: 'Net price' and 'Trade price' may each be cost: --columns \"Net price=cost\", or --columns "
        '"Net price=" for not used',
        "list.csv:1: weight_kg: '1,250' may be 1250 or 1.250: --decimals point or --decimals comma",
        "vanstock: 2 things are not clear, nothing was imported: answer with the options named and import again",
    ])  # fmt: skip
    said = vanstock(f"import {path} --as parts --yes --columns 'Trade price=cost' --decimals comma")
    assert (said.code, said.err) == (0, "")
    assert "GK-KRA-011-A  weight_kg  0.02  1.25" in said.out


def test_problems_are_told_by_file_and_row(vanstock: Run, tmp_path: Path) -> None:
    path = put(tmp_path, "Part,Where,Counted", "GK-KRA-011-A,attic,2", "GK-LUN-011-A,van,two")
    said = vanstock(f"import {path} --as stock --yes")
    assert (said.code, said.err.splitlines()) == (1, [
        "list.csv:2: unknown place 'attic': bring it in first with --as places or correct the name",
        "list.csv:3: qty: 'two' is not a number",
        "vanstock: 2 problems found, nothing was imported: mend the lines named and import again",
    ])  # fmt: skip


def test_dates_in_local_order_are_kept_as_a_setting(vanstock: Run, tmp_path: Path) -> None:
    path = put(tmp_path, "Job,Date,Vehicle,Type", "K1,03/04/2027,Kerrowell Alder 2.0,clean")
    assert "--day-first or --month-first" in vanstock(f"import {path} --as jobs --yes").err
    said = vanstock(f"import {path} --as jobs --yes --day-first")
    assert "dates are read day-first from now on (setting date_order)" in said.out
    assert "K1" in vanstock("booking list", now="2027-04-03T07:00").out
    assert "day-first" in vanstock("setting date_order").out


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("import {list} --as prices", "--as 'prices' is none of places, suppliers, families, parts"),
        ("import {list} --supplier PDP", "--supplier belongs to a spreadsheet and --as"),
        ("import {list}", "is one file: say what is in it, like --as parts"),
        ("import {list} --as parts --supplier NOBODY", "no supplier 'NOBODY': there is WMF, ODP, GWC, PDP"),
        ("import {list} --as parts --columns cost", "--columns 'cost' cannot be read: write it like"),
        ("import {list} --as parts --columns 'Gone=cost'", "no column is headed 'gone'"),
        ("import {list} --as stock --set shelf=3", "'shelf' is no column of ours"),
        ("import {list} --as parts --decimals dot", "--decimals 'dot' is neither point nor comma"),
        ("import {list} --as parts --header-row 99", "no headings found in row 99"),
        ("import {list} --as parts --sheet One", "has no sheets"),
        ("import nowhere --day-first", "--day-first belongs to a spreadsheet"),
        ("import nowhere.xlsx --as parts", "cannot be read"),
        ("template --file vanstock.csv", "does not end in .xlsx"),
        ("setting date_order sideways", "is neither day-first nor month-first"),
    ],
)
def test_a_mistake_is_one_line_that_says_what_to_do(vanstock: Run, line: str, says: str) -> None:
    said = vanstock(line.format(list=LIST))
    assert (said.code, said.err.count("\n")) == (1, 1)
    assert says in said.err


@pytest.mark.parametrize(
    "line", ["import gone", "import gone.xlsx", "import gone.csv --as parts", "import gone --day-first"]
)
def test_a_list_that_is_not_there_leaves_no_ledger_behind(vanstock: Run, tmp_path: Path, line: str) -> None:
    said = vanstock(line, ledger=tmp_path / "none.db")
    assert (said.code, said.err.count("\n")) == (1, 1)
    assert not (tmp_path / "none.db").exists()


def test_the_starter_workbook_is_written_and_imports_as_it_is(vanstock: Run, tmp_path: Path) -> None:
    said = vanstock(f"template --file {tmp_path / 'mine.xlsx'}", ledger=tmp_path / "none.db")
    assert (said.code, said.err) == (0, "")
    assert not (tmp_path / "none.db").exists()
    said = vanstock(f"import {tmp_path / 'mine.xlsx'}")
    assert said.out == "nothing new: the ledger already has everything in that workbook\n"
    assert vanstock(f"template --file {tmp_path / 'mine.xlsx'}").code == 1


def test_what_a_file_holds_never_steers_a_terminal(vanstock: Run, tmp_path: Path) -> None:
    path = put(tmp_path, "Part,Price\x1b[2J,Wh\u202eat", "GK-KRA-011-A,4.40,\x1b]0;owned\x07", "X\x1b,1,2")
    said = vanstock(f"import {path} --as parts --yes")
    for text in (said.out, said.err):
        assert not {letter for letter in text if not letter.isprintable() and letter != "\n"}, ascii(text)


@at_a_terminal
def test_at_a_terminal_what_is_not_clear_is_asked_and_no_is_no(vanstock: Run, tmp_path: Path) -> None:
    path = put(tmp_path, "Part,Net price,Trade price", 'GK-KRA-011-A,4,"1,250"')
    words = ["--ledger", str(tmp_path / "firm.db"), "--now", "2027-03-01T07:00", "import", str(path), "--as", "parts"]
    code, shown = typed_at_a_terminal(words, "2\n2\nn\n", TERM="dumb")
    assert (code, "vanstock: nothing was imported\r\n" in shown) == (1, True)
    code, shown = typed_at_a_terminal(words, "2\n2\ny\n", TERM="dumb")
    assert code == 0
    assert "1  point: 1,250 is 1250" in shown
    assert "imported, new or changed: 1 part\r" in shown
    out = vanstock(f"export {tmp_path / 'out'}")
    assert out.code == 0
    assert "vaporiser gasket,C62,1.25," in (tmp_path / "out" / "parts.csv").read_text()

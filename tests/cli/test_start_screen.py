"""The first hour as a person types it: questions, wrong answers, stopping, going on, and what comes next."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from tests.cli.conftest import ROOT, Said, typed
from vanstock.routines import invented
from vanstock.routines.invented import MORNING

Start = Callable[..., Said]
FIRM = ["Ollerbeck Filters", "EUR", "yes", "Mon-Sat", "Thu", "90", "van, van 2", "store"]
FACTOR = ["FACTOR", "The Factor", "2", "Mon-Fri", "16:00", "6.50", "150", "orders@factor.example"]


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    return tmp_path / "new.db"


@pytest.fixture
def start(ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Start:
    """Runs a command line, `start` when none is named, with lines typed at it."""
    monkeypatch.chdir(tmp_path)

    def run(*lines: str, command: str = "start") -> Said:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return typed(command, ledger, "2027-02-28T18:00", monkeypatch, capsys)

    return run


def told(start: Start, command: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(start(command=f"{command} --json").out)
    return found


def test_answers_become_settings_places_and_suppliers(start: Start) -> None:
    said = start(*FIRM, *FACTOR, "", "4")
    assert said.code == 0
    settings = told(start, "setting")
    wanted = {"firm_name": FIRM[0], "currency": "EUR", "vat_added_percent": "0", "working_days": "Mon-Sat",
              "review_day": "Thu", "target": "0.9"}  # fmt: skip
    assert wanted.items() <= settings.items()
    assert told(start, "place list")["places"] == [
        {"place": "van", "kind": "van"}, {"place": "store", "kind": "store"}, {"place": "van 2", "kind": "van"},
    ]  # fmt: skip
    start(command="export out")
    supplier = Path("out/suppliers.csv").read_text(encoding="utf-8").splitlines()[1]
    assert supplier == "FACTOR,The Factor,2,Mon-Fri,16:00,6.50,150.00,orders@factor.example"


def test_enter_takes_what_stands_in_brackets(start: Start) -> None:
    before = told(start, "setting") if start(*[""] * 9, "4").code == 0 else {}
    assert before["target"] == "0.95"
    assert (before["currency"], before["working_days"], before["review_day"]) == ("GBP", "Mon-Fri", "Fri")
    assert "questions" not in start("4").out


def test_a_wrong_answer_is_told_and_asked_again_and_nothing_else_is_lost(start: Start) -> None:
    answers = [FIRM[0], "pounds", "GBP", "no", "20", "Mon-Fri", "Someday", "Fri", "40", "95", "van", "store"]
    said = start(*answers, "FACTOR", "The Factor", "soon", "1", "Mon-Fri", "25:00", "16:00", "", "", "", "", "9", "4")
    assert said.code == 0
    for wrong in ("pounds", "percent", "Someday", "40", "soon", "25:00", "9"):
        assert wrong in said.err
    settings = told(start, "setting")
    assert (settings["currency"], settings["vat_added_percent"], settings["target"]) == ("GBP", "20", "0.95")


@pytest.mark.parametrize("answered", range(9))
def test_it_can_be_stopped_anywhere_and_goes_on_where_it_stopped(start: Start, answered: int) -> None:
    said = start(*FIRM[:answered], "stop")
    assert said.code == 0
    assert "goes on from here" in said.out
    again = start(*FIRM[answered:], "", "4")
    assert again.code == 0
    assert "goes on from here" not in again.out
    assert told(start, "setting")["firm_name"] == FIRM[0]
    assert len(told(start, "place list")["places"]) == 3  # type: ignore[arg-type]


def test_a_closed_terminal_stops_it_too_and_a_supplier_half_told_is_not_kept(start: Start) -> None:
    assert start(*FIRM, *FACTOR[:4]).code == 0
    start(command="export out")
    assert not Path("out/suppliers.csv").exists()


@pytest.mark.parametrize("known", [False, True])
def test_a_supplier_stopped_half_way_is_told_not_to_be_kept(start: Start, known: bool) -> None:
    start(*FIRM, *FACTOR, "stop")
    said = start("FACTOR" if known else "DEALER", "Another name", "stop")
    assert f"not kept, because it is only half told: supplier {'FACTOR' if known else 'DEALER'}; name it" in said.out
    start(command="export out")
    lines = Path("out/suppliers.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert [line.split(",")[:2] for line in lines] == [FACTOR[:2]]


def test_percents_and_amounts_may_have_a_decimal_comma_that_can_be_read_in_one_way(start: Start) -> None:
    answers = [FIRM[0], "EUR", "17,5 %", "Mon-Fri", "Fri", "97,5", "", ""]
    said = start(*answers, *FACTOR[:5], "6,50", "1,500", "1500", "", "", "4")
    assert (said.code, said.err.count("can be read in two ways")) == (0, 1)
    settings = told(start, "setting")
    assert (settings["vat_added_percent"], settings["target"]) == ("17.5", "0.975")
    start(command="export out")
    assert ",6.50,1500.00," in Path("out/suppliers.csv").read_text(encoding="utf-8")


def test_days_that_are_no_whole_number_get_no_advice_that_is_refused_next(start: Start) -> None:
    said = start(*FIRM, *FACTOR[:2], "two", "2.5", "stop")
    assert "days 'two' is not a whole number: write it in digits alone" in said.err
    assert "days '2.5' is finer than a whole number" in said.err


def test_one_question_left_is_one_question(start: Start) -> None:
    start(*FIRM[:-1], "stop")
    assert said_in_one_line(start("stop")).startswith("1 question about the firm, then its suppliers.")


def said_in_one_line(said: Said) -> str:
    return " ".join(said.out.split())


def test_every_question_says_what_it_is_for(start: Start) -> None:
    said = start(*(line for answer in FIRM for line in ("?", answer)), "stop")
    for reason in ("orders you send", "Three letters", "without VAT", "Lead times", "min and max", "95 is a fair"):
        assert reason in " ".join(said.out.split())


def test_what_was_answered_can_be_asked_again(start: Start) -> None:
    start(*FIRM, "", "4")
    said = start("Ollerbeck Exhausts", *[""] * 8, "4", command="start --again")
    assert said.code == 0
    settings = told(start, "setting")
    assert (settings["firm_name"], settings["review_day"], settings["target"]) == ("Ollerbeck Exhausts", "Thu", "0.9")


def test_the_invented_firm_gets_a_ledger_of_its_own(start: Start, ledger: Path) -> None:
    said = start(*FIRM, "", "2")
    assert said.code == 0
    beside = ledger.with_name("invented-firm.db")
    assert str(beside) in "".join(said.out.split())
    assert f"  vanstock --ledger invented-firm.db --now {MORNING} loadout J0785 --why\n" in said.out  # to be copied
    assert told(start, "stock")["parts"] == []
    assert "is already there" in start("2", "4").err


def test_the_invented_firm_broken_off_leaves_nothing_and_can_be_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while its lists come in."""

    def breaks_off(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as once:
        once.setattr(invented, "import_folder", breaks_off)
        with pytest.raises(KeyboardInterrupt):
            invented.make(tmp_path / "ledger.db")
    assert list(tmp_path.iterdir()) == []
    assert invented.make(tmp_path / "ledger.db").stat().st_size > 100_000
    assert [path.name for path in tmp_path.iterdir()] == ["invented-firm.db"]


def test_the_starter_workbook_is_written_and_can_be_brought_in(start: Start) -> None:
    assert start(*FIRM, *FACTOR, "", "1", "").code == 0
    book = openpyxl.load_workbook("vanstock.xlsx")
    for sheet, row in (("families", ["FAM", "a family"]), ("parts", ["GASKET-1", "a gasket"])):
        headings = [cell.value for cell in book[sheet][1]]
        wanted = dict(zip(("family", "name") if sheet == "families" else ("part", "description"), row, strict=True))
        for column, heading in enumerate(headings, 1):
            plain = str(heading).removesuffix(" *").removesuffix("*").strip()
            if plain in wanted:
                book[sheet].cell(2, column).value = wanted[plain]
            elif plain == "component":
                book[sheet].cell(2, column).value = "gasket"
    book.save("vanstock.xlsx")
    said = start("3", "vanstock.xlsx", "no")
    assert (said.code, said.err) == (0, "")
    assert "1 family, 1 part" in said.out


def test_a_folder_is_brought_in_and_the_first_count_offered(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    for name in ("suppliers", "families", "parts", "fits"):
        text = (ROOT / "demo" / "firm" / f"{name}.csv").read_text(encoding="utf-8")
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    said = start(*FIRM, "", "3", "nowhere", "3", str(folder), "maybe", "yes")
    assert said.code == 0
    assert "there is no nowhere: name the folder" in said.err
    assert "'maybe' is neither yes nor no" in said.err
    sheet = Path("first-count.csv").read_text(encoding="utf-8").splitlines()
    assert sheet[0].startswith("part,description,place,unit,counted")
    assert sum(",van," in line for line in sheet) == sum(",store," in line for line in sheet) == 64
    rows = list(csv.DictReader(sheet))
    with Path("first-count.csv").open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows(row | {"counted": "2"} for row in rows)
    filled_in = Path("first-count.csv").read_bytes()
    assert "first-count.csv is there already, and may be filled in" in start("yes").out
    assert Path("first-count.csv").read_bytes() == filled_in
    assert start(command="count --answers first-count.csv").code == 0
    assert "192 stock lines" in start().out


def suppliers(start: Start) -> dict[str, str]:
    start(command="export out")
    rows = list(csv.DictReader(Path("out/suppliers.csv").read_text(encoding="utf-8").splitlines()))
    return {row["supplier"]: ",".join(row.values()) for row in rows}


def test_stopped_among_the_suppliers_it_goes_on_with_the_next_one(start: Start) -> None:
    start(*FIRM, *FACTOR, "stop")
    again = start("CHEM", *[""] * 7, "", "4")
    assert "Suppliers there are: FACTOR." in again.out
    assert "questions about the firm" not in again.out
    assert list(suppliers(start)) == ["FACTOR", "CHEM"]
    assert "Supplier, short name" not in start("4").out


def test_a_supplier_named_again_keeps_what_enter_leaves_and_what_is_not_asked(start: Start) -> None:
    start(*FIRM, *FACTOR, "", "4")
    Path("mine").mkdir()
    Path("mine/suppliers.csv").write_text(
        "supplier,name,lead_working_days,order_days,cutoff,carriage,comes_at,least_order\n"
        "FACTOR,The Factor,0,Mon-Sat,11:00,4.50,13:00,25.00\n", encoding="utf-8"
    )  # fmt: skip
    start(command="import mine")
    said = start(*[""] * 8, "factor", "", "2", *[""] * 5, "", "4", command="start --again")
    assert "Working days from order to delivery [0]" in said.out
    assert suppliers(start) == {"FACTOR": "FACTOR,The Factor,2,Mon-Sat,11:00,4.50,,,13:00,25.00"}


def test_a_dash_empties_what_stands_in_brackets_where_it_may_be_empty(start: Start) -> None:
    """Name, cut-off, carriage paid over and address may be empty; days to deliver and carriage may not."""
    start(*FIRM, *FACTOR, "", "4")
    answers = ["factor", "-", "-", "3", "-", "Tue", "-", "-", "7", "-", "-", "", "4"]
    said = start("-", *[""] * 7, *answers, command="start --again")
    assert (said.code, said.err.count("every supplier needs an answer here: type one, like ")) == (0, 3)
    assert "- empties it" in " ".join(said.out.split())
    assert suppliers(start) == {"FACTOR": "FACTOR,,3,Tue,,7.00,,"}
    assert told(start, "setting")["firm_name"] == ""
    assert "One named again is changed: Enter keeps, - empties." in " ".join(said.out.split())


def test_a_dash_names_no_van(start: Start) -> None:
    start(*FIRM[:6], "-", "-", "", "4")
    assert [place["place"] for place in told(start, "place list")["places"]] == ["van", "store"]  # type: ignore[attr-defined]


def test_whoever_names_no_van_called_van_is_told_that_it_stays(start: Start) -> None:
    said = " ".join(start(*FIRM[:6], "north, south", "store", "", "4").out.split())
    assert "`van` is there from the start and stays beside them" in said
    assert "`store` is there from the start" not in said


def test_a_van_named_twice_in_one_answer_is_one_van(start: Start) -> None:
    said = start(*FIRM[:6], "van, North, north, VAN", "store", "", "4")
    assert (said.code, "already" in said.err) == (0, False)
    assert [place["place"] for place in told(start, "place list")["places"]] == ["van", "store", "North"]  # type: ignore[attr-defined]


def test_what_cannot_be_used_is_told_with_what_can(start: Start) -> None:
    answers = ["", "GBP", "maybe", "yes", "Mon-Fri", "Mon-Fri", "Fri", "95", "van", "store"]
    said = start(*answers, "F", "", "?", "0", "", "", "", "", "", "", "?", "4")
    assert "'maybe' is neither yes nor a percent from 0 to 100, like 20" in said.err
    assert "'Mon-Fri' is not one weekday, like Fri" in said.err
    out = " ".join(said.out.split())
    assert "0 is the same day, 1 the next one" in out
    assert "leaves your ledger alone" in out


@pytest.mark.parametrize("value", ["95", "90%", "ninety"])
def test_a_target_that_is_no_share_says_how_one_is_written(start: Start, value: str) -> None:
    start("stop")
    assert (
        f"'{value}' is not a number from 0.5 to 0.999: write 0.95 for 95 of 100"
        in start(command=f"setting target {value}").err
    )

"""A spreadsheet beside a ledger: what it would change is known before, and nothing else changes."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook

from tests.exchange import broken
from vanstock.errors import BadValue, ImportRefused, NotFound
from vanstock.exchange.tidy import KIND_OF
from vanstock.ledger import catalogue, reading
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Job, Part
from vanstock.routines import bookfile, booking, settings, setup, sheetfile
from vanstock.routines.session import Session
from vanstock.routines.sheetfile import Look, Wish, look, open_table

Rows = Sequence[Sequence[Any]]
Listed = Callable[..., Wish]
Open = Callable[..., Session]
ROOT = Path(__file__).parents[2]
EVENING = datetime(2027, 2, 28, 18, 0)


@pytest.fixture
def listed(tmp_path: Path) -> Listed:
    """Writes rows as a CSV file and wishes for it: `listed(rows, "parts", supplier="DAY")`."""

    def write(rows: Rows, kind: str = "parts", name: str = "list.csv", **wished: Any) -> Wish:
        with (tmp_path / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
        return Wish(tmp_path / name, kind, **wished)

    return write


def seen(session: Session, wish: Wish) -> Look:
    return look(session, wish, open_table(session, wish))


def brought(session: Session, wish: Wish) -> Look:
    """The look at a file that is then written."""
    found = seen(session, wish)
    assert (found.questions, found.problems) == ((), ())
    sheetfile.write(session, found)
    return found


def parts(session: Session) -> dict[str, Part]:
    return dict(catalogue.read_catalogue(session.ledger).parts)


def digest(session: Session) -> str:
    return hashlib.sha256(session.path.read_bytes()).hexdigest()


def number_parts(session: Session, **numbers: str) -> None:
    """Give parts the numbers that their suppliers know them by."""
    with writing(session.ledger) as ledger:
        there = parts(session)
        rows = [there[name.replace("_", "-")]._replace(supplier_part=text) for name, text in numbers.items()]
        catalogue.save_rows(ledger, Part, rows)


def test_a_price_list_changes_prices_and_leaves_all_else_as_it_was(session: Session, listed: Listed) -> None:
    before = parts(session)
    found = brought(session, listed([["Part no", "Net price"], ["SNS-1", "£49.00"], ["GKT-1", ""], ["HOS-1", "7.10"]]))
    assert [(one.part, one.was, one.now, str(one.percent)) for one in found.changes.prices] == [
        ("SNS-1", "47.20", "49.00", "3.8")
    ]
    assert (found.changes.same, found.changes.not_listed, found.changes.new) == (2, len(before) - 3, ())
    assert parts(session) == before | {"SNS-1": before["SNS-1"]._replace(cost=490_000)}


def test_looking_writes_nothing(session: Session, listed: Listed) -> None:
    before = digest(session)
    seen(session, listed([["Part no", "Net price"], ["SNS-1", "49"], ["NEW-1", "3"]]))
    assert digest(session) == before


def test_the_largest_moves_come_first_and_unlikely_ones_are_pointed_out(session: Session, listed: Listed) -> None:
    rows = [["Part", "Cost", "Pack"], ["SNS-1", 49, 1], ["GKT-1", 1.5, 1], ["BLT-1", 1, 100], ["FLU-1", 7.28, 5]]
    changes = seen(session, listed(rows)).changes
    assert [(one.part, str(one.percent), one.alert) for one in changes.prices] == [
        ("GKT-1", "-61.0", True), ("FLU-1", "30.0", False), ("BLT-1", "8.7", False), ("SNS-1", "3.8", False),
    ]  # fmt: skip
    assert [(one.row, one.was, one.now) for one in changes.packs] == [("BLT-1", "10", "100")]


def test_a_suppliers_list_knows_parts_by_its_own_numbers(session: Session, listed: Listed) -> None:
    number_parts(session, SNS_1="D-17", BLT_1="D-18", GKT_1="D-17")  # GKT-1 is bought elsewhere
    rows = [["Article", "Price"], ["d-17", 50], ["BLT-1", 1], ["D-99", 4], ["VAP-1", 9]]
    found = brought(session, listed(rows, supplier="DAY"))
    assert [one.part for one in found.changes.prices] == ["BLT-1", "SNS-1"]
    assert found.left_out == ((5, "VAP-1 is bought from NEXT"),)
    new = parts(session)["D-99"]
    assert (new.supplier, new.supplier_part, new.cost) == ("DAY", "D-99", 40_000)
    assert parts(session)["VAP-1"].cost == 1_249_000


def test_a_suppliers_number_alone_will_do_and_two_parts_of_one_number_are_left_out(
    session: Session, listed: Listed
) -> None:
    number_parts(session, SNS_1="D-17", BLT_1="D-17", HOS_1="D-18")
    found = seen(session, listed([["Supplier part no", "Price"], ["D-17", 50], ["D-18", 8]], supplier="DAY"))
    assert [one.part for one in found.changes.prices] == ["HOS-1"]
    assert found.left_out == ((2, "D-17 is the supplier's number of BLT-1, SNS-1"),)


def test_a_new_number_beside_a_known_number_of_the_supplier_is_left_out_and_both_are_told(
    session: Session, listed: Listed
) -> None:
    number_parts(session, SNS_1="D-17", BLT_1="D-18", HOS_1="D-18")
    rows = [["Part", "Supplier part no", "Price"], ["NEW-9", "D-17", 50], ["sns-1", "D-17", 51], ["NEW-8", "D-18", 9]]
    found = seen(session, listed(rows, supplier="DAY"))
    assert found.left_out == (
        (2, "NEW-9 is not known, but D-17 is the supplier's number of SNS-1: correct one of the two, or go by the "
            'supplier\'s numbers alone (--columns "THEIRS=" for their column of parts)'),
        (4, "D-18 is the supplier's number of BLT-1, HOS-1"),
    )  # fmt: skip
    assert [(one.part, one.now) for one in found.changes.prices] == [("SNS-1", "51.00")]
    alone = listed(rows[:2], supplier="DAY", columns={"Part": ""})
    by_its_own = listed([rows[0], ["d-17", "D-17", 50]], name="two.csv", supplier="DAY")
    for wish in (alone, by_its_own):
        assert [(one.part, one.now) for one in seen(session, wish).changes.prices] == [("SNS-1", "50.00")]


def test_new_parts_can_be_left_out(session: Session, listed: Listed) -> None:
    found = seen(session, listed([["Part", "Price"], ["SNS-1", 50], ["NEW-1", 8]], only_known=True))
    assert (found.changes.new, found.left_out) == ((), ((3, "new"),))


def test_noughts_that_a_spreadsheet_took_off_are_never_guessed(session: Session, listed: Listed) -> None:
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("00417", cost=10_000), Part("12.50", cost=10_000)])
    found = seen(session, listed([["Part", "Price"], ["417", 2], ["12.5", 3], ["00417", 4]]))
    assert [number for number, _ in found.left_out] == [2, 3]
    assert "'417' is not known and 00417 is" in found.left_out[0][1]
    assert [one.now for one in found.changes.prices] == ["4.00"]
    problems = seen(session, listed([["Part", "Place", "Qty"], ["417", "van", 2]], "stock")).problems
    assert [str(one) for one in problems] == [
        "list.csv:2: part '417' is not known and 00417 is: a spreadsheet may have taken noughts off; write the number "
        "as text"
    ]


def test_rows_that_are_none_are_left_out_with_why(session: Session, listed: Listed) -> None:
    rows = [
        ["Part", "Description", "Price"], ["SENSORS", "", ""], ["SNS-1", "pressure sensor", 50],
        ["Part", "Description", "Price"], ["Total", "", 50], ["HOS-1", "pressure hose 8 mm", 8],
    ]  # fmt: skip
    found = seen(session, listed(rows))
    assert found.left_out == ((2, "only 'SENSORS'"), (4, "the headings again"), (5, "a sum"))
    assert len(found.changes.prices) == 2


def test_every_problem_is_told_with_its_row_and_then_nothing_is_written(session: Session, listed: Listed) -> None:
    rows = [["Part", "Price", "Unit", "Supplier"], ["SNS-1", "-1", "", ""], ["GKT-1", "x", "", ""],
            ["HOS-1", 7, "box", ""], ["BLT-1", 1, "", "NOBODY"], ["VAP-2", 1, "ltr", ""]]  # fmt: skip
    found = seen(session, listed(rows))
    assert [str(one) for one in found.problems] == [
        "list.csv:2: cost: '-1' is below zero: write zero or more",
        "list.csv:3: cost: 'x' is not a number",
        "list.csv:4: unit: 'box' is no unit that is kept: C62 (pieces), PR, LTR, MTR or KGM; a pack, box or set is no "
        "unit",
        "list.csv:5: unknown supplier 'NOBODY': bring it in first with --as suppliers or correct the name",
        "list.csv:6: unit LTR: component 'vaporiser' is kept in C62 for VAP-1: give both one unit",
        "list.csv:6: unit: the ledger keeps VAP-2 in C62; give a part in LTR a number of its own",
    ]
    assert not found.changes.any


def test_what_a_comma_means_is_asked_once_and_remembered_for_that_supplier(session: Session, listed: Listed) -> None:
    wish = listed([["Part", "Price"], ["SNS-1", "1,234"]], supplier="DAY")
    (asked,) = seen(session, wish).questions
    assert (asked.about, asked.option) == ("decimals", "--decimals point or --decimals comma")
    assert asked.answers == (("point", "1,234 is 1234"), ("comma", "1,234 is 1.234"))
    brought(session, wish._replace(mark=","))
    assert parts(session)["SNS-1"].cost == 12_340
    again = seen(session, listed([["Part", "Price"], ["SNS-1", "2,345"]], supplier="DAY"))
    assert [one.now for one in again.changes.prices] == ["2.345"]
    assert again.notes == ("cost: a comma stands before the decimals of '2,345', as in the last file",)
    assert seen(session, listed([["Part", "Price"], ["SNS-1", "2,345"]])).questions


def test_other_columns_of_the_file_settle_what_one_leaves_open(session: Session, listed: Listed) -> None:
    found = seen(session, listed([["Part", "Price", "Weight"], ["SNS-1", "1,234", "0,15"]]))
    assert found.questions == ()
    assert "as in the other columns" in " ".join(found.notes)
    assert [one.now for one in found.changes.prices] == ["1.234"]


def test_columns_are_remembered_per_supplier_and_can_be_changed(session: Session, listed: Listed) -> None:
    rows: list[list[Any]] = [["Part", "A", "B"], ["SNS-1", 50, 60]]
    brought(session, listed(rows, supplier="DAY", columns={"A": "cost"}))
    assert parts(session)["SNS-1"].cost == 500_000
    rows[1][1] = 55
    found = brought(session, listed(rows, supplier="DAY"))
    assert (found.was_remembered, [one.now for one in found.changes.prices]) == (True, ["55.00"])
    assert [match.how for match in found.matching.matches[:2]] == ["remembered", "remembered"]
    assert not seen(session, listed(rows)).was_remembered
    other = seen(session, listed(rows, supplier="DAY", columns={"B": "cost", "A": ""}))
    assert [one.now for one in other.changes.prices] == ["60.00"]
    forgotten = seen(session, listed(rows, supplier="DAY", match_again=True))
    assert [match.ours for match in forgotten.matching.matches] == ["part", "", ""]


def test_what_is_needed_and_not_there_is_asked_for_with_the_option(session: Session, listed: Listed) -> None:
    wish = listed([["Part", "Counted"], ["SNS-1", 2]], "stock")
    (asked,) = seen(session, wish).questions
    assert (asked.ours, asked.option) == ("place", '--columns "THEIRS=place", or --set place=VALUE for every row')
    brought(session, wish._replace(values={"place": "Store"}))
    assert [(row.part, row.place, row.qty, row.value) for row in reading.balances(session.ledger)] == [
        ("SNS-1", "store", 2, 9_440)
    ]
    assert seen(session, wish._replace(values={"place": "store"})).changes.same == 1
    more = listed([["Part", "Where", "Qty"], ["SNS-1", "store", 3]], "stock")
    assert "has 2 there" in str(seen(session, more).problems)


def test_the_order_of_dates_is_asked_once_and_kept_as_a_setting(session: Session, listed: Listed) -> None:
    head = ["Job no", "Visit date", "Vehicle", "Type"]
    wish = listed([head, ["K1", "03/04/2027", "Alder", "clean"]], "jobs")
    (asked,) = seen(session, wish).questions
    assert asked.answers[1] == ("month-first", "03/04/2027 is 04 March 2027")
    found = sheetfile.write(session, seen(session, wish._replace(order="day-first")))
    assert (found.order, settings.setting_text(session, "date_order")) == ("day-first", "day-first")
    assert [(job.job, job.date.isoformat(), job.family) for job in reading.jobs(session.ledger)] == [
        ("K1", "2027-04-03", "AAA")
    ]
    later = seen(session, listed([head, ["K2", "05/04/2027", "BBB", "clean"]], "jobs"))
    assert [row["date"] for row in later.changes.new] == ["2027-04-05"]
    shown = seen(session, listed([head, ["K2", "05/25/2027", "BBB", "clean"]], "jobs"))
    assert [row["date"] for row in shown.changes.new] == ["2027-05-25"]  # the file's own dates go before the setting


@pytest.mark.parametrize(
    "cell", ["02/03/2027 9:30", "2027-03-02T09:30:00", datetime(2027, 3, 2, 9, 30), "2 Mar 27 09:30"]
)
def test_a_time_in_the_cell_of_a_date_is_the_jobs_time(
    session: Session, listed: Listed, tmp_path: Path, cell: str | datetime
) -> None:
    head = ["Job no", "Visit date", "Vehicle", "Type"]
    wish = listed([head], "jobs", order="day-first")._replace(path=tmp_path / "list.xlsx")
    book = Workbook()
    for row in (head, ["K1", cell, "Alder", "clean"], ["K2", "2027-03-03 00:00:00", "Alder", "clean"]):
        book.active.append(row)  # type: ignore[union-attr]
    book.save(wish.path)
    found = brought(session, wish)
    assert [note for note in found.notes if note.startswith("time: as it stands in the cells of date, like ")]
    assert [(job.job, job.date.day, job.time) for job in reading.jobs(session.ledger)] == [
        ("K1", 2, "09:30"), ("K2", 3, ""),
    ]  # fmt: skip


def test_a_time_in_the_cell_of_a_date_fills_an_empty_time_and_contradicts_none(
    session: Session, listed: Listed
) -> None:
    head = ["Job no", "Visit date", "Time", "Vehicle", "Type"]
    rows = [
        [name, "2027-03-02 09:30", at, "Alder", "clean"]
        for name, at in (("K1", "n/a"), ("K2", "9:30"), ("K3", "10:00"))
    ]
    found = seen(session, listed([head, *rows], "jobs"))
    assert [str(one) for one in found.problems] == [
        "list.csv:4: date: its cell holds the time 09:30, and that of the time is 10:00: let both say the same"
    ]
    found = seen(session, listed([head, *rows[:2]], "jobs"))
    assert [row["time"] for row in found.changes.new] == ["09:30", "09:30"]
    assert not any(note.startswith("time:") for note in found.notes)


def test_a_list_of_jobs_moves_what_it_moves_and_finishes_nothing_again(session: Session, listed: Listed) -> None:
    head = ["job", "date", "family", "job_type", "status", "reference"]
    brought(session, listed([head, ["K1", "2027-03-02", "AAA", "clean", "booked", "B-1"],
                             ["K2", "2027-02-02", "AAA", "clean", "done", "B-2"]], "jobs"))  # fmt: skip
    booking.move_booking(session, "K1", day=date(2027, 3, 9), at=None, van=None)
    found = brought(session, listed([["job", "date", "family", "job_type"], ["K1", "2027-03-02", "BBB", "clean"],
                                     ["K2", "2027-02-02", "AAA", "clean"]], "jobs"))  # fmt: skip
    assert [(one.row, one.column, one.was, one.now) for one in found.changes.others] == [("K1", "family", "AAA", "BBB")]
    assert found.changes.same == 1
    jobs = {job.job: job for job in reading.jobs(session.ledger)}
    assert jobs["K1"] == Job("K1", date(2027, 3, 9), "", "BBB", "clean", reference="B-1")
    assert jobs["K2"].status == "done"


def test_a_ledger_that_changed_since_the_look_is_not_written_to(
    session: Session, new_session: Open, listed: Listed
) -> None:
    found = seen(session, listed([["Part", "Price"], ["SNS-1", 50]]))
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [parts(session)["SNS-1"]._replace(description="another word")])
    with pytest.raises(BadValue, match="changed while this was looked at"):
        sheetfile.write(session, found)
    assert parts(session)["SNS-1"].cost == 472_000
    assert catalogue.setting(session.ledger, "columns of parts") is None


def test_a_copy_from_before_is_made_where_something_changes(session: Session, listed: Listed) -> None:
    used = session._replace(created=False)
    written = sheetfile.write(used, seen(used, listed([["Part", "Price"], ["SNS-1", 50]])))
    assert written.copy
    copy = open_ledger(written.copy, create=False)
    found = catalogue.part_by_number(copy, "SNS-1")
    copy.close()
    assert found
    assert found.cost == 472_000
    assert sheetfile.write(used, seen(used, listed([["Part", "Price"], ["SNS-1", 50]]))).copy is None


def book(path: Path, **pages: Rows) -> Path:
    made = Workbook()
    made.remove(made.worksheets[0])
    for name, rows in pages.items():
        page = made.create_sheet(name)
        for row in rows:
            page.append(row)
    made.save(path)
    return path


def test_the_sheet_of_a_workbook_is_named_once_and_remembered(session: Session, tmp_path: Path) -> None:
    prices: Rows = [["Part", "Price"], ["SNS-1", 50]]
    terms: Rows = [["Part", "Price"], ["SNS-1", 1]]
    wish = Wish(book(tmp_path / "p.xlsx", Prices=prices, Old=terms, Empty=[]), "parts", "DAY")
    with pytest.raises(BadValue, match=r"has 2 sheets: say which with --sheet \(Prices, Old\)"):
        open_table(session, wish)
    brought(session, wish._replace(sheet="prices"))
    assert open_table(session, wish).sheet == "Prices"
    assert open_table(session, Wish(book(tmp_path / "q.xlsx", a=terms, Parts=prices), "parts")).sheet == "Parts"
    problem = seen(session, Wish(book(tmp_path / "r.xlsx", One=[["Part", "Price"], ["X", "?"]]), "parts")).problems[0]
    assert str(problem).startswith("r.xlsx One:2: cost:")


def test_names_that_are_not_there_are_told(session: Session, listed: Listed, tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no supplier 'ODP': there is DAY, NEXT, WEEK"):
        sheetfile.supplier_named(session, "ODP")
    assert sheetfile.supplier_named(session, "weekly run") == "WEEK"
    with pytest.raises(BadValue, match="is none of places, suppliers"):
        sheetfile.sheet_of("prices")
    for name, says in (("a.xls", "neither .xlsx nor .csv"), ("gone.csv", "cannot be read"), ("gone.xlsx", "cannot be")):
        with pytest.raises(BadValue, match=says):
            open_table(session, Wish(tmp_path / name, "parts"))
    with pytest.raises(BadValue, match="has no sheets"):
        open_table(session, listed([["Part"]], sheet="x"))


def test_the_folders_own_files_brought_in_one_by_one_make_the_same_ledger(new_session: Open, tmp_path: Path) -> None:
    folder = broken.write(tmp_path / "good", broken.as_bytes(broken.GOOD))
    whole, one = (new_session(name, EVENING, filled=False) for name in ("whole", "one"))
    setup.import_folder(whole, folder)
    for kind in ("places", "suppliers", "families", "parts", "fits", "goes_with", "usual", "jobs", "used", "stock"):
        if (folder / f"{kind}.csv").exists():
            brought(one, Wish(folder / f"{kind}.csv", kind))
    for name, session in (("whole", whole), ("one", one)):
        setup.export_folder(session, tmp_path / name)
    assert written_in(tmp_path / "one") == written_in(tmp_path / "whole")
    assert len(written_in(tmp_path / "one")) > 5


def written_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def filled_in(starter: Path, folder: Path) -> Path:
    """The starter workbook with a folder's rows typed into it: numbers as numbers, dates as dates."""
    made = load_workbook(starter)
    for file in folder.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as lines:
            head, *rows = csv.reader(lines)
        page = made[file.stem]
        places = [[str(cell.value).rstrip(" *") for cell in page[1]].index(name) + 1 for name in head]
        for number, row in enumerate(rows, 2):
            for place, name, text in zip(places, head, row, strict=True):
                if text:
                    page.cell(number, place, typed(name, text))
    made.save(starter.with_name("filled.xlsx"))
    return starter.with_name("filled.xlsx")


def typed(name: str, text: str) -> Any:
    kind = KIND_OF.get(name)
    if kind == "date":
        return date.fromisoformat(text)
    if kind == "yes-no":
        return "yes" if text == "1" else "no"
    return float(text) if kind in ("price", "money", "quantity", "days", "plain number", "share") else text


def early_part_of_the_demo_firm(folder: Path, jobs: int) -> Path:
    """The demo firm with its first jobs alone, which is soon imported."""
    folder.mkdir()
    kept = {f"J{number:04d}" for number in range(1, jobs + 1)}
    for file in (ROOT / "demo" / "firm").glob("*.csv"):
        head, *lines = file.read_text(encoding="utf-8").splitlines()
        if file.name in ("jobs.csv", "used.csv"):
            lines = [line for line in lines if line.split(",")[0] in kept]
        (folder / file.name).write_text("\n".join([head, *lines]), encoding="utf-8")
    return folder


def test_the_starter_workbook_filled_in_makes_the_same_ledger_as_the_folder(new_session: Open, tmp_path: Path) -> None:
    folder = early_part_of_the_demo_firm(tmp_path / "firm", jobs=60)
    bookfile.write_starter(tmp_path / "starter.xlsx")
    whole, session = (new_session(name, EVENING, filled=False) for name in ("whole", "book"))
    path = filled_in(tmp_path / "starter.xlsx", folder)
    assert bookfile.import_book(session, path) == setup.import_folder(whole, folder)
    for name, one in (("of the folder", whole), ("of the book", session)):
        setup.export_folder(one, tmp_path / name)
    assert written_in(tmp_path / "of the book") == written_in(tmp_path / "of the folder")
    assert bookfile.import_book(session, path).total == 0


def test_an_empty_starter_workbook_brings_nothing_in_and_is_never_written_over(
    session: Session, tmp_path: Path
) -> None:
    bookfile.write_starter(tmp_path / "s.xlsx")
    assert bookfile.import_book(session, tmp_path / "s.xlsx").total == 0
    with pytest.raises(BadValue, match="is there already, and may be filled in"):
        bookfile.write_starter(tmp_path / "s.xlsx")
    with pytest.raises(BadValue, match=r"does not end in .xlsx"):
        bookfile.write_starter(tmp_path / "s.csv")


def test_problems_of_a_workbook_are_told_by_sheet_and_row_and_nothing_is_written(
    session: Session, tmp_path: Path
) -> None:
    path = book(
        tmp_path / "firm.xlsx",
        notes=[["anything"]], Scratch=[["x"]],
        parts=[["part *", "cost", "supplier", "colour"], ["P-1", 2, "DAY", "red"]],
        fits=[["Family *", "part *", "share"], ["AAA", "GKT-9", 1], ["ZZZ", "SNS-1", "51 %"]],
        jobs=[["job", "date", "family", "job_type"], ["K1", "03/04/2027", "AAA", "clean"]],
        stock=[["part", "place", "qty"], ["SNS-1", "van", "two"], ["SNS-1", "attic", 2]],
        goes_with=[["part"], ["SNS-1"]],
    )  # fmt: skip
    before = digest(session)
    with pytest.raises(ImportRefused) as refused:
        bookfile.import_book(session, path)
    told = [str(problem) for problem in refused.value.problems]
    assert told[0].startswith("parts:1: unknown column colour: the columns are part, description")
    assert told[1:] == [
        "fits:3: unknown family 'ZZZ': add it to the sheet families or correct the name",
        "goes_with:1: column also is missing: add it to row 1",
        "jobs:1: date: '03/04/2027' may be 03 April 2027 or 04 March 2027: import with --day-first or --month-first",
        "stock:2: qty: 'two' is not a number",
        "stock:3: unknown place 'attic': add it to the sheet places or correct the name",
        told[-1],
    ]
    assert told[-1].startswith("scratch:1: import does not know this sheet")
    assert digest(session) == before


def test_what_contradicts_the_ledger_is_told_by_sheet_and_row(session: Session, tmp_path: Path) -> None:
    head = ["part", "place", "qty"]
    bookfile.import_book(session, book(tmp_path / "a.xlsx", stock=[head, ["SNS-1", "van", 2]]))
    with pytest.raises(ImportRefused) as refused:
        bookfile.import_book(session, book(tmp_path / "b.xlsx", stock=[head, ["SNS-1", "van", 3]]))
    assert str(refused.value.problems[0]).startswith("stock:2: the ledger already follows SNS-1 in van and has 2 there")


def test_a_workbook_of_other_sheets_is_told_how_to_be_read(session: Session, tmp_path: Path) -> None:
    with pytest.raises(BadValue, match=r"has none of the sheets places, .* --as parts"):
        bookfile.import_book(session, book(tmp_path / "a.xlsx", Prices=[["Part", "Price"], ["A", 1]]))
    with pytest.raises(BadValue, match=r"list.csv is one file: say what is in it, like --as parts"):
        bookfile.import_book(session, tmp_path / "list.csv")

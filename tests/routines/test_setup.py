"""Import and export on a real ledger: all or nothing, never twice, and what is history."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from types import ModuleType

import pytest

from vanstock.errors import ImportRefused
from vanstock.ledger import reading
from vanstock.ledger.catalogue import read_catalogue
from vanstock.model import Job
from vanstock.readings import parse_reading
from vanstock.routines import booking, job, stock, trust
from vanstock.routines.session import Session
from vanstock.routines.setup import export_folder, import_folder

Open = Callable[..., Session]
EVENING = datetime(2027, 2, 28, 18, 0)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(broken: ModuleType, tmp_path: Path) -> Path:
    path: Path = broken.write(tmp_path / "good", broken.as_bytes(broken.GOOD))
    return path


@pytest.fixture
def empty(new_session: Open) -> Session:
    return new_session("empty", EVENING, filled=False)


def digest(session: Session) -> str:
    return hashlib.sha256(session.path.read_bytes()).hexdigest()


def held(session: Session) -> dict[tuple[str, str], tuple[int, int]]:
    return {(row.part, row.place): (row.qty, row.value) for row in reading.balances(session.ledger)}


def edit(folder: Path, file: str, old: str, new: str) -> None:
    path = folder / file
    text = path.read_bytes().decode()
    assert old in text
    path.write_bytes(text.replace(old, new).encode())


def test_use_from_before_the_opening_stock_is_history_that_stock_does_not_see(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    assert held(empty) == {
        ("VAP-2", "van"): (1, 13_000),
        ("FLU-1", "store"): (10_000, 5_600),
        ("GKT-1", "van"): (4, 1_540),
    }
    rows = empty.ledger.execute("SELECT part, qty, value FROM movement WHERE from_place = 'history'").fetchall()
    assert rows == [("FLU-1", 2500, 0), ("VAP-2", 1, 0)]
    assert [(row.part, row.fitted, row.missed) for row in reading.used(empty.ledger)] == [
        ("FLU-1", 2500, 0), ("GKT-1", 0, 1), ("VAP-2", 1, 0),
    ]  # fmt: skip


def test_importing_the_same_folder_again_changes_nothing_and_says_so(empty: Session, folder: Path) -> None:
    assert import_folder(empty, folder).total > 0
    before = digest(empty)
    assert import_folder(empty, folder).total == 0
    assert digest(empty) == before


def test_importing_it_again_after_work_was_done_takes_nothing_back(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    job.fit(empty, "J4", "GKT-1")
    job.finish(empty, "J4")
    before = digest(empty)
    assert import_folder(empty, folder).total == 0
    assert digest(empty) == before


def test_a_new_price_and_a_new_booking_are_taken_over(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    edit(folder, "parts.csv", "3.85", "4.10")
    edit(folder, "jobs.csv", "J4,2027-03-02", "J5,2027-03-03,11:00,BBB,clean,,booked,van,\r\nJ4,2027-03-02")
    changed = import_folder(empty, folder).changed
    assert {name: count for name, count in changed.items() if count} == {"parts": 1, "jobs": 1}


def test_use_after_the_opening_stock_comes_out_of_the_van(empty: Session, new_session: Open, folder: Path) -> None:
    import_folder(empty, folder)
    edit(folder, "jobs.csv", "J4,2027-03-02,10:00,AAA,clean,,booked", "J4,2027-03-02,10:00,AAA,clean,,done")
    edit(folder, "used.csv", "J2,GKT-1,0,1", "J2,GKT-1,0,1\r\nJ4,GKT-1,3,0")
    later = new_session("empty", datetime(2027, 3, 3, 18, 0), filled=False)
    import_folder(later, folder)
    assert held(later)["GKT-1", "van"] == (1, 385)


def test_a_row_that_contradicts_the_ledger_is_a_problem_at_its_line(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    edit(folder, "used.csv", "J1,FLU-1,2.5", "J1,FLU-1,3")
    edit(folder, "stock.csv", "VAP-2,van,1", "VAP-2,van,2")
    before = digest(empty)
    with pytest.raises(ImportRefused) as refused:
        import_folder(empty, folder)
    found = [str(problem) for problem in refused.value.problems]
    assert found[0].startswith("used.csv:2: job J1 already has 2.5 fitted")
    assert found[1].startswith("stock.csv:2: the ledger already follows VAP-2 in van and has 1 there")
    assert digest(empty) == before


def test_two_hundred_broken_folders_leave_the_ledger_byte_for_byte_as_it_was(
    empty: Session, folder: Path, broken: ModuleType, tmp_path: Path
) -> None:
    import_folder(empty, folder)
    before = digest(empty)
    for number, (name, files, (file, line)) in enumerate(broken.broken_folders(200, seed=23)):
        with pytest.raises(ImportRefused) as refused:
            import_folder(empty, broken.write(tmp_path / str(number), files))
        assert (file, line) in {(p.file, p.line) for p in refused.value.problems}, name
        assert digest(empty) == before, name


def test_export_writes_the_demo_firms_files_byte_for_byte(empty: Session, tmp_path: Path) -> None:
    import_folder(empty, ROOT / "demo" / "firm")
    export_folder(empty, tmp_path / "out")
    for path in sorted((ROOT / "demo" / "firm").glob("*.csv")):
        assert (tmp_path / "out" / path.name).read_bytes() == path.read_bytes(), path.name


def test_an_export_after_work_reads_into_a_new_ledger_with_the_same_stock_use_and_jobs(
    empty: Session, new_session: Open, folder: Path, tmp_path: Path
) -> None:
    import_folder(empty, folder)
    stock.add_place(empty, "van 2", "van")
    stock.receive(empty, "GKT-1", "3", cost=33_333, place="van 2")
    job.fit(empty, "J4", "VAP-2", with_riders=True)
    job.finish(empty, "J4")
    export_folder(empty, tmp_path / "out")
    other = new_session("other", EVENING.replace(month=3, day=5), filled=False)
    import_folder(other, tmp_path / "out")
    assert held(other) == held(empty)
    assert sorted(reading.used(other.ledger)) == sorted(reading.used(empty.ledger))
    assert reading.jobs(other.ledger) == reading.jobs(empty.ledger)
    export_folder(other, tmp_path / "again")
    for path in (tmp_path / "out").iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name


def test_stock_below_zero_is_exported_as_it_is_and_said(empty: Session, folder: Path, tmp_path: Path) -> None:
    import_folder(empty, folder)
    job.fit(empty, "J4", "GKT-1", "9")
    assert export_folder(empty, tmp_path / "out")["below zero"] == 1
    assert b"GKT-1,van,-5," in (tmp_path / "out" / "stock.csv").read_bytes()


def test_progress_is_told(empty: Session, tmp_path: Path) -> None:
    told: list[int] = []
    lines = ["job,date,family,job_type,status", *(f"K{n},2026-05-04,AAA,clean,done" for n in range(6_000))]
    (tmp_path / "families.csv").write_text("family\nAAA\n")
    (tmp_path / "jobs.csv").write_text("\n".join(lines))
    import_folder(empty, tmp_path, told.append)
    assert sum(told) >= 5_000


def test_a_job_half_done_when_exported_keeps_its_stock_and_so_does_a_cancelled_one(
    empty: Session, new_session: Open, folder: Path, tmp_path: Path
) -> None:
    import_folder(empty, folder)
    job.fit(empty, "J4", "GKT-1", "2")
    job.fit(empty, "J3", "GKT-1")
    export_folder(empty, tmp_path / "out")
    other = new_session("other", EVENING, filled=False)
    import_folder(other, tmp_path / "out")
    assert held(other) == held(empty)
    assert sorted(reading.used(other.ledger)) == sorted(reading.used(empty.ledger))


def test_a_changed_row_does_not_book_a_finished_job_again(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    booking.cancel_booking(empty, "J4")
    edit(folder, "jobs.csv", "J4,2027-03-02,10:00", "J4,2027-03-02,11:00")
    import_folder(empty, folder)
    changed = reading.job_named(empty.ledger, "J4")
    assert changed
    assert (changed.time, changed.status) == ("11:00", "cancelled")
    done = next(row for row in reading.jobs(empty.ledger) if row.status == "done")
    path = folder / "jobs.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    booked = [row.replace(",done,", ",booked,") if row.startswith(f"{done.job},") else row for row in rows]
    path.write_text("\n".join(booked), encoding="utf-8")
    with pytest.raises(ImportRefused) as refused:
        import_folder(empty, folder)
    assert f"job {done.job} is done in the ledger and this row would book it again" in str(refused.value.problems[0])


def test_an_old_file_does_not_move_a_job_back_but_a_changed_one_moves_it(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    booking.move_booking(empty, "J4", day=date(2027, 3, 5), at=None, van=None)
    assert import_folder(empty, folder).total == 0
    for old, new in (("02", "04"), ("04", "02")):
        edit(folder, "jobs.csv", f"J4,2027-03-{old},10:00", f"J4,2027-03-{new},10:00")
        import_folder(empty, folder)
        moved = reading.job_named(empty.ledger, "J4")
        assert moved
        assert moved.date == date(2027, 3, int(new))


def test_a_part_logged_by_hand_on_an_imported_job_does_not_stop_the_old_folder(empty: Session, folder: Path) -> None:
    import_folder(empty, folder)
    brought = reading.used(empty.ledger)[0]
    job.fit(empty, brought.job, brought.part)
    assert import_folder(empty, folder).total == 0


def test_a_forgotten_customer_does_not_come_back_with_an_old_file(empty: Session, folder: Path) -> None:
    edit(
        folder,
        "jobs.csv",
        "J4,2027-03-02,10:00,AAA,clean,,booked,van,",
        "J4,2027-03-02,10:00,AAA,clean,,booked,van,C-9",
    )
    import_folder(empty, folder)
    trust.forget(empty, "C-9")
    assert import_folder(empty, folder).total == 0
    assert b"C-9" not in empty.path.read_bytes()


def test_what_is_rarely_known_goes_out_and_comes_in_again(empty: Session, new_session: Open, folder: Path) -> None:
    rare = {
        "jobs": ("chosen,readings", {4: "FLU-1;HOS-1,idle 45 mbar;after idle 8 mbar"}),
        "parts": ("bulk_litres", {1: "2.5"}),
        "suppliers": ("comes_at", {1: "12:20"}),
    }
    for file, (columns, filled) in rare.items():
        path = folder / f"{file}.csv"
        empty_cells = "," * columns.count(",")
        lines = [
            f"{line},{columns if number == 0 else filled.get(number, empty_cells)}"
            for number, line in enumerate(path.read_text().splitlines())
        ]
        path.write_text("\n".join(lines) + "\n")
    import_folder(empty, folder)
    assert reading.jobs(empty.ledger)[3].chosen == ("FLU-1", "HOS-1")
    known = read_catalogue(empty.ledger)
    assert (known.parts["VAP-1"].bulk_ml, known.suppliers["DAY"].comes_at) == (2500, "12:20")
    export_folder(empty, folder)
    other = new_session("other", EVENING, filled=False)
    import_folder(other, folder)
    assert reading.jobs(other.ledger) == reading.jobs(empty.ledger)
    assert read_catalogue(other.ledger) == known
    assert import_folder(other, folder).total == 0


@pytest.mark.parametrize(
    ("file", "column", "cell", "says"),
    [
        ("jobs", "chosen", "GONE", "jobs.csv:2: unknown part 'GONE'"),
        ("jobs", "readings", "idle 45", "jobs.csv:2: readings: idle '45' has no unit"),
        ("suppliers", "comes_at", "25:00", "suppliers.csv:2: comes_at: time '25:00' does not exist"),
        ("parts", "bulk_litres", "-1", "parts.csv:2: bulk_litres: '-1' is below zero"),
    ],
)
def test_a_bad_cell_of_a_rare_column_is_told_and_nothing_at_all_is_imported(
    empty: Session, folder: Path, file: str, column: str, cell: str, says: str
) -> None:
    path = folder / f"{file}.csv"
    first, row, *rest = path.read_text().splitlines()
    path.write_text("\n".join([f"{first},{column}", f"{row},{cell}", *(f"{line}," for line in rest)]) + "\n")
    before = digest(empty)
    with pytest.raises(ImportRefused) as refused:
        import_folder(empty, folder)
    (problem,) = refused.value.problems
    assert str(problem).startswith(says)
    assert digest(empty) == before


def test_an_old_folder_takes_no_reading_off_a_job_whether_it_was_imported_or_booked_by_hand(
    empty: Session, folder: Path, tmp_path: Path
) -> None:
    import_folder(empty, folder)
    by_hand = booking.add_booking(empty, Job("H1", date(2027, 3, 2), "09:00", "AAA", "clean"))
    export_folder(empty, tmp_path / "out")
    for name in ("J4", by_hand.job):
        booking.add_reading(empty, name, parse_reading("idle", "45 mbar"))
    for old in (folder, tmp_path / "out"):
        assert import_folder(empty, old).total == 0
        for name in ("J4", by_hand.job):
            now = reading.job_named(empty.ledger, name)
            assert now
            assert now.readings == "idle 45 mbar"

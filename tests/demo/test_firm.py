"""The invented firm: made again byte for byte, fit to be imported, and with every trap still in it."""

from __future__ import annotations

import csv
import importlib.util
import itertools
import sys
from collections import defaultdict
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import ModuleType

import pytest

from vanstock.exchange import sheets
from vanstock.exchange.csvfile import Sheet
from vanstock.exchange.gtin import parse_gtin
from vanstock.ledger import catalogue
from vanstock.model import stock_groups
from vanstock.needs.returns import RETURN_WITHIN
from vanstock.routines.session import Session
from vanstock.routines.setup import export_folder, import_folder

DEMO = Path(__file__).parents[2] / "demo"
FIRM = DEMO / "firm"
FILES = sorted(path.name for path in FIRM.glob("*.csv"))

Row = dict[str, str]


def load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"demo_{name}", DEMO / f"{name}.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def generate() -> ModuleType:
    return load("generate")


def rows(name: str) -> list[Row]:
    with (FIRM / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def by(name: str, column: str) -> dict[str, Row]:
    return {row[column]: row for row in rows(name)}


def day(row: Row) -> date:
    return date.fromisoformat(row["date"])


def used_by_job() -> dict[str, dict[str, tuple[Decimal, Decimal]]]:
    found: dict[str, dict[str, tuple[Decimal, Decimal]]] = defaultdict(dict)
    for row in rows("used"):
        found[row["job"]][row["part"]] = Decimal(row["fitted"]), Decimal(row["missed"])
    return found


def done_jobs() -> list[Row]:
    return [row for row in rows("jobs") if row["status"] == "done"]


def test_the_generator_makes_the_firm_again_byte_for_byte(generate: ModuleType, tmp_path: Path) -> None:
    generate.write(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == FILES
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (FIRM / name).read_bytes(), name


@pytest.mark.parametrize("sheet", [sheet for sheet in sheets.ALL if sheet.file in FILES], ids=lambda sheet: sheet.file)
def test_each_file_has_every_usual_column_in_order_and_ends_its_lines_as_rfc_4180_says(sheet: Sheet) -> None:
    data = (FIRM / sheet.file).read_bytes()
    assert data.count(b"\n") == data.count(b"\r\n") > 1
    assert data.endswith(b"\r\n")
    assert data.decode("utf-8").splitlines()[0].split(",") == [
        name for name in sheet.columns if name not in sheet.rarely
    ]


def test_the_firm_goes_into_an_empty_ledger_and_comes_out_the_same(
    new_session: Callable[..., Session], tmp_path: Path
) -> None:
    session = new_session("firm", filled=False)
    assert import_folder(session, FIRM).total > 0
    assert import_folder(session, FIRM).total == 0
    (tmp_path / "out").mkdir()
    export_folder(session, tmp_path / "out")
    for name in FILES:
        came, went = ((folder / name).read_bytes().splitlines() for folder in (tmp_path / "out", FIRM))
        assert sorted(came) == sorted(went), name


def test_a_false_supersession_stays_two_stocks_and_two_boxes_of_one_plug_become_one(
    new_session: Callable[..., Session],
) -> None:
    session = new_session("firm", filled=False)
    import_folder(session, FIRM)
    groups = stock_groups(catalogue.read_catalogue(session.ledger))
    assert groups["DS-KRB-010-A"] != groups["DS-KRB-020-A"]
    assert groups["DS-KRA-010-A"] == groups["DS-KRA-010-B"]
    assert groups["GP-FEN-100-A"] == groups["GP-LUN-100-A"] != groups["GP-DUN-100-A"]


def test_the_vaporiser_split_by_engine_number_is_no_supersession() -> None:
    parts, shares = by("parts", "part"), {row["part"]: row["share"] for row in rows("fits") if row["family"] == "KRB"}
    early, late = parts["DS-KRB-010-A"], parts["DS-KRB-020-A"]
    assert early["component"] == late["component"] == "vaporiser"
    assert (early["superseded_by"], late["superseded_by"]) == ("", "")
    assert (shares["DS-KRB-010-A"], shares["DS-KRB-020-A"]) == ("0.51", "0.49")


@pytest.mark.parametrize("old", ["DS-KRA-010-A", "PS-KRA-400-A"])
def test_a_replaced_number_has_stock_left_and_no_use_after_its_successor_came(generate: ModuleType, old: str) -> None:
    new, jobs = by("parts", "part")[old]["superseded_by"], by("jobs", "job")
    came = generate.REPLACED_ON[new]
    assert old in {row["part"] for row in rows("stock")}
    uses = {part: [day(jobs[row["job"]]) for row in rows("used") if row["part"] == part] for part in (old, new)}
    assert max(uses[old]) < came <= min(uses[new])


def test_hose_comes_in_rolls_fluid_in_cans_and_gloves_in_boxes_of_pairs() -> None:
    parts = by("parts", "part")
    packed = {name: (row["unit"], row["pack_size"]) for name, row in parts.items()}
    assert packed["HS-UNI-410-A"] == packed["HS-UNI-411-A"] == ("MTR", "5")
    assert packed["FL-UNI-800-A"] == packed["FL-UNI-801-A"] == ("LTR", "5")
    assert packed["CN-UNI-820-A"] == ("PR", "50")


def test_either_box_of_the_plug_fits_both_families_and_each_has_its_usual_one() -> None:
    plugs = {(row["family"], row["part"]): row["share"] for row in rows("fits") if row["part"].startswith("GP-")}
    assert (plugs["FEN", "GP-FEN-100-A"], plugs["FEN", "GP-LUN-100-A"]) == ("1", "0")
    assert (plugs["LUN", "GP-LUN-100-A"], plugs["LUN", "GP-FEN-100-A"]) == ("1", "0")


def test_the_firm_works_on_working_days_only() -> None:
    assert {day(row).weekday() for row in rows("jobs")} == {0, 1, 2, 3, 4}


def test_history_fills_eighteen_months_and_ends_on_the_working_day_before_the_first_booking(
    generate: ModuleType,
) -> None:
    days = {day(row) for row in done_jobs()}
    assert (min(days), max(days)) == (date(2025, 9, 1), date(2027, 2, 26))
    assert days == set(generate.working_days())
    assert not days & generate.CLOSED
    assert 1.5 <= len(done_jobs()) / len(days) <= 3
    assert min(day(row) for row in rows("jobs") if row["status"] == "booked") == date(2027, 3, 1)


def test_jobs_are_numbered_in_order_of_time_and_no_two_share_a_moment() -> None:
    moments = [(row["date"], row["time"]) for row in rows("jobs")]
    assert moments == sorted(set(moments))
    assert [row["job"] for row in rows("jobs")] == [f"J{n:04d}" for n in range(1, len(moments) + 1)]


def test_every_part_used_fits_the_family_it_was_used_on() -> None:
    jobs = by("jobs", "job")
    fits = {(row["family"], row["part"]) for row in rows("fits")}
    strangers = {
        (jobs[row["job"]]["family"], row["part"])
        for row in rows("used")
        if not {(jobs[row["job"]]["family"], row["part"]), ("*", row["part"])} & fits
    }
    assert strangers == set()


def test_what_goes_with_a_part_was_used_wherever_the_part_was() -> None:
    use, jobs = used_by_job(), by("jobs", "job")
    together: dict[str, set[str]] = defaultdict(set)
    for job, lines in use.items():
        together[jobs[job]["reference"]] |= set(lines)
    for row in rows("goes_with"):
        lonely = [name for name, parts in together.items() if row["part"] in parts and row["also"] not in parts]
        assert lonely == [], row


def test_only_what_always_goes_with_a_part_is_listed_and_clips_go_by_the_metre() -> None:
    listed = {(row["part"], row["also"]): row["qty"] for row in rows("goes_with")}
    assert listed["DS-KRA-010-B", "BT-UNI-012-A"] == "2"
    assert listed["HS-UNI-411-A", "HC-UNI-412-A"] == "6"
    assert ("ET-SKV-310-A", "ET-SKV-320-A") not in listed
    assert ("PS-DUN-400-A", "HS-UNI-410-A") not in listed


def test_a_few_jobs_missed_a_part_and_a_return_visit_fitted_it() -> None:
    use, done = used_by_job(), done_jobs()
    missed = [(row, part) for row in done for part, (_, lacked) in use[row["job"]].items() if lacked]
    assert 0.02 <= len(missed) / len(done) <= 0.08
    last = max(map(day, done))
    for row, part in missed:
        settled = [
            later
            for later in done
            if later["reference"] == row["reference"]
            and day(row) < day(later) <= day(row) + RETURN_WITHIN
            and use[later["job"]].get(part, (0, 0))[0] == use[row["job"]][part][1]
        ]
        assert settled or (last - day(row)).days < 7, row["job"]


def test_parts_are_needed_together_and_not_by_chance() -> None:
    use = used_by_job()
    sensor = [job for job in done_jobs() if (job["family"], job["job_type"]) == ("DUN", "pressure-side")]
    with_hose = dict.fromkeys((True, False), 0)
    seen = dict(with_hose)
    for job in sensor:
        fitted = "PS-DUN-400-A" in use[job["job"]]
        seen[fitted] += 1
        with_hose[fitted] += "HS-UNI-410-A" in use[job["job"]]
    assert with_hose[True] / seen[True] > with_hose[False] / seen[False]
    assert all("ET-SKV-310-A" in lines for lines in use.values() if "ET-SKV-320-A" in lines)


def test_the_level_of_one_family_changes_halfway(generate: ModuleType) -> None:
    days = [day(row) for row in done_jobs() if row["family"] == "TAV"]
    later = sum(when >= generate.GROWS_FROM for when in days)
    assert later > len(days) - later


def test_families_and_job_types_are_not_equally_popular() -> None:
    for column in ("family", "job_type"):
        counts = sorted(len(list(group)) for _, group in itertools.groupby(sorted(row[column] for row in done_jobs())))
        assert counts[-1] > 2 * counts[0]


def test_every_number_is_for_demonstration_and_every_address_is_an_example() -> None:
    assert all(parse_gtin(row["gtin"]).startswith("952") for row in rows("parts"))
    assert all(row["email"].endswith(".example") for row in rows("suppliers"))

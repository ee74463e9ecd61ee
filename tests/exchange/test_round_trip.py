"""What is written reads back as exactly what it was, and canonical files come out byte for byte."""

from __future__ import annotations

import csv
import string
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.errors import VanstockError
from vanstock.exchange.checks import Known
from vanstock.exchange.csvfile import defused, undefused, write_rows
from vanstock.exchange.folder import FolderContents, read_folder
from vanstock.exchange.writing import unit_cost, write_folder
from vanstock.model import Family, Fits, GoesWith, Job, OpeningStock, Part, Supplier, Used, Usual
from vanstock.readings import parse_reading, write_readings

TODAY = date(2027, 3, 1)
ids = st.text(string.ascii_letters + string.digits + "-_./ äß=+@'", min_size=1, max_size=12).map(str.strip).filter(bool)
texts = st.text(string.ascii_letters + " ,;\"'\n€ü=+-@＝\t0", max_size=20).map(str.strip)
money = st.integers(0, 10**7)
pressures = st.decimals(0, 900, places=1).map(lambda amount: f"{amount} mbar")
readings = st.lists(
    st.builds(
        lambda kind, text, after: parse_reading(kind, text, after=after),
        st.sampled_from(["idle", "3000", "off"]), pressures, st.booleans(),
    ),
    max_size=4,
)  # fmt: skip


@st.composite
def contents(draw: st.DrawFn) -> FolderContents:
    names = draw(st.lists(ids, min_size=2, max_size=5, unique_by=str.casefold))
    suppliers = tuple(
        Supplier(
            n,
            draw(texts),
            draw(st.integers(0, 30)),
            "Mon;Thu",
            "17:00",
            draw(money),
            draw(st.none() | money),
            "",
            draw(st.sampled_from(["", "08:30", "16:05"])),
            draw(st.just(0) | money),
        )
        for n in names[:2]
    )
    parts = tuple(
        Part(
            part=f"P{i}{n}", description=draw(texts), component=f"c{i}",
            unit=draw(st.sampled_from(["C62", "LTR", "PR"])),
            cost=draw(st.integers(0, 10**8)), pack_size=draw(st.integers(1, 9000)), supplier=names[0],
            lead_working_days=draw(st.none() | st.integers(0, 9)), one_time_use=draw(st.booleans()),
            surcharge=draw(money), weight_grams=draw(st.none() | st.integers(0, 90_000)), hazard=draw(texts),
            superseded_by="", bulk_ml=draw(st.none() | st.integers(0, 90_000)),
        )
        for i, n in enumerate(names)
    )  # fmt: skip
    share = st.integers(0, 1000).map(lambda n: n / 1000)
    families = (Family("F1", draw(texts), 2010, None), Family("F2", draw(texts), None, 2014))
    numbers = st.sampled_from([part.part for part in parts if ";" not in part.part])
    jobs = tuple(
        Job(
            f"J{i}",
            date(2026, 1, 1 + i),
            "08:30",
            "F1",
            "clean",
            ("P2463",),
            "done",
            "van",
            draw(ids),
            draw(st.lists(numbers, unique=True, max_size=3).map(tuple)),
            write_readings(draw(readings)),
        )
        for i in range(3)
    )
    qty = st.integers(0, 50_000)
    used = tuple(Used(job.job, parts[0].part, draw(qty), 1 + draw(qty)) for job in jobs)
    stock = tuple(OpeningStock(p.part, "van", q, draw(money) if q else 0) for p in parts for q in [draw(qty)])
    return FolderContents(
        suppliers=suppliers, families=families, parts=parts, jobs=jobs, used=used, stock=stock,
        fits=tuple(Fits("*", p.part, draw(share)) for p in parts),
        goes_with=(GoesWith(parts[0].part, parts[1].part, 1 + draw(qty)),),
        usual=tuple(Usual("clean", "F2", p.component, draw(share), 1 + draw(qty), draw(share)) for p in parts),
    )  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(contents())
def test_writing_and_reading_gives_exactly_the_same_values(found: FolderContents) -> None:
    parts = {part.part: part for part in found.parts}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_folder(folder, found, parts)
        again = read_folder(folder, Known(), today=TODAY)
        assert again == type(found)(**{**{f: getattr(found, f) for f in found.__slots__}, "lines": again.lines})
        before = {path.name: path.read_bytes() for path in folder.iterdir()}
        write_folder(folder, again, parts)
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@given(st.text(max_size=8) | st.text("'=+-@＝\t\r\n0.x ", max_size=5))
def test_any_text_comes_back_from_its_defused_form_which_no_spreadsheet_runs(text: str) -> None:
    assert undefused(defused(text)) == text
    assert not defused(text).startswith(("=", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))
    if defused(text).startswith(("+", "-")):
        float(text)


FORMULAS = ("=1+1", "+1+1", "-1+1|x", "@SUM(1)", "'=1", "''", "'-x", "'tis", "'", "-5", "+44 20", "=cmd|' /C x'!A1")
"""The first four are the forms that OWASP, "CSV Injection", names."""


def test_formulas_in_every_text_are_written_as_text_and_numbers_as_numbers(tmp_path: Path) -> None:
    formulas = [text for text in FORMULAS if text != "-5"]
    parts = tuple(Part(f"{t}{n}", t, t, supplier="S", hazard=t, supplier_part=t) for n, t in enumerate(formulas))
    stock = tuple(OpeningStock(part.part, "van", -5, 0) for part in parts)
    found = FolderContents(suppliers=(Supplier("S", "=S"),), parts=parts, stock=stock)
    write_folder(tmp_path, found, {part.part: part for part in parts})
    with (tmp_path / "stock.csv").open(newline="") as lines:
        assert [row[2] for row in csv.reader(lines)][1:] == ["-5"] * len(parts)
    for path in tmp_path.iterdir():
        with path.open(newline="") as lines:
            for cell in (cell for row in csv.reader(lines) for cell in row):
                assert cell == "-5" or not cell.startswith(("=", "+", "-", "@")), cell
    (tmp_path / "stock.csv").unlink()
    again = read_folder(tmp_path, Known(), today=TODAY)
    assert (again.parts, again.suppliers) == (parts, found.suppliers)


@given(st.integers(1, 10**6), money, st.sampled_from(["C62", "LTR"]))
def test_a_unit_cost_is_written_so_that_it_gives_the_value_back(qty: int, value: int, code: str) -> None:
    from vanstock.exchange.csvfile import Record
    from vanstock.exchange.rows import stock
    from vanstock.quantity import format_qty

    part = Part("P", unit=code, cost=12_345)
    row = OpeningStock("P", "van", qty, value)
    cells = {"part": "P", "place": "van", "qty": format_qty(qty, code), "unit_cost": unit_cost(row, part)}
    record = Record("stock.csv", 2, cells, [])
    assert stock(record, {"P": part}) == row
    assert record.problems == []


def test_rfc_4180_quoting_as_its_examples_show(tmp_path: Path) -> None:
    """RFC 4180, section 2, rules 5 to 7: fields "aaa", "b""bb", "ccc", and one with a line break."""
    path = tmp_path / "out.csv"
    write_rows(path, ("one", "two", "three"), [("aaa", 'b"bb', "ccc"), ("a\nb", "c,d", "")])
    assert path.read_bytes() == b'one,two,three\r\naaa,"b""bb",ccc\r\n"a\nb","c,d",\r\n'


def test_a_file_that_cannot_be_written_leaves_the_old_one_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "out.csv").mkdir()
    with pytest.raises(VanstockError, match="cannot write"):
        write_rows(tmp_path / "out.csv", ("a",), [("1",)])
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


def test_the_good_folder_comes_back_whole(read: Callable[..., FolderContents], tmp_path: Path) -> None:
    found = read()
    write_folder(tmp_path / "copy", found, {part.part: part for part in found.parts})
    again = read_folder(tmp_path / "copy", Known(), today=TODAY)
    assert (again.parts, again.jobs, again.used, again.stock) == (found.parts, found.jobs, found.used, found.stock)


def header(folder: Path, file: str) -> list[str]:
    return (folder / f"{file}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")


RARE = {"jobs": ["chosen", "readings"], "parts": ["bulk_litres"], "suppliers": ["comes_at", "least_order"]}


def test_columns_that_no_row_fills_are_left_out_and_all_of_them_come_when_one_row_does(
    read: Callable[..., FolderContents], tmp_path: Path
) -> None:
    found = read()
    parts = {part.part: part for part in found.parts}
    write_folder(tmp_path, found, parts)
    assert not {name for file, names in RARE.items() for name in names if name in header(tmp_path, file)}
    write_folder(tmp_path, replace(found, jobs=(found.jobs[0]._replace(chosen=("FLU-1",)), *found.jobs[1:])), parts)
    assert header(tmp_path, "jobs")[-2:] == ["reference", "chosen"]
    filled = replace(
        found,
        jobs=(*found.jobs[:-1], found.jobs[-1]._replace(readings="idle 45 mbar")),
        parts=(found.parts[0]._replace(bulk_ml=1_500), *found.parts[1:]),
        suppliers=(found.suppliers[0]._replace(comes_at="12:15", least_order=50_00), *found.suppliers[1:]),
    )
    write_folder(tmp_path, filled, parts)
    for file, names in RARE.items():
        assert header(tmp_path, file)[-len(names) :] == names
    again = read_folder(tmp_path, Known(), today=TODAY)
    assert (again.jobs, again.parts, again.suppliers) == (filled.jobs, filled.parts, filled.suppliers)


def test_what_is_known_of_a_job_is_written_as_a_person_would(tmp_path: Path) -> None:
    job = Job("J1", TODAY, "", "AAA", "clean", chosen=("A-1", "B-2"), readings="idle 45 mbar;after idle 0.8 kPa")
    found = FolderContents(families=(Family("AAA"),), parts=(Part("A-1"), Part("B-2")), jobs=(job,))
    write_folder(tmp_path, found, {part.part: part for part in found.parts})
    assert (tmp_path / "jobs.csv").read_text().splitlines()[1] == (
        "J1,2027-03-01,,AAA,clean,,booked,van,,A-1;B-2,idle 45 mbar;after idle 0.8 kPa"
    )

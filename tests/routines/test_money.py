"""What the stock is worth and how a year's came about, through the acts that a person does; and the year's files."""

from __future__ import annotations

import csv
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from tests.conftest import new_ledger
from tests.routines.orders import held, sent
from tests.routines.weeks import change_part, later
from vanstock.errors import BadValue, VanstockError
from vanstock.ledger import worth
from vanstock.ledger.entries import SUPPLIER, Counted, Draft, last_undoable, post, reverse
from vanstock.ledger.valuing import Line
from vanstock.model import Job
from vanstock.quantity import format_money
from vanstock.routines import booking, job, stock
from vanstock.routines import settings as firm
from vanstock.routines.goodsin import Came, receive
from vanstock.routines.session import Session
from vanstock.routines.value import stock_value
from vanstock.routines.year import accounting_year, year
from vanstock.routines.yearfile import notes, summary, write_year

YEAR = (date(2027, 1, 1), date(2027, 12, 31))
PARTS = ("SNS-1", "FLU-1", "VAP-2")


@pytest.fixture
def busy(session: Session) -> Session:
    """Opening stock, an order with carriage, goods undone, a part fitted, moved, counted, written off, sent back."""
    opening = (Counted("SNS-1", "van", 3, 14_160), Counted("FLU-1", "store", 10_000, 5_600))
    post(session.ledger, Draft(session.now, "imported", counted=opening))
    receive(session, sent(session), Came(carriage=750))
    mistake = stock.receive(session, "SNS-1", "30")
    reverse(session.ledger, mistake.entry.id, Draft(session.now, "undo"))
    booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
    job.fit(session, "J1", "SNS-1")
    stock.move(session, "GKT-1", "3", source="store", target="van")
    stock.count(session, "SNS-1", "1", place="van", reason="one lost")
    post(session.ledger, Draft(session.now, "write-off", (Line("FLU-1", 2_000, "store", "write-off"),), note="spilt"))
    post(session.ledger, Draft(session.now, "sent back", (Line("VAP-2", 1, "store", SUPPLIER),)))
    return later(session, days=40)


def _pence(cell: object) -> int:
    """The pence of an amount in a sheet."""
    assert isinstance(cell, int | float)
    return round(cell * 100)


def test_the_value_is_that_of_the_stock_list_by_place_and_component(busy: Session) -> None:
    found = stock_value(busy)
    assert found.total == stock.totals(stock.stock(busy)) == sum(value for _, value in held(busy).values())
    assert [(row.place, row.component, row.lines) for row in found.rows] == [
        ("van", "pressure sensor", 1), ("van", "vaporiser gasket", 1), ("store", "cleaning fluid", 1),
        ("store", "vaporiser", 1), ("store", "vaporiser gasket", 1),
    ]  # fmt: skip
    assert (found.below_zero, found.later, found.since) == (0, 0, "2027-03-01")


def test_a_day_before_the_ledger_is_worth_nothing_and_one_to_come_is_refused(busy: Session) -> None:
    assert stock_value(busy, date(2027, 2, 28)).rows == ()
    with pytest.raises(BadValue, match="2027-04-11 is still to come: name a day up to today, 2027-04-10"):
        stock_value(busy, date(2027, 4, 11))


def test_stock_below_zero_and_entries_of_later_are_told(session: Session) -> None:
    booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
    job.fit(session, "J1", "SNS-1")
    found = stock_value(later(session, days=-1))
    assert (found.rows, found.later) == ((), 2)
    found = stock_value(session)
    assert (found.below_zero, found.below_zero_value, found.total) == (1, -4_720, -4_720)


def test_the_year_accounts_for_every_penny_by_what_happened(busy: Session) -> None:
    """By hand: 15.40, 260.00 and 7.50 bought; a sensor at 47.20 used, one lost; 2 of 10 L of 56.00; half of 267.08."""
    found = year(busy, *YEAR)
    assert summary(found) == [
        ("stock at the start", 0), ("brought in at first count", 19_760), ("bought, carriage included", 28_290),
        ("used on jobs", -4_720), ("sent back to suppliers", -13_354), ("written off", -1_120),
        ("count differences", -4_720), ("moved between places", 0), ("stock at the end", 24_136),
    ]  # fmt: skip
    assert [(row.supplier, row.bought, row.sent_back) for row in found.purchases] == [("NEXT", 28_290, -13_354)]
    assert [(row.part, row.value, row.note) for row in found.counted] == [
        ("SNS-1", -4_720, "one lost"), ("FLU-1", -1_120, "spilt"),
    ]  # fmt: skip
    assert [place.changes["moved"] for place in found.by_place()] == [-1_187, 1_187]


def test_the_next_period_opens_with_what_the_last_one_closed_with(busy: Session) -> None:
    march = year(busy, date(2027, 3, 1), date(2027, 3, 31))
    april = year(busy, date(2027, 4, 1), date(2027, 4, 30))
    assert april.total.opening == march.total.closing == 24_136
    assert (april.last, april.ends) == (date(2027, 4, 10), date(2027, 4, 30))
    assert set(april.total.changes.values()) == {0}


def test_months_follow_on_each_other_and_quiet_ones_are_there(busy: Session) -> None:
    months = year(busy, *YEAR).months
    assert [month.name for month in months] == ["2027-01", "2027-02", "2027-03", "2027-04"]
    assert [(month.opening, month.closing) for month in months] == [(0, 0), (0, 0), (0, 24_136), (24_136, 24_136)]


def test_the_accounting_year_starts_when_the_firm_says(session: Session) -> None:
    assert accounting_year(session) == YEAR
    firm.change_setting(session, "year_starts", "04-06")
    assert accounting_year(session) == (date(2026, 4, 6), date(2027, 4, 5))
    assert accounting_year(later(session, days=36)) == (date(2027, 4, 6), date(2028, 4, 5))
    assert accounting_year(session, "2024") == (date(2024, 4, 6), date(2025, 4, 5))
    for text in ("02-29", "13-01", "4-6", "W01-1", ""):
        with pytest.raises(BadValue, match="is not a day that every year has"):
            firm.change_setting(session, "year_starts", text)
    for text in ("27", "x", "20277"):
        with pytest.raises(BadValue, match="is not a year: write the one it begins in, like 2027"):
            accounting_year(session, text)


def test_a_time_that_has_not_begun_or_ends_before_it_begins_is_refused(session: Session) -> None:
    with pytest.raises(BadValue, match="2027-03-02 is still to come"):
        year(session, date(2027, 3, 2), date(2027, 3, 1))
    with pytest.raises(BadValue, match="2027-01-31 is before 2027-02-01"):
        year(session, date(2027, 2, 1), date(2027, 1, 31))


def test_what_is_said_beside_the_figures_names_the_basis_and_the_start_of_the_ledger(busy: Session) -> None:
    firm.change_setting(busy, "vat_added_percent", "20")
    assert notes(year(busy, *YEAR)) == [
        "GBP; moving weighted average cost, with 20 % VAT added, as set; money owed back by suppliers is not in it",
        "first in, first out would make the stock at the end 241.36, the same",
        "the ledger follows the stock from 2027-03-01 on: what lay there was brought in at first count",
    ]
    early = year(busy, date(2026, 1, 1), date(2026, 12, 31))
    assert notes(early)[-1] == "the ledger follows the stock only from 2027-03-01 on"


def test_vat_that_is_not_reclaimed_is_part_of_what_was_bought(session: Session) -> None:
    firm.change_setting(session, "vat_added_percent", "20")
    stock.receive(session, "SNS-1", "2")
    assert year(session, *YEAR).total.changes["bought"] == 11_328 == stock_value(session).total


def test_the_csv_has_a_line_for_each_part_and_place_whose_columns_add_up_to_the_summary(
    busy: Session, tmp_path: Path
) -> None:
    found = year(busy, *YEAR)
    write_year(busy, tmp_path / "year.csv", found)
    with (tmp_path / "year.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    ways = [way.replace(" ", "_") for way in found.total.changes]
    sums = [sum((Decimal(row[name]) for row in rows), Decimal(0)) for name in ("opening", *ways, "closing")]
    assert [format_money(pence) for _, pence in summary(found)] == [str(total) for total in sums]
    assert [(row["part"], row["place"]) for row in rows] == [
        ("FLU-1", "store"), ("GKT-1", "van"), ("GKT-1", "store"), ("SNS-1", "van"), ("VAP-2", "store"),
    ]  # fmt: skip
    for row in rows:
        assert sum(Decimal(row[f"{name}_qty"]) for name in ("opening", *ways)) == Decimal(row["closing_qty"])
    fluid = next(row for row in rows if row["part"] == "FLU-1")
    assert (fluid["closing_qty"], fluid["closing"], fluid["unit_cost"], fluid["unit"]) == ("8", "44.80", "5.60", "LTR")


def test_the_workbook_has_every_table_and_each_adds_up_to_the_summary(busy: Session, tmp_path: Path) -> None:
    """Read by openpyxl: the values that stand beside the formulas, and the formulas."""
    change_part(busy, "GKT-1", description="=1+1")
    found = year(busy, *YEAR)
    write_year(busy, tmp_path / "year.xlsx", found)
    book = load_workbook(tmp_path / "year.xlsx", data_only=True)
    assert book.sheetnames == [
        "summary", "by component", "by place", "by month", "purchases", "stock at the end", "counts and write-offs",
        "claims", "candidates",
    ]  # fmt: skip
    shown = {row[0]: row[1] for row in book["summary"].iter_rows(values_only=True) if row[1] is not None}
    for what, pence in summary(found):
        assert _pence(shown[what]) == pence
    texts = [str(row[0]) for row in book["summary"].iter_rows(values_only=True)]
    assert "ask your accountant which of these figures to use, and how stock is to be valued" in texts
    for name in ("by component", "by place"):
        last = list(book[name].iter_rows(values_only=True))[-1]
        assert [_pence(value) for value in last[1:]] == [pence for _, pence in summary(found)]
    closing = list(book["stock at the end"].iter_rows(values_only=True))
    assert _pence(closing[-1][-1]) == found.total.closing
    assert [row[:2] for row in closing[1:-1]] == [
        ("store", "FLU-1"), ("store", "VAP-2"), ("store", "GKT-1"), ("van", "SNS-1"), ("van", "GKT-1"),
    ]  # fmt: skip
    formulas = load_workbook(tmp_path / "year.xlsx")["stock at the end"]
    assert formulas.cell(len(closing), 8).value == f"=SUM(H2:H{len(closing) - 1})"
    assert (formulas["C4"].value, formulas["C4"].data_type) == ("=1+1", "s")
    assert [row[1] for row in book["counts and write-offs"].iter_rows(min_row=2, values_only=True)][:2] == [
        "count difference", "written off",
    ]  # fmt: skip


def test_the_same_year_gives_the_same_file_and_another_ending_none(busy: Session, tmp_path: Path) -> None:
    found = year(busy, *YEAR)
    for name in ("a.xlsx", "b.xlsx"):
        write_year(busy, tmp_path / name, found)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    with pytest.raises(BadValue, match=r"'year.pdf' ends in neither .csv nor .xlsx"):
        write_year(busy, tmp_path / "year.pdf", found)
    (tmp_path / "folder.xlsx").mkdir()
    with pytest.raises(VanstockError, match="cannot write"):
        write_year(busy, tmp_path / "folder.xlsx", found)
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix == ".part") == []


def test_an_empty_ledger_has_a_year_and_its_files(session: Session, tmp_path: Path) -> None:
    found = year(session, *YEAR)
    assert {pence for _, pence in summary(found)} == {0}
    assert notes(found)[-1] == "the ledger holds no stock yet"
    write_year(session, tmp_path / "year.xlsx", found)
    assert load_workbook(tmp_path / "year.xlsx").sheetnames[0] == "summary"


steps = st.one_of(
    st.tuples(st.just("order"), st.integers(1, 9), st.integers(1, 4), st.integers(0, 900)),
    st.tuples(st.just("received"), st.sampled_from(PARTS), st.integers(1, 9), st.integers(0, 500)),
    st.tuples(st.just("fit"), st.sampled_from(PARTS), st.integers(1, 4)),
    st.tuples(st.just("move"), st.sampled_from(PARTS), st.integers(1, 6)),
    st.tuples(st.just("count"), st.sampled_from(PARTS), st.integers(0, 9)),
    st.tuples(st.just("undo")),
)


def step(session: Session, act: tuple[Any, ...]) -> None:
    doing: dict[str, Callable[..., object]] = {
        "order": lambda gaskets, heaters, carriage: receive(
            session, sent(session, {"GKT-1": gaskets, "VAP-2": heaters}), Came(carriage=carriage)
        ),
        "received": lambda part, qty, carriage: stock.receive(session, part, str(qty), carriage=carriage),
        "fit": lambda part, qty: job.fit(session, "J1", part, str(qty)),
        "move": lambda part, qty: stock.move(session, part, str(qty), source="store", target="van"),
        "count": lambda part, qty: stock.count(session, part, str(qty), place="van"),
        "undo": lambda: reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo")),
    }
    with suppress(VanstockError):  # nothing to undo, or an order changed since
        doing[act[0]](*act[1:])


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(steps, st.integers(0, 25)), max_size=12), st.integers(0, 120), st.integers(0, 200))
def test_whatever_a_person_does_every_period_adds_up_by_part_place_component_and_month(
    acts: list[tuple[tuple[Any, ...], int]], start: int, length: int
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        connection = new_ledger(Path(folder) / "law.db")
        connection.execute("PRAGMA synchronous = OFF")
        session = Session(connection, datetime(2027, 1, 1, 9), Path(folder) / "law.db")
        booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
        for act, passed in acts:
            session = later(session, days=passed)
            step(session, act)
        first = date(2027, 1, 1) + timedelta(days=start)
        session = session._replace(now=max(session.now, datetime(2027, 5, 1, 9)))
        found = year(session, first, first + timedelta(days=length))
        groups = [found.total, *found.by_component(), *found.by_place(), *found.months]
        assert {group.unexplained for group in groups} == {0}
        assert sum(line.closing[1] for line in found.lines) == stock_value(session, found.last).total
        assert found.months[-1].closing == found.total.closing
        assert sum(row.bought for row in found.purchases) == found.total.changes["bought"]
        connection.close()


def test_what_is_written_while_a_year_is_read_is_all_in_it_or_not_at_all(busy: Session) -> None:
    with worth.one_moment(busy.ledger):
        before = worth.held(busy.ledger, "9999")
        with (
            closing(sqlite3.connect(busy.path, timeout=0, isolation_level=None)) as other,
            pytest.raises(sqlite3.OperationalError, match="locked"),
        ):
            other.execute("INSERT INTO setting VALUES ('firm_name', 'A Firm')")
        assert worth.held(busy.ledger, "9999") == before
    assert not busy.ledger.in_transaction

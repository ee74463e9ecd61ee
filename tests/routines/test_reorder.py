"""Forecasts, levels, pins and the reorder list, from a year of invented weeks."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from vanstock.errors import BadValue, NotFound
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.file import writing
from vanstock.model import Job, Used
from vanstock.routines import booking, forecasts, levels, reorder, stock
from vanstock.routines.session import Session

Open = Callable[..., Session]
WEEKS = 40


@pytest.fixture
def busy(session: Session) -> Session:
    """Forty weeks in which one sensor a week and 4 L of fluid are needed, the sensor under its old rules."""
    jobs, used = [], []
    for number in range(WEEKS):
        day = session.today - timedelta(days=7 * (WEEKS - number)) + timedelta(days=number % 5)
        jobs.append(Job(f"K{number}", day, "09:00", "AAA", "clean", status="done"))
        used += [Used(f"K{number}", "SNS-1", 1, 0), Used(f"K{number}", "FLU-1", 3_000 + 500 * (number % 5), 0)]
        used.append(Used(f"K{number}", "VAP-1" if number < 20 else "VAP-2", int(number % 4 == 0), int(number % 8 == 4)))
    used = [row for row in used if row.fitted or row.missed]
    with writing(session.ledger) as ledger:
        post_import(ledger, ImportedFacts(jobs, used), at=session.now, progress=lambda _: None)
    return session


def test_a_superseded_parts_need_counts_for_its_successor(busy: Session) -> None:
    found = {row.part.part: row for row in forecasts.forecast(busy)}
    assert "VAP-1" not in found
    assert found["VAP-2"].forecast.weeks_with_need == 10
    assert found["VAP-2"].forecast.demand_class in ("intermittent", "lumpy")
    assert found["SNS-1"].forecast.weekly_mean == pytest.approx(1)
    assert found["SNS-1"].forecast.interval_days == 5
    assert found["FLU-1"].forecast.interval_days == 12
    assert sum(found["VAP-2"].history) == 15


def test_asking_for_an_old_number_shows_the_one_it_is_stocked_under(busy: Session) -> None:
    assert [row.part.part for row in forecasts.forecast(busy, "VAP-1")] == ["VAP-2"]
    with pytest.raises(NotFound):
        forecasts.forecast(busy, "flux capacitor")


def test_pins_hold_until_taken_off(busy: Session) -> None:
    levels.pin(busy, "GKT-1", "2", "6")
    (shown,) = levels.minmax(busy, "GKT-1").parts
    assert (shown[1].min, shown[1].max, shown[1].pinned) == (2, 6, True)
    levels.unpin(busy, "GKT-1")
    assert not levels.minmax(busy, "GKT-1").parts[0][1].pinned
    with pytest.raises(BadValue, match="not pinned"):
        levels.unpin(busy, "GKT-1")


@pytest.mark.parametrize(("low", "high"), [("3", "2"), ("-1", "2"), ("a", "b")])
def test_levels_that_cannot_be_are_refused(busy: Session, low: str, high: str) -> None:
    with pytest.raises(BadValue):
        levels.pin(busy, "GKT-1", low, high)


def test_minmax_says_what_it_costs_and_promises(busy: Session) -> None:
    found = levels.minmax(busy)
    assert found.target == 0.95
    assert found.cash > 0
    assert found.completion is not None
    assert 0.5 < found.completion <= 1


def test_the_list_is_by_supplier_in_packs_with_cut_offs_and_reasons(busy: Session) -> None:
    found = reorder.reorder(busy)
    assert [order.supplier for order, _, _ in found.orders] == ["DAY", "NEXT", "WEEK"]
    assert [cutoff for _, _, cutoff in found.orders] == [
        datetime(2027, 3, 2, 11, 0), datetime(2027, 3, 1, 17, 0), datetime(2027, 3, 2, 12, 0),
    ]  # fmt: skip
    (fluid,) = found.orders[2][0].lines
    assert fluid.qty % 5000 == 0
    assert fluid.packs == fluid.qty // 5000
    assert "min is" in fluid.why
    for order, supplier, _ in found.orders:
        paid = supplier.carriage_paid_over is not None and order.goods >= supplier.carriage_paid_over
        assert order.carriage == (0 if paid else supplier.carriage)


def test_stock_of_the_old_number_counts_when_the_new_one_is_ordered(busy: Session) -> None:
    def ordered() -> int:
        return sum(
            line.qty for order, _, _ in reorder.reorder(busy).orders for line in order.lines if line.part == "VAP-2"
        )

    before = ordered()
    stock.receive(busy, "VAP-1", "1")
    assert ordered() == before - 1


def test_booked_jobs_are_ordered_for_even_when_the_part_is_not_kept(busy: Session) -> None:
    for part in ("GKT-1", "BLT-1"):
        stock.receive(busy, part, "20")
    stock.receive(busy, "VAP-2", "9")
    for number in range(12):
        day = busy.today + timedelta(days=number % 4)
        booking.add_booking(busy, Job(f"N{number}", day, "09:00", "AAA", "heat-source"))
    lines = {line.part: line for order, _, _ in reorder.reorder(busy).orders for line in order.lines}
    assert "booked jobs may take" in lines["VAP-2"].why


def test_a_review_on_another_day_uses_that_days_cut_offs(busy: Session) -> None:
    found = reorder.reorder(busy, date(2027, 3, 5))
    assert {order.supplier: cutoff for order, _, cutoff in found.orders}["WEEK"] == datetime(2027, 3, 9, 12, 0)


def test_the_list_is_written_as_csv(busy: Session, tmp_path: Path) -> None:
    found = reorder.reorder(busy)
    reorder.write_csv(tmp_path / "order.csv", found)
    lines = (tmp_path / "order.csv").read_text().splitlines()
    assert lines[0] == "supplier,supplier_part,part,description,qty,unit,packs,cost"
    assert len(lines) == 1 + sum(len(order.lines) for order, _, _ in found.orders)


def test_an_empty_ledger_orders_nothing(new_session: Open) -> None:
    assert reorder.reorder(new_session("empty", filled=False)).orders == ()


def test_a_review_further_ahead_than_levels_look_is_refused(busy: Session) -> None:
    last = busy.today + timedelta(days=7 * 13)
    assert reorder.reorder(busy, last).date == last
    for days in (1, 365 * 70):
        with pytest.raises(BadValue, match="is more than 13 weeks ahead: what to order then cannot be known yet"):
            reorder.reorder(busy, last + timedelta(days=days))


@pytest.mark.parametrize(("low", "high", "ordered"), [("2", "2", 2), ("0", "3", 3), ("5", "5", 5), ("0", "0", 0)])
def test_nothing_is_ordered_above_a_pinned_max(busy: Session, low: str, high: str, ordered: int) -> None:
    levels.pin(busy, "SNS-1", low, high)
    lines = {line.part: line.qty for order, _, _ in reorder.reorder(busy).orders for line in order.lines}
    assert lines.get("SNS-1", 0) == ordered
    if ordered:
        stock.receive(busy, "SNS-1", high)
    lines = {line.part: line.qty for order, _, _ in reorder.reorder(busy).orders for line in order.lines}
    assert "SNS-1" not in lines

"""Why a forecast is what it is: it agrees with the forecast itself, with last week's, and with what lists kept."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime, timedelta

import pytest

from vanstock.errors import Ambiguous, NotFound
from vanstock.ledger import file
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.file import writing
from vanstock.model import Job, Used
from vanstock.routines import forecasts, levels, reorder
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting
from vanstock.routines.why import keep_basis, past_levels, why

Open = Callable[..., Session]
WEEKS = 40


def fill_weeks(session: Session, weeks: int) -> None:
    """So many weeks with a sensor each, up to the last one, and a heat source in every fourth."""
    jobs, used = [], []
    for number in range(weeks):
        day = session.today - timedelta(days=7 * (weeks - number)) + timedelta(days=number % 5)
        jobs.append(Job(f"K{number}", day, "09:00", "AAA", "clean", status="done"))
        used += [Used(f"K{number}", "SNS-1", 1 + number % 3, 0), Used(f"K{number}", "FLU-1", 3_000, 0)]
        used += [Used(f"K{number}", "VAP-1", 1, 0)] if number % 8 == 0 else []
    with writing(session.ledger) as ledger:
        post_import(ledger, ImportedFacts(jobs, used), at=session.now, progress=lambda _: None)


@pytest.fixture
def busy(session: Session) -> Session:
    fill_weeks(session, WEEKS)
    return session


def test_the_figures_explained_are_the_figures_forecast(busy: Session) -> None:
    for part in ("SNS-1", "FLU-1", "VAP-2", "GKT-1"):
        found = why(busy, part)
        assert [found.now.row] == forecasts.forecast(busy, part)
        assert found.now.level == levels.minmax(busy, part).parts[0][1]
        assert len(found.now.path) == len(found.now.row.history) == len(found.now.row.mondays)
        assert found.now.path[-1] == pytest.approx(found.now.row.forecast.weekly_mean, abs=1e-12)


def test_a_week_ago_is_what_a_forecast_made_then_would_have_said(busy: Session) -> None:
    then = busy._replace(now=busy.now - timedelta(days=7))
    for part in ("SNS-1", "FLU-1"):
        before = why(busy, part).before
        assert before
        assert [before.row] == forecasts.forecast(then, part)
        assert before.today == date(2027, 2, 22)
        assert len(before.row.history) == len(why(busy, part).now.row.history) - 1


def test_there_is_nothing_to_compare_with_when_the_first_week_has_just_passed(session: Session) -> None:
    fill_weeks(session, 1)
    assert why(session, "SNS-1").before is None


def test_the_weeks_to_come_add_up_to_the_interval_and_leave_closed_days_out(busy: Session) -> None:
    change_setting(busy, "closed_days", "2027-03-04;2027-03-05")
    found = why(busy, "FLU-1")
    assert sum(week.days for week in found.coming) == found.now.row.forecast.interval_days == 12
    assert sum(week.mean for week in found.coming) == pytest.approx(found.now.row.forecast.interval_mean)
    assert [(week.monday.isoformat(), week.days) for week in found.coming] == [
        ("2027-03-01", 2), ("2027-03-08", 5), ("2027-03-15", 5),
    ]  # fmt: skip
    assert found.last_day == date(2027, 3, 19)


def test_a_part_with_few_weeks_with_need_borrows_its_spread(busy: Session) -> None:
    assert why(busy, "VAP-2").borrowed
    assert not why(busy, "SNS-1").borrowed


def test_an_old_number_is_explained_under_the_one_it_is_stocked_by(busy: Session) -> None:
    assert why(busy, "VAP-1").now.row.part.part == "VAP-2"
    with pytest.raises(NotFound):
        why(busy, "flux capacitor")
    with pytest.raises(Ambiguous):
        why(busy, "pressure")


def test_a_part_that_was_never_needed_is_explained_too(new_session: Open) -> None:
    found = why(new_session("bare"), "SNS-1")
    assert (found.before, found.now.path, found.adi) == (None, (), float("inf"))


def test_a_list_keeps_what_it_rests_on_once(busy: Session) -> None:
    found = reorder.reorder(busy)
    assert past_levels(busy, "SNS-1")[1] == []
    assert keep_basis(busy, found.basis) == ""
    assert keep_basis(busy, reorder.reorder(busy._replace(now=busy.now + timedelta(hours=1))).basis) == ""
    part, (row,) = past_levels(busy, "SNS-1")
    assert part.part == "SNS-1"
    assert row.at.startswith("2027-03-01T12:00:00")
    assert row.forecast == forecasts.forecast(busy, "SNS-1")[0].forecast
    low = levels.minmax(busy, "SNS-1").parts[0][1]
    assert (row.level.min, row.level.max, row.level.pinned) == (low.min, low.max, False)
    assert len(past_levels(busy, "VAP-1")[1]) == 1


def test_a_pin_shows_in_what_the_next_list_rested_on(busy: Session) -> None:
    keep_basis(busy, reorder.reorder(busy).basis)
    levels.pin(busy, "SNS-1", "7", "9")
    keep_basis(busy, reorder.reorder(busy).basis)
    newest, oldest = past_levels(busy, "SNS-1")[1]
    assert (newest.level.min, newest.level.pinned, oldest.level.pinned) == (7, True, False)
    assert len(past_levels(busy, "FLU-1")[1]) == 1


def test_a_locked_ledger_keeps_nothing_and_says_why(busy: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(file, "BUSY_SECONDS", 0)
    found = reorder.reorder(busy)
    with closing(sqlite3.connect(busy.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert "is being written by another program" in keep_basis(busy, reorder.reorder(busy).basis)
    assert found.orders
    assert past_levels(busy, "SNS-1")[1] == []


def test_keeping_a_basis_is_no_entry_and_changes_no_forecast(busy: Session) -> None:
    before, changes = forecasts.forecast(busy), busy.ledger.total_changes
    entries = busy.ledger.execute("SELECT count(*) FROM entry").fetchone()
    keep_basis(busy, reorder.reorder(busy).basis)
    assert forecasts.forecast(busy) == before
    assert busy.ledger.total_changes == changes
    assert busy.ledger.execute("SELECT count(*) FROM entry").fetchone() == entries


def test_the_reorder_list_at_another_time_is_dated_by_the_clock(busy: Session) -> None:
    later = busy._replace(now=datetime(2027, 3, 5, 14, 30))
    assert all(row.at.startswith("2027-03-05T14:30:00") for row in reorder.reorder(later).basis)

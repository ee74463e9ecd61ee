"""The need series: local weeks, closed weeks, the running week, and the week a part could first have been used."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from math import isnan, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.forecast.weekly import WeeklyPanel, weekly_panel
from vanstock.ledger import catalogue
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.file import writing
from vanstock.model import Fits, Job, Part, Used
from vanstock.routines import forecasts, settings
from vanstock.routines.past import read_past
from vanstock.routines.series import need_panel
from vanstock.routines.session import Session
from vanstock.workdays import Calendar, week_start

Needs = list[tuple[str, date, int]]
MONDAY = date(2026, 1, 5)
EVERY_DAY_OPEN = Calendar()


def day(number: int) -> date:
    """So many days after the first Monday."""
    return MONDAY + timedelta(days=number)


def closed(*numbers: int) -> Calendar:
    return Calendar(closed=frozenset(day(number) for number in numbers))


def panel_of(needs: Needs, last: int, calendar: Calendar = EVERY_DAY_OPEN, **first: date | None) -> WeeklyPanel:
    return weekly_panel(needs, first_days=first, last_day=day(last), calendar=calendar)


def rows(panel: WeeklyPanel) -> list[list[float | None]]:
    return [[None if isnan(value) else value for value in row] for row in panel.need.tolist()]


def test_weeks_are_local_weeks_from_monday_and_zero_filled() -> None:
    needs = [("A", day(0), 1), ("A", day(6), 2), ("Z", day(0), 9)]
    panel = panel_of(needs, 20, A=day(2), B=day(2))
    assert panel.parts == ("A", "B")
    assert panel.weeks == (day(0), day(7), day(14))
    assert rows(panel) == [[3, 0, 0], [0, 0, 0]]
    assert panel.open_share.tolist() == [1, 1, 1]


def test_the_running_week_counts_with_the_share_of_its_working_days_that_are_over() -> None:
    needs = [("A", day(7), 4), ("A", day(9), 5), ("A", day(10), 7)]
    panel = panel_of(needs, 9, A=day(0))
    assert panel.weeks == (day(0), day(7))
    assert rows(panel) == [[0, 9]]
    assert panel.open_share.tolist() == [1, pytest.approx(3 / 5)]
    assert panel_of(needs, 6, A=day(0)).weeks == (day(0),)


def test_the_week_is_whole_on_its_last_working_day_and_needs_of_the_weekend_are_in_it() -> None:
    panel = panel_of([("A", day(12), 1), ("A", day(13), 2)], 13, A=day(0))
    assert rows(panel) == [[0, 3]]
    assert panel_of([], 11, A=day(0)).open_share.tolist() == [1, 1]


def test_a_running_week_with_no_open_day_over_is_left_out_and_its_needs_kept() -> None:
    panel = panel_of([("A", day(1), 1), ("A", day(7), 2)], 7, closed(7), A=day(0))
    assert panel.weeks == (day(0),)
    assert rows(panel) == [[3]]


def test_a_closed_day_lowers_its_weeks_share() -> None:
    panel = panel_of([], 13, closed(7, 8, 12), A=day(0))
    assert panel.open_share.tolist() == [1, pytest.approx(3 / 5)]


def test_a_firm_that_works_other_days_has_other_shares() -> None:
    saturdays = Calendar(frozenset({1, 2, 3, 5}), frozenset({day(5)}))
    panel = weekly_panel([], first_days={"A": day(0)}, last_day=day(8), calendar=saturdays)
    assert panel.open_share.tolist() == [0.75, 0.25]
    assert weekly_panel([], first_days={"A": day(0)}, last_day=day(7), calendar=saturdays).weeks == (day(0),)


def test_a_closed_week_is_left_out_and_what_was_needed_in_it_counts_in_the_next_open_one() -> None:
    needs = [("A", day(0), 1), ("A", day(8), 2), ("A", day(21), 4)]
    panel = panel_of(needs, 27, closed(*range(7, 14)), A=day(0))
    assert panel.weeks == (day(0), day(14), day(21))
    assert rows(panel) == [[1, 2, 4]]


def test_a_closed_week_at_the_end_gives_its_needs_to_the_one_before() -> None:
    panel = panel_of([("A", day(8), 2), ("B", day(9), 5)], 13, closed(*range(7, 12)), A=day(0), B=None)
    assert panel.weeks == (day(0),)
    assert rows(panel) == [[2], [5]]


def test_before_a_part_could_first_be_used_there_is_no_zero() -> None:
    needs = [("A", day(0), 1), ("C", day(7), 3)]
    panel = panel_of(needs, 20, A=day(0), B=day(16), C=day(14), D=None, E=day(40))
    assert rows(panel) == [[1, 0, 0], [None, None, 0], [None, 3, 0], [None, None, 0], [None, None, 0]]


def test_a_part_that_begins_in_a_closed_week_begins_with_the_next() -> None:
    panel = panel_of([], 20, closed(*range(7, 12)), A=day(0), B=day(8))
    assert rows(panel) == [[0, 0], [None, 0]]


@pytest.mark.parametrize("calendar", [EVERY_DAY_OPEN, Calendar(frozenset()), closed(*range(30))])
def test_without_history_or_without_an_open_day_there_are_no_weeks(calendar: Calendar) -> None:
    begun = {"A": None} if calendar == EVERY_DAY_OPEN else {"A": day(0)}
    panel = weekly_panel([("A", day(25), 3)], first_days=begun, last_day=day(20), calendar=calendar)
    assert (panel.weeks, panel.need.shape, panel.open_share.shape) == ((), (1, 0), (0,))


def test_no_parts_give_no_weeks() -> None:
    assert weekly_panel([("A", day(0), 1)], first_days={}, last_day=day(20), calendar=Calendar()).need.shape == (0, 0)


def slow_panel(needs: Needs, first: dict[str, date | None], last: date, calendar: Calendar) -> dict[str, list[float]]:
    """Day by day: every day of every week, one part at a time."""
    every = [*(d for d in first.values() if d and d <= last), *(d for p, d, _ in needs if d <= last and p in first)]
    if not every:
        return {part: [] for part in first}
    monday, mondays = week_start(min(every)), []
    while monday <= last:
        if any(calendar.is_working(monday + timedelta(i)) and monday + timedelta(i) <= last for i in range(7)):
            mondays.append(monday)
        monday += timedelta(7)
    found = {}
    for part, start in first.items():
        begins = min([d for d in (start, *(d for p, d, _ in needs if p == part)) if d and d <= last], default=last)
        row = {m: nan if m + timedelta(6) < begins and m != mondays[-1] else 0.0 for m in mondays}
        for p, d, qty in needs:
            if p == part and d <= last and mondays:
                row[next((m for m in mondays if m >= week_start(d)), mondays[-1])] += qty
        found[part] = list(row.values())
    return found


a_day = st.integers(0, 60).map(day)
some_needs = st.lists(st.tuples(st.sampled_from("ABCZ"), a_day, st.integers(1, 9)), max_size=20)
calendars = st.builds(
    Calendar, st.frozensets(st.integers(0, 6), min_size=1), st.frozensets(a_day, max_size=30)
)  # fmt: skip


@given(some_needs, st.fixed_dictionaries({p: st.none() | a_day for p in "ABC"}), a_day, calendars)
def test_the_panel_is_the_slow_obvious_one_and_loses_no_need(
    needs: Needs, first: dict[str, date | None], last: date, calendar: Calendar
) -> None:
    panel = weekly_panel(needs, first_days=first, last_day=last, calendar=calendar)
    slow = slow_panel(needs, first, last, calendar)
    assert rows(panel) == [[None if isnan(v) else v for v in slow[part]] for part in first]
    assert ((panel.open_share > 0) & (panel.open_share <= 1)).all()
    if panel.weeks:
        assert np.nansum(panel.need) == sum(q for p, d, q in needs if d <= last and p in first)
        assert not np.isnan(panel.need[:, -1]).any()


@given(some_needs, st.randoms(use_true_random=False))
def test_the_order_of_the_needs_does_not_matter(needs: Needs, shuffle: object) -> None:
    mixed = list(needs)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    one, two = (panel_of(given_order, 40, closed(3, 4), A=day(9), B=None) for given_order in (needs, mixed))
    assert one.weeks == two.weeks
    assert rows(one) == rows(two)


@pytest.fixture
def record(session: Session) -> Callable[..., WeeklyPanel]:
    """Writes finished jobs (number, days before today, family, {part: (fitted, missed)}) and reads the panel.

    Today is Monday 1 March 2027.
    """

    def write(*jobs: tuple[str, int, str, dict[str, tuple[int, int]]], reference: str = "") -> WeeklyPanel:
        booked = [
            Job(number, session.today - timedelta(ago), "", family, "clean", status="done", reference=reference)
            for number, ago, family, _ in jobs
        ]
        used = [Used(number, part, *qty) for number, _, _, taken in jobs for part, qty in taken.items()]
        with writing(session.ledger) as ledger:
            post_import(ledger, ImportedFacts(booked, used), at=session.now, progress=lambda _: None)
        return need_panel(session, read_past(session))

    return write


def row_of(panel: WeeklyPanel, part: str) -> list[float | None]:
    return rows(panel)[panel.parts.index(part)]


def test_a_part_begins_with_the_first_job_of_a_family_it_fits(record: Callable[..., WeeklyPanel]) -> None:
    panel = record(("K1", 28, "BBB", {}), ("K2", 14, "AAA", {"SNS-1": (1, 0)}), ("K3", 7, "AAA", {"SNS-1": (0, 2)}))
    assert len(panel.weeks) == 4
    assert row_of(panel, "SNS-1") == [None, None, 1, 2]
    assert row_of(panel, "FLU-1") == [0, 0, 0, 0]


def test_a_part_with_no_fits_row_begins_with_any_job_and_one_of_a_family_never_seen_with_the_last_week(
    session: Session, record: Callable[..., WeeklyPanel]
) -> None:
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("NEW-1", "clip"), Part("NEW-2", "clip"), Part("NEW-3", "clip")])
        catalogue.save_rows(ledger, Fits, [Fits("BBB", "NEW-2"), Fits("BBB", "NEW-3")])
    panel = record(("K1", 21, "AAA", {"NEW-3": (0, 0)}), ("K2", 14, "AAA", {"NEW-3": (1, 0)}))
    assert row_of(panel, "NEW-1") == [0, 0, 0]
    assert row_of(panel, "NEW-2") == [None, None, 0]
    assert row_of(panel, "NEW-3") == [None, 1, 0]


def test_an_old_numbers_needs_and_families_are_its_successors(
    session: Session, record: Callable[..., WeeklyPanel]
) -> None:
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("OLD-1", "clip", superseded_by="OLD-2"), Part("OLD-2", "clip")])
        catalogue.save_rows(ledger, Fits, [Fits("BBB", "OLD-1"), Fits("AAA", "OLD-2")])
    panel = record(("K1", 21, "BBB", {"OLD-1": (2, 0)}), ("K2", 14, "AAA", {"VAP-1": (1, 0), "VAP-2": (0, 1)}))
    assert {"OLD-1", "VAP-1"}.isdisjoint(panel.parts)
    assert row_of(panel, "OLD-2") == [2, 0, 0]
    assert row_of(panel, "VAP-2") == [None, 2, 0]


def test_parts_that_stand_in_for_each_other_have_one_row(session: Session, record: Callable[..., WeeklyPanel]) -> None:
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("CLP-1", "clip", "clip"), Part("CLP-2", "clip", "clip")])
        crossed = [Fits("AAA", "CLP-1"), Fits("AAA", "CLP-2", 0), Fits("BBB", "CLP-2"), Fits("BBB", "CLP-1", 0)]
        catalogue.save_rows(ledger, Fits, crossed)
    panel = record(("K1", 14, "AAA", {"CLP-1": (1, 0)}), ("K2", 7, "BBB", {"CLP-2": (3, 0)}))
    assert "CLP-2" not in panel.parts
    assert row_of(panel, "CLP-1") == [1, 3]


def test_what_a_return_visit_fits_is_not_needed_twice(record: Callable[..., WeeklyPanel]) -> None:
    missed, back = ("K1", 14, "AAA", {"SNS-1": (0, 1)}), ("K2", 7, "AAA", {"SNS-1": (1, 0)})
    assert row_of(record(missed, back, reference="yard 4"), "SNS-1") == [1, 0]


def test_jobs_of_today_and_later_are_left_out(record: Callable[..., WeeklyPanel]) -> None:
    panel = record(("K0", 0, "BBB", {"HOS-1": (900, 0)}), ("K1", 7, "AAA", {"HOS-1": (300, 0)}))
    assert row_of(panel, "HOS-1") == [300]
    assert panel.weeks == (date(2027, 2, 22),)


def test_the_days_a_firm_sets_as_closed_are_no_weeks_of_no_need(
    session: Session, record: Callable[..., WeeklyPanel]
) -> None:
    shut = [date(2027, 2, 15) + timedelta(number) for number in range(5)] + [date(2027, 2, 24)]
    settings.change_setting(session, "closed_days", ";".join(map(str, shut)))
    panel = record(("K1", 21, "AAA", {"HOS-1": (300, 0)}), ("K2", 12, "AAA", {"HOS-1": (200, 0)}))
    assert panel.weeks == (date(2027, 2, 8), date(2027, 2, 22))
    assert row_of(panel, "HOS-1") == [300, 200]
    assert panel.open_share.tolist() == [1, pytest.approx(0.8)]


def test_midweek_the_days_gone_by_count(
    new_session: Callable[..., Session], record: Callable[..., WeeklyPanel]
) -> None:
    from datetime import datetime

    record(("K1", 7, "AAA", {"SNS-1": (1, 0)}), ("K2", 0, "AAA", {"SNS-1": (2, 0)}))
    wednesday = new_session(now=datetime(2027, 3, 3, 12, 0))
    panel = need_panel(wednesday, read_past(wednesday))
    assert row_of(panel, "SNS-1") == [1, 2]
    assert panel.open_share.tolist() == [1, pytest.approx(2 / 5)]


def test_an_empty_ledger_has_no_weeks_and_a_shown_history_begins_with_the_part(
    session: Session, record: Callable[..., WeeklyPanel]
) -> None:
    assert len(need_panel(session, read_past(session)).weeks) == 0
    record(("K1", 28, "BBB", {}), ("K2", 14, "AAA", {"SNS-1": (1, 0)}))
    shown = forecasts.forecast_all(session, read_past(session))
    assert list(shown["SNS-1"].history) == [1, 0]
    assert list(shown["FLU-1"].history) == [0, 0, 0, 0]

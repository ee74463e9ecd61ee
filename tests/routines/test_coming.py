"""The coming jobs that levels are chosen on: reviews and lead times in working days, losses, bookings, shelf lives."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

import pytest

from tests.routines.weeks import (
    ahead,
    bring,
    change_part,
    change_supplier,
    fill_weeks,
    later,
    level,
    make_list,
    place_of,
)
from vanstock.kit.optimism import discounted
from vanstock.kit.reviews import reviews, reviews_weekday
from vanstock.model import Job, Supplier, Used
from vanstock.routines import booking, job, levels, stock
from vanstock.routines.coming import WEEKS, Coming, Loss, coming, days_before
from vanstock.routines.levelwhy import level_why
from vanstock.routines.past import read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting
from vanstock.workdays import Calendar, parse_days

FRIDAY = 4
EASTER = frozenset({date(2027, 3, 26), date(2027, 3, 29)})
"""Good Friday and Easter Monday of 2027 (Easter Sunday is 28 March 2027, by the Gregorian computus)."""


def working(first: date, weeks: int, days: Calendar) -> list[date]:
    """The working days from a day to the end of so many weeks."""
    last = first + timedelta(days=7 * weeks - first.weekday())
    every = (first + timedelta(days=step) for step in range((last - first).days))
    return [day for day in every if days.is_working(day)]


def reviewed(supplier: Supplier, dates: Sequence[date], preferred: int = FRIDAY) -> list[date]:
    return [dates[place] for place in reviews(supplier, dates, preferred)]


@pytest.mark.parametrize(
    ("order_days", "weekday"), [("Mon-Fri", 4), ("", 4), ("Tue", 1), ("Mon;Thu", 0), ("Wed-Thu", 2), ("Sat", 5)]
)
def test_a_supplier_is_reviewed_on_its_order_day_that_is_or_comes_soonest_after_friday(
    order_days: str, weekday: int
) -> None:
    supplier = Supplier("S", order_days=order_days)
    assert reviews_weekday(supplier, FRIDAY) == weekday
    dates = working(date(2027, 3, 5), 5, Calendar(frozenset(range(6))))
    found = reviewed(supplier, dates[weekday != FRIDAY :])
    assert {day.weekday() for day in found} == {weekday}
    assert {(after - before).days for before, after in pairwise(found)} == {7}
    assert len(found) >= 4


def test_a_review_on_a_closed_day_moves_to_the_next_order_day_and_the_one_after_it_stays() -> None:
    dates = working(date(2027, 3, 19), 4, Calendar(closed=EASTER))
    assert reviewed(Supplier("S"), dates) == [
        date(2027, 3, 19), date(2027, 3, 30), date(2027, 4, 2), date(2027, 4, 9),
    ]  # fmt: skip
    mondays_and_fridays = Supplier("S", order_days="Mon;Fri")
    assert reviewed(mondays_and_fridays, dates)[:2] == [date(2027, 3, 19), date(2027, 4, 2)]


def test_a_supplier_with_one_order_day_is_passed_over_in_the_week_in_which_that_is_closed() -> None:
    dates = working(date(2027, 3, 2), 4, Calendar(closed=frozenset({date(2027, 3, 9)})))
    assert reviewed(Supplier("S", order_days="Tue"), dates) == [
        date(2027, 3, 2), date(2027, 3, 16), date(2027, 3, 23),
    ]  # fmt: skip


def test_a_review_that_a_closed_day_moved_into_the_first_week_is_not_lost_and_one_that_was_is_not_had_again() -> None:
    any_day = Supplier("S", order_days="Mon-Fri")
    closed_monday = Calendar(closed=frozenset({date(2027, 3, 1)}))
    for preferred, first in ((0, date(2027, 3, 2)), (FRIDAY, date(2027, 3, 5))):
        dates = working(date(2027, 3, 1), 3, closed_monday)
        before = days_before(date(2027, 3, 1), closed_monday)
        assert reviewed(any_day, dates, preferred)[0] == first
        assert dates[reviews(any_day, dates, preferred, earlier=before)[0]] == first
    # From Wednesday on: the review of Monday was had; after Good Friday and Easter Monday, closed, Tuesday has both.
    wednesday = working(date(2027, 3, 3), 3, Calendar())
    found = reviews(any_day, wednesday, 0, earlier=days_before(date(2027, 3, 3), Calendar()))
    assert wednesday[found[0]] == date(2027, 3, 8)
    tuesday = working(date(2027, 3, 30), 3, Calendar(closed=EASTER))
    found = reviews(any_day, tuesday, FRIDAY, earlier=days_before(date(2027, 3, 30), Calendar(closed=EASTER)))
    assert [tuesday[place] for place in found][:2] == [date(2027, 3, 30), date(2027, 4, 2)]


def test_where_the_firm_does_not_work_on_the_review_day_the_next_order_day_counts() -> None:
    four_days = working(date(2027, 3, 1), 4, Calendar(parse_days("Mon-Thu")))
    assert {day.weekday() for day in reviewed(Supplier("S"), four_days)} == {0}


# What the stream knows of reviews, told back as dates.


def goods_on(session: Session, part: str, day: date, days: Calendar | None = None) -> date | None:
    """The review whose goods are the last to have come by a day; None when it lies before today."""
    dates = working(session.today, WEEKS + 1, days or Calendar())
    found = ahead(session)
    since = found.stream.shelves[place_of(found, part)].since
    assert len(since) == len(dates)
    place = since[dates.index(day)]
    return None if place < 0 else dates[place]


@pytest.fixture
def friday(session: Session) -> Session:
    """Friday 5 March 2027, with forty weeks behind."""
    fill_weeks(session)
    return later(session, days=4)


def test_goods_are_there_their_lead_time_in_working_days_after_the_review(friday: Session) -> None:
    # Ordered on Friday 5 March: over the counter or by the next morning, before the jobs of Monday.
    for part in ("SNS-1", "VAP-2"):
        assert goods_on(friday, part, date(2027, 3, 5)) is None
        assert goods_on(friday, part, date(2027, 3, 8)) == date(2027, 3, 5)
        assert goods_on(friday, part, date(2027, 3, 12)) == date(2027, 3, 5)
    # Ordered on Tuesday 9 March with seven working days: Wednesday 17 March is the sixth.
    assert goods_on(friday, "FLU-1", date(2027, 3, 17)) is None
    assert goods_on(friday, "FLU-1", date(2027, 3, 18)) == date(2027, 3, 9)
    assert goods_on(friday, "FLU-1", date(2027, 3, 25)) == date(2027, 3, 16)


def test_a_closed_day_and_a_saturday_worked_move_the_goods_by_a_day(friday: Session) -> None:
    change_setting(friday, "closed_days", "2027-03-11")
    closed = Calendar(closed=frozenset({date(2027, 3, 11)}))
    assert goods_on(friday, "FLU-1", date(2027, 3, 18), closed) is None
    assert goods_on(friday, "FLU-1", date(2027, 3, 19), closed) == date(2027, 3, 9)
    change_setting(friday, "closed_days", "")
    change_setting(friday, "working_days", "Mon-Sat")
    assert goods_on(friday, "FLU-1", date(2027, 3, 16), Calendar(frozenset(range(6)))) is None
    assert goods_on(friday, "FLU-1", date(2027, 3, 17), Calendar(frozenset(range(6)))) == date(2027, 3, 9)
    assert goods_on(friday, "SNS-1", date(2027, 3, 6), Calendar(frozenset(range(6)))) == date(2027, 3, 5)


def test_another_review_day_is_asked_for_by_its_setting(friday: Session) -> None:
    change_setting(friday, "review_day", "Wed")
    assert goods_on(friday, "SNS-1", date(2027, 3, 11)) == date(2027, 3, 10)
    assert goods_on(friday, "SNS-1", date(2027, 3, 17)) == date(2027, 3, 10)


def test_a_parts_own_lead_time_outranks_its_suppliers(friday: Session) -> None:
    change_part(friday, "VAP-2", lead_working_days=3)
    assert goods_on(friday, "VAP-2", date(2027, 3, 9)) is None
    assert goods_on(friday, "VAP-2", date(2027, 3, 10)) == date(2027, 3, 5)


def test_a_least_order_worth_three_weeks_use_makes_reviews_three_weeks_apart_and_levels_higher(
    friday: Session,
) -> None:
    def order_days() -> list[int]:
        found = ahead(friday)
        return sorted({day for day in found.stream.shelves[place_of(found, "FLU-1")].since if day >= 0})

    weekly, before = order_days(), level(friday, "FLU-1")
    found = ahead(friday)
    week_worth = float(found.stream.weekly_mean[place_of(found, "FLU-1")]) / 1000 * 560
    change_supplier(friday, "WEEK", least_order=round(2.5 * week_worth))
    assert order_days() == [day for day in weekly[::3] if day in order_days()]
    assert {after - day for day, after in pairwise(order_days())} == {15}
    assert level(friday, "FLU-1")[0] > before[0]
    change_supplier(friday, "WEEK", least_order=100_000_00)
    assert len(order_days()) <= 2


# What comes.


def jobs_by_day(found: Coming) -> Counter[int]:
    days = len(found.stream.shelves[0].since)
    return Counter((found.stream.day % days).tolist())


def passes(found: Coming) -> int:
    return int(found.stream.day.max()) // len(found.stream.shelves[0].since) + 1


def test_as_many_jobs_come_in_a_full_week_as_came_before_and_in_a_short_one_the_share_of_its_days(
    session: Session,
) -> None:
    fill_weeks(session)
    change_setting(session, "closed_days", "2027-03-08;2027-03-09;2027-03-10;2027-03-11")
    found = ahead(session)
    by_day, often = jobs_by_day(found), passes(found)
    assert sum(by_day[day] for day in range(5)) / often == pytest.approx(2, rel=0.1)
    assert by_day[5] / often == pytest.approx(2 / 5, rel=0.2)  # the only day of the second week
    assert sum(by_day[day] for day in range(6, 11)) / often == pytest.approx(2, rel=0.1)


def test_a_week_that_is_closed_is_left_out(session: Session) -> None:
    fill_weeks(session)
    full = ahead(session)
    change_setting(session, "closed_days", ";".join(f"2027-03-{day:02}" for day in range(8, 13)))
    closed = ahead(session)
    assert len(full.stream.shelves[0].since) - len(closed.stream.shelves[0].since) == 5
    often = passes(full), passes(closed)
    assert len(closed.stream.day) / often[1] == pytest.approx(len(full.stream.day) / often[0] * 13 / 14, rel=0.05)


def test_a_firm_that_closes_for_months_is_looked_ahead_for_thirteen_open_weeks(session: Session) -> None:
    fill_weeks(session)
    shut = [date(2027, 3, 1) + timedelta(days=step) for step in range(7 * 20)]
    change_setting(session, "closed_days", ";".join(day.isoformat() for day in shut[7:]))
    found = ahead(session)
    assert len(found.stream.shelves[0].since) == 5 * 13
    assert found.reviews["DAY"].dates[:2] == (date(2027, 3, 5), date(2027, 7, 19))  # on the first day open again
    book(session, 1, date(2027, 8, 4))
    assert [one.job for one in ahead(session).booked] == ["N1"]


def test_a_firm_that_never_opens_again_is_not_looked_ahead_for_ever(session: Session) -> None:
    fill_weeks(session, 8)
    shut = (date(2027, 3, 1) + timedelta(days=step) for step in range(7 * 104))
    change_setting(session, "closed_days", ";".join(day.isoformat() for day in shut))
    assert len(ahead(session).stream.shelves[0].since) == 1


def test_a_six_day_week_has_its_jobs_on_six_days(session: Session) -> None:
    change_setting(session, "working_days", "Mon-Sat")
    fill_weeks(session)
    found = ahead(session)
    by_day, often = jobs_by_day(found), passes(found)
    assert sum(by_day[day] for day in range(6)) / often == pytest.approx(2, rel=0.1)
    assert by_day[5] / often == pytest.approx(2 / 6, rel=0.25)


def test_what_is_used_in_a_week_is_what_was_used(session: Session) -> None:
    fill_weeks(session)
    found = ahead(session)
    assert float(found.stream.weekly_mean[place_of(found, "FLU-1")]) == pytest.approx(5_000, rel=0.12)
    assert float(found.stream.weekly_mean[place_of(found, "SNS-1")]) == pytest.approx(0.4, rel=0.3)
    assert float(found.stream.weekly_mean[place_of(found, "HOS-1")]) == 0


# Losses.


def losses(session: Session) -> tuple[Loss, ...]:
    return levels.known_besides(session, {}).losses


def lost(session: Session, part: str, qties: Sequence[int], *, every: int = 7) -> None:
    """Counts of a part in the van, the last one a day ago."""
    for number, qty in enumerate(qties):
        stock.count(later(session, days=-1 - every * (len(qties) - 1 - number)), part, str(qty), place="van")


def test_what_counts_find_lost_draws_on_the_stock_and_raises_levels_without_being_jobs(session: Session) -> None:
    fill_weeks(session)
    before, jobs = level(session, "SNS-1"), ahead(session)
    lost(session, "SNS-1", [60 - 2 * number for number in range(26)])
    found = ahead(session)
    assert [row.qty for row in levels.known_besides(session, {}).losses] == [2] * 25
    more = float(found.stream.weekly_mean[place_of(found, "SNS-1")]) - 0.4
    assert more == pytest.approx(2, rel=0.15)
    assert len(found.stream.kind) == pytest.approx(len(jobs.stream.kind), rel=0.05)
    assert set(found.stream.kind.tolist()) <= set(range(len(found.kinds)))
    assert level(session, "SNS-1")[0] > before[0]


def test_a_part_that_is_only_ever_lost_is_not_kept_for_jobs(session: Session) -> None:
    fill_weeks(session)
    lost(session, "GLV-1", [90 - 3 * number for number in range(20)])
    assert float(ahead(session).stream.weekly_mean[place_of(ahead(session), "GLV-1")]) > 1
    assert level(session, "GLV-1") == (0, 0)


def test_a_first_count_an_undone_one_and_one_of_today_are_no_losses(session: Session) -> None:
    stock.receive(later(session, days=-30), "SNS-1", "9", place="van")
    stock.count(later(session, days=-20), "SNS-1", "4", place="van")
    stock.count(later(session, days=-20), "SNS-1", "7", place="store")
    assert levels.known_besides(session, {}).losses == ()
    found = stock.count(later(session, days=-10), "SNS-1", "3", place="van")
    assert [(row.part, row.date, row.qty) for row in levels.known_besides(session, {}).losses] == [
        ("SNS-1", date(2027, 2, 19), 1)
    ]
    job.undo(session, found.entry.id)
    assert levels.known_besides(session, {}).losses == ()
    stock.count(session, "SNS-1", "2", place="van")
    assert levels.known_besides(session, {}).losses == ()
    assert [row.qty for row in losses(later(session, days=1))] == [2]


def test_what_one_count_lost_and_another_found_again_is_no_use(session: Session) -> None:
    fill_weeks(session)
    before = ahead(session).stream.weekly_mean[place_of(ahead(session), "SNS-1")]
    lost(session, "SNS-1", [9, 4, 9])
    assert [row.qty for row in levels.known_besides(session, {}).losses] == [5, -5]
    assert ahead(session).stream.weekly_mean[place_of(ahead(session), "SNS-1")] == before


def test_one_part_lost_in_most_of_a_year_is_not_one_a_week(session: Session) -> None:
    fill_weeks(session)
    lost(session, "GLV-1", [50, 49], every=37 * 7)
    found = ahead(session)
    # A week counts for at most a tenth of what is expected (the quick smoothing of `forecast.jobs`).
    assert 1 / 37 < float(found.stream.weekly_mean[place_of(found, "GLV-1")]) < 0.12


# Bookings.


def book(session: Session, number: int, day: date, family: str = "AAA", **fields: str) -> Job:
    made = Job(f"N{number}", day, "09:00", family, fields.pop("job_type", "heat-source"), **fields)  # type: ignore[arg-type]
    return booking.add_booking(session, made)


def test_booked_jobs_come_on_their_days_or_the_next_working_one_in_every_pass(session: Session) -> None:
    change_setting(session, "closed_days", "2027-03-04")
    for number, day in enumerate([date(2027, 3, 2), date(2027, 3, 2), date(2027, 3, 4), date(2027, 3, 6)]):
        book(session, number, day)
    found = ahead(session)
    by_day, often = jobs_by_day(found), passes(found)
    # Tuesday 2 March twice; Thursday 4 is closed, so Friday 5; Saturday 6 is Monday 8.
    assert by_day == {1: 2 * often, 3: often, 4: often}
    assert [one.job for one in found.booked] == ["N0", "N1", "N2", "N3"]
    assert set(found.stream.kind.tolist()) == {-1, -2, -3, -4}


def test_bookings_that_are_past_cancelled_or_too_far_ahead_do_not_count(session: Session) -> None:
    book(session, 0, date(2027, 3, 5))
    book(session, 1, date(2027, 3, 9))
    book(session, 2, date(2027, 12, 1))
    booking.cancel_booking(session, "N1")
    assert [one.job for one in ahead(session).booked] == ["N0"]
    assert [one.job for one in ahead(later(session, days=5)).booked] == []


def test_a_booked_job_is_one_of_the_jobs_of_its_week_and_not_one_more(session: Session) -> None:
    fill_weeks(session)
    before = ahead(session)
    book(session, 0, date(2027, 3, 2))
    after = ahead(session)
    first_week = [sum(jobs_by_day(found)[day] for day in range(5)) / passes(found) for found in (before, after)]
    assert first_week[1] == pytest.approx(first_week[0], abs=0.75)
    assert jobs_by_day(after)[1] / passes(after) > 1


def test_a_job_half_done_asks_only_for_the_rest(session: Session) -> None:
    stock.receive(session, "VAP-2", "1", place="van")
    made = book(session, 0, session.today + timedelta(days=1))

    def asks(part: str) -> float:
        found = ahead(session)
        return int((found.stream.wanted.part == place_of(found, part)).sum()) / found.stream.wanted.jobs

    assert asks("VAP-2") == pytest.approx(0.88, abs=0.02)  # the usual table's own chance
    job.fit(session, made.job, "VAP-2", "1")
    assert asks("VAP-2") == 0


def test_the_vans_are_one_stock(session: Session) -> None:
    stock.add_place(session, "van2", "van")
    fill_weeks(session)
    for number in range(6):
        book(session, number, date(2027, 3, 2), van="van2" if number % 2 else "van")
    two = levels.minmax(session)
    for number in range(1, 6, 2):
        booking.cancel_booking(session, f"N{number}")
        book(session, 10 + number, date(2027, 3, 2))
    assert [found for _, found in levels.minmax(session).parts] == [found for _, found in two.parts]


# Pins.


def test_the_stream_never_has_more_of_a_pinned_part_than_its_max(session: Session) -> None:
    fill_weeks(session)
    levels.pin(session, "SNS-1", "1", "1")
    found = coming(session, read_past(session), levels.known_besides(session, {}, {"SNS-1": (1, 1)}))
    assert found.buying["SNS-1"].quantity == 1
    assert levels.bounds_of(found, {"SNS-1": (1, 1)}).pinned == {"SNS-1": 1}
    kept = Counter(found.stream.wanted.level[found.stream.wanted.part == place_of(found, "SNS-1")].tolist())
    assert kept[1] < kept.total()
    share = level_why(session, "SNS-1").margin.there
    assert share == pytest.approx(discounted(kept[1] / kept.total(), 80))


def test_stock_that_no_review_takes_above_its_level_needs_the_more_the_more_is_ordered_at_a_time(
    session: Session,
) -> None:
    fill_weeks(session)
    found = ahead(session)
    without = found.never_above_its_level()
    assert (without.wanted.job == found.stream.wanted.job).all()
    assert (without.wanted.part == found.stream.wanted.part).all()
    above = without.wanted.level - found.stream.wanted.level
    for part in ("FLU-1", "GKT-1"):
        place = place_of(found, part)
        steps = found.stream.shelves[place].quantity
        mine = above[found.stream.wanted.part == place]
        assert steps > 1
        assert 0 <= mine.min() < mine.max() <= steps - 1


# Shelf lives.


def test_no_more_is_held_than_is_surely_used_before_it_expires(session: Session) -> None:
    fill_weeks(session)
    assert "SNS-1" not in ahead(session).usable
    held = []
    for days in (120, 60, 40, 30):
        change_part(session, "FLU-1", shelf_life_days=days)
        usable = ahead(session).usable["FLU-1"]
        low, high = level(session, "FLU-1", levels.Aim(0.8))
        assert 0 < high <= usable < 5_000 * days / 7  # less than what is used on average
        assert (high - low) % 5_000 == 0
        held.append(high)
    assert held == sorted(held, reverse=True)
    assert held[-1] < held[0]


def test_a_part_whose_pack_would_expire_is_not_held_and_that_is_said(session: Session) -> None:
    fill_weeks(session)
    change_part(session, "FLU-1", shelf_life_days=7)
    ((_, found),) = levels.minmax(session, "FLU-1").parts
    assert (found.min, found.max) == (0, 0)
    assert found.basis.endswith("a pack would expire before it is used")


def test_a_shelf_life_caps_levels_that_past_lists_had_too(session: Session) -> None:
    fill_weeks(session)
    days = [later(session, days=-14 * number - 10).today for number in range(10)]
    jobs = [Job(f"G{n}", day, "10:00", "AAA", "clean", status="done") for n, day in enumerate(days)]
    fluid = [Used(one.job, "FLU-1", 2_000, 0) for one in jobs]
    bring(session, jobs, fluid + [Used(one.job, "GLV-1", 10, 0) for one in jobs[::4]])
    change_part(session, "GLV-1", shelf_life_days=2_000)
    make_list(session)
    for life in (1_000, 900, 800, 750, 700):
        change_part(session, "GLV-1", shelf_life_days=life)
        assert level(session, "GLV-1")[1] <= ahead(session).usable["GLV-1"]


def test_the_same_past_gives_the_same_stream(session: Session) -> None:
    fill_weeks(session, 8)
    first, again = (coming(session, read_past(session)) for _ in range(2))
    assert (first.stream.day == again.stream.day).all()
    assert (first.stream.wanted.level == again.stream.wanted.level).all()

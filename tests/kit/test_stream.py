"""A stream of coming jobs: small ones worked by hand, and its levels against stock followed day by day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.forecast.jobs import job_rates
from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.stream import Ahead, Kind, Shelf, Stream, draw_stream, reviews_before

Needs = Mapping[str, int]


def always(**needs: int) -> JobNeeds:
    """A job that takes just this."""
    return JobNeeds("J", (WeightedCase(1.0, needs),), (), 0.0, 9)


EITHER = JobNeeds("J", (WeightedCase(0.5, {"A": 1}), WeightedCase(0.3, {"A": 1, "B": 2})), (), 0.2, 9)
UNKNOWN = JobNeeds("U", (), (), 0.0, 0, known=False)
WEEK = Ahead([0] * 5, 5, 1.0)
DAYS = 20
FORTNIGHTS = Ahead([day // 5 for day in range(DAYS)], 5, 1.0)


def shelf(
    group: str, reviews: Sequence[int], wait: int, *, step: int = 1, quantity: int = 1, days: int = DAYS
) -> Shelf:
    return Shelf(group, step, 7, quantity, reviews_before(reviews, wait, days))


def rows_of(stream: Stream) -> dict[tuple[int, str], int]:
    """The level that each job wants of each group."""
    wanted = stream.wanted
    rows = zip(wanted.job.tolist(), wanted.part.tolist(), wanted.level.tolist(), strict=True)
    return {(job, stream.shelves[part].group): level for job, part, level in rows}


def same(one: Stream, two: Stream) -> bool:
    arrays = [(*s.wanted[:3], s.kind, s.day, s.weekly_mean, s.weekly_variance) for s in (one, two)]
    return all(np.array_equal(a, b) for a, b in zip(*arrays, strict=True)) and one.wanted.jobs == two.wanted.jobs


# When orders come


def test_the_last_review_whose_order_has_come_is_found_and_weeks_repeat() -> None:
    assert reviews_before([4, 9], 2, 10) == [-6, -1, -1, -1, -1, -1, 4, 4, 4, 4]
    assert reviews_before([0], 1, 5) == [-5, 0, 0, 0, 0]
    assert reviews_before([0], 0, 5) == [0, 0, 0, 0, 0]


@given(st.sets(st.integers(0, 9), min_size=1), st.integers(0, 18))
def test_the_last_order_to_have_come_is_what_walking_through_the_days_finds(reviews: set[int], wait: int) -> None:
    come: list[int | None] = [None] * 60
    for day in range(60):
        if day % 10 in reviews and day + wait < 60:
            come[day + wait] = day
    for day in range(1, 60):
        come[day] = come[day - 1] if come[day] is None else come[day]
    assert [last if last is None else last - 50 for last in come[50:]] == reviews_before(sorted(reviews), wait, 10)


# Levels, against stock followed day by day


def followed(needs: Sequence[tuple[int, int]], level: int, reviews: Sequence[int], wait: int, days: int) -> list[bool]:
    """Whether each job, as (day, base units), finds its part where what was used since the review before is ordered at
    each review, before the day's jobs, and comes so many days later, before the day's jobs too. Starts full."""
    stock, used, found = level, 0, []
    coming: dict[int, int] = defaultdict(int)
    todays = defaultdict(list)
    for day, qty in needs:
        todays[day].append(qty)
    for day in range(max(day for day, _ in needs) + 1):
        stock += coming.pop(day, 0)
        if day % days in reviews:
            coming[day + wait] += used
            used = 0
        for qty in todays[day]:
            stock, used = stock - qty, used + qty
            found.append(stock >= 0)
    return found


@pytest.mark.parametrize(
    ("reviews", "wait", "step"),
    [([4, 9, 14, 19], 1, 1), ([4, 9, 14, 19], 6, 1), ([1, 3, 6, 8, 11, 13, 16, 18], 2, 5), ([0], 3, 3), ([7], 25, 1)],
)  # fmt: skip
def test_the_level_wanted_is_the_least_at_which_stock_followed_day_by_day_suffices(
    reviews: list[int], wait: int, step: int
) -> None:
    """The others have the same jobs but other parts, so that each shelf is followed by itself."""
    shelves = [shelf("B", reviews, wait, step=step), shelf("A", [2, 12], 4)]
    stream = draw_stream([Kind(EITHER, 3.0), Kind(always(B=3), 1.0)], shelves, FORTNIGHTS, seed=wait, jobs=300)
    wanted = {job: level for (job, group), level in rows_of(stream).items() if group == "B"}
    needs = [(int(stream.day[job]), 3 if stream.kind[job] == 1 else 2) for job in wanted]
    assert len(wanted) > 80
    for level in range(max(wanted.values()) + 1):
        found = followed(needs, level * step, reviews, wait, DAYS)
        assert found == [one <= level for one in wanted.values()]


def test_a_week_worked_by_hand() -> None:
    """Booked on Monday, Tuesday, Tuesday and Thursday; reviewed on Tuesday before the jobs, there on Wednesday."""
    booked = [(0, -1, always(A=1)), (1, -1, always(A=2, H=150)), (1, -1, always(A=1)), (3, -1, always(A=1, H=300))]
    shelves = [shelf("A", [1], 1, days=5), shelf("H", [1], 1, step=100, days=5)]
    stream = draw_stream([], shelves, Ahead([0] * 5, 5, 1.0, booked), seed=1, jobs=8)
    assert stream.day.tolist() == [0, 1, 1, 3, 5, 6, 6, 8]
    assert stream.kind.tolist() == [-1, -2, -3, -4] * 2
    rows = rows_of(stream)
    assert [rows[job, "A"] for job in range(8)] == [1, 3, 4, 4, 5, 7, 8, 4]
    assert {job: rows[job, "H"] for job in range(8) if (job, "H") in rows} == {1: 2, 3: 5, 5: 6, 7: 5}
    assert stream.weekly_mean.tolist() == [5, 450]
    assert stream.weekly_variance.tolist() == [0, 0]
    assert stream.wanted.cash.tolist() == [7, 7]
    assert stream.wanted.begun.tolist() == [0, 0]


# What orders by the quantity leave above the level

BIG = 6
REVIEWS = [0, 3, 5, 8, 10, 13, 15, 18]
OFFSET_KINDS = [Kind(always(A=1, B=9), 12.0), Kind(always(A=4), 3.0)]
OFFSET_SHELVES = [shelf("A", REVIEWS, 1, quantity=BIG), shelf("B", REVIEWS, 2, step=3, quantity=4)]
OFFSETS = draw_stream(OFFSET_KINDS, OFFSET_SHELVES, FORTNIGHTS, seed=3, jobs=40_000)
TAKEN = {(0, "A"): 1, (1, "A"): 4, (0, "B"): 9}


def by_review(stream: Stream, group: str) -> dict[int, list[tuple[int, int]]]:
    """For each review that served a shelf the (steps needed since, level wanted) of its jobs."""
    at = next(i for i, one in enumerate(stream.shelves) if one.group == group)
    rows = np.flatnonzero(stream.wanted.part == at)
    jobs, levels = stream.wanted.job[rows], stream.wanted.level[rows]
    units = np.array([TAKEN[int(kind), group] for kind in stream.kind[jobs]])
    day, one = stream.day[jobs], stream.shelves[at]
    since = day - day % DAYS + np.array(one.since)[day % DAYS]
    found = defaultdict(list)
    for i, begin in enumerate(since.tolist()):
        first = i
        while first and day[first - 1] >= begin:
            first -= 1
        found[begin].append((-(-int(units[first : i + 1].sum()) // one.step), int(levels[i])))
    return found


@pytest.mark.parametrize("group", ["A", "B"])
def test_all_jobs_served_by_one_review_find_the_same_left_above_the_level(group: str) -> None:
    quantity = {one.group: one.quantity for one in OFFSET_SHELVES}[group]
    for served in by_review(OFFSETS, group).values():
        above = {needed - level for needed, level in served if level > 1}
        assert len(above) <= 1
        assert all(0 <= one < quantity for one in above)
        for needed, level in served:
            assert level > 1 or needed - 1 <= max(above, default=quantity - 1)


@pytest.mark.parametrize(("group", "enough"), [("A", BIG + 1), ("B", 5)])
def test_what_is_left_above_the_level_is_even_over_the_quantity(group: str, enough: int) -> None:
    """Of reviews whose need shows it, whatever was left: chi-square at one in a thousand, and shelves independent."""
    quantity = {one.group: one.quantity for one in OFFSET_SHELVES}[group]
    above = [max(n - v for n, v in served) for served in by_review(OFFSETS, group).values() if served[-1][0] >= enough]
    count = np.bincount(above, minlength=quantity)
    assert len(above) > 2_000
    assert len(count) == quantity
    expected = len(above) / quantity
    assert ((count - expected) ** 2 / expected).sum() < {6: 20.5, 4: 16.3}[quantity]


def test_the_two_shelves_of_a_review_do_not_share_what_is_left() -> None:
    one, two = (
        {begin: max(n - v for n, v in served) for begin, served in by_review(OFFSETS, group).items()}
        for group in ("A", "B")
    )
    both = [(one[begin], two[begin]) for begin in one if begin in two]
    assert abs(np.corrcoef(np.array(both).T)[0, 1]) < 0.1


def test_a_first_step_costs_what_comes_with_it_in_the_least_order() -> None:
    assert OFFSETS.wanted.cash.tolist() == [7, 7]
    assert OFFSETS.wanted.begun.tolist() == [7 * (BIG - 1), 7 * 3]


# Use that is no job, and booked jobs


def test_use_that_is_no_job_draws_on_the_stock_but_is_not_counted() -> None:
    """The same draws once with and once without its being asked for: what is left are the rows of the jobs."""
    kinds = [Kind(EITHER, 2.0), Kind(always(A=2), 1.0)]
    shelves = [shelf("A", [4], 1), shelf("B", [4], 1)]
    everything = draw_stream(kinds, shelves, FORTNIGHTS, seed=2, jobs=600)
    jobs = draw_stream([kinds[0], kinds[1]._replace(asks=False)], shelves, FORTNIGHTS, seed=2, jobs=400)
    kept = np.flatnonzero(everything.kind == 0)
    assert 0 < len(kept) < len(everything.kind)
    assert jobs.wanted.jobs == len(kept)
    assert jobs.kind.tolist() == [0] * len(kept)
    assert jobs.day.tolist() == everything.day[kept].tolist()
    number = {int(job): i for i, job in enumerate(kept)}
    rows = {(number[job], group): level for (job, group), level in rows_of(everything).items() if job in number}
    assert rows_of(jobs) == rows
    assert jobs.weekly_mean.tolist() == everything.weekly_mean.tolist()


def test_booked_jobs_come_on_their_days_in_every_pass() -> None:
    booked = [(7, 0, always(A=1)), (2, -1, UNKNOWN), (7, 0, always(B=1))]
    stream = draw_stream(
        [Kind(EITHER, 2.0)], [shelf("A", [4], 1)], FORTNIGHTS._replace(booked=booked), seed=4, jobs=500
    )
    passes = int(stream.day.max()) // DAYS + 1
    for place, (day, _, needs) in enumerate(booked):
        wanted = [turn * DAYS + day for turn in range(passes)] if needs.known else []
        assert stream.day[stream.kind == -1 - place].tolist() == wanted, "what takes nobody knows what is not judged"
    assert (np.diff(stream.day) >= 0).all()
    asking = {int(stream.kind[job]) for job, _ in rows_of(stream)}
    assert asking == {0, -1}, "of what nothing is known, or what is not stocked, nothing is asked for"


def test_a_booked_job_lowers_the_forecast_of_its_kind_that_week_but_never_below_none() -> None:
    """Week 0 has three booked of the first kind, of which 2 are forecast: the third takes the other kind's one off;
    week 1 has one; in week 2 one of a kind not known takes one of three off all. Means within 5 standard errors."""
    booked = [(day, 0, always(A=1)) for day in (0, 1, 1, 6)] + [(12, -1, always(A=1))]
    kinds = [Kind(always(A=1), 2.0), Kind(always(B=1), 1.0)]
    stream = draw_stream(kinds, [shelf("A", [4], 1)], FORTNIGHTS._replace(booked=booked), seed=5, jobs=20_000)
    passes = int(stream.day.max()) // DAYS + 1
    means = [[0, 1, 4 / 3, 2], [0, 1, 2 / 3, 1]]
    for kind, expected in enumerate(means):
        week = stream.day[stream.kind == kind] % DAYS // 5
        found = np.bincount(week, minlength=4) / passes
        assert found[0] == 0
        assert found.tolist() == pytest.approx(expected, abs=5 * (2 / passes) ** 0.5)
    assert passes > 1_000


# How many come, and when


def test_a_closed_week_has_no_jobs_and_a_short_week_its_share() -> None:
    ahead = Ahead([0] * 5 + [2] * 3 + [3] * 5, 5, 2.0)
    reviews = shelf("A", [4], 1, days=13)
    stream = draw_stream([Kind(always(A=1), 4.0)], [reviews], ahead, seed=6, jobs=20_000)
    passes = int(stream.day.max()) // 13 + 1
    week = np.array(ahead.week_of_day)[stream.day % 13]
    found = np.bincount(week, minlength=4) / passes
    assert found[1] == 0
    assert found.tolist() == pytest.approx([4, 0, 2.4, 4], abs=5 * (8 / passes) ** 0.5)
    by_day = np.bincount(stream.day % 13, minlength=13) / passes
    assert by_day.tolist() == pytest.approx([0.8] * 13, abs=5 * (1.2 / passes) ** 0.5)
    assert stream.weekly_mean[0] == pytest.approx(found.mean())


@pytest.mark.parametrize("dispersion", [0.25, 0.5, 0.97, 1.0, 1.03, 1.5, 3.0])
def test_the_jobs_of_a_week_have_the_mean_and_the_variance_asked_for(dispersion: float) -> None:
    """Six a week, of which a third and two thirds are of two kinds; variance within a tenth, near 1 taken as 1."""
    kinds = [Kind(always(A=1), 4.0), Kind(always(A=1, B=2), 2.0)]
    shelves = [shelf("A", [4], 1, days=5), shelf("B", [4], 1, days=5)]
    stream = draw_stream(kinds, shelves, WEEK._replace(dispersion=dispersion), seed=7, jobs=36_000)
    jobs = np.bincount(stream.day // 5, minlength=6_000)
    assert len(jobs) == 6_000
    assert jobs.mean() == pytest.approx(6, abs=5 * (6 * dispersion / 6_000) ** 0.5)
    assert jobs.var() / 6 == pytest.approx(1 if 0.95 < dispersion < 1.05 else dispersion, rel=0.1)
    assert (stream.kind == 1).mean() == pytest.approx(1 / 3, abs=0.015)
    twos = np.bincount(stream.day[stream.kind == 1] // 5, minlength=6_000) * 2
    assert stream.weekly_mean.tolist() == pytest.approx([jobs.mean(), twos.mean()])
    assert stream.weekly_variance.tolist() == pytest.approx([jobs.var(), twos.var()])


@pytest.mark.parametrize(("jobs", "weeks"), [(1_000, 100), (10, 4), (1, 4)])
def test_about_as_many_jobs_are_drawn_as_asked_in_whole_passes_one_at_least(jobs: int, weeks: int) -> None:
    booked = [(day, 0, always(A=1)) for day in range(0, DAYS, 5)]
    ahead = FORTNIGHTS._replace(booked=booked)
    stream = draw_stream([Kind(always(A=1), 9.0)], [shelf("A", [4], 1)], ahead, seed=8, jobs=jobs)
    assert (stream.kind < 0).sum() == weeks


def test_the_same_seed_gives_the_same_stream_and_another_another() -> None:
    def of(seed: int) -> Stream:
        return draw_stream(OFFSET_KINDS, OFFSET_SHELVES, FORTNIGHTS, seed=seed, jobs=500)

    assert same(of(3), of(3))
    assert not same(of(3), of(4))


# What is asked for


def test_a_part_that_is_not_stocked_is_not_asked_for_and_changes_nothing_else() -> None:
    both = draw_stream([Kind(EITHER, 3.0)], [shelf("A", [4], 1), shelf("B", [4], 1)], FORTNIGHTS, seed=9, jobs=300)
    alone = draw_stream([Kind(EITHER, 3.0)], [shelf("A", [4], 1)], FORTNIGHTS, seed=9, jobs=300)
    assert {group for _, group in rows_of(both)} == {"A", "B"}
    assert rows_of(alone) == {key: level for key, level in rows_of(both).items() if key[1] == "A"}
    assert alone.wanted.jobs == both.wanted.jobs


def test_a_part_that_is_taken_twice_by_one_job_is_one_row_of_both() -> None:
    twice = JobNeeds(
        "J", (), (ComponentChoice("x", ((1.0, {"A": 1}),)), ComponentChoice("y", ((1.0, {"A": 2}),))), 1, 0
    )
    stream = draw_stream([], [shelf("A", [0, 1, 2, 3, 4], 0, days=5)], WEEK._replace(booked=[(2, -1, twice)]), seed=1,
                         jobs=3)  # fmt: skip
    assert rows_of(stream) == {(0, "A"): 3, (1, "A"): 3, (2, "A"): 3}


@pytest.mark.parametrize(
    "kinds", [[], [Kind(EITHER, 0.0)], [Kind(always(A=1), 3.0, asks=False)]], ids=["none", "never", "no job"]
)
@pytest.mark.parametrize("dispersion", [0.5, 1.0, 2.0])
def test_no_jobs_at_all_are_a_stream_of_none(kinds: list[Kind], dispersion: float) -> None:
    stream = draw_stream(kinds, [shelf("A", [4], 1, days=5)], WEEK._replace(dispersion=dispersion), seed=1)
    assert stream.wanted.jobs == len(stream.kind) == len(stream.day) == 0
    assert rows_of(stream) == {}
    assert len(stream.weekly_mean) == len(stream.weekly_variance) == 1


def test_a_firm_without_stock_has_jobs_that_ask_for_nothing() -> None:
    stream = draw_stream([Kind(EITHER, 3.0)], [], WEEK, seed=1, jobs=60)
    assert stream.wanted.jobs > 30
    assert rows_of(stream) == {}


def test_cases_and_kinds_come_as_often_as_they_should_however_the_dice_fall() -> None:
    """No case is off by two of a kind's jobs or more, and where nothing is booked no kind by two of all: at random the
    spread would be tens."""
    rare = JobNeeds("R", (WeightedCase(0.97, {"B": 1}), WeightedCase(0.03, {"C": 1})), (), 0.0, 9)
    kinds = [Kind(EITHER, 6.0), Kind(rare, 3.0)]
    for seed in range(5):
        stream = draw_stream(kinds, [shelf(group, [4], 1, days=5) for group in "ABC"], WEEK, seed=seed, jobs=3_000)
        wants = {(job, group) for job, group in rows_of(stream)}
        mine = np.flatnonzero(stream.kind == 0)
        assert len(mine) == pytest.approx(stream.wanted.jobs * 2 / 3, abs=2)
        others = np.flatnonzero(stream.kind == 1)
        assert sum((job, "C") in wants for job in others.tolist()) == pytest.approx(0.03 * len(others), abs=2)
        assert sum((job, "B") in wants for job in mine.tolist()) == pytest.approx(0.3 * len(mine), abs=2)
        assert sum((job, "A") in wants for job in mine.tolist()) == pytest.approx(0.8 * len(mine), abs=2)


# The rates that a stream is drawn at


def test_steady_jobs_are_counted_by_the_week_and_a_closed_week_is_no_week() -> None:
    counts, share = np.full((2, 30), [[2.0], [4.0]]), np.ones(30)
    counts[:, 7], share[7] = 0, 0
    rates = job_rates(counts, share)
    assert rates.weekly.tolist() == pytest.approx([2, 4])
    assert rates.dispersion < 1

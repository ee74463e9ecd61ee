"""The past gone through again: only what was known counts, return visits are no jobs, little history is told."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta
from math import sqrt

import pytest

from tests.routines.weeks import bring, change_part, change_supplier, fill_weeks
from vanstock.errors import BadValue
from vanstock.model import Job, Used
from vanstock.routines import booking, levels, stock
from vanstock.routines.replay import _SURENESS, Replayed, Run, _least_that, replay, weeks_there
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting

WEEKS = 4
WAYS = ["whole job", "each part alike", "each part at 95 %", "rule of thumb", "what happened"]
THIRD_MONDAY = date(2027, 2, 15)


def run(found: Replayed, policy: str) -> Run:
    (one,) = [row for row in found.runs if row.policy == policy]
    return one


def finish(session: Session, days: Sequence[date], used: Sequence[Sequence[Used]] = (), **fields: str) -> None:
    """A clean of AAA on each day, with fluid and what else it used."""
    jobs = [Job(f"Y{n}", day, "11:00", "AAA", "clean", status="done", **fields) for n, day in enumerate(days)]  # type: ignore[arg-type]
    lines = [Used(job.job, "FLU-1", 2_000, 0) for job in jobs]
    bring(session, jobs, [*lines, *(row for rows in used for row in rows)])


@pytest.fixture
def busy(session: Session) -> Session:
    """Monday 1 March 2027, with twenty-four weeks of two jobs behind."""
    fill_weeks(session, 24)
    return session


def test_the_last_full_weeks_are_gone_through_under_four_ways_and_beside_what_happened(busy: Session) -> None:
    steps: list[int] = []
    found = replay(busy, WEEKS, steps.append)
    assert found.mondays == (date(2027, 2, 1), date(2027, 2, 8), date(2027, 2, 15), date(2027, 2, 22))
    assert found.weeks_before == 20
    assert steps == [1] * WEEKS
    assert [row.policy for row in found.runs] == WAYS
    for row in found.runs:
        assert row.jobs == 2 * WEEKS
        assert row.finished + row.counter_runs + row.second_visits == row.jobs
        assert row.completion == row.finished / row.jobs
    for row in found.runs[:-1]:
        assert len(row.cash) == 5 * WEEKS
        assert row.average_cash == pytest.approx(sum(row.cash) / len(row.cash))
        assert row.peak_cash == max(row.cash)
    share = found.runs[0].completion
    assert found.standard_error == pytest.approx(sqrt(share * (1 - share) / found.runs[0].jobs))


def test_on_a_day_within_a_week_the_week_is_not_over(busy: Session) -> None:
    thursday = busy._replace(now=busy.now + timedelta(days=3))
    assert replay(thursday, WEEKS).mondays == replay(busy, WEEKS).mondays


def test_closed_days_are_no_days_of_the_replay(busy: Session) -> None:
    change_setting(busy, "closed_days", "2027-02-09;2027-02-10")
    assert len(run(replay(busy, WEEKS), "whole job").cash) == 5 * WEEKS - 2


def test_what_happens_after_a_monday_changes_nothing_before_it(busy: Session) -> None:
    before = replay(busy, WEEKS)
    days = [THIRD_MONDAY + timedelta(days=step) for step in (0, 1, 2, 3, 7, 8, 9, 10)]
    finish(busy, days, [[Used(f"Y{n}", "SNS-1", 4, 0), Used(f"Y{n}", "HOS-1", 9_000, 0)] for n in range(len(days))])
    after = replay(busy, WEEKS)
    until = sum(day < THIRD_MONDAY for day in working_days(before))
    for policy in ("whole job", "each part at 95 %", "rule of thumb"):
        old, new = run(before, policy), run(after, policy)
        assert old.cash[:until] == new.cash[:until]
        assert old.cash[until:] != new.cash[until:]


def working_days(found: Replayed) -> list[date]:
    return [monday + timedelta(days=step) for monday in found.mondays for step in range(5)]


def test_levels_learn_from_the_weeks_that_are_over(busy: Session) -> None:
    """Hose, never needed before, in packs of what one job takes: what is owed leaves none on the shelf."""
    change_supplier(busy, "DAY", lead_working_days=1)
    change_part(busy, "HOS-1", pack_size=2_000)
    before = run(replay(busy, WEEKS), "whole job")
    days = [date(2027, 2, 1) + timedelta(days=7 * week + day) for week in range(4) for day in range(4)]
    jobs = [Job(f"Y{n}", day, "11:00", "AAA", "clean", status="done") for n, day in enumerate(days)]
    bring(busy, jobs, [Used(job.job, "HOS-1", 2_000, 0) for job in jobs])
    found = run(replay(busy, WEEKS), "whole job")
    assert found.jobs == before.jobs + len(jobs)
    # Known on the second Monday, ordered on the Friday of that week, there from the third Monday on.
    assert before.finished < found.finished <= before.finished + 8


def test_bookings_and_pins_are_not_looked_at(busy: Session) -> None:
    before = replay(busy, WEEKS)
    for number in range(5):
        day = busy.today + timedelta(days=number)
        booking.add_booking(busy, Job(f"N{number}", day, "09:00", "AAA", "heat-source"))
    levels.pin(busy, "SNS-1", "5", "9")
    stock.receive(busy, "SNS-1", "30")
    assert replay(busy, WEEKS) == before


def test_a_return_visit_is_no_job_of_its_own(busy: Session) -> None:
    before = replay(busy, WEEKS)
    first = Job("R1", date(2027, 2, 9), "09:00", "AAA", "heat-source", status="done", reference="XA01 BCD")
    second = first._replace(job="R2", date=date(2027, 2, 16))
    bring(busy, [first, second], [Used("R1", "VAP-2", 0, 1), Used("R2", "VAP-2", 1, 0)])
    after = replay(busy, WEEKS)
    happened, was = run(after, "what happened"), run(before, "what happened")
    assert happened.jobs == was.jobs + 1
    assert (happened.finished, happened.second_visits) == (was.finished, was.second_visits + 1)
    assert run(after, "whole job").jobs == happened.jobs
    other = first._replace(job="R3", date=date(2027, 2, 23), reference="XA02 BCD")
    bring(busy, [other], [Used("R3", "VAP-2", 1, 0)])
    assert run(replay(busy, WEEKS), "what happened").jobs == happened.jobs + 1


def test_what_happened_tells_a_part_bought_over_a_counter_from_a_second_visit(busy: Session) -> None:
    was = run(replay(busy, WEEKS), "what happened")
    finish(
        busy, [date(2027, 2, 9)] * 3,
        [[Used("Y0", "SNS-1", 0, 1)], [Used("Y1", "SNS-1", 0, 1), Used("Y1", "FLU-1", 0, 500)]],
    )  # fmt: skip
    now = run(replay(busy, WEEKS), "what happened")
    assert now.jobs == was.jobs + 3
    assert now.counter_runs == was.counter_runs + 1  # the sensor alone is sold over a counter
    assert now.second_visits == was.second_visits + 1  # the fluid is not
    assert now.finished == was.finished + 1
    assert (now.average_cash, now.peak_cash, now.orders, now.lines, now.carriage) == (None,) * 5


@pytest.mark.parametrize("share", ["0.5", "0.95"])
def test_each_part_alike_finishes_as_many_as_whole_jobs_at_the_least_odds_that_do(busy: Session, share: str) -> None:
    change_setting(busy, "target", share)
    found = replay(busy, 8)
    alike = run(found, "each part alike")
    assert alike.finished >= run(found, "whole job").finished
    told = re.fullmatch(
        r"every part at ([\d.]+) % to last, found afterwards: the least tried that finishes as many"
        r"(?:; ([\d.]+) % finishes ([\d.]+) of 100 with [\d.]+)?",
        alike.told,
    )
    assert told
    at, below, jobs = told.groups()
    assert (below is None) == (at == "50")
    if below is not None:
        assert float(below) < float(at)
        assert float(jobs) < 100 * run(found, "whole job").completion


def test_where_not_even_the_highest_odds_finish_as_many_that_is_said(busy: Session) -> None:
    """A supplier that sends for no less than half a year's fluid: odds of lasting until the next review know nothing of
    that, levels for whole jobs do."""
    change_supplier(busy, "WEEK", least_order=300_00)
    change_setting(busy, "target", "0.99")
    found = replay(busy, 8)
    alike = run(found, "each part alike")
    assert alike.finished < run(found, "whole job").finished
    assert alike.told == "every part at 99.9 % to last, the most that was tried: it finishes fewer"


@pytest.mark.parametrize("needed", [0.3, 0.5, 0.51, 0.7, 0.8123, 0.999, 0.9991])
def test_the_least_odds_tried_that_are_enough_are_found(needed: float) -> None:
    tried: list[float] = []

    def is_enough(odds: float) -> bool:
        tried.append(odds)
        return odds >= needed

    assert _least_that(is_enough) == min((one for one in _SURENESS if one >= needed), default=None)
    assert len(tried) <= 5  # each is all the weeks gone through again


def test_carriage_is_paid_by_the_order_unless_the_goods_are_worth_enough(busy: Session) -> None:
    for name in ("DAY", "NEXT", "WEEK"):
        change_supplier(busy, name, carriage=700, carriage_paid_over=None)
    for row in replay(busy, WEEKS).runs[:-1]:
        assert row.orders is not None
        assert row.orders > 0
        assert row.carriage == 700 * row.orders
        assert row.lines is not None
        assert row.lines >= row.orders
    for name in ("DAY", "NEXT", "WEEK"):
        change_supplier(busy, name, carriage_paid_over=0)
    assert {row.carriage for row in replay(busy, WEEKS).runs[:-1]} == {0}


def test_a_least_order_makes_fewer_orders(busy: Session) -> None:
    def orders() -> int:
        found = run(replay(busy, 8), "rule of thumb").orders
        assert found is not None
        return found

    before = orders()
    change_supplier(busy, "WEEK", least_order=1_000_000_00)
    assert 0 < orders() < before


def test_a_higher_target_has_more_on_the_shelves(busy: Session) -> None:
    cash = []
    for share in ("0.5", "0.95", "0.99"):
        change_setting(busy, "target", share)
        found = run(replay(busy, WEEKS), "whole job")
        assert f"{100 * float(share):g} of 100" in found.told
        cash.append(found.average_cash or 0)
    assert cash == sorted(cash)
    assert cash[0] < cash[-1]


def test_as_many_weeks_are_counted_as_are_gone_through(session: Session) -> None:
    fill_weeks(session, 18)
    steps: list[int] = []
    assert weeks_there(session, 52) == 5
    assert weeks_there(session, 4) == 4
    replay(session, weeks_there(session, 52), steps.append)
    assert len(steps) == 5
    for asked in (-1, 3, 521):
        with pytest.raises(BadValue, match=f"{asked} weeks cannot be gone through: ask for 4 to 520"):
            weeks_there(session, asked)


# Little history.


def test_too_little_history_is_refused_with_how_much_there_is_and_how_much_is_needed(session: Session) -> None:
    with pytest.raises(BadValue, match="17 full weeks of finished jobs are needed, there are 0"):
        replay(session, WEEKS)
    fill_weeks(session, 16)
    with pytest.raises(BadValue, match="there are 16") as refused:
        replay(session, WEEKS)
    assert "\n" not in str(refused.value)


def test_as_many_weeks_as_the_history_allows_are_gone_through_with_a_warning(session: Session) -> None:
    fill_weeks(session, 18)
    found = replay(session, 52)
    assert (len(found.mondays), found.weeks_before) == (5, 13)
    assert [warning.split(":")[0] for warning in found.warnings] == [
        "only 13 weeks of history came before", "only 10 jobs came in these weeks",
    ]  # fmt: skip


def test_there_is_no_warning_when_there_is_enough_of_both(session: Session) -> None:
    fill_weeks(session, 30, a_week=25)
    assert replay(session, WEEKS).warnings == ()

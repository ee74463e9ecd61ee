"""How good the odds were: what is kept of a load-out, and how it is held against what happened."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.checking import check
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Job, Used
from vanstock.routines import booking, job, morning, settings, stock
from vanstock.routines.score import Band, keep_odds, score
from vanstock.routines.session import Session, copy_wanted

Open = Callable[..., Session]
TUESDAY = date(2027, 3, 2)
WEDNESDAY_NOON = datetime(2027, 3, 3, 12)


@pytest.fixture
def told(session: Session) -> Session:
    """A clean and a heat-source job booked for tomorrow, fluid aboard, and the load-out's odds kept."""
    stock.receive(session, "FLU-1", "20", place="van")
    booking.add_booking(session, Job("CLEAN", TUESDAY, "09:00", "BBB", "clean"))
    booking.add_booking(session, Job("HEAT", TUESDAY, "13:00", "AAA", "heat-source"))
    assert keep_odds(session, morning.load_out(session, TUESDAY)) == ""
    return session


def said(session: Session) -> list[tuple[Any, ...]]:
    return session.ledger.execute("SELECT job, odds, odds_now, jobs_like_it, at FROM said ORDER BY seq").fetchall()


def entries(session: Session) -> int:
    return int(session.ledger.execute("SELECT count(*) FROM entry").fetchone()[0])


def later(session: Session, now: datetime = WEDNESDAY_NOON) -> Session:
    return session._replace(now=now)


# What is kept


def test_the_odds_told_of_each_job_are_kept_with_their_moment(told: Session) -> None:
    (clean, heat) = said(told)
    assert clean[:4] == ("CLEAN", pytest.approx(1), pytest.approx(1), 0)
    assert heat[:4] == ("HEAT", pytest.approx(0.12, abs=0.02), pytest.approx(0.12, abs=0.02), 0)
    assert clean[4].startswith("2027-03-01T12:00:00")
    assert [finding for finding in check(told.ledger) if finding.wrong] == []


def test_telling_the_same_again_writes_nothing(told: Session) -> None:
    before = told.path.read_bytes()
    assert keep_odds(told, morning.load_out(told, TUESDAY)) == ""
    assert told.path.read_bytes() == before


def test_odds_are_kept_anew_when_the_stock_has_changed(told: Session) -> None:
    for part, qty in (("VAP-2", "1"), ("GKT-1", "1"), ("BLT-1", "2")):
        stock.receive(told, part, qty, place="van")
    keep_odds(told, morning.load_out(told, TUESDAY))
    assert [row[0] for row in said(told)] == ["CLEAN", "HEAT", "HEAT"]
    assert said(told)[-1][1] == pytest.approx(1)


def test_odds_of_a_day_that_is_over_are_not_kept_and_todays_are(told: Session) -> None:
    count = len(said(told))
    job.miss(told, "CLEAN", "FLU-1", "5L")
    stock.move(told, "FLU-1", "20", source="van", target="store")
    keep_odds(later(told), morning.load_out(later(told), TUESDAY))
    assert len(said(told)) == count
    evening = later(told, datetime(2027, 3, 2, 23, 30))
    found = morning.load_out(evening, TUESDAY)
    assert found.jobs[0].odds_now != pytest.approx(1)
    keep_odds(evening, found)
    assert len(said(told)) > count


def test_a_job_of_which_nothing_is_known_is_left_out(session: Session) -> None:
    booking.add_booking(session, Job("NEW", TUESDAY, "09:00", "AAA", "never seen"))
    assert keep_odds(session, morning.load_out(session, TUESDAY)) == ""
    assert said(session) == []


def test_keeping_odds_is_no_entry_and_asks_for_no_copy(new_session: Open) -> None:
    session = new_session(now=datetime(2027, 2, 28, 12))
    booking.add_booking(session, Job("CLEAN", TUESDAY, "09:00", "BBB", "clean"))
    settings.change_setting(session, "daily_backup", "always")
    morning_after = session._replace(now=datetime(2027, 3, 2, 7))
    count, changes = entries(session), session.ledger.total_changes
    assert keep_odds(morning_after, morning.load_out(morning_after, TUESDAY)) == ""
    assert len(said(session)) == 1
    assert (entries(session), session.ledger.total_changes) == (count, changes)
    assert copy_wanted(morning_after) == ""


@contextmanager
def held(session: Session) -> Iterator[None]:
    """Another program in the middle of writing."""
    with closing(open_ledger(session.path)) as other, writing(other):
        yield


def test_odds_that_cannot_be_kept_are_no_reason_to_fail_and_why_is_told(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    from vanstock.ledger import file

    booking.add_booking(session, Job("CLEAN", TUESDAY, "09:00", "BBB", "clean"))
    found = morning.load_out(session, TUESDAY)
    monkeypatch.setattr(file, "BUSY_SECONDS", 0)
    with held(session):
        assert "being written by another program" in keep_odds(session, found)
    assert said(session) == []
    assert keep_odds(session, found) == ""
    assert len(said(session)) == 1


def test_a_ledger_that_is_gone_by_then_is_told_and_not_made(told: Session) -> None:
    stock.receive(told, "VAP-2", "1", place="van")
    stock.receive(told, "GKT-1", "1", place="van")
    stock.receive(told, "BLT-1", "2", place="van")
    found = morning.load_out(told, TUESDAY)
    os.rename(told.path, told.path.with_name("away.db"))
    assert str(told.path) in keep_odds(told, found)
    assert not told.path.exists()


# What it is held against


def test_a_job_finished_with_nothing_missed_counts_as_finished_and_one_that_missed_a_part_does_not(
    told: Session,
) -> None:
    job.finish(told, "CLEAN", ["FLU-1=2"])
    job.miss(told, "HEAT", "VAP-2")
    job.finish(told, "HEAT")
    found = score(later(told))
    assert [(band.low, band.number, band.came) for band in found.jobs] == [(0.9, 1, 1.0), (0.1, 1, 0.0)]
    assert (found.finished, found.first_time) == (2, 1)


def test_only_the_odds_told_last_count(told: Session) -> None:
    for part, qty in (("VAP-2", "1"), ("GKT-1", "1"), ("BLT-1", "2")):
        stock.receive(told, part, qty, place="van")
    keep_odds(told, morning.load_out(told, TUESDAY))
    job.finish(told, "HEAT")
    assert [(band.low, band.number) for band in score(later(told)).jobs] == [(0.9, 1)]


def test_a_job_that_is_still_booked_or_was_cancelled_is_held_against_nothing(told: Session) -> None:
    booking.cancel_booking(told, "CLEAN")
    found = score(later(told))
    assert (found.jobs, found.finished) == ((), 0)


def test_a_miss_that_was_undone_does_not_count(told: Session) -> None:
    job.miss(told, "CLEAN", "FLU-1")
    job.undo(told)
    job.finish(told, "CLEAN")
    found = score(later(told))
    assert [(band.number, band.came) for band in found.jobs] == [(1, 1.0)]
    assert (found.first_time, found.second_visits) == (1, ())


def test_bands_are_tenths_and_their_figures_are_means_worked_by_hand(told: Session) -> None:
    from vanstock.ledger import said as table

    for number, odds in enumerate((0.81, 0.89, 0.9, 1.0, 0.0)):
        name = f"B{number}"
        booking.add_booking(told, Job(name, TUESDAY, "", "BBB", "clean"))
        with writing(told.ledger) as ledger:
            table.keep(ledger, [table.Said("2027-03-01T12:00:00+00:00", name, odds, odds, 0)])
        if odds in (0.89, 0.0):
            job.miss(told, name, "FLU-1")
        job.finish(told, name)
    found = [band._replace(said=round(band.said, 9)) for band in score(later(told)).jobs]
    assert found == [Band(0.9, 1.0, 2, 0.95, 1.0), Band(0.8, 0.9, 2, 0.85, 0.5), Band(0.0, 0.1, 1, 0.0, 0.0)]


# The parts' chances


def import_jobs(session: Session, jobs: list[Job], used: list[Used]) -> None:
    with writing(session.ledger) as ledger:
        post_import(ledger, ImportedFacts(jobs, used), at=session.now, progress=lambda _: None)


def test_with_few_finished_jobs_the_parts_chances_are_not_scored(session: Session) -> None:
    import_jobs(session, [Job(f"K{n}", date(2027, 2, 1 + n), "", "AAA", "clean", status="done") for n in range(20)], [])
    found = score(session)
    assert (found.parts, found.parts_jobs) == ((), 0)
    assert score(session).finished == 20


def test_each_later_job_is_foretold_from_the_jobs_before_it(session: Session) -> None:
    """Two jobs in three take the sensor, every job takes fluid: what is said comes true as often as it is said."""
    days = [session.today - timedelta(days=240 - n) for n in range(240)]
    jobs = [Job(f"K{n}", day, "", "AAA", "clean", status="done") for n, day in enumerate(days)]
    used = [Used(one.job, "FLU-1", 2000, 0) for one in jobs]
    used += [Used(one.job, "SNS-1", 1, 0) for n, one in enumerate(jobs) if n % 3]
    import_jobs(session, jobs, used)
    found = score(session)
    assert 60 <= found.parts_jobs < 240
    assert sum(band.number for band in found.parts) == 2 * found.parts_jobs
    sure, likely = found.parts
    assert (sure.number, sure.came) == (found.parts_jobs, 1.0)
    assert sure.said > 0.95
    assert likely.number == found.parts_jobs
    assert likely.came == pytest.approx(2 / 3, abs=0.01)
    assert likely.said == pytest.approx(2 / 3, abs=0.04)


# Second visits


@pytest.fixture
def visits(session: Session) -> Session:
    """Three jobs a month and a year ago that missed parts, one of them two, and one that missed nothing."""
    ages = {"NEW1": 20, "NEW2": 30, "GOOD": 40, "OLD": 400}
    jobs = [
        Job(name, session.today - timedelta(days=age), "", "AAA", "clean", status="done") for name, age in ages.items()
    ]
    missed = [Used("NEW1", "SNS-1", 0, 1), Used("NEW1", "FLU-1", 0, 2000), Used("NEW2", "SNS-1", 0, 2)]
    import_jobs(session, jobs, [*missed, Used("OLD", "GKT-1", 0, 1), Used("GOOD", "FLU-1", 2000, 0)])
    return session


def test_second_visits_are_counted_by_part_and_a_job_that_wanted_two_is_shared_between_them(visits: Session) -> None:
    found = score(visits)
    assert (found.finished, found.first_time, found.second_visit_cost) == (3, 1, 6000)
    assert [(row.part.part, row.jobs, row.cost) for row in found.second_visits] == [
        ("SNS-1", 2, 9000),
        ("FLU-1", 1, 3000),
    ]
    assert sum(row.cost for row in found.second_visits) == (found.finished - found.first_time) * 6000


def test_second_visits_since_a_date_leave_older_ones_out_and_take_that_day_in(visits: Session) -> None:
    far, near = visits.today - timedelta(days=400), visits.today - timedelta(days=29)
    assert [row.part.part for row in score(visits, far).second_visits] == ["SNS-1", "GKT-1", "FLU-1"]
    assert score(visits, far + timedelta(days=1)).finished == 3
    assert (score(visits, near).finished, score(visits, near).since) == (1, near)


def test_what_a_second_visit_costs_is_a_setting(visits: Session) -> None:
    settings.change_setting(visits, "second_visit_cost", "45.50")
    assert [row.cost for row in score(visits).second_visits] == [4550 + 2275, 2275]


def test_an_old_number_that_was_missed_is_told_under_the_one_that_replaced_it(session: Session) -> None:
    day = session.today - timedelta(days=3)
    jobs = [Job(name, day, "", "AAA", "heat-source", status="done") for name in ("A", "B")]
    import_jobs(session, jobs, [Used("A", "VAP-1", 0, 1), Used("B", "VAP-2", 0, 1)])
    assert [(row.part.part, row.jobs) for row in score(session).second_visits] == [("VAP-2", 2)]


def test_a_firm_with_nothing_behind_it_has_an_empty_score(session: Session) -> None:
    found = score(session)
    assert (found.jobs, found.parts, found.finished, found.second_visits) == ((), (), 0, ())
    assert found.since == session.today - timedelta(days=365)

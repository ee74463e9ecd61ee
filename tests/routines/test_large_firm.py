"""What a firm with very many finished jobs rests a day on: jobs that stand for those that are not read."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest

from tests.routines.weeks import bring, fill_weeks
from vanstock.ledger import reading
from vanstock.model import Catalogue, FinishedJob, Job, Used
from vanstock.needs import cases
from vanstock.needs.cases import CaseBook
from vanstock.needs.worths import Worths
from vanstock.routines import past, replay
from vanstock.routines.session import Session

DAY = date(2027, 3, 1)


def made(number: int, *, stands_for: float = 1.0) -> FinishedJob:
    """Jobs of six families and two types; every third takes part A, every fifth B."""
    needs = {part: 1 for part, every in (("A", 3), ("B", 5)) if number % every == 0}
    day = DAY - timedelta(days=1 + number % 700)
    family, kind = f"F{number % 7 % 6}", "heat" if number % 4 else "clean"
    return FinishedJob(f"J{number:05}", day, family, kind, (f"P24{number % 3}",), needs, stands_for=stands_for)


def chances(book: CaseBook, *codes: str) -> dict[str, float]:
    found: Counter[str] = Counter()
    for case in book.needs_for(Job("x", DAY, "", "F1", "heat", codes)).cases:
        found.update(dict.fromkeys(case.needs, case.weight))
    return dict(found)


def test_a_job_that_stands_for_three_says_what_three_like_it_say() -> None:
    plain = [made(number) for number in range(200)]
    thrice = [job._replace(job=f"{job.job}-{turn}") for job in plain for turn in range(3)]
    for_three = [job._replace(stands_for=3.0) for job in plain]
    books = [CaseBook.build(jobs, Catalogue(), today=DAY, worths=Worths()) for jobs in (thrice, for_three)]
    assert chances(books[1], "P241") == pytest.approx(chances(books[0], "P241"))
    asked = Job("x", DAY, "", "F1", "heat")
    assert books[1].needs_for(asked).jobs_like_it == books[0].needs_for(asked).jobs_like_it


def test_evenly_spread_jobs_of_far_levels_say_nearly_what_all_do(monkeypatch: pytest.MonkeyPatch) -> None:
    jobs = [made(number * 7919 % 10_000) for number in range(9_000)]
    bounded = chances(CaseBook.build(jobs, Catalogue(), today=DAY, worths=Worths()))
    monkeypatch.setattr(cases, "MANY", 10**9)
    assert bounded == pytest.approx(chances(CaseBook.build(jobs, Catalogue(), today=DAY, worths=Worths())), abs=0.003)


def test_what_is_read_for_a_day_is_all_there_is_where_all_is_new(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill_weeks(session)
    whole = past.read_past(session)
    monkeypatch.setattr(past, "MANY_JOBS", 0)
    assert past.read_for_day(session, []).finished == whole.finished


def test_jobs_stand_for_as_many_as_there_are_of_their_kind(session: Session) -> None:
    fill_weeks(session, a_week=6)
    done = [job for job in reading.jobs(session.ledger) if job.status == "done"]
    near = [("AAA", "clean")]
    stands = reading.spread_of_done(session.ledger, 30, 5, near=near, most_near=40)
    newest = sorted(done, key=lambda job: (job.date, job.time, job.job))[-30:]
    assert all(stands[job.job] == 1 for job in newest)
    kinds = {job.job: (job.family, job.job_type) for job in done}
    total: Counter[tuple[str, str]] = Counter()
    for name, many in stands.items():
        total[kinds[name]] += many  # type: ignore[assignment]
    assert total == pytest.approx(Counter(kinds.values()))
    older = Counter(kinds[name] for name in stands if name not in {job.job for job in newest})
    assert older["AAA", "clean"] == 40
    assert all(many <= 5 for kind, many in older.items() if kind not in near)


def test_a_second_visit_settles_what_the_first_missed_though_only_it_was_chosen(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = Job("K1", session.today - timedelta(days=9), "09:00", "AAA", "clean", status="done", reference="C1")
    second = first._replace(job="K2", date=session.today - timedelta(days=2))
    bring(
        session, [first, second], [Used("K1", "SNS-1", 0, 1), Used("K2", "SNS-1", 1, 0), Used("K2", "FLU-1", 2000, 0)]
    )
    monkeypatch.setattr(past, "MANY_JOBS", 0)
    monkeypatch.setattr(past, "_NEWEST", 1)
    monkeypatch.setattr(past, "_OF_OTHERS", 0)
    assert [(job.job, dict(job.needs)) for job in past.read_for_day(session, []).finished] == [("K2", {"FLU-1": 2000})]


def test_of_very_many_jobs_the_newest_and_evenly_spread_ones_of_each_kind_stand_for_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    jobs = [made(number) for number in range(9_000)]
    assert past.standing_for_all(jobs) == jobs
    monkeypatch.setattr(past, "MANY_JOBS", 8_999)
    chosen = past.standing_for_all(jobs)
    assert len(chosen) <= 2_000 + 20 * 12
    newest = sorted(jobs, key=lambda job: (job.date, job.job))[-2_000:]
    assert set(map(str, newest)) <= set(map(str, chosen))
    total: Counter[tuple[str, str]] = Counter()
    for job in chosen:
        total[job.family, job.job_type] += job.stands_for  # type: ignore[assignment]
    assert total == pytest.approx(Counter((job.family, job.job_type) for job in jobs))


def test_the_replay_of_a_large_firm_sets_levels_less_often_and_says_so(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill_weeks(session, 30)
    assert (replay.times_learnt(session, 17), replay.is_large(session)) == (17, False)
    for module in (past, replay):
        monkeypatch.setattr(module, "MANY_JOBS", 20)
    assert [replay.times_learnt(session, weeks) for weeks in (4, 13, 14, 17)] == [4, 13, 4, 5]
    steps: list[int] = []
    found = replay.replay(session, 17, steps.append)
    assert (len(found.mondays), len(steps), replay.is_large(session)) == (17, 5, True)
    assert found.warnings[-1].endswith("some stood for all in what a job takes; levels were set every 4 weeks")

"""The odds that were told: kept when they differ from the last, never changed, and no part of what happened."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vanstock.ledger.checking import check
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.restoring import as_it_was
from vanstock.ledger.said import Said, keep, last_said, nothing_new
from vanstock.routines.session import Session

FIRST = Said("2027-03-01T06:40:00+00:00", "J1", 0.80, 0.30, 12)
LATER = FIRST._replace(at="2027-03-01T07:10:00+00:00")


def rows(session: Session) -> list[Said]:
    found = session.ledger.execute("SELECT at, job, odds, odds_now, jobs_like_it FROM said ORDER BY seq")
    return [Said(*row) for row in found]


def keep_all(session: Session, *told: Said) -> None:
    with writing(session.ledger) as ledger:
        keep(ledger, told)


def test_what_was_told_comes_back_as_it_was_the_newest_of_each_job(session: Session) -> None:
    other = FIRST._replace(job="J2", odds=0.5)
    newer = LATER._replace(odds=0.95)
    keep_all(session, FIRST, other)
    keep_all(session, newer)
    assert rows(session) == [FIRST, other, newer]
    assert last_said(session.ledger) == [other, newer]
    assert [finding for finding in check(session.ledger) if finding.wrong] == []


@pytest.mark.parametrize(
    ("changed", "kept"),
    [
        ({}, 0), ({"odds": 0.804}, 0), ({"odds": 0.796}, 0), ({"odds_now": 0.3049}, 0), ({"jobs_like_it": 13}, 0),
        ({"odds": 0.806}, 1), ({"odds": 0.79}, 1), ({"odds_now": 0.31}, 1), ({"job": "J2"}, 1),
    ],
)  # fmt: skip
def test_only_odds_that_a_person_would_read_as_others_are_kept_anew(
    session: Session, changed: dict[str, float], kept: int
) -> None:
    keep_all(session, FIRST)
    told = LATER._replace(**changed)  # type: ignore[arg-type]
    assert nothing_new(session.ledger, [told]) == (not kept)
    keep_all(session, told)
    assert len(rows(session)) == 1 + kept


def test_odds_that_creep_are_held_against_what_was_kept_and_not_against_each_other(session: Session) -> None:
    for step in range(1, 11):
        keep_all(session, LATER._replace(odds=0.80 + step * 0.002) if step > 1 else FIRST)
    assert [row.odds for row in rows(session)] == pytest.approx([0.80, 0.806, 0.812, 0.818])


odds = st.floats(0, 1, allow_nan=False)


@given(st.lists(st.tuples(st.sampled_from(["J1", "J2", "J3"]), odds, odds), max_size=12))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
def test_what_is_kept_last_never_differs_by_half_a_point_from_what_was_told_last(
    session: Session, told: list[tuple[str, float, float]]
) -> None:
    newest = {}
    for job, then, now in told:
        newest[job] = Said(FIRST.at, job, then, now, 1)
        keep_all(session, newest[job])
        assert nothing_new(session.ledger, [newest[job]])
    kept = {row.job: row for row in last_said(session.ledger)}
    for job, row in newest.items():
        assert abs(kept[job].odds - row.odds) < 0.005
        assert abs(kept[job].odds_now - row.odds_now) < 0.005


def test_keeping_is_all_or_nothing(session: Session) -> None:
    broken = FIRST._replace(job="J2", odds=None)  # type: ignore[arg-type]
    with pytest.raises(sqlite3.IntegrityError, match="NOT NULL"), writing(session.ledger) as ledger:
        keep(ledger, [FIRST, broken])
    assert rows(session) == []


def test_the_ledger_as_it_was_knows_what_was_told(session: Session, tmp_path: Path) -> None:
    keep_all(session, FIRST)
    as_it_was(session.path, session.now + timedelta(days=1), tmp_path / "then.db")
    with closing(open_ledger(tmp_path / "then.db")) as then:
        assert last_said(then) == [FIRST]

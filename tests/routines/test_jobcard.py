"""A job's card: chances are those of the load-out, it follows what is logged, and taking back finds the last act."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

import pytest

from vanstock.errors import NotFound
from vanstock.ledger.reading import lines_of
from vanstock.model import Job
from vanstock.routines import jobcard, morning, today
from vanstock.routines.booking import add_booking
from vanstock.routines.job import finish, fit, miss, take_back, undo
from vanstock.routines.loadout import Buy
from vanstock.routines.moves import moves_of
from vanstock.routines.naming import find_job, offered_parts
from vanstock.routines.session import Session
from vanstock.routines.stock import carry, count, stock

DAY = date(2027, 3, 1)


def booked(session: Session) -> Job:
    count(session, "FLU-1", "4.5", place="van")
    count(session, "GKT-1", "3", place="van")
    return add_booking(session, Job("J1", DAY, "14:00", "AAA", "heat-source", ("P20CB",)))


def row_of(session: Session, job: Job, part: str) -> jobcard.Row:
    card = jobcard.card_of(session, job, jobcard.likely(session, job.job))
    return next(row for row in card.rows + card.others if row.part.part == part)


def held(session: Session, part: str, place: str) -> int:
    return stock(session, part, place=place)[0].balance.qty


def test_an_untouched_jobs_chances_are_those_of_the_load_out(session: Session) -> None:
    job = booked(session)
    outlook = morning.load_out(session, DAY).jobs[0]
    expected = {need.part.part: need.probability for need in outlook.needs}
    assert {one.numbers[0]: one.probability for one in jobcard.likely(session, job.job)} == pytest.approx(expected)


def test_the_card_follows_what_is_logged_and_keeps_the_chance(session: Session) -> None:
    job = booked(session)
    before = row_of(session, job, "FLU-1")
    fit(session, "J1", "FLU-1", "2")
    after = row_of(session, job, "FLU-1")
    assert (after.fitted, after.aboard) == (2000, 2500)
    assert (after.probability, after.likely) == (before.probability, before.likely)
    miss(session, "J1", "SNS-1")
    assert row_of(session, job, "SNS-1").missed == 1


def test_what_goes_on_new_is_offered_with_the_first_and_until_it_is_logged(session: Session) -> None:
    job = booked(session)
    assert {rider.part.part: rider.qty for rider in row_of(session, job, "VAP-2").riders} == {"GKT-1": 1, "BLT-1": 2}
    fit(session, "J1", "VAP-2")
    fit(session, "J1", "BLT-1", "2")
    assert [rider.part.part for rider in row_of(session, job, "VAP-2").riders] == ["GKT-1"]
    fit(session, "J1", "GKT-1")
    assert row_of(session, job, "VAP-2").riders == ()


def test_taking_back_finds_the_last_act_of_the_part_each_time(session: Session) -> None:
    job = booked(session)
    fit(session, "J1", "GKT-1")
    miss(session, "J1", "GKT-1")
    fit(session, "J1", "FLU-1")
    undone, _ = take_back(session, "J1", "GKT-1", undoing_id="first")
    assert undone.kind == "missed"
    assert take_back(session, "J1", "GKT-1", undoing_id="first")[0] == undone
    assert take_back(session, "J1", "GKT-1")[0].kind == "fitted"
    assert row_of(session, job, "GKT-1").takes_back == 0
    with pytest.raises(NotFound, match="nothing of GKT-1"):
        take_back(session, "J1", "GKT-1")
    finish(session, "J1", ["GKT-1=1"])
    with pytest.raises(NotFound, match="by itself"):
        take_back(session, "J1", "GKT-1")


def test_what_was_put_back_can_be_taken_back_again(session: Session) -> None:
    booked(session)
    fit(session, "J1", "GKT-1")
    _, undoing = take_back(session, "J1", "GKT-1")
    undo(session, undoing.id)
    assert held(session, "GKT-1", "van") == 2
    assert row_of(session, find_job(session, "J1"), "GKT-1").fitted == 1


def test_a_whole_list_is_carried_as_one_entry_or_not_at_all(session: Session) -> None:
    count(session, "BLT-1", "20", place="store")
    with pytest.raises(NotFound):
        carry(session, [("BLT-1", "2", "store"), ("nothing", "1", "store")], target="van")
    assert held(session, "BLT-1", "store") == 20
    carried = carry(session, [("BLT-1", "2", "store"), ("GLV-1", "1", "store")], target="van")
    assert [(part.part, qty, place) for part, qty, place in carried.lines] == [
        ("BLT-1", 2, "store"), ("GLV-1", 1, "store")
    ]  # fmt: skip
    undo(session, carried.entry.id)
    assert held(session, "BLT-1", "store") == 20


def test_parts_are_offered_the_familys_first_for_as_much_as_is_typed(session: Session) -> None:
    assert [part.part for part in offered_parts(session, "pressure", family="BBB")] == ["HOS-1", "SNS-1"]
    assert offered_parts(session, "pres", family="AAA")[0].part in ("HOS-1", "SNS-1")
    assert offered_parts(session, " ") == []
    assert offered_parts(session, "zzzz") == []


def test_the_last_acts_are_this_devices_while_they_are_fresh_and_stand(new_session: Callable[..., Session]) -> None:
    session = new_session()
    booked(session)
    kim = session._replace(device="Kim")
    assert today.last_acts(kim) == []
    first = fit(kim, "J1", "GKT-1").entry
    second = fit(kim, "J1", "GKT-1").entry
    fit(session, "J1", "GKT-1")
    assert [past.entry.id for past in today.last_acts(kim)] == [second.id]
    _, undoing = undo(kim, second.id)
    assert [past.entry.id for past in today.last_acts(kim)] == [undoing.id, first.id]
    third = fit(kim, "J1", "GKT-1").entry
    assert [past.entry.id for past in today.last_acts(kim)] == [third.id]
    assert today.last_acts(kim._replace(now=datetime(2027, 3, 1, 12, 16))) == []


def test_a_state_changes_with_every_writing_and_is_only_carried_over_where_nobody_else_wrote(session: Session) -> None:
    booked(session)
    before = today.state_of(session)
    assert today.state_of(session) == before
    count(session, "GKT-1", "3", place="van")
    once = today.state_of(session)
    assert once != before
    assert today.after_keeping(before, once) == once
    count(session, "GKT-1", "3", place="van")
    assert today.after_keeping(before, today.state_of(session)) == before
    assert today.after_keeping(once, once) == once


def test_today_stays_until_its_last_job_is_finished(session: Session) -> None:
    booked(session)
    assert today.day_to_show(session) == DAY
    finish(session, "J1")
    assert today.day_to_show(session) == date(2027, 3, 2)
    assert [job.job for job in today.done_on(session, DAY, van="van")] == ["J1"]


def test_a_page_is_the_same_until_goods_are_there_or_the_last_act_is_too_old(session: Session) -> None:
    booked(session)
    found = morning.load_out(session, DAY)
    part = found.jobs[0].needs[0].part
    comes = [None, session.now - timedelta(minutes=1), session.now + timedelta(minutes=7)]
    buys = tuple(Buy(part, 1, 0.1, None, moment, False) for moment in comes)
    assert today.same_until(session, found._replace(buy=()), []) is None
    assert today.same_until(session, found._replace(buy=buys), []) == comes[2]
    fit(session._replace(now=session.now - timedelta(minutes=10)), "J1", "GKT-1", entry_id="a" * 32)
    acts = today.last_acts(session)
    assert len(acts) == 1
    assert today.same_until(session, found._replace(buy=buys), acts) == session.now + timedelta(minutes=5)


def test_a_card_knows_what_taking_back_again_and_again_would_move(session: Session) -> None:
    booked(session)
    first = fit(session, "J1", "VAP-2", with_riders=True).entry
    second = miss(session, "J1", "GKT-1", "1").entry
    rows = {row.part.part: row for row in jobcard.card_of(session, find_job(session, "J1"), ()).rows}
    moved = [(back.entry, [(move.part.part, *move[1:]) for move in back.moves]) for back in rows["GKT-1"].standing]
    assert moved[0] == (second.id, [("GKT-1", 1, "", "missed on J1")])
    assert moved[1][0] == first.id
    assert {("VAP-2", 1, "van", "on J1"), ("GKT-1", 1, "van", "on J1")} <= set(moved[1][1])
    _, undoing = undo(session, second.id)
    turned = moves_of(lines_of(session.ledger, undoing), {"GKT-1": rows["GKT-1"].part})
    assert [(move.part.part, *move[1:]) for move in turned] == [("GKT-1", 1, "missed on J1", "")]

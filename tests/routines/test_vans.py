"""Several vans and a store: what each should carry, where a part is, parts from van to van, and what others have."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from tests.routines.orders import drafted
from tests.routines.weeks import bring
from vanstock.errors import BadValue, NotFound
from vanstock.ledger import reading
from vanstock.model import Job, Used
from vanstock.routines import booking, job, morning, stock, vankit
from vanstock.routines.levels import minmax
from vanstock.routines.session import Session
from vanstock.routines.where import where

Open = Callable[..., Session]
SECOND = "van 2"


@pytest.fixture
def fleet(session: Session) -> Session:
    """Two vans: the first only cleans, four jobs a day; the second only does heat sources of family AAA, one a day."""
    stock.add_place(session, SECOND, "van")
    jobs, used = [], []
    for back in range(1, 85):
        day = session.today - timedelta(days=back)
        for turn in range(5 if day.weekday() < 5 else 0):
            name, own = f"K{back:02}{turn}", turn == 4
            kind = "heat-source" if own else "clean"
            jobs.append(Job(name, day, f"{8 + turn:02}:00", "AAA", kind, status="done", van=SECOND if own else "van"))
            used += [Used(name, "VAP-2", 1, 0), Used(name, "GKT-1", 1, 0)] if own else [Used(name, "FLU-1", 2000, 0)]
    bring(session, jobs, used)
    return session


def held(session: Session) -> dict[tuple[str, str], tuple[int, int]]:
    return {(row.part, row.place): (row.qty, row.value) for row in reading.balances(session.ledger) if row.qty}


def carried(session: Session, van: str) -> dict[str, int]:
    return {line.part.part: line.carry for line in vankit.van_kit(session, van).lines}


def test_each_van_carries_what_its_own_jobs_take(fleet: Session) -> None:
    first, second = carried(fleet, "van"), carried(fleet, SECOND)
    assert first["FLU-1"] >= 10_000
    assert first["FLU-1"] % 5000 == 0
    assert "VAP-2" not in first
    assert second["VAP-2"] >= 1
    assert second["GKT-1"] >= 1
    assert second.get("FLU-1", 0) <= 5000


def test_a_kit_is_made_for_the_rate_at_which_the_vans_own_jobs_come(fleet: Session) -> None:
    assert vankit.van_kit(fleet, "van").weekly == pytest.approx(20, abs=0.5)
    assert vankit.van_kit(fleet, SECOND).weekly == pytest.approx(5, abs=0.5)


def test_a_van_without_jobs_leans_on_the_firms_mix(fleet: Session) -> None:
    stock.add_place(fleet, "van 3", "van")
    found = vankit.van_kit(fleet, "van 3")
    assert found.finished == 0
    assert {"FLU-1", "VAP-2"} <= {line.part.part for line in found.lines}


def test_a_van_without_jobs_is_given_its_share_of_what_the_firm_does_in_a_week_however_long_that_is_known(
    fleet: Session,
) -> None:
    """The firm has done 25 jobs a week for twelve weeks, and has three vans now."""
    stock.add_place(fleet, "van 3", "van")
    assert vankit.van_kit(fleet, "van 3").weekly == pytest.approx(25 / 3, abs=0.2)
    idle = fleet._replace(now=fleet.now + timedelta(weeks=60))
    assert vankit.van_kit(idle, "van 3").weekly == pytest.approx(300 / 72 / 3, abs=0.1)


def test_a_kit_changes_no_min_max(fleet: Session) -> None:
    before = minmax(fleet).parts
    vankit.van_kit(fleet, SECOND)
    assert minmax(fleet).parts == before


def test_filling_up_takes_what_the_store_has_once_and_can_be_undone(fleet: Session) -> None:
    stock.receive(fleet, "VAP-2", "1")
    before = held(fleet)
    kit, entry = vankit.fill_up(fleet, SECOND)
    assert entry
    assert held(fleet) == {("VAP-2", SECOND): before["VAP-2", "store"]}
    lacking = {line.part.part: line.lacking for line in kit.lines}
    assert lacking["GKT-1"] >= 1
    assert vankit.fill_up(fleet, SECOND)[1] is None
    job.undo(fleet, entry.id)
    assert held(fleet) == before


def test_no_kit_is_made_of_nothing(session: Session) -> None:
    with pytest.raises(BadValue, match="no job is finished yet"):
        vankit.van_kit(session)
    with pytest.raises(NotFound):
        vankit.van_kit(session, "store")


def test_parts_go_from_van_to_van_in_one_act_worth_what_they_were_and_back_again(fleet: Session) -> None:
    stock.receive(fleet, "VAP-2", "2", place="van")
    stock.receive(fleet, "GKT-1", "3", place="van", cost=30_001)
    before = held(fleet)
    done = stock.carry(fleet, [("VAP-2", "1", "van"), ("GKT-1", "3", "van")], target=SECOND)
    after = held(fleet)
    assert {key: qty for key, (qty, _) in after.items()} == {
        ("VAP-2", "van"): 1, ("VAP-2", SECOND): 1, ("GKT-1", SECOND): 3}  # fmt: skip
    assert sum(value for _, value in after.values()) == sum(value for _, value in before.values())
    job.undo(fleet, done.entry.id)
    assert held(fleet) == before


def test_a_van_that_had_not_enough_is_told_of(fleet: Session) -> None:
    done = stock.carry(fleet, [("VAP-2", "1", "van")], target=SECOND)
    assert len(done.warnings) == 1
    assert "not enough VAP-2 in van" in done.warnings[0]


def book(session: Session, name: str, **changed: Any) -> Job:
    plain = Job(name, session.today + timedelta(days=1), "09:00", "AAA", "heat-source")
    return booking.add_booking(session, plain._replace(**changed))


def test_a_load_out_says_which_van_has_what_no_store_does(fleet: Session) -> None:
    book(fleet, "J1")
    stock.receive(fleet, "VAP-2", "1", place=SECOND)
    found = morning.load_out(fleet, fleet.today + timedelta(days=1))
    assert [(one.part.part, one.van, one.on_hand, one.spare) for one in found.elsewhere] == [("VAP-2", SECOND, 1, 1)]
    stock.receive(fleet, "VAP-2", "1")
    assert not morning.load_out(fleet, fleet.today + timedelta(days=1)).elsewhere


def test_what_vans_share_of_a_day_says_the_same_as_each_by_itself_in_any_order(fleet: Session) -> None:
    day = fleet.today + timedelta(days=1)
    at = (("van", "heat-source", "08:00"), (SECOND, "heat-source", "09:00"), (SECOND, "clean", "13:00"))
    for number, (van, kind, time) in enumerate(at):
        book(fleet, f"S{number}", van=van, job_type=kind, time=time)
    stock.receive(fleet, "VAP-2", "1")
    shared = morning.shared_by_vans(fleet, day)
    for van in (SECOND, "van", SECOND):
        assert morning.load_out(fleet, day, van=van, shared=shared) == morning.load_out(fleet, day, van=van)


def test_what_another_vans_own_jobs_may_take_is_not_to_spare(fleet: Session) -> None:
    book(fleet, "J1")
    book(fleet, "J2", van=SECOND)
    stock.receive(fleet, "VAP-2", "1", place=SECOND)
    found = morning.load_out(fleet, fleet.today + timedelta(days=1))
    assert [(one.van, one.on_hand, one.spare) for one in found.elsewhere if one.part.part == "VAP-2"] == [
        (SECOND, 1, 0)
    ]


def test_where_names_every_place_order_booking_and_number(fleet: Session) -> None:
    stock.receive(fleet, "VAP-1", "1", place=SECOND)
    stock.receive(fleet, "VAP-2", "2")
    number = drafted(fleet, {"VAP-2": 3})
    book(fleet, "J1")
    book(fleet, "J2", job_type="clean")
    found = where(fleet, "VAP-2")
    assert [(one.part.part, one.place, one.qty) for one in found.lies] == [("VAP-2", "store", 2), ("VAP-1", SECOND, 1)]
    assert [(one.order_no, one.part.part, one.qty) for one in found.comes] == [(number, "VAP-2", 3)]
    assert [one.job.job for one in found.takes] == ["J1"]
    assert found.takes[0].probability > 0.8
    assert [(one.part.part, one.why) for one in found.stands_in] == [
        ("VAP-1", "older, replaced by VAP-2: use it up first")
    ]


def test_the_nearest_is_the_own_van_then_a_store_then_a_van_then_what_can_be_bought(fleet: Session) -> None:
    assert where(fleet, "SNS-1").nearest[0].startswith("buy SNS-1 from DAY: order by ")
    stock.receive(fleet, "SNS-1", "2", place=SECOND)
    assert where(fleet, "SNS-1").nearest[0] == f"{SECOND} has 2 x SNS-1: no job of its own today is likely to take it"
    stock.receive(fleet, "SNS-1", "1")
    assert where(fleet, "SNS-1").nearest[:2] == (
        "store has 1 x SNS-1", f"{SECOND} has 2 x SNS-1: no job of its own today is likely to take it")  # fmt: skip
    assert where(fleet, "SNS-1", van=SECOND).nearest[0] == f"aboard {SECOND}: 2 x SNS-1"


def test_another_vans_jobs_of_today_are_told_beside_what_it_has(fleet: Session) -> None:
    stock.receive(fleet, "VAP-2", "1", place=SECOND)
    book(fleet, "J9", van=SECOND, date=fleet.today, time="15:00")
    assert where(fleet, "VAP-2").nearest[0] == f"{SECOND} has 1 x VAP-2: its own today may take 1 (J9 15:00)"


def test_where_refuses_what_is_no_part_and_what_is_no_van(fleet: Session) -> None:
    with pytest.raises(NotFound):
        where(fleet, "no such thing")
    with pytest.raises(NotFound):
        where(fleet, "VAP-2", van="store")

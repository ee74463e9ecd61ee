"""Cash against jobs finished: the curve rises, no levels lie above it, and a little more buys what it says."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from itertools import pairwise

import pytest

from tests.routines.orders import sent
from tests.routines.weeks import change_part, fill_weeks
from vanstock.kit.levels import outcome
from vanstock.kit.optimism import discounted, to_expect
from vanstock.model import Job
from vanstock.quantity import value_of
from vanstock.routines import booking, levels, stock
from vanstock.routines.curve import Buys, Curve, Spot, curve, told_spots
from vanstock.routines.levels import Aim, plan_levels
from vanstock.routines.past import read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting

Open = Callable[..., Session]


@pytest.fixture
def busy(session: Session) -> Session:
    fill_weeks(session)
    return session


def test_the_curve_rises_in_cash_and_in_jobs_from_nothing_to_the_most_that_can_be_promised(busy: Session) -> None:
    found = curve(busy, 0)
    assert found.points[0].cash == 0
    assert found.points[0].completion < 0.05  # nearly every job takes fluid
    # 80 finished jobs, and a usual table worth 20 more: Laplace's rule of succession.
    assert found.points[-1].completion == pytest.approx(101 / 102)
    assert len(found.points) > 10
    for before, after in pairwise(found.points):
        assert before.cash < after.cash
        assert before.completion < after.completion
    assert found.target == 0.95


def finished_by(found: Curve, spot: Spot) -> float:
    """The most that the curve's corners finish with at least as much cash: no levels of so much cash finish more."""
    enough = (corner.completion for corner in found.points if corner.cash >= spot.cash)
    return next(enough, found.points[-1].completion)


@pytest.mark.parametrize("aim", [Aim(0.8), Aim(0.95), Aim(cash=30_000), Aim(cash=61_000)])
def test_no_levels_lie_above_the_corners(busy: Session, aim: Aim) -> None:
    found, chosen = curve(busy, 0), levels.minmax(busy, "", aim)
    assert chosen.completion is not None
    assert chosen.completion <= finished_by(found, Spot(chosen.cash, chosen.completion)) + 1e-9


def test_minmax_and_the_curve_tell_the_same_of_todays_levels(busy: Session) -> None:
    found, told = curve(busy, 0), levels.minmax(busy)
    assert found.levels is not None
    assert found.levels.completion == pytest.approx(told.completion)
    assert found.levels.cash == pytest.approx(told.cash, abs=len(told.parts))
    assert found.levels.completion <= finished_by(found, found.levels) + 1e-9
    change_setting(busy, "target", "0.6")
    assert curve(busy, 0).target == 0.6
    assert curve(busy, 0).levels != found.levels


def test_stock_is_marked_at_what_it_is_worth_with_what_is_on_order(busy: Session) -> None:
    assert curve(busy, 0).stock == Spot(0, curve(busy, 0).points[0].completion)
    for part, qty in (("FLU-1", "25L"), ("SNS-1", "2"), ("GLV-1", "50")):
        stock.receive(busy, part, qty)
    found = curve(busy, 0)
    assert found.stock is not None
    assert found.stock.cash == 25 * 560 + 2 * 4_720 + 50 * 14
    assert 0.3 < found.stock.completion <= finished_by(found, found.stock)
    sent(busy, {"SNS-1": 1, "GKT-1": 4})
    ordered = curve(busy, 0).stock
    assert ordered is not None
    assert ordered.cash == found.stock.cash + 4_720 + 4 * 385
    assert ordered.completion > found.stock.completion


def test_stock_today_is_judged_by_what_there_is_and_no_more(busy: Session) -> None:
    """One job in five takes one sensor: with the fluid of a hundred jobs all but those finish, whatever a review would
    order at a time; and what a job finds when stock is brought up to it each week is counted by hand."""
    stock.receive(busy, "FLU-1", "300L")
    for part in ("VAP-2", "GKT-1", "BLT-1"):
        stock.receive(busy, part, "50")
    before = curve(busy, 0).stock
    assert before is not None
    without = plan_levels(busy, read_past(busy)).coming.never_above_its_level()
    place = [shelf.group for shelf in without.shelves].index("SNS-1")
    takes = without.wanted.part == place
    said = 1 - int(takes.sum()) / without.wanted.jobs
    assert before.completion == pytest.approx(to_expect(said, 80, usual=20))
    stock.receive(busy, "SNS-1", "1")
    after = curve(busy, 0).stock
    assert after is not None
    lacking = int((without.wanted.level[takes] > 1).sum())
    assert after.completion == pytest.approx(to_expect(1 - lacking / without.wanted.jobs, 80, usual=20))


def test_stock_counts_wherever_it_lies_and_under_its_old_number_too(busy: Session, new_session: Open) -> None:
    other = new_session("other")
    fill_weeks(other)
    stock.add_place(other, "van2", "van")
    for part, place in (("VAP-2", "van"), ("VAP-2", "store"), ("FLU-1", "van"), ("FLU-1", "store")):
        stock.receive(busy, part, "1" if part == "VAP-2" else "10L", place=place)
    for part, place in (("VAP-1", "van2"), ("VAP-2", "van"), ("FLU-1", "van2"), ("FLU-1", "van")):
        stock.receive(other, part, "10L" if part == "FLU-1" else "1", place=place)
    assert curve(busy, 0).stock == curve(other, 0).stock


def test_more_cash_buys_rises_that_cost_no_more_and_finish_what_is_said(busy: Session) -> None:
    past = read_past(busy)
    plan = plan_levels(busy, past)
    parts, gains = past.catalogue.parts, []
    for pence in (0, 500, 5_000, 20_000):
        more = curve(busy, pence).more
        assert more.cash == pence
        assert more.spent <= pence
        risen = dict(plan.chosen.levels)
        for part, qty in more.parts:
            assert qty > 0
            risen[part.part] += qty
        share, cash = outcome(plan.coming.stream, risen)
        assert cash == plan.chosen.cash + more.spent
        assert more.completion == pytest.approx(to_expect(share, 80, usual=20))
        assert more.gained == pytest.approx(discounted(share, 80) - discounted(plan.chosen.completion, 80))
        worth = sum(value_of(qty, part.unit, parts[part.part].cost) for part, qty in more.parts)
        assert worth <= more.spent + len(more.parts)
        gains.append(more.gained)
    assert gains == sorted(gains)
    assert gains[0] < gains[-1]
    assert curve(busy, 0).more.parts == ()


def test_more_cash_leaves_pins_and_shelf_lives_alone(busy: Session) -> None:
    levels.pin(busy, "SNS-1", "0", "1")
    change_part(busy, "FLU-1", shelf_life_days=7)
    assert not {part.part for part, _ in curve(busy, 200_000).more.parts} & {"SNS-1", "FLU-1"}


def test_pinned_stock_is_in_every_point_and_what_it_loses_is_lost_everywhere(busy: Session) -> None:
    free = curve(busy, 0)
    levels.pin(busy, "HOS-1", "5", "10")
    levels.pin(busy, "SNS-1", "0", "0")
    found = curve(busy, 0)
    assert found.points[0].cash == 10 * 710
    assert found.points[-1].completion < 0.9 < free.points[-1].completion


def test_nothing_is_marked_where_no_job_is_known(new_session: Open) -> None:
    for name, filled in (("empty", False), ("bare", True)):
        found = curve(new_session(name, filled=filled), 10_000)
        assert (found.points, found.levels, found.stock, found.more.parts) == ((), None, None, ())
        assert (found.more.completion, found.more.spent, found.more.gained) == (None, 0, 0)


def test_bookings_and_a_usual_table_give_a_curve(session: Session) -> None:
    for number in range(6):
        day = session.today + timedelta(days=7 * number)
        booking.add_booking(session, Job(f"N{number}", day, "09:00", "AAA", "heat-source"))
    found = curve(session, 0)
    assert found.points[-1].completion == pytest.approx(21 / 22)  # no job is finished; the table is worth 20
    assert found.levels is not None
    assert found.levels.cash > 0


def test_a_spot_that_reads_the_same_as_another_is_told_once_with_the_words_of_both() -> None:
    corners = (Spot(0, 0.1), Spot(500, 0.72), Spot(900, 0.96))
    nothing = Buys(0, (), None, 0, 0.0)
    on_a_corner = Curve(corners, Spot(900, 0.9600001), Spot(500, 0.72), 0.95, nothing)
    assert [words for _, words in told_spots(on_a_corner)] == ["", "stock today, if kept so", "min and max today"]
    both = Curve(corners, Spot(500, 0.72), Spot(500, 0.72), 0.95, nothing)
    assert [words for _, words in told_spots(both)] == ["", "min and max today; stock today, if kept so", ""]
    beside = Curve(corners, Spot(901, 0.96), Spot(500, 0.70), 0.95, nothing)
    assert len(told_spots(beside)) == 5

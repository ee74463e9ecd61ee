"""Min and max for whole jobs: what is aimed at, pins, levels kept steady from list to list, and why they are so."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.routines.weeks import bring, change_part, fill_weeks, later, level, make_list
from vanstock.errors import NotFound
from vanstock.kit.levels import outcome
from vanstock.kit.optimism import discounted
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Job, MinMax, Part, Used
from vanstock.routines import booking, levels
from vanstock.routines.curve import curve
from vanstock.routines.levels import OWN_TARGET, Aim, Plan, in_thousand, plan_levels
from vanstock.routines.levelwhy import level_why
from vanstock.routines.past import read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting

Open = Callable[..., Session]
PARTS = ("VAP-2", "GKT-1", "BLT-1", "SNS-1", "FLU-1", "HOS-1", "GLV-1")


@pytest.fixture
def busy(session: Session) -> Session:
    fill_weeks(session)
    return session


def plan(session: Session, aim: Aim = OWN_TARGET) -> Plan:
    return plan_levels(session, read_past(session), aim)


def of_all(session: Session, aim: Aim = OWN_TARGET) -> dict[str, tuple[int, int]]:
    return {part.part: (found.min, found.max) for part, found in levels.minmax(session, "", aim).parts}


# What is aimed at.


def test_the_target_is_reached_on_the_coming_jobs_and_expected_once_the_past_is_discounted(busy: Session) -> None:
    found, known = levels.minmax(busy), plan(busy)
    assert found.target == 0.95
    share, _ = outcome(known.coming.stream, known.chosen.levels)
    assert share == pytest.approx(known.chosen.completion)
    assert found.completion is not None
    assert 0.945 < found.completion < share


@pytest.mark.parametrize("share", [0.5, 0.7, 0.9, 0.97])
def test_a_share_of_jobs_asked_for_is_to_be_expected(busy: Session, share: float) -> None:
    found = levels.minmax(busy, "", Aim(share))
    assert found.target == share
    assert found.completion is not None
    assert share - 0.001 <= found.completion
    assert found.changed == ()


def test_more_jobs_never_cost_less(busy: Session) -> None:
    cash = [levels.minmax(busy, "", Aim(share)).cash for share in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)]
    assert cash == sorted(cash)
    assert cash[0] < cash[-1]


@pytest.mark.parametrize("pence", [0, 10_000, 30_000, 50_000, 80_000])
def test_a_bound_on_cash_is_kept_and_more_cash_never_finishes_fewer(busy: Session, pence: int) -> None:
    found, more = levels.minmax(busy, "", Aim(cash=pence)), levels.minmax(busy, "", Aim(cash=pence + 5_000))
    assert found.cash <= pence
    assert found.target is None
    assert found.completion is not None
    assert more.completion is not None
    assert found.completion <= more.completion


def test_of_a_share_and_a_bound_the_one_that_is_reached_first_holds(busy: Session) -> None:
    assert of_all(busy, Aim(0.9, 200_000)) == of_all(busy, Aim(0.9))
    assert of_all(busy, Aim(0.99, 30_000)) == of_all(busy, Aim(cash=30_000))


def test_a_target_that_a_pin_puts_out_of_reach_shows_in_what_is_to_be_expected(busy: Session) -> None:
    levels.pin(busy, "SNS-1", "0", "0")
    found = levels.minmax(busy)
    assert found.completion is not None
    assert found.completion < found.target - 0.1  # type: ignore[operator]


def test_the_firms_own_target_is_its_setting(busy: Session) -> None:
    change_setting(busy, "target", "0.8")
    assert levels.minmax(busy).target == 0.8
    assert of_all(busy) == of_all(busy, Aim(0.8))
    assert levels.minmax(busy).cash < levels.minmax(busy, "", Aim(0.95)).cash


def test_every_min_and_max_is_what_a_review_can_order_in_whole_packs(busy: Session) -> None:
    known = catalogue.read_catalogue(busy.ledger).parts
    for part, (low, high) in of_all(busy).items():
        assert (high - low) % known[part].pack_size == 0
        assert (low < high) if high else (low == 0)


@pytest.mark.parametrize("share", [0.8, 0.95])
def test_a_part_named_by_itself_has_the_levels_it_has_among_all(busy: Session, share: float) -> None:
    every = of_all(busy, Aim(share))
    assert {part: level(busy, part, Aim(share)) for part in ("SNS-1", "VAP-1", "FLU-1")} == {
        "SNS-1": every["SNS-1"], "VAP-1": every["VAP-2"], "FLU-1": every["FLU-1"],
    }  # fmt: skip
    with pytest.raises(NotFound):
        levels.minmax(busy, "flux capacitor")


def test_an_order_line_that_costs_nothing_makes_a_pack_at_a_time(busy: Session) -> None:
    low, high = level(busy, "GKT-1")
    assert high - low > 1
    change_setting(busy, "line_cost", "0")
    low, high = level(busy, "GKT-1")
    assert high - low == 1
    change_setting(busy, "line_cost", "2.00")
    change_setting(busy, "holding_percent", "5")
    low, high = level(busy, "GKT-1")
    assert high - low > 3


# Little is known.


def test_an_empty_ledger_has_no_levels_and_says_that_no_job_is_known(new_session: Open) -> None:
    found = levels.minmax(new_session("empty", filled=False))
    assert found == levels.Levels(0.95, None, 0, (), (), surest=0.5)


@pytest.mark.parametrize("aim", [OWN_TARGET, Aim(0.9), Aim(cash=10_000), Aim(0.9, 10_000)])
def test_a_catalogue_without_jobs_keeps_nothing(session: Session, aim: Aim) -> None:
    found = levels.minmax(session, "", aim)
    assert {part: (row.min, row.max) for part, row in of_parts(found).items()} == dict.fromkeys(PARTS, (0, 0))
    assert (found.completion, found.cash) == (None, 0)
    with pytest.raises(NotFound):
        level_why(session, "flux capacitor")
    assert level_why(session, "SNS-1").margin.taken == 0


def of_parts(found: levels.Levels) -> dict[str, MinMax]:
    return {part.part: row for part, row in found.parts}


def test_bookings_and_a_usual_table_are_enough_for_levels(session: Session) -> None:
    for number in range(8):
        day = session.today + timedelta(days=7 * (number // 2) + number % 2)
        booking.add_booking(session, Job(f"N{number}", day, "09:00", "AAA", "heat-source"))
    found = levels.minmax(session)
    rows = of_parts(found)
    assert found.completion is not None
    for part in ("VAP-2", "GKT-1", "BLT-1", "FLU-1"):
        assert rows[part].max > 0
    assert (rows["SNS-1"].max, rows["HOS-1"].max) == (0, 0)
    taken = level_why(session, "VAP-2").taken_by
    assert [(kind.family, kind.job_type) for kind in taken] == [("AAA", "heat-source")]
    assert taken[0].share == pytest.approx(0.88, abs=0.02)


# Pins.


@pytest.mark.parametrize("aim", [OWN_TARGET, Aim(0.99), Aim(cash=20_000)])
def test_pins_stay_whatever_is_aimed_at(busy: Session, aim: Aim) -> None:
    levels.pin(busy, "SNS-1", "3", "7")
    levels.pin(busy, "VAP-2", "0", "0")
    rows = of_parts(levels.minmax(busy, "", aim))
    assert (rows["SNS-1"].min, rows["SNS-1"].max, rows["SNS-1"].pinned) == (3, 7, True)
    assert (rows["VAP-2"].min, rows["VAP-2"].max, rows["VAP-2"].pinned) == (0, 0, True)


def test_what_only_goes_with_a_part_that_is_pinned_to_none_is_not_kept(busy: Session) -> None:
    assert level(busy, "GKT-1")[1] > 0
    levels.pin(busy, "VAP-2", "0", "0")
    assert level(busy, "GKT-1", Aim(0.5)) == (0, 0)


def test_a_pin_counts_in_the_cash_and_in_the_jobs(busy: Session) -> None:
    before = levels.minmax(busy, "", Aim(0.9))
    levels.pin(busy, "HOS-1", "5", "10")
    after = levels.minmax(busy, "", Aim(0.9))
    assert after.cash - before.cash == 10 * 710
    assert after.completion == pytest.approx(before.completion)


# Steady from list to list.


def finish_more(session: Session, number: int, *, sensors: int = 0) -> None:
    """One finished job more on the session's day, a clean of AAA with fluid."""
    made = Job(f"X{number}", session.today, "10:00", "AAA", "clean", status="done")
    bring(session, [made], [Used(made.job, "FLU-1", 2_500, 0), Used(made.job, "SNS-1", sensors, 0)])


def test_a_few_ordinary_jobs_after_a_list_move_no_level_though_they_would_without_it(busy: Session) -> None:
    make_list(busy)
    kept, anew = of_all(busy), []
    for days in range(1, 8):
        now = later(busy, days=days)
        if days in (2, 4):  # two jobs in the week, as in those before
            finish_more(later(now, days=-1), days)
        assert of_all(now) == kept
        assert levels.minmax(now).changed == ()
        anew.append(of_all(now, Aim(0.95)))
    assert any(found != kept for found in anew)


def test_without_a_list_levels_follow_the_jobs(busy: Session) -> None:
    finish_more(busy, 1)
    tomorrow = later(busy, days=1)
    assert of_all(tomorrow) == of_all(tomorrow, Aim(0.95))


def test_a_real_change_moves_a_level_and_says_what_was_needed_since(busy: Session) -> None:
    make_list(busy)
    before = level(busy, "SNS-1")
    for days in range(10):
        finish_more(later(busy, days=days), days, sensors=2)
    now = later(busy, days=10)
    found = levels.minmax(now)
    (change,) = [row for row in found.changed if row.part.part == "SNS-1"]
    assert change.since == busy.today
    assert (change.before.min, change.before.max) == before
    assert (change.now.min, change.now.max) == level(now, "SNS-1")
    assert change.now.min > before[0]
    assert change.why.startswith("20 needed since, 0.6 expected; ")
    assert [row.part.part for row in levels.minmax(now, "SNS-1").changed] == ["SNS-1"]
    assert levels.minmax(now, "VAP-2").changed == ()


def test_what_must_be_gained_before_a_level_moves_is_a_setting(busy: Session) -> None:
    make_list(busy)
    for days in range(4):
        finish_more(later(busy, days=days), days)
    now = later(busy, days=4)
    change_setting(now, "level_change_pays", "0")
    moving = {row.part.part for row in levels.minmax(now).changed}
    change_setting(now, "level_change_pays", "1000")
    assert levels.minmax(now).changed == ()
    assert moving


def test_a_dear_level_kept_steady_costs_at_most_one_job_in_two_hundred(busy: Session) -> None:
    make_list(busy)
    before = level(busy, "SNS-1")
    change_setting(busy, "level_change_pays", "100000")
    for days in range(10):
        finish_more(later(busy, days=days), days, sensors=3)
    now = later(busy, days=10)
    kept, anew = plan(now), plan(now, Aim(0.95))
    assert kept.chosen.completion >= anew.chosen.completion - 0.005 - 1e-9
    assert level(now, "SNS-1")[0] > before[0]


def test_a_pin_set_or_taken_off_since_the_list_is_told(busy: Session) -> None:
    levels.pin(busy, "BLT-1", "50", "60")
    make_list(busy)
    levels.pin(busy, "SNS-1", "5", "9")
    levels.unpin(busy, "BLT-1")
    told = {row.part.part: row.why for row in levels.minmax(busy).changed}
    assert told == {"SNS-1": "pinned by hand since", "BLT-1": "no longer pinned"}


def test_a_pin_outranks_what_the_last_list_had_in_the_sums_too(busy: Session) -> None:
    make_list(busy)
    low, high = level(busy, "BLT-1")
    levels.pin(busy, "BLT-1", str(low - 1), str(high - 1))
    assert plan(busy).chosen.levels["BLT-1"] == low


def test_a_part_unpinned_goes_back_to_the_level_worked_out(busy: Session) -> None:
    free = level(busy, "BLT-1")
    low, high = free
    levels.pin(busy, "BLT-1", str(low + 3), str(high + 3))
    make_list(busy)
    levels.unpin(busy, "BLT-1")
    assert level(busy, "BLT-1") == free


def test_what_is_ordered_at_a_time_does_not_move_by_less_than_moving_pays(busy: Session) -> None:
    change_setting(busy, "line_cost", "0.15")
    make_list(busy)
    known = plan(later(busy, days=9))
    held = [row.level for row in known.before.values() if row.level.max]
    assert held
    assert [known.coming.buying[row.part].quantity for row in held] == [row.max - row.min for row in held]


def test_a_list_of_a_later_day_is_not_known_yet(busy: Session) -> None:
    make_list(later(busy, days=5))
    assert level_why(busy, "SNS-1").before is None
    before = level_why(later(busy, days=6), "SNS-1").before
    assert before is not None
    assert before.at.startswith("2027-03-06")


# Why.


def test_the_kinds_of_job_add_up_to_what_the_level_does(busy: Session) -> None:
    for part in PARTS:
        found = level_why(busy, part)
        for share, kinds in (
            (found.margin.taken, found.taken_by),
            (found.margin.lost, found.lost),
            (found.margin.gained, found.gained),
        ):
            assert sum(kind.share for kind in kinds) == pytest.approx(share)
            assert [kind.share for kind in kinds] == sorted((kind.share for kind in kinds), reverse=True)
        assert (found.level.min, found.level.max) == level(busy, part)


def test_a_step_less_loses_and_one_more_finishes_what_is_said(busy: Session) -> None:
    known = plan(busy)
    said, cash = outcome(known.coming.stream, known.chosen.levels)
    share = discounted(said, len(read_past(busy).finished))
    for part in PARTS:
        found, now = level_why(busy, part), known.chosen.levels[part]
        step = found.margin.step
        more, more_cash = outcome(known.coming.stream, {**known.chosen.levels, part: now + step})
        taken = found.margin.taken
        assert min(expects(busy, more) - share, taken) == pytest.approx(found.margin.gained)
        if now:
            less, _ = outcome(known.coming.stream, {**known.chosen.levels, part: now - step})
            assert min(share - expects(busy, less), taken) == pytest.approx(found.margin.lost)
            assert more_cash - cash == found.margin.cash


def expects(session: Session, said: float) -> float:
    return discounted(said, len(read_past(session).finished))


def test_what_a_job_in_a_hundred_costs_is_what_more_jobs_to_be_expected_take_there(busy: Session) -> None:
    """By the curve: the slope between the two corners around the levels, in jobs to be expected."""
    change_setting(busy, "level_change_pays", "0")
    points, now = curve(busy, 0).points, plan(busy).chosen
    share = expects(busy, now.completion)
    at = next(i for i, spot in enumerate(points) if spot.completion >= share - 1e-12)
    low, high = points[at - 1], points[at]
    slope = (high.cash - low.cash) / (high.completion - low.completion) / 100
    assert level_why(busy, "SNS-1").hundredth_costs == pytest.approx(slope, rel=0.03)


def test_how_a_part_is_bought_is_told(busy: Session) -> None:
    sensor, fluid = level_why(busy, "SNS-1"), level_why(busy, "FLU-1")
    assert (sensor.supplier.supplier, sensor.weekday, sensor.comes_after) == ("DAY", 4, 1)
    assert (fluid.supplier.supplier, fluid.weekday, fluid.comes_after) == ("WEEK", 1, 7)
    assert fluid.buying.quantity % 5_000 == 0
    assert fluid.usable is not None
    assert sensor.usable is None
    assert (sensor.before, fluid.before) == (None, None)
    make_list(busy)
    before = level_why(busy, "SNS-1").before
    assert before is not None
    assert (before.level.min, before.level.max) == level(busy, "SNS-1")


def test_what_a_hundredth_of_jobs_costs_rises_with_the_share_aimed_at(busy: Session) -> None:
    costs = []
    for share in ("0.7", "0.9", "0.98"):
        change_setting(busy, "target", share)
        costs.append(level_why(busy, "SNS-1").hundredth_costs)
    assert None not in costs
    assert costs == sorted(costs)  # type: ignore[type-var]


# Cheap parts: pence for a step are rounded, the cash that is told is not.


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cost=st.integers(1, 3_000), pack=st.sampled_from([1, 7, 100]), pence=st.integers(500, 9_000))
def test_cash_bounded_is_cash_told_to_a_penny_a_part(session: Session, cost: int, pack: int, pence: int) -> None:
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("BLT-1", "bolt", "vaporiser bolt", cost=cost, pack_size=pack)])
    if not catalogue_has_jobs(session):
        fill_weeks(session, 10)
    found = levels.minmax(session, "", Aim(cash=pence))
    highs = of_parts(found)
    assert found.cash <= pence + highs["BLT-1"].max * 0.5 + len(PARTS)


def catalogue_has_jobs(session: Session) -> bool:
    return bool(read_past(session).finished)


def test_a_part_that_is_changed_is_bought_by_its_new_pack(busy: Session) -> None:
    change_part(busy, "SNS-1", pack_size=4)
    low, high = level(busy, "SNS-1")
    assert (high - low) % 4 == 0


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0"),
        (0.00004, "0"),
        (0.0001, "0.1"),
        (0.0004, "0.4"),
        (0.00194, "1.9"),
        (0.00196, "2"),
        (0.0024, "2"),
        (0.0123, "12"),
    ],
)
def test_so_many_of_a_thousand_have_a_tenth_below_two(share: float, said: str) -> None:
    assert in_thousand(share) == said

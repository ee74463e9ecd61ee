"""Lots with use-by dates, first expired first out: by hand, unit by unit, and against every other way to use them."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from vanstock.kit.lots import Lot, Remains, available, expired, expiring, next_out, remaining

MAY, JUNE, JULY = date(2027, 5, 1), date(2027, 6, 1), date(2027, 7, 1)
DAY = timedelta(days=1)


def test_the_lot_that_expires_first_is_used_first_and_one_without_a_date_last() -> None:
    """By hand: of 20 L 9 L are left; gone are 5 L of May, then 5 L of June and 1 L of the second June lot."""
    came = [Lot(5, JUNE, "a"), Lot(3), Lot(5, MAY), Lot(4, JUNE, "b"), Lot(3, JULY)]
    found = remaining(came, 9)
    assert found == Remains((Lot(3, JUNE, "b"), Lot(3, JULY), Lot(3)))
    assert next_out(found, JUNE) == Lot(3, JUNE, "b")
    assert next_out(found, JUNE + DAY) == Lot(3, JULY)


def test_the_use_by_date_is_the_last_day_of_use() -> None:
    found = remaining([Lot(5, MAY), Lot(4, JUNE), Lot(2)], 11)
    assert [expired(found, day) for day in (MAY, MAY + DAY, JUNE, JUNE + DAY, date.max)] == [0, 5, 5, 9, 9]
    assert [available(found, day) for day in (MAY, MAY + DAY, JUNE, JUNE + DAY)] == [11, 6, 6, 2]
    assert [expiring(found, today, JUNE + DAY) for today in (MAY, MAY + DAY, JUNE + DAY)] == [9, 4, 0]
    assert expiring(found, JUNE + DAY, MAY) == 0


def test_more_than_the_lots_know_is_of_unknown_age_and_less_than_none_is_nothing() -> None:
    found = remaining([Lot(5, MAY), Lot(0, MAY), Lot(-3, JUNE)], 8)
    assert found == Remains((Lot(5, MAY),), unknown=3)
    assert (available(found, JUNE), found.on_hand) == (3, 8)
    assert remaining([Lot(5, MAY)], 0) == remaining([Lot(5, MAY)], -4) == remaining([], 0) == Remains(())
    assert remaining([], 4) == Remains((), unknown=4)
    assert next_out(remaining([], 4), MAY) is None
    assert next_out(remaining([Lot(5, MAY)], 2), JUNE) is None


dates = st.one_of(st.none(), st.sampled_from([MAY, JUNE, JULY, date.max]))
lots = st.lists(st.builds(Lot, st.integers(-1, 4), dates, st.sampled_from("ab")), max_size=5)
days = st.dates(MAY - DAY, JULY + DAY)


def unit_by_unit(came: list[Lot], on_hand: int) -> list[tuple[date | None, str]]:
    """What is left, taking one unit after the other of the lot that expires first."""
    units = [(lot.use_by, lot.mark) for lot in came for _ in range(lot.qty)]
    while len(units) > max(on_hand, 0):
        dated = [use_by for use_by, _ in units if use_by is not None]
        goes = next(unit for unit in units if not dated or unit[0] == min(dated))
        units.remove(goes)
    return units


@given(lots, st.integers(-2, 25))
def test_what_is_left_is_what_is_left_unit_by_unit(came: list[Lot], on_hand: int) -> None:
    found = remaining(came, on_hand)
    left = [(lot.use_by, lot.mark) for lot in found.lots for _ in range(lot.qty)]
    assert sorted(left, key=str) == sorted(unit_by_unit(came, on_hand), key=str)
    assert found.on_hand == max(on_hand, 0)


@given(lots, st.integers(0, 8), days)
def test_no_other_way_to_use_the_units_leaves_fewer_expired(came: list[Lot], on_hand: int, day: date) -> None:
    few = [lot._replace(qty=min(lot.qty, 2)) for lot in came]
    units = [lot.use_by for lot in few for _ in range(lot.qty)]
    if on_hand <= len(units):
        ways = combinations(units, on_hand)
        least = min(sum(use_by is not None and use_by < day for use_by in way) for way in ways)
        assert expired(remaining(few, on_hand), day) == least


@given(lots, st.integers(-2, 25), days, days)
def test_expired_and_available_make_up_what_is_on_hand(came: list[Lot], on_hand: int, day: date, later: date) -> None:
    found = remaining(came, on_hand)
    assert expired(found, day) + available(found, day) == found.on_hand
    assert 0 <= available(found, day) <= found.on_hand
    if later >= day:
        assert expired(found, day) + expiring(found, day, later) == expired(found, later)
    known = [lot.use_by for lot in found.lots if lot.use_by]
    assert known == sorted(known)
    assert all(lot.qty > 0 for lot in found.lots)
    assert not (found.unknown and sum(max(lot.qty, 0) for lot in came) > sum(lot.qty for lot in found.lots))


@given(lots, st.integers(0, 25), st.integers(0, 25), st.integers(0, 25))
def test_using_some_and_then_some_more_is_using_both(came: list[Lot], first: int, second: int, third: int) -> None:
    low, middle, _ = sorted((first, second, third))
    known = sum(max(lot.qty, 0) for lot in came)
    between = remaining(came, min(middle, known))
    assert remaining(list(between.lots), min(low, known)) == remaining(came, min(low, known))

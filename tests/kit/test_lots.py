"""Lots with use-by dates, first expired first out: by hand, unit by unit, and as laws."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from vanstock.kit.lots import (
    Flow,
    Lot,
    Remains,
    Way,
    available,
    counted_against,
    expired,
    expiring,
    next_out,
    remaining,
)

APRIL, MAY, JUNE, JULY = date(2027, 4, 1), date(2027, 5, 1), date(2027, 6, 1), date(2027, 7, 1)
DAY = timedelta(days=1)


def came(qty: int, use_by: date | None = None) -> Flow:
    return Flow(APRIL, "came", qty, use_by)


def went(qty: int, day: date = APRIL, way: Way = "went") -> Flow:
    return Flow(day, way, qty)


def test_the_lot_that_expires_first_is_used_first_and_one_without_a_date_last() -> None:
    """By hand: of 20 L 9 L are left; gone are 5 L of May, then 6 L of June."""
    found = remaining([came(5, JUNE), came(3), came(5, MAY), came(4, JUNE), came(3, JULY), went(11)])
    assert found == Remains((Lot(3, JUNE), Lot(3, JULY)), 3)
    assert next_out(found, JUNE) == Lot(3, JUNE)
    assert next_out(found, JUNE + DAY) == Lot(3, JULY)
    assert remaining([came(5, JUNE), came(3), went(6)]) == Remains((), 2)


def test_what_has_expired_is_used_last_and_is_what_is_written_off_as_expired() -> None:
    lots = [came(5, MAY), came(5, JULY), came(2)]
    assert remaining([*lots, went(6, JUNE)]) == Remains((Lot(5, MAY),), 1)
    assert remaining([*lots, went(8, JUNE)]) == Remains((Lot(4, MAY),))
    assert remaining([*lots, went(6, JUNE, "expired")]) == Remains((Lot(4, JULY),), 2)


def test_the_use_by_date_is_the_last_day_of_use() -> None:
    found = remaining([came(5, MAY), came(4, JUNE), came(2)])
    assert [expired(found, day) for day in (MAY, MAY + DAY, JUNE, JUNE + DAY, date.max)] == [0, 5, 5, 9, 9]
    assert [available(found, day) for day in (MAY, MAY + DAY, JUNE, JUNE + DAY)] == [11, 6, 6, 2]
    assert [expiring(found, today, JUNE + DAY) for today in (MAY, MAY + DAY, JUNE + DAY)] == [9, 4, 0]
    assert expiring(found, JUNE + DAY, MAY) == 0
    assert next_out(remaining([came(5)]), MAY) is None
    assert remaining([came(5, MAY), went(1, MAY)]).lots == (Lot(4, MAY),)


def test_what_went_before_it_was_known_to_have_come_is_taken_from_what_comes_next() -> None:
    assert remaining([went(4), came(5, MAY)]) == Remains((Lot(1, MAY),))
    assert remaining([went(4), came(3)]) == remaining([went(4)]) == remaining([]) == Remains(())
    assert remaining([went(4), came(3), came(2, MAY)]) == Remains((Lot(1, MAY),))


def test_what_is_said_of_dates_changes_dates_and_not_how_much_there_is() -> None:
    said = [Flow(JUNE, "said", -9, JULY), Flow(JUNE, "said", 3, MAY)]
    assert remaining([came(5, JULY), came(1), *said]) == Remains((Lot(3, MAY),), 3)
    assert remaining([came(4), Flow(MAY, "said", 4, JUNE)]) == Remains((Lot(4, JUNE),))


dates = st.none() | st.sampled_from([MAY, JUNE, JULY])
days = st.dates(MAY - DAY, JULY + DAY)
arrivals = st.builds(Flow, days, st.just("came"), st.integers(0, 4), dates)
departures = st.builds(Flow, days, st.sampled_from(["went", "expired"]), st.integers(0, 5))
histories = st.lists(arrivals | departures, max_size=12).map(lambda flows: sorted(flows, key=lambda flow: flow.day))


def unit_by_unit(flows: list[Flow]) -> tuple[list[date | None], int]:
    """The slow version: every unit by itself, the one to take looked for each time; and what was taken in advance."""
    units: list[date | None] = []
    owed = 0
    for flow in flows:
        units += [flow.use_by] * flow.qty if flow.way == "came" else []
        owed += 0 if flow.way == "came" else flow.qty
        while owed and units:
            late: list[date | None] = [unit for unit in units if unit and unit < flow.day]
            fit: list[date | None] = [unit for unit in units if unit and unit >= flow.day]
            bare: list[date | None] = [unit for unit in units if unit is None]
            first: list[list[date | None]] = [late, fit, bare] if flow.way == "expired" else [fit, bare, late]
            pile = next(pile for pile in first if pile)
            units.remove(min(pile, key=lambda unit: unit or date.max))
            owed -= 1
    return units, owed


@given(histories)
def test_what_is_left_is_what_is_left_unit_by_unit(flows: list[Flow]) -> None:
    found, (units, _) = remaining(flows), unit_by_unit(flows)
    assert found.unknown == units.count(None)
    assert [lot.use_by for lot in found.lots for _ in range(lot.qty)] == sorted(unit for unit in units if unit)


@given(histories, days, days)
def test_expired_and_available_make_up_what_is_on_hand(flows: list[Flow], day: date, later: date) -> None:
    found = remaining(flows)
    net = sum(flow.qty if flow.way == "came" else -flow.qty for flow in flows)
    assert found.on_hand == max(net, 0)
    assert expired(found, day) + available(found, day) == found.on_hand
    assert 0 <= available(found, day) <= found.on_hand
    if later >= day:
        assert expired(found, day) + expiring(found, day, later) == expired(found, later)
    known = [lot.use_by for lot in found.lots]
    assert known == sorted(set(known))
    assert all(lot.qty > 0 for lot in found.lots)


@given(histories, st.integers(1, 6), days)
def test_no_later_lot_is_touched_while_an_earlier_one_that_has_not_expired_is_left(
    flows: list[Flow], qty: int, day: date
) -> None:
    then = max([day, *(flow.day for flow in flows)])
    before, after = remaining(flows), remaining([*flows, Flow(then, "went", qty)])
    left = {lot.use_by: lot.qty for lot in after.lots}
    touched = [lot.use_by for lot in before.lots if left.get(lot.use_by, 0) < lot.qty]
    fit = [lot.use_by for lot in before.lots if lot.use_by >= then]
    for used in touched:
        assert not [one for one in fit if left.get(one, 0) and (one < used or used < then)]
        assert used >= then or not after.unknown
    if after.unknown < before.unknown:
        assert not [one for one in fit if left.get(one, 0)]


@given(st.integers(-2, 20), st.lists(st.tuples(st.sampled_from("abcd"), st.integers(-3, 6)), unique_by=lambda p: p[0]))
def test_expired_stock_is_counted_somewhere_and_nowhere_twice(qty: int, held: list[tuple[str, int]]) -> None:
    found = counted_against(qty, held)
    there = {place: max(amount, 0) for place, amount in held}
    assert sum(found.values()) == min(max(qty, 0), sum(there.values()))
    assert all(0 < amount <= there[place] for place, amount in found.items())
    full = [found.get(place, 0) == there[place] for place, _ in held]
    assert all(full[: max((i for i, (place, _) in enumerate(held) if place in found), default=0)])

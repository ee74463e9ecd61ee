"""The lines most worth counting: scores by hand, by law, and against picking one after the other."""

from __future__ import annotations

import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from vanstock.kit.counting import (
    Countable,
    PastCount,
    Repeated,
    in_words,
    repeated_differences,
    risk,
    score,
    stake,
    worth_counting,
)

AGREED, MORE, LESS = PastCount(0, 0), PastCount(2, 900), PastCount(-1, -450)


def test_the_score_of_a_line_worked_by_hand() -> None:
    """Three movements and 40 days are an exposure of 5. Never wrong: 1 - .98^5 = .0960792. Wrong in one count of two,
    by 9.00: a rate of .02 + .08 / 4 = .04, 1 - .96^5 = .1846273, and 50.00 + 9.00 at stake: 10.89."""
    calm = Countable("A", "van", 5_000, 3, (AGREED, AGREED), 40)
    assert risk(calm) == pytest.approx(0.0960792, abs=5e-8)
    assert score(calm) == pytest.approx(480.396, abs=5e-4)
    restless = calm._replace(past=(MORE, AGREED))
    assert risk(restless) == pytest.approx(0.1846273, abs=5e-8)
    assert stake(restless) == 5_900
    assert score(restless) == pytest.approx(1089.301, abs=5e-4)


def test_a_line_never_counted_is_as_one_counted_a_year_ago() -> None:
    never = Countable("A", "van", 5_000, 2)
    assert risk(never) == risk(never._replace(working_days=250)) == pytest.approx(1 - 0.98**14.5)


def test_lines_to_count_come_first_then_the_rest_by_score_and_none_that_is_not_worth_it() -> None:
    rows = [
        Countable("CLIP", "van", 40, 30, working_days=200), Countable("HEAT", "van", 40_000, 4, working_days=60),
        Countable("SENS", "van", 30_000, 1, working_days=10), Countable("NEG", "van", 0, 2, (), 5, count_needed=True),
        Countable("JUST", "van", 90_000, 0, working_days=0), Countable("NEW", "store", 1_000, 1),
    ]  # fmt: skip
    found = worth_counting(rows)
    assert [line.part for line in found] == ["NEG", "HEAT", "SENS", "NEW"]
    assert [line.why for line in found] == [
        "marked: the ledger went below zero; last counted 5 working days ago; moved twice since",
        "last counted 60 working days ago; moves often, 4 times since; worth a lot",
        "last counted 10 working days ago; moved once since",
        "never counted; moved once",
    ]
    assert [line.part for line in worth_counting(rows, most=2)] == ["NEG", "HEAT"]
    assert worth_counting(rows, most=0) == worth_counting([]) == []
    past = (MORE, LESS, AGREED)
    (wrong,) = worth_counting([rows[1]._replace(past=past)])
    assert wrong.why.startswith("2 of 3 counts disagreed; last counted 60 working days ago")
    often = worth_counting([row._replace(movements=9) for row in rows[:1]], least=1)
    assert [line.why for line in often] == [
        "last counted 200 working days ago; moves often, 9 times since; worth a lot"
    ]


def test_three_of_the_last_five_counts_that_disagreed_are_pointed_out() -> None:
    def row(part: str, *past: PastCount) -> Countable:
        return Countable(part, "van", 0, 0, past, 1)

    rows = [
        row("ONE-WAY", LESS, LESS, AGREED, LESS), row("BOTH", MORE, LESS, LESS, AGREED, MORE),
        row("LONG-AGO", LESS, LESS, LESS, AGREED, AGREED, AGREED), row("TWICE", MORE, MORE), row("NEVER"),
    ]  # fmt: skip
    assert repeated_differences(rows) == [
        Repeated("BOTH", "van", 4, 5, 2, one_way=False), Repeated("ONE-WAY", "van", 3, 4, -3, one_way=True),
    ]  # fmt: skip


def test_where_to_look_depends_on_the_way_the_counts_go() -> None:
    """Common practice, no source."""
    short = Repeated("A", "van", 3, 4, -3, one_way=True)
    assert in_words(short) == (
        "short at 3 of the last 4 counts: look for a leak, a wrong pack size, or parts fitted and not logged"
    )
    assert in_words(short._replace(difference=3)).startswith("over at 3 of the last 4 counts: look for goods not taken")
    assert in_words(short._replace(one_way=False)).startswith("wrong both ways at 3 of the last 4 counts")
    row = Countable("A", "van", 900, 2, (LESS, LESS, AGREED, LESS), 9)
    assert worth_counting([row], least=0)[0].why.startswith(in_words(short))


past_counts = st.lists(
    st.tuples(st.integers(-5, 5), st.integers(0, 900)).map(lambda pair: PastCount(pair[0], pair[0] * pair[1])),
    max_size=7,
).map(tuple)
countables = st.builds(
    Countable, st.sampled_from("ABCDEF"), st.sampled_from(["store", "van"]), st.integers(-2_000, 60_000),
    st.integers(0, 40), past_counts, st.one_of(st.none(), st.integers(0, 400)), st.booleans(),
)  # fmt: skip
sheets = st.lists(countables, max_size=12, unique_by=lambda row: (row.part, row.place))


@given(sheets, st.integers(0, 10), st.integers(0, 2_000))
def test_the_lines_are_those_picked_one_after_the_other(rows: list[Countable], most: int, least: int) -> None:
    left = list(rows)
    picked: list[tuple[str, str]] = []
    while left and len(picked) < most:
        asked = [row for row in left if row.count_needed]
        others = [row for row in left if score(row) >= least and score(row) > 0]
        pool = asked or others
        if not pool:
            break
        top = max(score(row) for row in pool)
        first = min((row for row in pool if score(row) == top), key=lambda row: (row.part, row.place))
        picked.append((first.part, first.place))
        left.remove(first)
    found = worth_counting(rows, most=most, least=least)
    assert [(line.part, line.place) for line in found] == picked


@given(sheets, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_makes_no_difference(rows: list[Countable], dice: random.Random) -> None:
    mixed = list(rows)
    dice.shuffle(mixed)
    assert worth_counting(mixed) == worth_counting(rows)
    assert repeated_differences(mixed) == repeated_differences(rows)


@given(countables, st.integers(1, 20))
def test_more_of_anything_that_can_be_wrong_never_scores_less(row: Countable, more: int) -> None:
    assert 0 <= risk(row) < 1
    assert score(row._replace(movements=row.movements + more)) >= score(row)
    assert score(row._replace(value=abs(row.value) + more)) >= score(row)
    if row.working_days is not None:
        assert score(row._replace(working_days=row.working_days + more)) >= score(row)


@given(countables, st.integers(0, 6))
def test_a_count_that_disagreed_instead_of_agreeing_never_scores_less(row: Countable, place: int) -> None:
    assume(place < len(row.past))
    size = max((abs(count.value) for count in row.past), default=0)
    agreed = row._replace(past=(*row.past[:place], AGREED, *row.past[place + 1 :]))
    wrong = row._replace(past=(*row.past[:place], PastCount(1, size), *row.past[place + 1 :]))
    assert risk(wrong) >= risk(agreed)
    assert score(wrong) >= score(agreed) - 1e-9


@given(countables)
def test_a_line_just_counted_has_nothing_to_find(row: Countable) -> None:
    fresh = row._replace(movements=0, working_days=0, count_needed=False)
    assert score(fresh) == 0
    assert worth_counting([fresh], least=0) == []


@given(sheets)
def test_what_is_pointed_out_disagreed_at_least_three_times_of_five(rows: list[Countable]) -> None:
    found = {(one.part, one.place): one for one in repeated_differences(rows)}
    for row in rows:
        last = [count.difference for count in list(row.past)[::-1][:5]]
        one = found.get((row.part, row.place))
        assert (one is not None) == (len([n for n in last if n]) >= 3)
        if one:
            assert one.difference == sum(last)
            assert one.one_way == (all(n >= 0 for n in last) or all(n <= 0 for n in last))

"""Weeks gone through: small ones worked by hand, a slow obvious version, and laws of what comes in and goes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.kit.replay import Firm, Item, Levels, Outcome, Stretch, Terms, play

POUND = 100_000
"""Pence for 1,000 pieces at a pound each."""
Job = tuple[int, Mapping[str, int]]


def firm_of(
    *, items: Mapping[str, Item] | None = None, terms: Terms | None = None, reviews: Sequence[int] = (4, 9)
) -> Firm:
    """One supplier of A at a pound each, a day after a review on Fridays."""
    given_terms = terms or Terms(0, None)
    return Firm(items or {"A": Item(1, POUND, "S", 1)}, {"S": given_terms}, {"S": frozenset(reviews)})


def gone_through(firm: Firm, jobs: Sequence[Job], stock: Mapping[str, int], **levels: tuple[int, int]) -> Outcome:
    return play(firm, Stretch(10, jobs, stock), lambda _: levels)


def one(**needs: int) -> Mapping[str, int]:
    return needs


# Weeks worked by hand


def test_a_fortnight_worked_by_hand() -> None:
    """One on the shelf is taken on Monday; Thursday's job owes one; Friday orders three, of which one is owed, there
    on Monday, when one is taken; next Friday orders one."""
    jobs = [(0, one(A=1)), (3, one(A=1)), (5, one(A=1))]
    found = gone_through(firm_of(terms=Terms(500, None)), jobs, {"A": 1}, A=(1, 2))
    assert found == Outcome(3, 2, 0, 1, (0, 0, 0, 0, 0, 100, 100, 100, 100, 100), 2, 2, 1_000)
    assert (found.completion, found.average_cash, found.peak_cash) == (2 / 3, 50.0, 100)


def test_a_review_comes_before_the_days_jobs() -> None:
    """Friday's job takes the last one after the review, which still saw two: nothing is ordered until next Friday."""
    found = gone_through(firm_of(), [(4, one(A=2)), (8, one(A=1))], {"A": 2}, A=(1, 2))
    assert (found.finished, found.second_visits, found.orders) == (1, 1, 1)
    assert found.cash == (200,) * 4 + (0,) * 6


@pytest.mark.parametrize(
    ("days", "finished"), [(0, (5, 6, 7, 8, 9)), (1, (5, 6, 7, 8, 9)), (2, (6, 7, 8, 9)), (5, (9,)), (6, ())]
)
def test_goods_are_there_so_many_days_after_the_review_before_the_days_jobs_one_at_least(
    days: int, finished: tuple[int, ...]
) -> None:
    firm = firm_of(items={"A": Item(1, POUND, "S", days)}, reviews=[4])
    for day in range(10):
        found = gone_through(firm, [(day, one(A=1))], {}, A=(0, 1))
        assert found.finished == (day in finished)
        assert found.orders == 1


def test_what_is_on_its_way_counts_and_is_not_ordered_again() -> None:
    """Two are ordered on the first day for the eighth; the job of the third day leaves none, but two to come."""
    firm = firm_of(items={"A": Item(1, POUND, "S", 7)}, reviews=range(8))
    found = gone_through(firm, [(2, one(A=1))], {"A": 1}, A=(1, 3))
    assert (found.orders, found.lines) == (1, 1)
    assert found.cash == (100, 100, 0, 0, 0, 0, 0, 200, 200, 200)
    two = gone_through(firm, [(2, one(A=1)), (4, one(A=1))], {"A": 1}, A=(1, 3))
    assert (two.orders, two.second_visits) == (2, 1)


@pytest.mark.parametrize(("free_from", "carriage"), [(None, 500), (301, 500), (300, 0), (0, 0)])
def test_carriage_is_free_from_a_value_of_goods_on(free_from: int | None, carriage: int) -> None:
    found = gone_through(firm_of(terms=Terms(500, free_from), reviews=[4]), [], {}, A=(0, 3))
    assert (found.orders, found.carriage) == (1, carriage)


def test_carriage_is_for_all_lines_of_a_supplier_together_and_each_supplier_apart() -> None:
    items = {"A": Item(1, POUND, "S", 1), "B": Item(4, POUND, "S", 1), "C": Item(1, POUND, "T", 1)}
    firm = Firm(items, {"S": Terms(500, 600), "T": Terms(70, None)}, {"S": frozenset({4}), "T": frozenset({4, 5})})
    found = gone_through(firm, [(4, one(C=1))], {}, A=(0, 2), B=(0, 5), C=(0, 1))
    assert (found.orders, found.lines, found.carriage) == (3, 4, 140), "two A and four B are 6 pounds"
    apart = gone_through(firm, [], {"B": 1}, A=(0, 2), B=(0, 5), C=(0, 1))
    assert (apart.orders, apart.lines, apart.carriage) == (2, 2, 570)


def test_goods_worth_less_than_the_least_order_wait_for_a_later_review() -> None:
    """On the first Friday one is wanted at a pound, two pounds being the least; on the second three are."""
    jobs = [(0, one(A=1)), (6, one(A=1)), (8, one(A=1))]
    held_back = gone_through(firm_of(terms=Terms(500, None, 200)), jobs, {"A": 2}, A=(1, 2))
    assert (held_back.orders, held_back.lines, held_back.carriage) == (1, 1, 500)
    assert (held_back.finished, held_back.second_visits) == (2, 1)
    assert held_back.cash == (100,) * 6 + (0,) * 4
    just_enough = gone_through(firm_of(terms=Terms(500, None, 100)), jobs, {"A": 2}, A=(1, 2))
    assert (just_enough.orders, just_enough.finished) == (2, 3)


def test_what_is_owed_is_taken_from_the_next_goods_in_and_ordered_even_if_not_kept() -> None:
    """Three are owed on Tuesday; a pack of four comes on Monday and leaves one."""
    firm = firm_of(items={"A": Item(4, POUND, "S", 1)})
    found = gone_through(firm, [(1, one(A=3)), (6, one(A=1)), (7, one(A=1))], {}, B=(0, 9))
    assert (found.finished, found.second_visits, found.orders) == (1, 2, 2)
    assert found.cash == (0, 0, 0, 0, 0, 100, 0, 0, 0, 0)


def test_what_is_lacking_is_bought_over_the_counter_where_all_of_it_is_sold_over_one() -> None:
    """A is sold over a counter, B is not. The first job takes the A there is and buys one, so nothing is owed. The
    second lacks both, so that both are owed: two A and one B."""
    items = {"A": Item(1, POUND, "S", 1, counter=True), "B": Item(1, POUND, "S", 1)}
    firm = firm_of(items=items, reviews=[4])
    run = [(0, one(A=2, B=1)), (1, one(A=2, B=1)), (5, one(A=1))]
    first = gone_through(firm, run[:1], {"A": 1, "B": 1})
    assert (first.finished, first.counter_runs, first.second_visits, first.orders) == (0, 1, 0, 0)
    assert first.cash == (0,) * 10
    both = gone_through(firm, run[:2], {"A": 1, "B": 1})
    assert (both.counter_runs, both.second_visits, both.orders, both.lines) == (1, 1, 1, 2)
    assert both.cash == (0,) * 10, "what came in was owed"
    assert gone_through(firm, run, {"A": 1, "B": 1}).counter_runs == 2
    assert gone_through(firm, run, {"A": 4, "B": 9}).finished == 2, "the third job finds none left"


def test_a_counter_run_takes_what_is_there_of_the_rest() -> None:
    items = {"A": Item(1, POUND, "S", 1, counter=True), "B": Item(1, POUND, "S", 1)}
    found = gone_through(firm_of(items=items), [(0, one(A=1, B=2))], {"B": 5})
    assert (found.counter_runs, found.cash[0]) == (1, 300)


def test_a_counter_run_leaves_owed_what_was_owed_before() -> None:
    """Monday's job owes one A, since B was lacking too. Tuesday's review orders that and one to keep; Tuesday's job
    buys its own over the counter. On Friday two come in, of which one is owed."""
    items = {"A": Item(1, POUND, "S", 3, counter=True), "B": Item(1, POUND, "T", 1)}
    found = gone_through(firm_of(items=items, reviews=[1]), [(0, one(A=1, B=1)), (1, one(A=1))], {}, A=(0, 1))
    assert (found.counter_runs, found.second_visits, found.orders) == (1, 1, 1)
    assert found.cash == (0, 0, 0, 0, 100, 100, 100, 100, 100, 100)


def test_a_part_that_nobody_sells_is_lacking_for_good() -> None:
    found = gone_through(firm_of(), [(0, one(X=1)), (7, one(X=1, A=1))], {"A": 1}, A=(0, 1))
    assert (found.finished, found.counter_runs, found.second_visits) == (0, 0, 2)


def test_days_before_the_count_begins_run_but_do_not_count() -> None:
    jobs = [(0, one(A=1)), (3, one(A=1)), (5, one(A=1))]
    firm, levels = firm_of(terms=Terms(500, None)), {"A": (1, 2)}
    whole = play(firm, Stretch(10, jobs, {"A": 1}), lambda _: levels)
    late = play(firm, Stretch(10, jobs, {"A": 1}, counted_from=5), lambda _: levels)
    assert late == Outcome(1, 1, 0, 0, whole.cash[5:], 1, 1, 500)


def test_the_levels_of_a_review_are_those_in_force_on_its_day() -> None:
    asked = []

    def rule(day: int) -> Levels:
        asked.append(day)
        return {"A": (0, 1) if day < 5 else (2, 3)}

    found = play(firm_of(), Stretch(11, [], {}), rule)
    assert asked == [4, 9]
    assert found.cash == (0, 0, 0, 0, 0, 100, 100, 100, 100, 100, 300)


def test_nothing_to_do_is_all_done() -> None:
    assert play(firm_of(), Stretch(0, [], {}), lambda _: {}) == Outcome(0, 0, 0, 0, (), 0, 0, 0)
    nothing = play(firm_of(), Stretch(0, [], {}), lambda _: {})
    assert (nothing.completion, nothing.average_cash, nothing.peak_cash) == (1.0, 0.0, 0)
    assert gone_through(firm_of(), [(0, {})], {}).finished == 1


# Any stretch, the slow way and by its laws

DAYS = 12
GROUPS = "ABC"


class Course(NamedTuple):
    """A stretch to be gone through, with the levels in force before and from the middle on."""

    firm: Firm
    stretch: Stretch
    levels: tuple[dict[str, tuple[int, int]], dict[str, tuple[int, int]]]

    def rule(self, day: int) -> Levels:
        return self.levels[day >= DAYS // 2]


@st.composite
def courses(draw: st.DrawFn) -> Course:
    """A counter sells everything or nothing: what is owed and what is bought over it never meet."""
    counter = draw(st.booleans())
    items = {
        group: Item(
            draw(st.integers(1, 4)), draw(st.sampled_from([1_000, 2_500, 333])), draw(st.sampled_from("ST")),
            draw(st.integers(0, 4)), counter,
        )
        for group in GROUPS
    }  # fmt: skip
    terms = st.builds(Terms, st.integers(0, 9), st.none() | st.integers(0, 12), st.sampled_from([0, 0, 4]))
    days = st.frozensets(st.integers(0, DAYS - 1))
    firm = Firm(items, {name: draw(terms) for name in "ST"}, {name: draw(days) for name in "ST"})
    need = st.dictionaries(st.sampled_from(GROUPS), st.integers(1, 4), max_size=3)
    jobs = sorted(draw(st.lists(st.tuples(st.integers(0, DAYS - 1), need), max_size=10)), key=lambda job: job[0])
    stock = draw(st.dictionaries(st.sampled_from(GROUPS), st.integers(0, 6)))
    level = st.tuples(st.integers(0, 5), st.integers(4, 9)).map(lambda two: (two[0], two[0] + two[1]))
    levels = st.dictionaries(st.sampled_from(GROUPS), level)
    return Course(firm, Stretch(DAYS, jobs, stock, draw(st.integers(0, 4))), (draw(levels), draw(levels)))


def bought(position: int, levels: tuple[int, int] | None, pack: int) -> int:
    """Pack by pack: one and more while they fit when at or below min, and as many as are owed."""
    qty = 0
    if levels and position <= levels[0]:
        qty = pack
        while position + qty + pack <= levels[1]:
            qty += pack
    while position + qty < 0:
        qty += pack
    return qty


class Slow:
    """The same day by day, with every order kept as (day it comes, group, quantity) and looked through each time."""

    def __init__(self, course: Course) -> None:
        self.course, self.firm = course, course.firm
        self.stock = {group: course.stretch.stock.get(group, 0) for group in GROUPS}
        self.orders: list[tuple[int, str, int]] = []
        self.used, self.over_counter = (dict.fromkeys(GROUPS, 0) for _ in range(2))

    def outcome(self) -> Outcome:
        sums, cash = [0] * 7, []
        for day in range(DAYS):
            for comes, group, qty in self.orders:
                self.stock[group] += qty if comes == day else 0
            ordered = [self.review(day, name) for name in "ST" if day in self.firm.reviews[name]]
            visits = [self.visit(needs) for when, needs in self.course.stretch.jobs if when == day]
            if day >= self.course.stretch.counted_from:
                sums = [sum(column) for column in zip(sums, *ordered, *visits, strict=True)]
                cash.append(sum(max(self.stock[g], 0) * item.price // 1000 for g, item in self.firm.items.items()))
        return Outcome(sums[0], sums[1], sums[2], sums[3], tuple(cash), sums[4], sums[5], sums[6])

    def review(self, day: int, name: str) -> list[int]:
        lines = {}
        for group, item in self.firm.items.items():
            on_way = sum(qty for comes, other, qty in self.orders if other == group and comes > day)
            qty = bought(self.stock[group] + on_way, self.course.rule(day).get(group), item.pack)
            if item.supplier == name and qty:
                lines[group] = qty
        goods = sum(qty * self.firm.items[group].price // 1000 for group, qty in lines.items())
        terms = self.firm.terms[name]
        if not lines or goods < terms.least:
            return [0] * 7
        self.orders += [(day + (self.firm.items[group].comes_after or 1), group, qty) for group, qty in lines.items()]
        free = terms.free_from is not None and goods >= terms.free_from
        return [0, 0, 0, 0, 1, len(lines), 0 if free else terms.carriage]

    def visit(self, needs: Mapping[str, int]) -> list[int]:
        lacking = {group: qty - max(self.stock[group], 0) for group, qty in needs.items() if self.stock[group] < qty}
        counter = any(item.counter for item in self.firm.items.values())
        for group, qty in needs.items():
            over = lacking.get(group, 0) * counter
            self.stock[group] += over - qty
            self.used[group] += qty
            self.over_counter[group] += over
        return [1, not lacking, bool(lacking) and counter, bool(lacking) and not counter, 0, 0, 0]

    def balances(self) -> bool:
        """Whether stock is what there was, came in and was bought over a counter, less what was used."""
        start = self.course.stretch.stock
        came = {g: sum(qty for comes, other, qty in self.orders if other == g and comes < DAYS) for g in GROUPS}
        return self.stock == {g: start.get(g, 0) + came[g] + self.over_counter[g] - self.used[g] for g in GROUPS}


@settings(max_examples=60, deadline=None)
@given(courses())
def test_any_stretch_comes_to_what_following_it_the_slow_way_does(course: Course) -> None:
    followed = Slow(course)
    assert play(course.firm, course.stretch, course.rule) == followed.outcome()
    assert followed.balances()


@settings(max_examples=60, deadline=None)
@given(courses())
def test_with_enough_stock_every_job_is_finished(course: Course) -> None:
    total = {group: sum(needs.get(group, 0) for _, needs in course.stretch.jobs) for group in GROUPS}
    found = play(course.firm, course.stretch._replace(stock=total, counted_from=0), course.rule)
    assert found.finished == found.jobs == len(course.stretch.jobs)
    assert (found.counter_runs, found.second_visits, found.completion) == (0, 0, 1.0)
    assert len(found.cash) == DAYS


FAR, DIGITS = 5_000, 10_000
LATER = 6


def by_group(course: Course) -> tuple[Outcome, dict[str, list[int]]]:
    """A course with so much more of everything that nothing is ever lacking, gone through until all has come in, and
    the stock of each group at the end of each day less what it had more. Prices a place apart tell the groups apart."""
    items = {g: item._replace(price=1_000 * DIGITS**i) for i, (g, item) in enumerate(course.firm.items.items())}
    free = {name: Terms(0, None) for name in "ST"}
    stretch = Stretch(DAYS + LATER, course.stretch.jobs, {g: course.stretch.stock.get(g, 0) + FAR for g in GROUPS})

    def rule(day: int) -> Levels:
        return {group: (low + FAR, high + FAR) for group, (low, high) in course.rule(day).items()}

    found = play(course.firm._replace(items=items, terms=free), stretch, rule)
    stock = {group: [cash // DIGITS**i % DIGITS - FAR for cash in found.cash] for i, group in enumerate(GROUPS)}
    return found, stock


@settings(max_examples=60, deadline=None)
@given(courses())
def test_stock_changes_by_what_was_ordered_so_many_days_before_and_by_what_jobs_take_and_by_nothing_else(
    course: Course,
) -> None:
    """So stock and what is on its way rise only at a review: from at or below min to above it, never above max."""
    found, stock = by_group(course)
    lines = 0
    placed: set[tuple[int, str]] = set()
    for group, item in course.firm.items.items():
        wait, reviews = max(item.comes_after, 1), course.firm.reviews[item.supplier]
        used = [sum(n.get(group, 0) for day, n in course.stretch.jobs if day == today) for today in range(DAYS + LATER)]
        start = [course.stretch.stock.get(group, 0), *stock[group]]
        came = [start[day + 1] - start[day] + used[day] for day in range(DAYS + LATER)]
        assert all(qty >= 0 and qty % item.pack == 0 for qty in came)
        assert not any(qty and day - wait not in reviews for day, qty in enumerate(came))
        for day in sorted(reviews):
            ordered = came[day + wait]
            before = start[0] + sum(came[: day + wait]) - sum(used[:day])
            low, high = course.rule(day).get(group, (0, 0))
            assert ordered == 0 or before <= low
            if high and before <= low:
                assert low < before + ordered <= high
            lines += ordered > 0
            placed |= {(day, item.supplier)} if ordered else set()
    assert (found.lines, found.orders) == (lines, len(placed))


@settings(max_examples=60, deadline=None)
@given(courses())
def test_what_is_ordered_near_the_end_is_still_to_come(course: Course) -> None:
    """Going on past the end without reviews or jobs brings it in and changes nothing that was."""
    until = play(course.firm, course.stretch, course.rule)
    on = play(course.firm, course.stretch._replace(days=DAYS + LATER), course.rule)
    assert on._replace(cash=on.cash[: len(until.cash)]) == until
    after = on.cash[len(until.cash) - 1 :]
    assert all(less <= more for less, more in pairwise(after))

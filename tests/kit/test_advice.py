"""The one action that helps each job most, on small days made by hand, and laws."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kit.days import GROUPS, NOTHING, extras, job_needs, job_of, supplies
from vanstock.jobneeds import ComponentChoice, JobNeeds
from vanstock.kit.advice import LEAST_ADVISED, Advice, Supplies, advise
from vanstock.kit.draws import DayDraws, draw_day

NOBODY: Mapping[str, int] = {}
A = job_of((0.8, {"a": 1}))
EITHER = job_of((0.5, {"a": 1}), (0.4, {"b": 1}))
"""A job that takes one of two variants."""
Told = tuple[int, str, tuple[str, ...]]


def advised(
    jobs: Sequence[JobNeeds],
    *,
    now: Mapping[str, int] = NOBODY,
    load: Mapping[str, int] = NOBODY,
    comes: Mapping[str, int] = NOBODY,
    variants: Collection[str] = (),
) -> list[Advice]:
    """The advice of a day whose jobs all take one of the same variants; `load` is what the list brings."""
    loaded = {group: now.get(group, 0) + load.get(group, 0) for group in {**now, **load}}
    splits = [[set(variants)] if variants else [] for _ in jobs]
    return advise(draw_day(jobs, seed=1, draws=4_000), Supplies(now, loaded, comes), splits)


def told(advice: Sequence[Advice]) -> list[Told]:
    return [(one.place, one.action, one.groups) for one in advice]


def test_what_lies_in_the_store_is_loaded_and_its_gain_is_the_odds_lost_without_it() -> None:
    (advice,) = advised([A], load={"a": 1})
    assert told([advice]) == [(0, "load", ("a",))]
    assert advice.odds == advice.gain == pytest.approx(0.8, abs=0.03)


def test_what_comes_before_the_job_is_bought_and_what_comes_after_it_moves_the_job() -> None:
    assert told(advised([NOTHING, A], comes={"a": 0})) == [(1, "buy", ("a",))]
    assert told(advised([NOTHING, A], comes={"a": 1})) == [(1, "buy", ("a",))]
    (advice,) = advised([NOTHING, A], comes={"a": 2})
    assert told([advice]) == [(1, "move", ("a",))]
    assert advice.odds == pytest.approx(0.8, abs=0.03)


def test_what_comes_between_two_jobs_is_bought_for_the_later_and_moves_the_earlier() -> None:
    found = advised([job_of((0.4, {"a": 1})), A], comes={"a": 1})
    assert told(found) == [(1, "buy", ("a",)), (0, "move", ("a",))]


def test_nothing_is_advised_for_what_can_neither_be_loaded_nor_bought_nor_for_a_job_that_lacks_nothing() -> None:
    assert advised([A]) == []
    assert advised([A, A], now={"a": 2}, load={"b": 3}, comes={"a": 0}) == []
    assert advised([]) == []


def test_the_customer_is_asked_when_one_of_two_variants_is_aboard_and_the_other_is_not() -> None:
    (advice,) = advised([EITHER], now={"a": 1}, variants="ab")
    assert told([advice]) == [(0, "ask", ("b",))]
    assert advice.odds == pytest.approx(0.4, abs=0.03)


def test_the_customer_is_not_asked_when_both_variants_are_aboard_or_neither() -> None:
    assert advised([EITHER], now={"a": 1, "b": 1}, variants="ab") == []
    assert advised([EITHER], variants="ab") == []
    assert told(advised([EITHER], comes={"a": 0, "b": 0}, variants="ab")) == [(0, "buy", ("a", "b"))]


@pytest.mark.parametrize(
    ("load", "ask", "buy", "move", "action"),
    [
        (0.30, 0, 0.31, 0, "load"), (0.30, 0, 0.40, 0, "buy"),
        (0.30, 0, 0, 0.31, "load"), (0.30, 0, 0, 0.40, "move"),
        (0, 0, 0.30, 0.31, "buy"), (0, 0, 0.30, 0.40, "move"),
        (0.20, 0.205, 0.195, 0.2, "load"), (0, 0.205, 0.2, 0.2, "ask"), (0.1, 0.3, 0.2, 0.1, "ask"),
        (0.2, 0.3, 0, 0.2, "ask"), (0, 0.2, 0.4, 0.2, "buy"),
    ],
)  # fmt: skip
def test_the_least_troublesome_of_actions_that_add_about_as_much_is_told(
    load: float, ask: float, buy: float, move: float, action: str
) -> None:
    """Each of four parts alone costs so much of the odds, and each is had by one action only."""
    job = job_of((load, {"load": 1}), (ask, {"ask": 1}), (buy, {"buy": 1}), (move, {"move": 1}))
    day = draw_day([job], seed=1)
    supply = Supplies({"held": 1}, {"held": 1, "load": 1}, {"buy": 0, "move": 1})
    (found,) = advise(day, supply, [[{"ask", "held"}]])
    assert (found.action, found.groups[0]) == (action, action)


@pytest.mark.parametrize("chance", [LEAST_ADVISED / 2, LEAST_ADVISED * 2])
@pytest.mark.parametrize(
    "how", [{"load": {"a": 1}}, {"comes": {"a": 0}}, {"comes": {"a": 1}}, {"variants": dict.fromkeys("ab", 1)}]
)
def test_what_adds_next_to_nothing_is_not_advised(chance: float, how: dict[str, dict[str, int]]) -> None:
    assert len(advised([job_of((chance, {"a": 1}))], now={"b": 1}, **how)) == (chance > LEAST_ADVISED)


def test_an_action_that_itself_adds_next_to_nothing_does_not_stand_for_a_better_one() -> None:
    day = draw_day([job_of((0.012, {"a": 1}), (0.028, {"b": 1}))], seed=1)
    assert told(advise(day, Supplies({}, {"a": 1}, {"b": 0}), [[]])) == [(0, "buy", ("b",))]


def test_those_that_add_most_over_the_day_come_first() -> None:
    jobs = [job_of((chance, {group: 1})) for chance, group in ((0.2, "a"), (0.9, "b"), (0.5, "c"))]
    found = advised(jobs, comes={"a": 0, "b": 0, "c": 3})
    assert told(found) == [(1, "buy", ("b",)), (2, "move", ("c",)), (0, "buy", ("a",))]
    shared = job_of((0.4, {"a": 1}))
    found = advised([job_of((0.9, {"b": 1})), shared, shared, shared], load={"a": 3}, comes={"b": 0})
    assert [one.action for one in found] == ["load", "buy"]


def test_loading_one_part_for_two_jobs_is_told_once_for_the_job_that_needs_it_most() -> None:
    found = advised([job_of((0.3, {"a": 1})), job_of((0.8, {"a": 1}))], load={"a": 2})
    assert told(found) == [(1, "load", ("a",))]
    assert found[0].odds == pytest.approx(0.8, abs=0.03)
    assert found[0].gain == pytest.approx(1.1, abs=0.05)


def test_a_job_whose_loading_is_told_with_another_job_is_told_its_next_best_action() -> None:
    choices = (ComponentChoice("a", ((0.5, {"a": 1}),)), ComponentChoice("b", ((0.3, {"b": 1}),)))
    both = JobNeeds("J", (), choices, 1.0, 0)
    found = told(advised([job_of((1.0, {"a": 1})), both], load={"a": 2}, comes={"b": 0}))
    assert found == [(0, "load", ("a",)), (1, "buy", ("b",))]


def test_a_trifling_shortage_is_not_named() -> None:
    job = job_of((0.6, {"a": 1}), (LEAST_ADVISED / 2, {"b": 1}), (0.3, {"c": 1}))
    assert told(advised([job], comes={"a": 0, "b": 0, "c": 0})) == [(0, "buy", ("a", "c"))]


def test_parts_that_are_useless_without_each_other_are_bought_together() -> None:
    pair = job_of((0.8, {"a": 1, "b": 1}))
    assert told(advised([pair], comes={"a": 0, "b": 0})) == [(0, "buy", ("a", "b"))]
    assert advised([pair], comes={"a": 0}) == []


def test_moving_a_job_names_all_that_must_be_bought_for_it() -> None:
    (advice,) = advised([job_of((0.8, {"a": 1, "b": 1}))], comes={"a": 0, "b": 1})
    assert (advice.action, set(advice.groups)) == ("move", {"a", "b"})


@settings(max_examples=80, deadline=None)
@given(
    st.lists(job_needs(), min_size=1, max_size=3),
    supplies,
    extras,
    st.dictionaries(st.sampled_from(GROUPS), st.integers(0, 4)),
)
def test_every_action_can_be_taken_and_adds_what_it_says(
    jobs: list[JobNeeds], now: dict[str, int], load: dict[str, int], comes: dict[str, int]
) -> None:
    day, loaded = draw_day([NOTHING, *jobs], seed=7, draws=120), {g: now[g] + load.get(g, 0) for g in now}
    supply, splits = Supplies(now, loaded, comes), [[{"a", "b"}] for _ in (NOTHING, *jobs)]
    found = advise(day, supply, splits)
    assert found == advise(day, Supplies(dict(reversed(now.items())), loaded, comes), splits)
    assert len({one.place for one in found}) == len(found)
    assert [one.gain for one in found] == sorted((one.gain for one in found), reverse=True)
    for one in found:
        assert one.groups
        assert one.odds <= one.gain + 1e-12
        assert one.odds == pytest.approx(slow_odds(day, supply, one), abs=1e-12)


def slow_odds(day: DayDraws, supply: Supplies, one: Advice) -> float:
    """What an action adds, from the odds of the day with and without it."""
    plenty = {**supply.loaded, **dict.fromkeys(one.groups, 99)}

    def odds(stock: Mapping[str, int]) -> float:
        return day.with_stock(stock).jobs[one.place].probability or 0.0

    if one.action == "load":
        assert all(supply.loaded[group] > supply.now[group] for group in one.groups)
        return odds(supply.loaded) - odds({**supply.loaded, one.groups[0]: supply.now[one.groups[0]]})
    if one.action == "move":
        assert any(supply.comes[group] > one.place for group in one.groups)
        short = [group for group, (often, _) in day.shortfalls(supply.loaded)[one.place].items() if often >= 0.02]
        before = {group: 99 for group in short if supply.comes.get(group, 99) <= one.place}
        return odds({**plenty, **before}) - odds({**supply.loaded, **before})
    if one.action == "buy":
        assert all(supply.comes[group] <= one.place for group in one.groups)
    return odds(plenty) - odds(supply.loaded)

"""Odds of a job and of a day, against enumeration, laws, and the plan of what to load and buy."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from math import prod

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.kit.load import after_loading, plan_buy, plan_load, shortages
from vanstock.kit.draws import day_need_quantiles, day_odds, draw_day
from vanstock.kit.odds import job_odds
from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.model import Part

GROUPS = ("a", "b", "c")
need = st.dictionaries(st.sampled_from(GROUPS), st.integers(1, 3), max_size=3)
supplies = st.fixed_dictionaries({group: st.integers(0, 6) for group in GROUPS})


@st.composite
def job_needs(draw: st.DrawFn) -> JobNeeds:
    cases = draw(st.lists(need, min_size=1, max_size=4))
    weights = draw(st.lists(st.integers(1, 9), min_size=len(cases) + 1, max_size=len(cases) + 1))
    prior = []
    for index in range(draw(st.integers(0, 3))):
        chance = draw(st.sampled_from([0.1, 0.25, 0.5]))
        prior.append(ComponentChoice(f"c{index}", ((chance, draw(need)), (chance, draw(need)))))
    shares = [weight / sum(weights) for weight in weights]
    pairs = zip(shares, cases, strict=False)
    return JobNeeds("J", tuple(WeightedCase(w, n) for w, n in pairs), tuple(prior), shares[-1], 5)


def outcomes(needs: JobNeeds) -> list[tuple[float, dict[str, int]]]:
    """Every outcome of a job with its probability, the slow and obvious way."""
    found = [(case.weight, dict(case.needs)) for case in needs.cases]
    choices = [[*choice.outcomes, (1 - sum(p for p, _ in choice.outcomes), {})] for choice in needs.prior]
    for combination in itertools.product(*choices):
        total: dict[str, int] = {}
        for _, taken in combination:
            for group, qty in taken.items():
                total[group] = total.get(group, 0) + qty
        found.append((needs.prior_weight * prod(p for p, _ in combination), total))
    return found


def enumerated(jobs: Sequence[JobNeeds], supply: dict[str, int]) -> list[float]:
    """The odds of each job of a day by running through every combination of outcomes."""
    odds = [0.0] * len(jobs)
    for combination in itertools.product(*(outcomes(job) for job in jobs)):
        weight, taken = prod(p for p, _ in combination), dict.fromkeys(GROUPS, 0)
        for place, (_, wanted) in enumerate(combination):
            for group, qty in wanted.items():
                taken[group] += qty
            odds[place] += weight * all(taken[group] <= supply[group] for group in wanted)
    return odds


@settings(max_examples=150, deadline=None)
@given(job_needs(), supplies)
def test_one_job_is_exactly_the_enumeration(needs: JobNeeds, supply: dict[str, int]) -> None:
    assert job_odds(needs, supply) == pytest.approx(enumerated([needs], supply)[0], abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(job_needs(), job_needs(), supplies)
def test_a_later_job_is_within_its_standard_error_of_the_enumeration(
    first: JobNeeds, second: JobNeeds, supply: dict[str, int]
) -> None:
    found = day_odds([first, second], supply, seed=11)
    exact = enumerated([first, second], supply)
    assert found.jobs[0].standard_error == 0
    assert found.jobs[0].probability == pytest.approx(exact[0], abs=1e-12)
    assert found.jobs[1].probability == pytest.approx(exact[1], abs=5 * found.jobs[1].standard_error + 5e-4)


@settings(max_examples=30, deadline=None)
@given(st.lists(job_needs(), min_size=1, max_size=3), supplies, st.sampled_from(GROUPS))
def test_more_stock_never_lowers_any_odds(jobs: list[JobNeeds], supply: dict[str, int], group: str) -> None:
    draws = draw_day(jobs, seed=3, draws=2_000)
    less, more = draws.with_stock(supply), draws.with_stock({**supply, group: supply[group] + 1})
    for a, b in zip(less.jobs, more.jobs, strict=True):
        assert a.probability is not None
        assert b.probability is not None
        assert 0 <= a.probability <= b.probability + 1e-12 <= 1 + 1e-9
    assert less.all_done is not None
    assert more.all_done is not None
    assert less.all_done <= more.all_done + 1e-12


def simple_job(chance: float, group: str = "a", qty: int = 1, job: str = "J") -> JobNeeds:
    cases = (WeightedCase(chance, {group: qty}), WeightedCase(1 - chance, {}))
    return JobNeeds(job, cases, (), 0.0, 20)


def test_the_same_seed_gives_the_same_answer() -> None:
    jobs = [simple_job(0.5), simple_job(0.5)]
    assert day_odds(jobs, {"a": 1}, seed=1) == day_odds(jobs, {"a": 1}, seed=1)


def test_a_job_of_which_nothing_is_known_has_no_odds() -> None:
    unknown = JobNeeds("J", (), (), 0.0, 0, known=False)
    found = day_odds([simple_job(0.5), unknown], {"a": 1}, seed=1)
    assert job_odds(unknown, {}) is None
    assert found.jobs[1].probability is None
    assert found.all_done is None
    assert day_odds([], {}, seed=1).jobs == ()


def test_stock_below_zero_is_none() -> None:
    assert job_odds(simple_job(0.3), {"a": -2}) == pytest.approx(0.7)


def test_the_days_need_is_the_exact_quantile() -> None:
    assert day_need_quantiles([simple_job(0.5), simple_job(0.5)], probability=0.99, seed=1) == {"a": 2}
    assert day_need_quantiles([simple_job(0.001)], probability=0.99, seed=1) == {"a": 0}
    assert day_need_quantiles([], probability=0.99, seed=1) == {}


PARTS = {
    "OLD": Part("OLD", superseded_by="NEW"), "NEW": Part("NEW"), "FLU": Part("FLU", unit="LTR", pack_size=5000),
}  # fmt: skip
STOCK_OF = {"OLD": "NEW", "NEW": "NEW", "FLU": "FLU"}


def test_old_numbers_are_loaded_before_those_that_replace_them() -> None:
    stores = [("store", "NEW", 3), ("store", "OLD", 1)]
    lines = plan_load({"NEW": 3}, {"NEW": 1}, stores, STOCK_OF, PARTS)
    assert [(line.part, line.qty) for line in lines] == [("OLD", 1), ("NEW", 1)]
    assert after_loading({"NEW": 1}, lines, STOCK_OF) == {"NEW": 3}


def test_fluid_is_loaded_in_whole_cans_where_the_store_has_them() -> None:
    lines = plan_load({"FLU": 6_000}, {"FLU": 500}, [("store", "FLU", 15_000)], STOCK_OF, PARTS)
    assert [line.qty for line in lines] == [10_000]
    lines = plan_load({"FLU": 6_000}, {"FLU": 500}, [("store", "FLU", 3_000)], STOCK_OF, PARTS)
    assert [line.qty for line in lines] == [3_000]


def test_a_van_below_zero_is_loaded_as_if_it_had_none_and_nothing_comes_from_a_store_below_zero() -> None:
    lines = plan_load({"NEW": 1}, {"NEW": -3}, [("store", "NEW", 5), ("store", "OLD", -1)], STOCK_OF, PARTS)
    assert [(line.part, line.qty, line.on_hand) for line in lines] == [("NEW", 1, -3)]


def test_what_is_short_is_bought_when_it_raises_the_odds_most_gain_first() -> None:
    jobs = [simple_job(0.6, "a"), simple_job(0.3, "b"), simple_job(0.001, "c")]
    draws = draw_day(jobs, seed=2)
    lines = plan_buy(draws, {}, {"a": 1, "b": 1, "c": 1})
    assert [(line.group, line.qty) for line in lines] == [("a", 1), ("b", 1)]
    assert lines[0].gain == pytest.approx(0.6, abs=0.02)


def test_a_jobs_shortages_say_what_each_part_costs_in_odds() -> None:
    lines = shortages(simple_job(0.4, "a", 2), {"a": 2}, {"a": 1})
    assert [(line.group, line.qty) for line in lines] == [("a", 1)]
    assert lines[0].lost_odds == pytest.approx(0.4)
    assert shortages(simple_job(0.4), {"a": 1}, {"a": 1}) == []

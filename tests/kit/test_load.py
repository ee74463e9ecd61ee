"""What to load, what to buy before leaving, and what each job may lack."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kit.days import extras, job_needs, job_of, supplies
from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit.draws import draw_day
from vanstock.kit.load import LEAST_GAIN, LoadLine, after_loading, day_shortages, plan_buy, plan_load, shortages
from vanstock.kit.odds import job_odds
from vanstock.model import Part

PARTS = {
    part.part: part
    for part in (
        Part("VAP-1", superseded_by="VAP-2"), Part("VAP-2"), Part("PLUG-F"), Part("PLUG-L"), Part("GKT"),
        Part("BLT", pack_size=10), Part("FLU", unit="LTR", pack_size=5000), Part("GLV", unit="PR", pack_size=50),
    )
}  # fmt: skip
GROUPS = {part: part for part in PARTS} | {"VAP-1": "VAP-2", "PLUG-L": "PLUG-F"}


def plan(
    needed: Mapping[str, int], van: Mapping[str, int], stores: list[tuple[str, str, int]]
) -> list[tuple[str, int, str, int]]:
    lines = plan_load(needed, van, stores, GROUPS, PARTS)
    return [(line.part, line.qty, line.from_place, line.on_hand) for line in lines]


def test_what_the_van_is_short_of_comes_from_the_store() -> None:
    assert plan({"GKT": 3}, {"GKT": 1}, [("store", "GKT", 8)]) == [("GKT", 2, "store", 1)]


def test_nothing_is_loaded_when_the_van_has_enough_or_the_store_has_none() -> None:
    assert plan({"GKT": 1, "BLT": 2}, {"GKT": 1}, [("store", "GKT", 8)]) == []


def test_pieces_come_singly_and_litres_and_pairs_in_whole_packs_as_far_as_there_are() -> None:
    stores = [("store", "BLT", 40), ("store", "FLU", 12_000), ("store", "GLV", 30)]
    assert plan({"BLT": 4, "FLU": 6000, "GLV": 3}, {}, stores) == [
        ("BLT", 4, "store", 0),
        ("FLU", 10_000, "store", 0),
        ("GLV", 30, "store", 0),
    ]


def test_an_old_number_goes_before_the_one_that_replaces_it_and_counts_with_it() -> None:
    stores = [("store", "VAP-2", 5), ("store", "VAP-1", 1)]
    assert plan({"VAP-2": 3}, {"VAP-1": 1}, stores) == [("VAP-1", 1, "store", 1), ("VAP-2", 1, "store", 0)]


def test_interchangeable_parts_serve_each_other_in_order_of_name() -> None:
    stores = [("store", "PLUG-L", 5), ("store", "PLUG-F", 1)]
    assert plan({"PLUG-F": 3}, {}, stores) == [("PLUG-F", 1, "store", 0), ("PLUG-L", 2, "store", 0)]


def test_stores_are_asked_in_order_of_name_until_there_is_enough() -> None:
    stores = [("store", "GKT", 2), ("annexe", "GKT", 1), ("yard", "GKT", 5)]
    assert plan({"GKT": 3}, {}, stores) == [("GKT", 1, "annexe", 0), ("GKT", 2, "store", 0)]


def test_a_balance_below_zero_is_never_loaded_from_and_never_filled_up() -> None:
    assert plan({"GKT": 2}, {"GKT": -3}, [("store", "GKT", -1), ("yard", "GKT", 9)]) == [("GKT", 2, "yard", -3)]
    assert after_loading({"GKT": -3}, [LoadLine("GKT", 2, "yard", -3, "GKT")], GROUPS) == {"GKT": 2}


@given(
    st.dictionaries(st.sampled_from(sorted(set(GROUPS.values()))), st.integers(0, 9000)),
    st.dictionaries(st.sampled_from(sorted(PARTS)), st.integers(-5, 9000)),
    st.dictionaries(
        st.tuples(st.sampled_from(["annexe", "store"]), st.sampled_from(sorted(PARTS))), st.integers(-5, 9000)
    ),
)
def test_a_load_list_takes_no_more_than_there_is_and_leaves_no_need_that_it_could_meet(
    needed: dict[str, int], van: dict[str, int], stores: dict[tuple[str, str], int]
) -> None:
    rows = [(place, part, qty) for (place, part), qty in stores.items()]
    lines = plan_load(needed, van, rows, GROUPS, PARTS)
    assert all(0 < line.qty <= stores[line.from_place, line.part] for line in lines)
    assert len({(line.from_place, line.part) for line in lines}) == len(lines)
    supply = after_loading(van, lines, GROUPS)
    for group, qty in needed.items():
        taken = sum(line.qty for line in lines if line.group == group)
        held = sum(have for _, part, have in rows if GROUPS[part] == group and have > 0)
        assert supply.get(group, 0) >= qty or taken == held


def case(weight: float, needs: Mapping[str, int]) -> WeightedCase:
    return WeightedCase(weight, needs)


ONE = JobNeeds("J1", (case(0.8, {"VAP-2": 1, "GKT": 1}), case(0.2, {})), (), 0.0, 9)


def test_the_worth_of_the_only_short_part_is_the_rise_in_finished_jobs() -> None:
    day = draw_day([ONE, ONE], seed=1)
    supply, needed = {"GKT": 2, "VAP-2": 1}, {"GKT": 2, "VAP-2": 2}
    lines = plan_buy(day, supply, needed, {"VAP-2": 0})
    before, after = (day.with_stock(stock) for stock in (supply, needed))
    rise = sum((a.probability or 0) - (b.probability or 0) for a, b in zip(after.jobs, before.jobs, strict=True))
    assert [(line.group, line.qty) for line in lines] == [("VAP-2", 1)]
    assert lines[0].gain == lines[0].worth
    assert lines[0].worth == pytest.approx(rise, abs=0.01)
    assert lines[0].worth == pytest.approx(0.64, abs=0.015)


def test_two_parts_that_are_useless_without_each_other_are_both_bought() -> None:
    lines = plan_buy(draw_day([ONE], seed=1), {}, {"GKT": 1, "VAP-2": 1}, {"GKT": 0, "VAP-2": 0})
    assert [(line.group, line.qty) for line in lines] == [("GKT", 1), ("VAP-2", 1)]
    assert [line.gain for line in lines] == pytest.approx([0.8, 0.8], abs=0.015)


def test_a_part_that_comes_in_time_gains_nothing_when_its_gasket_does_not() -> None:
    lines = plan_buy(draw_day([ONE, ONE], seed=1), {}, {"GKT": 2, "VAP-2": 2}, {"GKT": 0, "VAP-2": 1})
    assert [line.worth for line in lines] == pytest.approx([1.6, 1.6], abs=0.03)
    assert [line.gain for line in lines] == pytest.approx([0.8, 0.8], abs=0.015)
    lines = plan_buy(draw_day([ONE, ONE], seed=1), {}, {"GKT": 2, "VAP-2": 2}, {"GKT": 0})
    assert [line.gain for line in lines] == [0, 0]


def test_the_list_to_buy_is_sorted_by_worth_and_leaves_out_what_brings_next_to_nothing() -> None:
    needs = job_of((0.3, {"GKT": 1}), (0.6, {"BLT": 2}), (0.004, {"FLU": 1}))
    lines = plan_buy(draw_day([needs], seed=1), {}, {"GKT": 1, "BLT": 2, "FLU": 1, "GLV": 1}, {"GKT": 0})
    assert [(line.group, line.gain > 0) for line in lines] == [("BLT", False), ("GKT", True)]


def test_a_part_below_zero_in_the_van_is_bought_from_nothing_up() -> None:
    supply = {"VAP-2": -4, "GKT": 1}
    assert [line.qty for line in plan_buy(draw_day([ONE], seed=1), supply, {"VAP-2": 1}, {})] == [1]


@settings(max_examples=50, deadline=None)
@given(
    st.lists(job_needs(), min_size=1, max_size=3),
    supplies,
    extras,
    st.dictionaries(st.sampled_from("abc"), st.integers(0, 3)),
)
def test_what_comes_later_is_worth_as_much_and_never_gains_more_where_it_is_plenty(
    jobs: list[JobNeeds], supply: dict[str, int], more: dict[str, int], since: dict[str, int]
) -> None:
    day, needed = draw_day(jobs, seed=5, draws=200), {group: supply[group] + 90 + qty for group, qty in more.items()}
    at_once = plan_buy(day, supply, needed, dict.fromkeys(needed, 0))
    lines, never = plan_buy(day, supply, needed, since), plan_buy(day, supply, needed, {})
    assert all(line.gain == line.worth >= LEAST_GAIN for line in at_once)
    assert all(line.gain == 0 for line in never)
    assert [(a.group, a.qty, a.worth) for a in at_once] == [(b.group, b.qty, b.worth) for b in lines]
    assert all(0 <= line.gain <= line.worth for line in lines)
    assert [line.worth for line in lines] == sorted((line.worth for line in lines), reverse=True)
    assert plan_buy(day, supply, supply, since) == []


def test_a_job_names_every_part_that_it_may_lack_with_the_exact_odds_that_costs() -> None:
    lines = shortages(ONE, {"VAP-2": 1, "GKT": 1}, {"GKT": 1})
    assert [(line.group, line.qty) for line in lines] == [("VAP-2", 1)]
    assert lines[0].lost_odds == pytest.approx(0.8)
    both = shortages(ONE, {"VAP-2": 1, "GKT": 1}, {})
    assert [(line.group, line.lost_odds) for line in both] == [("GKT", 0.8), ("VAP-2", 0.8)]


def test_a_job_with_everything_aboard_or_unknown_needs_is_short_of_nothing() -> None:
    assert shortages(ONE, {}, {"VAP-2": 1, "GKT": 1}) == []
    assert shortages(JobNeeds("U", (), (), 0.0, 0, known=False), {}, {}) == []


def test_a_job_that_is_short_only_when_it_takes_more_than_usual_says_by_how_much() -> None:
    needs = JobNeeds("J", (case(0.7, {"FLU": 2000}), case(0.3, {"FLU": 3000})), (), 0.0, 9)
    (line,) = shortages(needs, {"FLU": 2000}, {"FLU": 2500})
    assert (line.group, line.qty) == ("FLU", 500)
    assert line.lost_odds == pytest.approx(0.3)


def test_the_prior_is_short_where_two_choices_want_the_last_one() -> None:
    choices = tuple(ComponentChoice(name, ((0.5, {"BLT": 2}),)) for name in ("left", "right"))
    (line,) = shortages(JobNeeds("J", (), choices, 1.0, 0), {"BLT": 2}, {"BLT": 2})
    assert line.qty == 2
    assert line.lost_odds == pytest.approx(0.25)


def test_the_second_job_of_a_day_lacks_what_the_first_may_take() -> None:
    first, second = day_shortages(draw_day([ONE, ONE], seed=1), {"VAP-2": 1, "GKT": 2})
    assert first == []
    assert [(line.group, line.qty) for line in second] == [("VAP-2", 1)]
    assert second[0].lost_odds == pytest.approx(0.64, abs=0.015)


SUPPLY = st.dictionaries(st.sampled_from(["VAP-2", "GKT", "FLU"]), st.integers(0, 3))
NEED = st.dictionaries(st.sampled_from(["VAP-2", "GKT", "FLU"]), st.integers(1, 3))


@given(st.lists(NEED, min_size=1, max_size=4), SUPPLY)
def test_no_shortage_costs_more_than_the_odds_that_are_lost_and_together_they_explain_all(
    needs: list[dict[str, int]], supply: dict[str, int]
) -> None:
    job = JobNeeds("J", tuple(case(1 / len(needs), need) for need in needs), (), 0.0, 1)
    lost = 1 - (job_odds(job, supply) or 0.0)
    lines = shortages(job, {}, supply)
    assert all(line.lost_odds <= lost + 1e-12 and line.qty > 0 for line in lines)
    assert sum(line.lost_odds for line in lines) >= lost - 1e-9
    # The slow obvious version: the odds with everything else plentiful.
    for line in lines:
        plenty = dict.fromkeys(("VAP-2", "GKT", "FLU"), 99) | {line.group: supply.get(line.group, 0)}
        assert line.lost_odds == pytest.approx(1 - (job_odds(job, plenty) or 0.0))

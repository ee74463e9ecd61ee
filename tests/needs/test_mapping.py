"""From components to a family's own part numbers, and what goes on new with them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.model import Catalogue, FinishedJob, Fits, GoesWith, Part
from vanstock.needs import mapping
from vanstock.needs.levels import HALF_LIFE_DAYS
from vanstock.needs.mapping import MOST_WAYS, SHARE_WORTH, PartMap

TODAY = date(2027, 3, 1)


def part_map(parts: list[Part], fits: list[Fits], goes_with: list[GoesWith] | None = None) -> PartMap:
    return PartMap.build(
        Catalogue(parts={part.part: part for part in parts}, fits=tuple(fits), goes_with=tuple(goes_with or ()))
    )


VAPORISERS = [
    Part("VAP-1", component="vaporiser", superseded_by="VAP-2"),
    Part("VAP-2", component="vaporiser"),
    Part("GKT", component="gasket"),
    Part("BLT", component="bolt"),
    Part("HOSE", component="hose", unit="MTR"),
    Part("CLIP", component="clip"),
]


def come_out(
    parts: PartMap, family: str, components: dict[str, int], *, chosen: tuple[str, ...] = ()
) -> list[tuple[float, dict[str, int]]]:
    return parts.variants(components, parts.served(family, components, chosen=chosen))


def test_a_superseded_number_counts_as_its_successor_once() -> None:
    parts = part_map(VAPORISERS, [Fits("AAA", "VAP-1"), Fits("AAA", "VAP-2")])
    assert parts.for_component("AAA", "vaporiser") == ((1.0, "VAP-2"),)


def test_a_family_that_lists_only_the_old_number_takes_the_successor() -> None:
    assert part_map(VAPORISERS, [Fits("AAA", "VAP-1")]).for_component("AAA", "vaporiser") == ((1.0, "VAP-2"),)


def test_an_old_number_without_a_component_is_what_its_successor_is() -> None:
    parts = part_map([Part("OLD", superseded_by="NEW"), Part("NEW", component="sensor")], [Fits("AAA", "NEW")])
    assert parts.component_of == {"OLD": "sensor", "NEW": "sensor"}


def test_numbers_without_any_component_stand_for_themselves_and_follow_supersession() -> None:
    parts = part_map([Part("OLD", superseded_by="NEW"), Part("NEW")], [Fits("AAA", "NEW")])
    assert parts.component_of == {"OLD": "NEW", "NEW": "NEW"}
    assert parts.for_component("AAA", "NEW") == ((1.0, "NEW"),)


def test_a_split_by_engine_number_is_two_groups_and_no_supersession() -> None:
    split = [Part("VAP-LOW", component="vaporiser"), Part("VAP-HIGH", component="vaporiser")]
    parts = part_map(split, [Fits("KRB", "VAP-LOW", 0.51), Fits("KRB", "VAP-HIGH", 0.49)])
    shares = parts.for_component("KRB", "vaporiser")
    assert [group for _, group in shares] == ["VAP-HIGH", "VAP-LOW"]
    assert [share for share, _ in shares] == pytest.approx([0.49, 0.51])
    assert [need for _, need in come_out(parts, "KRB", {"vaporiser": 1})] == [{"VAP-HIGH": 1}, {"VAP-LOW": 1}]


def test_shares_that_do_not_add_up_are_normalised() -> None:
    pair = [Part("A", component="sensor"), Part("B", component="sensor")]
    shares = part_map(pair, [Fits("AAA", "A"), Fits("AAA", "B")]).for_component("AAA", "sensor")
    assert shares == ((0.5, "A"), (0.5, "B"))


def test_a_two_way_interchange_is_one_group() -> None:
    plugs = [Part("PLUG-F", component="glow plug"), Part("PLUG-L", component="glow plug")]
    fits = [Fits("FEN", "PLUG-F"), Fits("FEN", "PLUG-L", 0.0), Fits("LUN", "PLUG-L"), Fits("LUN", "PLUG-F", 0.0)]
    parts = part_map(plugs, fits)
    assert parts.for_component("FEN", "glow plug") == parts.for_component("LUN", "glow plug") == ((1.0, "PLUG-F"),)


def test_a_component_that_the_family_does_not_have_drops_out() -> None:
    parts = part_map(VAPORISERS, [Fits("AAA", "VAP-2"), Fits("*", "BLT")])
    assert come_out(parts, "BBB", {"vaporiser": 1, "bolt": 2}) == [(1.0, {"BLT": 2})]


def test_a_familys_own_rows_win_over_the_rows_for_every_family() -> None:
    fluids = [Part("FLU", component="fluid"), Part("FLU-MILD", component="fluid")]
    parts = part_map(fluids, [Fits("*", "FLU"), Fits("AAA", "FLU-MILD")])
    assert parts.for_component("AAA", "fluid") == ((1.0, "FLU-MILD"),)
    assert parts.for_component("BBB", "fluid") == ((1.0, "FLU"),)


def test_a_share_of_zero_takes_a_part_for_every_family_out_of_one() -> None:
    fluids = [Part("FLU", component="fluid"), Part("RED", component="fluid")]
    parts = part_map(fluids, [Fits("*", "FLU"), Fits("*", "RED"), Fits("AAA", "RED", 0.0)])
    assert parts.for_component("AAA", "fluid") == ((1.0, "FLU"),)
    alone = part_map(fluids[:1], [Fits("*", "FLU"), Fits("AAA", "FLU", 0.0)])
    assert alone.for_component("AAA", "fluid") == ()
    assert alone.for_component("BBB", "fluid") == ((1.0, "FLU"),)


RIDERS = [GoesWith("VAP-2", "GKT", 1), GoesWith("VAP-2", "BLT", 2), GoesWith("HOSE", "CLIP", 2)]


def test_what_goes_with_a_part_rides_along_for_each_one() -> None:
    parts = part_map(VAPORISERS, [], RIDERS)
    assert parts.with_riders({"VAP-2": 2}) == {"VAP-2": 2, "GKT": 2, "BLT": 4}


def test_what_was_recorded_is_never_doubled_and_never_cut() -> None:
    parts = part_map(VAPORISERS, [], RIDERS)
    assert parts.with_riders({"VAP-2": 1, "GKT": 1, "BLT": 6}) == {"VAP-2": 1, "GKT": 1, "BLT": 6}


def test_what_goes_with_a_metre_is_counted_by_the_metre_and_rounded_up() -> None:
    parts = part_map(VAPORISERS, [], RIDERS)
    assert parts.with_riders({"HOSE": 600}) == {"HOSE": 600, "CLIP": 2}
    assert parts.with_riders({"HOSE": 1000})["CLIP"] == 2
    assert parts.with_riders({"HOSE": 2500})["CLIP"] == 5


def test_two_parts_with_the_same_rider_take_it_twice() -> None:
    parts = part_map(VAPORISERS, [], [GoesWith("VAP-2", "BLT", 2), GoesWith("GKT", "BLT", 1)])
    assert parts.with_riders({"VAP-2": 1, "GKT": 1})["BLT"] == 3


def test_riders_of_riders_follow_and_a_recorded_rider_does_not_bring_its_own_twice() -> None:
    chain = [GoesWith("VAP-2", "GKT", 1), GoesWith("GKT", "BLT", 2)]
    parts = part_map(VAPORISERS, [], chain)
    assert parts.with_riders({"VAP-2": 1}) == {"VAP-2": 1, "GKT": 1, "BLT": 2}
    assert parts.with_riders({"GKT": 1, "VAP-2": 1}) == {"VAP-2": 1, "GKT": 1, "BLT": 2}


def test_parts_that_go_with_each_other_both_ways_do_not_loop() -> None:
    parts = part_map(VAPORISERS, [], [GoesWith("GKT", "BLT", 1), GoesWith("BLT", "GKT", 1), GoesWith("GKT", "GKT", 3)])
    assert parts.with_riders({"GKT": 1}) == {"GKT": 1, "BLT": 1}
    assert parts.with_riders({"GKT": 1, "BLT": 2}) == {"GKT": 2, "BLT": 2}


def test_the_line_of_an_old_number_holds_for_its_successor_and_is_not_added_to_it() -> None:
    old_only = part_map(VAPORISERS, [], [GoesWith("VAP-1", "BLT", 2)])
    assert old_only.with_riders({"VAP-2": 1}) == {"VAP-2": 1, "BLT": 2}
    both = part_map(VAPORISERS, [], [GoesWith("VAP-1", "BLT", 4), GoesWith("VAP-2", "BLT", 2)])
    assert both.with_riders({"VAP-2": 1}) == {"VAP-2": 1, "BLT": 2}


EDGES = st.sets(st.tuples(st.integers(0, 5), st.integers(0, 5)).filter(lambda edge: edge[0] < edge[1]))


@given(EDGES, st.dictionaries(st.integers(0, 5), st.integers(1, 4), min_size=1))
def test_a_full_need_holds_exactly_the_larger_of_recorded_and_required(
    edges: set[tuple[int, int]], need: dict[int, int]
) -> None:
    parts = part_map([Part(f"P{i}") for i in range(6)], [], [GoesWith(f"P{a}", f"P{b}", 1) for a, b in edges])
    full = parts.with_riders({f"P{i}": qty for i, qty in need.items()})
    for i in range(6):
        required = sum(full.get(f"P{a}", 0) for a, b in edges if b == i)
        assert full.get(f"P{i}", 0) == max(need.get(i, 0), required)


@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=5))
def test_the_ways_a_need_can_come_out_add_up_to_one(shares: list[float]) -> None:
    parts = part_map(
        [Part(f"P{i}", component="sensor") for i in range(len(shares))],
        [Fits("AAA", f"P{i}", share) for i, share in enumerate(shares)],
    )
    assert sum(p for p, _ in come_out(parts, "AAA", {"sensor": 1})) == pytest.approx(1.0)


SPLIT = [
    Part("LOW", component="vaporiser", superseded_by="LOW-2"),
    Part("LOW-2", component="vaporiser"),
    Part("HIGH", component="vaporiser"),
    Part("SNS", component="sensor"),
]


def split_map(*more: Fits) -> PartMap:
    return part_map(SPLIT, [Fits("KRB", "LOW", 0.6), Fits("KRB", "HIGH", 0.4), *more])


def took(needs: Mapping[str, int], *, family: str = "KRB", age_days: float = 0) -> FinishedJob:
    return FinishedJob("J", TODAY - timedelta(days=age_days), family, "heat", (), needs)


def shares_of(parts: PartMap, family: str, component: str) -> dict[str, float]:
    return {group: share for share, group in parts.for_component(family, component)}


def test_before_there_are_jobs_the_shares_are_those_of_the_table() -> None:
    assert split_map().learning([], today=TODAY) == split_map()


def test_the_shares_of_a_split_lean_on_the_table_beside_what_the_familys_jobs_took() -> None:
    jobs = [took({"HIGH": 1})] * 3 + [took({"LOW-2": 2})]
    low = (1 + SHARE_WORTH * 0.6) / (4 + SHARE_WORTH)
    assert shares_of(split_map().learning(jobs, today=TODAY), "KRB", "vaporiser") == {
        "HIGH": pytest.approx(1 - low),
        "LOW-2": pytest.approx(low),
    }


def test_an_old_number_bears_out_its_successor_and_older_jobs_fade() -> None:
    jobs = [took({"LOW": 1}, age_days=HALF_LIFE_DAYS), took({"HIGH": 1}, age_days=-40)]
    low = (0.5 + SHARE_WORTH * 0.6) / (1.5 + SHARE_WORTH)
    assert shares_of(split_map().learning(jobs, today=TODAY), "KRB", "vaporiser")["LOW-2"] == pytest.approx(low)


def test_another_familys_jobs_and_parts_that_are_not_listed_say_nothing_of_a_split() -> None:
    jobs = [took({"HIGH": 1}, family="OTHER"), took({"SNS": 1}), took({"UNHEARD-OF": 1})]
    learnt = split_map(Fits("OTHER", "LOW"), Fits("OTHER", "SNS")).learning(jobs, today=TODAY)
    assert shares_of(learnt, "KRB", "vaporiser") == pytest.approx({"HIGH": 0.4, "LOW-2": 0.6})
    assert shares_of(learnt, "OTHER", "vaporiser") == {"LOW-2": 1.0}


def test_a_split_listed_for_every_family_is_learnt_by_each_for_itself() -> None:
    parts = part_map(SPLIT, [Fits("*", "LOW", 0.6), Fits("*", "HIGH", 0.4)])
    learnt = parts.learning([took({"HIGH": 1})] * 10, today=TODAY)
    high = (10 + SHARE_WORTH * 0.4) / (10 + SHARE_WORTH)
    assert shares_of(learnt, "KRB", "vaporiser")["HIGH"] == pytest.approx(high)
    assert shares_of(learnt, "BBB", "vaporiser")["HIGH"] == pytest.approx(0.4)


def test_where_nothing_is_listed_what_the_familys_jobs_took_serves() -> None:
    jobs = [took({"SNS": 1}, family="BBB"), took({"HIGH": 1}, family="BBB"), took({"LOW": 1}, family="BBB")]
    learnt = split_map().learning([*jobs, jobs[2]], today=TODAY)
    assert shares_of(learnt, "BBB", "sensor") == {"SNS": 1.0}
    assert shares_of(learnt, "BBB", "vaporiser") == pytest.approx({"HIGH": 1 / 3, "LOW-2": 2 / 3})
    assert shares_of(learnt, "KRB", "sensor") == {}


def test_a_part_taken_out_of_a_family_by_the_table_is_not_brought_back_by_its_jobs() -> None:
    parts = part_map(SPLIT, [Fits("*", "SNS"), Fits("KRB", "SNS", 0.0)])
    assert shares_of(parts.learning([took({"SNS": 1})], today=TODAY), "KRB", "sensor") == {}


@given(
    st.lists(st.tuples(st.sampled_from(["LOW", "LOW-2", "HIGH", "SNS"]), st.integers(0, 2000)), max_size=8),
    st.randoms(),
)
def test_learnt_shares_add_up_to_one_in_whatever_order_the_jobs_come(
    taken: list[tuple[str, int]], order: Random
) -> None:
    jobs = [took({part: 1}, age_days=age) for part, age in taken]
    learnt = split_map().learning(jobs, today=TODAY)
    assert sum(share for share, _ in learnt.for_component("KRB", "vaporiser")) == pytest.approx(1.0)
    order.shuffle(jobs)
    shares = shares_of(split_map().learning(jobs, today=TODAY), "KRB", "vaporiser")
    assert shares == pytest.approx(shares_of(learnt, "KRB", "vaporiser"))


def test_a_part_chosen_for_its_component_is_the_only_one() -> None:
    parts = split_map(Fits("KRB", "SNS"))
    assert parts.for_component("KRB", "vaporiser", chosen=("HIGH",)) == ((1.0, "HIGH"),)
    assert parts.for_component("KRB", "vaporiser", chosen=("LOW",)) == ((1.0, "LOW-2"),)
    assert parts.for_component("KRB", "sensor", chosen=("HIGH",)) == ((1.0, "SNS"),)
    assert come_out(parts, "KRB", {"vaporiser": 1, "sensor": 1}, chosen=("HIGH",)) == [(1.0, {"HIGH": 1, "SNS": 1})]


def test_both_parts_chosen_for_one_component_leave_it_open_and_an_old_number_with_its_successor_does_not() -> None:
    parts = split_map()
    assert parts.for_component("KRB", "vaporiser", chosen=("LOW", "HIGH")) == ((0.5, "HIGH"), (0.5, "LOW-2"))
    assert parts.for_component("KRB", "vaporiser", chosen=("LOW", "LOW-2")) == ((1.0, "LOW-2"),)


def test_a_chosen_number_that_is_not_in_the_catalogue_is_passed_over() -> None:
    parts = split_map()
    assert parts.for_component("KRB", "vaporiser", chosen=("GONE",)) == parts.for_component("KRB", "vaporiser")


def test_of_very_many_ways_a_few_are_gone_through_that_keep_every_share_and_every_pair() -> None:
    """Six components with three numbers each come out in 729 ways."""
    shares = (0.5, 0.3, 0.2)
    names = [f"c{place}" for place in range(6)]
    parts = [Part(f"{name}-{number}", component=name) for name in names for number in range(3)]
    fits = [Fits("AAA", f"{name}-{number}", shares[number]) for name in names for number in range(3)]
    known = part_map(parts, fits)
    ways = known.variants(dict.fromkeys(names, 1), known.served("AAA", names))
    assert len(ways) == MOST_WAYS
    assert sum(probability for probability, _ in ways) == pytest.approx(1)
    for name in names:
        for number, share in enumerate(shares):
            assert sum(p for p, need in ways if f"{name}-{number}" in need) == pytest.approx(share, abs=0.04)
    both = sum(p for p, need in ways if "c0-0" in need and "c1-0" in need)
    assert both == pytest.approx(0.25, abs=0.06)


@pytest.mark.parametrize("most", [0, 1, 50_000])
def test_what_is_remembered_of_a_case_is_what_would_come_out_anew_whatever_was_learnt_meanwhile(
    most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One map remembers through families, shares learnt and numbers chosen; the other works everything out."""
    monkeypatch.setattr(mapping, "MOST_REMEMBERED", most)
    fresh, keeping = split_map(), split_map().remembering()
    jobs = [
        FinishedJob(f"J{i}", TODAY - timedelta(days=i), "KRB", "heat-source", (), {part: 1})
        for i, part in enumerate(("LOW", "LOW", "HIGH", "LOW"))
    ]
    for known in range(len(jobs) + 1):
        for _ in range(2):
            maps = [one.learning(jobs[:known], today=TODAY) for one in (fresh, keeping)]
            for family, chosen in (("KRB", ()), ("KRB", ("LOW",)), ("AAA", ())):
                for case in ((("vaporiser", 1),), (("vaporiser", 2), ("nothing known", 1)), ()):
                    came = [
                        one.ways(case, one.served(family, [name for name, _ in case], chosen=chosen)) for one in maps
                    ]
                    assert came[0] == came[1]
                    assert len(keeping._remembered or {}) <= most
                    assert sum(probability for probability, _ in came[1]) == pytest.approx(1)

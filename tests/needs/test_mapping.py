"""From components to a family's own part numbers, and what goes on new with them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.model import Catalogue, Fits, GoesWith, Part
from vanstock.needs.mapping import PartMap


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
    assert [need for _, need in parts.variants("KRB", {"vaporiser": 1})] == [{"VAP-HIGH": 1}, {"VAP-LOW": 1}]


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
    assert parts.variants("BBB", {"vaporiser": 1, "bolt": 2}) == [(1.0, {"BLT": 2})]


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
    assert sum(p for p, _ in parts.variants("AAA", {"sensor": 1})) == pytest.approx(1.0)

"""Laws of superseded numbers, on real ledgers: one position for a chain, orders for its newest number alone."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vanstock.kit.load import plan_load
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Catalogue, Fits, Part, stock_groups
from vanstock.routines import levels, reorder, stock
from vanstock.routines.session import Session

NUMBERS = count()


@st.composite
def chains(draw: st.DrawFn) -> list[Part]:
    """A chain of two to four numbers, in any order of their names, oldest first."""
    names = draw(st.permutations(["QA", "QB", "QC", "QD"]))[: draw(st.integers(2, 4))]
    after = [*names[1:], ""]
    return [
        Part(n, n, "sensor", cost=10_000, supplier="DAY", superseded_by=s) for n, s in zip(names, after, strict=True)
    ]


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(chains(), st.lists(st.tuples(st.integers(0, 3), st.integers(1, 4), st.booleans()), max_size=4))
def test_a_chain_has_one_position_and_its_newest_number_alone_is_ordered(
    new_session: Callable[..., Session], chain: list[Part], came: list[tuple[int, int, bool]]
) -> None:
    session = new_session(name=f"chain-{next(NUMBERS)}")
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, chain)
        catalogue.save_rows(ledger, Fits, [Fits("AAA", part.part) for part in chain])
    for place, qty, aboard in came:
        stock.receive(session, chain[place % len(chain)].part, str(qty), place="van" if aboard else "store")
    newest = chain[-1].part
    levels.pin(session, chain[0].part, "20", "20")
    positions = [row for row in reorder.look_ahead(session).positions if row.levels.part in {p.part for p in chain}]
    assert [(row.part.part, row.on_hand) for row in positions] == [(newest, sum(qty for _, qty, _ in came))]
    ordered = {line.part: line.qty for order, _, _ in reorder.reorder(session).orders for line in order.lines}
    assert ordered.get(newest) == 20 - sum(qty for _, qty, _ in came)
    assert not ordered.keys() & {part.part for part in chain[:-1]}
    session.ledger.close()


@given(chains(), st.lists(st.integers(0, 4), min_size=4, max_size=4), st.integers(0, 16))
def test_no_newer_number_is_loaded_while_an_older_one_is_left(chain: list[Part], held: list[int], need: int) -> None:
    parts = {part.part: part for part in chain}
    stores = [("store", part.part, qty) for part, qty in zip(chain, held, strict=False)]
    groups = stock_groups(Catalogue(parts=parts))
    assert set(groups.values()) == {chain[-1].part}
    taken = {line.part: line.qty for line in plan_load({chain[-1].part: need}, {}, stores, groups, parts)}
    assert sum(taken.values()) == min(need, sum(qty for _, _, qty in stores))
    left = [qty - taken.get(part, 0) for _, part, qty in stores]
    for place, (_, part, _) in enumerate(stores):
        assert not taken.get(part) or not any(left[:place])

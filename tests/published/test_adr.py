"""Points for dangerous goods against the table and the sum of ADR 1.1.3.6."""

from __future__ import annotations

from decimal import Decimal

import pytest

from vanstock.kit.dangerous import Points, count_points
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Job, Part, Usual
from vanstock.routines import booking, morning, stock
from vanstock.routines.session import Session


def litres(*millilitres: tuple[int, int]) -> Points:
    """The points of millilitres by transport category."""
    parts = {f"F{n}": Part(f"F{n}", unit="LTR", hazard=f"UN1719/8/III/TC{tc}") for n, (tc, _) in enumerate(millilitres)}
    return count_points({f"F{n}": qty for n, (_, qty) in enumerate(millilitres)}, parts)


@pytest.mark.parametrize(("amount", "points", "over"), [(333, 999, False), (334, 1_002, True)])
def test_333_litres_of_category_2_pass_and_334_do_not(amount: int, points: int, over: bool) -> None:
    """ADR 1.1.3.6.3, table: 333 for category 2; 1.1.3.6.4: three times its quantity, at most 1,000."""
    found = litres((2, amount * 1_000))
    assert (found.total, found.limit, found.over, found.unknown) == (Decimal(points), 1_000, over, ())


@pytest.mark.parametrize(("category", "most"), [(1, 20), (2, 333), (3, 1_000)])
def test_of_one_category_alone_the_most_is_the_tables(category: int, most: int) -> None:
    """ADR 1.1.3.6.3, column 3 of the table: 20, 333, 1,000 to a vehicle."""
    assert not litres((category, most * 1_000)).over
    assert litres((category, most * 1_000 + 1)).over


def test_of_category_4_there_is_no_most_and_of_category_0_there_may_be_none() -> None:
    """ADR 1.1.3.6.3, the same column: none of category 0, of category 4 as much as one likes."""
    assert (litres((4, 10**9)).over, litres((4, 10**9)).total) == (False, Decimal(0))
    assert litres((0, 1)).over
    assert not litres((0, 0)).over


def test_of_several_categories_the_weighted_sum_is_at_most_1000() -> None:
    """ADR 1.1.3.6.4, worked by hand: 5 x 50 + 100 x 3 + 450 = 1,000."""
    assert litres((1, 5_000), (2, 100_000), (3, 450_000), (4, 70_000)).total == Decimal(1_000)
    assert not litres((1, 5_000), (2, 100_000), (3, 450_000), (4, 70_000)).over
    assert litres((1, 5_000), (2, 100_000), (3, 450_001), (4, 70_000)).over


@pytest.mark.parametrize(("amount", "points", "over"), [(333, 999, False), (334, 1_002, True)])
def test_a_load_out_counts_what_is_aboard_with_its_load_list(
    session: Session, amount: int, points: int, over: bool
) -> None:
    """The same figures through the morning: 3 L in the van and the rest carried to it from the store."""
    with writing(session.ledger) as ledger:
        fluid = Part("FLU-1", "filter cleaning fluid", "cleaning fluid", "LTR", 10_000, 1000, hazard="UN1993/3/II/TC2")
        catalogue.save_rows(ledger, Part, [fluid])
        catalogue.save_rows(ledger, Usual, [Usual("bulk", "*", "cleaning fluid", 1.0, amount * 1_000, 50)])
    day = session.today
    booking.add_booking(session, Job("J1", day, "14:00", "AAA", "bulk"))
    stock.receive(session, "FLU-1", "3", place="van")
    stock.receive(session, "FLU-1", "500")
    found = morning.load_out(session, day)
    assert [row.qty for row in found.load] == [(amount - 3) * 1_000]
    assert found.aboard is not None
    assert (found.aboard.points.total, found.aboard.points.over) == (Decimal(points), over)
    assert [text[:14] for text in found.cautions if "OVER" in text] == ["OVER THE LIMIT"] * over

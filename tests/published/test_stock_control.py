"""Stock control against published and computed values: the economic quantity, one period's stock, min and max over many
periods, and fill rates, each through our own levels, streams and stretches of days.

How the books' periods map onto `kit.replay`: they review, get what was ordered L periods ago, meet demand, then count
the cost of the period's end. `play` takes goods in first, but an order of today never comes today, so an order of
period t is there before the demand of t + L in both, and L is `comes_after` (one or more). For L = 0 a period is two
working days, the review on the first, and goods and demand on the second.
What is owed is no figure of an `Outcome`. A second play with so much more of everything (`FAR`) that nothing is ever
lacking takes the same course, so that its stock less `FAR` is the net stock of the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import product
from math import prod, sqrt
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from vanstock.jobneeds import ComponentChoice, JobNeeds, WeightedCase
from vanstock.kit import closure
from vanstock.kit.closure import Wanted
from vanstock.kit.levels import choose, margins, outcome
from vanstock.kit.minmax import Buying, Handling, buying, economic_quantity, min_and_max
from vanstock.kit.needsum import day_need_quantiles
from vanstock.kit.odds import job_odds
from vanstock.kit.replay import Firm, Item, Outcome, Stretch, Terms, play
from vanstock.kit.stream import Ahead, Kind, Shelf, Stream, draw_stream, reviews_before
from vanstock.model import Part

Floats = NDArray[np.float64]
Chances = Sequence[tuple[int, float]]
"""Whole demands of a period, each with its chance."""

FAR = 1_000_000


# The economic quantity


def test_the_economic_quantity_and_what_it_costs_a_year() -> None:
    """Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. 2019, example 3.1: K 8, h .225, demand 1300."""

    def cost(quantity: float) -> float:
        return 8 * 1300 / quantity + 0.225 * quantity / 2

    found = economic_quantity(line_cost=8, use=1300, holding=0.225)
    assert found == pytest.approx(304.0467800, abs=5e-8)
    assert cost(found) == pytest.approx(68.4105255, abs=5e-8)
    assert min(cost(found - 1), cost(found + 1)) > cost(found)


def test_a_part_is_bought_by_the_whole_packs_nearest_to_the_economic_quantity() -> None:
    """The same example in pence and pieces, a piece at 90 p held for a quarter of that a year: 304 pieces, 30
    packs of 10, 4 packs of 80."""
    part, handling = Part("A", cost=9_000), Handling(line_cost=800, holding=0.25)
    assert buying(part, 1300 / 52, handling) == Buying(step=1, cash=90, lot=1, quantity=304)
    by_packs = [buying(part._replace(pack_size=pack), 1300 / 52, handling).quantity for pack in (10, 80)]
    assert by_packs == [300, 320]


# One period


class Newsvendor(NamedTuple):
    """What a unit left over and a unit lacking cost, and the mean demand of a period in steps."""

    holding: int
    lacking: int
    mean: float


def units(sold: Floats, newsvendor: Newsvendor, periods: int) -> Wanted:
    """A job for each unit of demand of so many periods, the k-th of a period needing level k; `sold` is the expected
    sales of a period at levels 0, 1, 2 ... Rounded in sum, so that no sum over levels is out by more than half a job.
    """
    upto = np.rint(sold * periods).astype(np.int64)
    level = np.repeat(np.arange(1, len(upto)), np.diff(upto))
    none, cash = np.zeros(len(level), dtype=np.int64), np.array([newsvendor.holding * periods])
    return Wanted(np.arange(len(level)), none, level, len(level), cash, np.zeros(1, dtype=np.int64))


def period_cost(found: closure.Point, newsvendor: Newsvendor, periods: int) -> float:
    """h E(S - D)+ + p E(D - S)+ = p E D + h S - (h + p) E min(D, S)."""
    holding, lacking, mean = newsvendor
    return lacking * mean + (found.cash - (holding + lacking) * found.finished) / periods


@pytest.mark.parametrize(
    ("mean", "holding", "lacking", "periods", "level", "cost"),
    [(50, 18, 70, 2_000, 56, 179.72352), (6, 1, 4, 20_000, 8, 3.5701069)],
)
def test_the_cut_finds_the_stock_for_one_period_of_poisson_demand(
    mean: float, holding: int, lacking: int, periods: int, level: int, cost: float
) -> None:
    """The newsvendor: Snyder & Shen 2019, ch. 4 (h .18, p .70, here in pence; S and cost of Poisson 50 and 6 computed).
    A unit of demand is a job worth h + p, a level costs h a period."""
    case = Newsvendor(holding, lacking, mean)
    beyond = stats.poisson.sf(np.arange(int(stats.poisson.isf(1e-10, mean))), mean)
    asked = units(np.concatenate([[0.0], np.cumsum(beyond)]), case, periods)
    found = closure.best(asked, holding + lacking)
    assert found.levels == (level,)
    assert period_cost(found, case, periods) == pytest.approx(cost, abs=(holding + lacking) * 0.5 / periods)
    for other in (level - 1, level + 1):
        beside = closure.point(asked, np.array([other]))
        assert period_cost(beside, case, periods) > period_cost(found, case, periods)


def test_the_cut_finds_the_stock_for_one_period_of_normal_demand_in_tenths() -> None:
    """Snyder & Shen 2019, example 4.3: h .18, p .70, N(50, 8): S 56.6039559, cost 1.9976052. A step is a tenth."""
    case, periods, step = Newsvendor(18, 70, 500), 1_000, 0.1
    at = np.arange(0, 90, step)
    left = (at - 50) * stats.norm.cdf(at, 50, 8) + 64 * stats.norm.pdf(at, 50, 8)
    asked = units((at - left) / step, case, periods)
    found = closure.best(asked, 88)
    assert found.levels[0] * step == pytest.approx(56.6039559, abs=step)
    cost = period_cost(found, case, periods)
    assert cost * step / 100 == pytest.approx(1.9976052, abs=0.88 * step / periods)
    for other in (found.levels[0] - 10, found.levels[0] + 10):
        assert period_cost(closure.point(asked, np.array([other])), case, periods) > cost


def poisson(mean: float, tail: float = 1e-11) -> Chances:
    """Demands with their chances, but for so much of the upper tail, which goes to the most."""
    most = int(stats.poisson.isf(tail, mean))
    chances = stats.poisson.pmf(np.arange(most), mean)
    return list(enumerate([*chances.tolist(), 1 - float(chances.sum())]))


@pytest.mark.parametrize(("mean", "ratio", "level"), [(50, 0.7 / 0.88, 56), (6, 0.8, 8)])
def test_the_odds_of_a_days_need_cross_the_critical_ratio_at_the_newsvendors_stock(
    mean: float, ratio: float, level: int
) -> None:
    """Snyder & Shen 2019, sec. 4.3: S is the least with F(S) at p / (h + p) or more (computed for Poisson 50 and 6)."""
    cases = tuple(WeightedCase(chance, {"A": qty} if qty else {}) for qty, chance in poisson(mean))
    needs = JobNeeds("J", cases, (), 0.0, 0)
    below, at = (job_odds(needs, {"A": stock}) or 0.0 for stock in (level - 1, level))
    assert below < ratio <= at
    assert day_need_quantiles([needs], probability=ratio, seed=3, draws=100_000) == {"A": level}


# Min and max, period after period


class Case(NamedTuple):
    """Poisson demand, what an order, a unit held and a unit owed cost, and the periods from order to goods."""

    mean: float
    order: float
    held: float
    owed: float
    lead: int = 0


class Course(NamedTuple):
    """A play, and net stock and units owed at the end of each day."""

    outcome: Outcome
    net: Floats
    owed: Floats


PIECE = Item(1, 1_000, "S", 1)


def course(levels: tuple[int, int], stretch: Stretch, reviews: Iterable[int], lead: int) -> Course:
    """A stretch gone through with one part at a penny each."""
    firm = Firm({"A": PIECE._replace(comes_after=lead)}, {"S": Terms(0, None)}, {"S": frozenset(reviews)})
    found = play(firm, stretch, lambda _: {"A": levels})
    raised = stretch._replace(stock={"A": stretch.stock["A"] + FAR})
    above = play(firm, raised, lambda _: {"A": (levels[0] + FAR, levels[1] + FAR)})
    assert above.orders == found.orders
    net = np.array(above.cash, dtype=np.float64) - FAR
    return Course(found, net, np.array(found.cash) - net)


def one_period(levels: tuple[int, int], stock: int, demand: int, lead: int) -> tuple[int, float, float, int]:
    """From the stock before a review, with nothing on its way, to the end of the day on which that order comes: net
    stock, what is there, what is owed, and the orders."""
    jobs = [(lead, {"A": demand})] if demand else []
    found = course(levels, Stretch(lead + 1, jobs, {"A": stock}), [0], lead)
    return int(found.net[-1]), found.outcome.cash[-1], float(found.owed[-1]), found.outcome.orders


def exact_cost(case: Case, levels: tuple[int, int], tail: float = 1e-11) -> float:
    """The long-run cost of a period from the chain of stock positions before a review, all at or below min as one. A
    period played from every position with every demand gives where it leads, and one of lead + 1 periods' demand the
    cost that it brings."""
    demand, until = poisson(case.mean, tail), poisson(case.mean * (case.lead + 1), tail)
    positions = range(levels[0], levels[1] + 1)
    leads = np.zeros((len(positions), len(positions)))
    cost = np.zeros(len(positions))
    for place, position in enumerate(positions):
        for qty, chance in demand:
            end, held, owed, orders = one_period(levels, position, qty, 1)
            leads[place, max(end, levels[0]) - levels[0]] += chance
            cost[place] += chance * orders * case.order
            cost[place] += chance * (case.held * held + case.owed * owed) * (case.lead == 0)
        for qty, chance in until if case.lead else ():
            _, held, owed, _ = one_period(levels, position, qty, case.lead)
            cost[place] += chance * (case.held * held + case.owed * owed)
    balance = np.vstack([(leads.T - np.eye(len(positions)))[1:], np.ones(len(positions))])
    often = np.linalg.solve(balance, np.eye(len(positions))[-1])
    return float(often @ cost)


SIX = Case(6, 5, 1, 4)
SIX_COSTS = [(0, (4, 10), 8.0341116), (2, (17, 25), 10.0273647), (4, (29, 38), 11.4728081)]


@pytest.mark.parametrize(("lead", "levels", "cost"), SIX_COSTS)
def test_the_best_min_and_max_cost_what_they_should_and_no_neighbour_costs_less(
    lead: int, levels: tuple[int, int], cost: float
) -> None:
    """Poisson mean 6, h 1, p 4, K 5 (computed; model of Snyder & Shen 2019, ch. 4). Ordered at or below s up to S,
    as we do at or below min up to max: the neighbours show that s - 1 is another rule. Costs by `exact_cost`."""
    case = SIX._replace(lead=lead)
    low, high = levels
    assert exact_cost(case, levels) == pytest.approx(cost, abs=1e-7)
    for other in ((low - 1, high), (low + 1, high), (low, high - 1), (low, high + 1)):
        assert exact_cost(case, other, 1e-8) > cost + 1e-4


@pytest.mark.parametrize(
    ("mean", "levels", "cost"),
    [
        (10, (6, 40), 35.022),
        (20, (14, 62), 49.173),
        (30, (23, 66), 57.819),
        (40, (33, 87), 64.512),
        (50, (42, 108), 70.975),
        (60, (52, 129), 77.306),
    ],
)
def test_the_best_min_and_max_of_zheng_and_federgruen(mean: int, levels: tuple[int, int], cost: float) -> None:
    """Zheng & Federgruen, Operations Research 39 (1991) 654-665: K 64, h 1, p 9, L 0 (computed to three places). Costs
    by `exact_cost`, a period being two working days as L is 0."""
    assert exact_cost(Case(mean, 64, 1, 9), levels, 1e-8) == pytest.approx(cost, abs=5.1e-4)


BATCHES, PERIODS, BEFORE = 25, 300, 60


def batch_costs(case: Case, levels: tuple[int, int]) -> Floats:
    """The cost of a period in each of many plays of many periods, after some that do not count; demand is seeded."""
    days = 2 if case.lead == 0 else 1
    costs = []
    for seed in range(BATCHES):
        demand = np.random.default_rng(seed).poisson(case.mean, BEFORE + PERIODS).tolist()
        jobs = [(days * at + days - 1, {"A": qty}) for at, qty in enumerate(demand) if qty]
        stretch = Stretch(days * len(demand), jobs, {"A": levels[1]}, days * BEFORE)
        found = course(levels, stretch, range(0, stretch.days, days), max(case.lead, 1))
        held = np.array(found.outcome.cash, dtype=np.float64)
        assert found.owed.min() >= 0
        assert not (held * found.owed).any()
        total = (case.held * held + case.owed * found.owed)[days - 1 :: days].sum() + case.order * found.outcome.orders
        costs.append(total / PERIODS)
    return np.array(costs)


def error(batches: Floats) -> float:
    """The standard error of a mean of batches."""
    return float(batches.std(ddof=1)) / sqrt(len(batches))


@pytest.mark.parametrize(
    ("case", "levels", "cost", "shift"),
    [
        *((SIX._replace(lead=lead), levels, cost, -3) for lead, levels, cost in SIX_COSTS),
        (Case(10, 64, 1, 9), (6, 40), 35.022, -6),
        (Case(20, 64, 1, 9), (14, 62), 49.173, 6),
    ],
)
def test_many_periods_gone_through_cost_what_the_best_min_and_max_should(
    case: Case, levels: tuple[int, int], cost: float, shift: int
) -> None:
    """The same values (computed; Zheng & Federgruen 1991 for the last two) with orders on their way and one review and
    one demand a period: L 2 and 4 are `comes_after` 2 and 4, L 0 the two days of the head of this file. With min and
    max both some units lower or higher the same demand costs more."""
    found = batch_costs(case, levels)
    assert found.mean() == pytest.approx(cost, abs=4 * error(found))
    assert error(found) < 0.015 * cost
    dearer = batch_costs(case, (levels[0] + shift, levels[1] + shift)) - found
    assert dearer.mean() > 4 * error(dearer)


# Fill rates


WEEK: Chances = [(0, 0.5), (1, 0.3), (4, 0.2)]


def negative_binomial(mean: float, variance: float) -> Chances:
    """Demands with their chances up to where next to none is beyond."""
    size, chance = mean**2 / (variance - mean), mean / variance
    most = int(stats.nbinom.isf(1e-9, size, chance))
    return list(enumerate(stats.nbinom.pmf(np.arange(most + 1), size, chance).tolist()))


FILLS = [
    (WEEK, 2, 7, 0.843636, 0.896),
    (WEEK, 2, 8, 0.938182, 0.956),
    (poisson(2, 1e-9), 1, 4, 0.609266, 0.628837),
    (poisson(2, 1e-9), 1, 6, 0.902283, 0.889326),
    (negative_binomial(2, 4), 1, 6, 0.761719, 0.828125),
]
"""Demand of a period, lead time, order-up-to level, fill rate and cycle service.

Boylan & Syntetos, Intermittent Demand Forecasting (2021), sec. 3.6, tables 3.7-3.9 for the first two (printed 84.4 and
93.8 %, the rest computed): weekly demand 0, 1 or 4, three weeks of protection, which is a review every week and two
weeks' lead time. The others, a review every period and a lead time of one, are computed.

These fill rates are 1 - E(D - S)+ / mean, D being the demand of the protection interval: all that is owed at the end of
a period is held against the demand of that period. What was owed before its demand came, E(D' - S)+ with D' that of the
lead time alone, is so counted twice, and the share of jobs that find their unit is higher by that (`found_there`).
"""


def found_there(demand: Chances, lead: int, level: int, fill: float) -> float:
    """The share of units there when asked for, of a fill rate that counts twice what was owed before."""
    mean = sum(qty * chance for qty, chance in demand)
    totals = ((sum(q for q, _ in days), prod(c for _, c in days)) for days in product(demand, repeat=lead))
    return fill + sum(chance * max(total - level, 0) for total, chance in totals) / mean


def test_units_owed_from_before_are_counted_twice_only_where_the_lead_time_can_take_more_than_the_level() -> None:
    """Two weeks take 8 at most, with a chance of .04: .04 / 1.1 more at level 7, nothing at 8."""
    assert found_there(WEEK, 2, 7, 0.843636) == pytest.approx(0.88, abs=6e-7)
    assert found_there(WEEK, 2, 8, 0.938182) == pytest.approx(0.938182, abs=1e-12)


def stretch_of(demands: Sequence[int], level: int, before: int = 0) -> Stretch:
    """A day a period; a unit of demand is a job of its own, so that the share of jobs finished is the fill rate."""
    jobs = [(day, {"A": 1}) for day, qty in enumerate(demands) for _ in range(qty)]
    return Stretch(len(demands), jobs, {"A": level}, before)


def base_stock(level: int) -> tuple[int, int]:
    """The min and max that hold a level up one by one."""
    return min_and_max(level, Buying(step=1, cash=1, lot=1, quantity=1))


@pytest.mark.parametrize(("demand", "lead", "level", "fill", "service"), FILLS)
def test_fill_and_cycle_service_over_every_course_of_the_protection_interval(
    demand: Chances, lead: int, level: int, fill: float, service: float
) -> None:
    """Sources at `FILLS`. The review comes before the day's demand, so that of an order L days late the demand of
    L + 1 days is to be lived through; every such course is played from the full level, and its last day counts. A
    cycle is served when nothing is owed at its end."""
    asked = there = owed = served = 0.0
    for days in product(demand, repeat=lead + 1):
        weight = prod(chance for _, chance in days)
        stretch = stretch_of([qty for qty, _ in days], level, lead)
        found = course(base_stock(level), stretch, range(lead + 1), lead)
        asked += weight * found.outcome.jobs
        there += weight * found.outcome.finished
        owed += weight * float(found.owed[-1])
        served += weight * (found.owed[-1] == 0)
    assert 1 - owed / asked == pytest.approx(fill, abs=6e-7)
    assert there / asked == pytest.approx(found_there(demand, lead, level, fill), abs=6e-7)
    assert served == pytest.approx(service, abs=6e-7)


def ratio(parts: Sequence[float], wholes: Sequence[float]) -> tuple[float, float]:
    """The ratio of two sums over batches and its standard error."""
    part, whole = np.array(parts), np.array(wholes)
    found = float(part.sum() / whole.sum())
    return found, error(part - found * whole) / float(whole.mean())


def demands(chances: Chances, days: int, seed: int) -> list[int]:
    """Seeded demands of so many days."""
    share = np.array([chance for _, chance in chances])
    values = [qty for qty, _ in chances]
    found: list[int] = np.random.default_rng(seed).choice(values, days, p=share / share.sum()).tolist()
    return found


@pytest.mark.parametrize(("demand", "lead", "level", "fill", "service"), FILLS)
def test_fill_and_cycle_service_of_many_periods_gone_through(
    demand: Chances, lead: int, level: int, fill: float, service: float
) -> None:
    """Sources at `FILLS`; the units of a period come one by one, after its review and before the next."""
    found = []
    for seed in range(25):
        stretch = stretch_of(demands(demand, 310, seed), level, 10)
        found.append(course(base_stock(level), stretch, range(310), lead))
    jobs = [one.outcome.jobs for one in found]
    there, doubt = ratio([one.outcome.finished for one in found], jobs)
    assert there == pytest.approx(found_there(demand, lead, level, fill), abs=4 * doubt)
    assert doubt < 0.01
    owed, doubt = ratio([float(one.owed.sum()) for one in found], jobs)
    assert 1 - owed == pytest.approx(fill, abs=4 * doubt)
    served = np.array([(one.owed == 0).mean() for one in found])
    assert served.mean() == pytest.approx(service, abs=4 * error(served))


UNIT = JobNeeds("J", (WeightedCase(1.0, {"A": 1}),), (), 0.0, 9)


def unit_stream(dispersion: float, lead: int, seed: int) -> Stream:
    """Two jobs of one unit a week of one working day, each day reviewed before them."""
    shelf = Shelf("A", 1, 100, 1, reviews_before([0], lead, 1))
    return draw_stream([Kind(UNIT, 2.0)], [shelf], Ahead([0], 1, dispersion), seed=seed, jobs=5_000)


@pytest.mark.parametrize(("demand", "lead", "level", "fill", "service"), FILLS[2:])
def test_the_jobs_of_a_stream_that_find_their_unit_are_the_units_there(
    demand: Chances, lead: int, level: int, fill: float, service: float
) -> None:
    """The computed Poisson and negative binomial values at `FILLS`. Each unit is a job; a day's come in turn after the
    review, and the first of them finds what all since the review of the last order to have come have left."""
    mean = sum(qty * chance for qty, chance in demand)
    dispersion = sum((qty - mean) ** 2 * chance for qty, chance in demand) / mean
    streams = [unit_stream(dispersion, lead, seed) for seed in range(20)]
    there = [margins(one, {"A": level})["A"].there for one in streams]
    assert [outcome(one, {"A": level})[0] for one in streams] == pytest.approx(there, abs=1e-12)
    jobs = [one.wanted.jobs for one in streams]
    found, doubt = ratio([share * count for share, count in zip(there, jobs, strict=True)], jobs)
    assert found == pytest.approx(found_there(demand, lead, level, fill), abs=4 * doubt)
    assert doubt < 0.005
    assert choose(streams[0], completion=found - 0.03).levels == {"A": level}


def as_choices(demand: Chances, periods: int) -> JobNeeds:
    """One job that takes the demand of several periods."""
    outcomes = tuple((chance, {"A": qty}) for qty, chance in demand if qty)
    return JobNeeds("J", (), tuple(ComponentChoice(str(at), outcomes) for at in range(periods)), 1.0, 0)


@pytest.mark.parametrize(("demand", "lead", "level", "fill", "service"), FILLS)
def test_cycle_service_is_the_odds_of_one_job_that_takes_a_whole_interval(
    demand: Chances, lead: int, level: int, fill: float, service: float
) -> None:
    """Sources at `FILLS`."""
    assert job_odds(as_choices(demand, lead + 1), {"A": level}) == pytest.approx(service, abs=6e-7)

"""Prints how what we foretell of a job's needs bears out on made-up firms, and beside other ways to foretell it.

Not a test (those are in tests/needs/test_gates.py, with margins): `.venv/bin/python tests/benchmarks/needs_gates.py`.
Each firm is cut where 70, 80 and 90 % of its jobs are done; the jobs up to the next cut are foretold from those
before it alone. The logistic regression is scikit-learn's, which neither knows the levels nor is known to them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.needs_firms import CUTS, Firm, Period, Table, make_firm, periods, tabled
from vanstock.jobneeds import JobNeeds
from vanstock.kit.odds import job_odds
from vanstock.model import FinishedJob, Job
from vanstock.needs import worths as learning
from vanstock.needs.cases import CaseBook
from vanstock.needs.levels import HALF_LIFE_DAYS
from vanstock.needs.marginals import marginals
from vanstock.needs.worths import HeldOut, UsualOdds, Worths

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Found = TypeVar("Found")
SEEDS = tuple(range(1, 21))
SURE = 1e-3
"""No prediction is scored as nearer to 0 or 1 than this, whoever made it."""
PENALTIES = (0.1, 0.3, 1.0, 3.0)
FEWEST = 200
"""Predictions below which a tenth of the scale is not judged."""
HALF_LIVES = (183.0, HALF_LIFE_DAYS, 730.0, 1e9)
GONE = 1e9
"""A worth at which a level's own jobs no longer count."""
STOCKED = (0.6, 0.85, 0.95)
AS_IT_IS = f"half-life {HALF_LIFE_DAYS:.0f} days"
READING, WITH_READINGS = 1.5, 50


class Score(NamedTuple):
    """Mean log and Brier score of a firm's predictions; less is better."""

    log: float
    brier: float


class Tested(NamedTuple):
    """A firm's predictions by method, with what came true: of parts one by one, and of whole jobs with some stock."""

    said: dict[str, Floats]
    took: Flags
    odds: Floats
    covered: Flags

    def score(self, method: str) -> Score:
        """How good one method's predictions of parts are."""
        return scored(self.said[method], self.took)


class Tenth(NamedTuple):
    """Predictions within one tenth of the scale: how many, the mean said, the share that came true, and the standard
    error of the difference, a firm's predictions taken as one."""

    many: int
    said: float
    true: float
    error: float

    @property
    def points(self) -> float:
        """Percentage points by which more came true than was said."""
        return 100 * (self.true - self.said)


class Against(NamedTuple):
    """Two methods over firms: the ratio of their mean scores, the firms in which the first is at least as good, the
    mean paired difference and its standard error."""

    ratio: float
    as_good: int
    difference: float
    error: float


def scored(said: Floats, took: Flags) -> Score:
    """The two scores of some predictions."""
    given = said.clip(SURE, 1 - SURE)
    return Score(float(-np.log(np.where(took, given, 1 - given)).mean()), float(((given - took) ** 2).mean()))


def tenths(said: Sequence[Floats], true: Sequence[Flags]) -> list[Tenth]:
    """Predictions, a firm each, by tenths of the scale; a tenth without any is left out."""
    firm = np.repeat(np.arange(len(said)), [len(one) for one in said])
    every, came = np.concatenate(said), np.concatenate(true)
    place = np.minimum((every * 10).astype(int), 9)
    inside = [place == tenth for tenth in range(10)]
    return [_tenth(every[here], came[here], firm[here]) for here in inside if here.any()]


def _tenth(said: Floats, true: Flags, firm: NDArray[np.intp]) -> Tenth:
    out = np.bincount(firm, true - said - (true - said).mean())
    return Tenth(len(said), float(said.mean()), float(true.mean()), float(np.sqrt((out**2).sum()) / len(said)))


def worst(found: Iterable[Tenth]) -> float:
    """The most points by which any tenth with `FEWEST` predictions is out."""
    return max(abs(tenth.points) for tenth in found if tenth.many >= FEWEST)


def against(ours: Sequence[float], theirs: Sequence[float]) -> Against:
    """Two methods' scores, a firm each."""
    mine, other = np.array(ours), np.array(theirs)
    gap = mine - other
    error = float(gap.std(ddof=1) / np.sqrt(len(gap)))
    return Against(float(mine.mean() / other.mean()), int((gap <= 0).sum()), float(gap.mean()), error)


def booked(job: FinishedJob) -> Job:
    """A finished job as it was known before the work."""
    return Job(job.job, job.date, "", job.family, job.job_type, job.codes, readings=job.readings)


def foretold(firm: Firm, period: Period, worths: Worths | None = None) -> list[JobNeeds]:
    """What we say that each coming job will take."""
    book = CaseBook.build(firm.jobs[period.past], firm.catalogue, today=period.today, worths=worths)
    return [book.needs_for(booked(job)) for job in firm.jobs[period.coming]]


def by_part(needs: Sequence[JobNeeds], parts: Sequence[str]) -> Floats:
    """The chance of each part (column) for each job (row), as the screen shows it."""
    found = [{line.group: line.probability for line in marginals(one, {})} for one in needs]
    return np.array([[row.get(part, 0.0) for part in parts] for row in found])


Method = Callable[[Table, Sequence[Period]], Floats]


def raw(table: Table, cuts: Sequence[Period]) -> Floats:
    """How often past jobs of the same type and family took the part; of the type, where there are none of both."""
    return np.vstack([_raw(table, period) for period in cuts])


def _raw(table: Table, period: Period) -> Floats:
    past, coming = period.past, period.coming
    same_type = (table.job_type[coming, None] == table.job_type[past]).astype(np.float64)
    both = same_type * (table.family[coming, None] == table.family[past])
    of_type = (same_type @ table.took_component[past] / same_type.sum(axis=1, keepdims=True).clip(1))[
        :, table.component
    ]
    many = both.sum(axis=1, keepdims=True)
    found: Floats = np.where(many > 0, both @ table.took[past] / many.clip(1), of_type * table.share[coming])
    return found


class Fit(NamedTuple):
    """One regression: rows to learn from and to foretell (numbers), what was taken, and which column it is of."""

    past: NDArray[np.intp]
    coming: NDArray[np.intp]
    took: Flags
    column: int


def logistic_fits(table: Table, period: Period, *, by_component: bool) -> Iterator[Fit]:
    """One regression for each part over the jobs whose family it fits, or for each component over all jobs."""
    past, coming = np.arange(*period.past.indices(period.past.stop)), np.arange(period.coming.start, period.coming.stop)
    if by_component:
        for column, took in enumerate(table.took_component.T > 0):
            yield Fit(past, coming, took[past], column)
        return
    for column in range(len(table.parts)):
        fits = table.fits[:, column]
        rows = past[fits[past]]
        yield Fit(rows, coming[fits[coming]], table.took[rows, column], column)


def regressed(table: Table, fit: Fit, penalty: float) -> Floats:
    """What one regression says; where the past has only one answer, the past's share leaning on one job in ten."""
    if not len(fit.coming):
        return np.zeros(0)
    if len(fit.took) == 0 or fit.took.all() or not fit.took.any():
        return np.full(len(fit.coming), (fit.took.sum() + 0.05) / (len(fit.took) + 0.5))
    from sklearn.linear_model import LogisticRegression

    told = np.ptp(table.known[fit.past], axis=0) > 0
    model: Any = LogisticRegression(C=penalty, solver="newton-cholesky", max_iter=300)
    model.fit(table.known[fit.past][:, told], fit.took)
    found: Floats = model.predict_proba(table.known[fit.coming][:, told])[:, 1]
    return found


def logistic(table: Table, period: Period, *, penalty: float, by_component: bool = False, every: int = 1) -> Floats:
    """Regularised logistic regressions on type, family and fault codes, each part (or component, or every so many of
    them) for itself; a part left out is -1."""
    found = np.full((period.coming.stop, len(table.parts)), -1.0)
    for fit in islice(logistic_fits(table, period, by_component=by_component), 0, None, every):
        columns = np.flatnonzero(table.component == fit.column) if by_component else np.array([fit.column])
        said = regressed(table, fit, penalty)[:, None]
        found[np.ix_(fit.coming, columns)] = said * (table.share[fit.coming][:, columns] if by_component else 1.0)
    return found[period.coming]


def best_penalty(table: Table, period: Period, *, by_component: bool) -> float:
    """The penalty that foretells the last fifth of the past best from the rest of it, over every third part at once."""
    cut = int(period.past.stop * 0.8)
    inner = Period(period.today, slice(0, cut), slice(cut, period.past.stop))
    took, made = table.took[inner.coming], {}
    for penalty in PENALTIES:
        said = logistic(table, inner, penalty=penalty, by_component=by_component, every=3)
        tried = table.fits[inner.coming] & (said >= 0)
        made[penalty] = scored(said[tried], took[tried]).log
    return min(made, key=lambda penalty: made[penalty])


def tuned_logistic(table: Table, cuts: Sequence[Period], *, by_component: bool = False) -> Floats:
    """The same at every cut, with the penalty that a firm's jobs before the first cut chose."""
    penalty = best_penalty(table, cuts[0], by_component=by_component)
    return np.vstack([logistic(table, period, penalty=penalty, by_component=by_component) for period in cuts])


OPPONENTS: dict[str, Method] = {"logistic per part": tuned_logistic, "raw frequencies": raw}
STRONGER: dict[str, Method] = {"logistic per component": partial(tuned_logistic, by_component=True)}


def put_to_test(seed: int, opponents: Mapping[str, Method]) -> Tested:
    """One firm put to the test, our own method as "ours"."""
    firm = make_firm(seed)
    table, cuts = tabled(firm), periods(firm.jobs)
    held = slice(cuts[0].coming.start, len(firm.jobs))
    fits = table.fits[held]
    needs = [foretold(firm, cut) for cut in cuts]
    said = {"ours": np.vstack([by_part(some, table.parts) for some in needs])[fits]}
    for name, method in opponents.items():
        said[name] = method(table, cuts)[fits]
    odds, covered = with_stock(firm, [one for some in needs for one in some], seed)
    return Tested(said, table.took[held][fits], odds, covered)


def all_tested(opponents: Mapping[str, Method] = OPPONENTS, seeds: Iterable[int] = SEEDS) -> list[Tested]:
    """Every firm put to the test."""
    return each(partial(put_to_test, opponents=opponents), seeds)


def each(run: Callable[[int], Found], seeds: Iterable[int]) -> list[Found]:
    """What each seed gives, two at a time."""
    with ProcessPoolExecutor(2, get_context("spawn"), _one_thread) as pool:
        return list(pool.map(run, seeds))


def _one_thread() -> None:
    """The sums are too small for more, and the regressions' input needs no second look."""
    from sklearn import set_config
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)
    set_config(skip_parameter_validation=True, assume_finite=True)


def with_stock(firm: Firm, needs: Sequence[JobNeeds], seed: int) -> tuple[Floats, Flags]:
    """The odds of each of a firm's last jobs alone with some stock aboard, and whether its true need was."""
    dice = np.random.default_rng([seed, 26])
    odds, covered = [], []
    for chance in STOCKED:
        stock = {part: _aboard(unit.unit, chance, dice) for part, unit in firm.catalogue.parts.items()}
        odds += [job_odds(one, stock) or 0.0 for one in needs]
        last = firm.jobs[-len(needs) :]
        covered += [all(qty <= stock[part] for part, qty in job.needs.items()) for job in last]
    return np.array(odds), np.array(covered)


def _aboard(unit: str, chance: float, dice: np.random.Generator) -> int:
    some = dice.random() < chance
    return int(some) * int(dice.choice([2000, 4000, 6000]) if unit == "LTR" else dice.choice([1, 2]))


def parts_by_tenths(found: Sequence[Tested], method: str = "ours") -> list[Tenth]:
    """How often parts were taken beside what was said, all firms together."""
    return tenths([one.said[method] for one in found], [one.took for one in found])


def jobs_by_tenths(found: Sequence[Tested]) -> list[Tenth]:
    """How often all of a job's need was aboard beside the odds that were said, all firms together."""
    return tenths([one.odds for one in found], [one.covered for one in found])


def beside(found: Sequence[Tested], method: str) -> tuple[Against, Against]:
    """Our log and Brier scores against a method's."""
    ours, theirs = [one.score("ours") for one in found], [one.score(method) for one in found]
    return (
        against([score.log for score in ours], [score.log for score in theirs]),
        against([score.brier for score in ours], [score.brier for score in theirs]),
    )


Ways = dict[str, list[float]]


def _rows(held: HeldOut, chosen: slice) -> HeldOut:
    levels = [(sums[chosen], many[chosen]) for sums, many in held.levels]
    usual = UsualOdds(held.usual.probability[chosen], held.usual.worth[chosen])
    return HeldOut(levels, usual, held.taken[chosen], held.can_be[chosen])


def tuned(held: HeldOut, fixed: Mapping[str, float]) -> Worths:
    """The worths that foretell some jobs best, one after the other; those that are fixed stay."""
    found = Worths()._replace(**dict[str, Any](fixed))
    for name in ("family", "code", "other_family", "job_type"):
        if name not in fixed:
            tried = [found, *(found._replace(**dict[str, Any]({name: worth})) for worth in learning.TRIED)]
            found = min(tried, key=lambda worths: learning.log_score(held, worths))
    return found


def constants(seeds: Iterable[int] = SEEDS) -> Ways:
    """Log scores, a firm each, of half-lives, default worths and levels left out. The worths are chosen on what comes
    before the first cut and scored on what comes after it, both foretold from earlier jobs alone."""
    return _by_name(each(_constants, seeds))


def _by_name(firms: Sequence[Mapping[str, float]]) -> Ways:
    return {name: [firm[name] for firm in firms] for name in firms[0]}


def _constants(seed: int) -> dict[str, float]:
    firm = make_firm(seed)
    history = CaseBook.build(firm.jobs, firm.catalogue, today=firm.jobs[-1].date, worths=Worths()).history()
    last = int(len(firm.jobs) * (1 - CUTS[0]))
    found = {}
    for days in HALF_LIVES:
        held = learning.held_out(history, half_life_days=days)
        assert held is not None
        before, after = _rows(held, slice(0, -last)), _rows(held, slice(-last, None))
        name = f"half-life {days:.0f} days" if days < GONE else "no fading"
        found[name] = learning.log_score(after, tuned(before, {}))
        if days == HALF_LIFE_DAYS:
            found["default worths"] = learning.log_score(after, Worths())
            for level in ("other_family", "code", "family"):
                found[f"without the level {level}"] = learning.log_score(after, tuned(before, {level: GONE}))
    return found


def readings(move: float, seeds: Iterable[int] = SEEDS) -> Ways:
    """Our log scores of the first jobs after the last cut, a firm each, with readings and with them left out."""
    return _by_name(each(partial(_readings, move=move), seeds))


def _readings(seed: int, move: float) -> dict[str, float]:
    firm = make_firm(seed, reading=move)
    bare = Firm(firm.catalogue, tuple(job._replace(readings="") for job in firm.jobs))
    return {"with": _first_score(firm), "without": _first_score(bare)}


def _first_score(firm: Firm) -> float:
    table, last = tabled(firm), periods(firm.jobs)[-1]
    cut = last._replace(coming=slice(last.coming.start, min(last.coming.start + WITH_READINGS, last.coming.stop)))
    fits = table.fits[cut.coming]
    return scored(by_part(foretold(firm, cut), table.parts)[fits], table.took[cut.coming][fits]).log


def print_tenths(title: str, found: list[Tenth]) -> None:
    """One line a tenth."""
    print(f"\n{title}\n{'count':>9}{'said':>8}{'true':>8}{'points':>9}{'s.e.':>7}")
    for tenth in found:
        print(
            f"{tenth.many:9}{100 * tenth.said:8.1f}{100 * tenth.true:8.1f}{tenth.points:+9.1f}{100 * tenth.error:7.1f}"
        )
    print(f"worst with {FEWEST} or more: {worst(found):.1f} points")


def print_against(name: str, found: Against, mean: float) -> None:
    """One method beside ours."""
    print(
        f"  {name:34}{mean:9.5f}{found.ratio:8.3f}{found.as_good:6}   {found.difference:+.5f} (s.e. {found.error:.5f})"
    )


def main() -> None:
    """Print the whole report."""
    found = all_tested(OPPONENTS | STRONGER)
    print_tenths(f"parts of {len(found)} firms: how often they were taken", parts_by_tenths(found))
    print_tenths("whole jobs with some stock aboard: how often all that was needed was there", jobs_by_tenths(found))
    print("\nmean over firms; ours over theirs; firms in which ours is as good; ours less theirs")
    for place, score in enumerate(("log", "Brier")):
        print(f" {score} score, ours {np.mean([one.score('ours')[place] for one in found]):.5f}")
        for name in (*OPPONENTS, *STRONGER):
            print_against(name, beside(found, name)[place], float(np.mean([one.score(name)[place] for one in found])))
    ways = constants()
    print("\nlog score of ours as it is beside other constants, on the jobs after the first cut")
    for name, scores in ways.items():
        print_against(name, against(ways[AS_IT_IS], scores), float(np.mean(scores)))
    for title, move in ((f"a reading that moves log odds by {READING}", READING), ("readings that are noise", 0.0)):
        both = readings(move)
        print(f"\nlog score with {title}: {np.mean(both['with']):.5f} with it")
        print_against("without it", against(both["with"], both["without"]), float(np.mean(both["without"])))


if __name__ == "__main__":
    main()

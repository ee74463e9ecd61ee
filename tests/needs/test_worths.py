"""How much each level leans on the one above: worths chosen by what foretells a firm's own later jobs best."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import cache
from math import log
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.model import Catalogue, FinishedJob, Fits, Job, Part, Usual
from vanstock.needs.cases import CaseBook
from vanstock.needs.marginals import marginals
from vanstock.needs.worths import (
    LEAST_JOBS,
    TRIED,
    TRIED_ALIKE,
    HeldOut,
    History,
    Worths,
    foretold,
    held_out,
    learnt,
    log_score,
)

TODAY = date(2027, 3, 1)
COMPONENTS = {"GKT": "gasket", "SNS": "sensor", "VAP": "vaporiser"}
FIRM = Catalogue(
    parts={part: Part(part, component=component) for part, component in COMPONENTS.items()},
    fits=(Fits("*", "SNS"), Fits("*", "GKT"), Fits("A", "VAP"), Fits("B", "VAP")),
    usual=(Usual("heat", "*", "sensor", 0.4, 1, 6), Usual("heat", "C", "gasket", 0.7, 1, 12)),
)
BARE = FIRM._replace(usual=())
CODES = ((), ("P2463",), ("P2463-00", "P0401"), ("480B",))
READINGS = ("", "idle 8 mbar", "idle 35 mbar")
Odds = Callable[[str, tuple[str, ...], str], dict[str, float]]


def mixed(family: str, codes: tuple[str, ...], reading: str) -> dict[str, float]:
    """A firm in which family, code and reading each move one part."""
    return {
        "GKT": 0.7 if family == "C" else 0.3,
        "SNS": 0.8 if reading == "idle 35 mbar" else 0.2,
        "VAP": (0.9 if "P2463" in codes else 0.3) if family in "AB" else 0.0,
    }


def firm(
    seed: int,
    odds: Odds = mixed,
    *,
    jobs: int = 240,
    codes: Sequence[tuple[str, ...]] = CODES,
    readings: Sequence[str] = READINGS,
) -> list[FinishedJob]:
    """Finished jobs of four families and two types, two a day, that took each part with the odds given."""
    dice = Random(seed)
    found = []
    for number in range(jobs):
        family, code, reading = dice.choice("ABCD"), dice.choice(codes), dice.choice(readings)
        needs = {part: 1 for part, chance in odds(family, code, reading).items() if dice.random() < chance}
        day, job_type = TODAY - timedelta(days=(jobs - number + 1) // 2), dice.choice(("heat", "clean"))
        found.append(FinishedJob(f"J{number:04}", day, family, job_type, code, needs, reading))
    return found


def history_of(jobs: Sequence[FinishedJob], catalogue: Catalogue = FIRM) -> History:
    return CaseBook.build(jobs, catalogue, today=TODAY, worths=Worths()).history()


@cache
def mixed_history(seed: int) -> History:
    return history_of(firm(seed))


def foretelling(history: History, *, alike: float = 1.0) -> HeldOut:
    held = held_out(history, alike=alike)
    assert held is not None
    return held


WORTHS = st.builds(Worths, *[st.floats(0.5, 64.0)] * 4, alike=st.just(1.0), chosen_on=st.just(0))


@pytest.mark.parametrize("jobs", [*range(90, 120, 2), 240])
@pytest.mark.parametrize("alike", [1.0, 2.0])
def test_a_held_out_job_is_foretold_as_the_book_of_the_jobs_before_it_would(jobs: int, alike: float) -> None:
    past = firm(jobs, jobs=jobs)
    worths = Worths(code=3.0, family=5.0, other_family=7.0, job_type=11.0, alike=alike)
    held = foretelling(history_of(past), alike=alike)
    first = jobs - len(held.taken)
    truth = past[first]
    book = CaseBook.build(past[:first], FIRM, today=truth.date, worths=worths)
    wanted = Job("B", truth.date, "", truth.family, truth.job_type, truth.codes, readings=truth.readings)
    chances = {line.group: line.probability for line in marginals(book.needs_for(wanted), {})}
    for column, part in enumerate(sorted(COMPONENTS)):
        if held.can_be[0, column]:
            assert foretold(held, worths)[0, column] == pytest.approx(chances[part], abs=1e-12)
        else:
            assert part not in chances
        assert held.taken[0, column] == (part in truth.needs)


@settings(max_examples=30)
@given(st.integers(0, 3), st.integers(0, 167), st.integers(0, 2**32 - 1))
def test_what_happens_later_does_not_change_what_was_foretold_before(seed: int, row: int, other: int) -> None:
    history = mixed_history(seed)
    held = foretelling(history, alike=2.0)
    place = len(history.day) - len(held.taken) + row
    taken = history.taken.copy()
    taken[place:] = np.random.default_rng(other).random(taken[place:].shape) < 0.5
    changed = foretelling(history._replace(taken=taken), alike=2.0)
    before, after = foretold(held, Worths()), foretold(changed, Worths())
    assert (before[: row + 1] == after[: row + 1]).all()


def test_what_happened_before_does_change_what_is_foretold() -> None:
    history = mixed_history(0)
    taken = history.taken.copy()
    taken[:10] = ~taken[:10]
    changed = foretelling(history._replace(taken=taken))
    assert (foretold(foretelling(history), Worths()) != foretold(changed, Worths())).any(axis=1).all()


@given(st.integers(0, 3), WORTHS)
def test_the_score_is_the_mean_surprise_at_what_each_job_took_and_did_not_take(seed: int, worths: Worths) -> None:
    """The slow obvious version: one logarithm after the other, over all that the family has."""
    held = foretelling(mixed_history(seed))
    surprises = []
    for chances, took, can in zip(
        foretold(held, worths).tolist(), held.taken.tolist(), held.can_be.tolist(), strict=True
    ):
        for chance, taken, possible in zip(chances, took, can, strict=True):
            given_to_truth = chance if taken else 1 - chance
            if possible:
                surprises.append(-log(min(max(given_to_truth, 0.03), 0.97)))
    assert len(surprises) < held.taken.size
    assert log_score(held, worths) == pytest.approx(sum(surprises) / len(surprises), abs=1e-12)


def test_a_part_that_a_family_does_not_have_is_neither_expected_nor_scored() -> None:
    history = mixed_history(0)
    column = sorted(COMPONENTS).index("VAP")
    family_of = history.marks.family_of
    assert history.can_be[:, column].tolist() == [number in (0, 1) for number in family_of.tolist()]


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 5), WORTHS)
def test_learnt_worths_never_score_worse_than_those_they_start_from(seed: int, start: Worths) -> None:
    history = history_of(firm(seed, jobs=130))
    found = learnt(history, start=start)
    at_start = log_score(foretelling(history), start)
    assert log_score(foretelling(history, alike=found.alike), found) <= at_start
    assert all(value in (*TRIED, begun) for value, begun in zip(found[:4], start[:4], strict=True))
    assert found.alike in TRIED_ALIKE


def test_learnt_worths_say_on_how_many_jobs_they_were_chosen() -> None:
    history = mixed_history(0)
    assert learnt(history).chosen_on == len(foretelling(history).taken) >= LEAST_JOBS


def test_with_too_few_jobs_to_tell_the_worths_stay_as_they_are() -> None:
    start = Worths(code=1.0, family=2.0, other_family=3.0, job_type=4.0)
    for jobs in (0, 1, LEAST_JOBS):
        history = history_of(firm(0, jobs=jobs))
        assert held_out(history) is None
        assert learnt(history) == Worths()
        assert learnt(history, start=start) == start
        assert CaseBook.build(firm(0, jobs=jobs), FIRM, today=TODAY).worths.chosen_on == 0


def differing(family: str, codes: tuple[str, ...], reading: str) -> dict[str, float]:
    return {"SNS": 0.9 if family in "AB" else 0.1, "GKT": 0.9 if family in "AC" else 0.1}


def same_for_all(family: str, codes: tuple[str, ...], reading: str) -> dict[str, float]:
    return {"SNS": 0.5, "GKT": 0.3}


def told_by_the_reading(family: str, codes: tuple[str, ...], reading: str) -> dict[str, float]:
    return {"SNS": 0.9 if reading == "idle 35 mbar" else 0.1, "GKT": 0.3}


def told_by_the_code(family: str, codes: tuple[str, ...], reading: str) -> dict[str, float]:
    return {"SNS": 0.9 if "P2463" in codes else 0.1, "GKT": 0.3}


@cache
def worths_of(seed: int, odds: Odds) -> Worths:
    return learnt(history_of(firm(seed, odds, jobs=480), BARE))


@pytest.mark.parametrize("seed", range(5))
def test_where_families_differ_wholly_they_lean_less_than_where_they_are_all_alike(seed: int) -> None:
    apart, together = worths_of(seed, differing), worths_of(seed, same_for_all)
    assert together.family > 4 * apart.family


@pytest.mark.parametrize("seed", range(5))
def test_where_a_code_says_the_same_in_every_family_its_jobs_lean_less_than_where_codes_are_noise(seed: int) -> None:
    telling, noise = worths_of(seed, told_by_the_code), worths_of(seed, same_for_all)
    assert telling.other_family < noise.other_family


@pytest.mark.parametrize("seed", range(5))
def test_readings_that_decide_a_part_count_and_readings_that_are_noise_hardly_do(seed: int) -> None:
    assert worths_of(seed, told_by_the_reading).alike > 2
    assert worths_of(seed, same_for_all).alike <= 1.5


def test_a_firm_that_takes_no_readings_keeps_them_worth_nothing() -> None:
    assert learnt(history_of(firm(0, readings=("",)))).alike == 1.0


def test_older_jobs_fade_from_the_first_day_of_the_block_that_looks_back_on_them() -> None:
    history = mixed_history(1)
    plain, faded = held_out(history, half_life_days=1e15), held_out(history, half_life_days=30)
    assert plain is not None
    assert faded is not None
    first = len(history.day) - len(plain.taken)
    assert plain.levels[-1][1][0, 0] == pytest.approx(first)
    ages = (history.day[first] - history.day[:first]).tolist()
    assert faded.levels[-1][1][0, 0] == pytest.approx(sum(0.5 ** (age / 30) for age in ages))

"""Weighted cases: the levels of likeness, fading, the usual table, and the shrunken estimate they amount to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.jobneeds import JobNeeds
from vanstock.kit.odds import job_odds
from vanstock.model import Catalogue, FinishedJob, Fits, GoesWith, Job, Part, Usual
from vanstock.needs.cases import LEVELS, CaseBook, Evidence, job_needs
from vanstock.needs.levels import HALF_LIFE_DAYS
from vanstock.needs.mapping import SHARE_WORTH
from vanstock.needs.marginals import marginals
from vanstock.needs.worths import LEAST_JOBS, Worths

TODAY = date(2027, 3, 1)
PARTS = {
    part.part: part
    for part in (
        Part("VAP-A1", component="vaporiser", superseded_by="VAP-A2"),
        Part("VAP-A2", component="vaporiser"),
        Part("VAP-B", component="vaporiser"),
        Part("GKT", component="gasket"),
        Part("SNS", component="sensor"),
        Part("FLU", component="fluid", unit="LTR"),
    )
}
FITS = (
    Fits("AAA", "VAP-A1"),
    Fits("AAA", "VAP-A2"),
    Fits("BBB", "VAP-B"),
    Fits("AAA", "SNS"),
    Fits("*", "GKT"),
    Fits("*", "FLU"),
)
FIRM = Catalogue(parts=PARTS, fits=FITS)
SPLIT = Catalogue(
    parts={part: Part(part, component="vaporiser") for part in ("LOW", "HIGH")},
    fits=(Fits("KRB", "LOW", 0.51), Fits("KRB", "HIGH", 0.49)),
)
OWN_WORTHS = Worths(code=3.0, family=5.0, other_family=7.0, job_type=11.0)

BASE = {
    "P2463": "P2463",
    "P2463-00": "P2463",
    "p246300": "P2463",
    "P1ABC-17": "P1ABC",
    "P1ABC": "P1ABC",
    "480b": "480B",
    "480B": "480B",
    "480B-1": "480B-1",
}
"""Codes as they are typed, and what they are matched on: five characters of the standard shape, else all of it."""
SIDE = {
    "idle 8 mbar": ("idle", "expected"),
    "idle 35 mbar": ("idle", "high"),
    "3000 50 mbar": ("3000", "expected"),
    "3000 210 mbar": ("3000", "high"),
}
"""Readings as they are stored, and on which side of the usual limits they fall."""


def firm(*usual: Usual, goes_with: tuple[GoesWith, ...] = ()) -> Catalogue:
    return Catalogue(parts=PARTS, fits=FITS, usual=usual, goes_with=goes_with)


def past(
    needs: Mapping[str, int],
    *,
    family: str = "AAA",
    job_type: str = "heat",
    age_days: int = 0,
    codes: tuple[str, ...] = (),
    readings: str = "",
) -> FinishedJob:
    return FinishedJob("J", TODAY - timedelta(days=age_days), family, job_type, codes, needs, readings)


def booked(
    family: str = "AAA",
    job_type: str = "heat",
    *,
    codes: tuple[str, ...] = (),
    chosen: tuple[str, ...] = (),
    readings: str = "",
) -> Job:
    return Job("B1", TODAY, "09:00", family, job_type, codes, chosen=chosen, readings=readings)


def probability(needs: JobNeeds, group: str) -> float:
    return {line.group: line.probability for line in marginals(needs, {})}.get(group, 0.0)


def as_weights(needs: JobNeeds) -> dict[tuple[tuple[str, int], ...], float]:
    """The weight of each distinct need."""
    return {tuple(sorted(case.needs.items())): case.weight for case in needs.cases}


def test_with_no_history_and_no_usual_table_nothing_is_known() -> None:
    book = CaseBook.build([], FIRM, today=TODAY)
    needs = book.needs_for(booked(codes=("P2463",)))
    assert not needs.known
    assert (needs.cases, needs.prior, needs.jobs_like_it) == ((), (), 0)
    assert book.evidence(booked()) == Evidence((), (), 0.0, 0.0)


def test_before_there_is_history_the_usual_table_is_all_there_is() -> None:
    catalogue = firm(Usual("heat", "*", "vaporiser", 0.88, 1, 8), Usual("heat", "*", "fluid", 0.85, 2000, 20))
    needs = job_needs(booked(), [], catalogue, today=TODAY)
    assert needs.known
    assert (needs.cases, needs.prior_weight, needs.jobs_like_it) == ((), 1.0, 0)
    assert probability(needs, "VAP-A2") == pytest.approx(0.88)
    assert probability(needs, "FLU") == pytest.approx(0.85)


def test_a_usual_row_for_the_family_overrides_the_one_for_every_family_component_by_component() -> None:
    catalogue = firm(
        Usual("heat", "*", "vaporiser", 0.88, 1, 8),
        Usual("heat", "*", "fluid", 0.85, 2000, 8),
        Usual("heat", "AAA", "fluid", 0.5, 3000, 8),
        Usual("clean", "AAA", "sensor", 0.9, 1, 8),
    )
    needs = job_needs(booked(), [], catalogue, today=TODAY)
    assert [(choice.component, choice.outcomes) for choice in needs.prior] == [
        ("fluid", ((0.5, {"FLU": 3000}),)),
        ("vaporiser", ((0.88, {"VAP-A2": 1}),)),
    ]


def test_jobs_of_the_kind_are_counted_whole_however_old_and_whatever_their_codes() -> None:
    history = [
        past({}),
        past({}, age_days=900, codes=("P2463",)),
        past({}, family="BBB", codes=("P2463",)),
        past({}, job_type="clean"),
    ]
    for codes in ((), ("P2463",), ("P0401",)):
        assert job_needs(booked(codes=codes), history, FIRM, today=TODAY).jobs_like_it == 2


def test_a_case_of_one_year_ago_weighs_half_and_one_of_tomorrow_no_more_than_one_of_today() -> None:
    history = [past({"SNS": 1}), past({}, age_days=int(HALF_LIFE_DAYS))]
    needs = job_needs(booked(), history, FIRM, today=TODAY)
    assert probability(needs, "SNS") == pytest.approx(1 / 1.5)
    ahead = job_needs(booked(), [past({"SNS": 1}), past({}, age_days=-30)], FIRM, today=TODAY)
    assert probability(ahead, "SNS") == pytest.approx(1 / 2)


def test_the_five_levels_and_the_usual_table_mix_as_the_formula_says() -> None:
    code = ("P2463",)
    history = [
        *[past({"SNS": 1}, codes=code)] * 2,  # near: 2 of 2
        *[past({"SNS": 1})] * 1 + [past({})] * 3,  # with these, type and family: 3 of 6
        *[past({}, family="BBB", codes=code)] * 4,  # with the near ones, type and code: 2 of 6
        *[past({"SNS": 1}, family="BBB")] * 2,  # with all of these, type: 5 of 12
        *[past({"SNS": 1}, job_type="clean", codes=code)] * 8,  # with all of these: 13 of 20
    ]
    catalogue = firm(Usual("heat", "*", "sensor", 0.3, 1, 8))
    book = CaseBook.build(history, catalogue, today=TODAY, worths=OWN_WORTHS)
    of_type = (5 + 11 * 13 / 20) / (12 + 11)
    of_type_and_code = (2 + 7 * of_type) / (6 + 7)
    of_kind = (3 + 8 * 0.3 + 5 * of_type_and_code) / (6 + 8 + 5)
    needs = book.needs_for(booked(codes=code))
    assert probability(needs, "SNS") == pytest.approx((2 + 3 * of_kind) / (2 + 3), abs=1e-12)
    assert needs.prior_weight == pytest.approx(3 / 5 * 8 / 19, abs=1e-12)
    uncoded = (3 + 8 * 0.3 + 5 * of_type) / (6 + 8 + 5)
    assert probability(book.needs_for(booked()), "SNS") == pytest.approx(uncoded, abs=1e-12)


def test_a_new_firms_first_jobs_weigh_as_many_jobs_as_they_are_beside_its_usual_table() -> None:
    """The mean of a beta posterior (Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 2); its prior is worth ten."""
    catalogue = firm(Usual("heat", "*", "vaporiser", 0.7, 1, 10))
    for others in range(20):
        history = [past({}, job_type="clean")] * others
        needs = job_needs(booked(codes=("P2463",)), history, catalogue, today=TODAY)
        assert probability(needs, "VAP-A2") == pytest.approx(0.7 * 10 / (10 + others), abs=1e-12)


def test_a_job_type_never_seen_leans_on_all_jobs() -> None:
    needs = job_needs(booked(job_type="air"), [past({"FLU": 2000})] * 3 + [past({})], FIRM, today=TODAY)
    assert needs.known
    assert needs.jobs_like_it == 0
    assert probability(needs, "FLU") == pytest.approx(0.75)


def test_a_family_never_seen_leans_on_its_job_type_and_on_those_with_its_code_first() -> None:
    history = [past({"FLU": 1}, codes=("P2463",))] * 2 + [past({})] * 2 + [past({}, job_type="clean")] * 4
    book = CaseBook.build(history, FIRM, today=TODAY, worths=OWN_WORTHS)
    of_type = (2 + 8 * 2 / 8) / (4 + 8)  # all jobs are eight, and worth no more than that
    uncoded, coded = book.needs_for(booked("NEW")), book.needs_for(booked("NEW", codes=("P2463",)))
    assert uncoded.jobs_like_it == coded.jobs_like_it == 0
    assert probability(uncoded, "FLU") == pytest.approx(of_type, abs=1e-12)
    assert probability(coded, "FLU") == pytest.approx((2 + 7 * of_type) / (2 + 7), abs=1e-12)


@pytest.mark.parametrize("typed", ["P2463", "P2463-00", "p2463-1f", "P246300"])
@pytest.mark.parametrize("kept", ["P2463", "P2463-00", "p2463"])
def test_codes_match_without_their_suffix_and_in_any_case(typed: str, kept: str) -> None:
    history = [past({"SNS": 1}, codes=(kept, "P0101")), past({}, codes=("P2464",))]
    book = CaseBook.build(history, FIRM, today=TODAY, worths=OWN_WORTHS)
    needs = book.needs_for(booked(codes=("P0299", typed)))
    assert needs == book.needs_for(booked(codes=("P0299", "P2463")))
    assert book.evidence(booked(codes=(typed,))).levels[0].jobs == 1


@pytest.mark.parametrize(("typed", "alike"), [("480B", 1), ("480b", 1), ("480B-00", 0), ("480", 0), ("P480B", 0)])
def test_a_makers_code_matches_itself_and_nothing_else(typed: str, alike: int) -> None:
    book = CaseBook.build([past({}, codes=("480B",)), past({})], FIRM, today=TODAY)
    assert book.evidence(booked(codes=(typed,))).levels[0].jobs == alike


def test_two_codes_shared_count_a_case_no_more_than_one() -> None:
    history = [past({"SNS": 1}, codes=("P2463", "P2463-00", "P0401")), past({}, codes=("P0401",))]
    needs = job_needs(booked(codes=("P2463", "P0401")), history, FIRM, today=TODAY)
    assert probability(needs, "SNS") == pytest.approx(1 / 2)


def test_another_familys_case_comes_in_this_familys_part_numbers() -> None:
    needs = job_needs(booked("AAA"), [past({"VAP-B": 1}, family="BBB")], FIRM, today=TODAY)
    assert as_weights(needs) == {(("VAP-A2", 1),): pytest.approx(1.0)}


def test_an_old_number_and_its_successor_are_the_same_case() -> None:
    needs = job_needs(booked(), [past({"VAP-A1": 1}), past({"VAP-A2": 1})], FIRM, today=TODAY)
    assert as_weights(needs) == {(("VAP-A2", 1),): pytest.approx(1.0)}


def test_a_component_that_the_family_does_not_have_drops_out_of_its_cases() -> None:
    needs = job_needs(booked("BBB"), [past({"SNS": 1, "FLU": 2000})], FIRM, today=TODAY)
    assert as_weights(needs) == {(("FLU", 2000),): pytest.approx(1.0)}


def test_a_split_shares_each_case_as_the_table_and_the_familys_own_jobs_say() -> None:
    history = [past({"LOW": 1}, family="KRB")] * 2 + [past({"LOW": 1}, family="KRB", age_days=int(HALF_LIFE_DAYS))]
    low = (0.51 * SHARE_WORTH + 2.5) / (SHARE_WORTH + 2.5)
    needs = job_needs(booked("KRB"), history, SPLIT, today=TODAY)
    assert as_weights(needs) == {(("LOW", 1),): pytest.approx(low), (("HIGH", 1),): pytest.approx(1 - low)}


def test_a_part_chosen_for_the_job_settles_the_split_in_cases_and_in_the_usual_table() -> None:
    catalogue = SPLIT._replace(usual=(Usual("heat", "*", "vaporiser", 1.0, 1, 4),))
    book = CaseBook.build([past({"LOW": 1}, family="KRB")] * 3, catalogue, today=TODAY)
    settled = book.needs_for(booked("KRB", chosen=("HIGH",)))
    assert probability(settled, "HIGH") == pytest.approx(1.0)
    assert probability(settled, "LOW") == 0
    open_still = book.needs_for(booked("KRB"))
    low = (0.51 * SHARE_WORTH + 3) / (SHARE_WORTH + 3)
    assert probability(open_still, "LOW") == pytest.approx(low)
    assert probability(open_still, "HIGH") == pytest.approx(1 - low)
    assert book.needs_for(booked("KRB", chosen=("LOW",))) != settled


def test_a_chosen_part_of_another_component_or_unheard_of_settles_nothing() -> None:
    book = CaseBook.build([past({"VAP-A2": 1, "SNS": 1})] * 2, FIRM, today=TODAY)
    assert as_weights(book.needs_for(booked(chosen=("GKT", "NO-SUCH")))) == as_weights(book.needs_for(booked()))


def test_riders_come_with_cases_and_with_the_usual_table() -> None:
    catalogue = firm(Usual("heat", "*", "vaporiser", 0.8, 1, 4), goes_with=(GoesWith("VAP-A2", "GKT", 1),))
    needs = job_needs(booked(), [past({"VAP-A2": 1}), past({"VAP-A2": 1, "GKT": 1})], catalogue, today=TODAY)
    assert [dict(case.needs) for case in needs.cases] == [{"GKT": 1, "VAP-A2": 1}]
    assert needs.prior[0].outcomes == ((0.8, {"VAP-A2": 1, "GKT": 1}),)
    assert probability(needs, "GKT") == pytest.approx(probability(needs, "VAP-A2"))


def test_parts_that_were_taken_together_come_together() -> None:
    """Half of the jobs took both, half neither: one of the two alone never finishes more than one job in two."""
    history = [past({"VAP-A2": 1, "SNS": 1}), past({}), past({"VAP-B": 1, "SNS": 1}, family="BBB")]
    needs = job_needs(booked(), [*history, past({}, family="BBB")], FIRM, today=TODAY)
    assert set(as_weights(needs)) == {(), (("SNS", 1), ("VAP-A2", 1))}
    assert job_odds(needs, {"SNS": 1}) == job_odds(needs, {"VAP-A2": 1}) == pytest.approx(0.5)
    assert job_odds(needs, {"SNS": 1, "VAP-A2": 1}) == pytest.approx(1.0)


MEASURED = [
    past({"SNS": 1}, readings="idle 35 mbar"),
    past({"FLU": 1}),
    past({"GKT": 1}, readings="idle 8 mbar; after idle 35 mbar"),
]


def test_readings_that_are_worth_nothing_change_nothing() -> None:
    book = CaseBook.build(MEASURED, FIRM, today=TODAY, worths=Worths(alike=1.0))
    needs = book.needs_for(booked(readings="idle 35 mbar"))
    assert needs == book.needs_for(booked())
    assert [probability(needs, part) for part in ("SNS", "FLU", "GKT")] == pytest.approx([1 / 3] * 3)


def test_a_case_measured_alike_counts_most_one_measured_otherwise_least_one_not_measured_between() -> None:
    book = CaseBook.build(MEASURED, FIRM, today=TODAY, worths=Worths(alike=2.0))
    needs = book.needs_for(booked(readings="idle 40 mbar"))
    assert [probability(needs, part) for part in ("SNS", "FLU", "GKT")] == pytest.approx([4 / 7, 2 / 7, 1 / 7])
    for readings in ("", "after idle 35 mbar", "3000 210 mbar"):
        same = book.needs_for(booked(readings=readings))
        assert [probability(same, part) for part in ("SNS", "FLU", "GKT")] == pytest.approx([1 / 3] * 3)


def test_each_kind_of_reading_counts_for_itself() -> None:
    history = [
        past({"SNS": 1}, readings="idle 35 mbar; 3000 210 mbar"),
        past({"FLU": 1}, readings="idle 35 mbar; 3000 50 mbar"),
        past({"GKT": 1}, readings="idle 8 mbar; 3000 50 mbar"),
    ]
    book = CaseBook.build(history, FIRM, today=TODAY, worths=Worths(alike=2.0))
    needs = book.needs_for(booked(readings="idle 35 mbar; 3000 210 mbar"))
    weights = [probability(needs, part) for part in ("SNS", "FLU", "GKT")]
    assert weights == pytest.approx([16 / 21, 4 / 21, 1 / 21])


USUAL = (Usual("heat", "*", "vaporiser", 0.88, 1, 8), Usual("heat", "AAA", "sensor", 0.3, 1, 3))
NUMBER = {"vaporiser": "VAP-A2", "gasket": "GKT", "sensor": "SNS", "fluid": "FLU"}
"""What stands for each component in family AAA."""


def measured(job: FinishedJob | Job) -> dict[str, str]:
    return dict(SIDE[piece] for piece in job.readings.split(";") if piece)


def level_tests(job: Job) -> list[Callable[[FinishedJob], bool]]:
    """The five levels near to far, in as many words."""
    codes = {BASE[code] for code in job.codes}

    def of_type(other: FinishedJob) -> bool:
        return other.job_type == job.job_type

    def of_family(other: FinishedJob) -> bool:
        return other.family == job.family

    def coded(other: FinishedJob) -> bool:
        return any(BASE[code] in codes for code in other.codes)

    return [
        lambda other: of_type(other) and of_family(other) and coded(other),
        lambda other: of_type(other) and of_family(other),
        lambda other: of_type(other) and coded(other),
        of_type,
        lambda other: True,
    ]


def case_weight(job: Job, other: FinishedJob, worths: Worths) -> float:
    """How much a finished job counts beside another one of its level."""
    weight: float = 0.5 ** ((TODAY - other.date).days / HALF_LIFE_DAYS)
    mine, theirs = measured(job), measured(other)
    for kind in mine.keys() & theirs.keys():
        weight = weight * worths.alike if mine[kind] == theirs[kind] else weight / worths.alike
    return weight


def slow_chance(
    job: Job, history: Sequence[FinishedJob], component: str, catalogue: Catalogue, worths: Worths
) -> float:
    """The share of jobs that took a component, shrunk level by level from the top down; nothing known is 0."""
    rows = [row for row in catalogue.usual if row.job_type == job.job_type and row.family in ("*", job.family)]
    levels = level_tests(job)
    worth_of_next = [worths.code, worths.family, worths.other_family, worths.job_type]

    def estimate(level: int) -> tuple[float, float] | None:
        """The estimate at a level, and what it or the fullest of those beyond counts for."""
        took = total = 0.0
        for other in history:
            if levels[level](other):
                weight = case_weight(job, other, worths)
                total += weight
                took += weight * any(PARTS[part].component == component for part in other.needs)
        if level == 1 and rows:
            worth = sum(row.worth_jobs for row in rows) / len(rows)
            total += worth
            took += worth * sum(row.probability for row in rows if row.component == component)
        above = estimate(level + 1) if level < 4 else None
        if above is not None:
            share, fullest = above
            lent = min(worth_of_next[level], fullest)
            return (took + lent * share) / (total + lent), max(total, fullest)
        return (took / total, total) if total else None

    return (estimate(0) or (0.0, 0.0))[0]


def assert_as_slow(
    book: CaseBook, job: Job, history: Sequence[FinishedJob], catalogue: Catalogue, *, within: float = 1e-12
) -> None:
    needs = book.needs_for(job)
    if needs.known:
        assert sum(case.weight for case in needs.cases) + needs.prior_weight == pytest.approx(1.0, abs=1e-12)
    for component, number in NUMBER.items():
        slow = slow_chance(job, history, component, catalogue, book.worths)
        assert probability(needs, number) == pytest.approx(slow, rel=0, abs=within)


CODES = st.lists(st.sampled_from(sorted(BASE)), max_size=2).map(tuple)
MEASUREMENTS = st.tuples(
    st.sampled_from(["", "idle 8 mbar", "idle 35 mbar"]), st.sampled_from(["", "3000 50 mbar", "3000 210 mbar"])
).map(lambda pieces: ";".join(piece for piece in pieces if piece))
HISTORY = st.lists(
    st.builds(
        past,
        st.dictionaries(st.sampled_from(sorted(PARTS)), st.integers(1, 3)),
        family=st.sampled_from(["AAA", "BBB"]),
        job_type=st.sampled_from(["heat", "clean"]),
        age_days=st.integers(0, 1000),
        codes=CODES,
        readings=MEASUREMENTS,
    ),
    max_size=12,
)
WORTHS = st.builds(Worths, *[st.floats(0.5, 64.0)] * 4, alike=st.sampled_from([1.0, 2.0, 4.0]))
CATALOGUE = st.sampled_from([FIRM, firm(*USUAL)])
EACH_BAND = [past({"SNS": 1}, family="BBB", job_type="air", age_days=400, readings=";".join(pair)) for pair in (
    ("idle 8 mbar", "3000 50 mbar"), ("idle 35 mbar", "3000 210 mbar"),
)]  # fmt: skip


@given(HISTORY, CATALOGUE, WORTHS, CODES, st.sampled_from(["heat", "clean", "never seen"]))
def test_the_marginal_of_a_part_is_the_shrunken_estimate_at_every_level(
    history: list[FinishedJob], catalogue: Catalogue, worths: Worths, codes: tuple[str, ...], job_type: str
) -> None:
    book = CaseBook.build(history, catalogue, today=TODAY, worths=worths)
    assert_as_slow(book, booked(job_type=job_type, codes=codes), history, catalogue)


@given(HISTORY, CATALOGUE, WORTHS, CODES, MEASUREMENTS)
def test_the_marginal_is_the_shrunken_estimate_with_cases_weighed_by_their_readings(
    history: list[FinishedJob], catalogue: Catalogue, worths: Worths, codes: tuple[str, ...], readings: str
) -> None:
    history = [*history, *EACH_BAND]
    book = CaseBook.build(history, catalogue, today=TODAY, worths=worths)
    assert_as_slow(book, booked(codes=codes, readings=readings), history, catalogue)


def busy_firm(seed: int, jobs: int = 110) -> list[FinishedJob]:
    """Enough jobs, one a day, for the worths to be learnt; the code and the reading decide some parts."""
    dice = Random(seed)
    found = []
    for day in range(jobs):
        code, reading = dice.choice(sorted(BASE)), dice.choice(sorted(SIDE))
        family = dice.choice(["AAA", "BBB"])
        odds = {
            "VAP-A1" if family == "AAA" else "VAP-B": 0.8 if BASE[code] == "P2463" else 0.2,
            "GKT": 0.6 if family == "AAA" else 0.1,
            "SNS": 0.9 if reading == "idle 35 mbar" else 0.2,
            "FLU": 0.5,
        }
        needs = {part: 1 for part, chance in odds.items() if dice.random() < chance}
        found.append(
            FinishedJob(
                f"J{day:03}",
                TODAY - timedelta(days=4 * (jobs - day)),
                family,
                dice.choice(["heat", "clean"]),
                (code,) if dice.random() < 0.7 else (),
                needs,
                reading if dice.random() < 0.8 else "",
            )
        )
    return found


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("catalogue", [FIRM, firm(*USUAL)], ids=["no usual table", "usual table"])
def test_with_learnt_worths_too_the_marginal_is_the_shrunken_estimate(seed: int, catalogue: Catalogue) -> None:
    history = busy_firm(seed)
    book = CaseBook.build(history, catalogue, today=TODAY)
    assert book.worths.chosen_on >= LEAST_JOBS
    for job in (booked(), booked(codes=("P2463-00", "480B")), booked(job_type="clean", readings="idle 35 mbar")):
        # The readings' powers of 1.5 are kept in single precision.
        assert_as_slow(book, job, history, catalogue, within=1e-12)


@given(HISTORY, CATALOGUE, CODES)
def test_weights_add_up_to_one_and_probabilities_stay_within_it(
    history: list[FinishedJob], catalogue: Catalogue, codes: tuple[str, ...]
) -> None:
    catalogue = catalogue._replace(goes_with=(GoesWith("VAP-A2", "GKT", 2),))
    needs = job_needs(booked(codes=codes), history, catalogue, today=TODAY)
    assert needs.known == bool(history or catalogue.usual)
    if needs.known:
        assert sum(case.weight for case in needs.cases) + needs.prior_weight == pytest.approx(1.0, abs=1e-12)
    lines = marginals(needs, {})
    assert all(0 < line.probability <= 1 and line.qty > 0 for line in lines)
    assert [line.probability for line in lines] == sorted((line.probability for line in lines), reverse=True)


@given(HISTORY, CATALOGUE, WORTHS, WORTHS)
def test_a_booking_without_codes_ignores_the_levels_of_codes(
    history: list[FinishedJob], catalogue: Catalogue, worths: Worths, other: Worths
) -> None:
    changed = worths._replace(code=other.code, other_family=other.other_family)
    bare = [job._replace(codes=()) for job in history]
    books = [
        CaseBook.build(history, catalogue, today=TODAY, worths=worths),
        CaseBook.build(history, catalogue, today=TODAY, worths=changed),
        CaseBook.build(bare, catalogue, today=TODAY, worths=worths),
    ]
    one, *others = [as_weights(book.needs_for(booked())) for book in books]
    assert all(found == pytest.approx(one, abs=1e-12) for found in others)


@given(HISTORY, CODES, st.randoms())
def test_the_order_of_the_past_does_not_matter(
    history: list[FinishedJob], codes: tuple[str, ...], order: Random
) -> None:
    mixed = list(history)
    order.shuffle(mixed)
    job, catalogue = booked(codes=codes), firm(*USUAL)
    one, other = (as_weights(job_needs(job, jobs, catalogue, today=TODAY)) for jobs in (history, mixed))
    assert list(one) == list(other)
    assert one == pytest.approx(other)


def test_the_order_in_which_the_past_is_read_does_not_matter_to_the_worths_either() -> None:
    history = busy_firm(5)
    books = [CaseBook.build(jobs, FIRM, today=TODAY) for jobs in (history, history[::-1])]
    assert books[0].worths == books[1].worths


def test_a_book_asked_twice_answers_each_job_under_its_own_number() -> None:
    book = CaseBook.build([past({"SNS": 1})], FIRM, today=TODAY)
    first, second = (book.needs_for(Job(name, TODAY, "", "AAA", "heat")) for name in ("B1", "B2"))
    assert (first.job, second.job) == ("B1", "B2")
    assert first.cases == second.cases


def test_a_book_asked_for_other_codes_readings_or_parts_does_not_repeat_its_last_answer() -> None:
    history = [past({"SNS": 1}, codes=("P2463",), readings="idle 35 mbar"), past({}, readings="idle 8 mbar")]
    asked = [booked(), booked(codes=("P2463",)), booked(readings="idle 35 mbar"), booked("BBB"), booked(job_type="air")]
    worths = Worths(alike=2.0)
    kept = CaseBook.build(history, FIRM, today=TODAY, worths=worths)
    for job in [*asked, *asked[::-1]]:
        assert kept.needs_for(job) == CaseBook.build(history, FIRM, today=TODAY, worths=worths).needs_for(job)


def test_where_no_fits_row_says_what_serves_a_familys_own_jobs_do() -> None:
    bare = Catalogue(parts=PARTS, fits=tuple(row for row in FITS if row.part != "SNS"))
    needs = job_needs(booked(), [past({"SNS": 1}), past({})], bare, today=TODAY)
    assert probability(needs, "SNS") == pytest.approx(0.5)
    other = job_needs(booked("BBB"), [past({"SNS": 1})], bare, today=TODAY)
    assert probability(other, "SNS") == 0


@given(HISTORY, CATALOGUE, WORTHS, CODES)
def test_what_an_estimate_rests_on_adds_up_to_it(
    history: list[FinishedJob], catalogue: Catalogue, worths: Worths, codes: tuple[str, ...]
) -> None:
    named = [job._replace(job=f"J{number}") for number, job in enumerate(history)]
    book, job = CaseBook.build(named, catalogue, today=TODAY, worths=worths), booked(codes=codes)
    found, needs = book.evidence(job), book.needs_for(job)
    if not needs.known:
        assert found == Evidence((), (), 0.0, 0.0)
        return
    assert sum(weight for _, weight in found.jobs) + found.usual_share == pytest.approx(1.0, abs=1e-12)
    assert sum(level.share for level in found.levels) == pytest.approx(1.0, abs=1e-12)
    assert found.usual_share == pytest.approx(needs.prior_weight, abs=1e-12)
    assert sorted(one.job for one, _ in found.jobs) == sorted(one.job for one in named)
    took = sum(weight for one, weight in found.jobs if "SNS" in one.needs)
    usual = sum(row.probability for row in catalogue.usual if row.component == "sensor")
    assert took + found.usual_share * usual == pytest.approx(probability(needs, "SNS"), abs=1e-12)


@given(HISTORY, WORTHS, CODES)
def test_each_level_says_how_many_jobs_it_holds_what_they_count_and_its_share(
    history: list[FinishedJob], worths: Worths, codes: tuple[str, ...]
) -> None:
    job = booked(codes=codes)
    levels = CaseBook.build([*history, past({})], FIRM, today=TODAY, worths=worths).evidence(job).levels
    left = 1.0
    for name, level, belongs in zip(LEVELS, levels, level_tests(job), strict=True):
        members = [other for other in [*history, past({})] if belongs(other)]
        faded = sum(case_weight(job, other, Worths()) for other in members)
        own = faded / (faded + level.worth) if members else 0.0
        assert (level.name, level.jobs) == (name, len(members))
        assert level.faded == pytest.approx(faded)
        assert level.share == pytest.approx(left * own, abs=1e-12)
        left -= left * own
    fullest = [max(level.faded for level in levels[nearest:]) for nearest in range(1, 5)]
    assert [level.worth for level in levels] == pytest.approx([*map(min, worths[:4], fullest), 0.0])


def test_evidence_comes_heaviest_first_and_of_the_same_weight_newest_first() -> None:
    history = [
        past({}, family="BBB")._replace(job="OTHER FAMILY"),
        past({}, age_days=int(HALF_LIFE_DAYS))._replace(job="OLD"),
        past({}, age_days=-5)._replace(job="COMING"),
        past({})._replace(job="B"),
        past({})._replace(job="A"),
        past({}, codes=("P2463",))._replace(job="NEAR"),
    ]
    worths = Worths(code=1.0, family=1.0, other_family=1.0, job_type=1.0)
    found = CaseBook.build(history, FIRM, today=TODAY, worths=worths).evidence(booked(codes=("P2463-00",)))
    assert [job.job for job, _ in found.jobs] == ["NEAR", "COMING", "A", "B", "OLD", "OTHER FAMILY"]


def test_the_usual_tables_share_and_worth_are_told() -> None:
    catalogue = firm(*USUAL)
    found = CaseBook.build([], catalogue, today=TODAY).evidence(booked())
    assert (found.usual_share, found.usual_worth) == (1.0, 5.5)
    worths = Worths(family=4.5)
    beside = CaseBook.build([past({})] * 10, catalogue, today=TODAY, worths=worths).evidence(booked())
    assert beside.usual_share == pytest.approx(5.5 / (10 + 5.5 + 4.5))

"""Weighted cases: the levels, fading, the usual table, and the shrunken estimate they amount to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.jobneeds import JobNeeds
from vanstock.model import Catalogue, FinishedJob, Fits, GoesWith, Job, Part, Usual
from vanstock.needs.cases import HALF_LIFE_DAYS, WORTH_JOBS, CaseBook, job_needs
from vanstock.needs.marginals import marginals

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


def firm(*usual: Usual, goes_with: tuple[GoesWith, ...] = ()) -> Catalogue:
    return Catalogue(parts=PARTS, fits=FITS, usual=usual, goes_with=goes_with)


def past(
    needs: Mapping[str, int], *, family: str = "AAA", job_type: str = "heat", age_days: int = 0
) -> FinishedJob:  # fmt: skip
    return FinishedJob("J", TODAY - timedelta(days=age_days), family, job_type, (), needs)


def booked(family: str = "AAA", job_type: str = "heat") -> Job:
    return Job("B1", TODAY, "09:00", family, job_type)


def probability(needs: JobNeeds, group: str) -> float:
    return {line.group: line.probability for line in marginals(needs, {})}.get(group, 0.0)


def test_with_no_history_and_no_usual_table_nothing_is_known() -> None:
    needs = job_needs(booked(), [], FIRM, today=TODAY)
    assert not needs.known
    assert (needs.cases, needs.prior, needs.jobs_like_it) == ((), (), 0)


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


def test_jobs_of_the_kind_are_counted_whole_however_old() -> None:
    history = [past({}), past({}, age_days=900), past({}, family="BBB"), past({}, job_type="clean")]
    assert job_needs(booked(), history, FIRM, today=TODAY).jobs_like_it == 2


def test_a_case_of_one_year_ago_weighs_half() -> None:
    history = [past({"SNS": 1}), past({}, age_days=int(HALF_LIFE_DAYS))]
    needs = job_needs(booked(), history, FIRM, today=TODAY)
    assert probability(needs, "SNS") == pytest.approx(1 / 1.5)


def test_the_levels_mix_as_the_formula_says() -> None:
    near, of_type, other = [past({"SNS": 1})] * 2 + [past({})], [past({}, family="BBB")] * 5, 12
    history = near + of_type + [past({"SNS": 1}, job_type="clean")] * other
    needs = job_needs(booked(), history, firm(Usual("heat", "*", "sensor", 0.3, 1, 8)), today=TODAY)
    everything = (2 + other) / (3 + 5 + other)
    type_level = (2 + WORTH_JOBS * everything) / (8 + WORTH_JOBS)
    assert probability(needs, "SNS") == pytest.approx((2 + 8 * 0.3 + WORTH_JOBS * type_level) / (3 + 8 + WORTH_JOBS))
    assert needs.prior_weight == pytest.approx(8 / 15)


def test_a_job_type_never_seen_leans_on_all_jobs() -> None:
    needs = job_needs(booked(job_type="air"), [past({"FLU": 2000})] * 3 + [past({})], FIRM, today=TODAY)
    assert needs.known
    assert needs.jobs_like_it == 0
    assert probability(needs, "FLU") == pytest.approx(0.75)


def test_another_familys_case_comes_in_this_familys_part_numbers() -> None:
    needs = job_needs(booked("AAA"), [past({"VAP-B": 1}, family="BBB")], FIRM, today=TODAY)
    assert [dict(case.needs) for case in needs.cases] == [{"VAP-A2": 1}]


def test_an_old_number_and_its_successor_are_the_same_case() -> None:
    needs = job_needs(booked(), [past({"VAP-A1": 1}), past({"VAP-A2": 1})], FIRM, today=TODAY)
    assert [dict(case.needs) for case in needs.cases] == [{"VAP-A2": 1}]
    assert needs.cases[0].weight == pytest.approx(1.0)


def test_a_component_that_the_family_does_not_have_drops_out_of_its_cases() -> None:
    needs = job_needs(booked("BBB"), [past({"SNS": 1, "FLU": 2000})], FIRM, today=TODAY)
    assert [dict(case.needs) for case in needs.cases] == [{"FLU": 2000}]


def test_a_split_shares_each_case_and_never_merges_the_two_numbers() -> None:
    parts = {p: Part(p, component="vaporiser") for p in ("LOW", "HIGH")}
    catalogue = Catalogue(parts=parts, fits=(Fits("KRB", "LOW", 0.51), Fits("KRB", "HIGH", 0.49)))
    needs = job_needs(booked("KRB"), [past({"LOW": 1}, family="KRB")] * 2, catalogue, today=TODAY)
    assert {tuple(case.needs.items()): case.weight for case in needs.cases} == {
        (("HIGH", 1),): pytest.approx(0.49),
        (("LOW", 1),): pytest.approx(0.51),
    }


def test_riders_come_with_cases_and_with_the_usual_table() -> None:
    catalogue = firm(Usual("heat", "*", "vaporiser", 0.8, 1, 4), goes_with=(GoesWith("VAP-A2", "GKT", 1),))
    needs = job_needs(booked(), [past({"VAP-A2": 1}), past({"VAP-A2": 1, "GKT": 1})], catalogue, today=TODAY)
    assert [dict(case.needs) for case in needs.cases] == [{"GKT": 1, "VAP-A2": 1}]
    assert needs.prior[0].outcomes == ((0.8, {"VAP-A2": 1, "GKT": 1}),)
    assert probability(needs, "GKT") == pytest.approx(probability(needs, "VAP-A2"))


def test_the_marginal_is_the_beta_binomial_estimate_of_the_rat_tumours() -> None:
    """Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), table 5.1: alpha 1.3561494, beta 8.6150579,
    4 of 14 -> .2234410 (printed .223, from memory). The levels above hold the same jobs, so their
    mean is 4/14 at a worth of WORTH_JOBS; that much is taken off again."""
    alpha, beta = 1.3561494, 8.6150579
    usual = Usual("heat", "AAA", "sensor", alpha / (alpha + beta), 1, alpha + beta)
    history = [past({"SNS": 1})] * 4 + [past({})] * 10
    needs = job_needs(booked(), history, firm(usual), today=TODAY)
    posterior = (probability(needs, "SNS") * (14 + alpha + beta + WORTH_JOBS) - WORTH_JOBS * 4 / 14) / (
        14 + alpha + beta
    )
    assert posterior == pytest.approx(0.2234410, abs=1e-7)


HISTORY = st.lists(
    st.builds(
        past,
        st.dictionaries(st.sampled_from(["VAP-A1", "VAP-A2", "VAP-B", "GKT", "SNS", "FLU"]), st.integers(1, 3)),
        family=st.sampled_from(["AAA", "BBB"]),
        job_type=st.sampled_from(["heat", "clean"]),
        age_days=st.integers(0, 1000),
    ),
    max_size=12,
)
USUAL = firm(
    Usual("heat", "*", "vaporiser", 0.88, 1, 8),
    Usual("heat", "AAA", "sensor", 0.3, 1, 3),
    goes_with=(GoesWith("VAP-A2", "GKT", 2),),
)


@given(HISTORY, st.sampled_from([FIRM, USUAL]))
def test_weights_add_up_to_one_and_probabilities_stay_within_it(
    history: list[FinishedJob], catalogue: Catalogue
) -> None:
    needs = job_needs(booked(), history, catalogue, today=TODAY)
    if needs.known:
        assert sum(case.weight for case in needs.cases) + needs.prior_weight == pytest.approx(1.0)
    lines = marginals(needs, {})
    assert all(0 < line.probability <= 1 and line.qty > 0 for line in lines)
    assert [line.probability for line in lines] == sorted((line.probability for line in lines), reverse=True)


@given(HISTORY)
def test_the_marginal_of_a_part_is_the_shrunken_estimate_at_every_level(history: list[FinishedJob]) -> None:
    """The slow obvious version: shrink the share of jobs with a sensor, level by level."""

    def tally(jobs: list[FinishedJob]) -> tuple[float, float]:
        weights = [(0.5 ** ((TODAY - job.date).days / HALF_LIFE_DAYS), "SNS" in job.needs) for job in jobs]
        return sum(w for w, took in weights if took), sum(w for w, _ in weights)

    took, total = 3 * 0.3, 3.0
    needs = job_needs(booked(), history, firm(Usual("heat", "AAA", "sensor", 0.3, 1, 3)), today=TODAY)
    if history:
        took_all, total_all = tally(history)
        took_type, total_type = tally([job for job in history if job.job_type == "heat"])
        level = (took_type + WORTH_JOBS * took_all / total_all) / (total_type + WORTH_JOBS)
        took_own, total_own = tally([job for job in history if (job.job_type, job.family) == ("heat", "AAA")])
        took, total = took + took_own + WORTH_JOBS * level, total + total_own + WORTH_JOBS
    assert probability(needs, "SNS") == pytest.approx(took / total)


@given(HISTORY, st.randoms())
def test_the_order_of_the_past_does_not_matter(history: list[FinishedJob], order: Random) -> None:
    mixed = list(history)
    order.shuffle(mixed)
    one, other = (job_needs(booked(), jobs, USUAL, today=TODAY) for jobs in (history, mixed))
    assert [dict(case.needs) for case in one.cases] == [dict(case.needs) for case in other.cases]
    assert [case.weight for case in one.cases] == pytest.approx([case.weight for case in other.cases])


def test_a_book_asked_twice_answers_each_job_under_its_own_number() -> None:
    book = CaseBook.build([past({"SNS": 1})], FIRM, today=TODAY)
    first, second = (book.needs_for(Job(name, TODAY, "", "AAA", "heat")) for name in ("B1", "B2"))
    assert (first.job, second.job) == ("B1", "B2")
    assert first.cases == second.cases


def test_where_no_fits_row_says_what_serves_a_familys_own_jobs_do() -> None:
    bare = Catalogue(parts=PARTS, fits=tuple(row for row in FITS if row.part != "SNS"))
    needs = job_needs(booked(), [past({"SNS": 1}), past({})], bare, today=TODAY)
    assert probability(needs, "SNS") == pytest.approx(0.5)
    other = job_needs(booked("BBB"), [past({"SNS": 1})], bare, today=TODAY)
    assert probability(other, "SNS") == 0

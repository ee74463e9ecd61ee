"""Why a job's odds are what they are: its levels, counts, nearest jobs, codes, hints, and what is refused."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from vanstock.errors import BadValue, NotFound
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.file import writing
from vanstock.model import Job, Used
from vanstock.needs.cases import LEVELS
from vanstock.routines import booking, job, morning
from vanstock.routines.jobwhy import NEAREST, JobWhy, why_job
from vanstock.routines.session import Session

TUESDAY = date(2027, 3, 2)
PAST: tuple[tuple[str, int, str, str, str, dict[str, int]], ...] = (
    ("N1", 10, "AAA", "heat-source", "P20CB", {"VAP-2": 1, "GKT-1": 1}),
    ("N2", 20, "AAA", "heat-source", "P20CB-00;P2463", {"VAP-1": 1}),
    ("N3", 30, "AAA", "heat-source", "P2463", {"FLU-1": 2000}),
    ("N4", 40, "AAA", "heat-source", "", {}),
    ("N5", 50, "BBB", "heat-source", "P20CB", {"FLU-1": 2000}),
    ("N6", 60, "BBB", "heat-source", "P0401", {"FLU-1": 1500}),
    ("N7", 70, "AAA", "clean", "P20CB", {"SNS-1": 1}),
)  # fmt: skip
"""Name, age in days, family, type, codes, parts taken: jobs of each level of likeness."""


def import_past(session: Session, rows: Any = PAST) -> None:
    jobs, used = [], []
    for name, age, family, kind, codes, parts in rows:
        day = session.today - timedelta(days=age)
        jobs.append(Job(name, day, "09:00", family, kind, tuple(filter(None, codes.split(";"))), "done"))
        used += [Used(name, part, qty, 0) for part, qty in parts.items()]
    with writing(session.ledger) as ledger:
        post_import(ledger, ImportedFacts(jobs, used), at=session.now, progress=lambda _: None)


@pytest.fixture
def why(session: Session) -> JobWhy:
    import_past(session)
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "heat-source", ("P20CB-17", "P246B", "P244C")))
    return why_job(session, "ONE")


def test_the_levels_are_named_from_near_to_far_with_how_many_jobs_each_has(why: JobWhy) -> None:
    assert tuple(level.name for level in why.evidence.levels) == LEVELS
    assert [level.jobs for level in why.evidence.levels] == [2, 4, 3, 6, 7]
    assert (why.alike, why.same_code) == (4, 2)


def test_a_job_counts_for_less_the_older_it_is(why: JobWhy) -> None:
    """Half after 365 days: the two nearest are 10 and 20 days old."""
    near = why.evidence.levels[0]
    assert near.faded == pytest.approx(0.5 ** (10 / 365) + 0.5 ** (20 / 365))


def test_shares_of_levels_and_weights_of_jobs_each_add_up_to_one(why: JobWhy) -> None:
    assert sum(level.share for level in why.evidence.levels) == pytest.approx(1)
    weights = [weight for _, weight in why.evidence.jobs]
    assert sum(weights) + why.evidence.usual_share == pytest.approx(1)
    assert weights == sorted(weights, reverse=True)


def test_the_nearest_jobs_come_heaviest_first_with_what_they_took(why: JobWhy) -> None:
    assert [near.job.job for near in why.nearest[:2]] == ["N1", "N2"]
    assert [(part.part, qty) for part, qty in why.nearest[0].took] == [("GKT-1", 1), ("VAP-2", 1)]
    assert [near.weight for near in why.nearest] == sorted((near.weight for near in why.nearest), reverse=True)
    assert len(why.nearest) == 7 <= NEAREST


def test_each_component_says_how_many_jobs_like_it_took_it(why: JobWhy) -> None:
    took = {row.component: (row.alike, row.same_code) for row in why.took}
    assert took["vaporiser"] == (2, 2)
    assert took["cleaning fluid"] == (1, 0)
    assert took["pressure sensor"] == (0, 0)
    chances = [row.probability for row in why.took]
    assert chances == sorted(chances, reverse=True)


def test_the_chance_of_a_component_is_the_sum_over_its_part_numbers(session: Session) -> None:
    from vanstock.ledger import catalogue
    from vanstock.model import Fits, Part

    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Part, [Part("VAP-3", "vaporiser, late", "vaporiser", cost=1, supplier="NEXT")])
        catalogue.save_rows(ledger, Fits, [Fits("AAA", "VAP-3", 0.25)])
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "heat-source"))
    found = why_job(session, "ONE")
    assert {row.component: row.probability for row in found.took}["vaporiser"] == pytest.approx(0.88)
    assert sum(need.component == "vaporiser" for need in found.outlook.needs) == 2


def test_generic_codes_are_put_in_plain_words_and_what_they_point_to_together_is_told(why: JobWhy) -> None:
    assert [code for code, _ in why.codes] == ["P20CB-17", "P246B", "P244C"]
    assert all(meaning for _, meaning in why.codes)
    (hint,) = why.hints
    assert hint.startswith("P246B with P244C: ")
    assert "Rule out fuse, pump and relay first; the maker's test comes first." in hint


def test_the_odds_and_the_advice_are_those_of_the_load_out_of_its_day_and_van(session: Session) -> None:
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "heat-source"))
    booking.add_booking(session, Job("TWO", TUESDAY, "13:00", "AAA", "heat-source"))
    whole, found = morning.load_out(session, TUESDAY), why_job(session, "TWO")
    assert found.outlook == whole.jobs[1]
    assert (found.date, found.van) == (TUESDAY, "van")
    assert found.do == next((do for do in whole.do if do.job.job == "TWO"), None)


def test_before_any_finished_job_the_usual_table_is_all_there_is(session: Session) -> None:
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "heat-source"))
    found = why_job(session, "ONE")
    assert found.evidence.usual_share == pytest.approx(1)
    assert found.evidence.usual_worth == pytest.approx((8 + 20) / 2), "the mean of its two rows"
    assert (found.nearest, found.alike) == ((), 0)
    assert sum(level.share for level in found.evidence.levels) == pytest.approx(1)


def test_with_nothing_to_go_by_there_are_no_levels(session: Session) -> None:
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "never seen"))
    found = why_job(session, "ONE")
    assert (found.evidence.levels, found.took, found.outlook.odds) == ((), (), None)


def test_the_worths_say_on_how_many_jobs_they_were_chosen(session: Session, why: JobWhy) -> None:
    assert why.worths.chosen_on == 0
    many = [(f"M{n}", n, "AAA", "clean", "P2463", {"FLU-1": 2000}) for n in range(1, 121)]
    import_past(session, many)
    assert why_job(session, "ONE").worths.chosen_on > 0


@pytest.mark.parametrize(("act", "says"), [(job.finish, "is finished"), (booking.cancel_booking, "is cancelled")])
def test_a_job_that_is_not_booked_has_no_odds(session: Session, act: Any, says: str) -> None:
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "clean"))
    act(session, "ONE")
    with pytest.raises(BadValue, match=f"job ONE {says}: only a booked job has odds"):
        why_job(session, "ONE")


def test_a_job_that_there_is_not_is_told(session: Session) -> None:
    with pytest.raises(NotFound, match="no job 'NONE'"):
        why_job(session, "NONE")

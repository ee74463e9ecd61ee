"""Which finished jobs are like which: codes without their suffix, readings by the side they fall on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.model import FinishedJob, Job
from vanstock.needs.levels import Index, bands_of, likeness, measured_alike

DAY = date(2027, 3, 1)
BASE = {"P2463": "P2463", "P2463-00": "P2463", "p24631F": "P2463", "P0401": "P0401", "480B": "480B", "480b": "480B"}
"""Codes as they are typed, and what they are matched on."""
SIDE = {
    "idle 8 mbar": ("idle", "expected"),
    "idle 12 mbar": ("idle", "expected"),
    "idle 35 mbar": ("idle", "high"),
    "3000 50 mbar": ("3000", "expected"),
    "3000 210 mbar": ("3000", "high"),
}
"""Readings as they are stored, and on which side of the usual limits they fall."""


def past(
    family: str = "AAA", job_type: str = "heat", codes: Sequence[str] = (), readings: str = ""
) -> FinishedJob:  # fmt: skip
    return FinishedJob("J", DAY, family, job_type, tuple(codes), {}, readings)


def booked(family: str = "AAA", job_type: str = "heat", codes: Sequence[str] = (), readings: str = "") -> Job:
    return Job("B", DAY, "", family, job_type, tuple(codes), readings=readings)


def levels_of(job: Job | FinishedJob, jobs: Sequence[FinishedJob]) -> list[list[bool]]:
    """For each past job which of the four levels it is of."""
    index = Index.of(jobs)
    found = likeness(index.marks([job]), index.marks(jobs))
    return [[bool(level[0][number]) for level in found] for number in range(len(jobs))]


def alike(job: Job | FinishedJob, jobs: Sequence[FinishedJob]) -> list[float]:
    index = Index.of(jobs)
    found: list[float] = measured_alike(index.marks([job]), index.marks(jobs))[0].tolist()
    return found


CODES = st.lists(st.sampled_from(sorted(BASE)), max_size=3)
READINGS = st.tuples(
    st.sampled_from(["", "idle 8 mbar", "idle 12 mbar", "idle 35 mbar"]),
    st.sampled_from(["", "3000 50 mbar", "3000 210 mbar"]),
).map(lambda pieces: ";".join(piece for piece in pieces if piece))
EACH_BAND = [past(readings="idle 8 mbar;3000 50 mbar"), past(readings="idle 35 mbar;3000 210 mbar")]
PAST = st.builds(past, st.sampled_from("AB"), st.sampled_from("xy"), CODES, READINGS)
BOOKED = st.builds(booked, st.sampled_from("ABC"), st.sampled_from("xyz"), CODES, READINGS)


@given(BOOKED, st.lists(PAST, min_size=1, max_size=6))
def test_the_levels_are_what_their_names_say(job: Job, jobs: list[FinishedJob]) -> None:
    """The slow obvious version, one pair of jobs after the other."""
    codes = {BASE[code] for code in job.codes}
    for other, found in zip(jobs, levels_of(job, jobs), strict=True):
        same_type, same_family = other.job_type == job.job_type, other.family == job.family
        shared = bool(codes & {BASE[code] for code in other.codes})
        assert found == [
            same_type and same_family and shared,
            same_type and same_family,
            same_type and shared,
            same_type,
        ]


@given(BOOKED, st.lists(PAST, min_size=1, max_size=6))
def test_measured_alike_is_bands_shared_less_bands_that_differ(job: Job, jobs: list[FinishedJob]) -> None:
    """The slow obvious version, kind by kind."""
    jobs = [*jobs, *EACH_BAND]
    mine = dict(SIDE[piece] for piece in job.readings.split(";") if piece)
    for other, found in zip(jobs, alike(job, jobs), strict=True):
        theirs = dict(SIDE[piece] for piece in other.readings.split(";") if piece)
        common = mine.keys() & theirs.keys()
        assert found == sum(1 if mine[kind] == theirs[kind] else -1 for kind in common)


@given(st.lists(PAST, min_size=1, max_size=6))
def test_likeness_and_measurements_agree_both_ways(jobs: list[FinishedJob]) -> None:
    jobs = [*jobs, *EACH_BAND]
    marks = Index.of(jobs).marks(jobs)
    for level in likeness(marks, marks):
        assert (level == level.T).all()
    assert (measured_alike(marks, marks) == measured_alike(marks, marks).T).all()


@given(BOOKED, st.lists(PAST, min_size=1, max_size=6), st.integers(0, 5), st.integers(0, 5))
def test_some_rows_of_the_marks_are_the_marks_of_some_jobs(
    job: Job, jobs: list[FinishedJob], start: int, length: int
) -> None:
    jobs = [*jobs, *EACH_BAND]
    index, chosen = Index.of(jobs), slice(start, start + length)
    wanted = index.marks([job])
    some, same = index.marks(jobs).rows(chosen), index.marks(jobs[chosen])
    for one, other in zip(likeness(wanted, some), likeness(wanted, same), strict=True):
        assert one.tolist() == other.tolist()
    assert measured_alike(wanted, some).tolist() == measured_alike(wanted, same).tolist()


def test_a_family_a_type_and_a_code_that_no_past_job_has_are_like_none() -> None:
    jobs = [past(codes=["P2463"]), past("BBB")]
    assert levels_of(booked("NEW", "new", ["P0401"]), jobs) == [[False] * 4] * 2
    assert levels_of(booked("NEW", codes=["P0401"]), jobs) == [[False, False, False, True]] * 2


def test_two_jobs_without_codes_do_not_share_one() -> None:
    assert levels_of(booked(), [past()]) == [[False, True, False, True]]


@pytest.mark.parametrize(
    ("readings", "bands"),
    [
        ("", []),
        ("idle 35 mbar", [("idle", "idle high")]),
        ("3000 50 mbar; after idle 35 mbar", [("3000", "3000 expected")]),
        ("after idle 8 mbar", []),
    ],
)
def test_only_readings_from_before_the_work_are_compared(readings: str, bands: list[tuple[str, str]]) -> None:
    assert bands_of(booked(readings=readings)) == bands_of(past(readings=readings)) == bands


def test_a_band_counts_however_the_reading_was_written() -> None:
    jobs = [past(readings="idle 35 mbar"), past(readings="idle 8 mbar"), past(readings="3000 210 mbar"), past()]
    assert alike(booked(readings="idle 3.5 kPa"), jobs) == [1, -1, 0, 0]
    assert alike(booked(readings="idle 0.4 psi"), jobs) == [-1, 1, 0, 0]

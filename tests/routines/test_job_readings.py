"""Readings on a job: written, replaced, kept, undone, refused, carried out and in, and reaching what jobs need."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from vanstock.errors import BadValue, EntryConflict
from vanstock.ledger import reading
from vanstock.ledger.checking import check
from vanstock.model import Job
from vanstock.needs.cases import CaseBook
from vanstock.needs.levels import bands_of
from vanstock.needs.marginals import marginals
from vanstock.needs.worths import Worths
from vanstock.readings import parse_reading
from vanstock.routines import booking, job
from vanstock.routines.jobwhy import why_job
from vanstock.routines.past import read_past
from vanstock.routines.session import Session
from vanstock.routines.setup import export_folder, import_folder

Open = Callable[..., Session]
TUESDAY = date(2027, 3, 2)


@pytest.fixture
def booked(session: Session) -> Session:
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "clean"))
    return session


def take(session: Session, kind: str, text: str, *, after: bool = False, name: str = "ONE") -> str:
    return booking.add_reading(session, name, parse_reading(kind, text, after=after)).readings


def now(session: Session, name: str = "ONE") -> str:
    found = reading.job_named(session.ledger, name)
    assert found
    return found.readings


def test_readings_stand_on_the_job_as_they_were_taken(booked: Session) -> None:
    assert take(booked, "idle", "45mbar") == "idle 45 mbar"
    assert take(booked, "3000", "21,5 kPa") == "idle 45 mbar;3000 21.5 kPa"
    assert take(booked, "idle", "0.8kPa", after=True) == "idle 45 mbar;3000 21.5 kPa;after idle 0.8 kPa"
    assert now(booked) == "idle 45 mbar;3000 21.5 kPa;after idle 0.8 kPa"
    assert [finding for finding in check(booked.ledger) if finding.wrong] == []


def test_a_second_reading_of_the_same_kind_and_stage_takes_the_place_of_the_first(booked: Session) -> None:
    take(booked, "idle", "45mbar")
    take(booked, "idle", "9mbar", after=True)
    assert take(booked, "idle", "40mbar") == "after idle 9 mbar;idle 40 mbar"
    assert take(booked, "idle", "8mbar", after=True) == "idle 40 mbar;after idle 8 mbar"


@pytest.mark.parametrize(
    ("kind", "text", "says"),
    [("idle", "45", "has no unit"), ("idle", "45C", "cannot be used"), ("boost", "1bar", "is not one of"),
     ("idle", "much", "is not a reading")],
)  # fmt: skip
def test_a_reading_that_cannot_be_is_told_and_nothing_is_written(
    booked: Session, kind: str, text: str, says: str
) -> None:
    with pytest.raises(BadValue, match=says):
        take(booked, kind, text)
    assert now(booked) == ""


def test_a_cancelled_job_gets_no_reading_and_a_finished_one_does(booked: Session) -> None:
    job.finish(booked, "ONE")
    assert take(booked, "idle", "8mbar", after=True) == "after idle 8 mbar"
    assert reading.job_named(booked.ledger, "ONE").status == "done"  # type: ignore[union-attr]
    booking.add_booking(booked, Job("TWO", TUESDAY, "11:00", "AAA", "clean"))
    booking.cancel_booking(booked, "TWO")
    with pytest.raises(BadValue, match="job TWO is cancelled"):
        take(booked, "idle", "45mbar", name="TWO")


def test_moving_pinning_and_finishing_keep_readings_and_undoing_takes_the_last_one_off(booked: Session) -> None:
    take(booked, "idle", "45mbar")
    assert booking.move_booking(booked, "ONE", day=None, at="10:00", van=None).readings == "idle 45 mbar"
    assert booking.pin_part(booked, "ONE", "SNS-1").readings == "idle 45 mbar"
    assert job.finish(booked, "ONE").job.readings == "idle 45 mbar"
    take(booked, "idle", "8mbar", after=True)
    job.undo(booked)
    assert now(booked) == "idle 45 mbar"


def test_undoing_a_reading_that_replaced_another_brings_the_other_back(booked: Session) -> None:
    take(booked, "idle", "45mbar")
    take(booked, "idle", "50mbar")
    job.undo(booked)
    assert now(booked) == "idle 45 mbar"
    job.undo(booked)
    assert now(booked) == ""


def test_a_reading_sent_twice_under_one_id_is_one_entry(booked: Session) -> None:
    one = parse_reading("idle", "45mbar")
    first = booking.add_reading(booked, "ONE", one, entry_id="phone-9")
    take(booked, "3000", "210mbar")
    assert booking.add_reading(booked, "ONE", one, entry_id="phone-9") == first
    assert now(booked) == "idle 45 mbar;3000 210 mbar"
    with pytest.raises(EntryConflict):
        booking.add_reading(booked, "ONE", parse_reading("idle", "46mbar"), entry_id="phone-9")


def test_readings_of_finished_jobs_reach_what_jobs_need(booked: Session) -> None:
    """A booked job counts for more what a past job took that was measured alike, where readings are worth something."""
    take(booked, "idle", "45mbar")
    take(booked, "idle", "8mbar", after=True)
    job.finish(booked, "ONE", ["SNS-1=1"])
    booking.add_booking(booked, Job("TWO", TUESDAY, "10:00", "AAA", "clean"))
    take(booked, "idle", "5mbar", name="TWO")
    job.finish(booked, "TWO", ["FLU-1=2"])
    past = read_past(booked)
    assert [done.readings for done in past.finished] == ["idle 45 mbar;after idle 8 mbar", "idle 5 mbar"]
    assert [bands_of(done) for done in past.finished] == [[("idle", "idle high")], [("idle", "idle expected")]]
    book = CaseBook.build(past.finished, past.catalogue, today=booked.today, worths=Worths()._replace(alike=4.0))
    sensor = []
    for text in ("50mbar", "6mbar"):
        name = booking.add_booking(booked, Job("", TUESDAY, "14:00", "AAA", "clean")).job
        take(booked, "idle", text, name=name)
        found = reading.job_named(booked.ledger, name)
        assert found
        lines = marginals(book.needs_for(found), {})
        sensor.append(next(line.probability for line in lines if line.group == "SNS-1"))
    assert sensor[0] > 1.5 * sensor[1]


def test_a_jobs_readings_are_told_in_words_with_its_odds(booked: Session) -> None:
    take(booked, "idle", "45mbar")
    assert why_job(booked, "ONE").readings == (("filter pressure at idle 45 mbar", "asks for cleaning"),)


def test_readings_and_pins_go_out_and_come_in_again_and_leave_nothing_to_import(
    booked: Session, new_session: Open, tmp_path: Path
) -> None:
    take(booked, "idle", "45mbar")
    take(booked, "idle", "8mbar", after=True)
    booking.pin_part(booked, "ONE", "SNS-1")
    (tmp_path / "out").mkdir()
    export_folder(booked, tmp_path / "out")
    other = new_session("other", filled=False)
    import_folder(other, tmp_path / "out")
    assert reading.jobs(other.ledger) == reading.jobs(booked.ledger)
    assert [finding for finding in check(other.ledger) if finding.wrong] == []
    for session in (booked, other):
        assert import_folder(session, tmp_path / "out").total == 0


def test_a_file_without_the_columns_leaves_what_was_written_by_hand(booked: Session, tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text("job,date,family,job_type\nBROUGHT,2027-03-02,AAA,clean\n")
    assert import_folder(booked, tmp_path).total == 1
    take(booked, "idle", "45mbar", name="BROUGHT")
    booking.pin_part(booked, "BROUGHT", "SNS-1")
    assert import_folder(booked, tmp_path).total == 0
    found = reading.job_named(booked.ledger, "BROUGHT")
    assert found
    assert (found.chosen, found.readings) == (("SNS-1",), "idle 45 mbar")

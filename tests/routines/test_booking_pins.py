"""A part pinned on a booking once the engine number is known: the split is settled, kept, undone and sealed."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from vanstock.errors import Ambiguous, BadValue, EntryConflict, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.checking import check, damage
from vanstock.ledger.file import writing
from vanstock.model import Fits, Job, Part
from vanstock.routines import booking, job, morning, stock
from vanstock.routines.loadout import JobOutlook
from vanstock.routines.session import Session

TUESDAY = date(2027, 3, 2)


@pytest.fixture
def split(session: Session) -> Session:
    """A booked heat-source job that takes VAP-2 or VAP-3, as the engine number says; all but VAP-3 is aboard."""
    with writing(session.ledger) as ledger:
        late = Part("VAP-3", "vaporiser, late engines", "vaporiser", cost=1_400_000, supplier="NEXT")
        catalogue.save_rows(ledger, Part, [late])
        fits = [Fits("AAA", "VAP-1", 0.5), Fits("AAA", "VAP-2", 0.5), Fits("AAA", "VAP-3", 0.5)]
        catalogue.save_rows(ledger, Fits, fits)
    for part, qty in (("VAP-2", "1"), ("GKT-1", "1"), ("BLT-1", "10"), ("FLU-1", "10")):
        stock.receive(session, part, qty, place="van")
    booking.add_booking(session, Job("ONE", TUESDAY, "09:00", "AAA", "heat-source"))
    return session


def outlook(session: Session) -> JobOutlook:
    (found,) = morning.load_out(session, TUESDAY).jobs
    return found


def vaporisers(session: Session) -> dict[str, float]:
    return {need.part.part: need.probability for need in outlook(session).needs if need.component == "vaporiser"}


def named(session: Session, name: str = "ONE") -> Job:
    found = reading.job_named(session.ledger, name)
    assert found
    return found


def entries(session: Session) -> int:
    return int(session.ledger.execute("SELECT count(*) FROM entry").fetchone()[0])


def test_before_the_pin_the_job_may_take_either_and_the_engine_number_is_wanted(split: Session) -> None:
    found = outlook(split)
    assert found.odds == pytest.approx(1 - 0.88 / 2)
    assert [[part.part for part, _ in one.variants] for one in found.splits] == [["VAP-2", "VAP-3"]]
    assert vaporisers(split) == {"VAP-2": pytest.approx(0.44), "VAP-3": pytest.approx(0.44)}


@pytest.mark.parametrize(("part", "odds"), [("VAP-2", 1.0), ("VAP-3", 0.12)])
def test_a_pinned_part_settles_the_split(split: Session, part: str, odds: float) -> None:
    assert booking.pin_part(split, "ONE", part).chosen == (part,)
    found = outlook(split)
    assert found.odds == pytest.approx(odds)
    assert found.splits == ()
    assert vaporisers(split) == {part: pytest.approx(0.88)}
    assert [short.part.part for short in found.short] == ([] if part == "VAP-2" else ["VAP-3"])


def test_a_pinned_part_is_what_is_loaded_and_bought(split: Session) -> None:
    stock.receive(split, "VAP-3", "1", place="store")
    booking.pin_part(split, "ONE", "VAP-2")
    assert [row.part.part for row in morning.load_out(split, TUESDAY).load] == []
    booking.pin_part(split, "ONE", "VAP-3")
    assert [row.part.part for row in morning.load_out(split, TUESDAY).load] == ["VAP-3"]


def test_undoing_a_pin_or_taking_it_off_leaves_the_job_as_it_was(split: Session) -> None:
    before, was = outlook(split), named(split)
    booking.pin_part(split, "ONE", "VAP-3")
    job.undo(split)
    assert (outlook(split), named(split)) == (before, was)
    booking.pin_part(split, "ONE", "VAP-3")
    assert booking.pin_part(split, "ONE", "").chosen == ()
    assert (outlook(split), named(split)) == (before, was)


def test_undoing_a_second_pin_brings_the_first_back(split: Session) -> None:
    booking.pin_part(split, "ONE", "VAP-2")
    booking.pin_part(split, "ONE", "VAP-3")
    job.undo(split)
    assert named(split).chosen == ("VAP-2",)


def test_a_pin_takes_the_place_of_another_of_its_component_and_leaves_other_components(split: Session) -> None:
    booking.pin_part(split, "ONE", "VAP-2")
    assert booking.pin_part(split, "ONE", "pressure sensor").chosen == ("SNS-1", "VAP-2")
    assert booking.pin_part(split, "ONE", "VAP-3").chosen == ("SNS-1", "VAP-3")


def test_an_old_number_that_is_pinned_stands_for_the_one_that_replaced_it(split: Session) -> None:
    assert booking.pin_part(split, "ONE", "VAP-1").chosen == ("VAP-1",)
    assert vaporisers(split) == {"VAP-2": pytest.approx(0.88)}
    assert outlook(split).odds == pytest.approx(1)


def test_what_was_fitted_on_such_jobs_comes_out_as_the_pinned_number(split: Session) -> None:
    """A case of either number is a case of the component, whichever this job takes."""
    booking.add_booking(split, Job("PAST", split.today, "08:00", "AAA", "heat-source"))
    job.finish(split, "PAST", ["VAP-2=1"])
    booking.pin_part(split, "ONE", "VAP-3")
    assert set(vaporisers(split)) == {"VAP-3"}


def test_a_part_that_fits_another_family_is_refused(split: Session) -> None:
    booking.add_booking(split, Job("OTHER", TUESDAY, "11:00", "BBB", "clean"))
    with pytest.raises(BadValue, match=r"SNS-1 is not listed as fitting BBB"):
        booking.pin_part(split, "OTHER", "SNS-1")
    assert named(split, "OTHER").chosen == ()


def test_words_that_name_no_part_or_several_are_told(split: Session) -> None:
    with pytest.raises(Ambiguous, match=r"VAP-2 .*VAP-3"):
        booking.pin_part(split, "ONE", "vaporiser")
    with pytest.raises(NotFound, match="no part matches"):
        booking.pin_part(split, "ONE", "flux capacitor")
    with pytest.raises(NotFound, match="no job 'NONE'"):
        booking.pin_part(split, "NONE", "VAP-2")


def test_the_same_pin_again_is_told_and_writes_nothing(split: Session) -> None:
    with pytest.raises(BadValue, match="no part is pinned"):
        booking.pin_part(split, "ONE", "")
    booking.pin_part(split, "ONE", "VAP-2")
    before = entries(split)
    with pytest.raises(BadValue, match="already so: VAP-2"):
        booking.pin_part(split, "ONE", "VAP-2")
    assert entries(split) == before


@pytest.mark.parametrize(("act", "says"), [(job.finish, "is finished"), (booking.cancel_booking, "is cancelled")])
def test_only_a_booked_job_is_pinned(split: Session, act: Any, says: str) -> None:
    act(split, "ONE")
    with pytest.raises(BadValue, match=says):
        booking.pin_part(split, "ONE", "VAP-2")


def test_moving_finishing_and_cancelling_keep_the_pin(split: Session) -> None:
    booking.pin_part(split, "ONE", "VAP-3")
    assert booking.move_booking(split, "ONE", day=None, at="10:30", van=None).chosen == ("VAP-3",)
    assert job.finish(split, "ONE").job.chosen == ("VAP-3",)
    job.undo(split)
    assert booking.cancel_booking(split, "ONE").chosen == ("VAP-3",)
    assert reading.lines_of(split.ledger, stock.history(split, "ONE").entries[0].entry).bookings[0].chosen == ("VAP-3",)


def test_a_pin_sent_twice_under_one_id_is_one_entry_and_other_words_under_it_are_refused(split: Session) -> None:
    first = booking.pin_part(split, "ONE", "VAP-2", entry_id="phone-3")
    count = entries(split)
    booking.move_booking(split, "ONE", day=None, at="10:30", van=None)
    assert booking.pin_part(split, "ONE", "VAP-2", entry_id="phone-3") == first
    assert entries(split) == count + 1
    with pytest.raises(EntryConflict):
        booking.pin_part(split, "ONE", "VAP-3", entry_id="phone-3")


def test_a_pin_is_an_entry_that_the_jobs_history_shows(split: Session) -> None:
    booking.pin_part(split, "ONE", "VAP-2")
    newest = stock.history(split, "ONE").entries[0]
    assert (newest.entry.kind, newest.bookings[0].chosen) == ("part pinned", ("VAP-2",))


@pytest.mark.parametrize("change", ["chosen = 'VAP-2'", "chosen = ''", "readings = 'idle 4 mbar'"])
def test_a_pin_that_is_changed_in_the_file_by_hand_breaks_a_seal(split: Session, change: str) -> None:
    booking.pin_part(split, "ONE", "VAP-3")
    assert damage(split.ledger) == ""
    guard = split.ledger.execute("SELECT sql FROM sqlite_master WHERE name = 'booking_never_changed'").fetchone()[0]
    split.ledger.execute("DROP TRIGGER booking_never_changed")
    split.ledger.execute(f"UPDATE booking SET {change} WHERE seq = (SELECT max(seq) FROM booking)")
    split.ledger.execute(f"UPDATE job SET {change} WHERE job = 'ONE'")
    split.ledger.execute(guard)
    assert any("was changed since it was written" in found.rule and found.wrong for found in check(split.ledger))
    assert damage(split.ledger)


def test_a_job_whose_pin_is_not_that_of_its_newest_booking_breaks_a_rule(split: Session) -> None:
    booking.pin_part(split, "ONE", "VAP-3")
    split.ledger.execute("UPDATE job SET chosen = 'VAP-2' WHERE job = 'ONE'")
    assert [found.rule for found in check(split.ledger) if found.wrong]

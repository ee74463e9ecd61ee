"""The working day through the routines: bookings, load-out, parts fitted and missed, counts, undo."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest

from vanstock.errors import Ambiguous, BadValue, EntryConflict, NotFound
from vanstock.ledger import reading
from vanstock.model import Job
from vanstock.routines import booking, job, morning, settings, stock
from vanstock.routines.naming import find_part
from vanstock.routines.session import Session
from vanstock.workdays import parse_date

Open = Callable[..., Session]
TUESDAY = date(2027, 3, 2)


def book(session: Session, **changed: Any) -> Job:
    plain = Job("", TUESDAY, "09:00", "AAA", "heat-source")
    return booking.add_booking(session, plain._replace(**changed))


def on_hand(session: Session, part: str, place: str = "van") -> int:
    return reading.on_hand(session.ledger, part, place)


def test_a_booking_gets_the_next_id_in_the_firms_own_shape(session: Session) -> None:
    assert book(session).job == "J0001"
    assert book(session, job="X-099").job == "X-099"
    assert book(session).job == "X-100"


def test_a_job_type_that_was_booked_by_a_slip_and_undone_is_not_known(session: Session) -> None:
    book(session)
    book(session, job_type="heet-source")
    assert "heet-source" in booking.job_types(session)
    job.undo(session)
    assert "heet-source" not in booking.job_types(session)
    assert "heat-source" in booking.job_types(session)


def test_a_part_missed_on_a_family_that_it_does_not_fit_is_recorded_and_told(session: Session) -> None:
    assert job.miss(session, book(session).job, "VAP-2").warnings == ()
    assert job.miss(session, book(session, family="BBB").job, "VAP-2").warnings == (
        "VAP-2 is not listed as fitting BBB: recorded; add a line to fits.csv if it does",
    )


def test_bookings_are_listed_moved_and_cancelled_and_each_can_be_undone(session: Session) -> None:
    first, second = book(session, time="11:00"), book(session, time="08:00")
    assert [b.job for b in booking.list_bookings(session, TUESDAY, TUESDAY)] == [second.job, first.job]
    moved = booking.move_booking(session, first.job, day=date(2027, 3, 4), at="07:30", van=None)
    assert (moved.date, moved.time) == (date(2027, 3, 4), "07:30")
    booking.cancel_booking(session, second.job)
    assert booking.list_bookings(session, TUESDAY, TUESDAY) == []
    job.undo(session)
    job.undo(session)
    assert booking.list_bookings(session, TUESDAY, TUESDAY) == [second, first]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"family": "ZZZ"}, "no family 'ZZZ'"),
        ({"job_type": ""}, "needs a job type"),
        ({"reference": "a\x1b[31m"}, "reference .* cannot be used"),
        ({"job": "J" * 65}, "job id .* cannot be used"),
        ({"van": "store"}, "no van named"),
    ],
)
def test_a_booking_that_cannot_be_is_refused(session: Session, changed: dict[str, str], says: str) -> None:
    with pytest.raises((BadValue, NotFound), match=says):
        book(session, **changed)


def test_a_job_id_is_used_once(session: Session) -> None:
    book(session, job="A1")
    with pytest.raises(BadValue, match="already in the ledger"):
        book(session, job="A1")


def test_a_finished_job_is_not_moved_or_cancelled(session: Session) -> None:
    done = book(session)
    job.finish(session, done.job)
    for act in (booking.cancel_booking, lambda s, n: booking.move_booking(s, n, day=None, at="10:00", van=None)):
        with pytest.raises(BadValue, match="finished already"):
            act(session, done.job)


@pytest.mark.parametrize(
    ("text", "why"),
    [("2027-02-30", "does not exist"), ("tomorrow", "cannot be read"), ("01/03/2027", "cannot be read")],
)
def test_a_date_that_does_not_exist_is_told_apart_from_what_is_no_date(text: str, why: str) -> None:
    with pytest.raises(BadValue, match=f"{why}: write it as 2027-03-01"):
        parse_date(text)


def test_a_part_is_found_by_number_gtin_words_and_with_a_slip(session: Session) -> None:
    for text in ("sns-1", "9520000000356", "09520000000356", "pressure sensor", "sensr pressure"):
        assert find_part(session, text).part == "SNS-1"


def test_a_component_named_alone_is_not_the_parts_that_serve_it(session: Session) -> None:
    stock.count(session, "VAP-1", "1", place="van")
    assert find_part(session, "vaporiser", family="AAA", place="van").part == "VAP-1"


def test_an_ambiguous_name_lists_the_familys_parts_first(session: Session) -> None:
    with pytest.raises(Ambiguous, match="could be VAP-1 exhaust vaporiser; VAP-2 exhaust vaporiser"):
        find_part(session, "vaporiser", family="AAA")
    with pytest.raises(NotFound, match="no part matches"):
        find_part(session, "flux capacitor")


def test_fitting_takes_from_the_jobs_van_and_tells_what_goes_with_it(session: Session) -> None:
    stock.count(session, "VAP-2", "1", place="van")
    booked = book(session)
    logged = job.fit(session, booked.job, "VAP-2")
    assert [(t.part.part, t.qty) for t in logged.goes_with] == [("GKT-1", 1), ("BLT-1", 2)]
    assert on_hand(session, "VAP-2") == 0
    again = job.fit(session, booked.job, "GKT-1")
    assert again.goes_with == ()
    assert [(t.part.part, t.qty) for t in job.finish(session, booked.job).goes_with] == [("BLT-1", 2)]


def test_a_part_fitted_on_a_job_finished_before_today_is_recorded_and_told_as_that(session: Session) -> None:
    last_week = book(session, date=date(2027, 2, 22))
    assert not any("finished" in told for told in job.finish(session, last_week.job, ["GKT-1=1"]).warnings)
    told = f"job {last_week.job} of 2027-02-22 was finished before: recorded all the same"
    assert told in job.fit(session, last_week.job, "VAP-2").warnings
    today = book(session, date=date(2027, 3, 1))
    job.finish(session, today.job)
    assert not any("finished" in told for told in job.fit(session, today.job, "VAP-2").warnings)


def test_fitting_with_what_goes_with_it_is_one_entry(session: Session) -> None:
    booked = book(session)
    logged = job.fit(session, booked.job, "VAP-2", with_riders=True)
    assert [(t.part.part, t.qty) for t in logged.taken] == [("VAP-2", 1), ("GKT-1", 1), ("BLT-1", 2)]
    assert logged.goes_with == ()
    job.undo(session)
    assert on_hand(session, "BLT-1") == 0


def test_what_the_ledger_says_is_not_aboard_is_recorded_and_marked_for_a_count(session: Session) -> None:
    logged = job.fit(session, book(session).job, "SNS-1")
    assert "marked for a count" in logged.warnings[0]
    assert [row.balance.count_needed for row in stock.stock(session, "SNS-1")] == [True]
    posted = stock.count(session, "SNS-1", "0", place="van", reason="found behind the seat")
    assert (posted.qty, posted.to_place, posted.left) == (1, "van", 0)


@pytest.mark.parametrize(
    ("part", "qty", "says"),
    [("SNS-1", "2L", "kept in pieces"), ("SNS-1", "0.5", "finer than a whole piece"), ("SNS-1", "-1", "above zero"),
     ("FLU-1", "2pr", "kept in L"), ("FLU-1", "lots", "kept in L")],
)  # fmt: skip
def test_nonsense_is_refused_and_nothing_recorded(session: Session, part: str, qty: str, says: str) -> None:
    booked = book(session)
    with pytest.raises(BadValue, match=says):
        job.fit(session, booked.job, part, qty)
    assert on_hand(session, part) == 0


@pytest.mark.parametrize(
    ("part", "text", "qty"),
    [("FLU-1", "2.5", 2500), ("FLU-1", "2.5L", 2500), ("FLU-1", "250 ml", 250), ("HOS-1", "600mm", 600),
     ("HOS-1", "1pack", 5000), ("GLV-1", "3 pairs", 3), ("BLT-1", "2packs", 20), ("SNS-1", "", 1), ("FLU-1", "", 1000)],
)  # fmt: skip
def test_quantities_are_read_as_a_person_types_them(session: Session, part: str, text: str, qty: int) -> None:
    job.fit(session, book(session).job, part, text)
    assert on_hand(session, part) == -qty


def test_the_same_act_sent_twice_is_recorded_once(session: Session) -> None:
    booked = book(session)
    first = job.fit(session, booked.job, "SNS-1", entry_id="phone-7")
    assert job.fit(session, booked.job, "SNS-1", entry_id="phone-7").entry == first.entry
    assert on_hand(session, "SNS-1") == -1
    with pytest.raises(EntryConflict):
        job.fit(session, booked.job, "SNS-1", "2", entry_id="phone-7")


def test_a_part_missed_is_a_need_and_moves_no_stock(session: Session) -> None:
    booked = book(session)
    job.miss(session, booked.job, "GKT-1", "2")
    assert [(row.fitted, row.missed) for row in reading.used(session.ledger)] == [(0, 2)]
    assert on_hand(session, "GKT-1") == 0


def test_a_job_is_finished_once_with_its_parts_in_one_entry(session: Session) -> None:
    booked = book(session)
    job.finish(session, booked.job, ["FLU-1=2.5L", "pressure sensor=1"])
    assert (on_hand(session, "FLU-1"), on_hand(session, "SNS-1")) == (-2500, -1)
    with pytest.raises(BadValue, match="finished already"):
        job.finish(session, booked.job)
    job.undo(session)
    assert reading.job_named(session.ledger, booked.job) == booked
    assert on_hand(session, "FLU-1") == 0


@pytest.mark.parametrize("used", ["FLU-1", "=2", "FLU-1=x"])
def test_used_that_cannot_be_read_finishes_nothing(session: Session, used: str) -> None:
    booked = book(session)
    with pytest.raises((BadValue, NotFound)):
        job.finish(session, booked.job, ["SNS-1=1", used])
    assert reading.job_named(session.ledger, booked.job) == booked
    assert on_hand(session, "SNS-1") == 0


def test_an_unknown_job_names_todays(session: Session) -> None:
    book(session, job="TODAY", date=session.today)
    with pytest.raises(NotFound, match="today's jobs are TODAY"):
        job.fit(session, "J77", "SNS-1")


@pytest.mark.parametrize(
    ("now", "day"),
    [("2027-03-01T06:40", "2027-03-01"), ("2027-03-01T12:00", "2027-03-02"), ("2027-03-05T17:00", "2027-03-08"),
     ("2027-03-06T08:00", "2027-03-08")],
)  # fmt: skip
def test_the_load_out_is_for_today_before_noon_and_the_next_working_day_after(
    new_session: Open, now: str, day: str
) -> None:
    assert morning.load_out_day(new_session(now=datetime.fromisoformat(now))) == date.fromisoformat(day)


def test_closed_days_are_passed_over(session: Session) -> None:
    settings.change_setting(session, "closed_days", "2027-03-02;2027-03-03")
    assert morning.load_out_day(session) == date(2027, 3, 4)


def test_the_load_out_says_what_is_short_loads_it_and_buys_the_rest(session: Session) -> None:
    for part, qty, place in (("FLU-1", "20", "store"), ("GKT-1", "2", "store"), ("BLT-1", "20", "van")):
        stock.receive(session, part, qty, place=place)
    book(session, job="ONE")
    found = morning.load_out(session, TUESDAY)
    (outlook,) = found.jobs
    assert [(row.part.part, row.qty, row.from_place) for row in found.load] == [
        ("FLU-1", 5000, "store"),
        ("GKT-1", 1, "store"),
    ]
    assert [row.part.part for row in found.buy] == ["VAP-2"]
    assert found.buy[0].cutoff == datetime(2027, 3, 1, 17, 0)
    assert found.buy[0].comes == datetime(2027, 3, 2)
    assert found.buy[0].in_time
    assert outlook.odds == pytest.approx(0.12)
    assert outlook.odds_now == pytest.approx(0.12 * 0.15)
    assert [short.part.part for short in outlook.short] == ["VAP-2"]
    assert outlook.short[0].lost_odds == pytest.approx(0.88)
    assert any("label" in caution for caution in found.cautions)


def test_loading_all_records_the_list_once(session: Session) -> None:
    stock.receive(session, "FLU-1", "20")
    book(session)
    plan, entry = morning.load_all(session, TUESDAY)
    assert entry is not None
    assert on_hand(session, "FLU-1") == sum(row.qty for row in plan.load if row.part.part == "FLU-1") == 5000
    assert morning.load_all(session, TUESDAY)[1] is None


def test_another_vans_jobs_and_stock_are_left_out(session: Session) -> None:
    stock.add_place(session, "van 2", "van")
    book(session, job="ONE")
    book(session, job="TWO", van="van 2")
    stock.receive(session, "VAP-2", "1", place="van 2")
    one, two = morning.load_out(session, TUESDAY), morning.load_out(session, TUESDAY, van="van 2")
    assert [o.job.job for o in one.jobs] == ["ONE"]
    assert [o.job.job for o in two.jobs] == ["TWO"]
    held = {need.part.part: need.on_hand for need in two.jobs[0].needs}
    assert held["VAP-2"] == 1


def test_a_load_out_with_nothing_booked_is_empty(session: Session) -> None:
    assert morning.load_out(session, TUESDAY).jobs == ()


def test_goods_in_are_worth_their_cost_and_carriage_and_vat_only_when_it_is_not_reclaimed(session: Session) -> None:
    assert stock.receive(session, "SNS-1", "2", cost=500_000, carriage=300).value == 10_300
    settings.change_setting(session, "vat_added_percent", "20")
    assert stock.receive(session, "SNS-1", "1", cost=500_000).value == 6_000


def test_what_a_first_count_finds_is_worth_what_goods_in_would_be_with_the_vat_that_is_not_reclaimed(
    session: Session,
) -> None:
    settings.change_setting(session, "vat_added_percent", "17.5")
    bought = stock.receive(session, "SNS-1", "2").value
    stock.count(session, "VAP-2", "2", place="van")
    worth = {row.part: row.value for row in reading.balances(session.ledger)}
    assert worth["SNS-1"] == bought
    assert worth["VAP-2"] == pytest.approx(2 * find_part(session, "VAP-2").cost / 100 * 1.175, abs=1)


def test_a_surcharge_is_never_cost(session: Session) -> None:
    from vanstock.ledger import catalogue
    from vanstock.ledger.file import writing

    part = find_part(session, "SNS-1")
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, type(part), [part._replace(surcharge=4_000)])
    assert stock.receive(session, "SNS-1", "1").value == 4_720


@pytest.mark.parametrize(
    ("name", "text"),
    [("target", "95"), ("target", "x"), ("working_days", "Someday"), ("closed_days", "2027-02-30"),
     ("currency", "pounds"),     ("vat_added_percent", "-1")],
)  # fmt: skip
def test_a_setting_that_cannot_be_is_refused(session: Session, name: str, text: str) -> None:
    with pytest.raises(BadValue):
        settings.change_setting(session, name, text)
    with pytest.raises(NotFound, match="no setting named"):
        settings.change_setting(session, "colour", "red")


def test_history_of_a_part_and_of_a_job(session: Session) -> None:
    booked = book(session)
    job.fit(session, booked.job, "SNS-1")
    job.undo(session)
    of_part = stock.history(session, "SNS-1")
    assert [past.entry.kind for past in of_part.entries] == ["undone", "fitted"]
    assert of_part.entries[1].undone_by == of_part.entries[0].entry.id
    assert [past.entry.kind for past in stock.history(session, booked.job).entries] == ["undone", "fitted", "booked"]
    with pytest.raises(NotFound):
        stock.history(session, "flux capacitor")


def test_a_job_half_done_needs_only_the_rest(session: Session) -> None:
    stock.receive(session, "FLU-1", "20", place="van")
    booked = book(session)
    for part in ("VAP-2", "GKT-1"):
        stock.receive(session, part, "1", place="van")
    stock.receive(session, "BLT-1", "2", place="van")
    before = morning.load_out(session, TUESDAY).jobs[0].odds
    job.fit(session, booked.job, "VAP-2", with_riders=True)
    found = morning.load_out(session, TUESDAY)
    assert found.jobs[0].odds == before == pytest.approx(1)
    assert not found.jobs[0].short
    assert not found.buy


@pytest.mark.parametrize(("text", "clock"), [("8.30", "08:30"), ("8:30", "08:30"), ("14.45", "14:45"), ("", "")])
def test_a_time_is_read_as_people_write_it(text: str, clock: str) -> None:
    assert booking.read_time(text) == clock


@pytest.mark.parametrize("text", ["9.5x", "1300", "2pm", "8.99"])
def test_a_time_that_is_none_is_told(text: str) -> None:
    with pytest.raises(BadValue, match="write hours and minutes, like 17:00"):
        booking.read_time(text)


def test_undo_after_putting_back_takes_the_part_that_was_put_back(session: Session) -> None:
    booked = book(session)
    job.fit(session, booked.job, "BLT-1")
    job.fit(session, booked.job, "GKT-1")
    _, undoing = job.undo(session)
    job.undo(session, undoing.id)
    job.undo(session)
    assert (on_hand(session, "BLT-1"), on_hand(session, "GKT-1")) == (-1, 0)
    job.undo(session)
    assert (on_hand(session, "BLT-1"), on_hand(session, "GKT-1")) == (0, 0)


def test_two_who_finish_a_job_at_once_finish_it_once(session: Session, new_session: Open) -> None:
    from concurrent.futures import ThreadPoolExecutor

    from vanstock.routines.session import open_session

    booked = book(session)

    def finish(_: int) -> bool:
        with open_session(str(session.path), session.now) as mine:
            try:
                job.finish(mine, booked.job, ["SNS-1=1"])
            except BadValue:
                return False
            return True

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(finish, range(8))) == 1
    assert on_hand(session, "SNS-1") == -1


@pytest.mark.parametrize(("cost", "carriage"), [(-1, 0), (None, -5)])
def test_goods_never_come_in_for_less_than_nothing(session: Session, cost: int | None, carriage: int) -> None:
    with pytest.raises(BadValue, match="below zero"):
        stock.receive(session, "SNS-1", "1", cost=cost, carriage=carriage)

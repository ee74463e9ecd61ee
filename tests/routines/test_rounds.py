"""When a part bought now can be in the van: cut-offs, lead times, times of day, closed days, no supplier.

How long goods take from a round's cut-off to the van is common practice, no source. 1 March 2027 is a Monday.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from vanstock.model import Catalogue, Part, Supplier
from vanstock.routines.rounds import Round, next_round
from vanstock.workdays import MONDAY_TO_FRIDAY, Calendar

PLAIN = Calendar(MONDAY_TO_FRIDAY, frozenset())
PART = Part("SNS-1", supplier="DAY")
ROUND = Supplier("DAY", lead_working_days=0, order_days="Mon-Fri", cutoff="11:00")
SPECIALIST = Supplier("DAY", lead_working_days=1, order_days="Mon-Fri", cutoff="17:00")


def comes(supplier: Supplier, now: str, *, part: Part = PART, calendar: Calendar = PLAIN) -> tuple[str, str]:
    """The cut-off and the arrival, as text: `2027-03-01 11:00`."""
    catalogue = Catalogue(parts={part.part: part}, suppliers={supplier.supplier: supplier})
    found = next_round(catalogue, part, datetime.fromisoformat(now), calendar)
    assert found.cutoff
    assert found.comes
    return f"{found.cutoff:%Y-%m-%d %H:%M}", f"{found.comes:%Y-%m-%d %H:%M}"


def test_a_same_day_round_comes_an_hour_after_its_cut_off() -> None:
    assert comes(ROUND, "2027-03-01T07:00") == ("2027-03-01 11:00", "2027-03-01 12:00")


def test_an_order_at_the_cut_off_goes_and_one_a_minute_later_waits_for_the_next_order_day() -> None:
    assert comes(ROUND, "2027-03-01T11:00") == ("2027-03-01 11:00", "2027-03-01 12:00")
    assert comes(ROUND, "2027-03-01T11:01") == ("2027-03-02 11:00", "2027-03-02 12:00")
    assert comes(ROUND, "2027-03-05T11:01") == ("2027-03-08 11:00", "2027-03-08 12:00")


def test_a_time_on_record_for_goods_to_come_is_taken_at_its_word() -> None:
    assert comes(ROUND._replace(comes_at="13:45"), "2027-03-01T07:00")[1] == "2027-03-01 13:45"
    assert comes(SPECIALIST._replace(comes_at="10:30"), "2027-03-01T07:00")[1] == "2027-03-02 10:30"


def test_a_counter_without_a_cut_off_has_the_part_at_once() -> None:
    assert comes(ROUND._replace(cutoff=""), "2027-03-01T07:20") == ("2027-03-01 23:59", "2027-03-01 07:20")
    assert comes(ROUND._replace(cutoff=""), "2027-03-06T07:20") == ("2027-03-08 23:59", "2027-03-08 00:00")


def test_next_day_goods_come_before_the_first_job_of_the_next_working_day() -> None:
    assert comes(SPECIALIST, "2027-03-01T16:59") == ("2027-03-01 17:00", "2027-03-02 00:00")
    assert comes(SPECIALIST, "2027-03-01T17:01") == ("2027-03-02 17:00", "2027-03-03 00:00")
    assert comes(SPECIALIST, "2027-03-05T09:00") == ("2027-03-05 17:00", "2027-03-08 00:00")


def test_the_lead_time_of_a_part_goes_before_its_suppliers() -> None:
    assert comes(SPECIALIST, "2027-03-01T09:00", part=PART._replace(lead_working_days=3))[1] == "2027-03-04 00:00"
    assert comes(SPECIALIST, "2027-03-01T09:00", part=PART._replace(lead_working_days=0))[1] == "2027-03-01 18:00"


def test_a_weekly_order_day_is_waited_for() -> None:
    weekly = Supplier("DAY", lead_working_days=7, order_days="Tue", cutoff="12:00")
    assert comes(weekly, "2027-03-01T09:00") == ("2027-03-02 12:00", "2027-03-11 00:00")
    assert comes(weekly, "2027-03-02T12:01") == ("2027-03-09 12:00", "2027-03-18 00:00")


def test_on_a_closed_day_nothing_is_ordered_and_nothing_comes() -> None:
    closed = Calendar(MONDAY_TO_FRIDAY, frozenset({date(2027, 3, 2), date(2027, 3, 3)}))
    assert comes(SPECIALIST, "2027-03-01T09:00", calendar=closed) == ("2027-03-01 17:00", "2027-03-04 00:00")
    assert comes(SPECIALIST, "2027-03-02T09:00", calendar=closed) == ("2027-03-04 17:00", "2027-03-05 00:00")
    assert comes(ROUND, "2027-03-02T09:00", calendar=closed) == ("2027-03-04 11:00", "2027-03-04 12:00")


def test_of_a_part_without_a_supplier_nothing_is_known() -> None:
    now = datetime(2027, 3, 1, 7)
    for part in (PART._replace(supplier=""), PART._replace(supplier="GONE")):
        assert next_round(Catalogue(parts={part.part: part}), part, now, PLAIN) == Round(None, None)


def test_a_supplier_that_delivers_only_on_days_the_firm_is_closed_is_not_known_to_come() -> None:
    saturday = ROUND._replace(order_days="Sat")
    catalogue = Catalogue(parts={"SNS-1": PART}, suppliers={"DAY": saturday})
    assert next_round(catalogue, PART, datetime(2027, 3, 1, 7), PLAIN) == Round(None, None)


@given(
    st.integers(0, 60 * 24 * 40),
    st.integers(0, 9),
    st.sampled_from(["", "09:00", "11:00", "17:00"]),
    st.sampled_from(["", "08:00", "16:30"]),
    st.sampled_from(["Mon-Fri", "Tue", "Mon;Thu"]),
)
def test_nothing_comes_before_now_or_on_a_day_that_nobody_works_and_waiting_never_brings_it_sooner(
    minute: int, lead: int, cutoff: str, comes_at: str, order_days: str
) -> None:
    supplier = Supplier("DAY", lead_working_days=lead, order_days=order_days, cutoff=cutoff, comes_at=comes_at)
    catalogue = Catalogue(parts={"SNS-1": PART}, suppliers={"DAY": supplier})
    now = datetime(2027, 3, 1) + timedelta(minutes=minute)
    found, later = (next_round(catalogue, PART, at, PLAIN) for at in (now, now + timedelta(minutes=30)))
    assert found.cutoff
    assert found.comes
    assert later.comes
    assert now <= found.comes
    assert now <= found.cutoff
    assert found.comes.weekday() < 5
    assert found.comes <= later.comes

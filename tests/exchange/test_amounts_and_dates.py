"""Amounts and dates are read back exactly as they were written, in whatever way, or told to mean two things.

The ways to write numbers are those of the Unicode CLDR (decimal and group marks, grouping; from memory): en `1,234.50`,
de and es `1.234,50`, fr `1 234,50` with U+202F, sv with U+00A0, de-CH `1’234.50`, en-IN `12,34,567.50`.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.errors import BadValue
from vanstock.exchange import amounts, dates
from vanstock.exchange.amounts import decimal_mark, meanings, read_money, read_number

LOCALES = {
    "en": (",", ".", 3), "de": (".", ",", 3), "fr": ("\u202f", ",", 3), "sv": ("\xa0", ",", 3), "de-CH": ("’", ".", 3),
    "en-IN": (",", ".", 2), "plain point": ("", ".", 3), "plain comma": ("", ",", 3),
}  # fmt: skip


def written(value: Decimal, locale: str) -> str:
    """The slow, obvious way to write a number: digits from the right, a mark between groups."""
    between, mark, size = LOCALES[locale]
    whole, _, decimals = f"{abs(value):f}".partition(".")
    groups = [whole[-3:]]
    rest = whole[:-3]
    while rest:
        groups.insert(0, rest[-size:])
        rest = rest[:-size]
    return ("-" if value < 0 else "") + between.join(groups) + (mark + decimals if decimals else "")


locales = st.sampled_from(sorted(LOCALES))
pence = st.integers(-(10**11), 10**11).map(lambda whole: Decimal(whole).scaleb(-2))
anything = st.decimals(-(10**7), 10**7, places=4, allow_nan=False).map(lambda value: value.normalize())


@given(pence, locales, st.sampled_from(["{}", "£{}", "{} £", "GBP {}", " {} GBP ", "£ {}"]))
def test_a_price_in_pence_says_by_itself_how_it_is_written(value: Decimal, locale: str, around: str) -> None:
    text = around.format(written(value, locale))
    seen = decimal_mark([text])
    assert seen.way == LOCALES[locale][1]
    assert Decimal(read_money(text, seen.way, "GBP")) == value


@given(st.lists(anything, min_size=1, max_size=6), locales)
def test_a_column_in_one_way_is_never_read_in_another(values: list[Decimal], locale: str) -> None:
    texts = [written(Decimal(f"{value:f}"), locale) for value in values]
    mark = LOCALES[locale][1]
    seen = decimal_mark(texts)
    assert seen.clash is None
    assert seen.way in ("", mark)
    assert [Decimal(read_number(text, mark)) for text in texts] == values
    if not seen.matters:  # whatever is taken, the numbers are the same
        assert [set(meanings(text).values()) for text in texts] == [{value} for value in values]


@given(st.text("0123456789.,' -()£€%E+kr", max_size=10))
def test_any_text_is_a_number_or_told_to_be_none(text: str) -> None:
    for mark in (".", ","):
        with suppress(BadValue):
            Decimal(read_money(text, mark, "GBP"))


@pytest.mark.parametrize(
    ("text", "mark", "means"),
    [
        ("£1,234.50", ".", "1234.50"), ("1.234,50 £", ",", "1234.50"), ("GBP 12", ".", "12"), ("12,5", ",", "12.5"),
        (" 1 234,00", ",", "1234.00"), ("(5.00)", ".", "-5.00"), ("5.00-", ".", "-5.00"), ("−5", ".", "-5"),
        ("12,-", ",", "12"), ("£-3.20", ".", "-3.20"), (".5", ".", "0.5"), ("0,00", ",", "0.00"),
        ("1'000", ".", "1000"),
    ],
)  # fmt: skip
def test_amounts_as_people_write_them(text: str, mark: str, means: str) -> None:
    assert read_money(text, mark, "GBP") == means


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("€12", "is in EUR and the ledger in GBP"), ("12 USD", "is in USD"), ("12.50 per 100", "price for several"),
        ("12.50/box", "price for several"), ("5 %", "is not a number"), ("1.2.3,4", "is not a number"),
        ("twelve", "is not a number"), ("1,23,4", "is not a number"), ("12 13", "is not a number"), ("", "a number"),
        ("1 – 2", "not a number"), ("12 each", "is not an amount of money"), ("1.2E+05", "not a number"),
    ],
)  # fmt: skip
def test_what_is_no_amount_of_the_ledgers_currency_is_told(text: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        read_money(text, ".", "GBP")


@pytest.mark.parametrize("text", ["1.234", "1,234"])
def test_thousands_or_decimals_is_left_open(text: str) -> None:
    assert set(meanings(text).values()) == {1234, Decimal("1.234")}
    seen = decimal_mark([text, "12"])
    assert (seen.way, seen.text, seen.matters) == ("", text, True)


@pytest.mark.parametrize(
    ("texts", "mark"),
    [
        (["1.234", "0.345"], "."), (["1.234", "1.234.567"], ","), (["1,234", "12,5"], ","), (["1.234", "1234.5"], "."),
        (["12", "7"], ""), (["1 234", "2 000"], ""),
    ],
)  # fmt: skip
def test_one_text_settles_its_column(texts: list[str], mark: str) -> None:
    assert decimal_mark(texts).way == mark


def test_two_ways_in_one_column_are_told_with_both() -> None:
    assert decimal_mark(["1,234.50", "12", "12,5"]).clash == ("1,234.50", "12,5")


@given(st.dates(date(1990, 1, 1), date(2100, 12, 31)), st.sampled_from(["/", "-", ".", " "]), st.booleans())
def test_dates_by_numbers_mean_what_strptime_reads_in_each_order(day: date, between: str, day_first: bool) -> None:
    shape = between.join(["%d", "%m", "%Y"] if day_first else ["%m", "%d", "%Y"])
    text = day.strftime(shape)
    order = dates.DAY_FIRST if day_first else dates.MONTH_FIRST
    assert datetime.strptime(text, shape).date() == day
    assert dates.read_date(text, order) == day.isoformat()
    assert dates.meanings(text)[order] == day
    assert (len(set(dates.meanings(text).values())) == 1) == (day.day > 12 or day.day == day.month)


@pytest.mark.parametrize(
    "text",
    ["2027-04-03", "2027/4/3", "2027.04.03", "3 Apr 2027", "3-Apr-27", "Apr 3, 2027", "April 3 2027", "3. April 2027",
     "2027-04-03 00:00:00", "3 APR 2027"],
)  # fmt: skip
def test_dates_that_say_which_is_which_need_no_order(text: str) -> None:
    assert dates.read_date(text, "") == "2027-04-03"


def test_years_of_two_digits_are_those_of_posix() -> None:
    """POSIX.1-2017, strptime, %y: 69 to 99 are 1969 to 1999, 00 to 68 are 2000 to 2068."""
    for short in ("00", "27", "68", "69", "99"):
        assert dates.read_date(f"25/12/{short}", "")[:4] == str(datetime.strptime(short, "%y").year)


@pytest.mark.parametrize(
    "text", ["31/02/2027", "soon", "13/13/2027", "45000", "29 Feb 2027", "1/2", "", "March 2027", "May2027"]
)
def test_what_is_no_date_is_told(text: str) -> None:
    with pytest.raises(BadValue, match="is not a date"):
        dates.read_date(text, dates.DAY_FIRST)


def test_one_date_settles_its_column_and_two_can_clash() -> None:
    assert dates.date_order(["03/04/2027", "25/12/2026"]).way == dates.DAY_FIRST
    assert dates.date_order(["03/04/2027", "12/25/2026"]).way == dates.MONTH_FIRST
    assert dates.date_order(["25/12/2026", "12/26/2026"]).clash == ("25/12/2026", "12/26/2026")
    assert not dates.date_order(["03/03/2027", "2027-01-02"]).matters
    with pytest.raises(BadValue, match="may be 2027-04-03 or 2027-03-04: say --day-first or --month-first"):
        dates.read_date("03/04/2027", "")
    with pytest.raises(BadValue, match="no day with the month first"):
        dates.read_date("25/12/2026", dates.MONTH_FIRST)


@pytest.mark.parametrize("text", ["1-Mar", "01-Mar-27", "Mar-01", "01/03/2027", "2027-03-01", "2027-03-01 00:00:00"])
def test_a_number_of_a_part_that_became_a_date_is_noticed(text: str) -> None:
    assert dates.looks_like_a_date(text)


@pytest.mark.parametrize("text", ["DS-KRA-010-A", "12-MARK", "1-234", "MAR-LIN-1", "0012", "03-04"])
def test_a_number_of_a_part_is_not_taken_for_a_date(text: str) -> None:
    assert not dates.looks_like_a_date(text)


def test_currencies_are_iso_4217_codes() -> None:
    assert all(len(code) == 3 and code.isupper() for code in amounts.CODES)
    assert {"GBP", "EUR", "USD", "CHF", "SEK"} <= amounts.CODES

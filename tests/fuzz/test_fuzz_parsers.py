"""Whatever is typed, every parser returns a value in bounds or says in one printable line what is wrong."""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Callable, Iterator
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import strategies as st

from vanstock.cli import main, show
from vanstock.codes import read_codes
from vanstock.errors import VanstockError
from vanstock.exchange.csvfile import defused, undefused
from vanstock.exchange.gtin import parse_gtin
from vanstock.model import Job, Part
from vanstock.quantity import (
    LARGEST_MONEY,
    LARGEST_PRICE,
    LARGEST_QTY,
    UNITS,
    format_money,
    format_price,
    format_qty,
    parse_money,
    parse_price,
    parse_qty,
    parse_share,
    parse_whole,
    show_qty,
)
from vanstock.routines import job, settings, stock
from vanstock.routines.booking import add_booking, read_time
from vanstock.routines.naming import find_job, find_part
from vanstock.routines.session import Session
from vanstock.workdays import parse_cutoff, parse_date, parse_days

Fuzz = Callable[[str, Callable[..., None], st.SearchStrategy[Any]], None]
Parse = Callable[[str], object]

ODD = (
    *"\0\x07\x1b\x7f\x85\x9b\xa0\u200b\u202e\u2066\u2028\ufeff\ud800\udcff٣３²𝟑½Ⅷİßﬀ",
    *"-+.,:;=_%*()\"'\\ \t\n\r\v",
    "\x1b[31m", "\x1b]0;x\x07", "9" * 20, "9" * 500, "0" * 400, "0." + "0" * 60 + "1", "e9", "E-9", "1e999999999",
    "nan", "sNaN", "Infinity", "0x1f", "1_0", "--", "10**9", "T24:00", "Z", "+00:00", "-W52-6", "pack", "packs", "mm",
    "kg", "None", "NULL", "' OR 1=1 --", "a" * 300,
)  # fmt: skip
"""What people, scanners, other programs and bad intent put between the digits."""


@st.composite
def texts(draw: st.DrawFn, examples: tuple[str, ...]) -> str:
    """Any text at all, or a right one with up to three odd changes."""
    if draw(st.integers(0, 4)) == 0:
        return draw(st.text(st.characters(), max_size=20))
    text = draw(st.sampled_from(examples))
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(text)))
        to = min(len(text), at + draw(st.integers(0, 3)))
        text = text[:at] + draw(st.sampled_from(ODD) | st.characters()) + text[to:]
    return text


def is_text(text: str) -> bool:
    """Whether SQLite can be asked for it: half a surrogate pair is no text, and is refused before."""
    return not any("\ud800" <= c <= "\udfff" for c in text)


def value_or_mistake(parse: Parse, text: str, in_bounds: Callable[[Any], bool]) -> None:
    try:
        value = parse(text)
    except VanstockError as mistake:
        message = str(mistake)
        assert message
        assert message.isprintable()
        return
    assert in_bounds(value), value


QTYS = ("2.5L", "600mm", "1pack", "2 packs", "4", "0.25", "3 pairs", "-1", "1kg", "250 g", "999999999", "1000000000.0")


def test_quantities(fuzz: Fuzz) -> None:
    def law(drawn: tuple[str, str, int | None]) -> None:
        text, code, pack = drawn
        value_or_mistake(
            lambda typed: parse_qty(typed, code, pack_size=pack),
            text,
            lambda qty: type(qty) is int and abs(qty) <= LARGEST_QTY,
        )

    codes = st.sampled_from([*UNITS, "GAL", "", "c62\x1b"])
    fuzz("quantities", law, st.tuples(texts(QTYS), codes, st.none() | st.integers(1, LARGEST_QTY)))


AMOUNTS: dict[str, tuple[Parse, Callable[[Any], bool]]] = {
    "money": (parse_money, lambda pence: type(pence) is int and abs(pence) <= LARGEST_MONEY),
    "price": (parse_price, lambda price: type(price) is int and abs(price) <= LARGEST_PRICE),
    "share": (lambda text: parse_share(text, "share"), lambda share: type(share) is Decimal and 0 <= share <= 1),
    "whole": (lambda text: parse_whole(text, "days"), lambda whole: type(whole) is int and 0 <= whole <= LARGEST_QTY),
}


def test_amounts(fuzz: Fuzz) -> None:
    def law(drawn: tuple[str, str]) -> None:
        parse, in_bounds = AMOUNTS[drawn[0]]
        value_or_mistake(parse, drawn[1], in_bounds)

    examples = ("118.40", "0.0345", "-5", "1", "0.95", "999999999.99", "1000000.0000", "1000000000", "+7", ".5", "5.")
    fuzz("amounts", law, st.tuples(st.sampled_from(sorted(AMOUNTS)), texts(examples)))


def test_numbers_come_back_as_they_were_shown(fuzz: Fuzz) -> None:
    def law(drawn: tuple[int, str]) -> None:
        number, code = drawn
        qty = number % LARGEST_QTY * (1 if number >= 0 else -1)
        assert parse_qty(format_qty(qty, code), code) == qty
        assert parse_qty(show_qty(qty, code), code) == qty
        assert parse_money(format_money(number)) == number
        assert parse_price(format_price(number // 10)) == number // 10

    fuzz("numbers come back", law, st.tuples(st.integers(-LARGEST_MONEY, LARGEST_MONEY), st.sampled_from([*UNITS])))


WHEN: dict[str, tuple[Parse, Callable[[Any], bool]]] = {
    "date": (parse_date, lambda day: type(day) is date and 1990 <= day.year <= 2100),
    "days": (parse_days, lambda days: bool(days) and days <= frozenset(range(7))),
    "cutoff": (parse_cutoff, lambda at: type(at) is time),
    "time": (read_time, lambda at: at == "" or parse_cutoff(at).strftime("%H:%M") == at),
}


def test_dates_and_times(fuzz: Fuzz) -> None:
    def law(drawn: tuple[str, str]) -> None:
        parse, in_bounds = WHEN[drawn[0]]
        value_or_mistake(parse, drawn[1], in_bounds)

    examples = (
        "2027-03-01",
        "2028-02-29",
        "1990-01-01",
        "Mon-Fri",
        "Tue",
        "Mon;Thu",
        "sat-mon",
        "17:00",
        "08.30",
        "7:5",
    )
    fuzz("dates and times", law, st.tuples(st.sampled_from(sorted(WHEN)), texts(examples)))


def test_fault_codes_and_gtins(fuzz: Fuzz) -> None:
    def law(text: str) -> None:
        value_or_mistake(read_codes, text, lambda codes: all(c.isascii() and 0 < len(c) <= 16 for c in codes))
        value_or_mistake(parse_gtin, text, lambda gtin: gtin.isascii() and gtin.isdigit() and len(gtin) <= 14)

    fuzz("fault codes and GTINs", law, texts(("P2463", "P2463;P2452", "p20cb, P246B", "9520000000356", "00000000")))


SET: dict[str, Callable[[Any], bool]] = {
    "target": lambda share: 0.5 <= share <= 0.999,
    "working_days": lambda days: bool(days) and days <= frozenset(range(7)),
    "closed_days": lambda days: all(type(day) is date for day in days),
    "currency": lambda code: len(code) == 3 and code.isascii() and code.isupper(),
    "vat_added_percent": lambda percent: 0 <= percent <= 100,
}


def test_settings(fuzz: Fuzz) -> None:
    def law(drawn: tuple[str, str]) -> None:
        name, text = drawn
        value_or_mistake(settings.SETTINGS[name].read, text, SET.get(name, lambda _: True))

    examples = ("0.95", "Mon-Fri", "2027-12-25;2027-12-26", "GBP", "20", "17.5", "", "yes", "no", "7")
    fuzz("settings", law, st.tuples(st.sampled_from(sorted(settings.SETTINGS)), texts(examples)))


def test_moments(fuzz: Fuzz) -> None:
    def in_bounds(moment: Any) -> bool:
        return type(moment) is datetime and 1990 <= moment.year <= 2100 and moment.tzinfo is None

    examples = (
        "2027-03-01T07:30",
        "2027-03-01",
        "2027-03-01 07:30:15",
        "2027-03-01T07:30+01:00",
        "2100-12-31T23:59:59",
    )
    fuzz("moments", lambda text: value_or_mistake(main._now, text, in_bounds), texts(examples))


@pytest.fixture
def working(session: Session) -> Session:
    """The small firm with a booked job, stock and two entries to undo."""
    add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
    stock.receive(session, "GKT-1", "50", place="van")
    job.fit(session, "J1", "GKT-1")
    return session


def test_parts_jobs_and_entries(fuzz: Fuzz, working: Session) -> None:
    entries = [row[0] for row in working.ledger.execute("SELECT id FROM entry")]

    def law(text: str) -> None:
        if is_text(text):
            value_or_mistake(lambda typed: find_part(working, typed, family="AAA"), text, lambda p: type(p) is Part)
            value_or_mistake(lambda typed: find_job(working, typed), text, lambda j: type(j) is Job)
        if is_text(text) and text:
            value_or_mistake(lambda typed: job.undo(working, typed), text, lambda both: len(both) == 2)

    examples = ("GKT-1", "vaporiser gasket", "9520000000356", "J1", entries[0][:8], entries[1], "hose 8 mm", "gaskt")
    fuzz("parts, jobs and entries", law, texts(examples))


def test_use(fuzz: Fuzz, working: Session) -> None:
    one = find_job(working, "J1")

    def law(text: str) -> None:
        if is_text(text):
            value_or_mistake(
                lambda typed: job._read_used(working, one, typed), text, lambda taken: 0 < taken.qty <= LARGEST_QTY
            )

    fuzz("use", law, texts(("GKT-1=2", "cleaning fluid=2.5L", "BLT-1=1pack", "HOS-1=600mm", "GLV-1= 3 pairs", "=1")))


def printed(show_it: Callable[[], None]) -> Iterator[str]:
    with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.redirect_stderr(out):
        show_it()
    yield from out.getvalue().split("\n")


def test_characters_on_the_screen(fuzz: Fuzz) -> None:
    def law(text: str) -> None:
        inner = f"[{text}]"
        assert [line.isprintable() for line in printed(lambda: show.say(inner))] == [True, True]
        assert [line.isprintable() for line in printed(lambda: show.tell(text))] == [True, True]
        columns = (show.Column("part"), show.words("what"))
        assert all(line.isprintable() for line in printed(lambda: show.table(columns, [(text, text)], title=text)))
        assert all(line.isprintable() for line in printed(lambda: show.paragraph(text)))
        document = "\n".join(printed(lambda: show.as_json([text, {text: text}])))
        assert all(line.isprintable() for line in document.split("\n"))
        assert json.loads(document) == [text, {text: text}]
        assert undefused(defused(text)) == text

    fuzz("characters on the screen", law, texts(("vaporiser gasket", "=1+1", "two\nlines", "'tis", "a\tb", "")))

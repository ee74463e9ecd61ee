"""The printed load-out: a load-out turned into the words of a page, and written to a file.

No arithmetic (see `morning`) and no markup (see `exchange.printed`). Called by `cli.loadout` and the phone face.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time
from itertools import groupby
from operator import attrgetter
from pathlib import Path

from vanstock.exchange.printed import DoLine, Group, JobLine, Page, PartLine, TakesLine, as_html, write_page
from vanstock.quantity import show_qty
from vanstock.routines.cautions import DEFER
from vanstock.routines.dangerous import in_short, over_limit
from vanstock.routines.expiry import Expiring
from vanstock.routines.loadout import Buy, JobOutlook, Left, Load, LoadOut
from vanstock.routines.session import Session
from vanstock.routines.wording import in_other_van, in_words, lacking, percent, takes, unknown

_DOUBTFUL_BELOW = 0.75
_END_OF_DAY = time(23, 59)
"""What a supplier without a cut-off is given (see `workdays.next_cutoff`): the day says it all."""


def print_load_out(session: Session, found: LoadOut, path: Path) -> None:
    """Write a load-out as a page to print; raises `BadValue` or `VanstockError` when it cannot be written."""
    write_page(path, load_out_page(found, session.now))


def load_out_html(session: Session, found: LoadOut) -> str:
    """A load-out as the same page, to be shown instead of written."""
    return as_html(load_out_page(found, session.now))


def load_out_page(found: LoadOut, now: datetime) -> Page:
    """The words of the page, for a load-out worked out at `now`."""
    over = tuple(over_limit(found.aboard.points)) if found.aboard else ()
    return Page(
        title=f"Load-out {found.date}, {found.van}",
        day=_long(found.date),
        van=found.van,
        jobs_booked={0: "nothing booked", 1: "1 job"}.get(len(found.jobs), f"{len(found.jobs)} jobs"),
        expected=_expected(found),
        jobs=tuple(map(_job, found.jobs)),
        do=tuple(DoLine(f"+{do.gain:.2f}", do.job.time or do.job.job, do.words) for do in found.do),
        load=_load(found.load),
        left=tuple(map(_left, found.left)),
        buy=_buy(found.buy, now),
        takes=tuple(TakesLine(row.job.time or "--:--", row.job.job, takes(row)) for row in found.jobs),
        cautions=tuple(caution for caution in found.cautions if caution not in (DEFER, *over)),
        defer=DEFER if DEFER in found.cautions else "",
        written=f"{_long(now.date())}, {now:%H:%M}",
        expired=tuple(_line(row, row.place, str(row.use_by)) for row in found.expired),
        aboard=tuple(in_short(found.aboard)) if found.aboard else (),
        expiring=tuple(_line(row, str(row.use_by)) for row in found.expiring),
        elsewhere=tuple(map(in_other_van, found.elsewhere)),
        over=over,
    )


def _long(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B} {day.year}"


def _expected(found: LoadOut) -> str:
    if not found.jobs:
        return ""
    if found.expected is None or found.expected_now is None or found.day_odds is None:
        return "how many finish first time is not known: a job below has nothing to go by"
    stands = f"; {found.expected_now:.1f} as the van stands" if found.load else ""
    every = f"; chance that all do {percent(found.day_odds)}" if len(found.jobs) > 1 else ""
    aboard = " with all of LOAD aboard" if found.load else ""
    return f"{found.expected:.1f} expected to finish first time{aboard}{stands}{every}"


def _job(outlook: JobOutlook) -> JobLine:
    job = outlook.job
    return JobLine(
        time=job.time or "--:--",
        job=job.job,
        what=" ".join((job.family, job.job_type, *job.codes)),
        odds="?" if outlook.odds is None else percent(outlook.odds),
        words=in_words(outlook.odds),
        doubtful=outlook.odds is None or outlook.odds < _DOUBTFUL_BELOW,
        lacks=tuple(lacking(outlook)),
        unknown=tuple(unknown(outlook)),
    )


def _line(row: Load | Left | Buy | Expiring, *more: str) -> PartLine:
    return PartLine(show_qty(row.qty, row.part.unit), row.part.part, row.part.description, more)


def _load(rows: Iterable[Load]) -> tuple[Group, ...]:
    """What to load, by the place it lies in."""
    place_of = attrgetter("from_place")
    by_place = groupby(sorted(rows, key=place_of), key=place_of)
    return tuple(Group(place, tuple(_line(row, row.reason) for row in lines)) for place, lines in by_place)


def _left(row: Left) -> PartLine:
    return _line(row, row.from_place, f"{row.cost:.2f}")


def _buy(rows: Iterable[Buy], now: datetime) -> tuple[Group, ...]:
    """What to buy: first what comes in time, then what does not."""
    lines = list(rows)
    groups = (
        Group("in time for a job of this day", tuple(_bought(row, now) for row in lines if row.in_time)),
        Group(
            "not in time as booked: order it, and move the job or warn the customer",
            tuple(_bought(row, now) for row in lines if not row.in_time),
        ),
    )
    return tuple(group for group in groups if group.lines)


def _bought(row: Buy, now: datetime) -> PartLine:
    until = _moment(row.cutoff, no_clock=_END_OF_DAY)
    comes = "at once" if row.comes and row.comes <= now else _moment(row.comes, no_clock=time())
    return _line(row, row.part.supplier or "no supplier", until, comes)


def _moment(at: datetime | None, *, no_clock: time) -> str:
    """The day and the time, or the day alone when the time is one that stands for no time of day."""
    if at is None:
        return "not known"
    clock = "" if at.time() == no_clock else f" {at:%H:%M}"
    return f"{at:%a} {at.day} {at:%b}{clock}"

"""How good the odds were: what was told of each job, and the chance given to each part, against what happened.

Called by `cli.score`; `loadout` keeps what it tells with `keep_odds`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import closing
from datetime import date, timedelta
from typing import NamedTuple

from vanstock.errors import VanstockError
from vanstock.ledger import reading, said
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.said import Said
from vanstock.model import Job, Part, Used
from vanstock.quantity import parse_money
from vanstock.routines.loadout import LoadOut
from vanstock.routines.past import Past, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import setting_text


def keep_odds(session: Session, found: LoadOut) -> str:
    """Keep in the ledger the odds that a load-out tells, in one transaction; why they could not be kept, or nothing.

    Only of days that are not over. On a connection of its own: this is no entry of a person's, after which the day's
    copy would be due.
    """
    if found.date < session.today:
        return ""
    at = session.now.astimezone().isoformat(timespec="seconds")
    told = [
        Said(at, outlook.job.job, outlook.odds, outlook.odds_now, outlook.jobs_like_it)
        for outlook in found.jobs
        if outlook.odds is not None and outlook.odds_now is not None
    ]
    if not told or said.nothing_new(session.ledger, told):
        return ""
    try:
        with closing(open_ledger(session.path)) as ledger, writing(ledger):
            said.keep(ledger, told)
    except VanstockError as error:
        return str(error)
    return ""


class Band(NamedTuple):
    """Chances said between two tenths: how many, their mean, and the share that came true."""

    low: float
    high: float
    number: int
    said: float
    came: float


class SecondVisit(NamedTuple):
    """A part that was needed on jobs and not aboard: on how many jobs, and what the second visits cost, in pence; a job
    that wanted several parts is shared among them."""

    part: Part
    jobs: int
    cost: int


class Score(NamedTuple):
    """The odds told of finished jobs, and the chance given to each part of later jobs by the jobs before them, by band
    from high to low; second visits since a date, dearest first."""

    jobs: tuple[Band, ...]
    parts: tuple[Band, ...]
    parts_jobs: int
    since: date
    finished: int
    first_time: int
    second_visits: tuple[SecondVisit, ...]
    second_visit_cost: int


def score(session: Session, since: date | None = None) -> Score:
    """How good the odds were; second visits are those of jobs from `since` on (a year back when None)."""
    past = read_past(session)
    start = since or session.today - timedelta(days=365)
    missed = _missed(reading.used(session.ledger))
    done = [job for job in past.jobs if job.status == "done"]
    lately = [job for job in done if start <= job.date <= session.today]
    each = parse_money(setting_text(session, "second_visit_cost"))
    chances, jobs = _part_chances(past, session.today)
    return Score(
        jobs=_bands(_job_odds(session, done, missed)),
        parts=_bands(chances),
        parts_jobs=jobs,
        since=start,
        finished=len(lately),
        first_time=sum(job.job not in missed for job in lately),
        second_visits=_second_visits(past, lately, missed, each),
        second_visit_cost=each,
    )


def _missed(used: Iterable[Used]) -> dict[str, list[str]]:
    """The parts that each job needed and had not aboard."""
    found: dict[str, list[str]] = defaultdict(list)
    for row in used:
        if row.missed > 0:
            found[row.job].append(row.part)
    return dict(found)


def _job_odds(session: Session, done: Iterable[Job], missed: Mapping[str, list[str]]) -> list[tuple[float, bool]]:
    told = {row.job: row.odds for row in said.last_said(session.ledger)}
    return [(told[job.job], job.job not in missed) for job in done if job.job in told]


def _part_chances(past: Past, today: date) -> tuple[list[tuple[float, bool]], int]:
    """The chance that each component was given on the later jobs, each job foretold from those before it alone, and
    whether the job took it; and how many jobs that are."""
    from vanstock.needs.cases import CaseBook
    from vanstock.needs.worths import foretold, held_out

    if not past.finished:
        return [], 0
    book = CaseBook.build(past.finished, past.catalogue, today=today)
    held = held_out(book.history(), alike=book.worths.alike)
    if held is None:
        return [], 0
    given = foretold(held, book.worths)[held.can_be]
    return list(zip(given.tolist(), held.taken[held.can_be].tolist(), strict=True)), len(held.taken)


def _bands(pairs: Iterable[tuple[float, bool]]) -> tuple[Band, ...]:
    """Chances and whether they came true, by tenths from high to low; tenths that hold none are left out."""
    tenths: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for chance, came in pairs:
        tenths[min(int(chance * 10 + 1e-9), 9)].append((chance, came))
    return tuple(
        Band(
            tenth / 10,
            (tenth + 1) / 10,
            len(rows),
            sum(chance for chance, _ in rows) / len(rows),
            sum(came for _, came in rows) / len(rows),
        )
        for tenth, rows in sorted(tenths.items(), reverse=True)
    )


def _second_visits(
    past: Past, jobs: Iterable[Job], missed: Mapping[str, list[str]], each: int
) -> tuple[SecondVisit, ...]:
    """By stock group, under the number that replaces all others."""
    counts: dict[str, int] = defaultdict(int)
    costs: dict[str, float] = defaultdict(float)
    for job in jobs:
        groups = {past.groups.get(part, part) for part in missed.get(job.job, ())}
        for group in groups:
            counts[group] += 1
            costs[group] += each / len(groups)
    known = past.catalogue
    found = [SecondVisit(known.parts[known.current(g)], count, round(costs[g])) for g, count in counts.items()]
    return tuple(sorted(found, key=lambda row: (-row.cost, row.part.part)))

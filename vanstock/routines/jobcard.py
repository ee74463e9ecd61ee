"""One job under the car: what it will probably take, biggest chance first, beside what is logged on it and aboard.

What is likely rests on finished jobs and takes a moment to work out (`likely`); what is logged and aboard is read anew
each time (`card_of`). Called by the phone face.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from vanstock.ledger import reading
from vanstock.model import Job, Part, PastEntry, Used
from vanstock.quantity import unit
from vanstock.routines.cautions import cautions_for
from vanstock.routines.job import Taken, not_logged, standing
from vanstock.routines.moves import Back, back
from vanstock.routines.naming import find_job, find_part
from vanstock.routines.session import Session

SHOWN_FROM = 0.1
_LISTED_FROM = 0.02
_CAUTION_FROM = 0.05
_TAKEN_BACK = 3
"""Entries that can be taken back one after another before the card is read anew."""


class Likely(NamedTuple):
    """A stock group that a job may take: its component, its part numbers (the current one first), the chance, and how
    many base units when it does."""

    component: str
    numbers: tuple[str, ...]
    probability: float
    qty: int


class Row(NamedTuple):
    """A part on a job's card: base units it probably takes (0: not known), logged and aboard, one more; what goes on
    new with the first, or with what is fitted, and is not logged; how many lines taking the last back would undo (0:
    nothing to take back); and the entries that taking back again and again would undo, with what they moved."""

    part: Part
    probability: float | None
    likely: int
    fitted: int
    missed: int
    aboard: int
    step: int
    riders: tuple[Taken, ...]
    takes_back: int
    standing: tuple[Back, ...] = ()


class Card(NamedTuple):
    """A job with the rows that are likely or logged, those that are less likely, and the usual cautions."""

    job: Job
    rows: tuple[Row, ...]
    others: tuple[Row, ...]
    cautions: tuple[str, ...]


def likely(session: Session, name: str) -> tuple[Likely, ...]:
    """What a job may take by the finished jobs it resembles, whatever has been logged on it, likeliest first."""
    from vanstock.needs.cases import CaseBook
    from vanstock.needs.marginals import marginals
    from vanstock.routines.past import read_for_day

    job = find_job(session, name)
    past = read_for_day(session, [job])
    known = past.catalogue
    book = CaseBook.build(past.finished, known, today=session.today)
    components = {group: known.parts[group].component or group for group in past.groups.values()}
    numbers: dict[str, list[str]] = {}
    for part, group in past.groups.items():
        numbers.setdefault(group, []).append(part)
    return tuple(
        Likely(
            line.component,
            tuple(dict.fromkeys((known.current(line.group), *numbers.get(line.group, [])))),
            line.probability,
            line.qty,
        )
        for line in marginals(book.needs_for(job), components)
    )


def worked_out_from(session: Session, job: Job) -> tuple[object, ...]:
    """What has to be the same for `likely` of a job to hold still."""
    return (job, session.today, reading.finished_count(session.ledger))


class _Held(NamedTuple):
    """What is logged on a job, aboard its van, and the acts that logged each part, newest first."""

    used: dict[str, Used]
    aboard: dict[str, int]
    acts: dict[str, list[PastEntry]]


def _held(session: Session, job: Job) -> _Held:
    used = {row.part: row for row in reading.used_on_job(session.ledger, job.job)}
    aboard = {row.part: row.qty for row in reading.balances(session.ledger, place=job.van)}
    return _Held(used, aboard, standing(session, job) if used else {})


def card_of(session: Session, job: Job, expected: Sequence[Likely]) -> Card:
    """The card of a job as the ledger stands."""
    held = _held(session, job)
    chances: dict[str, Likely] = {}
    for one in (line for line in expected if line.probability >= _LISTED_FROM):
        at_hand = [number for number in one.numbers if held.aboard.get(number, 0) > 0 or number in held.used]
        chances |= dict.fromkeys(at_hand or one.numbers[:1], one)
    names = [*chances, *(part for part in held.used if part not in chances)]
    rows = [_row(session, job, find_part(session, name), chances.get(name), held) for name in names]
    first = [row for row in rows if (row.probability or 0) >= SHOWN_FROM or row.fitted or row.missed]
    return Card(job, tuple(first), tuple(row for row in rows if row not in first), tuple(_cautions(rows)))


def _cautions(rows: Iterable[Row]) -> list[str]:
    return cautions_for(row.part for row in rows if row.probability is None or row.probability >= _CAUTION_FROM)


def offered(session: Session, job: Job | None, parts: Iterable[Part]) -> tuple[Row, ...]:
    """Rows for parts that a person looked for, on a job or on none."""
    held = _held(session, job) if job else _Held({}, {}, {})
    return tuple(_row(session, job, part, None, held) for part in parts)


def _row(session: Session, job: Job | None, part: Part, chance: Likely | None, held: _Held) -> Row:
    logged, acts = held.used.get(part.part), held.acts.get(part.part, ())
    step, fitted = _step(part, chance), logged.fitted if logged else 0
    return Row(
        part=part,
        probability=chance.probability if chance else None,
        likely=chance.qty if chance else 0,
        fitted=fitted,
        missed=logged.missed if logged else 0,
        aboard=held.aboard.get(part.part, 0),
        step=step,
        riders=not_logged(session, job, part, 0 if fitted > 0 else step) if job else (),
        takes_back=len(acts[0].missed) + sum(bool(line.qty) for line in acts[0].movements) if acts else 0,
        standing=tuple(back(session, past) for past in acts[:_TAKEN_BACK]),
    )


def _step(part: Part, chance: Likely | None) -> int:
    """One more: a piece, a pair, a litre, a metre, a kilogram; less where a job takes less, or a pack holds less."""
    whole = unit(part.unit).scale
    return min(whole, chance.qty) if chance and chance.qty else min(whole, part.pack_size)

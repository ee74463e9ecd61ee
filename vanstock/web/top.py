"""The top of every page: what the last act was answered, and the last act of this phone with its Undo."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from starlette.requests import Request

from vanstock.quantity import show_qty
from vanstock.web.moving import takes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vanstock.model import Entry, Part, PastEntry
    from vanstock.routines.session import Session
    from vanstock.web.desk import Desk


_SHOWN = 3


class Last(NamedTuple):
    """An act of this phone that one tap takes back: its line, the word for that, its entry's id, and what it moved."""

    line: str
    button: str
    entry: str
    takes: str


class Top(NamedTuple):
    """The answer to the act just sent (its state and lines), the last acts with Undo beside them and their entries, and
    the mark of the ledger that the page is of."""

    state: str = ""
    lines: tuple[str, ...] = ()
    last: tuple[Last, ...] = ()
    acts: tuple[PastEntry, ...] = ()
    ledger: str = ""


def top_of(desk: Desk, request: Request, session: Session) -> Top:
    """What stands at the top of the page that a request asks for."""
    from vanstock.routines.today import last_acts, ledger_mark

    answer = desk.answer_to(session.device, request.query_params.get("answer", ""))
    state, lines = (answer.state, tuple(answer.words.split("\n"))) if answer else ("", ())
    acts = tuple(last_acts(session))
    return Top(state, lines, tuple(_last(session, past) for past in acts), acts, ledger_mark(session))


def _last(session: Session, past: PastEntry) -> Last:
    from vanstock.routines.moves import back, parts_in

    line = f"{past.entry.at[11:16]} {_what_it_did(past, parts_in(session, past))}"
    return Last(
        line, "Put back" if past.entry.kind == "undone" else "Undo", past.entry.id, takes([back(session, past)])
    )


def _what_it_did(past: PastEntry, parts: Mapping[str, Part]) -> str:
    """An entry in a short line: its kind, and what it moved, missed, counted or booked."""
    moved = [
        f"{show_qty(line.qty, parts[line.part].unit)} x {parts[line.part].description or line.part}"
        for line in past.movements
        if line.qty and not past.counted
    ]
    missed = [
        f"{show_qty(abs(qty), parts[part].unit)} x {parts[part].description or part}" for _, part, qty in past.missed
    ]
    counted = [f"{show_qty(qty, parts[part].unit)} x {part} in {place}" for part, place, qty in past.counted]
    jobs = sorted({line.job for line in past.movements if line.job} | {row[0] for row in past.missed})
    booked = [f"{job.job}: {job.readings}" if past.entry.kind == "read" else job.job for job in past.bookings]
    on = [f"on {', '.join(jobs)}"] if jobs else booked
    return " ".join(filter(None, [_kind(past.entry), _few([*counted, *moved, *missed]), *on]))


def _few(lines: list[str]) -> str:
    """The first of them: the rest of a load list would push the page itself off the screen."""
    more = [f"and {len(lines) - _SHOWN} more"] if len(lines) > _SHOWN else []
    return "; ".join([*lines[:_SHOWN], *more])


def _kind(entry: Entry) -> str:
    """What was done, with the order's number, or what was undone."""
    if entry.kind == "undone":
        return f"{entry.kind}: {entry.note.removesuffix(f', {entry.kind}')}"
    return f"{entry.kind} {entry.note}" if entry.kind.startswith("order ") or entry.kind == "received" else entry.kind

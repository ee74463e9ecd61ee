"""Acts: a form that was sent becomes one entry, through the routine that the terminal uses too.

Each takes the fields of its form (see the package) and the entry's id, and says what was recorded in the words of the
terminal. Nothing is decided here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from vanstock.errors import BadValue
from vanstock.quantity import show_qty, with_point

if TYPE_CHECKING:
    from vanstock.model import Entry
    from vanstock.routines.goodsin import Arrived
    from vanstock.routines.job import Logged, Taken
    from vanstock.routines.session import Session
    from vanstock.routines.stock import Posted

Fields = Mapping[str, str]
Act = Callable[["Session", Fields, str], str]


def _amount(taken: Taken) -> str:
    return f"{show_qty(taken.qty, taken.part.unit)} x {taken.part.part} {taken.part.description}"


def _qty(fields: Fields, name: str = "qty") -> str:
    """An amount as typed, whose decimal comma becomes a point."""
    return with_point(fields.get(name, ""))


def _lines_of(fields: Fields, name: str) -> dict[str, str]:
    """What the lines of a form say, by part: the fields `name:PART`."""
    head = f"{name}:"
    return {key[len(head) :]: _qty(fields, key) for key in fields if key.startswith(head)}


def _with_notes(said: str, notes: Iterable[str]) -> str:
    return "\n".join((said, *(f"note: {note}" for note in notes)))


def _logged(what: str, logged: Logged) -> str:
    said = [
        f"{what} {logged.job.job}: {_amount(one)}; left: {show_qty(one.left, one.part.unit)}" for one in logged.taken
    ]
    return _with_notes("; ".join(said), logged.warnings)


def _fit(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import job as routine

    logged = routine.fit(
        session, fields["job"], fields["part"], _qty(fields),
        with_riders=fields.get("with") == "1", place=fields.get("place", ""), entry_id=entry_id,
    )  # fmt: skip
    said = _logged("fitted on", logged)
    if logged.goes_with:
        said += f"\ngoes on new with it, not logged: {', '.join(map(_amount, logged.goes_with))}"
    return said


def _missed(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import job as routine

    logged = routine.miss(session, fields["job"], fields["part"], _qty(fields), entry_id=entry_id)
    return _logged("missed on", logged)


def _finish(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import job as routine

    logged = routine.finish(session, fields["job"], entry_id=entry_id)
    notes = list(logged.warnings)
    if logged.goes_with:
        notes.append(f"usually goes on new and was not logged: {', '.join(map(_amount, logged.goes_with))}")
    return _with_notes(f"finished {logged.job.job}", notes)


def _undo(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import job as routine

    return _undone(*routine.undo(session, fields["entry"], undoing_id=entry_id))


def _minus(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import job as routine

    return _undone(*routine.take_back(session, fields["job"], fields["part"], undoing_id=entry_id))


def _undone(undone: Entry, undoing: Entry) -> str:
    return f"{undoing.kind}: {undone.kind} of {undone.at[:16].replace('T', ' ')} (entry {undone.id[:8]})"


def _load(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import stock as routine

    qty, source, van = _qty(fields), fields.get("place", "store"), fields.get("van", "van")
    posted = routine.move(session, fields["part"], qty, source=source, target=van, entry_id=entry_id)
    unit = posted.part.unit
    return _with_notes(
        f"loaded {show_qty(posted.qty, unit)} x {posted.part.part} {posted.part.description} from "
        f"{posted.from_place}; {posted.to_place} now has {show_qty(posted.left, unit)}",
        posted.warnings,
    )


def _load_all(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import stock as routine

    rows = _lines(fields["lines"])
    carried = routine.carry(session, rows, target=fields.get("van", "van"), entry_id=entry_id)
    said = (f"{show_qty(qty, part.unit)} x {part.part} from {place}" for part, qty, place in carried.lines)
    return _with_notes(f"loaded into {carried.to_place}: {'; '.join(said)}", carried.warnings)


def _lines(text: str) -> list[tuple[str, str, str]]:
    """The lines of a load list as its form holds them."""
    try:
        rows = json.loads(text)
        lines = [(part, qty, place) for part, qty, place in rows]
    except (ValueError, TypeError, RecursionError):
        lines = [("", "", 0)]
    if not all(isinstance(word, str) and word.isprintable() for row in lines for word in row):
        raise BadValue("the load list cannot be read: open the page again")
    return lines


def _reading(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.readings import DEFER, compared, judge, parse_reading, read_readings, show_reading
    from vanstock.routines import booking as routine

    typed = f"{_qty(fields, 'value').strip()} {fields.get('unit', '')}".strip()
    taken = parse_reading(fields["kind"], typed, after=fields.get("after") == "1")
    job = routine.add_reading(session, fields["job"], taken, entry_id=entry_id)
    said = f"{job.job}: {show_reading(taken)}: {judge(taken).words}"
    before = [one for one in read_readings(job.readings) if one.kind == taken.kind and not one.after]
    told = [compared(before[0], taken).words] if taken.after and before else []
    return "\n".join((said, *told, DEFER))


def _count(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import stock as routine

    return _counted(
        routine.count(
            session, fields["part"], _qty(fields), place=fields["place"], reason=fields.get("reason", ""),
            entry_id=entry_id,
        )
    )  # fmt: skip


def _counted(posted: Posted) -> str:
    unit = posted.part.unit
    counted = show_qty(posted.left, unit)
    gained = posted.to_place != "count difference"
    said = f"counted {counted} x {posted.part.part} in {posted.to_place if gained else posted.from_place}"
    if posted.qty == 0:
        return _with_notes(f"{said}: agrees with the ledger", posted.warnings)
    more = "more" if gained else "fewer" if unit == "C62" else "less"
    return _with_notes(f"{said}: {show_qty(posted.qty, unit)} {more} than the ledger had, posted", posted.warnings)


def _receive(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import goodsin as routine

    came = _lines_of(fields, "came")
    typed = routine.Came(
        came, damaged={part: qty for part, qty in _lines_of(fields, "damaged").items() if qty.strip()},
        rest=fields.get("rest", "later"), place=fields.get("place", "store"),
    )  # fmt: skip
    for part, qty in came.items():
        if not qty.strip():
            raise BadValue(f"say how much of {part} came: 0 for none")
    if typed.rest not in ("later", "cancel"):
        raise BadValue("say whether the rest comes later or is cancelled")
    found = routine.receive(session, fields["order"], typed, entry_id)
    said = f"received {found.order.order_no} into {found.place}: {'; '.join(map(_arrived, found.arrived))}"
    return _with_notes(f"{said}; it is {found.order.shown}", found.told)


def _arrived(row: Arrived) -> str:
    unit = row.part.unit
    damaged = f" ({show_qty(row.damaged, unit)} damaged)" if row.damaged else ""
    to_come = f", {show_qty(row.to_come, unit)} to come" if row.to_come > 0 else ""
    return f"{show_qty(row.qty, unit)} x {row.part.part}{damaged}{to_come}"


def _order(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import orderseen as routine

    wanted, taken = _lines_of(fields, "qty"), _lines_of(fields, "take")
    before = _lines_of(fields, "on-order")
    lines = [
        routine.SeenLine(part, qty if part in taken else "0", before.get(part, "0")) for part, qty in wanted.items()
    ]
    done = routine.draft_seen(session, fields["supplier"], lines, entry_id)
    said = (f"{show_qty(line.qty, line.part.unit)} x {line.part.part}" for line in done.document.lines)
    return f"drafted {done.order.order_no} from {done.order.supplier}: {'; '.join(said)}"


def _sent(session: Session, fields: Fields, entry_id: str) -> str:
    from vanstock.routines import ordering as routine

    done = routine.sent(session, fields["order"], entry_id)
    expected = f", expected {done.order.expected}" if done.order.expected else ""
    return f"sent {done.order.order_no} to {done.order.supplier}{expected}"


ACTS: Mapping[str, Act] = {
    "fit": _fit,
    "missed": _missed,
    "minus": _minus,
    "undo": _undo,
    "load": _load,
    "load-all": _load_all,
    "finish": _finish,
    "reading": _reading,
    "count": _count,
    "receive": _receive,
    "order": _order,
    "sent": _sent,
}
NEEDED: Mapping[str, tuple[str, ...]] = {
    "fit": ("job", "part"),
    "missed": ("job", "part"),
    "minus": ("job", "part"),
    "undo": ("entry",),
    "load": ("part",),
    "load-all": ("lines",),
    "finish": ("job",),
    "reading": ("job", "kind", "value"),
    "count": ("part", "qty", "place"),
    "receive": ("order",),
    "order": ("supplier",),
    "sent": ("order",),
}
"""The fields that an act cannot do without."""

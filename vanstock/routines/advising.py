"""The words of the day's advice: what to do, by when, and why it helps. Both faces show these sentences.

Called by `morning`, which works out what adds most (see `kit.advice`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

from vanstock.kit.advice import Advice
from vanstock.model import Part
from vanstock.quantity import show_qty
from vanstock.routines.loadout import Load, Short
from vanstock.routines.rounds import Round


class Said(NamedTuple):
    """What the words are made of: the load list, what the job may lack, the round each part number can come by, and
    the day of the job."""

    load: Sequence[Load]
    short: Sequence[Short]
    rounds: Mapping[str, Round]
    day: date


def in_words(advice: Advice, parts: Sequence[Part], said: Said) -> str:
    """One line that says what to do."""
    if advice.action == "load":
        return _load(parts[0], said)
    if advice.action == "ask":
        return _ask(parts, said)
    return _buy(parts, said) if advice.action == "buy" else _move(parts, said)


def _load(part: Part, said: Said) -> str:
    line = next((row for row in said.load if row.part == part), None) or said.load[0]
    return (
        f"load {show_qty(line.qty, line.part.unit)} x {line.part.part} {line.part.description} from {line.from_place}"
    )


def _buy(parts: Sequence[Part], said: Said) -> str:
    ordered = _by(_latest(parts, said), said.day)
    return f"buy {_listed(parts, said)}{ordered}"


def _move(parts: Sequence[Part], said: Said) -> str:
    last = _latest(parts, said)
    what = _listed(parts, said)
    verb = "starts after" if last and last.comes and last.comes.date() == said.day else "moves to"
    when = _moment(last.comes, said.day) if last and last.comes else "later"
    rest = "" if verb == "starts after" else " or later"
    return f"buy {what}{_order_by(last, said.day)}: finished first time if the job {verb} {when}{rest}"


def _ask(parts: Sequence[Part], said: Said) -> str:
    names = " or ".join(part.part for part in parts)
    last = _latest(parts, said)
    then = f", which comes {_moment(last.comes, said.day)}{_order_by(last, said.day)}" if last and last.comes else ""
    return f"ask the customer for the engine number: it may take {names}, not aboard{then}"


def _listed(parts: Sequence[Part], said: Said) -> str:
    missing = {short.part.part: short for short in said.short}
    return " and ".join(
        f"{show_qty(missing[part.part].qty, part.unit)} x {part.part}" if part.part in missing else part.part
        for part in parts
    )


def _latest(parts: Sequence[Part], said: Said) -> Round | None:
    known = [said.rounds[part.part] for part in parts if part.part in said.rounds]
    dated = [one for one in known if one.comes]
    return max(dated, key=lambda one: one.comes.isoformat() if one.comes else "", default=None)


def _by(last: Round | None, day: date) -> str:
    if last is None or last.comes is None:
        return ""
    return f"{_order_by(last, day)}: it comes {_moment(last.comes, day)}"


def _order_by(last: Round | None, day: date) -> str:
    return f" (order by {_moment(last.cutoff, day)})" if last and last.cutoff else ""


def _moment(at: datetime | None, day: date) -> str:
    """A time on the day itself, else the date, with the time where it says something."""
    if at is None:
        return "at a time not known"
    clock = "" if at.time() == datetime.min.time() else f"{at:%H:%M}"
    if at.date() == day and clock:
        return clock
    near = timedelta() <= at.date() - day < timedelta(days=6)
    named = f"{at:%a}" if near and clock else f"{at:%a} {at.day} {at:%b}"
    return f"{named} {clock}".rstrip()

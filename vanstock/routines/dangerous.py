"""What a van carries: the weight of its parts, and the points of its dangerous goods under ADR 1.1.3.6, in words.

It counts what the ledger has aboard, expired stock too, and says so; it never says that a load is lawful. Called by
`morning`, `cli.loadout` and `cli.dangerous`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_UP, Decimal
from math import ceil
from typing import NamedTuple

from vanstock.kit.dangerous import LIMIT, Points, count_points
from vanstock.kit.load import LoadLine
from vanstock.kit.payload import carried
from vanstock.ledger import catalogue, reading
from vanstock.model import Part
from vanstock.quantity import format_qty
from vanstock.routines.session import Session

ASK = (
    "Only what the ledger has in the van is counted, expired stock too: add what else lies in it. Packaging, labels, a "
    "2 kg extinguisher, awareness and stowing are asked for under the limit too; a run to fetch stock is no job run. "
    "Ask a dangerous goods safety adviser, and keep to the data sheet and the rules where you are: this count is no "
    "legal advice."
)
ASK_SHORT = (
    "Counted from the ledger alone. Under the limit other conditions hold too (packaging, labels, extinguisher): ask a "
    "dangerous goods safety adviser and keep to the rules where you are. No legal advice."
)
_MOST_NAMED = 4


class Aboard(NamedTuple):
    """What lies in a van: grams of its parts and how many it may carry (None: no limit is set), the parts that have no
    weight on record, and its dangerous goods."""

    grams: int
    payload: int | None
    weightless: tuple[str, ...]
    points: Points

    @property
    def dangerous(self) -> bool:
        """Whether there is anything to say of dangerous goods."""
        return bool(self.points.rows or self.points.unknown)


def aboard(held: Mapping[str, int], load: Sequence[LoadLine], parts: Mapping[str, Part], payload: int | None) -> Aboard:
    """What lies in a van with a load list carried to it; `held` is base units by part number."""
    then = {part: qty for part, qty in held.items() if qty > 0}
    for line in load:
        then[line.part] = then.get(line.part, 0) + line.qty
    weightless = tuple(sorted(part for part in then if parts[part].weight_grams is None))
    return Aboard(ceil(carried(then, parts)[0]), payload, weightless, count_points(then, parts))


def of_vans(session: Session, van: str = "") -> list[tuple[str, Points]]:
    """The dangerous goods in every van, or in this one; raises `NotFound` for what is no van."""
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    vans = catalogue.places(session.ledger, "van")
    named = [catalogue.place_named(session.ledger, van, "van")] if van else vans
    rows = reading.balances(session.ledger)
    return [
        (one.place, count_points({row.part: row.qty for row in rows if row.place == one.place}, parts)) for one in named
    ]


def in_words(found: Aboard) -> list[str]:
    """The lines of a screen or page: weight where a payload is set, dangerous goods where there are any."""
    told = [] if found.payload is None else [_weight(found, found.payload)]
    if not found.dangerous:
        return told
    lines = [f"{row.quantity} of {row.part}, {shown(row.points)}" for row in found.points.rows]
    return [
        *told,
        f"{total(found.points)}: {'; '.join(lines) or 'nothing counted'}",
        *not_counted(found.points),
        ASK_SHORT,
    ]


def in_short(found: Aboard) -> list[str]:
    """The same for a sheet of paper, without the lines that make up the points."""
    told = [] if found.payload is None else [_weight(found, found.payload)]
    if not found.dangerous:
        return told
    return [*told, f"{total(found.points)}, by the ledger alone; no legal advice", *not_counted(found.points)]


def _weight(found: Aboard, payload: int) -> str:
    weight = f"{shown(Decimal(found.grams) / 1000)} kg of parts, {format_qty(payload, 'KGM')} kg may be (payload_kg)"
    if not found.weightless:
        return weight
    named = ", ".join(found.weightless[:_MOST_NAMED]) + (" ..." if len(found.weightless) > _MOST_NAMED else "")
    many = "1 part has" if len(found.weightless) == 1 else f"{len(found.weightless)} parts have"
    return f"{weight}; {many} no weight_kg and count nothing: {named}"


def total(points: Points) -> str:
    """The points and the limit, in words."""
    return f"{shown(points.total)} of at most {LIMIT:,} points of dangerous goods (ADR 1.1.3.6)"


def not_counted(points: Points) -> list[str]:
    """What could not be counted, a line for each reason: with anything of it the points are too low."""
    parts: dict[str, list[str]] = {}
    for row in points.unknown:
        parts.setdefault(row.why, []).append(row.part)
    return [f"NOT COUNTED, so there may be more points: {', '.join(named)}: {why}" for why, named in parts.items()]


def over_limit(points: Points) -> list[str]:
    """What to say first of all of a van that carries more than the section allows."""
    if not points.over:
        return []
    if points.never:
        what = f"{', '.join(points.never)} may not be carried under ADR 1.1.3.6 at all"
    elif points.total > LIMIT:
        what = f"{shown(points.total)} points, {LIMIT:,} may be (ADR 1.1.3.6)"
    else:
        what = "more of one transport category than the table of ADR 1.1.3.6.3 allows"
    return [
        f"OVER THE LIMIT for dangerous goods: {what}. Take some out before you drive, or carry it as the full "
        "rules ask, which this count knows nothing of."
    ]


def shown(amount: Decimal) -> str:
    """Points or kilograms to a tenth, rounded up: never less than they are."""
    tenth = amount.quantize(Decimal("0.1"), ROUND_UP)
    return f"{tenth:,.0f}" if tenth == tenth.to_integral_value() else f"{tenth:,}"

"""How shelf life is shown: what has expired, what soon will, the dates on what is on hand. Used by several commands."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from vanstock.cli.show import Column, figure, paragraph, say, table, words
from vanstock.quantity import format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.kit.lots import Remains
    from vanstock.model import Part
    from vanstock.routines.expiry import Expiring

LOOK = "By the ledger, which knows what came in when and not which was taken: look at the dates."


def show_expiry(expired: Sequence[Expiring], expiring: Sequence[Expiring]) -> None:
    """What to take out, and what to use first."""
    from vanstock.routines.expiry import SOON_DAYS

    columns = (figure("quantity"), Column("part"), words("what"), Column("use by"))
    if expired:
        say("\nEXPIRED: take it out  (not counted; vanstock write-off PART --expired)")
        table((*columns, Column("in")), [(*_cells(row), row.place) for row in expired])
    if expiring:
        say(f"\nEXPIRES WITHIN {SOON_DAYS} DAYS: use it first")
        table(columns, [_cells(row) for row in expiring])
    if expired or expiring:
        paragraph(LOOK)


def _cells(row: Expiring) -> tuple[str, ...]:
    return (show_qty(row.qty, row.part.unit), row.part.part, row.part.description, str(row.use_by))


def expiry_json(row: Expiring) -> dict[str, object]:
    """A line of what has expired or soon will."""
    found = {"part": row.part.part, "qty": format_qty(row.qty, row.part.unit), "use_by": row.use_by.isoformat()}
    return {**found, "place": row.place} if row.place else {**found}


def dates(remains: Remains, part: Part, today: date) -> str:
    """What is on hand with its dates, in one line."""
    found = [
        f"{show_qty(lot.qty, part.unit)} to use by {lot.use_by}{' (expired)' if lot.use_by < today else ''}"
        for lot in remains.lots
    ]
    if remains.unknown:
        found.append(f"{show_qty(remains.unknown, part.unit)} without a date")
    return "; ".join(found) or "none"


def lots_json(remains: Remains, part: Part, today: date) -> list[dict[str, object]]:
    """What is on hand by its dates, the earliest first; a date of null for what has none."""
    lots: list[tuple[int, date | None]] = [(lot.qty, lot.use_by) for lot in remains.lots]
    lots += [(remains.unknown, None)] if remains.unknown else []
    return [
        {
            "qty": format_qty(qty, part.unit),
            "use_by": day.isoformat() if day else None,
            "expired": day is not None and day < today,
        }
        for qty, day in lots
    ]

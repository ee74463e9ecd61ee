"""Dangerous goods on the terminal and for machines: van by van for `stock --dangerous`, and as part of a load-out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_qty

if TYPE_CHECKING:
    from vanstock.kit.dangerous import Points
    from vanstock.routines.dangerous import Aboard
    from vanstock.routines.session import Session


def show_vans(session: Session, van: str, *, json: bool) -> None:
    """The dangerous goods in every van, or one."""
    from vanstock.routines import dangerous as routine

    found = routine.of_vans(session, van)
    if json:
        as_json({"vans": [{"van": name, **points_json(points)} for name, points in found]})
        return
    for name, points in found:
        _show_van(name, points)
    if any(points.rows or points.unknown for _, points in found):
        paragraph(routine.ASK)


def _show_van(name: str, points: Points) -> None:
    from vanstock.routines import dangerous as routine

    if not points.rows and not points.unknown:
        say(f"{name}: no dangerous goods by the ledger")
        return
    say(f"{name}: {routine.total(points)}")
    for line in (*routine.over_limit(points), *routine.not_counted(points)):
        paragraph(line, then="  ")
    columns = (Column("part"), words("quantity"), figure("transport category"), figure("points"))
    rows = [(row.part, row.quantity, str(row.category), routine.shown(row.points)) for row in points.rows]
    if rows:
        table(columns, rows)


def show_over(found: Aboard) -> None:
    """What comes before all else of a van that carries more than it may."""
    from vanstock.routines import dangerous as routine

    for line in routine.over_limit(found.points):
        say()
        paragraph(line, first="!! ", then="   ")


def show_aboard(found: Aboard, *, loaded: bool) -> None:
    """What the van carries with the load list, where there is something to say."""
    from vanstock.routines import dangerous as routine

    lines = routine.in_words(found)
    if lines:
        say("\nABOARD WITH THE LOAD" if loaded else "\nABOARD")
    for line in lines:
        paragraph(line, first="- ", then="  ")


def aboard_json(found: Aboard) -> dict[str, object]:
    """What a van carries; `dangerous` is null where there is nothing to say of it."""
    return {
        "weight_kg": format_qty(found.grams, "KGM"),
        "payload_kg": None if found.payload is None else format_qty(found.payload, "KGM"),
        "without_weight": list(found.weightless),
        "dangerous": points_json(found.points) if found.dangerous else None,
    }


def points_json(points: Points) -> dict[str, object]:
    """Points with the lines that make them up, and what could not be counted."""
    return {
        "points": f"{points.total:f}",
        "limit": points.limit,
        "over": points.over,
        "lines": [
            {"part": row.part, "quantity": row.quantity, "category": row.category, "points": f"{row.points:f}"}
            for row in points.rows
        ],
        "not_counted": [{"part": row.part, "why": row.why} for row in points.unknown],
    }

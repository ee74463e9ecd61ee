"""What `count` shows: a sheet, the difference report of an entry, the report of past counts; tables and JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from vanstock.cli.show import Column, figure, many, paragraph, say, table, words
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.kit.counting import Repeated
    from vanstock.model import Part
    from vanstock.routines.countanswers import Difference, Entered
    from vanstock.routines.counting import CountSheet, SheetLine
    from vanstock.routines.countreport import CountReport, Sums

_WORTH = "most worth counting"


def show_sheet(found: CountSheet, paths: Sequence[Path], *, figures: bool) -> None:
    """The lines of a sheet, those most worth counting first, and where it was written."""
    for note in found.notes:
        paragraph(f"note: {note}")
    if not found.lines:
        say("nothing to count" if found.full else "nothing is worth counting now")
        return
    count = many(len(found.lines), "line")
    moment = f"{found.code.moment:%a %Y-%m-%d %H:%M}"
    what = f"to count, frozen at {moment}" if found.full else "for the first count" if found.first else _WORTH
    say(f"{count} {what}")
    ledger = (figure("ledger"),) if figures else ()
    columns = (
        Column("part"),
        words("what"),
        Column("place"),
        *ledger,
        words("why") if not (found.full or found.first) else Column(""),
    )
    table(columns, [_sheet_cells(line, full=found.full, figures=figures) for line in _ranked(found)])
    if not paths:
        paragraph("to print it add --file count.html, to fill it in --file count.csv")
    for path in paths:
        say(f"written to {path}")
    if found.full:
        paragraph("answers are held against the ledger as it stands now, whatever is logged before they are entered")


def _ranked(found: CountSheet) -> list[SheetLine]:
    return sorted(found.lines, key=lambda line: line.rank)


def _sheet_cells(line: SheetLine, *, full: bool, figures: bool) -> tuple[str, ...]:
    held = (show_qty(line.ledger, line.part.unit),) if figures else ()
    why = "keeps disagreeing" if full and line.why else line.why
    return (line.part.part, line.part.description, line.place, *held, why)


def sheet_json(found: CountSheet, *, figures: bool) -> dict[str, object]:
    """The sheet; what the ledger has only where it is to be shown."""
    return {
        "sheet": str(found.code),
        "frozen": found.code.moment.isoformat(timespec="minutes") if found.code.frozen else None,
        "lines": [
            {
                "part": line.part.part,
                "place": line.place,
                "unit": line.part.unit,
                "why": line.why,
                "rank": line.rank,
                **({"ledger": format_qty(line.ledger, line.part.unit)} if figures else {}),
            }
            for line in found.lines
        ],
        "notes": list(found.notes),
    }


def signed_qty(qty: int, unit: str) -> str:
    """A difference as a person reads it: `+2`, `-0.5 L`, `0`."""
    return f"+{show_qty(qty, unit)}" if qty > 0 else show_qty(qty, unit)


def signed_money(pence: int) -> str:
    """A change of value: `+3.85`, `-3.85`, `0.00`."""
    return f"+{format_money(pence)}" if pence > 0 else format_money(pence)


def show_entered(found: Entered) -> None:
    """The difference report of an entry."""
    where = sorted({line.row.place for line in found.lines})
    if found.code:
        say(f"held against the ledger as it stood {found.code.moment:%a %Y-%m-%d %H:%M}")
    moved = any(line.moved for line in found.lines)
    place = (Column("place"),) if len(where) > 1 else ()
    since = (figure("since"),) if moved else ()
    figures = (figure("ledger"), figure("counted"), figure("differs"), figure("value"), *since)
    cells = [_difference_cells(line, place=bool(place), moved=moved) for line in found.lines]
    table((Column("part"), words("what"), *place, *figures), cells)
    from vanstock.routines.countreport import add_up

    sums = add_up(line.row for line in found.lines)
    paragraph(f"{_counted(sums)} in {' and '.join(where)}{_agreed(sums)}")
    if sums.absolute or sums.disagreed:
        paragraph(_in_money(sums))
    if found.before:
        paragraph(f"in the ledger already, not recorded again: {_listed(found.before)}")
    if found.not_counted:
        paragraph(f"not counted, and left as the ledger has it: {_listed(found.not_counted)}")
    _show_repeated(found.repeated)
    say(f"entry {found.entry.id[:8]} (vanstock undo takes it back)")


def _difference_cells(line: Difference, *, place: bool, moved: bool) -> tuple[str, ...]:
    row, unit = line.row, line.part.unit
    where = (row.place,) if place else ()
    since = (signed_qty(line.moved, unit) if line.moved else "",) if moved else ()
    amounts = (show_qty(row.had, unit), show_qty(row.qty, unit))
    differs = (signed_qty(row.difference, unit), signed_money(row.value)) if row.difference or row.value else ("", "")
    return (row.part, line.part.description, *where, *amounts, *differs, *since)


def _counted(sums: Sums) -> str:
    return f"counted {many(sums.counts, 'line')}"


def _agreed(sums: Sums) -> str:
    if not sums.disagreed:
        return ": all agree" if sums.counts > 1 else ": it agrees"
    if sums.disagreed == sums.counts:
        return ": it differs" if sums.counts == 1 else ": all differ"
    return f": {sums.counts - sums.disagreed} agree, {sums.disagreed} differ"


def _in_money(sums: Sums) -> str:
    worth = "more" if sums.net > 0 else "less"
    net = f"stock is worth {format_money(abs(sums.net))} {worth}" if sums.net else "stock is worth the same"
    found, lost, absolute = (format_money(pence) for pence in (sums.found, sums.lost, sums.absolute))
    return f"found {found}, lost {lost}: {net}; wrong either way by {absolute}"


def _listed(named: Iterable[tuple[Part, str]]) -> str:
    by_place: dict[str, list[str]] = {}
    for part, place in named:
        by_place.setdefault(place, []).append(part.part)
    return "; ".join(f"{', '.join(parts)} in {place}" for place, parts in by_place.items())


def _show_repeated(rows: Iterable[Repeated]) -> None:
    from vanstock.kit.counting import in_words

    for row in rows:
        paragraph(f"note: {row.part} in {row.place}: {in_words(row)}")


def entered_json(found: Entered) -> dict[str, object]:
    """The difference report of an entry."""
    from vanstock.routines.countreport import add_up

    return {
        "entry": found.entry.id,
        "frozen": found.code.moment.isoformat(timespec="minutes") if found.code else None,
        "lines": [
            {
                "part": line.row.part,
                "place": line.row.place,
                "ledger": format_qty(line.row.had, line.part.unit),
                "counted": format_qty(line.row.qty, line.part.unit),
                "difference": format_qty(line.row.difference, line.part.unit),
                "value": format_money(line.row.value),
                "moved_since": format_qty(line.moved, line.part.unit),
            }
            for line in found.lines
        ],
        **_sums_json(add_up(line.row for line in found.lines)),
        "already": [{"part": part.part, "place": place} for part, place in found.before],
        "not_counted": [{"part": part.part, "place": place} for part, place in found.not_counted],
        "repeated": _repeated_json(found.repeated),
    }


def _sums_json(sums: Sums) -> dict[str, object]:
    return {
        "counts": sums.counts,
        "disagreed": sums.disagreed,
        "found": format_money(sums.found),
        "lost": format_money(sums.lost),
        "net": format_money(sums.net),
        "absolute": format_money(sums.absolute),
    }


def _repeated_json(rows: Iterable[Repeated]) -> list[dict[str, object]]:
    from vanstock.kit.counting import in_words

    return [
        {"part": r.part, "place": r.place, "disagreed": r.disagreed, "counts": r.counts, "words": in_words(r)}
        for r in rows
    ]


def show_report(found: CountReport) -> None:
    """What past counts found, by part, by place and in all."""
    since = f"since {found.since}" if found.since else "so far"
    if not found.rows:
        say(f"nothing was counted {since}: `vanstock count --sheet` proposes what to count")
        return
    say(f"{_counted(found.total)} {since}{_agreed(found.total)}")
    figures = (figure("counts"), figure("differ"))
    money = (figure("found"), figure("lost"), figure("net"))
    if found.by_part:
        say()
        table((Column("part"), words("what"), *figures, figure("units"), *money), [
            (part, found.parts[part].description, *_times(sums),
             signed_qty(sums.difference, found.parts[part].unit), *_money(sums))
            for part, sums in found.by_part
        ])  # fmt: skip
    say()
    table((Column("place"), *figures, *money), [(place, *_times(s), *_money(s)) for place, s in found.by_place])
    say()
    paragraph(_in_money(found.total))
    _show_repeated(found.repeated)


def _times(sums: Sums) -> tuple[str, str]:
    return str(sums.counts), str(sums.disagreed)


def _money(sums: Sums) -> tuple[str, str, str]:
    return format_money(sums.found), format_money(sums.lost), signed_money(sums.net)


def report_json(found: CountReport) -> dict[str, object]:
    """What past counts found, count by count and added up."""
    return {
        "since": found.since.isoformat() if found.since else None,
        **_sums_json(found.total),
        "parts": [
            {"part": part, "difference": format_qty(sums.difference, found.parts[part].unit), **_sums_json(sums)}
            for part, sums in found.by_part
        ],
        "places": [{"place": place, **_sums_json(sums)} for place, sums in found.by_place],
        "lines": [
            {
                "entry": row.entry,
                "at": row.at,
                "part": row.part,
                "place": row.place,
                "ledger": format_qty(row.had, found.parts[row.part].unit),
                "counted": format_qty(row.qty, found.parts[row.part].unit),
                "difference": format_qty(row.difference, found.parts[row.part].unit),
                "value": format_money(row.value),
                "note": row.note,
            }
            for row in found.rows
        ],
        "repeated": _repeated_json(found.repeated),
    }

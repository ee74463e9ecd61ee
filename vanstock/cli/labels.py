"""Labels for bins and parts: `labels`. Parse, call one routine, show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_qty

if TYPE_CHECKING:
    from vanstock.routines.labels import Label, Sheets


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = (
        "vanstock labels --place van --file labels.html",
        "vanstock labels GK-KRA-011-A GK-KRA-011-A --from 5 --file labels.html",
        "vanstock labels --grid 3x8 --size 70x37 --family KRA --file labels.html",
    )
    app.command("labels", epilog=example(*lines))(labels)


def labels(
    ctx: typer.Context,
    parts: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PART ...]", help="One label each time it is named; else all that is in stock."),
    ] = None,
    place: Annotated[str, typer.Option("--place", metavar="PLACE", help="Bins of this van or store only.")] = "",
    family: Annotated[str, typer.Option("--family", metavar="FAMILY", help="Parts that fit this family only.")] = "",
    file: Annotated[Path | None, typer.Option("--file", metavar="FILE.html", help="Write the sheets to print.")] = None,
    start: Annotated[int, typer.Option("--from", metavar="N", help="Begin at this label of the first sheet.")] = 1,
    grid: Annotated[str, typer.Option("--grid", metavar="CxR", help="Columns and rows of a sheet of A4.")] = "3x8",
    size: Annotated[str, typer.Option("--size", metavar="WxH", help="Width and height of a label in mm.")] = "",
    gap: Annotated[str, typer.Option("--gap", metavar="MM", help="Between columns, in mm; none with --size.")] = "",
    lines: Annotated[bool, typer.Option("--lines", help="Draw lines to cut along, for plain paper.")] = False,
    json: Json = False,
) -> None:
    """Print labels with a QR code for bins and parts."""
    from vanstock.routines import labels as routine

    chosen = routine.parse_grid(grid, size=size, gap=gap)
    if file:
        routine.check_ending(file)
    with opened(ctx) as session:
        wish = routine.Wish(tuple(parts or ()), place, family)
        found = routine.label_sheets(session, wish, chosen, start=start)
        if file:
            routine.write_sheets(session, found, file, lines=lines)
    if json:
        as_json(_json(found))
    else:
        _show(found, file)


def _show(found: Sheets, file: Path | None) -> None:
    from vanstock.routines.labels import hard_to_read, level_words

    columns = (figure("label"), Column("part"), words("what"), Column("place"), words("levels"))
    rows = [
        (str(number + found.start - 1), label.part.part, label.part.description, label.place, level_words(label))
        for number, label in enumerate(found.labels, 1)
    ]
    table(columns, rows)
    labels_, sheets = _many(len(found.labels), "label"), _many(found.sheets, "sheet")
    say(f"{labels_} of {found.grid.size} on {sheets} of {found.grid.name}")
    fine = hard_to_read(found)
    if fine:
        paragraph(f"note: the codes of {', '.join(one.part for one in fine)} are fine: try larger labels")
    if file:
        say(f"written to {file}: open it and print at 100 %")
    else:
        say("--file labels.html writes them to print")


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _json(found: Sheets) -> dict[str, object]:
    return {
        "grid": found.grid.name,
        "width_mm": f"{found.grid.width / 10:g}",
        "height_mm": f"{found.grid.height / 10:g}",
        "sheets": found.sheets,
        "labels": [_label_json(found, number, label) for number, label in enumerate(found.labels, 1)],
    }


def _label_json(found: Sheets, number: int, label: Label) -> dict[str, object]:
    sheet, row, column = found.where(number)
    part, levels = label.part, label.levels
    return {
        "part": part.part,
        "place": label.place or None,
        "code": part.part,
        "min": format_qty(levels.min, part.unit) if levels else None,
        "max": format_qty(levels.max, part.unit) if levels else None,
        "sheet": sheet,
        "row": row,
        "column": column,
    }

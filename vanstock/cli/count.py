"""Stock counts: `count`. Parse, call one routine, show; the tables and JSON are in `count_show`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import as_json, say
from vanstock.cli.stock import Place, say_entry
from vanstock.errors import BadValue
from vanstock.quantity import show_qty

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vanstock.routines.stock import Posted

_HOW = "name a part and what you counted, several as PART=QTY, or one of --sheet, --answers FILE, --report"


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = (
        "vanstock count HC-UNI-412-A 38 --place van",
        "vanstock count GP-KRA-100-A=3 FL-UNI-800-A=12.5L --place van",
        "vanstock count --sheet --file count.html --file count.csv",
        "vanstock count --answers count.csv",
        "vanstock count --sheet --all --place van --file van.html --file van.csv",
        "vanstock count --report --since 2027-01-01",
    )
    app.command("count", epilog=example(*lines))(count)


def count(
    ctx: typer.Context,
    counted: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PART QTY | PART=QTY ...]", help="What you counted: one part, or several in one entry."
        ),
    ] = None,
    sheet: Annotated[bool, typer.Option("--sheet", help="Propose what is most worth counting.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="A sheet of everything, frozen at this moment.")] = False,
    lines: Annotated[
        int, typer.Option("--lines", metavar="N", min=1, max=100, help="How many lines a sheet has at most.")
    ] = 8,
    file: Annotated[
        list[Path] | None, typer.Option("--file", metavar="FILE.html|.csv", help="Write the sheet; may be repeated.")
    ] = None,
    figures: Annotated[bool, typer.Option("--figures", help="Show what the ledger has on the sheet.")] = False,
    answers: Annotated[
        Path | None, typer.Option("--answers", metavar="FILE.csv", help="Take in a sheet filled in.")
    ] = None,
    code: Annotated[
        str, typer.Option("--code", metavar="CODE", help="Which sheet the typed answers are to, as printed on it.")
    ] = "",
    report: Annotated[bool, typer.Option("--report", help="What past counts found.")] = False,
    since: Annotated[str, typer.Option("--since", metavar="DATE", help="Counts since then only.")] = "",
    place: Place = "",
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why it differs, in a few words.")] = "",
    json: Json = False,
) -> None:
    """Record stock counts and post the differences; propose what to count; report what counts found."""
    words = counted or []
    if bool(words) + sheet + (answers is not None) + report != 1:
        raise BadValue(_HOW)
    _refuse_stray(sheet, bool(everything or file or figures), "--all, --file and --figures go with --sheet")
    _refuse_stray(report, bool(since), "--since goes with --report")
    if sheet:
        _sheet(ctx, (place, lines, everything, figures), file or [], json=json)
    elif report:
        _report(ctx, since, place, json=json)
    elif len(words) == 2 and "=" not in "".join(words) and not code:
        _one(ctx, words, place or "van", reason, json=json)
    else:
        _many(ctx, words, answers, (place, code, reason), json=json)


def _refuse_stray(there: bool, given: bool, text: str) -> None:
    if given and not there:
        raise BadValue(text)


def _sheet(ctx: typer.Context, wish: tuple[str, int, bool, bool], paths: Sequence[Path], *, json: bool) -> None:
    from vanstock.cli.count_show import sheet_json, show_sheet
    from vanstock.routines import counting, countprint

    place, lines, everything, figures = wish
    countprint.check_files(paths)
    with opened(ctx) as session:
        found = (
            counting.full_sheet(session, place=place)
            if everything
            else counting.weekly_sheet(session, place=place, most=lines)
        )
    if found.lines:
        countprint.write_sheet(found, paths, figures=figures)
    if json:
        as_json(sheet_json(found, figures=figures))
    else:
        show_sheet(found, paths, figures=figures)


def _report(ctx: typer.Context, since: str, place: str, *, json: bool) -> None:
    from vanstock.cli.count_show import report_json, show_report
    from vanstock.routines import countreport
    from vanstock.workdays import parse_date

    day = parse_date(since) if since else None
    with opened(ctx) as session:
        found = countreport.report(session, since=day, place=place)
    if json:
        as_json(report_json(found))
    else:
        show_report(found)


def _many(
    ctx: typer.Context, words: Sequence[str], path: Path | None, wish: tuple[str, str, str], *, json: bool
) -> None:
    from vanstock.cli.count_show import entered_json, show_entered
    from vanstock.routines import countanswers

    place, code, reason = wish
    if path and code:
        raise BadValue("--code goes with typed answers: a file has its codes in the column sheet")
    given = countanswers.from_file(path, place) if path else countanswers.from_words(words, place, code)
    with opened(ctx) as session:
        found = countanswers.enter(session, given, reason=reason)
    if json:
        as_json(entered_json(found))
    else:
        show_entered(found)


def _one(ctx: typer.Context, words: Sequence[str], place: str, reason: str, *, json: bool) -> None:
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        posted = routine.count(session, words[0], words[1], place=place, reason=reason)
        if json:
            from vanstock.cli.count_show import entered_json
            from vanstock.routines import countanswers

            as_json(entered_json(countanswers.entered(session, posted.entry)))
            return
    _say_one(posted)


def _say_one(posted: Posted) -> None:
    counted = show_qty(posted.left, posted.part.unit)
    gained = posted.to_place != "count difference"
    where = posted.to_place if gained else posted.from_place
    if posted.qty == 0:
        say(f"counted {counted} x {posted.part.part} in {where}: agrees with the ledger")
    else:
        more = "more" if gained else "fewer" if posted.part.unit == "C62" else "less"
        difference = show_qty(posted.qty, posted.part.unit)
        say(f"counted {counted} x {posted.part.part} in {where}: {difference} {more} than the ledger had, posted")
    say_entry(posted)

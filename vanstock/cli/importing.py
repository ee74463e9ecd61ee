"""Files in: `import` of a folder, a spreadsheet or a filled-in starter workbook, and `template`. Parse, ask, show.

What a spreadsheet would change is shown before anything is written (see `import_show`); what is not clear is asked at a
terminal, and otherwise refused with the option that answers it.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from os.path import isfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import example, opened
from vanstock.cli.show import clean, counted, paragraph, say, tell, working
from vanstock.errors import BadValue, ImportRefused, ImportUnclear, Problem

if TYPE_CHECKING:
    from vanstock.exchange.table import Table
    from vanstock.exchange.taking import Question
    from vanstock.routines.session import Session
    from vanstock.routines.setup import Imported
    from vanstock.routines.sheetfile import Look, Wish

_ASKED_AT_MOST = 30
_LOOK = ": look at what stands above, then import again with --yes"
_FOR_A_FILE = "belongs to a spreadsheet and --as: name a file, and say what is in it"


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command(
        "import",
        epilog=example("vanstock import my-firm", "vanstock import prices.xlsx --as parts --supplier ODP"),
    )(import_)
    app.command("template", epilog=example("vanstock template", "vanstock template --file my-firm.xlsx"))(template)


def import_(
    ctx: typer.Context,
    source: Annotated[Path, typer.Argument(metavar="FOLDER|FILE", help="What to bring in.")],
    kind: Annotated[str, typer.Option("--as", metavar="WHAT", help="What a spreadsheet holds: parts, stock ...")] = "",
    supplier: Annotated[str, typer.Option(metavar="NAME", help="Whose list it is.")] = "",
    sheet: Annotated[str, typer.Option(metavar="NAME", help="Which sheet of a workbook.")] = "",
    columns: Annotated[
        list[str] | None, typer.Option(metavar="THEIRS=OURS", help="Which column of ours theirs is; nothing: not used.")
    ] = None,
    values: Annotated[
        list[str] | None, typer.Option("--set", metavar="OURS=VALUE", help="A column of ours, the same in every row.")
    ] = None,
    decimals: Annotated[str, typer.Option(metavar="MARK", help="point or comma: what stands before decimals.")] = "",
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="What stands first in dates like 03/04/2027.")
    ] = None,
    header_row: Annotated[
        int, typer.Option(metavar="ROW", help="The row with the headings; else it is found.", show_default=False)
    ] = 0,
    only_known: Annotated[bool, typer.Option("--only-known", help="Leave out parts that are new.")] = False,
    match_again: Annotated[bool, typer.Option("--match-again", help="Forget how columns were matched.")] = False,
    every: Annotated[bool, typer.Option("--all", help="Show every change.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Bring in a folder of CSV files, a spreadsheet, or a filled-in starter workbook: all of it, or nothing."""
    order = "" if day_first is None else "day-first" if day_first else "month-first"
    if kind:
        from vanstock.routines.sheetfile import Wish, sheet_of

        sheet_of(kind)
        said, given = _pairs("--columns", columns), _pairs("--set", values, sheet_of(kind).columns)
        wish = Wish(
            source, kind, supplier, sheet, said, given, _mark(decimals), order, header_row, match_again, only_known
        )
        _import_file(ctx, wish, every=every, yes=yes)
        return
    told = {"--supplier": supplier, "--columns": columns, "--set": values, "--sheet": sheet, "--header-row": header_row,
            "--decimals": decimals, "--only-known": only_known, "--match-again": match_again}  # fmt: skip
    for option, value in told.items():
        if value:
            raise BadValue(f"{option} {_FOR_A_FILE}")
    _import_whole(ctx, source, order)


def _pairs(option: str, words: Sequence[str] | None, ours: Sequence[str] = ()) -> dict[str, str]:
    """THEIRS=OURS or OURS=VALUE by the first of the two; raises `BadValue`."""
    found = {}
    for word in words or ():
        first, equals, second = word.partition("=") if ours else word.rpartition("=")
        if not equals or not first.strip() or (ours and not second.strip()):
            raise BadValue(
                f"{option} {word!r} cannot be read: write it like {option} {'place=van' if ours else 'Price=cost'}"
            )
        if ours and first.strip() not in ours:
            raise BadValue(f"{option} {word!r}: {first.strip()!r} is no column of ours: there is {', '.join(ours)}")
        found[first.strip()] = second.strip()
    return found


def _mark(decimals: str) -> str:
    from vanstock.exchange.amounts import MARKS

    if decimals and decimals not in MARKS:
        raise BadValue(f"--decimals {decimals!r} is neither point nor comma")
    return MARKS.get(decimals, "")


def _import_whole(ctx: typer.Context, source: Path, order: str) -> None:
    """A folder, or a workbook with the sheets of one."""
    from vanstock.exchange.folder import must_be_there
    from vanstock.routines import setup as routine

    if order and not isfile(source):
        raise BadValue(f"--{order} {_FOR_A_FILE}")
    must_be_there(source)  # before a ledger is made for nothing
    with opened(ctx, create=True) as session:
        if session.created:
            tell(f"new ledger: {session.path}")
        with working("importing") as progress:
            if source.is_file():
                from vanstock.routines import bookfile

                done = bookfile.import_book(session, source, order=order, progress=progress)
            else:
                done = routine.import_folder(session, source, progress)
    _say_imported(done, "workbook" if source.is_file() else "folder")


def _say_imported(done: Imported, what: str) -> None:
    if not done.total:
        say(f"nothing new: the ledger already has everything in that {what}")
        return
    listed = counted({name: count for name, count in done.changed.items() if count})
    paragraph(f"imported, new or changed: {listed}", then="  ")


def _import_file(ctx: typer.Context, wish: Wish, *, every: bool, yes: bool) -> None:
    from vanstock.cli import import_show
    from vanstock.exchange.table import check_size
    from vanstock.routines import sheetfile as routine

    check_size(wish.path)  # before a ledger is made for nothing
    with opened(ctx, create=True) as session:
        if session.created:
            tell(f"new ledger: {session.path}")
        if wish.supplier:
            wish = wish._replace(supplier=routine.supplier_named(session, wish.supplier))
        with working("reading"):
            table = routine.open_table(session, wish)
        seen = _settled(session, wish, table)
        if seen.problems:
            raise ImportRefused(list(seen.problems))
        import_show.changes(seen, every=every)
        if not seen.changes.any:
            say("nothing new: the ledger already has everything in that file")
            return
        if not (yes or _agreed()):
            raise BadValue(f"nothing was imported{'' if _at_terminal() else _LOOK}")
        written = routine.write(session, seen)
    if written.copy:
        say(f"copy of the ledger from before: {written.copy}")
    if written.order:
        say(f"dates are read {written.order} from now on (setting date_order)")
    _say_imported(written.imported, "file")


def _at_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _agreed() -> bool:
    return _at_terminal() and typer.confirm("Bring this in?", default=False)


def _settled(session: Session, wish: Wish, table: Table) -> Look:
    """The look at the table, shown, once nothing is open: what is not clear is asked, or refused with its option."""
    from vanstock.cli import import_show
    from vanstock.routines import sheetfile as routine

    for _ in range(_ASKED_AT_MOST):
        seen = routine.look(session, wish, table)
        import_show.matching(seen)
        if not seen.questions:
            return seen
        if not _at_terminal():
            break
        wish = _answered(wish, seen.questions[0])
    number = seen.headed.number
    raise ImportUnclear([Problem(table.place, number, f"{one.text}: {one.option}") for one in seen.questions])


def _answered(wish: Wish, question: Question) -> Wish:
    """The wish with a person's answer to one question in it."""
    say(f"\n{question.text}.")
    for number, (answer, words) in enumerate(question.answers, 1):
        say(f"  {number}  {answer}{f': {words}' if words else ''}")
    most = len(question.answers)
    if not most:
        raise BadValue(f"{question.text}: {question.option}")
    chosen = typer.prompt(clean(f"Which, 1 to {most} (0 for none)"), type=typer_range(most))
    if chosen == 0 and question.about != "columns":
        raise BadValue(f"nothing was imported: {question.text}")
    return _with_answer(wish, question, chosen)


def typer_range(most: int) -> object:
    """A number from 0 to `most`, asked again until it is one."""
    import click

    return click.IntRange(0, most)


def _with_answer(wish: Wish, question: Question, chosen: int) -> Wish:
    from vanstock.exchange.amounts import MARKS

    if question.about == "decimals":
        return wish._replace(mark=MARKS[question.answers[chosen - 1][0]])
    if question.about == "dates":
        return wish._replace(order=question.answers[chosen - 1][0])
    columns = dict(wish.columns)
    if chosen:
        columns[question.answers[chosen - 1][0]] = question.ours
    else:
        columns |= {answer: "" for answer, _ in question.answers}
    return wish._replace(columns=columns)


def template(
    file: Annotated[Path, typer.Option("--file", metavar="FILE.xlsx", help="Where to write it.")] = Path(
        "vanstock.xlsx"
    ),
) -> None:
    """Write a starter workbook: one sheet for each file of the import folder, notes, and lists to choose from."""
    from vanstock.routines.bookfile import write_starter

    write_starter(file)
    say(f"wrote {file}: start with the sheet notes, then `vanstock import {file}`")

"""The first hour: `start` asks for what a new firm needs, offers ways to bring its parts in, and the first count."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import example, opened
from vanstock.cli.show import clean, counted, many, paragraph, say, tell
from vanstock.errors import BadValue, ImportRefused, VanstockError

if TYPE_CHECKING:
    from vanstock.routines.session import Session
    from vanstock.routines.starting import Question

_HOW = (
    "Enter keeps what stands in brackets, - empties it, ? says what a question is for, stop ends here: what you "
    "answered is kept, and `vanstock start` goes on from there."
)
_OFFERS = (
    "1  write a starter workbook to fill in, one sheet for each list",
    "2  look at an invented firm first, in a ledger of its own",
    "3  bring in a folder or a workbook that you have",
    "4  nothing more now",
)
_WHICH = (
    "How your lists come into the ledger. Type its number. 1 and 3 can be done later too, with `vanstock template` and "
    "`vanstock import`; 2 makes a second file and leaves your ledger alone."
)


class _Stop(Exception):
    """The person has had enough for now."""


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("start", epilog=example("vanstock start", "vanstock start --again"))(start)


def start(
    ctx: typer.Context, again: Annotated[bool, typer.Option("--again", help="Ask what was answered once more.")] = False
) -> None:
    """Set a firm up by a few questions; stop whenever you like and go on later."""
    with opened(ctx, create=True) as session:
        if session.created:
            tell(f"new ledger: {session.path}")
        try:
            _questions(session, again=again)
            _suppliers(session, again=again)
            _bring_in(session)
            _first_count(session)
        except (_Stop, typer.Abort):
            say()
            say("stopped; what you answered is kept: `vanstock start` goes on from here")


def _ask(text: str, now: str = "", why: str = "") -> str:
    """What a person answers; `now` when it is Enter. Raises `_Stop`."""
    while True:
        said = str(typer.prompt(clean(text), default=now, show_default=bool(now))).strip()
        if said.casefold() == "stop":
            raise _Stop
        if said != "?":
            return said
        paragraph(why or "It can be changed later.", then="  ")


def _until_it_can_be(ask: Callable[[], str], use: Callable[[str], object]) -> None:
    """Ask until the answer can be used; what is wrong with one is told."""
    while True:
        answer = ask()
        try:
            use(answer)
        except VanstockError as wrong:
            tell(str(wrong))
        else:
            return


def _questions(session: Session, *, again: bool) -> None:
    from vanstock.routines import starting

    asked = list(starting.QUESTIONS) if again else starting.open_questions(session)
    if asked:
        paragraph(f"{many(len(asked), 'question')} about the firm, then its suppliers. {_HOW}")
        say()
    for question in asked:
        _until_it_can_be(
            lambda one=question: _ask(one.ask, one.now(session), one.why),  # type: ignore[misc]
            lambda text, one=question: _answer(session, one, text),  # type: ignore[misc]
        )


def _answer(session: Session, question: Question, text: str) -> None:
    from vanstock.routines import starting

    starting.answer(session, question, text)
    if told := starting.told_of_places(question, text):
        paragraph(told, then="  ")


def _suppliers(session: Session, *, again: bool) -> None:
    from vanstock.routines import starting

    if starting.suppliers_asked(session) and not again:
        return
    if there := starting.suppliers(session):
        names = ", ".join(one.supplier for one in there)
        paragraph(f"Suppliers there are: {names}. One named again is changed: Enter keeps, - empties.", then="  ")
    paragraph(
        "Suppliers, one after the other, each under a short name of your own, like FACTOR. Enter when all are in."
    )
    while short := _ask("Supplier, short name", why="The name that your parts list will call it by."):
        _supplier(session, short)
    starting.suppliers_done(session)


def _supplier(session: Session, short: str) -> None:
    from vanstock.routines import starting

    cells = starting.cells_of_supplier(session, short)
    try:
        starting.checked(cells)
    except VanstockError as wrong:
        tell(str(wrong))
        return
    for column, ask, usual, why in starting.SUPPLIER_QUESTIONS:
        now = cells.get(column, usual)

        def use(text: str, column: str = column) -> None:
            cells.update(starting.with_answer(cells, column, text))

        try:
            _until_it_can_be(lambda ask=ask, now=now, why=why: _ask(f"  {ask}", now, why), use)  # type: ignore[misc]
        except (_Stop, typer.Abort):
            say()
            say(f"not kept, because it is only half told: supplier {short}; name it again to go on")
            raise
    starting.add_supplier(session, cells)


def _bring_in(session: Session) -> None:
    from vanstock.routines import starting

    there = starting.what_is_there(session)
    say()
    paragraph(f"In the ledger: {counted(there)}.", then="  ")
    if there["parts"]:
        return
    paragraph("Next come your parts and what fits what; past jobs too, if you have them: they teach the odds.")
    for offer in _OFFERS:
        say(offer)
    _until_it_can_be(lambda: _ask("Which", "1", _WHICH), lambda text: _take(session, text))


def _take(session: Session, offer: str) -> None:
    ways = {"1": _workbook, "2": _invented_firm, "3": _what_they_have, "4": _nothing}
    if offer not in ways:
        raise BadValue(f"{offer!r} is none of them: type 1, 2, 3 or 4")
    ways[offer](session)


def _workbook(_: Session) -> None:
    from vanstock.routines.bookfile import write_starter

    path = Path(_ask("Name of the workbook", "vanstock.xlsx"))
    write_starter(path)
    say(f"wrote {path}: fill it in, then `vanstock import {path}` and `vanstock start` again for the first count")


def _invented_firm(session: Session) -> None:
    from vanstock.routines import invented

    path = invented.make(session.path)
    say(f"made {path}, the ledger of an invented firm. Try, on its Monday morning:")
    here = path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
    for words in ("loadout", "loadout J0785 --why", "reorder"):
        say(f"  vanstock --ledger {here} --now {invented.MORNING} {words}")
    say("Delete that file when you have seen enough; your own ledger is not touched by it.")


def _what_they_have(session: Session) -> None:
    from vanstock.exchange.folder import must_be_there
    from vanstock.routines.bookfile import import_book
    from vanstock.routines.setup import import_folder

    path = Path(_ask("Folder or workbook"))
    must_be_there(path)
    try:
        done = import_book(session, path) if path.is_file() else import_folder(session, path)
    except ImportRefused as refused:
        for problem in refused.problems:
            tell(str(problem))
        raise
    paragraph(f"imported: {counted({name: count for name, count in done.changed.items() if count})}", then="  ")


def _nothing(_: Session) -> None:
    say("`vanstock import FOLDER` or `vanstock import WORKBOOK.xlsx` brings them in when you have them")


def _first_count(session: Session) -> None:
    """Offer a sheet to count what lies where, when there are parts and nothing is known to lie anywhere."""
    from vanstock.routines import starting

    there = starting.what_is_there(session)
    if not there["parts"] or there["stock lines"]:
        return
    _until_it_can_be(
        lambda: _ask("Write a sheet for the first count, yes or no", "yes"), lambda text: _sheet(session, text)
    )


def _sheet(session: Session, answer: str) -> None:
    """The sheet for the first count when the answer is yes; raises `BadValue` for one that is neither."""
    from vanstock.routines import counting, countprint

    if answer.casefold() in ("no", "n"):
        say("`vanstock count --sheet --all --file count.html` writes it later")
        return
    if answer.casefold() not in ("yes", "y"):
        raise BadValue(f"{answer!r} is neither yes nor no")
    paths = [Path("first-count.html"), Path("first-count.csv")]
    if paths[1].exists():
        paragraph(
            f"{paths[1]} is there already, and may be filled in: `vanstock count --answers {paths[1]}` reads it; "
            "for a new one take it away first, and `vanstock start` again"
        )
        return
    countprint.write_sheet(counting.full_sheet(session), paths)
    paragraph(
        f"wrote {paths[0]} to print and {paths[1]} to fill in. Count, then: `vanstock count --answers {paths[1]}`, or "
        "type them: `vanstock count PART=3 PART=2L --place van`"
    )

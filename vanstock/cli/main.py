"""The program `vanstock`: its options, its commands, and how a mistake is told.

Exit 0 done, 1 the user's mistake (one line on stderr), 2 wrong usage. A bug keeps its traceback.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterable, Sequence
from datetime import datetime
from importlib import import_module
from typing import Annotated

import typer

from vanstock import __version__
from vanstock.cli.options import Commands, Options
from vanstock.cli.show import read_aloud, tell
from vanstock.errors import BadValue, ImportRefused, VanstockError
from vanstock.workdays import parse_date

_SPACES = dict.fromkeys((0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000), " ")
HOMES = {
    "loadout": ("loadout",),
    "load": ("load",),
    "job": ("fit", "missed", "finish", "undo"),
    "stock": ("stock", "history", "received"),
    "where": ("where",),
    "count": ("count",),
    "labels": ("labels",),
    "writeoff": ("write-off", "use-by"),
    "week": ("week",),
    "reorder": ("reorder",),
    "order": ("order",),
    "receive": ("receive",),
    "owed": ("owed", "goes-back", "sent-back", "credited", "give-up"),
    "forecast": ("forecast",),
    "levels": ("minmax",),
    "vankit": ("kit",),
    "curve": ("curve",),
    "value": ("value",),
    "year": ("year",),
    "replay": ("replay",),
    "score": ("score",),
    "booking": ("booking",),
    "reading": ("reading",),
    "start": ("start",),
    "importing": ("import", "template"),
    "setup": ("export", "place", "setting"),
    "trust": ("backup", "restore", "check", "forget"),
    "serve": ("serve", "device"),
    "authority": ("authority",),
}
"""Which module holds which commands, in the order help shows them."""


def program(homes: Iterable[str]) -> typer.Typer:
    """The program with the commands of these modules."""
    app = typer.Typer(
        name="vanstock", cls=Commands, no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False
    )
    app.callback()(options)
    for home in homes:
        import_module(f"vanstock.cli.{home}").add_to(app)
    return app


def homes_for(words: Sequence[str]) -> list[str]:
    """The modules that a command line can need: building the other commands would cost as much again.

    All of them unless some word is a command's name; for help on the program and for shell completion too.
    """
    named = [home for home, commands in HOMES.items() if any(word in commands for word in words)]
    asks_for_all = "_VANSTOCK_COMPLETE" in os.environ or (words and words[0].startswith("--help"))
    return list(HOMES) if asks_for_all or not named else named


def _version(wanted: bool) -> None:
    if wanted:
        sys.stdout.write(f"vanstock {__version__}\n")
        raise typer.Exit


def _now(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        parse_date(text[:10])
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except (ValueError, BadValue):
        raise BadValue(f"--now {text!r} is not a moment: write it as 2027-03-01T07:30") from None


def options(
    ctx: typer.Context,
    ledger: Annotated[str | None, typer.Option(metavar="FILE", help="The ledger file; else VANSTOCK_LEDGER.")] = None,
    now: Annotated[str | None, typer.Option(metavar="TIME", help="Work as if it were this local time.")] = None,
    plain: Annotated[
        bool, typer.Option("--plain", envvar="VANSTOCK_PLAIN", help="Print lines of words, to be read aloud.")
    ] = False,
    _: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = False,
) -> None:
    """Keeps a mobile technician's van stocked: load-out, parts fitted, reorder list."""
    read_aloud(plain)
    ctx.obj = Options(ledger, _now(now))


def _plain_words(words: Sequence[str]) -> list[str]:
    """The words typed, every kind of space a plain one; raises `SystemExit` for one that is no printable text."""
    for word in words:
        if not word.translate(_SPACES).isprintable():
            tell(f"vanstock: {word!r} holds a character that cannot be printed: type it without")
            raise SystemExit(2)
    return [word.translate(_SPACES) for word in words]


def run() -> None:
    """Run the command line; the console script."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # our sums are so small that threads make them slower
    gc.set_threshold(200_000, 20, 20)  # hardly any small tuple is in a ring, and looking takes long
    words = _plain_words(sys.argv[1:])
    try:
        program(homes_for(words))(words)
    except ImportRefused as refused:
        for problem in refused.problems:
            tell(str(problem))
        tell(f"vanstock: {refused}")
        raise SystemExit(1) from None
    except VanstockError as mistake:
        tell(f"vanstock: {mistake}")
        raise SystemExit(1) from None
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(1) from None

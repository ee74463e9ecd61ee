"""The program `vanstock`: its options, its commands, and how a mistake is told.

Exit 0 done, 1 the user's mistake (one line on stderr), 2 wrong usage. A bug keeps its traceback.
"""

from __future__ import annotations

import os
import sys
from datetime import datetime
from typing import Annotated

import typer

from vanstock import __version__
from vanstock.cli import booking, job, levels, morning, setup, stock, week
from vanstock.cli.options import Options
from vanstock.cli.show import tell
from vanstock.errors import BadValue, ImportRefused, VanstockError

app = typer.Typer(
    name="vanstock",
    help="Keeps a mobile technician's van stocked: load-out, parts fitted, reorder list.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for module in (morning, job, stock, week, levels, booking, setup):
    module.add_to(app)


def _version(wanted: bool) -> None:
    if wanted:
        sys.stdout.write(f"vanstock {__version__}\n")
        raise typer.Exit


def _now(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise BadValue(f"--now {text!r} is not a moment: write it as 2027-03-01T07:30") from None


@app.callback()
def options(
    ctx: typer.Context,
    ledger: Annotated[str | None, typer.Option(metavar="FILE", help="The ledger file; else VANSTOCK_LEDGER.")] = None,
    now: Annotated[str | None, typer.Option(metavar="TIME", help="Work as if it were this local time.")] = None,
    _: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = False,
) -> None:
    """Keeps a mobile technician's van stocked: load-out, parts fitted, reorder list."""
    ctx.obj = Options(ledger, _now(now))


def run() -> None:
    """Run the command line; the console script."""
    try:
        app()
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

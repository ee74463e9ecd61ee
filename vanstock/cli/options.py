"""What every command shares: the ledger and clock chosen on the command line, and common options."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer
from typer.core import TyperGroup

from vanstock.cli.show import tell
from vanstock.errors import VanstockError

if TYPE_CHECKING:
    from vanstock.routines.session import Session

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Van = Annotated[str, typer.Option("--van", metavar="VAN", help="Which van.")]
_WHOLE = 1_000
Day = Annotated[str, typer.Option("--date", metavar="DATE", help="A date, like 2027-03-01.")]


class Options(NamedTuple):
    """The ledger named with --ledger and the clock fixed with --now; None for neither."""

    ledger: str | None
    now: datetime | None


@contextmanager
def opened(ctx: typer.Context, *, create: bool = False) -> Iterator[Session]:
    """A sitting with the ledger that the command line names."""
    from vanstock.routines.session import open_session

    chosen: Options = ctx.obj
    with open_session(chosen.ledger, chosen.now, create=create) as session:
        yield session
        if session.ledger.total_changes and not session.created:
            _daily_copy(session)


def _daily_copy(session: Session) -> None:
    """After the day's first entry, make or offer the day's copy as the firm has set; a failing copy is told."""
    from vanstock.routines.session import copy_wanted

    wish = copy_wanted(session)
    if not wish:
        return
    from vanstock.routines import trust

    if trust.has_copy_of_today(session):
        return
    if wish == "offer" and not (sys.stdin.isatty() and sys.stdout.isatty()):
        tell("note: first entry today: `vanstock backup` makes the day's copy of the ledger")
    elif wish == "always" or typer.confirm("First entry today. Make the day's copy of the ledger?", default=True):
        try:
            tell(f"copy written and checked: {trust.backup(session).file}")
        except VanstockError as error:  # the entry itself is written and stays
            tell(f"note: {error}")


def check_chart(path: Path | None) -> None:
    """Refuse a picture's name before anything is worked out for it; raises `BadValue`."""
    if path is not None:
        from vanstock.exchange.picture import check_ending

        check_ending(path)


class Commands(TyperGroup):
    """A group whose help says what each command does in full, however many lines that takes."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list of commands; the usual one cuts each to a line."""
        named = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        rows = [(name, one.get_short_help_str(_WHOLE)) for name, one in named if one is not None and not one.hidden]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


def example(*lines: str) -> str:
    """The help text's closing example, kept as it stands."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)

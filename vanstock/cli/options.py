"""What every command shares: the ledger and clock chosen on the command line, and common options."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from vanstock.cli.show import tell
from vanstock.errors import VanstockError

if TYPE_CHECKING:
    from vanstock.routines.session import Session

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Van = Annotated[str, typer.Option("--van", metavar="VAN", help="Which van.")]
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


def example(*lines: str) -> str:
    """The help text's closing example, kept as it stands."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)

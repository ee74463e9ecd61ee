"""What every command shares: the ledger and clock chosen on the command line, and common options."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

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


def example(*lines: str) -> str:
    """The help text's closing example, kept as it stands."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)

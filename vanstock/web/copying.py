"""The day's copy of the ledger after the day's first entry, as the terminal makes or offers it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.errors import VanstockError

if TYPE_CHECKING:
    from vanstock.routines.session import Session


def daily_copy(session: Session) -> list[str]:
    """Make the day's copy where the firm wants it without asking, else say how to; what to tell at the terminal."""
    if not session.ledger.total_changes:
        return []
    from vanstock.routines.session import copy_wanted

    wish = copy_wanted(session)
    if not wish:
        return []
    from vanstock.routines import trust

    if trust.has_copy_of_today(session):
        return []
    if wish == "offer":
        return ["note: first entry today: `vanstock backup` makes the day's copy of the ledger"]
    try:
        return [f"copy written and checked: {trust.backup(session).file}"]
    except VanstockError as error:  # the entry itself is written and stays
        return [f"note: {error}"]

"""How good the odds were: what was told of each job, and the chance given to each part, against what happened.

Called by `cli.score`; `loadout` keeps what it tells with `keep_odds`.
"""

from __future__ import annotations

from contextlib import closing

from vanstock.errors import VanstockError
from vanstock.ledger import said
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.said import Said
from vanstock.routines.loadout import LoadOut
from vanstock.routines.session import Session


def keep_odds(session: Session, found: LoadOut) -> str:
    """Keep in the ledger the odds that a load-out tells, in one transaction; why they could not be kept, or nothing.

    Only of days that are not over. On a connection of its own: this is no entry of a person's, after which the day's
    copy would be due.
    """
    if found.date < session.today:
        return ""
    at = session.now.astimezone().isoformat(timespec="seconds")
    told = [
        Said(at, outlook.job.job, outlook.odds, outlook.odds_now, outlook.jobs_like_it)
        for outlook in found.jobs
        if outlook.odds is not None and outlook.odds_now is not None
    ]
    if not told or said.nothing_new(session.ledger, told):
        return ""
    try:
        with closing(open_ledger(session.path)) as ledger, writing(ledger):
            said.keep(ledger, told)
    except VanstockError as error:
        return str(error)
    return ""

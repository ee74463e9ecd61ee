"""Invented weeks of a small firm, for the tests of levels: finished jobs with what they took, brought in at once."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from vanstock.ledger import catalogue
from vanstock.ledger.bulk import ImportedFacts, post_import
from vanstock.ledger.file import writing
from vanstock.model import Job, Part, Supplier, Used
from vanstock.routines import levels
from vanstock.routines.coming import Coming, coming
from vanstock.routines.past import read_past
from vanstock.routines.reorder import reorder
from vanstock.routines.session import Session
from vanstock.routines.why import keep_basis

WEEKS = 40


def bring(session: Session, jobs: Iterable[Job], used: Iterable[Used]) -> None:
    """Bring finished jobs in with what they took."""
    kept = [row for row in used if row.fitted or row.missed]
    with writing(session.ledger) as ledger:
        post_import(ledger, ImportedFacts(list(jobs), kept), at=session.now, progress=lambda _: None)


def fill_weeks(session: Session, weeks: int = WEEKS, *, a_week: int = 2) -> None:
    """So many jobs in each of the last weeks. All take fluid, every fifth a sensor; every third is a heat source, of
    which those of family AAA take a vaporiser (missed on every other one) with a gasket and two bolts."""
    jobs: list[Job] = []
    used: list[Used] = []
    for number in range(weeks * a_week):
        back = 7 * (weeks - number // a_week) - (number * 3) % 5
        family, job_type = "BBB" if number % 4 == 0 else "AAA", "heat-source" if number % 3 == 2 else "clean"
        name = f"K{number:03}"
        jobs.append(Job(name, session.today - timedelta(days=back), "09:00", family, job_type, status="done"))
        used += [Used(name, "FLU-1", 2_000 + 500 * (number % 3), 0), Used(name, "SNS-1", int(number % 5 == 0), 0)]
        if (family, job_type) == ("AAA", "heat-source"):
            used += [Used(name, "VAP-2", number % 2, 1 - number % 2)]
            used += [Used(name, "GKT-1", 1, 0), Used(name, "BLT-1", 2, 0)]
    bring(session, jobs, used)


def later(session: Session, *, days: int = 0, hours: int = 0) -> Session:
    """The same ledger, some days and hours on (or, below 0, back)."""
    return session._replace(now=session.now + timedelta(days=days, hours=hours))


def change_part(session: Session, part: str, **fields: object) -> None:
    """Change a part in the catalogue."""
    with writing(session.ledger) as ledger:
        known = catalogue.read_catalogue(ledger).parts[part]
        catalogue.save_rows(ledger, Part, [known._replace(**fields)])  # type: ignore[arg-type]


def change_supplier(session: Session, supplier: str, **fields: object) -> None:
    """Change a supplier in the catalogue."""
    with writing(session.ledger) as ledger:
        known = catalogue.read_catalogue(ledger).suppliers[supplier]
        catalogue.save_rows(ledger, Supplier, [known._replace(**fields)])  # type: ignore[arg-type]


def ahead(session: Session) -> Coming:
    """The stream of coming jobs as the levels see it."""
    return coming(session, read_past(session), levels.known_besides(session, {}))


def place_of(found: Coming, part: str) -> int:
    """The place of a part among the shelves of a stream."""
    return [shelf.group for shelf in found.stream.shelves].index(part)


def level(session: Session, part: str, aim: levels.Aim = levels.OWN_TARGET) -> tuple[int, int]:
    """Min and max of one part."""
    ((_, found),) = levels.minmax(session, part, aim).parts
    return found.min, found.max


def make_list(session: Session) -> None:
    """Make the reorder list and keep what it rests on, as the command does."""
    assert keep_basis(session, reorder(session).basis) == ""

"""The mistakes vanstock tells a person about; every message says what to do next.

A `VanstockError` is the user's mistake or the world's (a locked file): a face prints it as one line and
ends 1. Anything else that is raised is a bug and keeps its traceback.
"""

from __future__ import annotations

from typing import NamedTuple


class VanstockError(Exception):
    """A mistake a person can mend; `str()` is one plain line that says how."""


class NotFound(VanstockError):
    """A part, job, place or entry that the ledger does not know."""


class Ambiguous(VanstockError):
    """A name that could mean several things; the message lists them."""


class BadValue(VanstockError):
    """A quantity, price, date or name that cannot be read as what it should be."""


class EntryConflict(VanstockError):
    """The same entry id sent again with other content."""


class LedgerUnusable(VanstockError):
    """The ledger file cannot be opened, is locked, is newer than the program, or is no ledger."""


class LedgerLocked(LedgerUnusable):
    """The ledger file is being written by another program and did not come free."""


class Problem(NamedTuple):
    """One thing wrong in an import folder, as data: where it is and what is wrong."""

    file: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.text}"


class ImportRefused(VanstockError):
    """An import folder with problems; carries all of them, and nothing was imported."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        count = len(problems)
        noun = "problem" if count == 1 else "problems"
        super().__init__(f"{count} {noun} found, {self.outcome}")

    outcome = "nothing was imported: mend the lines named and import again"


class AnswersRefused(ImportRefused):
    """Answers to a count sheet with problems; carries all of them, and nothing was recorded."""

    outcome = "nothing was recorded: mend the lines named and enter them again"


class ImportUnclear(ImportRefused):
    """A spreadsheet that leaves something open; carries every question with the option that answers it."""

    outcome = "nothing was imported: answer with the options named and import again"

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__(problems)
        count = len(problems)
        self.args = (f"{count} {'thing is' if count == 1 else 'things are'} not clear, {self.outcome}",)

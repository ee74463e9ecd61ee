"""The phrases by which calendar events are read: showing them, giving one a meaning, taking it away.

How they are looked for is in `eventwords`. Master data, as settings are: no entry is made and there is nothing to undo.
Called by `cli.calendar` and `calendarin`.
"""

from __future__ import annotations

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Word
from vanstock.routines import eventwords
from vanstock.routines.booking import job_types
from vanstock.routines.session import Session

_LONGEST = 64
_MOST = 1_000


def given_words(session: Session) -> list[Word]:
    """The phrases that need no rule: families by code and name, and job types."""
    return eventwords.given_words(catalogue.read_catalogue(session.ledger).families.values(), job_types(session))


def made_words(session: Session) -> list[Word]:
    """The phrases that a person gave a meaning."""
    return catalogue.words(session.ledger)


def rules(session: Session) -> eventwords.Rules:
    """Every phrase with what it means."""
    return eventwords.Rules(given_words(session), made_words(session))


def teach(session: Session, phrase: str, means: str, value: str = "") -> Word:
    """Give a phrase a meaning, in the place of any it had; raises `BadValue` or `NotFound`."""
    word = Word(_readable(phrase), means, _known(session, means, value))
    with writing(session.ledger) as ledger:
        made = catalogue.words(session.ledger)
        if len(made) >= _MOST and word.phrase not in {one.phrase for one in made}:
            raise BadValue(f"there are {_MOST:,} phrases already: take one away with --forget first")
        catalogue.save_word(ledger, word)
    return word


def forget(session: Session, phrase: str) -> None:
    """Take away the meaning that a person gave a phrase; raises `NotFound`."""
    with writing(session.ledger) as ledger:
        if not catalogue.drop_word(ledger, eventwords.folded(phrase)):
            raise NotFound(
                f"{phrase!r} was given no meaning by hand: `vanstock booking words` lists those that were; --nothing "
                "makes one that needs no rule stand for nothing"
            )


def _readable(phrase: str) -> str:
    folded = eventwords.folded(phrase)
    if not folded or len(folded) > _LONGEST:
        raise BadValue(f"phrase {phrase[:20]!r} cannot be looked for: it needs letters or digits, {_LONGEST} at most")
    return folded


def _known(session: Session, means: str, value: str) -> str:
    """The family or job type as the ledger writes it; a new job type as it is."""
    if means == eventwords.FAMILY:
        families = catalogue.read_catalogue(session.ledger).families
        found = [name for name in families if name.casefold() == value.strip().casefold()]
        if not found:
            raise NotFound(f"no family {value!r}: there is {', '.join(families) or 'none yet'}")
        return found[0]
    if means == eventwords.JOB_TYPE:
        types = job_types(session)
        found = [name for name in types if name.casefold() == value.strip().casefold()]
        if not found:
            raise NotFound(f"no job type {value!r}: there is {', '.join(types) or 'none yet'}")
        return found[0]
    return ""

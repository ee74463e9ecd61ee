"""Finding what a person means: a part by number, GTIN or words; a job by its id.

Matching is per word over each part's own words, so order and small slips do not matter. Called by every
routine that takes a part or a job by name.
"""

from __future__ import annotations

from collections.abc import Callable

from vanstock.errors import Ambiguous, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.orders import LineState, OrderState
from vanstock.model import Job, Part
from vanstock.routines.session import Session

_ALIKE = 82.0
_MARGIN = 3.0
_LEAST_LETTERS = 4
_MOST_LISTED = 6


def find_job(session: Session, name: str) -> Job:
    """The job with this id; raises `NotFound` naming today's jobs."""
    found = reading.job_named(session.ledger, name)
    if found:
        return found
    today = [job.job for job in reading.jobs_between(session.ledger, session.today, session.today)]
    hint = f"today's jobs are {', '.join(today)}" if today else "`vanstock booking list` shows what is booked"
    raise NotFound(f"no job {name!r}: {hint}")


def find_part(session: Session, text: str, *, family: str = "", place: str = "") -> Part:
    """The one part a person means by a number, a GTIN or words.

    Of several that match the words, one alone that fits `family` is meant, and of numbers stocked as one
    the one that lies at `place`, the oldest of a chain first. Raises `NotFound`, or `Ambiguous` listing the nearest,
    the family's first.
    """
    exact = catalogue.part_by_number(session.ledger, text.strip())
    if exact:
        return exact
    _refuse_an_amount(session, text)
    found = _called_just_that(find_parts(session, text), text)
    if not found:
        raise NotFound(f"no part matches {text!r}: `vanstock stock WORDS` looks for parts, parts.csv adds them")
    fitting = catalogue.parts_of_family(session.ledger, family) if family else set()
    near = [part for part in found if part.part in fitting]
    chosen = near or found
    if len(chosen) == 1:
        return chosen[0]
    aboard = [part for part in chosen if place and reading.on_hand(session.ledger, part.part, place) > 0]
    if aboard and (oldest := _oldest_of_one_stock(session, chosen, aboard)):
        return oldest
    raise _ambiguous(text, near + [part for part in found if part not in near])


def _refuse_an_amount(session: Session, text: str) -> None:
    """Raise `NotFound` for PART=QTY where only a part is named: as a slip of the part's number its amount were lost."""
    name, equals, qty = (word.strip() for word in text.partition("="))
    if equals and catalogue.part_by_number(session.ledger, name):
        how = "name one part at a time" if "," in qty or "=" in qty else f"here it is written {name} {qty}".rstrip()
        raise NotFound(f"no part matches {text!r}: {how}")


def _called_just_that(parts: list[Part], text: str) -> list[Part]:
    """Those whose component is exactly the words given, if any: "vaporiser" is not the vaporiser gasket."""
    named = [part for part in parts if part.component.casefold() == " ".join(text.casefold().split())]
    return named or parts


def _oldest_of_one_stock(session: Session, parts: list[Part], aboard: list[Part]) -> Part | None:
    """Of those aboard the one to use first, the oldest number of its chain; None where not all are stocked as one, or
    where two that stand in for each other are equally old."""
    from vanstock.model import stock_groups

    known = catalogue.read_catalogue(session.ledger)
    groups = stock_groups(known)
    if len({groups[part.part] for part in parts}) != 1:
        return None
    replaced = {part.part: len(known.chain(part.part)) for part in aboard}
    oldest = [part for part in aboard if replaced[part.part] == max(replaced.values())]
    return oldest[0] if len(oldest) == 1 else None


def _ambiguous(text: str, parts: list[Part]) -> Ambiguous:
    listed = "; ".join(f"{part.part} {part.description}" for part in parts[:_MOST_LISTED])
    more = f"; and {len(parts) - _MOST_LISTED} more" if len(parts) > _MOST_LISTED else ""
    return Ambiguous(f"{text!r} could be {listed}{more}: name the part by its number")


def find_parts(session: Session, text: str) -> list[Part]:
    """Every part whose words match all the words given, best first; slips are allowed when none matches."""
    words = text.casefold().split()
    parts = catalogue.part_names(session.ledger)
    for word_score in (_exact_score, _slip_score):
        scored = [(_score(words, part, word_score), part) for part in parts]
        best = max((score for score, _ in scored), default=0.0)
        if best:
            kept = [(score, part) for score, part in scored if score >= best - _MARGIN]
            return [part for _, part in sorted(kept, key=lambda pair: (-pair[0], pair[1].part))]
    return []


def offered_parts(session: Session, text: str, *, family: str = "") -> list[Part]:
    """The parts to offer for what has been typed so far: those of `family` first, best first among each."""
    if not text.strip():
        return []
    exact = catalogue.part_by_number(session.ledger, text.strip())
    found = [exact] if exact else find_parts(session, text)
    fitting = catalogue.parts_of_family(session.ledger, family) if family else set()
    return sorted(found, key=lambda part: part.part not in fitting)


def _score(words: list[str], part: Part, word_score: Callable[[str, list[str]], float]) -> float:
    """The mean score of the words, 0 when one of them matches nothing of the part."""
    text = f"{part.part} {part.description} {part.component} {part.supplier_part}".casefold()
    own = [part.part.casefold(), part.supplier_part.casefold(), *text.replace(",", " ").replace("-", " ").split()]
    scores = [word_score(word, own) for word in words]
    return sum(scores) / len(scores) if scores and min(scores) > 0 else 0.0


def _exact_score(word: str, own: list[str]) -> float:
    if word in own:
        return 100.0
    return 97.0 if len(word) >= 3 and any(mine.startswith(word) for mine in own) else 0.0


def _slip_score(word: str, own: list[str]) -> float:
    """How alike a word of four letters or more is to the part's nearest; 0 below what a slip would be."""
    from rapidfuzz import fuzz

    if len(word) < _LEAST_LETTERS:
        return _exact_score(word, own)
    alike = max(fuzz.ratio(word, mine) for mine in own)
    return alike if alike >= _ALIKE else 0.0


def parts_of(session: Session, order: OrderState) -> tuple[tuple[Part, LineState], ...]:
    """The lines of an order, each with its part."""
    return tuple((find_part(session, line.part), line) for line in order.lines)

"""The load-out as a page to print: one HTML file that needs nothing beside it, black on white, with boxes to tick.

Everything comes as words (see `Page`); nothing here knows how they were found, and whatever is in them is shown as
text, never as markup. The look is in templates/loadout.html.j2. Called by `routines.printing`.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.inplace import in_place_of

ENDINGS = (".html", ".htm")


class JobLine(NamedTuple):
    """One job: when, which, its odds in figures and words, what it may lack and what is not known of it."""

    time: str
    job: str
    what: str
    odds: str
    words: str
    doubtful: bool
    lacks: tuple[str, ...]
    unknown: tuple[str, ...]


class DoLine(NamedTuple):
    """One thing to do: the jobs it adds, for which job, the words."""

    adds: str
    job: str
    words: str


class PartLine(NamedTuple):
    """So much of a part, and what its table says of it in its further columns, in their order."""

    qty: str
    part: str
    what: str
    more: tuple[str, ...]


class Group(NamedTuple):
    """Lines that stand under one heading: the place they lie in, or whether they come in time."""

    heading: str
    lines: tuple[PartLine, ...]


class TakesLine(NamedTuple):
    """What one job may take."""

    time: str
    job: str
    words: str


class Page(NamedTuple):
    """Everything on the page, in words, in the order it stands there; `more` of the lines of `load` is why, of `left`
    where from and what it costs, of `buy` the supplier, order by, and comes, of `expired` where it is counted and its
    use-by date, of `expiring` that date; `aboard` is what is to say of weight and dangerous goods, `elsewhere` of what
    other vans have, `over` what comes before all else of a van that carries more than it may."""

    title: str
    day: str
    van: str
    jobs_booked: str
    expected: str
    jobs: tuple[JobLine, ...]
    do: tuple[DoLine, ...]
    load: tuple[Group, ...]
    left: tuple[PartLine, ...]
    buy: tuple[Group, ...]
    takes: tuple[TakesLine, ...]
    cautions: tuple[str, ...]
    defer: str
    written: str
    expired: tuple[PartLine, ...] = ()
    expiring: tuple[PartLine, ...] = ()
    aboard: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()
    over: tuple[str, ...] = ()


def check_ending(path: Path, like: str = "loadout.html") -> None:
    """Raise `BadValue` unless the file's name is a page's: so no ledger or table is written over by a slip."""
    if path.suffix.lower() not in ENDINGS:
        raise BadValue(f"{path.name!r} does not end in .html: name the page like {like}")


def as_html(page: Page) -> str:
    """The page as one HTML document."""
    return rendered("loadout.html.j2", page)


def rendered(template: str, page: object) -> str:
    """A page in the look of that template, every value escaped."""
    from jinja2 import Environment, StrictUndefined

    house = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    look = (files("vanstock.exchange") / "templates" / template).read_text(encoding="utf-8")
    return house.from_string(look).render(page=page)


def write_page(path: Path, page: Page) -> None:
    """Write the page in place of an old one, or leave that as it was.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    check_ending(path)
    put(path, as_html(page))


def put(path: Path, text: str) -> None:
    """Write a whole text file in place of an old one, or leave that as it was; raises `VanstockError`."""
    with in_place_of(path) as aside:
        aside.write_text(text, encoding="utf-8", newline="\n")

"""The first hour's questions: what a new firm is asked, in which order, and what each answer changes.

Every answer is stored as soon as it is given, and its question with those that are answered: stopping loses nothing. An
answer is checked as the setting, place or supplier that it becomes. No terminal here: called by `cli.start`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from vanstock.errors import BadValue, Problem
from vanstock.exchange import rows
from vanstock.exchange.csvfile import Record
from vanstock.exchange.writing import supplier_cells
from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Supplier
from vanstock.quantity import parse_decimal, with_point
from vanstock.routines.session import Session
from vanstock.routines.settings import change_setting, setting_text
from vanstock.routines.stock import add_place

_ANSWERED = "start_answered"
"""Where the ledger keeps the names of the questions that are answered."""
_SUPPLIERS_BEGUN = "suppliers_begun"
_EMPTIED = "-"
"""The answer that takes away what stands in brackets."""


class Question(NamedTuple):
    """What is asked in a few words, what it is for, what the answer would be now, and what an answer changes."""

    name: str
    ask: str
    why: str
    now: Callable[[Session], str]
    change: Callable[[Session, str], None]


def _setting(name: str) -> tuple[Callable[[Session], str], Callable[[Session, str], None]]:
    return lambda session: setting_text(session, name), lambda session, text: change_setting(session, name, text)


def _vat_now(session: Session) -> str:
    percent = setting_text(session, "vat_added_percent")
    return "yes" if float(percent) == 0 else percent


def _vat(session: Session, text: str) -> None:
    word = with_point(text.strip().lower().removesuffix("%").strip())
    if word in ("no", "n"):
        raise BadValue("then say how many percent are added to what you pay, like 20")
    try:
        change_setting(session, "vat_added_percent", "0" if word in ("yes", "y") else word)
    except BadValue:
        raise BadValue(f"{text!r} is neither yes nor a percent from 0 to 100, like 20") from None


def _target_now(session: Session) -> str:
    return f"{float(setting_text(session, 'target')) * 100:g}"


def _target(session: Session, text: str) -> None:
    percent = parse_decimal(with_point(text.strip().removesuffix("%").strip()), "the share of jobs")
    if not 50 <= percent <= 99.9:
        raise BadValue(f"{text!r} is not a share from 50 to 99.9 in a hundred jobs")
    change_setting(session, "target", f"{percent / 100:f}")


def _places(kind: str) -> tuple[Callable[[Session], str], Callable[[Session, str], None]]:
    def now(session: Session) -> str:
        return ", ".join(place.place for place in catalogue.places(session.ledger) if place.kind == kind)

    def change(session: Session, text: str) -> None:
        there = {(place.place.casefold(), place.kind) for place in catalogue.places(session.ledger)}
        with writing(session.ledger):  # all of the names or none
            for name in filter(None, (name.strip() for name in text.split(","))):
                if (name.casefold(), kind) not in there:
                    add_place(session, name, kind)
                    there.add((name.casefold(), kind))

    return now, change


QUESTIONS = (
    Question(
        "firm_name", "Your firm's name", "It stands on the orders you send. Empty is fine.", *_setting("firm_name")
    ),
    Question(
        "currency",
        "Currency of all money",
        "Three letters, like GBP or EUR. Every price is in it.",
        *_setting("currency"),
    ),
    Question(
        "vat",
        "Do you get the VAT on parts back? yes, or the percent you pay",
        "Prices are without VAT. If you get it back it is no cost; if not, stock is worth that much more.",
        _vat_now,
        _vat,
    ),
    Question(
        "working_days", "Days you work", "Like Mon-Fri or Mon-Sat. Lead times count them.", *_setting("working_days")
    ),
    Question(
        "review_day",
        "Weekday on which you order",
        "Once a week `vanstock reorder` says what to order; min and max count on this day.",
        *_setting("review_day"),
    ),
    Question(
        "target",
        "How many of 100 jobs should be finished on the first visit",
        "More needs more cash on the shelves: `vanstock curve` shows how much. 95 is a fair start.",
        _target_now,
        _target,
    ),
    Question(
        "vans",
        "Your vans, with commas between",
        "There is one named `van` from the start; name only more than that, like: van, van 2.",
        *_places("van"),
    ),
    Question(
        "stores",
        "Your stores (lock-ups), with commas between",
        "There is one named `store` from the start; without a lock-up it stays empty.",
        *_places("store"),
    ),
)

SUPPLIER_QUESTIONS = (
    ("name", "Full name", "", "It stands on orders and lists."),
    ("lead_working_days", "Working days from order to delivery", "1", "0 is the same day, 1 the next one. An odd part "
     "that takes longer has its own number of days in the parts list."),
    ("order_days", "Days on which an order can be placed", "Mon-Fri", "Like Mon-Fri, Tue or Mon;Thu."),
    ("cutoff", "Time by which an order must be in, like 16:00", "", "The load-out and the reorder list say what must "
     "be ordered before it. Empty where there is none."),
    ("carriage", "Carriage for one order", "0", "What delivery costs, without VAT; 0 where it is free."),
    ("carriage_paid_over", "Goods from which carriage is free", "", "The value of an order above which delivery costs "
     "nothing; empty where it always costs."),
    ("email", "Address that orders go to", "", "It stands on the order. Nothing is sent by vanstock."),
)  # fmt: skip
"""Column of suppliers.csv, what is asked, what it is when nobody answers, and what it is for."""
_AMOUNTS = ("carriage", "carriage_paid_over")


def open_questions(session: Session) -> list[Question]:
    """The questions that are not answered yet, in order."""
    done = _answered(session)
    return [question for question in QUESTIONS if question.name not in done]


def suppliers_asked(session: Session) -> bool:
    """Whether the suppliers have been gone through, or some came in another way."""
    done = _answered(session)
    return "suppliers" in done or (_SUPPLIERS_BEGUN not in done and bool(suppliers(session)))


def suppliers(session: Session) -> list[Supplier]:
    """The suppliers there are."""
    return list(catalogue.read_catalogue(session.ledger).suppliers.values())


def answer(session: Session, question: Question, text: str) -> None:
    """Store an answer; raises `BadValue` for one that cannot be."""
    question.change(session, "" if text == _EMPTIED else text)
    _mark(session, question.name)


def suppliers_done(session: Session) -> None:
    """Keep that there are no more suppliers to name."""
    _mark(session, "suppliers")


def cells_of_supplier(session: Session, short: str) -> dict[str, str]:
    """What is known of the supplier of that short name, as cells of suppliers.csv: the name alone for a new one."""
    there = {one.supplier.casefold(): one for one in suppliers(session)}
    known = there.get(short.casefold())
    return supplier_cells(known) if known else {"supplier": short}


def told_of_places(question: Question, text: str) -> str:
    """What to know when the van or store that is there from the start is not among those named; else empty."""
    first = {"vans": "van", "stores": "store"}.get(question.name, "")
    if not first or first in {name.strip().casefold() for name in text.split(",")}:
        return ""
    return (
        f"`{first}` is there from the start and stays beside them: it is what commands mean where you name no other, "
        "so let it be one of yours, or leave it empty."
    )


def checked(cells: Mapping[str, str]) -> Supplier:
    """The supplier that these cells of suppliers.csv make; raises `BadValue` for the first that cannot be."""
    problems: list[Problem] = []
    found = rows.supplier(Record("suppliers.csv", 1, dict(cells), problems))
    if problems or found is None:
        raise BadValue(problems[0].text.partition(": ")[2] if problems else "that is no supplier")
    return found


def with_answer(cells: Mapping[str, str], column: str, text: str) -> dict[str, str]:
    """A supplier's cells with one more answer; raises `BadValue` for one that cannot be."""
    usual = next(usual for name, _, usual, _ in SUPPLIER_QUESTIONS if name == column)
    if text == _EMPTIED and usual:
        raise BadValue(f"every supplier needs an answer here: type one, like {usual}")
    answered = {**cells, column: "" if text == _EMPTIED else _as_cell(column, text)}
    checked(answered)
    return answered


def _as_cell(column: str, text: str) -> str:
    """What was typed as a cell of suppliers.csv, which has a point before the decimals; raises `BadValue`."""
    return with_point(text) if column in _AMOUNTS else text


def add_supplier(session: Session, cells: Mapping[str, str]) -> Supplier:
    """Add a supplier, or change the one of that name, and keep that more may follow; raises `BadValue`."""
    found = checked(cells)
    with writing(session.ledger):
        catalogue.save_rows(session.ledger, Supplier, [found])
    _mark(session, _SUPPLIERS_BEGUN)
    return found


def what_is_there(session: Session) -> dict[str, int]:
    """How many parts, fits, jobs and stock lines the ledger has: what still has to come in."""
    from vanstock.ledger import reading

    known = catalogue.read_catalogue(session.ledger)
    return {
        "families": len(known.families),
        "parts": len(known.parts),
        "fits": len(known.fits),
        "jobs": len(reading.jobs(session.ledger)),
        "stock lines": len(reading.balances(session.ledger)),
    }


def _answered(session: Session) -> list[str]:
    return (catalogue.setting(session.ledger, _ANSWERED) or "").split()


def _mark(session: Session, name: str) -> None:
    done = list(dict.fromkeys((*_answered(session), name)))
    with writing(session.ledger):
        catalogue.save_setting(session.ledger, _ANSWERED, " ".join(done))

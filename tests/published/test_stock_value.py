"""What stock costs, against worked examples: our own goods in and parts fitted, then the value of what is left.

The first is that of IAS 2 (25: weighted average or first in, first out, one formula for like items): buy 10 at 4 and 20
at 5, use 15. The second is OpenStax, Principles of Accounting, Volume 1: Financial Accounting (2019), sections 10.2 and
10.3, recalled from memory: 150 units at 21.00 at the start, 120 sold, 225 bought at 27.00, 180 sold, 210 bought at
33.00. Of its printed results, goods sold 7,200 and 8,955 left (first in, first out) are recalled; the moving average
is computed: (630 + 6,075) / 255 each, 180 of them and 120 at 21 sold.
"""

from __future__ import annotations

from datetime import timedelta

from vanstock.model import Job
from vanstock.routines import booking, job, stock
from vanstock.routines.session import Session
from vanstock.routines.value import stock_value
from vanstock.routines.year import Year, year

PART = "SNS-1"


def later(session: Session) -> Session:
    return session._replace(now=session.now + timedelta(days=1))


def bought(session: Session, qty: int, price: int) -> None:
    """Goods in at whole pounds each."""
    stock.receive(session, PART, str(qty), cost=price * 10_000, place="van")


def fitted(session: Session, qty: int) -> None:
    if not session.ledger.execute("SELECT 1 FROM job").fetchone():
        booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean"))
    job.fit(session, "J1", PART, str(qty))


def this_year(session: Session) -> Year:
    return year(session, session.today.replace(month=1, day=1), session.today.replace(month=12, day=31))


def test_goods_at_two_prices_are_worth_their_average_and_first_in_first_out_stands_beside(session: Session) -> None:
    bought(session, 10, 4)
    session = later(session)
    bought(session, 20, 5)
    session = later(session)
    fitted(session, 15)
    found = this_year(session)
    assert (found.total.changes["bought"], found.total.changes["used"]) == (14_000, -7_000)
    assert found.total.closing == stock_value(session).total == 7_000
    assert found.fifo == 7_500
    assert 14_000 - found.fifo == 6_500


def test_a_month_of_goods_in_and_out_gives_the_textbook_costs(session: Session) -> None:
    bought(session, 150, 21)
    for sold, came, price in ((120, 225, 27), (180, 210, 33)):
        session = later(session)
        fitted(session, sold)
        bought(session, came, price)
    found = this_year(session)
    assert found.total.changes["bought"] == 1_615_500
    assert (1_615_500 - found.fifo, found.fifo) == (720_000, 895_500)
    assert (-found.total.changes["used"], found.total.closing) == (725_294, 890_206)
    assert found.total.unexplained == 0


def test_what_is_left_at_each_date_is_worth_what_it_was_worth_then(session: Session) -> None:
    first = session.today
    bought(session, 150, 21)
    session = later(session)
    fitted(session, 120)
    bought(session, 225, 27)
    assert [stock_value(session, day).total for day in (first, session.today)] == [315_000, 670_500]

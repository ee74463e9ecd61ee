"""Every rule of `check` holds on a busy ledger, and each is broken by just what it is there to find."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from vanstock.ledger.checking import RULES, check
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, last_undoable, post, reverse
from vanstock.ledger.valuing import Line
from vanstock.model import Job
from vanstock.routines import trust
from vanstock.routines.session import Session


@pytest.fixture
def busy(session: Session) -> Session:
    job = Job("J1", session.today, "08:00", "AAA", "clean", reference="C-1042")
    for draft in (
        Draft(session.now, "booked", bookings=(job,)),
        Draft(session.now, "received", lines=(Line("SNS-1", 3, SUPPLIER, "van", 14_160),)),
        Draft(session.now, "loaded", lines=(Line("SNS-1", 2, "van", "store"),)),
        Draft(session.now, "fitted", lines=(Line("SNS-1", 2, "van", CUSTOMER, job="J1"),)),
        Draft(session.now, "missed", missed=(Missed("J1", "GKT-1", 1),)),
        Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 2),)),
        Draft(session.now, "finished", bookings=(job._replace(status="done"),)),
    ):
        post(session.ledger, draft)
    reverse(session.ledger, last_undoable(session.ledger), Draft(session.now, "undo"))
    return session


def broken(session: Session) -> set[str]:
    return {finding.rule for finding in check(session.ledger) if finding.wrong}


def without_guards(session: Session, statement: str) -> None:
    """Do to the file what another program could: every trigger off, the statement, every trigger on again."""
    with closing(sqlite3.connect(session.path, isolation_level=None)) as raw:
        triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            raw.execute(f"DROP TRIGGER {name}")
        raw.executescript(statement)
        for _, sql in triggers:
            raw.execute(sql)


def test_every_rule_holds_on_a_busy_ledger_and_on_an_empty_one(busy: Session, session: Session) -> None:
    assert broken(busy) == set()
    assert len(check(busy.ledger)) == len(RULES)


@pytest.mark.parametrize(
    ("statement", "rule"),
    [
        ("DROP TRIGGER movement_never_deleted", "the tables and the guards against change are in the file"),
        ("DROP INDEX movement_part", "the tables and the guards against change are in the file"),
        (
            "CREATE TRIGGER x AFTER INSERT ON movement BEGIN DELETE FROM balance; END",
            "the tables and the guards against change are in the file",
        ),
        ("DELETE FROM part WHERE part = 'SNS-1'", "every line names an entry, a part, a job and places that are there"),
        ("UPDATE balance SET qty = qty + 1", "every balance and value is the sum of its movements"),
        ("UPDATE balance SET value = 0 WHERE place = 'van'", "every balance and value is the sum of its movements"),
        ("DELETE FROM balance WHERE place = 'store'", "every balance and value is the sum of its movements"),
        (
            "UPDATE balance SET qty = 7 WHERE place = 'van'",
            "over all places every part and its value add up to nothing",
        ),
        (
            "UPDATE balance SET value = -1 WHERE place IN ('van', 'store')",
            "no stock is worth less than nothing, and none is worth something when it is gone",
        ),
        ("UPDATE job SET time = '09:00'", "every job stands as it was last booked"),
        ("DELETE FROM job", "every job stands as it was last booked"),
        ("UPDATE entry SET seq = 99 WHERE seq = 8", "entries are numbered without a gap"),
        (
            "INSERT INTO movement VALUES (99, 2, 'SNS-1', 1, 'supplier', 'van', 1, NULL, NULL)",
            "every line was written with its own entry",
        ),
        ("UPDATE movement SET value = value + 1", "no entry or line was changed since it was written"),
        ("DELETE FROM seal WHERE entry = 8", "no entry or line was changed since it was written"),
        ("UPDATE entry SET at = 'noon' WHERE seq = 3", "every time and date can be read"),
        ("UPDATE entry SET reverses = 5 WHERE seq = 2", "an entry is only undone by a later one"),
        ("UPDATE balance SET qty = -1, count_needed = 0", "what is below zero is marked for a count"),
        ("UPDATE missed SET qty = -1", "no job has less than nothing fitted or missed"),
        ("UPDATE part SET superseded_by = 'VAP-1' WHERE part = 'VAP-2'", "no part is superseded in a circle"),
        ("UPDATE part SET superseded_by = 'NONE' WHERE part = 'VAP-2'", "no part is superseded in a circle"),
        ("INSERT INTO goes_with VALUES ('GKT-1', 'VAP-1', 1)", "no part goes with itself in a circle"),
        (
            "UPDATE movement SET order_no = 'A1'; INSERT INTO entry VALUES (9, 'x', '2027-03-01T12:00:00+00:00',"
            " 'received', '', '', NULL, ''); INSERT INTO movement VALUES (98, 9, 'SNS-1', 1, 'supplier', 'van', 1,"
            " NULL, 'A1')",
            "of every order line no more has come or was cancelled than was ordered",
        ),
        (
            "INSERT INTO order_step VALUES (1, 2, 'O0001', 'DAY', 'cancelled', '');"
            " INSERT INTO order_line VALUES (1, 2, 'O0001', 'SNS-1', 2, 0, 472000, '')",
            "of no closed order anything is still to come",
        ),
        (
            "INSERT INTO owing VALUES (1, 2, 'R0001', 'old unit', 'DAY', 'SNS-1', 1, 0, '', '', '', 'sent back',"
            " '2027-03-01', '', '')",
            "no claim goes back twice, or has more credited or given up than is owed",
        ),
        (
            "INSERT INTO calendar_event VALUES (1, 2, 'one', '', 'J9', '', 0, '2027-03-02', '', '', '', '', '',"
            " 'booked')",
            "every event of a calendar that is a job is one that is there",
        ),
        ("INSERT INTO forgotten VALUES ('J1', 8)", "what was forgotten stays forgotten"),
    ],
)
def test_what_another_program_did_to_the_file_is_found_by_its_rule(busy: Session, statement: str, rule: str) -> None:
    if statement.startswith(("DROP TRIGGER", "CREATE TRIGGER")):
        busy.ledger.execute(statement)
    else:
        without_guards(busy, statement)
    assert rule in broken(busy)


def test_every_rule_has_a_way_to_break_it_above() -> None:
    marks = test_what_another_program_did_to_the_file_is_found_by_its_rule.pytestmark  # type: ignore[attr-defined]
    tried = {rule for mark in marks for _, rule in mark.args[1]}
    assert {rule.name for rule in RULES} - tried == {"the file's own structure is whole"}


def test_a_broken_structure_is_the_only_thing_said(busy: Session) -> None:
    size = busy.path.stat().st_size
    busy.ledger.close()
    with busy.path.open("r+b") as file:
        file.seek(size // 2)
        file.write(b"\xff" * (size // 4))
    told: list[str] = []
    found = trust.check(str(busy.path), lambda finding: told.append(finding.rule))
    assert told == ["the file's own structure is whole"]
    assert found[0].wrong

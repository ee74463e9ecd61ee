"""Several programs at once on one ledger, the same act sent several times, and a ledger that stays locked.

Two processes run the command line for each entry, opening and closing the ledger every time; two keep one
sitting open and call the routines, as a page would.
"""

from __future__ import annotations

import os
import random
import re
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest

from vanstock.errors import EntryConflict, LedgerUnusable
from vanstock.ledger import file, reading
from vanstock.ledger.file import open_ledger
from vanstock.model import Job
from vanstock.routines import booking, job, morning, stock
from vanstock.routines.session import Session

WRITERS = 4
DAY = date(2027, 3, 1)
Tell = Callable[[Any], None]


class Turn(NamedTuple):
    """One act: as a command line, and as a routine; what it does to the sensors in van and store."""

    words: tuple[str, ...]
    routine: Callable[[Session], str]
    van: int
    store: int


TURNS = (
    Turn(("fit", "J1", "SNS-1", "2"), lambda s: job.fit(s, "J1", "SNS-1", "2").entry.id, -2, 0),
    Turn(("fit", "J2", "VAP-2", "--with"), lambda s: job.fit(s, "J2", "VAP-2", with_riders=True).entry.id, 0, 0),
    Turn(("load", "SNS-1", "1"), lambda s: stock.move(s, "SNS-1", "1", source="store", target="van").entry.id, 1, -1),
    Turn(("received", "SNS-1", "3"), lambda s: stock.receive(s, "SNS-1", "3").entry.id, 0, 3),
    Turn(("count", "GKT-1", "7"), lambda s: stock.count(s, "GKT-1", "7", place="van").entry.id, 0, 0),
    Turn(("missed", "J4", "BLT-1", "2"), lambda s: job.miss(s, "J4", "BLT-1", "2").entry.id, 0, 0),
)


def write_as_a_person(run: Any, path: Path, turns: list[Turn], tell: Tell) -> None:
    """Each entry by a command line of its own; tells the first letters of its id and how long it took."""
    for turn in turns:
        began = time.monotonic()
        answer = run.command(path, *turn.words)
        took = time.monotonic() - began
        found = re.search(r"^entry (\w{8})", answer.out, re.MULTILINE)
        assert answer.code == 0, answer
        assert found, answer
        tell([found[1], took])


def write_as_a_page(run: Any, path: Path, turns: list[Turn], tell: Tell) -> None:
    """Each entry in one sitting that stays open; tells its id and how long it took."""
    session = run.session(path)
    for turn in turns:
        began = time.monotonic()
        entry = turn.routine(session)
        tell([entry, time.monotonic() - began])
    session.ledger.close()


def sensors(path: Path) -> tuple[int, int]:
    with closing(open_ledger(path)) as ledger:
        return reading.on_hand(ledger, "SNS-1", "van"), reading.on_hand(ledger, "SNS-1", "store")


def write_together(run: Any, path: Path, each: int) -> float:
    """Four writers, so many entries each: none fails, none is lost or doubled; the longest any of them waited."""
    dice = random.Random(each)
    plans = [[dice.choice(TURNS) for _ in range(each)] for _ in range(WRITERS)]
    before, (van, store) = len(run.entries_when_whole(path)), sensors(path)

    def write(tell: Tell, number: int) -> None:
        told: list[Any] = []
        (write_as_a_person if number % 2 else write_as_a_page)(run, path, plans[number], told.append)
        tell(told)

    told = [pair for (pairs,) in run.at_once(WRITERS, write) for pair in pairs]
    new = run.entries_when_whole(path)[before:]
    assert len(told) == len(new) == WRITERS * each
    assert Counter(entry[:8] for entry, _ in told) == Counter(entry[:8] for entry in new)
    assert {entry for entry, _ in told if len(entry) > 8} <= set(new)
    turns = [turn for plan in plans for turn in plan]
    assert sensors(path) == (van + sum(t.van for t in turns), store + sum(t.store for t in turns))
    return float(max(took for _, took in told))


def test_two_command_lines_and_two_sittings_write_at_once_and_lose_nothing(processes: ModuleType, firm: Path) -> None:
    assert write_together(processes, firm, 100) < file.BUSY_SECONDS


@pytest.mark.long
def test_four_writers_of_five_thousand_entries_each_lose_nothing(
    processes: ModuleType, firm: Path, record_property: Callable[[str, object], None]
) -> None:
    began = time.monotonic()
    longest = write_together(processes, firm, 5000)
    for name, seconds in {"longest wait": longest, "in all": time.monotonic() - began}.items():
        record_property(name, round(seconds, 2))
        print(f"{name}: {seconds:.2f} s")
    assert longest < file.BUSY_SECONDS


def test_programs_started_side_by_side_write_all_that_they_say_they_wrote(processes: ModuleType, firm: Path) -> None:
    before = processes.entries_when_whole(firm)
    dice = random.Random(3)

    def program(turn: Turn) -> str:
        words = [sys.executable, "-m", "vanstock", "--ledger", str(firm), "--now", "2027-03-01T12:30", *turn.words]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return str(re.findall(r"^entry (\w{8})", done.stdout, re.MULTILINE)[0])

    with ThreadPoolExecutor(WRITERS) as pool:
        told = list(pool.map(program, [dice.choice(TURNS) for _ in range(20)]))
    new = processes.entries_when_whole(firm)[len(before) :]
    assert sorted(told) == sorted(entry[:8] for entry in new)


class Act(NamedTuple):
    """An act sent under an id, and another act under the same id; `answer` is what of its answer stays equal."""

    send: Callable[[Session, str], Any]
    other: Callable[[Session, str], Any]
    answer: Callable[[Any], Any] = lambda whole: whole


NEW_JOB = Job("J9", DAY, "10:00", "AAA", "clean", reference="C-9")
ACTS = {
    "fit": Act(
        lambda s, i: job.fit(s, "J1", "SNS-1", "1", entry_id=i), lambda s, i: job.fit(s, "J1", "SNS-1", "2", entry_id=i)
    ),
    "fit with what goes with it": Act(
        lambda s, i: job.fit(s, "J4", "VAP-2", with_riders=True, entry_id=i),
        lambda s, i: job.fit(s, "J4", "VAP-2", entry_id=i),
    ),
    "miss": Act(
        lambda s, i: job.miss(s, "J1", "GKT-1", entry_id=i), lambda s, i: job.miss(s, "J2", "GKT-1", entry_id=i)
    ),
    "finish": Act(
        lambda s, i: job.finish(s, "J1", ["FLU-1=1"], entry_id=i), lambda s, i: job.finish(s, "J1", entry_id=i)
    ),
    "move": Act(
        lambda s, i: stock.move(s, "SNS-1", "1", source="store", target="van", entry_id=i),
        lambda s, i: stock.move(s, "SNS-1", "1", source="van", target="store", entry_id=i),
    ),
    "receive": Act(
        lambda s, i: stock.receive(s, "SNS-1", "1", entry_id=i),
        lambda s, i: stock.receive(s, "SNS-1", "1", carriage=1, entry_id=i),
    ),
    "count": Act(
        lambda s, i: stock.count(s, "SNS-1", "9", place="van", entry_id=i),
        lambda s, i: stock.count(s, "SNS-1", "8", place="van", entry_id=i),
    ),
    "undo": Act(lambda s, i: job.undo(s, undoing_id=i), lambda s, i: job.undo(s, "ab", undoing_id=i)),
    "add a booking": Act(
        lambda s, i: booking.add_booking(s, NEW_JOB, entry_id=i),
        lambda s, i: booking.add_booking(s, NEW_JOB._replace(time="11:00"), entry_id=i),
    ),
    "add a booking without a number": Act(
        lambda s, i: booking.add_booking(s, NEW_JOB._replace(job=""), entry_id=i),
        lambda s, i: booking.add_booking(s, NEW_JOB, entry_id=i),
    ),
    "move a booking": Act(
        lambda s, i: booking.move_booking(s, "J2", day=DAY, at="15:00", van=None, entry_id=i),
        lambda s, i: booking.move_booking(s, "J2", day=DAY, at="16:00", van=None, entry_id=i),
    ),
    "cancel a booking": Act(
        lambda s, i: booking.cancel_booking(s, "J2", entry_id=i),
        lambda s, i: booking.cancel_booking(s, "J1", entry_id=i),
    ),
    "load everything": Act(
        lambda s, i: morning.load_all(s, DAY, entry_id=i),
        lambda s, i: morning.load_all(s, DAY + timedelta(1), entry_id=i),
        lambda whole: whole[1],  # the plan beside it is of the moment it is asked for
    ),
}


@pytest.mark.parametrize("name", list(ACTS))
def test_an_act_sent_five_times_at_once_is_one_entry_with_one_answer(
    processes: ModuleType, firm: Path, name: str
) -> None:
    before = processes.entries_when_whole(firm)

    def send(tell: Tell, _: int) -> None:
        session = processes.session(firm)
        tell(repr(ACTS[name].answer(ACTS[name].send(session, "phone-0001"))))
        session.ledger.close()

    told = processes.at_once(5, send)
    assert told == [told[0]] * 5
    assert told[0] != ["None"]
    assert processes.entries_when_whole(firm) == [*before, "phone-0001"]


@pytest.mark.parametrize("name", list(ACTS))
def test_an_act_sent_again_after_others_has_the_answer_it_had(processes: ModuleType, firm: Path, name: str) -> None:
    with closing(open_ledger(firm)) as ledger:
        session = Session(ledger, processes.session.__defaults__[0], firm)
        act = ACTS[name]
        first = act.answer(act.send(session, "phone-0001"))
        stock.receive(session, "SNS-1", "5", place="van")
        job.fit(session, "J2", "VAP-2")  # another job: what still goes on new is advice of the moment, not of the act
        assert repr(act.answer(act.send(session, "phone-0001"))) == repr(first)


@pytest.mark.parametrize("name", list(ACTS))
def test_another_act_under_a_used_id_is_refused_by_its_id(processes: ModuleType, firm: Path, name: str) -> None:
    with closing(open_ledger(firm)) as ledger:
        session = Session(ledger, processes.session.__defaults__[0], firm)
        ACTS[name].send(session, "phone-0001")
        with pytest.raises(EntryConflict, match="phone-0001"):
            ACTS[name].other(session, "phone-0001")
    assert processes.entries_when_whole(firm).count("phone-0001") == 1


def test_an_id_used_by_one_kind_of_act_is_refused_to_another(processes: ModuleType, firm: Path) -> None:
    with closing(open_ledger(firm)) as ledger:
        session = Session(ledger, processes.session.__defaults__[0], firm)
        stock.receive(session, "SNS-1", "1", entry_id="phone-0001")
        for name, act in ACTS.items():
            if name != "receive":
                with pytest.raises(EntryConflict, match="phone-0001"):
                    act.send(session, "phone-0001")


HOLDER = """
import sqlite3, sys
held = sqlite3.connect(sys.argv[1], isolation_level=None)
held.execute(f"BEGIN {sys.argv[2]}")
print("held", flush=True)
sys.stdin.readline()
"""


@contextmanager
def held_open(path: Path, how: str) -> Iterator[int]:
    """Another program that holds the ledger locked; its process number."""
    words = [sys.executable, "-c", HOLDER, str(path), how]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout
        assert other.stdout.readline() == "held\n"
        yield other.pid
        other.communicate("go\n")


def refused_while_locked(run: Any, path: Path, how: str) -> tuple[str, float]:
    before = path.read_bytes()
    with held_open(path, how) as number:
        began = time.monotonic()
        answer = run.command(path, "fit", "J1", "SNS-1")
        took = time.monotonic() - began
    assert (answer.code, answer.out, answer.crash) == (1, "", "")
    assert answer.err.count("\n") == 1
    assert "another program" in answer.err
    if sys.platform == "linux":
        assert f"(process {number})" in answer.err
    assert path.read_bytes() == before
    return answer.err, took


@pytest.mark.parametrize("how", ["IMMEDIATE", "EXCLUSIVE"])
def test_a_ledger_that_stays_locked_is_told_of_with_who_holds_it(
    processes: ModuleType, firm: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    monkeypatch.setattr(file, "BUSY_SECONDS", 1)
    _, took = refused_while_locked(processes, firm, how)
    assert 0.9 <= took < 5
    assert processes.command(firm, "fit", "J1", "SNS-1").code == 0


@pytest.mark.slow
def test_a_locked_ledger_is_waited_for_ten_seconds(processes: ModuleType, firm: Path) -> None:
    told, took = refused_while_locked(processes, firm, "IMMEDIATE")
    assert 9.9 <= took < 13
    assert "10 s" in told


def test_a_ledger_that_comes_free_in_time_is_written_to_and_nobody_hears_of_it(
    processes: ModuleType, firm: Path
) -> None:
    with held_open(firm, "EXCLUSIVE"):
        child = processes.start(lambda tell: tell(processes.command(firm, "fit", "J1", "SNS-1")))
        time.sleep(0.6)
    code, _, err, crash = processes.all_told(child)[0]
    assert (code, err, crash) == (0, "", "")


def test_a_reader_that_has_the_ledger_open_keeps_nobody_from_writing(processes: ModuleType, firm: Path) -> None:
    with closing(sqlite3.connect(firm, isolation_level=None)) as reader:
        reader.execute("SELECT count(*) FROM entry").fetchone()
        child = processes.start(lambda tell: tell(processes.command(firm, "fit", "J1", "SNS-1")))
        assert processes.all_told(child)[0][0] == 0


def test_a_routine_in_a_sitting_that_finds_the_ledger_locked_writes_nothing(
    processes: ModuleType, firm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "BUSY_SECONDS", 0.3)
    before = processes.entries_when_whole(firm)
    with closing(open_ledger(firm)) as ledger, held_open(firm, "IMMEDIATE"):
        session = Session(ledger, processes.session.__defaults__[0], firm)
        with pytest.raises(LedgerUnusable, match="another program"):
            stock.receive(session, "SNS-1", "1")
    assert processes.entries_when_whole(firm) == before


def test_the_process_that_asks_is_not_named_as_holding_the_ledger(processes: ModuleType, firm: Path) -> None:
    from vanstock.ledger.faults import holders

    with closing(open_ledger(firm)):
        assert not [name for name in holders(firm) if f"(process {os.getpid()})" in name]

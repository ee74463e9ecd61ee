"""Counts end to end: what is proposed, what answers do to the ledger, the frozen moment, what the report adds up."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conftest import new_ledger
from tests.routines.orders import held, outside, wrong
from tests.routines.weeks import later
from vanstock.errors import AnswersRefused, BadValue, EntryConflict, NotFound
from vanstock.exchange.csvfile import write_rows
from vanstock.ledger import reading
from vanstock.ledger.entries import Counted, Draft, post
from vanstock.model import Job
from vanstock.routines import counting, countprint, countreport, job, stock
from vanstock.routines.countanswers import Answer, Entered, enter, from_file, from_words
from vanstock.routines.session import Session

JOB = "J1"


def booked(session: Session) -> None:
    """A job to fit parts on."""
    post(session.ledger, Draft(session.now, "booked", bookings=(Job(JOB, session.today, "", "AAA", "clean"),)))


def opening(session: Session, amounts: dict[tuple[str, str], int]) -> None:
    """Stock as an import brings it in: counted by nobody that the ledger knows."""
    counted = tuple(
        Counted(part, place, qty, qty if part == "FLU-1" else 1_000 * qty) for (part, place), qty in amounts.items()
    )
    post(session.ledger, Draft(session.now, "imported", counted=counted))


def typed(session: Session, *words: str, place: str = "", sheet: str = "") -> Entered:
    return enter(session, from_words(words, place, sheet))


def stock_value(session: Session) -> int:
    return sum(row.value for row in reading.balances(session.ledger))


@pytest.fixture
def stocked(session: Session) -> Session:
    """Six sensors, three gaskets and 12 L of fluid in the van, four gaskets in the store; a job."""
    amounts = {("SNS-1", "van"): 6, ("FLU-1", "van"): 12_000, ("GKT-1", "van"): 3, ("GKT-1", "store"): 4}
    opening(session, amounts)
    booked(session)
    return session


# The sheet of the week


def test_opening_stock_is_never_counted_and_what_went_below_zero_comes_first(stocked: Session) -> None:
    job.fit(stocked, JOB, "HOS-1", "1m")
    sheet = counting.weekly_sheet(stocked)
    first = min(sheet.lines, key=lambda line: line.rank)
    assert (first.part.part, first.place) == ("HOS-1", "van")
    assert first.why.startswith("marked: the ledger went below zero; never counted")
    assert all("never counted" in line.why for line in sheet.lines)
    assert not sheet.code.frozen


def test_a_line_just_counted_is_not_proposed_again_until_it_moves(stocked: Session) -> None:
    typed(stocked, "SNS-1=6", "FLU-1=12L")
    assert {line.part.part for line in counting.weekly_sheet(stocked).lines} == {"GKT-1"}
    monday = later(stocked, days=7)
    job.fit(monday, JOB, "FLU-1", "2L")
    found = {line.part.part: line.why for line in counting.weekly_sheet(monday, place="van").lines}
    assert found["FLU-1"] == "last counted 5 working days ago; moved once since; worth a lot"


def test_lines_stand_place_by_place_in_the_order_they_lie_in_and_no_more_than_asked(stocked: Session) -> None:
    lines = counting.weekly_sheet(stocked).lines
    assert [(line.part.part, line.place) for line in lines] == [
        ("SNS-1", "van"), ("FLU-1", "van"), ("GKT-1", "van"), ("GKT-1", "store"),
    ]  # fmt: skip
    assert len(counting.weekly_sheet(stocked, most=2).lines) == 2
    assert {line.place for line in counting.weekly_sheet(stocked, place="STORE").lines} == {"store"}
    with pytest.raises(NotFound, match="no van or store named 'attic'"):
        counting.weekly_sheet(stocked, place="attic")


def test_an_undone_fit_is_no_movement_and_an_undone_count_is_no_count(stocked: Session) -> None:
    typed(stocked, "SNS-1=5")
    job.undo(stocked)
    job.fit(stocked, JOB, "SNS-1", "1")
    job.undo(stocked)
    (why,) = [line.why for line in counting.weekly_sheet(stocked).lines if line.part.part == "SNS-1"]
    assert why.startswith("never counted; worth") or why == "never counted"


# Answers


def test_several_parts_are_one_entry_and_one_undo_and_the_report_is_to_the_penny(stocked: Session) -> None:
    """By hand: a piece of opening stock is worth 10.00. Two of six sensors gone is 20.00, a gasket more 10.00."""
    before = held(stocked)
    found = typed(stocked, "SNS-1=4", "FLU-1=12L", "gasket=4")
    rows = [line.row for line in found.lines]
    assert [(row.part, row.had, row.qty, row.difference, row.value) for row in rows] == [
        ("SNS-1", 6, 4, -2, -2_000), ("GKT-1", 3, 4, 1, 1_000), ("FLU-1", 12_000, 12_000, 0, 0),
    ]  # fmt: skip
    sums = countreport.add_up(rows)
    assert (sums.found, sums.lost, sums.net, sums.absolute) == (1_000, 2_000, -1_000, 3_000)
    assert held(stocked)["SNS-1", "van"] == (4, 4_000)
    job.undo(stocked)
    assert held(stocked) == before
    assert wrong(stocked) == []


def test_nothing_is_recorded_when_one_answer_is_wrong_and_every_wrong_one_is_named(stocked: Session) -> None:
    before = held(stocked)
    with pytest.raises(AnswersRefused) as refused:
        typed(stocked, "SNS-1=4", "FLU-1=twelve", "GKT-1=-1", "SNS-1=3", "NO-PART=1")
    assert [problem.line for problem in refused.value.problems] == [2, 3, 4, 5]
    assert "SNS-1 in van is answered on line 1 too" in str(refused.value.problems[2])
    assert held(stocked) == before
    with pytest.raises(BadValue, match="cannot be read"):
        from_words(["SNS-1"])


def test_a_sheet_goes_out_as_a_table_and_comes_back_filled_in_blank_for_not_counted(
    stocked: Session, tmp_path: Path
) -> None:
    path = written(counting.weekly_sheet(stocked), tmp_path, {("SNS-1", "van"): "5", ("FLU-1", "van"): "11.5L"})
    found = enter(stocked, from_file(path))
    assert {line.row.part: line.row.difference for line in found.lines} == {"SNS-1": -1, "FLU-1": -500}
    assert [(part.part, place) for part, place in found.not_counted] == [("GKT-1", "van"), ("GKT-1", "store")]
    assert held(stocked)["GKT-1", "van"][0] == 3


def written(sheet: counting.CountSheet, folder: Path, answers: dict[tuple[str, str], str]) -> Path:
    """The sheet's table with these answers written into it."""
    import csv

    path = folder / "count.csv"
    countprint.write_sheet(sheet, [path])
    with path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    filled = [row | {"counted": answers.get((row["part"], row["place"]), "")} for row in rows]
    write_rows(path, list(rows[0]), [list(row.values()) for row in filled])
    return path


def test_every_bad_row_of_a_file_is_named_by_its_line(stocked: Session, tmp_path: Path) -> None:
    path = tmp_path / "c.csv"
    path.write_text("part,place,counted\nSNS-1,van,5\nSNS-9,van,1\nFLU-1,attic,1\nGKT-1,store,1.5\nsensor,van,2\n")
    with pytest.raises(AnswersRefused, match="4 problems found, nothing was recorded") as refused:
        enter(stocked, from_file(path))
    told = [str(problem) for problem in refused.value.problems]
    assert [text.split(": ")[0] for text in told] == ["c.csv:3", "c.csv:4", "c.csv:5", "c.csv:6"]
    for text, words in zip(
        told, ("'SNS-9'", "'attic'", "a whole piece", "no part has the number 'sensor'"), strict=True
    ):
        assert words in text
    path.write_text("part,placed,counted\nSNS-1,van,5\n")
    with pytest.raises(AnswersRefused) as refused:
        from_file(path)
    assert "unknown column placed" in str(refused.value.problems[0])
    path.write_text("part,place,counted\nSNS-1,van,\n")
    with pytest.raises(BadValue, match="no line has an answer"):
        enter(stocked, from_file(path))


def test_the_same_answers_sent_again_count_once_and_others_under_the_id_are_refused(stocked: Session) -> None:
    one, other = from_words(["SNS-1=4"]), from_words(["SNS-1=3"])
    first = enter(stocked, one, entry_id="a" * 32)
    assert enter(stocked, one, entry_id="a" * 32) == first
    assert len(countreport.report(stocked).rows) == 1
    with pytest.raises(EntryConflict):
        enter(stocked, other, entry_id="a" * 32)


def test_last_weeks_sheet_entered_again_by_a_slip_does_not_overwrite_what_was_counted_since(
    stocked: Session, tmp_path: Path
) -> None:
    path = written(counting.weekly_sheet(stocked), tmp_path, {("SNS-1", "van"): "5"})
    enter(stocked, from_file(path))
    with pytest.raises(BadValue, match="in the ledger already"):
        enter(stocked, from_file(path))
    typed(stocked, "SNS-1=6")
    with pytest.raises(AnswersRefused) as refused:
        enter(stocked, from_file(path))
    assert "SNS-1 in van was counted since the sheet was written, 6 on 2027-03-01" in str(refused.value.problems[0])


# The frozen moment


def test_what_moves_between_the_freezing_and_the_typing_in_is_no_difference(stocked: Session) -> None:
    """By hand: six by the ledger at the frozen moment, five counted: one short. Two fitted since: three are left."""
    code = str(counting.full_sheet(stocked, place="van").code)
    job.fit(stocked, JOB, "SNS-1", "2")
    stock.receive(stocked, "GKT-1", "5", place="van")
    found = typed(later(stocked, days=1), "SNS-1=5", "GKT-1=3", sheet=code)
    assert {line.row.part: (line.row.had, line.row.difference, line.moved) for line in found.lines} == {
        "SNS-1": (6, -1, -2), "GKT-1": (3, 0, 5),
    }  # fmt: skip
    assert held(stocked)["SNS-1", "van"][0] == 3
    assert held(stocked)["GKT-1", "van"][0] == 8
    assert found.entry.note == "as it lay 2027-03-01 12:00"
    assert [(part.part, place) for part, place in found.not_counted] == [("FLU-1", "van")]


def test_a_full_sheet_has_what_lies_there_and_what_moved_there_within_a_year(stocked: Session) -> None:
    job.fit(stocked, JOB, "GKT-1", "3")
    stock.receive(stocked, "GLV-1", "50", place="van")
    job.fit(stocked, JOB, "GLV-1", "50")
    job.fit(stocked, JOB, "SNS-1", "6")

    def listed(session: Session) -> list[str]:
        return [line.part.part for line in counting.full_sheet(session, place="van").lines]

    assert listed(stocked) == ["SNS-1", "FLU-1", "GKT-1", "GLV-1"]
    assert listed(later(stocked, days=365)) == ["SNS-1", "FLU-1", "GKT-1", "GLV-1"]
    assert listed(later(stocked, days=366)) == ["FLU-1"]
    assert counting.full_sheet(stocked).code.frozen


def test_jobs_whose_parts_are_not_logged_yet_are_named_before_freezing(stocked: Session) -> None:
    assert "not finished in the ledger: J1" in counting.full_sheet(stocked).notes[0]
    job.finish(stocked, JOB)
    assert counting.full_sheet(stocked).notes == ()


def test_a_frozen_sheet_can_be_entered_in_parts_and_again_without_posting_anything_twice(stocked: Session) -> None:
    code = str(counting.full_sheet(stocked, place="van").code)
    typed(stocked, "SNS-1=5", sheet=code)
    job.fit(stocked, JOB, "SNS-1", "1")
    found = typed(stocked, "SNS-1=5", "FLU-1=12L", sheet=code)
    assert [line.row.part for line in found.lines] == ["FLU-1"]
    assert [(part.part, place) for part, place in found.before] == [("SNS-1", "van")]
    assert [part.part for part, _ in found.not_counted] == ["GKT-1"]
    assert held(stocked)["SNS-1", "van"][0] == 4
    with pytest.raises(BadValue, match="in the ledger already"):
        typed(stocked, "SNS-1=5", sheet=code)
    with pytest.raises(AnswersRefused) as refused:
        typed(stocked, "SNS-1=4", sheet=code)
    assert "was counted since the sheet was written" in str(refused.value.problems[0])


def test_an_act_before_the_freezing_that_is_taken_back_after_it_corrects_what_is_said_to_have_lain_there(
    stocked: Session,
) -> None:
    """Logged fitted by a slip, frozen at five, then undone: six lay there all along, and six were counted."""
    fitted = job.fit(stocked, JOB, "SNS-1", "1").entry.id
    code = str(counting.full_sheet(stocked).code)
    job.undo(stocked, fitted)
    found = typed(stocked, "SNS-1=6", sheet=code)
    assert [(line.row.had, line.row.difference) for line in found.lines] == [(6, 0)]
    assert held(stocked)["SNS-1", "van"][0] == 6


def test_an_answer_that_what_went_out_since_contradicts_is_refused_not_made_less_than_nothing(stocked: Session) -> None:
    code = str(counting.full_sheet(stocked).code)
    job.fit(stocked, JOB, "SNS-1", "6")
    with pytest.raises(AnswersRefused) as refused:
        typed(stocked, "SNS-1=5", sheet=code)
    assert "SNS-1: 5 lay in van at the frozen moment, but 6 more went out" in str(refused.value.problems[0])
    assert wrong(stocked) == []


@pytest.mark.parametrize(
    "code", ["F1", "F99-00000000-20270301-1200", "S1-deadbeef-20270301-1200", "F1-{}-20271301-1200"]
)
def test_a_code_that_no_sheet_of_this_ledger_has_is_refused(stocked: Session, code: str) -> None:
    with pytest.raises(AnswersRefused) as refused:
        typed(stocked, "SNS-1=5", sheet=code)
    assert "sheet " in str(refused.value.problems[0])


def test_a_code_reads_back_as_it_was_printed_in_any_case(stocked: Session) -> None:
    for sheet in (counting.full_sheet(stocked), counting.weekly_sheet(stocked)):
        assert counting.read_code(stocked, f" {str(sheet.code).lower()} ") == sheet.code


# Repeated differences and the report


def test_a_part_that_keeps_coming_up_short_is_pointed_out_in_the_answer_the_report_and_on_the_sheet(
    stocked: Session,
) -> None:
    for week, litres in enumerate((11, 11, 10)):
        assert typed(later(stocked, days=7 * week), f"FLU-1={litres}L").repeated == ()
    month = later(stocked, days=28)
    found = typed(month, "FLU-1=9L", "SNS-1=6")
    (one,) = found.repeated
    assert (one.part, one.disagreed, one.counts, one.difference) == ("FLU-1", 3, 4, -3_000)
    assert countreport.report(month).repeated == found.repeated
    job.fit(month, JOB, "FLU-1", "1L")
    (line,) = [line for line in counting.weekly_sheet(month).lines if line.part.part == "FLU-1"]
    assert line.why.startswith("short at 3 of the last 4 counts: look for a leak")


def test_setting_up_stock_by_a_first_count_is_no_disagreement(session: Session) -> None:
    for qty in (3, 3, 3):
        typed(session, f"SNS-1={qty}")
    assert counting.pasts(session)["SNS-1", "van"] == ((0, 0), (0, 0), (0, 0))


def test_the_report_is_by_part_by_place_and_since_a_date_without_what_was_undone(stocked: Session) -> None:
    typed(stocked, "SNS-1=4", "FLU-1=12L")
    typed(later(stocked, days=7), "GKT-1=6", place="store")
    typed(later(stocked, days=7), "GKT-1=1", place="van")
    job.undo(stocked)
    found = countreport.report(stocked)
    assert [(part, sums.difference, sums.net) for part, sums in found.by_part] == [
        ("GKT-1", 2, 2_000),
        ("SNS-1", -2, -2_000),
    ]
    assert [(place, sums.counts, sums.net) for place, sums in found.by_place] == [
        ("van", 2, -2_000),
        ("store", 1, 2_000),
    ]
    assert (found.total.counts, found.total.disagreed, found.total.absolute) == (3, 2, 4_000)
    week = countreport.report(stocked, since=later(stocked, days=7).today)
    assert [row.part for row in week.rows] == ["GKT-1"]
    assert countreport.report(stocked, place="store").total.net == 2_000
    assert sum(row.value for row in found.rows) == found.total.net


# Laws

PARTS = ("SNS-1", "FLU-1")
PLACES = ("van", "store")
part, place, amount = st.sampled_from(PARTS), st.sampled_from(PLACES), st.integers(1, 9)
acts = st.one_of(
    st.tuples(st.just("receive"), part, amount, place),
    st.tuples(st.just("fit"), part, amount, place),
    st.tuples(st.just("move"), part, amount, place),
    st.tuples(st.just("count"), part, amount, place),
    st.tuples(st.just("undo"), st.integers(0, 30)),
)
answers = st.dictionaries(st.tuples(part, place), st.integers(0, 30), min_size=1)
Moves = dict[tuple[str, str], int]


@contextmanager
def firm() -> Iterator[Session]:
    """A small firm's ledger of its own."""
    with tempfile.TemporaryDirectory() as folder, closing(new_ledger(Path(folder) / "l.db")) as ledger:
        ledger.execute("PRAGMA synchronous = OFF")
        session = Session(ledger, datetime(2027, 3, 1, 12), Path(folder) / "l.db")
        opening(session, {(p, w): 10 for p in PARTS for w in PLACES})
        booked(session)
        yield session


class Book:
    """What was done, as a person would keep it on paper: each act's movements, whether it stands, and its entry."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.acts: list[tuple[str, Moves]] = []
        self.undone: set[int] = set()

    def do(self, act: tuple[object, ...], *, counts: bool) -> None:
        match act:
            case ("receive", str(p), int(n), str(w)):
                self._note(stock.receive(self.session, p, base(p, n), place=w).entry.id, {(p, w): n})
            case ("fit", str(p), int(n), str(w)):
                self._note(job.fit(self.session, JOB, p, base(p, n), place=w).entry.id, {(p, w): -n})
            case ("move", str(p), int(n), str(w)):
                to = PLACES[1 - PLACES.index(w)]
                entry = stock.move(self.session, p, base(p, n), source=w, target=to).entry.id
                self._note(entry, {(p, w): -n, (p, to): n})
            case ("count", str(p), int(n), str(w)) if counts:
                self._note(stock.count(self.session, p, base(p, n), place=w).entry.id, {})
            case ("undo", int(which)) if self.acts:
                number = which % len(self.acts)
                if number not in self.undone:
                    job.undo(self.session, self.acts[number][0])
                    self.undone.add(number)

    def _note(self, entry: str, moves: Moves) -> None:
        self.acts.append((entry, moves))

    def moved_since(self, first: int) -> Moves:
        """What the acts from that one on moved, those taken back left out."""
        total: Moves = {}
        for number, (_, moves) in enumerate(self.acts[first:], first):
            if number not in self.undone:
                for key, n in moves.items():
                    total[key] = total.get(key, 0) + n
        return total


def base(part: str, qty: int) -> str:
    """So many base units as typed."""
    return f"{qty}ml" if part == "FLU-1" else str(qty)


def given_answers(wanted: dict[tuple[str, str], int], sheet: str) -> list[Answer]:
    return [Answer("typed", n, p, w, base(p, q), sheet) for n, ((p, w), q) in enumerate(wanted.items(), 1)]


@settings(max_examples=60, deadline=None)
@given(st.lists(acts, max_size=8), st.lists(acts, max_size=8), answers)
def test_after_the_answers_a_balance_is_what_was_counted_and_what_moved_since_the_frozen_moment(
    before: list[tuple[object, ...]], since: list[tuple[object, ...]], wanted: dict[tuple[str, str], int]
) -> None:
    with firm() as session:
        book = Book(session)
        for act in before:
            book.do(act, counts=True)
        frozen, first = str(counting.full_sheet(session).code), len(book.acts)
        for act in since:
            book.do(act, counts=False)
        moved = book.moved_since(first)
        expected = {key: qty + moved.get(key, 0) for key, qty in wanted.items()}
        standing, value = held(session), stock_value(session)
        if min(expected.values()) < 0:
            with pytest.raises(AnswersRefused):
                enter(session, given_answers(wanted, frozen))
            assert held(session) == standing
            return
        found = enter(session, given_answers(wanted, frozen))
        assert {key: reading.on_hand(session.ledger, *key) for key in expected} == expected
        assert {(line.row.part, line.row.place): line.moved for line in found.lines} == {
            key: moved.get(key, 0) for key in wanted
        }
        assert sum(line.row.value for line in found.lines) == stock_value(session) - value
        assert wrong(session) == []
        with pytest.raises(BadValue, match="in the ledger already"):
            enter(session, given_answers(wanted, frozen))


@settings(max_examples=60, deadline=None)
@given(st.lists(acts, max_size=8), answers)
def test_undoing_answers_restores_every_quantity_and_value(
    before: list[tuple[object, ...]], wanted: dict[tuple[str, str], int]
) -> None:
    with firm() as session:
        book = Book(session)
        for act in before:
            book.do(act, counts=True)
        standing = held(session)
        enter(session, given_answers(wanted, ""))
        assert {key: qty for key, (qty, _) in held(session).items() if key in wanted} == {
            key: qty for key, qty in wanted.items() if qty
        }
        job.undo(session)
        assert held(session) == standing
        assert outside(session) == (0, 0)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.one_of(acts, answers), max_size=10))
def test_the_report_adds_up_to_what_counts_changed_the_value_of_stock_by(
    doings: list[tuple[object, ...] | dict[tuple[str, str], int]],
) -> None:
    with firm() as session:
        changed = 0
        for doing in doings:
            before = stock_value(session)
            if isinstance(doing, dict):
                enter(session, given_answers(doing, ""))
                changed += stock_value(session) - before
            elif doing[0] != "undo":
                book = Book(session)
                book.do(doing, counts=False)
        found = countreport.report(session)
        assert found.total.net == changed == sum(row.value for row in found.rows)
        assert sum(sums.net for _, sums in found.by_part) == sum(sums.net for _, sums in found.by_place) == changed
        assert found.total.absolute == sum(abs(row.value) for row in found.rows)

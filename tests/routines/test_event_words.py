"""What a calendar event says by plain rules: whole words, the longer phrase first, never a guess between two."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.codes import find_codes
from vanstock.errors import BadValue, NotFound
from vanstock.model import Family, Job, Word
from vanstock.routines import booking, calendarwords
from vanstock.routines.eventwords import LOAD_LINE, Rules, Said, folded, given_words, read_event
from vanstock.routines.session import Session

GIVEN = given_words(
    [Family("KRA", "Kerrowell Alder 2.0"), Family("KRB", "Kerrowell Alder II"), Family("FEN", "Fennigar Holm")],
    ["clean", "heat-source", "warm-up"],
)
MADE = [
    Word("limp mode", "job type", "heat-source"), Word("dentist", "not a job"), Word("fen lane", "nothing"),
    Word("alder", "family", "KRA"),
]  # fmt: skip


def said(summary: str, notes: str = "") -> Said:
    return read_event(summary, notes, Rules(GIVEN, MADE))


@pytest.mark.parametrize(
    ("summary", "family", "job_type"),
    [
        ("KRA heat-source", "KRA", "heat-source"), ("kra, Heat Source!", "KRA", "heat-source"),
        ("Kerrowell ALDER 2.0 warm up", "KRA", "warm-up"), ("Limp-mode on an Alder", "KRA", "heat-source"),
        ("Kerrowell Alder II: clean", "KRB", "clean"), ("KRA cleaning", "KRA", ""), ("KRAB clean", "", "clean"),
        ("KRA clean, 12 Fen Lane", "KRA", "clean"), ("FEN clean, 12 Fen Lane", "FEN", "clean"),
        ("<b>KRA</b> clean", "KRA", "clean"), ("ＫＲＡ ｃｌｅａｎ", "KRA", "clean"),
    ],
)  # fmt: skip
def test_family_and_job_type_are_read_from_whole_words(summary: str, family: str, job_type: str) -> None:
    found = said(summary)
    assert (found.family, found.job_type, found.unclear, found.clue) == (family, job_type, (), True)


def test_two_families_are_told_and_neither_is_taken() -> None:
    found = said("KRA or KRB, clean")
    assert (found.family, found.job_type, found.unclear) == ("", "clean", ("the family could be KRA or KRB",))


def test_two_families_of_one_name_are_told() -> None:
    rules = Rules(given_words([Family("A1", "Beck"), Family("A2", "Beck")], ["clean"]), [])
    assert read_event("Beck clean", "", rules).unclear == ("the family could be A1 or A2",)


def test_lines_of_the_notes_come_before_words() -> None:
    notes = "KRB they said\nFamily: kra\n job type = Warm-Up\ncodes: P0128, 480b\nref: C-17\nvan: van 2\n"
    found = said("FEN clean", notes)
    assert found == Said("KRA", "warm-up", ("P0128", "480B"), "van 2", "C-17", (), False, True)


@pytest.mark.parametrize(
    ("notes", "unclear"),
    [
        ("family: Zelkarro", "'Zelkarro' is no family that is known"), ("type: polish", "'polish' is no job type"),
        ("codes: P2463; ???", "fault code '???' is not one"), (f"ref: {'x' * 65}", "its ref is longer than 64"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_read_is_told(notes: str, unclear: str) -> None:
    (text,) = said("KRA clean", notes).unclear
    assert unclear in text


@pytest.mark.parametrize(
    ("notes", "unclear", "taken"),
    [
        ("family: KRB\nfamily: FEN", "its notes say two things of family: KRB, FEN", ("KRA", "clean", (), "", "")),
        ("type: warm-up\njob type: clean", "its notes say two things of type", ("KRA", "clean", (), "", "")),
        ("codes: P2463\ncode: P2453", "its notes say two things of codes", ("KRA", "clean", (), "", "")),
        ("van: van\nvan: van 2", "its notes say two things of van", ("KRA", "clean", (), "", "")),
        ("ref: 1\nreference: 2", "its notes say two things of ref", ("KRA", "clean", (), "", "")),
    ],
)
def test_two_lines_that_contradict_each_other_are_told_and_neither_is_taken(
    notes: str, unclear: str, taken: tuple[object, ...]
) -> None:
    found = said("KRA clean", notes)
    assert unclear in " ".join(found.unclear)
    assert found[:5] == taken


def test_a_line_said_twice_alike_is_said_once_and_no_codes_are_none_in_any_letters() -> None:
    found = said("KRA clean P2463", "van: Van 2\nvan: van 2\nCodes: None")
    assert (found.van.casefold(), found.codes, found.unclear) == ("van 2", (), ())


def test_an_event_with_nothing_of_a_job_in_it_and_one_that_a_rule_calls_none() -> None:
    assert said("Lunch with the accountant") == Said()
    assert said("Dentist (clean)").not_a_job
    assert said("type: electric car").clue is False


def test_what_vanstock_wrote_itself_below_its_line_is_not_read() -> None:
    notes = f"family: KRA\ntype: clean\n\n{LOAD_LINE}2027-03-01 07:30:\nFEN warm-up P0128 dentist"
    assert said("KRA clean", notes) == Said("KRA", "clean", clue=True)


def test_fault_codes_are_found_in_text_and_numbers_of_other_things_are_not() -> None:
    assert find_codes("p2463, P246B-00;U0101 P246300 and P2463 again") == ("P2463", "P246B-00", "U0101", "P246300")
    assert find_codes("B-1044 B1044 C0045 P24 P24633 xP2463 P2463x P2463-") == ()


@given(st.text(max_size=60), st.text(max_size=60))
def test_whatever_an_event_says_it_is_read_the_same_twice_and_names_only_what_is_known(one: str, two: str) -> None:
    found = said(one, two)
    assert found == said(one, two)
    assert found.family in ("", "KRA", "KRB", "FEN")
    assert folded(folded(one)) == folded(one)


def test_words_are_given_a_meaning_shown_and_taken_away(session: Session) -> None:
    booking.add_booking(session, Job("ONE", session.today, "09:00", "AAA", "heat-source"))
    calendarwords.teach(session, "Limp-Mode!", "job type", "HEAT-SOURCE")
    calendarwords.teach(session, "the old Beck", "family", "bbb")
    made = [Word("limp mode", "job type", "heat-source"), Word("the old beck", "family", "BBB")]
    assert calendarwords.made_words(session) == made
    calendarwords.teach(session, "limp mode", "nothing")
    assert calendarwords.made_words(session)[0] == Word("limp mode", "nothing")
    calendarwords.forget(session, "LIMP MODE")
    assert calendarwords.made_words(session) == made[1:]
    with pytest.raises(NotFound, match="given no meaning by hand"):
        calendarwords.forget(session, "limp mode")


def test_words_that_cannot_mean_that_are_refused(session: Session) -> None:
    with pytest.raises(NotFound, match="no family 'ZZZ': there is AAA, BBB"):
        calendarwords.teach(session, "zed", "family", "ZZZ")
    with pytest.raises(NotFound, match="no job type 'polish': there is clean, heat-source"):
        calendarwords.teach(session, "shine", "job type", "polish")
    for phrase in ("?!", "x" * 65):
        with pytest.raises(BadValue, match="cannot be looked for"):
            calendarwords.teach(session, phrase, "nothing")
    assert calendarwords.made_words(session) == []

"""Fault codes: how they are typed, what two are matched on, and whose meaning they have."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.codes import base_code, is_generic, read_codes
from vanstock.errors import BadValue

standard = st.from_regex(r"[PBCU][0-3][0-9A-F]{3}", fullmatch=True)
stored = st.from_regex(r"[A-Z0-9][A-Z0-9-]{0,15}", fullmatch=True)
suffixes = st.from_regex(r"(-|:|)[0-9A-F]{2}", fullmatch=True)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("", ()),
        (" ;, ", ()),
        ("p2463; P246b-00", ("P2463", "P246B-00")),
        ("P1,P2 P3\nP4\tP5", ("P1", "P2", "P3", "P4", "P5")),
        ("P2463:00 p2463:0a", ("P2463-00", "P2463-0A")),
        ("P246300", ("P246300",)),
        ("480B:1f", ("480B-1F",)),
    ],
)
def test_codes_are_kept_as_typed_in_capitals_with_a_hyphen_for_a_colon(text: str, codes: tuple[str, ...]) -> None:
    assert read_codes(text) == codes


def test_a_code_typed_twice_is_kept_once_where_it_came_first() -> None:
    assert read_codes("P2463;P0401;p2463") == ("P2463", "P0401")
    assert read_codes("P2463-00 P2463:00") == ("P2463-00",)
    assert read_codes("P2463 P2463-00") == ("P2463", "P2463-00")


@pytest.mark.parametrize(
    "text", ["P24?3", "-P2463", "P2463:", ":00", "P2463:000", "P2463::00", "P2463\x1b[31m", "P" * 17, "ﬀ", "P24ı3", "é"]
)
def test_what_is_no_code_is_refused_in_one_line_with_the_way_to_write_one(text: str) -> None:
    with pytest.raises(BadValue, match="write letters and digits, like P2463 or P2463-00") as told:
        read_codes(f"P0401 {text}")
    assert str(told.value).isprintable()


@given(st.lists(stored, max_size=8), st.sampled_from([";", ",", " ", "; ", "\n"]))
def test_stored_codes_are_read_back_as_they_are(codes: list[str], separator: str) -> None:
    assert read_codes(separator.join(codes).lower()) == tuple(dict.fromkeys(codes))


@given(standard, suffixes)
def test_a_suffix_changes_nothing_that_is_matched(code: str, suffix: str) -> None:
    (typed,) = read_codes(code + suffix)
    assert base_code(typed) == base_code(code) == code
    assert is_generic(typed) == is_generic(code)


@given(stored)
def test_the_base_of_a_base_is_itself(code: str) -> None:
    assert base_code(base_code(code)) == base_code(code)
    assert code.startswith(base_code(code))


@pytest.mark.parametrize("code", ["480B", "P24", "P2463X", "P24630", "P4463-00", "X2463-00", "2463-00", "P246G"])
def test_a_code_of_another_shape_is_matched_as_a_whole(code: str) -> None:
    assert base_code(code) == code
    assert not is_generic(code)


@pytest.mark.parametrize("code", ["P1ABC", "P1ABC-17", "P1ABC17", "P1ABC-17-24"])
def test_a_makers_own_code_of_the_standard_shape_is_matched_on_five_characters(code: str) -> None:
    assert base_code(code) == "P1ABC"
    assert not is_generic(code)


@pytest.mark.parametrize(
    ("code", "generic"),
    [
        ("P0401", True), ("P2463", True), ("P3400", True), ("P3FFF", True), ("B0001", True), ("C0035", True),
        ("U0100", True), ("P2463-00", True), ("P1234", False), ("P3000", False), ("P33FF", False), ("B1000", False),
        ("B2000", False), ("C1000", False), ("C2000", False), ("U1000", False), ("U2000", False),
    ],
)  # fmt: skip
def test_who_gives_a_code_its_meaning(code: str, generic: bool) -> None:
    """SAE J2012 / ISO 15031-6, the groups that are ISO/SAE controlled (from memory)."""
    assert is_generic(code) == generic

"""GTIN check digits against GS1's own examples and python-stdnum."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from vanstock.errors import BadValue
from vanstock.exchange.gtin import check_digit, parse_gtin


@pytest.mark.parametrize(("digits", "check"), [("629104150021", 3), ("730001100001", 7)])
def test_check_digits_of_the_worked_examples(digits: str, check: int) -> None:
    """GS1, "How to calculate a check digit manually" (629104150021); GS1 Sweden's example (730001100001)."""
    assert check_digit(digits) == check


@given(st.text("0123456789", min_size=12, max_size=12))
def test_every_gtin_13_agrees_with_python_stdnum(digits: str) -> None:
    full = digits + str(check_digit(digits))
    assert ean.is_valid(full)
    assert parse_gtin(full) == full


@given(st.text("0123456789", min_size=13, max_size=13))
def test_a_gtin_is_refused_exactly_when_python_stdnum_refuses_it(digits: str) -> None:
    if ean.is_valid(digits):
        assert parse_gtin(digits) == digits
    else:
        with pytest.raises(BadValue, match="check digit"):
            parse_gtin(digits)

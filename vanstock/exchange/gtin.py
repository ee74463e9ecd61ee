"""GTIN check digits (GS1 General Specifications, section 7.9: weights 3 and 1 from the right, modulo 10)."""

from __future__ import annotations

from vanstock.errors import BadValue

LENGTHS = (8, 12, 13, 14)


def check_digit(digits: str) -> int:
    """The check digit that follows these digits.

    >>> check_digit("629104150021"), check_digit("730001100001")
    (3, 7)
    """
    weighted = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(digits)))
    return -weighted % 10


def parse_gtin(text: str) -> str:
    """A GTIN with its check digit right; raises `BadValue`."""
    if not (text.isascii() and text.isdigit() and len(text) in LENGTHS):
        raise BadValue(f"{text!r} is not a GTIN: it has 8, 12, 13 or 14 digits")
    right = check_digit(text[:-1])
    if int(text[-1]) != right:
        raise BadValue(f"{text!r} has a wrong check digit (the last should be {right}): read the label again")
    return text

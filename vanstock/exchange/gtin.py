"""GTINs: check digits, and the GTIN in what a maker's barcode says.

GS1 General Specifications; of addresses, GS1 Digital Link. Called by `rows` and `scanning`.
"""

from __future__ import annotations

import re

from vanstock.errors import BadValue

LENGTHS = (8, 12, 13, 14)
_GROUP_SEPARATOR = "\x1d"
_FIXED = {"00": 20, "01": 16, "02": 16, "03": 16, "04": 18, "20": 4, "41": 16} | dict.fromkeys(
    ("11", "12", "13", "14", "15", "16", "17", "18", "19"), 8
) | dict.fromkeys(("31", "32", "33", "34", "35", "36"), 10)  # fmt: skip
"""Characters of an element whose length its first two digits fix, those two among them (General Specifications,
section 7.8.5); all others end at a separator."""
_DIGITAL_LINK = re.compile(r"https?://[^?#\s]*/01/(\d{8,14})(?:[/?#].*)?", re.IGNORECASE | re.ASCII)


def check_digit(digits: str) -> int:
    """The check digit that follows these digits (GS1 General Specifications, section 7.9: weights 3 and 1 from the
    right, modulo 10).

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


def gtin_of_elements(text: str) -> str:
    """The GTIN in a GS1 element string, as a reader gives it: application identifier 01 and its digits; empty for none.

    >>> gtin_of_elements("1712050810ABCD1234" + chr(29) + "0103453120000011")
    '03453120000011'
    """
    rest = text.lstrip(_GROUP_SEPARATOR)
    while rest:
        if rest.startswith("01"):
            return _checked(rest[2:16])
        length = _FIXED.get(rest[:2])
        rest = (rest[length:] if length else rest.partition(_GROUP_SEPARATOR)[2]).lstrip(_GROUP_SEPARATOR)
    return ""


def gtin_of_link(text: str) -> str:
    """The GTIN in a GS1 Digital Link address; empty for any other text.

    >>> gtin_of_link("https://id.gs1.org/01/09506000134376?17=271231")
    '09506000134376'
    """
    found = _DIGITAL_LINK.fullmatch(text)
    return _checked(found[1]) if found else ""


def gtin_inside(gtin: str) -> str:
    """The GTIN-13 of the items in a pack whose GTIN-14 was made from theirs by an indicator digit of 1 to 8; empty for
    a GTIN that says nothing of the kind."""
    if len(gtin) != 14 or gtin[0] not in "12345678":
        return ""
    return f"{gtin[1:13]}{check_digit(gtin[1:13])}"


def _checked(digits: str) -> str:
    try:
        return parse_gtin(digits)
    except BadValue:
        return ""

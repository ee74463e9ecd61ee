"""Fault codes as they are typed, and what two of them are matched on.

A code is stored as it was typed, in capitals, with its suffix. Two codes are the same fault when their
base codes are equal; the text beside a code is never matched. What a code means is not known here (see
`routines.meanings`). Called by the faces, the import and whoever looks for jobs alike. Stdlib only.
"""

from __future__ import annotations

import re

from vanstock.errors import BadValue

_CODE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,15}")
_COLON = re.compile(r"\A([A-Z0-9]+):([0-9A-F]{2})\Z")
_STANDARD = re.compile(r"([PBCU][0-3][0-9A-F]{3})(?:[0-9A-F]{2})?(?:-[A-Z0-9-]*)?")
_IN_TEXT = re.compile(
    r"(?<![\w-])[PU][0-3][0-9A-F]{3}(?:[0-9A-F]{2})?(?:-[0-9A-F]{2})?(?![\w-])", re.ASCII | re.IGNORECASE
)
_GENERIC = re.compile(r"[PBCU]0...|P2...|P3[4-9A-F]..")
_LONGEST_SHOWN = 40


def read_codes(text: str) -> tuple[str, ...]:
    """Fault codes separated by `;`, `,` or spaces, in capitals, each once; raises `BadValue`.

    >>> read_codes("p2463, P246B:00 p246300;P2463")
    ('P2463', 'P246B-00', 'P246300')
    """
    return tuple(dict.fromkeys(_code(word) for word in re.split(r"[;,\s]+", text) if word))


def _code(word: str) -> str:
    code = _COLON.sub(r"\1-\2", word.upper())
    # A letter outside ASCII can turn into one inside it in capitals: what was typed is looked at too.
    if not word.isascii() or not _CODE.fullmatch(code):
        shown = word if len(word) <= _LONGEST_SHOWN else f"{word[:_LONGEST_SHOWN]}..."
        raise BadValue(f"fault code {shown!r} is not one: write letters and digits, like P2463 or P2463-00")
    return code


def find_codes(text: str) -> tuple[str, ...]:
    """The fault codes of the standard shape in any text, in capitals, each once; those of a body or a chassis (B, C)
    look too much like the numbers of customers and parts.

    >>> find_codes("light on, p2463 and P246B-00 for B1044")
    ('P2463', 'P246B-00')
    """
    return tuple(dict.fromkeys(word.upper() for word in _IN_TEXT.findall(text)))


def base_code(code: str) -> str:
    """What two codes are matched on: five characters of one of the standard shape, else all of it.

    A letter P, B, C or U, a digit 0 to 3 and three hexadecimal digits (SAE J2012 / ISO 15031-6) are
    followed by no suffix, a joined one of two digits, or one after a hyphen.

    >>> base_code("P2463-00"), base_code("P246300"), base_code("P1ABC-17"), base_code("480B")
    ('P2463', 'P2463', 'P1ABC', '480B')
    """
    capitals = code.upper()
    found = _STANDARD.fullmatch(capitals)
    return found[1] if found else capitals


def is_generic(code: str) -> bool:
    """Whether SAE J2012 / ISO 15031-6 give the code its meaning, not the vehicle's maker.

    Those are P0, P2 and P3400 to P3FFF, and B0, C0 and U0: B2, C2 and U2 are the maker's, unlike P2.
    """
    return _STANDARD.fullmatch(code.upper()) is not None and _GENERIC.fullmatch(base_code(code)) is not None

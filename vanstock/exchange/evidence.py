"""What a column of texts says of how it is written, by the texts that can be read in one of two ways alone.

One logic for the mark before decimals and for the order of day and month. Pure; called by `amounts` and `dates`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple


class Evidence(NamedTuple):
    """What a column says: the one of two ways in which it is written, or "" where both would do (or nothing is to be
    decided); the text that shows it; and whether anything hangs on it. Two texts that contradict each other are
    `clash`."""

    way: str = ""
    text: str = ""
    matters: bool = False
    clash: tuple[str, str] | None = None


def evidence(texts: Iterable[str], meanings: Callable[[str], Mapping[str, object]], ways: tuple[str, str]) -> Evidence:
    """Which of two ways a column is written in; `meanings` tells what a text means in each way that can explain it."""
    shows: dict[str, str] = {}
    either = ""
    for text in texts:
        found = meanings(text)
        if len(found) == 1:
            shows.setdefault(next(iter(found)), text)
        elif len(set(found.values())) == 2:
            either = either or text
    if len(shows) == 2:
        return Evidence(matters=True, clash=(shows[ways[0]], shows[ways[1]]))
    for way, text in shows.items():
        return Evidence(way, text, matters=True)
    return Evidence(text=either, matters=bool(either))

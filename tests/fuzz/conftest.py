"""How many inputs each property gets, short and long, and the one way to give them.

The short run is part of the ordinary tests; `-m long` runs the long one. Both draw the same inputs every time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

PLAN = {
    "quantities": (200, 26_000),
    "amounts": (200, 26_000),
    "numbers come back": (100, 8_000),
    "dates and times": (200, 26_000),
    "fault codes and GTINs": (150, 16_000),
    "settings": (150, 16_000),
    "moments": (100, 12_000),
    "parts, jobs and entries": (100, 16_000),
    "use": (100, 12_000),
    "characters on the screen": (100, 14_000),
    "import folders": (120, 20_000),
    "command lines": (120, 9_000),
    "words that are no text": (60, 3_000),
}
"""Inputs of each property: in the short run and in the long one."""

Fuzz = Callable[[str, Callable[..., None], st.SearchStrategy[Any]], None]


@pytest.fixture
def plan() -> dict[str, tuple[int, int]]:
    return PLAN


@pytest.fixture(params=[pytest.param(0, id="short"), pytest.param(1, id="long", marks=pytest.mark.long)])
def fuzz(request: pytest.FixtureRequest) -> Fuzz:
    """Gives a property of the plan its inputs, and sees to it that it got as many as planned."""
    given_inputs: dict[str, int] = {}

    def give(name: str, law: Callable[..., None], inputs: st.SearchStrategy[Any]) -> None:
        planned = PLAN[name][request.param]

        def counted(drawn: Any) -> None:
            given_inputs[name] = given_inputs.get(name, 0) + 1
            law(drawn)

        repeatable = settings(
            max_examples=planned,
            derandomize=True,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        repeatable(given(inputs)(counted))()
        assert given_inputs[name] >= planned

    return give

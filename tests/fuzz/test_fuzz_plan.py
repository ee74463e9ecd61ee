"""The long run is as long as promised."""

from __future__ import annotations

import pytest


@pytest.mark.long
def test_the_long_run_is_at_least_two_hundred_thousand_inputs(plan: dict[str, tuple[int, int]]) -> None:
    assert sum(long for _, long in plan.values()) >= 200_000


def test_the_short_run_is_a_small_part_of_the_long_one(plan: dict[str, tuple[int, int]]) -> None:
    assert all(0 < short <= long / 50 for short, long in plan.values())

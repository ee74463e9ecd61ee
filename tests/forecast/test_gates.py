"""What the forecast must be able to do, on drawn panels and on real data, with margins.

`tests/benchmarks/forecast_gates.py` prints the figures themselves, and beside statsforecast's own functions.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import forecast_gates as gates
from tests.benchmarks import panels
from vanstock.forecast.candidates import Candidate

pytestmark = pytest.mark.slow
SBA, MEAN = Candidate("SBA", (0.1,)), Candidate("mean")


def test_steady_parts_are_forecast_as_well_as_by_their_mean() -> None:
    found = gates.rate_error("stationary", 1)
    assert found.ours <= 1.05 * found.fixed[SBA]
    assert found.ours <= 1.15 * found.fixed[MEAN]


def test_a_change_of_level_is_followed() -> None:
    found = gates.rate_error("level change", 1)
    assert found.ours <= 0.7 * found.fixed[SBA]


@pytest.mark.parametrize("kind", ["steps", "dying", "newborn", "trend", "mixed"])
def test_no_kind_of_part_is_forecast_much_worse_than_by_its_best_fixed_method(kind: str) -> None:
    found = gates.rate_error(kind, 1)
    assert found.ours <= 1.1 * found.fixed[found.best]


@pytest.mark.parametrize("kind", [*panels.KINDS, "mixed"])
def test_needs_fall_below_the_95_percent_figure_as_often_as_it_says_and_evenly_below_all(kind: str) -> None:
    drawn = [gates.transforms(kind, seed) for seed in (1, 2)]
    assert 0.93 <= np.mean(np.concatenate(drawn) <= 0.95) <= 0.97
    assert all(gates.evenness(transform) > 0.01 for transform in drawn)


def test_real_purchases_are_forecast_no_worse_than_by_the_usual_methods() -> None:
    """CDNOW, 958 series (Fader and Hardie, Interfaces 31, 2001): 2 weeks ahead from seven origins."""
    found = gates.losses(panels.cdnow(), gates.CDNOW_ORIGINS, 2)
    ours = found.pop("ours")
    for name, loss in found.items():
        low, _ = gates.interval(ours - loss)
        assert low <= 0, name


def test_a_monthly_series_of_the_world_is_forecast_no_worse_than_by_the_usual_methods() -> None:
    """J06 (Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 3rd ed., section 13.2)."""
    found = gates.month_losses()
    ours = found.pop("ours")
    for name, loss in found.items():
        low, _ = gates.interval(ours - loss)
        assert low <= 0, name

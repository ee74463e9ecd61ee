"""One smoothing constant for all parts, chosen by how well it would have served. Pure; numpy inside.

Rolling origin: at past weeks the need of the weeks to come is forecast with what was known then, as the
quantile at the target, and scored against what came by pinball loss (Koenker and Bassett, Econometrica 46,
1978). Losses are divided by each part's mean week, so that millilitres do not drown pieces. The constant is
pooled because in-sample optimisation for each slow series makes its forecasts worse.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.forecast.smoothers import METHODS
from vanstock.forecast.spread import interval_quantile

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

CONSTANTS = (0.05, 0.1, 0.15, 0.2, 0.3)
DEFAULT_CONSTANT = 0.1
LEAST_WEEKS = 12
_ORIGINS = 16


def pinball(actual: Array, quantile: Array, probability: float) -> Array:
    """Pinball loss of a quantile forecast: p (y - q) above it, (1 - p)(q - y) below."""
    import numpy as np

    return np.maximum(probability * (actual - quantile), (probability - 1) * (actual - quantile))


def scores(need: Array, method: str, weeks_ahead: int, *, target: float, measured: bool) -> Array:
    """Mean scaled pinball loss of each constant, summed over series of one kind; zeros without enough weeks.

    `need` has shape (series, weeks); the answer (constants,).
    """
    import numpy as np

    weeks = need.shape[1]
    last = weeks - weeks_ahead - 1
    if last < LEAST_WEEKS - 1 or not len(need):
        return np.zeros(len(CONSTANTS))
    origins = np.unique(np.linspace(LEAST_WEEKS - 1, last, _ORIGINS).astype(int))
    rates = METHODS[method](need, np.array(CONSTANTS))[:, :, origins]
    known = np.stack([need[:, : origin + 1].var(axis=1) for origin in origins], axis=1)
    actual = np.stack([need[:, origin + 1 : origin + 1 + weeks_ahead].sum(axis=1) for origin in origins], axis=1)
    ahead = interval_quantile(rates * weeks_ahead, known * weeks_ahead, target, measured=measured)
    scale = np.maximum(need.mean(axis=1), 1e-9)[:, None]
    loss: Array = (pinball(actual, ahead, target) / scale).mean(axis=2).sum(axis=1)
    return loss


def best_constant(total: Array) -> float:
    """The constant with the least loss; the default when nothing could be scored."""
    return CONSTANTS[int(total.argmin())] if total.any() else DEFAULT_CONSTANT

"""The need over an interval as past needs were, beside what had been forecast for them: no curve assumed. Pure.

The distribution of a part's need is its forecast times the ratios of what came to what was forecast at its own
past weeks (Willemain, Smart and Schwarz, International Journal of Forecasting 20, 2004, draw intervals from the
past likewise). A class takes it for its parts that have past enough, when it scored better than the curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from vanstock.forecast.choose import SERVICE, Trial, pinball

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LEAST_OUTCOMES = 20
NAME = "empirical"


def ratios(trial: Trial) -> Array:
    """What came over what was forecast by the one candidate of `trial`, shape (series, origins); NaN for unknown."""
    import numpy as np

    known = trial.known & (trial.mean[0] > 0)
    found: Array = np.divide(trial.actual, trial.mean[0], out=np.full(trial.actual.shape, np.nan), where=known)
    return found


def losses(trial: Trial, counted: NDArray[np.bool_]) -> Array:
    """Score of the empirical distribution at each origin, from outcomes known by then, shape (series, origins).

    CRPS as mean |x - y| - mean |x - x'| / 2 (Gneiting and Raftery 2007, eq. 20) plus the mean pinball loss at the
    service quantiles, as `choose` scores the curves; NaN where too few outcomes were known.
    """
    import numpy as np

    past, mean = ratios(trial), trial.mean[0]
    found = np.full(past.shape, np.nan)
    for origin in range(LEAST_OUTCOMES + trial.lag, past.shape[1]):
        before = past[:, : origin - trial.lag]
        rows = (~np.isnan(before)).sum(axis=1) >= LEAST_OUTCOMES
        rows &= trial.known[:, origin] & ~np.isnan(before).any(axis=1)
        if rows.any():
            drawn = _whole(before[rows] * mean[rows, origin, None], counted[rows])
            actual = trial.actual[rows, origin]
            apart = np.abs(drawn[:, :, None] - drawn[:, None, :]).mean(axis=(1, 2))
            crps = np.abs(drawn - actual[:, None]).mean(axis=1) - apart / 2
            service = [pinball(actual, _quantile(drawn, counted[rows], p), p) for p in SERVICE]
            found[rows, origin] = crps + np.mean(service, axis=0)
    return found


def _whole(drawn: Array, counted: NDArray[np.bool_]) -> Array:
    """Pieces in whole numbers, litres and metres as they are."""
    import numpy as np

    return np.where(counted[:, None], np.floor(drawn + 0.5), drawn)


def _quantile(drawn: Array, counted: NDArray[np.bool_], probability: float | Sequence[float]) -> Array:
    """The quantile of each row at place p (n + 1), between neighbours in proportion; pieces rounded up."""
    import numpy as np

    found = np.asarray(np.quantile(drawn, probability, axis=1, method="weibull"))
    return np.where(counted, np.ceil(found - 1e-9), found)


def quantiles(trial: Trial, counted: NDArray[np.bool_], mean: Array, probabilities: Sequence[float]) -> Array:
    """Of each probability (row) the empirical quantile for interval means of shape (series,); NaN with fewer than
    `LEAST_OUTCOMES` outcomes."""
    import numpy as np

    past = ratios(trial)
    full = ~np.isnan(past).any(axis=1) & (past.shape[1] >= LEAST_OUTCOMES)
    found = np.full((len(probabilities), len(mean)), np.nan)
    if full.any():
        drawn = _whole(past[full] * mean[full, None], counted[full])
        found[:, full] = _quantile(drawn, counted[full], probabilities)
    return found

"""The ways to forecast that compete with each other, and the fast and slow pair that follows a change. Pure.

pair    a slow level s and a fast level f, both simple smoothing; the forecast is w f + (1 - w) s with
        w = 1 / (1 + exp(c - E)) and E the discounted evidence for the fast one, the quasi-Poisson
        log-likelihood ratio of its forecasts: E_t = d E_(t-1) + (y log(f/s) - (f - s)) / v, v the variance
        over the mean of the weekly needs. With two models this is dynamic model averaging (Raftery, Karny
        and Ettler, Technometrics 52, 2010); quasi-likelihood: Wedderburn, Biometrika 61, 1974.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vanstock.forecast import smoothers

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]


class Candidate(NamedTuple):
    """A method by the name shown, with its constants."""

    method: str
    constants: tuple[float, ...] = ()


CANDIDATES = (
    Candidate("mean"),
    *(Candidate("simple", (a,)) for a in (0.02, 0.05, 0.1, 0.2, 0.3)),
    *(Candidate("SBA", (a,)) for a in (0.05, 0.1, 0.2)),
    *(Candidate("TSB", (a, b)) for a in (0.1, 0.2) for b in (0.02, 0.05, 0.1, 0.2)),
    Candidate("damped trend", (0.1, 0.05, 0.9)),
    Candidate("pair", (0.02, 0.2)),
)
DEFAULT = CANDIDATES.index(Candidate("mean"))
"""What is used while nothing can be scored."""
_DISCOUNT = 0.9
_RELUCTANCE = 1.0


def rates(need: Array, open_share: Array | None = None) -> Array:
    """The mean week that each candidate forecasts after each week, shape (candidates, series, weeks)."""
    import numpy as np

    found = np.empty((len(CANDIDATES), *need.shape))
    for method in dict.fromkeys(candidate.method for candidate in CANDIDATES):
        rows = [i for i, candidate in enumerate(CANDIDATES) if candidate.method == method]
        constants = np.array([CANDIDATES[i].constants for i in rows])
        found[rows] = _run(method, need, constants, open_share)
    return found


def _run(method: str, need: Array, constants: Array, open_share: Array | None) -> Array:
    import numpy as np

    with_one = {"simple": smoothers.simple, "SBA": smoothers.sba}
    with_more = {"TSB": smoothers.tsb, "damped trend": smoothers.damped_trend, "pair": pair}
    if method in with_one:
        return with_one[method](need, constants[:, 0], open_share)
    if method in with_more:
        return with_more[method](need, constants, open_share)
    return smoothers.mean(need, np.zeros(1), open_share)


def pair(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """The fast and slow pair; `constants` has shape (pairs, 2), the slow one first."""
    import numpy as np

    share = np.ones(need.shape[1]) if open_share is None else open_share
    slow = _warm(smoothers.simple(need, constants[:, 0], open_share), smoothers.mean(need, constants[:, 0], open_share))
    fast = smoothers.simple(need, constants[:, 1], open_share)
    least = 0.05 * slow + 1e-9
    log_ratio = np.log(np.maximum(fast, least) / np.maximum(slow, 1e-9))
    y = np.where(np.isnan(need), 0.0, need)
    gain = y[:, 1:] * log_ratio[:, :, :-1] - share[1:] * (np.maximum(fast, least) - slow)[:, :, :-1]
    gain = gain / _dispersion(need)[:, :-1]
    evidence = np.zeros((len(constants), need.shape[0]))
    weights = np.zeros(fast.shape)
    for week in range(need.shape[1]):
        if week:
            evidence = _DISCOUNT * evidence + gain[:, :, week - 1]
        weights[:, :, week] = 1 / (1 + np.exp(_RELUCTANCE - np.clip(evidence, -30, 30)))
    blended: Array = weights * fast + (1 - weights) * slow
    return blended


def _warm(level: Array, mean: Array) -> Array:
    """The running mean for as long as it forgets faster than the slow level: the first year."""
    import numpy as np

    early = np.arange(level.shape[2]) < 52
    return np.where(early, mean, level)


def _dispersion(need: Array) -> Array:
    """Variance over mean of the weekly needs up to each week, at least the mean lot, shape (series, weeks)."""
    import numpy as np

    known = ~np.isnan(need)
    y = np.where(known, need, 0.0)
    weeks = np.maximum(np.cumsum(known, axis=1), 1)
    total, some = np.cumsum(y, axis=1), np.cumsum(y > 0, axis=1)
    mean = total / weeks
    variance = np.cumsum(y**2, axis=1) / weeks - mean**2
    lot = np.divide(total, some, out=np.ones(y.shape), where=some > 0)
    found: Array = np.maximum(np.divide(variance, mean, out=np.ones(y.shape), where=mean > 0), lot)
    return found

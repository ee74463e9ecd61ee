"""Quantiles of the need over a protection interval from its mean and variance. Pure; scipy.special inside.

Counted parts: Poisson when the variance is at most the mean, negative binomial above (matched moments:
r = m^2 / (v - m)). Measured parts (litres, metres, kilograms): gamma (shape m^2 / v, scale v / m).
Quantiles of counts are the least whole number that holds at least the probability asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

_CLOSE = 1e-12


def spread_name(mean: float, variance: float, *, measured: bool) -> str:
    """The distribution used for a mean and variance, by name."""
    if mean <= 0:
        return "none"
    if measured:
        return "gamma"
    return "Poisson" if variance <= mean else "negative binomial"


def interval_quantile(mean: Array, variance: Array, probability: float, *, measured: bool) -> Array:
    """The quantile for arrays of means and variances of one shape; 0 where the mean is 0."""
    import numpy as np

    mean, variance = np.broadcast_arrays(np.asarray(mean, float), np.asarray(variance, float))
    if measured:
        return _gamma_quantile(mean, variance, probability)
    return _count_quantile(mean, variance, probability)


def _gamma_quantile(mean: Array, variance: Array, probability: float) -> Array:
    import numpy as np
    from scipy.special import gammaincinv

    steady = variance <= _CLOSE * np.maximum(mean, 1.0) ** 2
    safe_mean, safe_variance = np.where(mean > 0, mean, 1.0), np.where(steady, 1.0, variance)
    shape = safe_mean**2 / safe_variance
    found = gammaincinv(shape, probability) * safe_variance / safe_mean
    return np.where(mean <= 0, 0.0, np.where(steady, mean, found))


def count_cdf(count: Array, mean: Array, variance: Array) -> Array:
    """P(need <= count) for whole counts: Poisson, or negative binomial where variance exceeds mean."""
    import numpy as np
    from scipy.special import betainc, gammaincc

    over = variance > mean * (1 + 1e-9)
    excess = np.where(over, variance - mean, 1.0)
    safe_mean = np.maximum(mean, _CLOSE)
    poisson = gammaincc(count + 1, safe_mean)
    negative_binomial = betainc(safe_mean**2 / excess, count + 1, np.where(over, safe_mean / (safe_mean + excess), 0.5))
    return np.where(over, negative_binomial, poisson)


def _count_quantile(mean: Array, variance: Array, probability: float) -> Array:
    """Bisection between 0 and a count that is surely enough: Chebyshev's bound."""
    import numpy as np

    spread = np.sqrt(np.maximum(variance, mean))
    low = np.full(mean.shape, -1.0)
    high = np.ceil(mean + spread / np.sqrt(max(1 - probability, 1e-12))) + 1
    while np.any(high - low > 1):
        middle = np.floor((low + high) / 2)
        enough = count_cdf(middle, mean, variance) >= probability - _CLOSE
        open_ = high - low > 1
        high = np.where(open_ & enough, middle, high)
        low = np.where(open_ & ~enough, middle, low)
    return np.where(mean > 0, high, 0.0)

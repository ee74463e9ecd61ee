"""The need over a protection interval as a distribution: its variance, its kind, its quantiles. Pure; scipy inside.

Counted parts: Poisson when the variance is at most the mean, negative binomial above (matched moments:
r = m^2 / (v - m)). Measured parts (litres, metres, kilograms): gamma (shape m^2 / v, scale v / m). Quantiles of
counts are the least whole number that holds at least the probability asked for.

The variance comes from the part's own forecast errors at past weeks, mixed with its component's, and the
component's with its class's, so that a part with little history borrows. How often past needs of the class fell
below each forecast quantile corrects the probability asked for (recalibration: Kuleshov, Fenner and Ermon,
International Conference on Machine Learning 2018), with the probability integral transform of counts of Czado,
Gneiting and Held (Biometrics 65, 2009), which draws nothing at random.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

_CLOSE = 1e-12
_KNOTS = 40
_TRUST = 60.0
_MOST_SEPARATE = 60.0
"""How many past outcomes' worth of "as forecast" the recalibration of a class is mixed with, and how many past
outcomes count at most: parts of one firm rise and fall together, so a thousand of them are not a thousand."""
_OWN = 3.0
_COMPONENT = 12.0
"""How many expected needs' worth of what is borrowed a part's, and a component's, own errors are mixed with."""


class Errors(NamedTuple):
    """Squared errors and expected needs at past weeks, added up, both in lots; see `dispersion`."""

    squared: Array
    expected: Array


def dispersion(errors: Errors, classes: NDArray[np.int_], components: NDArray[np.int_]) -> Array:
    """Variance over mean of each part's interval need, in lots, shape (parts,).

    `classes` and `components` number each part's class and component, from 0.
    """
    import numpy as np

    def summed(values: Array, numbers: NDArray[np.int_]) -> Array:
        total: Array = np.bincount(numbers, weights=values, minlength=int(numbers.max(initial=0)) + 1).astype(float)
        return total

    by_class = (summed(errors.squared, classes) + _OWN) / (summed(errors.expected, classes) + _OWN)
    of_class = by_class[classes]
    squared = summed(errors.squared, components)[components] + _COMPONENT * of_class
    of_component = squared / (summed(errors.expected, components)[components] + _COMPONENT)
    found: Array = (errors.squared + _OWN * of_component) / (errors.expected + _OWN)
    return found


def spread_name(mean: float, variance: float, *, measured: bool) -> str:
    """The distribution used for a mean and variance, by name."""
    if mean <= 0:
        return "none"
    if measured:
        return "gamma"
    return "Poisson" if variance <= mean * (1 + 1e-9) else "negative binomial"


def transform_mass(actual: Array, mean: Array, variance: Array, *, measured: bool) -> Array:
    """Share of each outcome's probability integral transform below each knot, shape (outcomes, knots)."""
    import numpy as np

    knots = np.arange(_KNOTS + 1) / _KNOTS
    if measured:
        below = _gamma_cdf(actual, mean, variance)
        low = np.where(actual > 0, below, 0.0)
    else:
        low, below = count_cdf(actual - 1, mean, variance), count_cdf(actual, mean, variance)
        low = np.where(actual > 0, low, 0.0)
    width = np.maximum(below - low, 1e-9)[:, None]
    return np.clip((knots - low[:, None]) / width, 0.0, 1.0)


def recalibration(mass: Array, weight: Array, separate: float) -> Array:
    """The share of past needs below each forecast quantile, at the knots, shape (knots,); `separate` is how many
    outcomes that do not overlap the sample is worth."""
    import numpy as np

    knots = np.arange(_KNOTS + 1) / _KNOTS
    if not weight.sum():
        return knots
    seen = (mass * weight[:, None]).sum(axis=0) / weight.sum()
    count = min(separate, _MOST_SEPARATE)
    mixed: Array = (count * seen + _TRUST * knots) / (count + _TRUST)
    return np.maximum.accumulate(mixed)


def corrected(probability: Array | float, below: Array) -> Array:
    """The probability to ask a forecast for so that `probability` of needs fall below what it says, of each of them."""
    import numpy as np

    knots = np.arange(_KNOTS + 1) / _KNOTS
    return np.clip(np.interp(probability, below, knots), 1e-6, 1 - 1e-6)


def interval_quantile(mean: Array, variance: Array, probability: Array | float, *, measured: bool) -> Array:
    """The quantile for arrays of means and variances of one shape; 0 where the mean is 0."""
    import numpy as np

    mean, variance, asked = np.broadcast_arrays(
        np.asarray(mean, float), np.asarray(variance, float), np.asarray(probability, float)
    )
    if measured:
        return _gamma_quantile(mean, variance, asked)
    return _count_quantile(mean, variance, asked)


def _gamma_cdf(value: Array, mean: Array, variance: Array) -> Array:
    import numpy as np
    from scipy.special import gammainc

    safe_mean = np.maximum(mean, _CLOSE)
    safe_variance = np.maximum(variance, _CLOSE * safe_mean**2)
    return gammainc(safe_mean**2 / safe_variance, np.maximum(value, 0.0) * safe_mean / safe_variance)


def _gamma_quantile(mean: Array, variance: Array, probability: Array) -> Array:
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


def _count_quantile(mean: Array, variance: Array, probability: Array) -> Array:
    """Bisection between 0 and a count that is surely enough: Chebyshev's bound."""
    import numpy as np

    spread = np.sqrt(np.maximum(variance, mean))
    low = np.full(mean.shape, -1.0)
    high = np.ceil(mean + spread / np.sqrt(np.maximum(1 - probability, 1e-12))) + 1
    while np.any(high - low > 1):
        middle = np.floor((low + high) / 2)
        enough = count_cdf(middle, mean, variance) >= probability - _CLOSE
        open_ = high - low > 1
        high = np.where(open_ & enough, middle, high)
        low = np.where(open_ & ~enough, middle, low)
    return np.where(mean > 0, high, 0.0)

"""Exponential smoothing of many series at once, for several constants. Pure; numpy inside.

With y the need of a week and a the smoothing constant:

    simple    l_t = a y_t + (1 - a) l_(t-1),  l_1 = y_1
              NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.1
    Croston   at a week with need, q weeks after the one before:
              z = a y + (1 - a) z',  p = a q + (1 - a) p';  rate = z / p
              start: the first need and the weeks up to it. Croston, Operational Research Quarterly 23, 1972
    SBA       (1 - a/2) z / p
              Syntetos and Boylan, International Journal of Forecasting 21, 2005

Every function takes needs of shape (series, weeks) and constants of shape (constants,), and returns the
forecast of the mean week after each week, shape (constants, series, weeks).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]


def simple(need: Array, constants: Array) -> Array:
    """Simple exponential smoothing from the first observation."""
    import numpy as np

    a = constants[:, None]
    levels = np.empty((len(constants), *need.shape))
    for week in range(need.shape[1]):
        before = levels[:, :, week - 1] if week else need[None, :, 0]
        levels[:, :, week] = a * need[:, week] + (1 - a) * before
    return levels


def croston(need: Array, constants: Array) -> Array:
    """Croston's method: size and interval smoothed apart, at weeks with need only; 0 before the first."""
    import numpy as np

    a = constants[:, None]
    size, gap = np.zeros((2, len(constants), need.shape[0]))
    since = np.zeros(need.shape[0])
    rates = np.zeros((len(constants), *need.shape))
    for week in range(need.shape[1]):
        since += 1
        y = need[:, week]
        now, first = y > 0, (gap == 0) & (y > 0)
        size = np.where(first, y, np.where(now, a * y + (1 - a) * size, size))
        gap = np.where(first, since, np.where(now, a * since + (1 - a) * gap, gap))
        since[now] = 0
        rates[:, :, week] = np.divide(size, gap, out=np.zeros_like(size), where=gap > 0)
    return rates


def sba(need: Array, constants: Array) -> Array:
    """Croston's method with the bias correction of Syntetos and Boylan."""
    return (1 - constants[:, None, None] / 2) * croston(need, constants)


METHODS: dict[str, Callable[[Array, Array], Array]] = {"simple": simple, "SBA": sba}
"""The methods a class can be given, by the name shown."""

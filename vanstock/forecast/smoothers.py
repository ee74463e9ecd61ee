"""Exponential smoothing of many series at once, for several constants. Pure; numpy inside.

With y the need of a week and a, b the smoothing constants:

    simple    l_t = a y_t + (1 - a) l_(t-1),  l_1 = y_1
              NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3.1
    mean      all needs over all weeks since the start
    Croston   at a week with need, q weeks after the one before:
              z = a y + (1 - a) z',  p = a q + (1 - a) p';  rate = z / p
              start: the first need and the weeks up to it. Croston, Operational Research Quarterly 23, 1972
    SBA       (1 - a/2) z / p
              Syntetos and Boylan, International Journal of Forecasting 21, 2005
    TSB       at a week with need z = a y + (1 - a) z';  every week p = b o + (1 - b) p' with o = 1 for a need,
              0 for none;  rate = z p;  start: z = the first need, p = 1 when the first week has need, else 0
              Teunter, Syntetos and Babai, European Journal of Operational Research 214, 2011
    damped    l_t = a y_t + (1 - a)(l_(t-1) + f b_(t-1)),  b_t = g (l_t - l_(t-1)) + (1 - g) f b_(t-1)
    trend     rate = l_t + f b_t, not below 0;  start: l_1 = y_1, b_1 = 0
              Gardner and McKenzie, Management Science 31, 1985; with f = 1 Holt's, NIST 6.4.3.3

A week that was open for a share e of its days (ours; with e = 1 all is as above):

    simple, damped trend    the need of a full week is y / e, and a step a is 1 - (1 - a)^e; the trend moves on by
                            f (1 - f^e) / (1 - f) and keeps f^e of itself
    mean                    the week counts as e weeks
    Croston, SBA            q counts the week as e. A need is taken as it is: dividing it too would count e twice
    TSB                     o is 1 / e, needs per full week, with the step of b as above; a need is taken as it is

A first week open in part starts Croston's p at 1 or more and TSB's at 1 or less: a need on a part's first day
says nothing yet of how often one comes.

Every function takes needs of shape (series, weeks), NaN before a series starts; constants of shape
(constants,), (constants, 2) or (constants, 3); and the open share of the weeks, shape (weeks,), or None when
all were open. It returns the forecast of the mean full week after each week, shape (constants, series, weeks),
0 before the start. A NaN after the start leaves all as it was.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]


class Smoother(Protocol):
    """What every method here looks like to its caller."""

    def __call__(self, need: Array, constants: Array, open_share: Array | None = None, /) -> Array:
        """Rates of shape (constants, series, weeks)."""


def simple(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """Simple exponential smoothing from the first observation, whatever its size."""
    import numpy as np

    share = _share_of(need, open_share)
    steps = _steps(constants, share)
    levels = np.zeros((need.shape[1], len(constants), need.shape[0]))
    level = np.zeros(levels.shape[1:])
    for week, y, seen, first in _weeks(need):
        step = np.where(first, 1.0, steps[week][:, None] * seen)
        level = level + step * (y / share[week] - level)
        levels[week] = level
    return levels.transpose(1, 2, 0)


def mean(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """The mean full week since the start; the same for every constant."""
    import numpy as np

    seen = ~np.isnan(need)
    total = np.cumsum(np.where(seen, need, 0.0), axis=1)
    weeks = np.cumsum(seen * _share_of(need, open_share), axis=1)
    rates = np.divide(total, weeks, out=np.zeros(need.shape), where=weeks > 0)
    return np.repeat(rates[None], len(constants), axis=0)


def croston(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """Croston's method: size and interval smoothed apart, at weeks with need only; 0 before the first."""
    import numpy as np

    share, a = _share_of(need, open_share), constants[:, None]
    rates = np.zeros((need.shape[1], len(constants), need.shape[0]))
    size, gap = np.zeros((2, *rates.shape[1:]))
    since, begun = np.zeros(need.shape[0]), np.zeros(need.shape[0], dtype=bool)
    for week, y, seen, _ in _weeks(need):
        since = since + share[week] * seen
        now = y > 0
        starts = now & ~begun
        step = np.where(starts, 1.0, a * now)
        size = size + step * (y - size)
        gap = gap + step * (np.where(starts, np.maximum(since, 1.0), since) - gap)
        begun, since = begun | now, np.where(now, 0.0, since)
        np.divide(size, gap, out=rates[week], where=begun)
    return rates.transpose(1, 2, 0)


def sba(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """Croston's method with the bias correction of Syntetos and Boylan."""
    return (1 - constants[:, None, None] / 2) * croston(need, constants, open_share)


def tsb(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """The method of Teunter, Syntetos and Babai, for parts that may be dying out; 0 before the first need.

    `constants` has shape (constants, 2): that of the size, and that of the weeks with need.
    """
    import numpy as np

    share, a = _share_of(need, open_share), constants[:, :1]
    steps = _steps(constants[:, 1], share)
    rates = np.zeros((need.shape[1], len(constants), need.shape[0]))
    size, often = np.zeros((2, *rates.shape[1:]))
    begun = np.zeros(need.shape[0], dtype=bool)
    for week, y, seen, first in _weeks(need):
        now = y > 0
        size = size + np.where(now & ~begun, 1.0, a * now) * (y - size)
        step = np.where(first, 1.0, steps[week][:, None] * seen)
        often = often + step * (np.where(first, now, now / share[week]) - often)
        begun = begun | now
        np.multiply(size, often, out=rates[week])
    return rates.transpose(1, 2, 0)


def damped_trend(need: Array, constants: Array, open_share: Array | None = None) -> Array:
    """Smoothing with a trend that fades; `constants` has shape (constants, 3): of level, of trend, and what stays."""
    import numpy as np

    level, trend = damped_states(need, constants, open_share)
    return np.maximum(level + constants[:, 2, None, None] * trend, 0.0)


def damped_states(
    need: Array, constants: Array, open_share: Array | None = None, *, trend: Array | None = None
) -> tuple[Array, Array]:
    """(level, trend) after each week, each of shape (constants, series, weeks), trend in units per week.

    The mean week h weeks ahead is level + trend (f + f^2 + ... + f^h). `trend`, shape (series,), is the one to
    start with; 0 when not given.
    """
    import numpy as np

    share, (a, g, f) = _share_of(need, open_share), constants.T[:, :, None]
    steps, on, kept = _steps(constants[:, 0], share), *_fading(f[:, 0], share)
    levels, trends = np.zeros((2, need.shape[1], len(a), need.shape[0]))
    level, slope = np.zeros((2, *levels.shape[1:]))
    for week, y, seen, first in _weeks(need):
        ahead = level + np.where(seen & ~first, on[week][:, None], 0.0) * slope
        error = y / share[week] - ahead
        step = np.where(first, 1.0, steps[week][:, None] * seen)
        level = ahead + step * error
        slope = np.where(seen, kept[week][:, None] * slope + g * step * error, slope)
        slope = np.where(first, 0.0 if trend is None else trend, slope)
        levels[week], trends[week] = level, slope
    return levels.transpose(1, 2, 0), trends.transpose(1, 2, 0)


def _share_of(need: Array, open_share: Array | None) -> Array:
    import numpy as np

    return np.ones(need.shape[1]) if open_share is None else open_share


def _steps(constants: Array, share: Array) -> Array:
    """The step of each constant in each week, shape (weeks, constants); exactly the constant in a full week."""
    import numpy as np

    e = share[:, None]
    return np.where(e == 1, constants, 1 - (1 - constants) ** e)


def _fading(kept: Array, share: Array) -> tuple[Array, Array]:
    """How far a trend moves the level on in each week, and what is left of it, each of shape (weeks, constants)."""
    import numpy as np

    e = share[:, None]
    left = np.where(e == 1, kept, kept**e)
    flat = kept == 1
    on = np.where(flat, e, kept * (1 - left) / np.where(flat, 1.0, 1 - kept))
    return np.where(e == 1, kept, on), left


def _weeks(need: Array) -> Iterator[tuple[int, Array, Mask, Mask]]:
    """Each week's number, needs (0 when not known), which series are known in it, and which begin with it."""
    import numpy as np

    known = ~np.isnan(need.T)
    filled = np.where(known, need.T, 0.0)
    begins = known & (np.cumsum(known, axis=0) == 1)
    for week in range(need.shape[1]):
        yield week, filled[week], known[week], begins[week]

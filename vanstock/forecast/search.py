"""The smoothing constants that would have erred least, searched for very many series at once. Pure; numpy inside.

What it is: for a whole grid of constants, the sum of squared one-step errors of each series, and from it each
series' best constant and its forecast of the mean week at the end of history. What it is not: a choice for a slow
part; a constant that fits one series' past best makes a slow part's forecast worse, so the choosing pools. Called
where whole catalogues are smoothed, and by the benchmark.

With y_t the need of week t, f_t the forecast made for it the week before, and E = sum of (y_t - f_t)^2:

    simple    f_2 = y_1; E over the weeks from the second. NIST/SEMATECH e-Handbook, 6.4.3.1. The error obeys
              e_t = (y_t - y_(t-1)) + b e_(t-1), b = 1 - a, so E is the energy of a filtered series: by Parseval's
              theorem a weighted sum of the power spectrum of the weekly differences, less the filter's ringing
              after the last week, e_T^2 b^2 / (1 - b^2). One transform and two matrix products, exact for any grid.
    Croston   f_t = z / p after the last week with need; start: the first need and the weeks up to it. E over the
              weeks after the first need. Croston, Operational Research Quarterly 23, 1972
    SBA       f_t = (1 - a/2) z / p, otherwise the same. Syntetos and Boylan, Int. Journal of Forecasting 21, 2005
    TSB       f_t = z p, z smoothed at weeks with need (start: the first), p every week (start: 1 if y_1 > 0, else 0).
              E over the weeks from the second. Teunter, Syntetos and Babai, EJOR 214, 2011

E of Croston and SBA is thus that of the weekly forecast, with one constant for size and interval. (statsforecast
counts the errors of sizes and of intervals apart, at weeks with need, and has no search for SBA and TSB.) The last
three are followed from need to need: between two the forecast is constant, or falls as a geometric series.

Shapes: needs (series, weeks), at least 0; constants (constants,), above 0 and at most 1, in the order in which ties
go. Series that never needed anything have error 0, rate 0 and the first constant. Memory beyond the answer stays at
a few blocks of series plus one number per series.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Rows = NDArray[np.intp]
    Kernel = Callable[[Array], tuple[Array, Array]]  # a block of series -> errors, last rates (constants, series)

_CLOSE = 1e-10
"""Errors nearer than this part of the least are a tie: rounding must not choose."""
_BLOCK_NUMBERS = 1 << 15
_SIMPLE_ROWS = 512
_MOST_ROWS = 1536


class Found(NamedTuple):
    """The best constant of each series, its forecast of the mean week at the end, and its error; all (series,)."""

    constant: Array
    rate: Array
    error: Array


class FoundPair(NamedTuple):
    """As Found, with the constants of size and of probability apart."""

    size_constant: Array
    probability_constant: Array
    rate: Array
    error: Array


class _Events(NamedTuple):
    """The needs of a block of series one after another, most needs first; slots beyond a series' needs hold 0.

    `size` and `gap` (the weeks since the need before, the first counted from the start) have shape (needs, series);
    `still` says how many series have a need in each slot, `after` how many weeks follow each series' last.
    """

    size: Array
    gap: Rows
    still: list[int]
    after: Rows


def simple_errors(need: Array, constants: Array) -> Array:
    """Sums of squared one-step errors of simple smoothing, shape (constants, series).

    >>> import numpy as np
    >>> simple_errors(np.array([[71.0, 70, 69, 68, 64, 65, 72, 78, 75, 75, 75, 70]]), np.array([0.1, 0.5])).round(4)
    array([[208.8184],
           [181.4618]])
    """
    return _all_errors(need, _simple_kernel(need, constants), _rows_as_they_come(need), len(constants))


def search_simple(need: Array, constants: Array) -> Found:
    """The best constant of simple smoothing for each series."""
    return _search(need, _simple_kernel(need, constants), _rows_as_they_come(need), constants)


def croston_errors(need: Array, constants: Array) -> Array:
    """Sums of squared one-step errors of Croston's method, shape (constants, series)."""
    return _all_errors(need, _croston_kernel(constants, 0.0), _rows_by_needs(need, len(constants)), len(constants))


def search_croston(need: Array, constants: Array) -> Found:
    """The best constant of Croston's method for each series."""
    return _search(need, _croston_kernel(constants, 0.0), _rows_by_needs(need, len(constants)), constants)


def sba_errors(need: Array, constants: Array) -> Array:
    """Sums of squared one-step errors of SBA, shape (constants, series)."""
    return _all_errors(need, _croston_kernel(constants, 0.5), _rows_by_needs(need, len(constants)), len(constants))


def search_sba(need: Array, constants: Array) -> Found:
    """The best constant of SBA for each series."""
    return _search(need, _croston_kernel(constants, 0.5), _rows_by_needs(need, len(constants)), constants)


def tsb_errors(need: Array, size_constants: Array, probability_constants: Array) -> Array:
    """Sums of squared one-step errors of TSB, shape (size constants, probability constants, series)."""
    pairs = len(size_constants), len(probability_constants)
    kernel = _tsb_kernel(need.shape[1], size_constants, probability_constants)
    number = pairs[0] * pairs[1]
    return _all_errors(need, kernel, _rows_by_needs(need, number), number).reshape(*pairs, len(need))


def search_tsb(need: Array, size_constants: Array, probability_constants: Array) -> FoundPair:
    """The best pair of constants of TSB for each series; ties go to the first size constant, then probability."""
    import numpy as np

    kernel = _tsb_kernel(need.shape[1], size_constants, probability_constants)
    pairs = np.arange(float(len(size_constants) * len(probability_constants)))
    best, rate, error = _search(need, kernel, _rows_by_needs(need, len(pairs)), pairs)
    size, probability = np.divmod(best.astype(np.intp), len(probability_constants))
    return FoundPair(size_constants[size], probability_constants[probability], rate, error)


def _all_errors(need: Array, kernel: Kernel, blocks: Iterator[Rows | slice], constants: int) -> Array:
    import numpy as np

    errors = np.zeros((constants, len(need)))
    for rows in blocks:
        errors[:, rows] = kernel(need[rows])[0]
    return errors


def _search(need: Array, kernel: Kernel, blocks: Iterator[Rows | slice], constants: Array) -> Found:
    import numpy as np

    found = Found(np.full(len(need), constants[0], dtype=float), np.zeros(len(need)), np.zeros(len(need)))
    for rows in blocks:
        errors, rates = kernel(need[rows])
        best = (errors <= errors.min(axis=0) * (1 + _CLOSE)).argmax(axis=0)
        each = np.arange(len(best))
        found.constant[rows], found.rate[rows], found.error[rows] = (
            constants[best],
            rates[best, each],
            errors[best, each],
        )
    return found


def _rows_as_they_come(need: Array) -> Iterator[slice]:
    """Blocks of series, none when there are no weeks."""
    series = len(need) if need.shape[1] else 0
    return (slice(first, first + _SIMPLE_ROWS) for first in range(0, series, _SIMPLE_ROWS))


def _rows_by_needs(need: Array, constants: int) -> Iterator[Rows]:
    """Blocks of series with about as many weeks with need, most first; those without are left out."""
    import numpy as np

    counts = np.empty(len(need), dtype=np.int32)
    for rows in _rows_as_they_come(need):
        counts[rows] = np.count_nonzero(need[rows] > 0, axis=1)
    order = np.argsort(-counts, kind="stable")
    order = order[: np.count_nonzero(counts)] if need.shape[1] else order[:0]
    width = min(max(_BLOCK_NUMBERS // constants, 64), _MOST_ROWS)
    return (order[first : first + width] for first in range(0, len(order), width))


def _simple_kernel(need: Array, constants: Array) -> Kernel:
    import numpy as np
    from scipy.fft import next_fast_len, rfft

    steps, keep = need.shape[1] - 1, 1 - constants
    length = next_fast_len(max(2 * steps - 1, 1), real=True)
    weights, last_weights = _spectrum_weights(keep, steps, length), keep ** np.arange(steps - 1, -1, -1)[:, None]
    ringing = keep**2 / (1 - keep**2)

    def kernel(block: Array) -> tuple[Array, Array]:
        if not steps:
            return np.zeros((len(keep), len(block))), np.tile(block[:, 0], (len(keep), 1))
        changes = np.diff(block, axis=1)
        spectrum = rfft(changes, length, axis=1)
        last = changes @ last_weights
        errors = (spectrum.real**2 + spectrum.imag**2) @ weights - last**2 * ringing
        return np.maximum(errors, 0).T, (block[:, -1:] - last * keep).T

    return kernel


def _spectrum_weights(keep: Array, steps: int, length: int) -> Array:
    """What each power of the spectrum adds to the energy of the differences filtered by 1 / (1 - b L), by constant.

    The energy is the sum over lags k of r_k b^|k| / (1 - b^2), r_k the autocovariance; r_k is a cosine sum of powers.
    """
    import numpy as np

    lags, frequencies = np.arange(steps), np.arange(length // 2 + 1)
    twice = np.where((lags > 0)[:, None], 2.0, 1.0) * keep ** lags[:, None] / (1 - keep**2)
    both = np.where((frequencies == 0) | (2 * frequencies == length), 1.0, 2.0) / length
    cosines: Array = np.cos(2 * np.pi / length * np.outer(frequencies, lags))
    return both[:, None] * (cosines @ twice)


def _events(block: Array) -> _Events:
    """The needs of series that each have at least one and come in the order of most needs first."""
    import numpy as np

    series, weeks = np.nonzero(block > 0)
    counts = np.bincount(series, minlength=len(block))
    first = np.cumsum(counts) - counts
    slot = np.arange(len(series)) - first[series]
    gaps = np.diff(weeks, prepend=0)
    gaps[first] = weeks[first] + 1
    size, gap = np.zeros((counts[0], len(block))), np.zeros((counts[0], len(block)), dtype=np.intp)
    size[slot, series], gap[slot, series] = block[series, weeks], gaps
    still = np.count_nonzero(size, axis=1).tolist()
    return _Events(size, gap, still, block.shape[1] - 1 - weeks[first + counts - 1])


def _croston_kernel(constants: Array, correction: float) -> Kernel:
    """Croston's method times 1 - correction x constant."""
    import numpy as np

    scale = 1 - correction * constants[:, None]

    def kernel(block: Array) -> tuple[Array, Array]:
        size, gap, still, after = _events(block)
        rate, squares, products = _follow(size, gap.astype(float), still, constants)
        squares += rate**2 * after
        errors = scale**2 * squares - 2 * scale * products + (size[1:] ** 2).sum(axis=0)
        return np.maximum(errors, 0), scale * rate

    return kernel


def _follow(size: Array, gap: Array, still: list[int], constants: Array) -> tuple[Array, Array, Array]:
    """The last ratio of size to interval, and the sums of its squares over weeks and of its products with needs.

    Both are carried divided by the constant, z / a = y + (1 - a) z' / a: the same ratio for one product less.
    """
    import numpy as np

    keep = (1 - constants)[:, None]
    z, p = size[0] / constants[:, None], gap[0] / constants[:, None]
    squares, products, rate, work = np.zeros((4, *z.shape))
    for slot in range(1, len(still)):
        on = slice(still[slot])
        y, q = size[slot, on], gap[slot, on]
        f, w = np.divide(z[:, on], p[:, on], out=rate[:, on]), work[:, on]
        products[:, on] += np.multiply(f, y, out=w)
        f *= f
        squares[:, on] += np.multiply(f, q, out=w)
        z[:, on] *= keep
        z[:, on] += y
        p[:, on] *= keep
        p[:, on] += q
    return np.divide(z, p, out=rate), squares, products


def _tsb_kernel(weeks: int, size_constants: Array, probability_constants: Array) -> Kernel:
    """TSB for every pair of constants, the pairs flattened with the probability constants running faster."""
    import numpy as np

    a, b = size_constants[:, None], probability_constants[:, None]
    fall = (1 - b) ** np.maximum(np.arange(weeks + 1) - 1, 0)
    lost = 1 - (1 - b) ** 2

    def kernel(block: Array) -> tuple[Array, Array]:
        events = _events(block)
        z, p, errors = _follow_pairs(events, (a, b), fall)
        last = p * np.where(events.after > 0, (1 - b) * fall.take(events.after, axis=1), 1)
        errors += z[:, None] ** 2 * (p**2 - last**2)
        errors /= lost
        errors += (block[:, 1:] ** 2).sum(axis=1)
        return np.maximum(errors, 0).reshape(-1, len(block)), (z[:, None] * last).reshape(-1, len(block))

    return kernel


def _follow_pairs(events: _Events, constants: tuple[Array, Array], fall: Array) -> tuple[Array, Array, Array]:
    """Size and probability after the last need, and (1 - c^2) times the errors up to it less the y^2; c = 1 - b.

    The q weeks up to the next need have the forecasts z p, z p c, ... z h, where h = p c^(q-1) = p `fall`[q]: squares
    of z^2 (p^2 - c^2 h^2) / (1 - c^2). Only the last meets a need: less 2 z h y. After it p becomes c h + b.
    """
    import numpy as np

    a, b = constants
    keep, twice = 1 - b, 2 * (1 - (1 - b) ** 2)
    z, p = np.repeat(events.size[:1], len(a), axis=0), np.where(events.gap[0] == 1, 1.0, b)
    errors, work = np.zeros((2, len(a), len(b), z.shape[1]))
    for slot in range(1, len(events.still)):
        on = slice(events.still[slot])
        y, now_z, now_p, w = events.size[slot, on], z[:, on], p[:, on], work[..., on]
        h = fall.take(events.gap[slot, on], axis=1)
        h *= now_p
        after = h * keep
        now_p *= now_p
        now_p -= after * after
        h *= y
        h *= twice
        np.multiply(now_z[:, None], now_p, out=w)
        w -= h
        w *= now_z[:, None]
        errors[..., on] += w
        now_z += a * (y - now_z)
        np.add(after, b, out=now_p)
    return z, p, errors

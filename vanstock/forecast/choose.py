"""Which method and constants forecast a part: scored where it counts, pooled by class, left only for cause. Pure.

At past weeks (rolling origin) the need over the weeks of a part's protection interval is forecast with what was
known then, as a distribution: the candidate's mean, and a variance from the candidate's own earlier errors. What
came is scored by the continuous ranked probability score (Gneiting and Raftery, Journal of the American
Statistical Association 102, 2007) plus the mean pinball loss at the service quantiles (Koenker and Bassett,
Econometrica 46, 1978), divided by the part's mean need so that millilitres do not drown pieces; later weeks count
a little more. The scores of all parts of a demand class are added up and the class takes the candidate with the
least. A part's own scores, shrunk towards its class's, may name another; the part departs only when that other
was better at its own origins by more than `_PAYS` standard errors. In-sample optimisation of each slow series by
itself is known to make its forecasts worse.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from vanstock.forecast.candidates import DEFAULT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LEAST_WEEKS = 12
SERVICE = (0.5, 0.8, 0.9, 0.95)
ORIGINS = 32
_FADE = 0.95
_SHRINK = 24.0
"""How many origins' worth of the class's score a part's own is mixed with."""
_PAYS = 3.0
_LEAST_GAIN = 0.05
_GRID = 96
_POOL_DISPERSION = 3.0
"""How many expected needs' worth of its class's dispersion a part's own is mixed with."""


class Trial(NamedTuple):
    """The forecasts of all candidates at past weeks beside what came.

    `mean` and `variance` have shape (candidates, series, origins), `actual` and `known` (series, origins),
    `age` (origins,) the weeks since; `known` says where a series had weeks enough; an outcome is known `lag`
    origins later.
    """

    mean: Array
    variance: Array
    actual: Array
    known: NDArray[np.bool_]
    age: Array
    lag: int

    def of(self, rows: NDArray[np.bool_]) -> Trial:
        """The trial of some of the series."""
        return Trial(
            self.mean[:, rows], self.variance[:, rows], self.actual[rows], self.known[rows], self.age, self.lag
        )

    def chosen(self, candidate: NDArray[np.int_]) -> Trial:
        """The trial of one candidate for each series, as a trial with a single candidate."""
        import numpy as np

        rows = np.arange(len(candidate))
        return self._replace(mean=self.mean[candidate, rows][None], variance=self.variance[candidate, rows][None])


def origins_of(weeks: int, weeks_ahead: int) -> NDArray[np.int_]:
    """The past weeks after which a forecast is tried, at most `ORIGINS` of them, the last one included."""
    import numpy as np

    last = weeks - weeks_ahead - 1
    if last < LEAST_WEEKS - 1:
        return np.zeros(0, dtype=int)
    step = max(1, ceil((last - LEAST_WEEKS + 2) / ORIGINS))
    return np.arange(last, LEAST_WEEKS - 2, -step)[:ORIGINS][::-1].copy()


def try_out(need: Array, paths: Array, weeks_ahead: int, open_share: Array) -> Trial:
    """Forecast `weeks_ahead` weeks at each origin with every candidate's path, shape (candidates, series, weeks)."""
    import numpy as np

    origins = origins_of(need.shape[1], weeks_ahead)
    y = np.where(np.isnan(need), 0.0, need)
    sums = np.concatenate([np.zeros((len(y), 1)), np.cumsum(y, axis=1)], axis=1)
    shares = np.concatenate([[0.0], np.cumsum(open_share)])
    ahead = shares[origins + 1 + weeks_ahead] - shares[origins + 1]
    actual = sums[:, origins + 1 + weeks_ahead] - sums[:, origins + 1]
    mean = paths[:, :, origins] * ahead
    known = np.cumsum(~np.isnan(need), axis=1)[:, origins] >= LEAST_WEEKS
    step = int(origins[1] - origins[0]) if len(origins) > 1 else 1
    lag = ceil(weeks_ahead / step)
    variance = mean * _dispersion_then(mean, actual, known, lag=lag, lots=lots(need))
    return Trial(mean, variance, actual, known, (need.shape[1] - 1 - origins).astype(float), lag)


def lots(need: Array) -> Array:
    """The mean of the needs that are not zero, by series; 1 for none."""
    import numpy as np

    y = np.where(np.isnan(need), 0.0, need)
    some = (y > 0).sum(axis=1)
    found: Array = np.divide(y.sum(axis=1), some, out=np.ones(len(y)), where=some > 0)
    return found


def _dispersion_then(mean: Array, actual: Array, known: NDArray[np.bool_], *, lag: int, lots: Array) -> Array:
    """Variance over mean of the errors realised before each origin, shrunk towards all series' of that candidate."""
    import numpy as np

    weight = known / lots[:, None]
    errors = np.cumsum((actual - mean) ** 2 * weight / lots[:, None], axis=2)
    means = np.cumsum(mean * weight, axis=2)
    before = np.zeros((2, *mean.shape))
    if lag < mean.shape[2]:
        before[0, :, :, lag:], before[1, :, :, lag:] = errors[:, :, :-lag], means[:, :, :-lag]
    pool = (before[0].sum(axis=1, keepdims=True) + 4.0) / (before[1].sum(axis=1, keepdims=True) + 4.0)
    found: Array = (before[0] + _POOL_DISPERSION * pool) / (before[1] + _POOL_DISPERSION) * lots[:, None]
    return found


def scores(trial: Trial, counted: NDArray[np.bool_], scale: Array) -> Array:
    """The score of each candidate for each series at each origin, in parts of the series' mean need.

    Shape (candidates, series, origins); `counted`, shape (series,), tells pieces from litres and metres.
    """
    import numpy as np

    loss = _losses(trial, counted)
    scaled: Array = loss / np.maximum(scale, 1e-9)[:, None] * trial.known
    return scaled


def curve_losses(trial: Trial, counted: NDArray[np.bool_]) -> Array:
    """The unscaled score of the one candidate of `trial` with its curve, shape (series, origins)."""
    found: Array = _losses(trial, counted)[0]
    return found


def _losses(trial: Trial, counted: NDArray[np.bool_]) -> Array:
    """Small counts by summing over whole numbers, all others by the closed form of the normal curve."""
    import numpy as np

    small = counted & (trial.mean.max(axis=(0, 2)) + trial.actual.max(axis=1) < _GRID * 0.6)
    loss = np.empty(trial.mean.shape)
    for rows, score in ((small, count_loss), (~small, wide_loss)):
        if rows.any():
            loss[:, rows] = score(trial.mean[:, rows], trial.variance[:, rows], trial.actual[rows])
    return loss


def count_loss(mean: Array, variance: Array, actual: Array) -> Array:
    """Score of counts: Poisson or negative binomial, summed over whole numbers by Panjer's recursion."""
    import numpy as np

    mean = np.maximum(mean, 1e-9)
    over = variance > mean * (1 + 1e-9)
    grow = np.where(over, 1 - mean / np.maximum(variance, mean), 0.0)
    base = np.where(over, mean * mean / np.maximum(variance, mean), mean)
    excess = np.where(over, variance - mean, 1.0)
    mass = np.exp(np.where(over, mean * mean / excess * np.log(mean / np.maximum(variance, mean)), -mean))
    held = mass.copy()
    crps, quantiles = np.zeros(mean.shape), np.zeros((len(SERVICE), *mean.shape))
    top = int(min(_GRID, np.ceil((mean + 8 * np.sqrt(np.maximum(variance, mean))).max()) + actual.max() + 1))
    for count in range(top):
        crps += (held - (actual <= count)) ** 2
        for row, probability in enumerate(SERVICE):
            quantiles[row] += held < probability
        mass *= (base + grow * count) / (count + 1)
        held += mass
    return crps + _mean_pinball(actual, quantiles)


def wide_loss(mean: Array, variance: Array, actual: Array) -> Array:
    """Score of large or measured needs, taken as normal: the closed form of Gneiting and Raftery (2007), eq. 21."""
    import numpy as np
    from scipy.special import ndtr, ndtri

    spread = np.sqrt(np.maximum(variance, 1e-12))
    z = (actual - mean) / spread
    density = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    crps = spread * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi))
    quantiles = np.array([np.maximum(mean + spread * ndtri(probability), 0.0) for probability in SERVICE])
    total: Array = crps + _mean_pinball(actual, quantiles)
    return total


def _mean_pinball(actual: Array, quantiles: Array) -> Array:
    import numpy as np

    losses = [pinball(actual, found, p) for found, p in zip(quantiles, SERVICE, strict=True)]
    mean: Array = np.mean(losses, axis=0)
    return mean


def pinball(actual: Array, quantile: Array, probability: float) -> Array:
    """Pinball loss of a quantile forecast: p (y - q) above it, (1 - p)(q - y) below."""
    import numpy as np

    return np.maximum(probability * (actual - quantile), (probability - 1) * (actual - quantile))


class Tally(NamedTuple):
    """The weighted scores of some series added up by candidate, shape (candidates,), and their total weight."""

    loss: Array
    weight: float

    @property
    def pool(self) -> int:
        """The candidate with the least score; the default when nothing was scored."""
        return int(self.loss.argmin()) if self.weight else DEFAULT


def tally(loss: Array, trial: Trial) -> Tally:
    """Add up the scores of some series, later weeks for a little more."""
    weight = trial.known * fading(trial.age)
    return Tally((loss * weight).sum(axis=(1, 2)), float(weight.sum()))


def together(tallies: Sequence[Tally]) -> Tally:
    """The tally of several groups of series."""
    import numpy as np

    losses = [one.loss for one in tallies]
    return Tally(np.sum(losses, axis=0) if losses else np.zeros(1), sum(one.weight for one in tallies))


def fading(age: Array) -> Array:
    """The weight of an origin so many weeks ago."""
    return _FADE**age


def settle(loss: Array, trial: Trial, whole: Tally, weeks_ahead: int) -> tuple[NDArray[np.int_], NDArray[np.bool_]]:
    """(candidate, departed) of each series, given the tally of its whole class; both of shape (series,)."""
    import numpy as np

    pool = whole.pool
    if not whole.weight:
        return np.full(loss.shape[1], pool), np.zeros(loss.shape[1], dtype=bool)
    weight = trial.known * fading(trial.age)
    pooled = whole.loss[:, None] / whole.weight
    mixed = ((loss * weight).sum(axis=2) + _SHRINK * pooled) / (weight.sum(axis=1) + _SHRINK)
    best = mixed.argmin(axis=0)
    step = float(trial.age[0] - trial.age[1]) if len(trial.age) > 1 else 1.0
    own = (best != pool) & _pays(loss, trial.known, pool, best, weeks_ahead / step)
    return np.where(own, best, pool), own


def _pays(
    loss: Array, known: NDArray[np.bool_], pool: int, best: NDArray[np.int_], overlap: float
) -> NDArray[np.bool_]:
    """Whether each series' best candidate beats the pool's at its own origins by more than chance."""
    import numpy as np

    rows = np.arange(loss.shape[1])
    gain = (loss[pool] - loss[best, rows]) * known
    count = known.sum(axis=1)
    mean = gain.sum(axis=1) / np.maximum(count, 1)
    spread = np.sqrt(((gain - mean[:, None]) ** 2 * known).sum(axis=1) / np.maximum(count - 1, 1))
    separate = count / max(overlap, 1.0)
    error = spread / np.sqrt(np.maximum(separate, 1.0))
    before = (loss[pool] * known).sum(axis=1) / np.maximum(count, 1)
    pays: NDArray[np.bool_] = (separate >= 8) & (mean > _PAYS * error) & (mean > _LEAST_GAIN * before)
    return pays

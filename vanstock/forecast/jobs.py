"""How many jobs of each kind come in a week: smoothed rates of all jobs together, shared out by kind. Pure.

    level = sum of w y / sum of w o,   w = (1 - alpha)^age

simple exponential smoothing with weeks that are open by a share o, started without a level of its own. All jobs
together are followed quickly, the share of each kind slowly, since a kind is seen seldom. Called by `routines.levels`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

QUICK, SLOW = 0.1, 0.03
_WEEKS_JUDGED = 52
_LEAST, _MOST = 0.1, 4.0


class JobRates(NamedTuple):
    """Jobs of each kind in a full week, and the variance over the mean of a week's jobs."""

    weekly: Floats
    dispersion: float


def job_rates(counts: Floats, open_share: Floats) -> JobRates:
    """The rates of kinds from their counts, shape (kinds, weeks), oldest week first, and the weeks' open shares."""
    import numpy as np

    if not counts.size or not open_share.sum():
        return JobRates(np.zeros(len(counts)), 1.0)
    kinds = _smoothed(counts, open_share, SLOW)
    total = _smoothed(counts.sum(axis=0)[None, :], open_share, QUICK)[0]
    weekly = kinds * (total / kinds.sum()) if kinds.sum() > 0 else kinds
    return JobRates(weekly, _dispersion(counts.sum(axis=0), open_share))


def seldom_rates(counts: Floats, open_share: Floats) -> Floats:
    """The mean of a full week of what happens now and then, each row by itself, followed slowly."""
    import numpy as np

    return _smoothed(counts, open_share, SLOW) if open_share.sum() else np.zeros(len(counts))


def _smoothed(counts: Floats, open_share: Floats, alpha: float) -> Floats:
    import numpy as np

    weight = (1 - alpha) ** np.arange(len(open_share))[::-1]
    found: Floats = counts @ weight / (open_share @ weight)
    return found


def _dispersion(total: Floats, open_share: Floats) -> float:
    """Variance over mean of the last year's full weeks, about a mean that follows them; 1 when they are few."""
    full = open_share > 0.99
    recent = total[full][-_WEEKS_JUDGED:]
    if len(recent) < 8 or recent.mean() <= 0:
        return 1.0
    # The variance about a drifting mean: half the mean square of steps from one week to the next.
    steps = recent[1:] - recent[:-1]
    found = float((steps**2).mean() / 2 / recent.mean())
    return min(max(found, _LEAST), _MOST)

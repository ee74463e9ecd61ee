"""How one level leans on the level above it: the one formula by which needs are shrunk. Pure.

    estimate = (sum over own jobs + worth x estimate of the level above) / (own jobs + worth)

which is the mean of a beta posterior whose prior is worth so many jobs (Gelman et al., Bayesian Data Analysis,
3rd ed., sec. 5.3), and with worth = n (1 - f) / f the linear shrinkage by a factor f of Efron and Morris (1975).
Called by `cases`, which shrinks whole distributions with it, by `worths`, which chooses the worths, and by
`mapping` for the share of a part number.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

Value = TypeVar("Value", float, Any)


def shrunken(own_sum: Value, own_jobs: Value, above: Value, worth: Value) -> Value:
    """What `own_jobs` jobs that sum to `own_sum` amount to, leaning on the estimate `above` for `worth` jobs.

    Numbers or arrays of one shape; `own_jobs` and `worth` may not both be 0.

    >>> shrunken(4, 14, 0.5, 2)
    0.3125
    """
    return (own_sum + worth * above) / (own_jobs + worth)


def lent(worth: float, farther: Iterable[float]) -> float:
    """What the levels beyond are worth to one that leans on them: no more jobs than the fullest of them counts for.

    >>> lent(24.0, [0.0, 1.0, 1.0]), lent(24.0, [30.0, 200.0]), lent(24.0, [])
    (1.0, 24.0, 0.0)
    """
    return min(worth, max(farther, default=0.0))

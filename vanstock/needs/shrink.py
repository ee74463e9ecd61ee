"""How one level leans on the level above it: the one formula by which needs are shrunk. Pure.

    estimate = (sum over own jobs + worth x estimate of the level above) / (own jobs + worth)

which is the mean of a beta posterior whose prior is worth so many jobs (Gelman et al., Bayesian Data Analysis,
3rd ed., sec. 5.3), and with worth = n (1 - f) / f the linear shrinkage by a factor f of Efron and Morris (1975).
Called by `cases`, which shrinks whole distributions with it, by `worths`, which chooses the worths, and by
`mapping` for the share of a part number.
"""

from __future__ import annotations

from typing import Any, TypeVar

Value = TypeVar("Value", float, Any)


def shrunken(own_sum: Value, own_jobs: Value, above: Value, worth: float) -> Value:
    """What `own_jobs` jobs that sum to `own_sum` amount to, leaning on the estimate `above` for `worth` jobs.

    Numbers or arrays of one shape; `own_jobs` and `worth` may not both be 0.

    >>> shrunken(4, 14, 0.5, 2)
    0.3125
    """
    return (own_sum + worth * above) / (own_jobs + worth)

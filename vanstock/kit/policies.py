"""Other ways to set levels, for comparison: each part by itself. Pure.

    equal service    every part at the same odds of lasting the protection interval
    rule of thumb    every part at a multiple of its average use over that interval
    each by cost     every part while its next step saves more, at one worth of a job, than it costs

The first two are common practice; the third is the newsvendor's critical ratio (Snyder and Shen, Fundamentals of
Supply Chain Theory, 2nd ed. 2019, sec. 4.3) on the same stream as the whole jobs'. Called by `routines.replay` and by
whoever puts the levels to the test.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil

from vanstock.kit.minmax import Buying
from vanstock.kit.stream import Stream


def covering(need: Mapping[str, float], how: Mapping[str, Buying]) -> dict[str, int]:
    """The least levels in whole steps that hold some base units of each group."""
    return {group: max(ceil(need.get(group, 0.0) / one.step - 1e-9), 0) * one.step for group, one in how.items()}


def each_by_cost(stream: Stream, worth: float) -> dict[str, int]:
    """For each group by itself the level at which `worth` pence for each job that finds enough of it, less the cash,
    is greatest; the least of those that tie."""
    import numpy as np

    wanted = stream.wanted
    found = {}
    for i, shelf in enumerate(stream.shelves):
        jobs_at = np.bincount(wanted.level[wanted.part == i])
        gain = worth * np.cumsum(jobs_at) - wanted.cash[i] * np.arange(len(jobs_at))
        gain[1:] -= wanted.begun[i]
        found[shelf.group] = int(np.argmax(gain)) * shelf.step if len(gain) else 0
    return found

"""How much of each group some booked jobs take together, by seeded draws (see `draws`). Pure; numpy inside.

Called by `routines.reorder`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from vanstock.jobneeds import JobNeeds
from vanstock.kit.draws import DRAWS, drawn, from_top, nth_from_top

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_DRAWN, LEAST_DRAWS = 4_000_000, 2_000
"""Jobs times draws from which on the sum of very many jobs is drawn less often, but so often at least."""


def day_need_quantiles(
    jobs: Sequence[JobNeeds], *, probability: float, seed: int, draws: int = DRAWS
) -> dict[str, int]:
    """By group, the least base units that hold all these jobs' need with this probability; very many jobs are drawn
    less, and those that take alike in one go."""
    import numpy as np

    rng, asked = np.random.default_rng(seed), draws
    draws = min(draws, max(MOST_DRAWN // max(len(jobs), 1), LEAST_DRAWS))
    totals: dict[str, NDArray[np.int64]] = {}
    for needs, many in _alike(jobs, MOST_DRAWN // draws) if draws < asked else [(one, 1) for one in jobs]:
        for group, parts in drawn(needs, rng, draws * many).items():
            total = totals.setdefault(group, np.zeros(draws, dtype=np.int64))
            for index, qty in parts:
                total += np.bincount(index % draws, qty, draws).astype(np.int64)
    top = from_top(probability, draws)
    return {group: nth_from_top(total, top) for group, total in sorted(totals.items())}


def _alike(jobs: Sequence[JobNeeds], most: int) -> list[tuple[JobNeeds, int]]:
    """Jobs that share their cases, as one of them and how many, no more than `most` together."""
    by_cases: dict[tuple[int, int], list[JobNeeds]] = defaultdict(list)
    for needs in jobs:
        by_cases[id(needs.cases), id(needs.prior)].append(needs)
    return [(some[0], len(some[i : i + most])) for some in by_cases.values() for i in range(0, len(some), most)]

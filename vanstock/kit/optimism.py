"""How much worse coming jobs fare than a stream drawn from past ones says. Pure.

Levels are chosen on what the past tells, and look better on it than on jobs still to come ("optimism": Efron, Journal
of the American Statistical Association 81, 1986): rates drift, and parts turn up that were never needed before. Over
made-up firms of which one year was known, the odds of a job left unfinished came out as so many times what was said:

    times = 1.3 + 10 / finished jobs known, 2 at most

(75 firms of `tests/benchmarks/kit_firms.py`, seeds 1000 to 1014, 2000 to 2029 and 3000 to 3029; others check it). With
them 95 asked for came to 95.1 in the median and to 93 to 97 with 73 of the 75: a spread of 1.1 between firms is left,
from jumps in what jobs take that nothing known then could tell. Called by `routines.levels` and `routines.curve`.
"""

from __future__ import annotations

_ALWAYS, _FOR_ONE_JOB, _MOST = 1.3, 10.0, 2.0


def times_worse(jobs_known: int) -> float:
    """By how much the odds of an unfinished job are to be multiplied."""
    return min(_ALWAYS + _FOR_ONE_JOB / max(jobs_known, 1), _MOST)


def to_expect(said: float, jobs_known: int) -> float:
    """The share of coming jobs to expect finished where a stream says so many are.

    >>> round(to_expect(0.96, 500), 3), to_expect(1.0, 500)
    (0.949, 1.0)
    """
    return _with_odds(said, times_worse(jobs_known))


def to_ask(wanted: float, jobs_known: int) -> float:
    """The share of a stream's jobs to ask for where so many are wanted of those to come."""
    return _with_odds(wanted, 1 / times_worse(jobs_known))


def _with_odds(share: float, times: float) -> float:
    left = (1 - share) * times
    return share / (share + left)

"""How much worse coming jobs fare than a stream drawn from past ones says. Pure.

Levels are chosen on what the past tells, and look better on it than on jobs still to come ("optimism": Efron, Journal
of the American Statistical Association 81, 1986): rates drift, and parts turn up that were never needed before. Over
made-up firms of which one year was known, the odds of a job left unfinished came out about 1.3 times what was said.
They are taken to be a little more, with which most of those firms came within two points of what was wanted:

    times = 1.35 + 10 / finished jobs known, 2 at most

(75 firms of `tests/benchmarks/kit_firms.py`, seeds 1000 to 1014, 2000 to 2029 and 3000 to 3029; others check it). With
them 95 asked for came to 95.3 in the median and to 93 to 97 with 74 of the 75; with the one other, 194 jobs known, to
91.2. The second term is for firms younger than any of these. And nothing is promised more surely than is known: n jobs
that all went well leave a chance of (n + 1) / (n + 2) that the next does too (rule of succession: Laplace, Essai
philosophique sur les probabilites, 1814). Called by `routines.levels`.
"""

from __future__ import annotations

_ALWAYS, _FOR_ONE_JOB, _MOST = 1.35, 10.0, 2.0


def times_worse(jobs_known: int) -> float:
    """By how much the odds of an unfinished job are to be multiplied."""
    return min(_ALWAYS + _FOR_ONE_JOB / max(jobs_known, 1), _MOST)


def surest(jobs_known: float) -> float:
    """The most that is ever promised when so many jobs are known: (n + 1) / (n + 2).

    >>> surest(0), surest(8), surest(498)
    (0.5, 0.9, 0.998)
    """
    return 1 - 1 / (jobs_known + 2)


def discounted(said: float, jobs_known: int) -> float:
    """The share of coming jobs finished where a stream says so many are, at the odds that the past's jobs came to.

    >>> round(discounted(0.96, 500), 3), discounted(1.0, 500)
    (0.946, 1.0)
    """
    return _with_odds(said, times_worse(jobs_known))


def slope(said: float, jobs_known: int) -> float:
    """How much of a little more that a stream says comes to be: the derivative of `discounted`."""
    times = times_worse(jobs_known)
    return times / (said + (1 - said) * times) ** 2


def to_expect(said: float, jobs_known: int, usual: float = 0.0) -> float:
    """The share of coming jobs to expect finished where a stream says so many are: discounted, and no more than is
    known from those jobs and a usual table that is worth so many more.

    >>> round(to_expect(0.96, 500), 3), to_expect(1.0, 498)
    (0.946, 0.998)
    """
    return min(discounted(said, jobs_known), surest(jobs_known + usual))


def to_ask(wanted: float, jobs_known: int) -> float:
    """The share of a stream's jobs to ask for where so many are wanted of those to come."""
    return _with_odds(wanted, 1 / times_worse(jobs_known))


def _with_odds(share: float, times: float) -> float:
    left = (1 - share) * times
    return share / (share + left)

"""A load-out as a value: what the morning works out and the faces show. No arithmetic here (see `morning`)."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple

from vanstock.kit.advice import Action
from vanstock.model import Job, Part
from vanstock.routines.dangerous import Aboard
from vanstock.routines.expiry import Expiring


class Need(NamedTuple):
    """A part that a job may take: `qty` base units with `probability`, of which the van has `on_hand`."""

    component: str
    part: Part
    probability: float
    qty: int
    on_hand: int
    jobs_like_it: int


class Short(NamedTuple):
    """A part that a job may lack: base units missing, and the odds that costs."""

    part: Part
    qty: int
    lost_odds: float


class Split(NamedTuple):
    """A component of which the job takes one of several part numbers, not known which: each with its share."""

    component: str
    variants: tuple[tuple[Part, float], ...]


class JobOutlook(NamedTuple):
    """One job of the day: odds with the load list aboard and as the van stands, needs, shortages, open splits."""

    job: Job
    odds: float | None
    odds_now: float | None
    standard_error: float
    needs: tuple[Need, ...]
    short: tuple[Short, ...]
    splits: tuple[Split, ...]
    jobs_like_it: int


class Load(NamedTuple):
    """Carry `qty` base units of a part from a store; the van has `on_hand`."""

    part: Part
    qty: int
    from_place: str
    on_hand: int
    reason: str


class Left(NamedTuple):
    """What the van cannot carry of the load list, and the finished jobs that this costs."""

    part: Part
    qty: int
    from_place: str
    cost: float


class Elsewhere(NamedTuple):
    """A part that the day may lack lies in another van: base units `on_hand` there, and what that van can spare beside
    its own jobs of the day."""

    part: Part
    van: str
    on_hand: int
    spare: int


class Buy(NamedTuple):
    """Buy `qty` base units for `gain` more finished jobs: when it must be ordered by and when it comes; `in_time` when
    that is before a job of the day that may need it."""

    part: Part
    qty: int
    gain: float
    cutoff: datetime | None
    comes: datetime | None
    in_time: bool


class Do(NamedTuple):
    """The one thing that adds most for a job: about which parts, the odds it adds there, the jobs it adds that day."""

    job: Job
    action: Action
    parts: tuple[Part, ...]
    odds: float
    gain: float
    words: str


class LoadOut(NamedTuple):
    """The load-out of one van for one day; `expected` jobs finished first time with the load list aboard, and as the
    van stands; None where nothing is known of some job. What is `expired` counts for none of it; `expiring` soon is.
    `aboard` is what the van carries once the load list is aboard."""

    date: date
    van: str
    day_odds: float | None
    expected: float | None
    expected_now: float | None
    jobs: tuple[JobOutlook, ...]
    do: tuple[Do, ...]
    load: tuple[Load, ...]
    left: tuple[Left, ...]
    buy: tuple[Buy, ...]
    cautions: tuple[str, ...]
    expired: tuple[Expiring, ...] = ()
    expiring: tuple[Expiring, ...] = ()
    aboard: Aboard | None = None
    elsewhere: tuple[Elsewhere, ...] = ()

"""For each job of a day the one action that adds most to its odds: load, buy, ask, or move. Pure.

    load    a part on the load list: the odds lost if it alone were left behind
    ask     the customer for the engine number: a part that would be missing is one of two that the job may take
    buy     what can come before the job: the odds gained if all that were there
    move    the job to when all that it may lack and that can be bought is there: the odds gained beyond buying

Of actions that add about the same the one that comes first above is given, being the least trouble. Called by
`routines.morning`, which puts it in words.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal, NamedTuple

from vanstock.kit.draws import DayDraws

Action = Literal["load", "ask", "buy", "move"]
_AS_GOOD = 0.02
"""Odds by which a more troublesome action must be better."""
LEAST_ADVISED = 0.02
"""Odds below which nothing is advised, and below which a part that may lack is not worth an action."""


class Advice(NamedTuple):
    """What adds most for the job at `place`: an action, the groups that it is about, most telling first, the odds that
    it adds for this job, and the jobs that it adds: over the day for what is loaded, else of this job."""

    place: int
    action: Action
    groups: tuple[str, ...]
    odds: float
    gain: float


class Supplies(NamedTuple):
    """Base units by group in the van as it stands and with the load list aboard; the place of the first job before
    which a group can be bought (absent: it cannot be bought; the number of jobs: not before the last one)."""

    now: Mapping[str, int]
    loaded: Mapping[str, int]
    comes: Mapping[str, int]


def advise(day: DayDraws, supplies: Supplies, splits: Sequence[Sequence[Collection[str]]]) -> list[Advice]:
    """At most one action for each job, those that add most over the day first.

    `splits` has for each job the sets of groups of which it takes one, not known which.
    """
    loading = {group: qty for group, qty in supplies.loaded.items() if qty > max(supplies.now.get(group, 0), 0)}
    left_behind = day.gains(supplies.now, loading)
    short = day.shortfalls(supplies.loaded)
    options = []
    for place in range(len(day.needs)):
        ranked = sorted(short[place].items(), key=lambda row: (-row[1][0], row[0]))
        missing = [group for group, (share, _) in ranked if share >= LEAST_ADVISED]
        mine = [*_loads(place, left_behind), *_cures(day, supplies, place, missing, splits[place])]
        options.append([option for option in mine if option.groups and option.odds >= LEAST_ADVISED])
    return sorted(_told_once(options), key=lambda advice: (-advice.gain, advice.place))


def _loads(place: int, left_behind: Mapping[str, Sequence[float]]) -> list[Advice]:
    """Each group on the load list, by what this job would lose without it."""
    return [Advice(place, "load", (group,), lost[place], sum(lost)) for group, lost in sorted(left_behind.items())]


def _cures(
    day: DayDraws, supplies: Supplies, place: int, missing: Sequence[str], splits: Sequence[Collection[str]]
) -> list[Advice]:
    """What asking, buying and moving would add to a job that may lack these groups."""
    never = len(day.needs) + 1
    in_time = tuple(group for group in missing if supplies.comes.get(group, never) <= place)
    in_the_end = tuple(group for group in missing if group in supplies.comes)
    at_once = _cured(day, supplies, place, in_time)
    found = [Advice(place, "buy", in_time, at_once, at_once)]
    for split in splits:
        unknown = tuple(group for group in missing if group in split)
        if len(unknown) < len(split):
            odds = _cured(day, supplies, place, unknown)
            found.append(Advice(place, "ask", unknown, odds, odds))
    if len(in_the_end) > len(in_time):
        odds = _cured(day, supplies, place, in_the_end) - at_once
        found.append(Advice(place, "move", in_the_end, odds, odds))
    return found


def _cured(day: DayDraws, supplies: Supplies, place: int, groups: Collection[str]) -> float:
    return day.cured(supplies.loaded, place, groups) if groups else 0.0


def _told_once(options: Sequence[Sequence[Advice]]) -> list[Advice]:
    """The plainest good action of each job; loading one part for several jobs is told with the job that needs it most,
    and the others get their next best."""
    waiting = [list(mine) for mine in options if mine]
    found: list[Advice] = []
    while waiting:
        best = [_plainest(mine) for mine in waiting]
        first = max(range(len(best)), key=lambda i: (best[i].odds, -best[i].place))
        found.append(best[first])
        del waiting[first]
        told = {one.groups for one in found if one.action == "load"}
        waiting = [[o for o in mine if o.action != "load" or o.groups not in told] for mine in waiting]
        waiting = [mine for mine in waiting if mine]
    return found


def _plainest(options: Sequence[Advice]) -> Advice:
    """The action that adds most, or the least troublesome of those that add about as much."""
    order = ("load", "ask", "buy", "move")
    most = max(option.odds for option in options)
    good = [option for option in options if option.odds >= most - _AS_GOOD]
    return min(good, key=lambda option: (order.index(option.action), -option.odds, option.groups))

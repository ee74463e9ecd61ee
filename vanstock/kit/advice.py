"""For each job of a day the one action that adds most to its odds: load, buy, ask, or move. Pure.

    load    a part on the load list: the odds lost if it alone were left behind
    ask     the customer for the engine number: a part that would be missing is one of two that the job may take
    buy     what can come before the job: the odds gained if all that were there
    move    the job to when what cannot come before it is there: the odds gained then

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
    it adds for this job, and the jobs that it adds over the day."""

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
    found = []
    for place in range(len(day.needs)):
        ranked = sorted(short[place].items(), key=lambda row: (-row[1][0], row[0]))
        missing = [group for group, (share, _) in ranked if share >= LEAST_ADVISED]
        options = [*_loads(place, left_behind), *_cures(day, supplies, place, missing, splits[place])]
        best = _plainest(options)
        if best:
            found.append(best)
    return sorted(_told_once(found), key=lambda advice: (-advice.gain, advice.place))


def _loads(place: int, left_behind: Mapping[str, Sequence[float]]) -> list[Advice]:
    """The group whose loading this job needs most."""
    group = max(left_behind, key=lambda g: (left_behind[g][place], g), default=None)
    if group is None:
        return []
    return [Advice(place, "load", (group,), left_behind[group][place], sum(left_behind[group]))]


def _cures(
    day: DayDraws, supplies: Supplies, place: int, missing: Sequence[str], splits: Sequence[Collection[str]]
) -> list[Advice]:
    """What asking, buying and moving would add to a job that may lack these groups."""
    in_time = [group for group in missing if supplies.comes.get(group, len(day.needs) + 1) <= place]
    in_the_end = [group for group in missing if group in supplies.comes]
    at_once = day.cured(supplies.loaded, place, in_time) if in_time else 0.0
    found = [Advice(place, "buy", tuple(in_time), at_once, at_once)]
    for split in splits:
        unknown = [group for group in missing if group in split]
        if unknown and len(unknown) < len(split):
            odds = day.cured(supplies.loaded, place, unknown)
            found.append(Advice(place, "ask", tuple(unknown), odds, odds))
    if len(in_the_end) > len(in_time):
        odds = day.cured(supplies.loaded, place, in_the_end) - at_once
        late = tuple(group for group in in_the_end if group not in in_time)
        found.append(Advice(place, "move", late, odds, odds))
    return found


def _plainest(options: Sequence[Advice]) -> Advice | None:
    """The action that adds most, or the least troublesome of those that add about as much."""
    most = max((option.odds for option in options), default=0.0)
    if most < LEAST_ADVISED:
        return None
    order = ("load", "ask", "buy", "move")
    good = [option for option in options if option.odds >= most - _AS_GOOD]
    return min(good, key=lambda option: (order.index(option.action), -option.odds))


def _told_once(found: Sequence[Advice]) -> list[Advice]:
    """Loading one part for several jobs is one action: the job that needs it most keeps it."""
    kept: dict[object, Advice] = {}
    for advice in found:
        key: object = advice.groups if advice.action == "load" else advice.place
        if key not in kept or kept[key].odds < advice.odds:
            kept[key] = advice
    return list(kept.values())

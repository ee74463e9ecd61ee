"""A picture of a replay: cash on the shelves week by week, a line for each way to set the levels.

Not the replay itself (see `routines.replay`): cash comes in the currency, completions between 0 and 1. Each line has a
dash and a letter of its own, found again in the table below, so that it can be read in black and white. Called by
`cli.replay`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from vanstock.exchange.picture import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PURPLE,
    VERMILION,
    around,
    caption,
    cash_ticks,
    cash_unit,
    fit,
    money_text,
    of_hundred,
    page,
    save,
    week_labels,
    without_edges,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TITLE = "Cash on the shelves, week by week"
_LOOKS: tuple[tuple[str, Any, float], ...] = (
    (BLUE, "-", 2.2),
    (VERMILION, (0, (5, 1.6)), 1.5),
    (INK, (0, (1.2, 1.2)), 1.7),
    (GREEN, (0, (6, 1.5, 1.2, 1.5)), 1.5),
    (PURPLE, (0, (2.6, 3.2)), 1.8),
)
_NAME_WIDTH, _SECOND, _THIRD = 0.42, 0.72, 0.98
"""Shares of the width: what a name may take, and where the table's figures end."""
_HALF_WEEK = 0.3
"""How far a single week is drawn to either side."""
_HIGH, _HIGHEST_START = 0.4, 0.6
"""When no line falls below so much of the highest cash, the upright axis starts above 0, but at no more than so much of
it: small changes are to look small."""
_ROW = 0.06
_LETTER, _BETWEEN = 0.955, 0.045
"""Where letters stand beside the lines' ends, as a share of the width; their least distance, of the height."""


class ReplayLine(NamedTuple):
    """One way to set the levels: its name, the share of jobs finished, average cash, and cash in each week."""

    policy: str
    completion: float
    average_cash: float
    cash: tuple[float, ...]


class ReplayPicture(NamedTuple):
    """What is drawn: the weeks' Mondays, and two to five lines over them."""

    currency: str
    mondays: tuple[date, ...]
    lines: tuple[ReplayLine, ...]


def draw(path: Path, picture: ReplayPicture) -> None:
    """Write the picture in place of an old one, or leave that as it was; the same values give the same SVG.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    save(path, lambda: figure_of(picture), _TITLE)


def figure_of(picture: ReplayPicture) -> Figure:
    """The picture, to be saved or looked at in the style of `picture.styled`."""
    figure = page(_TITLE)
    table = 0.035 + _ROW * len(picture.lines)
    low = table + 0.16
    axes = figure.add_axes((0.125, low, 0.785, 0.835 - low))
    caption(figure, _axes(axes, picture))
    _heads(figure, table, picture.currency)
    for index, line in enumerate(picture.lines):
        _line(axes, line.cash, index)
        _row(figure, table - _ROW * (index + 1), index, line)
    _letters(axes, picture.lines)
    return figure


def _axes(axes: Axes, picture: ReplayPicture) -> str:
    """Set both scales, and return what the upright one counts."""
    weeks = len(picture.mondays)
    cash = [cash for line in picture.lines for cash in line.cash]
    most = max(cash, default=0.0)
    lowest = min(cash, default=0.0)
    bottom = cash_ticks(axes.yaxis, min(lowest, _HIGHEST_START * most) if lowest > _HIGH * most else 0.0, most)
    beside = min(max(weeks - 1, 0) * 0.01 or _HALF_WEEK, _HALF_WEEK)
    axes.set_xlim(-beside, max(weeks - 1, 0) + beside)
    axes.set_ylim(bottom, bottom + (most - bottom or 1.0) * 1.05)
    week_labels(axes, picture.mondays)
    axes.tick_params(length=2.5, pad=2)
    axes.tick_params(axis="x", pad=4)
    axes.grid(axis="y", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    without_edges(axes, "top", "right")
    if not cash:
        axes.text(0.5, 0.5, "no weeks yet", transform=axes.transAxes, ha="center", va="center")
    divisor, unit = cash_unit(picture.currency, most)
    return f"{unit} (drawn from {bottom / divisor:,.6g} up)" if bottom else unit


def _line(axes: Axes, cash: Sequence[float], index: int) -> None:
    """A line over the weeks; a single week is drawn as a level one, so that its dash shows."""
    color, dash, width = _LOOKS[index]
    weeks, heights = ((-_HALF_WEEK, _HALF_WEEK), [*cash, *cash]) if len(cash) == 1 else (range(len(cash)), cash)
    axes.plot(weeks, heights, color=color, linestyle=dash, linewidth=width, clip_on=False)


def _row(figure: Figure, height: float, index: int, line: ReplayLine) -> None:
    """A line of the table: letter, dash, name, jobs of 100, average cash."""
    from matplotlib.lines import Line2D

    color, dash, width = _LOOKS[index]
    figure.text(0.02, height, _letter(index), va="center", weight="bold")
    figure.add_artist(Line2D((0.06, 0.17), (height, height), color=color, linestyle=dash, linewidth=width))
    fit(figure.text(0.19, height, " ".join(line.policy.split()), va="center", parse_math=False), _NAME_WIDTH)
    figure.text(_SECOND, height, of_hundred(line.completion), va="center", ha="right")
    figure.text(_THIRD, height, money_text(line.average_cash), va="center", ha="right")


def _heads(figure: Figure, height: float, currency: str) -> None:
    figure.text(_SECOND, height, "first visit, of 100", va="center", ha="right")
    figure.text(_THIRD, height, f"average {currency}", va="center", ha="right", parse_math=False)


def _letters(axes: Axes, lines: Sequence[ReplayLine]) -> None:
    """Each line's letter beside its end and tied to it, moved apart where letters would touch."""
    from matplotlib.lines import Line2D

    figure = around(axes)
    inches = axes.transData + figure.transFigure.inverted()
    ends = sorted(
        (*reversed(inches.transform((len(line.cash) - 1 or _HALF_WEEK, line.cash[-1]))), index)
        for index, line in enumerate(lines)
        if line.cash
    )
    for height, (end, right, index) in zip(_apart([end for end, _, _ in ends]), ends, strict=True):
        figure.text(_LETTER, height, _letter(index), va="center", ha="left", weight="bold")
        tie = (right + 0.005, _LETTER - 0.008), (end, height)
        figure.add_artist(Line2D(*tie, color=_LOOKS[index][0], linewidth=0.7))


def _apart(heights: Sequence[float]) -> list[float]:
    """Rising heights moved as little as keeps them apart, groups about their middle."""
    groups: list[list[float]] = []
    for height in heights:
        groups.append([height])
        while len(groups) > 1 and _low(groups[-1]) - _high(groups[-2]) < _BETWEEN:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_low(group) + _BETWEEN * step for group in groups for step in range(len(group))]


def _low(group: list[float]) -> float:
    return sum(group) / len(group) - _BETWEEN * (len(group) - 1) / 2


def _high(group: list[float]) -> float:
    return _low(group) + _BETWEEN * (len(group) - 1)


def _letter(index: int) -> str:
    return chr(ord("A") + index)

"""A picture of one part: need by week, the smoothed level, what may be needed next, and min and max.

Drawn to be read on a phone (see `picture`), every mark with words or a shape of its own beside its colour. Within a
page, which has part and description above it, those are left out and the meanings of the marks stand in one column.
Values come in the part's unit; nothing here knows how they were found. Called by `routines.pictures`.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from vanstock.exchange.picture import (
    BLUE,
    GREY,
    INK,
    LETTERS,
    ORANGE,
    PAGE_WIDTH,
    PALE,
    SIZE,
    TITLE_LETTERS,
    around,
    cut,
    empty,
    save,
    week_labels,
    without_edges,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WEEKS_SHOWN = 52
_BAR, _LEVEL, _BOX = GREY, BLUE, ORANGE
_BETWEEN = 0.27
"""The least distance of two labels in inches."""


class _Layout(NamedTuple):
    """Where things stand: the picture's size in inches; all else as shares of it: both axes, the words beside the lines
    of min and max, the unit, the four meanings, and whether there is a title."""

    size: tuple[float, float]
    past: tuple[float, float, float, float]
    ahead: tuple[float, float, float, float]
    beside: float
    unit: float
    meanings: tuple[tuple[float, float], ...]
    titled: bool


_FILE = _Layout(
    SIZE, (0.115, 0.27, 0.495, 0.535), (0.635, 0.27, 0.165, 0.535), 0.81, 0.835,
    ((0.02, 0.105), (0.55, 0.105), (0.02, 0.035), (0.55, 0.035)), titled=True,
)  # fmt: skip
_PAGE = _Layout(
    (PAGE_WIDTH, 3.4), (0.14, 0.36, 0.43, 0.55), (0.6, 0.36, 0.19, 0.55), 0.8, 0.96,
    ((0.02, 0.205), (0.02, 0.15), (0.02, 0.095), (0.02, 0.04)), titled=False,
)  # fmt: skip


class Picture(NamedTuple):
    """What is drawn, in the part's unit: weekly needs and the level after each, from the oldest week on.

    `half` and `most` are what the need of the next `interval_days` working days stays within in 50 and 95 of 100
    cases; `whole` when the unit comes in whole ones only.
    """

    part: str
    description: str
    unit: str
    whole: bool
    mondays: tuple[date, ...]
    need: tuple[float, ...]
    level: tuple[float, ...]
    interval_days: int
    half: float
    most: float
    min: float
    max: float


def draw(path: Path, picture: Picture) -> None:
    """Write the picture in place of an old one, or leave that as it was; the same values give the same SVG.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    save(path, lambda: figure_of(picture), f"{picture.part} {picture.description}")


def figure_of(picture: Picture, *, in_page: bool = False) -> Figure:
    """The picture, to be saved or looked at in the style of `picture.styled`."""
    layout = _PAGE if in_page else _FILE
    figure = empty(layout.size)
    past = figure.add_axes(layout.past)
    ahead = figure.add_axes(layout.ahead, sharey=past)
    top = max(*picture.need[-_WEEKS_SHOWN:], picture.most, picture.max, 0.0 if not picture.whole else 1.0)
    past.set_ylim(0, (top or 1.0) * 1.06)
    _past(past, picture)
    _ahead(ahead, picture)
    _labels(ahead, picture, layout.beside)
    _words(figure, picture, layout)
    return figure


def _past(axes: Axes, picture: Picture) -> None:
    """Need by week as bars, the smoothed level as a line over them."""
    from matplotlib.ticker import MaxNLocator

    need, level = picture.need[-_WEEKS_SHOWN:], picture.level[-_WEEKS_SHOWN:]
    weeks = range(len(need))
    axes.bar(weeks, need, width=0.86, color=_BAR, linewidth=0)
    axes.plot(weeks, level, color="white", linewidth=3.2)
    axes.plot(weeks, level, color=_LEVEL, linewidth=1.6)
    axes.set_xlim(-0.7, max(len(need), 8) - 0.3)
    week_labels(axes, picture.mondays[-_WEEKS_SHOWN:])
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=picture.whole, min_n_ticks=1))
    axes.tick_params(length=2.5, pad=2)
    axes.tick_params(axis="x", pad=3)
    without_edges(axes, "top", "right")


def _ahead(axes: Axes, picture: Picture) -> None:
    """The need of the protection interval as a box, min and max as lines with their figures."""
    axes.set_xlim(0, 1)
    axes.bar([0.46], [picture.most], width=0.6, facecolor=PALE, edgecolor=_BOX, hatch="////", linewidth=1.2)
    axes.bar([0.46], [picture.half], width=0.6, facecolor=_BOX, edgecolor=INK, linewidth=0.8)
    axes.axhline(picture.min, color=INK, linestyle=(0, (3, 2)), linewidth=1.2)
    axes.axhline(picture.max, color=INK, linestyle="-", linewidth=1.2)
    axes.set_xticks([0.46], [f"next {picture.interval_days}\nworking days"])
    axes.tick_params(length=0, pad=4)
    axes.tick_params(axis="y", labelleft=False)
    without_edges(axes, "top", "right", "left")


def _labels(axes: Axes, picture: Picture, beside: float) -> None:
    """Min and max beside their lines, moved apart where they would touch."""
    height = axes.get_ylim()[1]
    low, high = (axes.get_position().y0 + axes.get_position().height * value / height
                 for value in (picture.min, picture.max))  # fmt: skip
    figure = around(axes)
    if picture.min == picture.max:
        lines = [
            (
                max(high, axes.get_position().y0 + _BETWEEN / 2 / figure.get_figheight()),
                f"min, max\n{_plain(picture.max)}",
            )
        ]
    else:
        shift = max(_BETWEEN / figure.get_figheight() - (high - low), 0.0) / 2
        lines = [(low - shift, f"min {_plain(picture.min)}"), (high + shift, f"max {_plain(picture.max)}")]
    for place, text in lines:
        figure.text(beside, place, text, va="center", ha="left", fontsize=LETTERS)


def _words(figure: Figure, picture: Picture, layout: _Layout) -> None:
    """The title, the axis's unit, and what the marks mean, each beside a sample of it."""
    if layout.titled:
        figure.text(0.02, 0.985, picture.part, fontsize=TITLE_LETTERS, weight="bold", va="top", parse_math=False)
        figure.text(0.02, 0.915, cut(picture.description), fontsize=LETTERS, va="top", parse_math=False)
    figure.text(0.02, layout.unit, picture.unit, fontsize=LETTERS, va="center")
    unit = "" if picture.unit == "pieces" else f" {picture.unit}"
    half, most = (f"{_plain(value)}{unit}" for value in (picture.half, picture.most))
    need, mean, likely, unlikely = layout.meanings
    _key(figure, need, "need of each week", facecolor=_BAR)
    _line_key(figure, mean, f"mean week {picture.level[-1]:.2f}{unit}" if picture.level else "no mean week yet")
    _key(figure, likely, f"up to {half} in 50 of 100 cases", facecolor=_BOX, edgecolor=INK)
    _key(figure, unlikely, f"up to {most} in 95", facecolor=PALE, edgecolor=_BOX, hatch="//////")


def _line_key(figure: Figure, at: tuple[float, float], text: str) -> None:
    """A sample of the level's line with its meaning; `at` its left end."""
    from matplotlib.lines import Line2D

    figure.add_artist(Line2D((at[0], at[0] + 0.05), (at[1], at[1]), color=_LEVEL, linewidth=2))
    figure.text(at[0] + 0.07, at[1], text, va="center")


def _key(figure: Figure, at: tuple[float, float], text: str, **looks: Any) -> None:
    """A sample of a mark with its meaning; `at` the middle of its left edge."""
    from matplotlib.patches import Rectangle

    tall = 0.128 / figure.get_figheight()
    corner = (at[0], at[1] - tall / 2)
    figure.add_artist(Rectangle(corner, 0.05, tall, transform=figure.transFigure, **looks))
    figure.text(at[0] + 0.07, at[1], text, va="center")


def _plain(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")

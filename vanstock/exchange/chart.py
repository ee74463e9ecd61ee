"""A picture of one part: need by week, the smoothed level, what may be needed next, and min and max.

Drawn to be read on a phone: 3.9 by 3.2 inches, no letter under 8 points, every mark with words or a shape of its
own beside its colour (the colours are Okabe and Ito's, which colour-blind people tell apart). Values come in the
part's unit; nothing here knows how they were found. Called by `cli.why`.
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
    PALE,
    SIZE,
    TITLE_LETTERS,
    cut,
    save,
    week_labels,
    without_edges,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WEEKS_SHOWN = 52
_BAR, _LEVEL, _BOX = GREY, BLUE, ORANGE
_BETWEEN = 0.085
"""The least distance of two labels, as a share of the picture's height."""


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
    save(path, lambda: _figure(picture), f"{picture.part} {picture.description}")


def _figure(picture: Picture) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE)
    past = figure.add_axes((0.115, 0.27, 0.495, 0.535))
    ahead = figure.add_axes((0.635, 0.27, 0.165, 0.535), sharey=past)
    top = max(*picture.need[-_WEEKS_SHOWN:], picture.most, picture.max, 0.0 if not picture.whole else 1.0)
    past.set_ylim(0, (top or 1.0) * 1.06)
    _past(past, picture)
    _ahead(ahead, picture)
    _words(figure, picture)
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
    _labels(axes, picture)


def _labels(axes: Axes, picture: Picture) -> None:
    """Min and max beside their lines, moved apart where they would touch."""
    height = axes.get_ylim()[1]
    low, high = (axes.get_position().y0 + axes.get_position().height * value / height
                 for value in (picture.min, picture.max))  # fmt: skip
    figure = axes.get_figure()
    assert figure is not None
    if picture.min == picture.max:
        lines = [(high, f"min, max\n{_plain(picture.max)}")]
    else:
        shift = max(_BETWEEN - (high - low), 0.0) / 2
        lines = [(low - shift, f"min {_plain(picture.min)}"), (high + shift, f"max {_plain(picture.max)}")]
    for place, text in lines:
        figure.text(0.81, place, text, va="center", ha="left", fontsize=LETTERS)


def _words(figure: Figure, picture: Picture) -> None:
    """The title, the axis's unit, and what the marks mean, each beside a sample of it."""
    from matplotlib.lines import Line2D

    figure.text(0.02, 0.985, picture.part, fontsize=TITLE_LETTERS, weight="bold", va="top", parse_math=False)
    figure.text(0.02, 0.915, cut(picture.description), fontsize=LETTERS, va="top", parse_math=False)
    figure.text(0.02, 0.835, picture.unit, fontsize=LETTERS, va="center")
    unit = "" if picture.unit == "pieces" else f" {picture.unit}"
    mean = f"mean week {picture.level[-1]:.2f}{unit}" if picture.level else "no mean week yet"
    _key(figure, 0.02, 0.105, "need of each week", facecolor=_BAR)
    figure.add_artist(Line2D((0.55, 0.6), (0.105, 0.105), color=_LEVEL, linewidth=2))
    figure.text(0.62, 0.105, mean, va="center")
    half, most = (f"{_plain(value)}{unit}" for value in (picture.half, picture.most))
    _key(figure, 0.02, 0.035, f"up to {half} in 50 of 100 cases", facecolor=_BOX, edgecolor=INK)
    _key(figure, 0.55, 0.035, f"up to {most} in 95", facecolor=PALE, edgecolor=_BOX, hatch="//////")


def _key(figure: Figure, x: float, y: float, text: str, **looks: Any) -> None:
    """A sample of a mark with its meaning; the height of the middle is y."""
    from matplotlib.patches import Rectangle

    figure.add_artist(Rectangle((x, y - 0.02), 0.05, 0.04, transform=figure.transFigure, **looks))
    figure.text(x + 0.07, y, text, va="center")


def _plain(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")

"""A picture of one part: need by week, the smoothed level, what may be needed next, and min and max.

Drawn to be read on a phone: 3.9 by 3.2 inches, no letter under 8 points, every mark with words or a shape of its
own beside its colour (the colours are Okabe and Ito's, which colour-blind people tell apart). Values come in the
part's unit; nothing here knows how they were found. Called by `cli.why`.
"""

from __future__ import annotations

import os
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from vanstock.errors import BadValue, VanstockError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ENDINGS = (".svg", ".png")
_SIZE = (3.9, 3.2)
_DOTS_PER_INCH = 200
_WEEKS_SHOWN = 52
_LONGEST = 54
_BAR, _LEVEL, _BOX, _PALE, _INK = "#9a9a9a", "#0072b2", "#e69f00", "#fdf3dc", "#202020"
_LETTERS = 8
_BETWEEN = 0.085
"""The least distance of two labels, as a share of the picture's height."""
_STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": _LETTERS, "svg.hashsalt": "vanstock", "svg.fonttype": "path",
    "axes.edgecolor": _INK, "axes.labelcolor": _INK, "text.color": _INK, "xtick.color": _INK, "ytick.color": _INK,
    "hatch.linewidth": 0.6, "hatch.color": _BOX,
}  # fmt: skip


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


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name says which kind of picture it is."""
    if path.suffix.lower() not in ENDINGS:
        raise BadValue(f"{path.name!r} ends in neither .svg nor .png: name the picture like chart.png")


def draw(path: Path, picture: Picture) -> None:
    """Write the picture in place of an old one, or leave that as it was; the same values give the same SVG.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    import warnings

    import matplotlib as mpl

    check_ending(path)
    kind = path.suffix.lower().lstrip(".")
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    metadata = {"Title": f"{picture.part} {picture.description}"} | ({"Date": None} if kind == "svg" else {})
    try:
        with mpl.rc_context(), warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Glyph", UserWarning)  # a letter the font lacks is drawn as a box
            mpl.rcdefaults()
            mpl.rcParams.update(_STYLE)
            _figure(picture).savefig(aside, format=kind, dpi=_DOTS_PER_INCH, metadata=metadata)
        aside.replace(path)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise VanstockError(f"cannot write {path}: {reason}") from error
    finally:
        with suppress(OSError, ValueError):
            aside.unlink(missing_ok=True)


def _figure(picture: Picture) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE)
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
    ticks = _ticks(len(need))
    mondays = picture.mondays[-_WEEKS_SHOWN:]
    axes.set_xticks(ticks, [f"{mondays[week].day} {mondays[week]:%b}\n{mondays[week]:%Y}" for week in ticks])
    for label in axes.get_xticklabels()[1:][-1:]:
        label.set_horizontalalignment("right")
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=picture.whole, min_n_ticks=1))
    axes.tick_params(length=2.5, pad=2)
    for edge in ("top", "right"):
        axes.spines[edge].set_visible(False)


def _ticks(weeks: int) -> list[int]:
    """First, middle and last week; fewer where their labels would touch."""
    if not weeks:
        return []
    return sorted({0, weeks // 2, weeks - 1} if weeks > 20 else {0, weeks - 1} if weeks > 8 else {0})


def _ahead(axes: Axes, picture: Picture) -> None:
    """The need of the protection interval as a box, min and max as lines with their figures."""
    axes.set_xlim(0, 1)
    axes.bar([0.46], [picture.most], width=0.6, facecolor=_PALE, edgecolor=_BOX, hatch="////", linewidth=1.2)
    axes.bar([0.46], [picture.half], width=0.6, facecolor=_BOX, edgecolor=_INK, linewidth=0.8)
    axes.axhline(picture.min, color=_INK, linestyle=(0, (3, 2)), linewidth=1.2)
    axes.axhline(picture.max, color=_INK, linestyle="-", linewidth=1.2)
    axes.set_xticks([0.46], [f"next {picture.interval_days}\nworking days"])
    axes.tick_params(length=0, pad=4)
    axes.tick_params(axis="y", labelleft=False)
    for edge in ("top", "right", "left"):
        axes.spines[edge].set_visible(False)
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
        figure.text(0.81, place, text, va="center", ha="left", fontsize=_LETTERS)


def _words(figure: Figure, picture: Picture) -> None:
    """The title, the axis's unit, and what the marks mean, each beside a sample of it."""
    from matplotlib.lines import Line2D

    figure.text(0.02, 0.985, picture.part, fontsize=10.5, weight="bold", va="top", parse_math=False)
    figure.text(0.02, 0.915, _cut(picture.description), fontsize=_LETTERS, va="top", parse_math=False)
    figure.text(0.02, 0.835, picture.unit, fontsize=_LETTERS, va="center")
    unit = "" if picture.unit == "pieces" else f" {picture.unit}"
    mean = f"mean week {picture.level[-1]:.2f}{unit}" if picture.level else "no mean week yet"
    _key(figure, 0.02, 0.105, "need of each week", facecolor=_BAR)
    figure.add_artist(Line2D((0.55, 0.6), (0.105, 0.105), color=_LEVEL, linewidth=2))
    figure.text(0.62, 0.105, mean, va="center")
    half, most = (f"{_plain(value)}{unit}" for value in (picture.half, picture.most))
    _key(figure, 0.02, 0.035, f"up to {half} in 50 of 100 cases", facecolor=_BOX, edgecolor=_INK)
    _key(figure, 0.55, 0.035, f"up to {most} in 95", facecolor=_PALE, edgecolor=_BOX, hatch="//////")


def _key(figure: Figure, x: float, y: float, text: str, **looks: Any) -> None:
    """A sample of a mark with its meaning; the height of the middle is y."""
    from matplotlib.patches import Rectangle

    figure.add_artist(Rectangle((x, y - 0.02), 0.05, 0.04, transform=figure.transFigure, **looks))
    figure.text(x + 0.07, y, text, va="center")


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3].rstrip()}..."


def _plain(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")

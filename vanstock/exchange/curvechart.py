"""A picture of cash against jobs finished on the first visit: the curve, the target, and where the firm stands.

Not the working out (see `routines.curve`): cash comes in the currency, shares between 0 and 1. Below the curve a short
table says what cash so many of 100 jobs take, so that nobody has to measure it off with a thumb; within a page, which
has a table of its own, title and table are left out. Called by `routines.pictures`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice, permutations
from math import floor, hypot
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, NamedTuple

from vanstock.exchange.picture import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PAGE_WIDTH,
    PURPLE,
    VERMILION,
    around,
    caption,
    cash_text,
    cash_ticks,
    cash_unit,
    empty,
    fit,
    money_text,
    of_hundred,
    page,
    save,
    without_edges,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox, BboxBase
    from numpy import float64
    from numpy.typing import NDArray

    Array = NDArray[float64]

_TITLE = "Cash against jobs finished"
_TOLD = (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)
"""Shares of jobs whose cash the table gives, where the curve reaches them."""
_TABLE_FROM, _TABLE_TO, _TABLE_JOBS, _TABLE_CASH = 0.355, 0.98, 0.115, 0.047
_DOT: Any = {"marker": "o", "markersize": 4.2, "markerfacecolor": "white", "markeredgecolor": BLUE}
_LOOKS = (("o", ORANGE, 6.5), ("s", VERMILION, 9.5), ("D", GREEN, 11.5), ("^", PURPLE, 19.0))
"""Shape, colour and size of each mark. Only the first is filled and each is larger than the one before, so that marks
of one place are still seen one around the other."""
_PAGE_SIZE = (PAGE_WIDTH, 2.9)
_IN_FILE, _IN_PAGE = ((0.09, 0.32, 0.87, 0.51), 0.9, 0.213), ((0.1, 0.17, 0.86, 0.7), 0.985, 0.035)
"""Where the graph is, and how high the words above and below it."""
_LABEL_LETTERS, _LABEL_WIDTH = 21, 1.44
_ORDERS = 24
"""In how many orders the labels are tried, each taking the best place that is left."""
_HEADROOM = 1.045
_CLOSE, _APART = 9.0, 3.0
"""Points: a label farther from its mark is tied to it by a line; the least distance of two labels."""
_TOUCH_COST, _LINE_COST, _OFF_LINE, _PULL, _TIE_SPOTS, _GRID = 1_000_000, 40, 5.0, 0.1, 12, 3.0
"""Pixels that a label goes aside rather than touch words or marks, or a line's spot; how far it keeps off lines; how
much it wants to be right above, below or beside its own spot; spots along the line that ties it to that; how
finely places are tried."""


class CurvePicture(NamedTuple):
    """What is drawn: corners of the curve (cash, share of jobs finished), both rising; the target's share; marks with
    what each is, its cash and its share."""

    currency: str
    points: tuple[tuple[float, float], ...]
    target: float | None
    marks: tuple[tuple[str, float, float], ...]


class _Label(NamedTuple):
    """Words, the spot they tell of, and the room they take, in pixels; `level` when any spot of that height will do."""

    text: Text
    spot: tuple[float, float]
    size: tuple[float, float]
    level: bool

    def tie(self, left: Array, low: Array) -> tuple[Array, Array]:
        """The spots along a line from what is told of to the words, were their lower left corner there."""
        import numpy as np

        (x, y), (width, height) = self.spot, self.size
        end_x, end_y = np.clip(x, left, left + width), np.clip(y, low, low + height)
        along = np.linspace(0, 1, _TIE_SPOTS)[:, None]
        start_x = end_x if self.level else x
        return start_x + (end_x - start_x) * along, y + (end_y - y) * along


def draw(path: Path, picture: CurvePicture) -> None:
    """Write the picture in place of an old one, or leave that as it was; the same values give the same SVG.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    save(path, lambda: figure_of(picture), _TITLE)


def figure_of(picture: CurvePicture, *, in_page: bool = False) -> Figure:
    """The picture, to be saved or looked at in the style of `picture.styled`; without title and table in a page."""
    figure = empty(_PAGE_SIZE) if in_page else page(_TITLE)
    frame, top, bottom = _IN_PAGE if in_page else _IN_FILE
    axes = figure.add_axes(frame)
    unit, start = _axes(axes, picture)
    caption(figure, f"of 100 jobs, finished on the first visit{f' (drawn from {start} up)' if start else ''}", top)
    below = f"{unit} on the shelves, every part at its max"
    figure.text(0.525, bottom, below, va="center", ha="center", parse_math=False)
    _curve(axes, picture.points)
    if not in_page:
        _table(figure, picture)
    _words(axes, picture)
    return figure


def _axes(axes: Axes, picture: CurvePicture) -> tuple[str, int]:
    """Set both scales; returns the unit of the cash, and where the upright axis starts."""
    most = max([cash for cash, _ in picture.points] + [cash for _, cash, _ in picture.marks], default=0.0)
    bottom = _bottom(picture)
    step = 20 if bottom < 50 else 10 if bottom < 80 else 5
    axes.set_xlim((most or 1.0) * (1 - _HEADROOM), (most or 1.0) * _HEADROOM)
    axes.set_ylim(bottom, bottom + (100 - bottom) * _HEADROOM)
    cash_ticks(axes.xaxis, 0, most)
    axes.set_yticks(range(bottom, 101, step))
    axes.tick_params(length=2.5, pad=2)
    axes.grid(color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    without_edges(axes, "top", "right")
    return cash_unit(picture.currency, most)[1], bottom


def _bottom(picture: CurvePicture) -> int:
    """Where the upright axis starts: 0, or higher when all that matters lies at the top."""
    shares = [share for _, _, share in picture.marks] + [share for _, share in picture.points[-1:]]
    lowest = min([*shares, *([] if picture.target is None else [picture.target])], default=0.0)
    return 0 if lowest < 0.6 else 10 * floor(10 * lowest - 2 + 1e-9)


def _curve(axes: Axes, points: tuple[tuple[float, float], ...]) -> None:
    """The line, with a dot at each corner that the table gives."""
    axes.plot([cash for cash, _ in points], [100 * share for _, share in points], color=BLUE, linewidth=2)
    told = [spot for share in _TOLD if (spot := _reaching(points, share))] + list(points if len(points) == 1 else ())
    low = axes.get_ylim()[0]
    shown = [(cash, 100 * share) for cash, share in told if 100 * share >= low]
    axes.plot([x for x, _ in shown], [y for _, y in shown], linestyle="", clip_on=False, **_DOT)


def _reaching(points: tuple[tuple[float, float], ...], share: float) -> tuple[float, float] | None:
    """The first corner with at least this share; None when the first has more or the last less."""
    if not points or points[0][1] > share:
        return None
    return next((point for point in points if point[1] >= share), None)


def _table(figure: Figure, picture: CurvePicture) -> None:
    """Below: jobs of 100, and the cash that they take."""
    from matplotlib.lines import Line2D

    told = [(share, spot[0]) for share in _TOLD if (spot := _reaching(picture.points, share))]
    divisor, unit = cash_unit(picture.currency, max((cash for _, cash in told), default=0.0))
    if not told:
        figure.text(0.02, 0.1, _nothing_told(picture.currency, picture.points), va="center")
        return
    figure.add_artist(Line2D((0.03,), (_TABLE_JOBS,), linestyle="", **_DOT))
    figure.text(0.055, _TABLE_JOBS, "to finish, of 100", va="center")
    figure.text(0.055, _TABLE_CASH, f"it takes {unit}", va="center", parse_math=False)
    wide = (_TABLE_TO - _TABLE_FROM) / len(_TOLD)
    for column, (share, cash) in enumerate(told, len(_TOLD) - len(told) + 1):
        place = _TABLE_FROM + column * wide
        figure.text(place, _TABLE_JOBS, f"{100 * share:g}", va="center", ha="right", weight="bold")
        figure.text(place, _TABLE_CASH, money_text(cash / divisor), va="center", ha="right")


def _nothing_told(currency: str, points: tuple[tuple[float, float], ...]) -> str:
    if not points:
        return "nothing is known of coming jobs yet"
    cash, share = points[-1]
    return f"at most {of_hundred(share)} of 100 are finished, with {cash_text(currency, cash)}"


def _words(axes: Axes, picture: CurvePicture) -> None:
    """The target's line and the marks, each with its words where nothing else is."""
    labels, shapes = [], []
    lines = 2 if len(picture.marks) <= 2 else 1  # more would not find room
    if picture.target is not None:
        axes.axhline(100 * picture.target, color=INK, linestyle=(0, (4, 3)), linewidth=0.9)
        labels.append(_label(axes, _target_words(picture), (0, 100 * picture.target), level=True))
    for index, (words, cash, share) in enumerate(picture.marks):
        shapes.append(_mark(axes, index, (cash, 100 * share)))
        told = f"{of_hundred(share)} of 100, {cash_text(picture.currency, cash)}"
        labels.append(_label(axes, told, (cash, 100 * share), name=_short(words, lines)))
    for label, box in zip(labels, _arranged(axes, labels, shapes, _line_pixels(axes, picture)), strict=True):
        _move(axes, label, box)


def _mark(axes: Axes, index: int, at: tuple[float, float]) -> Bbox:
    """Draw a mark; returns its place in pixels."""
    from matplotlib.transforms import Bbox

    shape, color, size = _LOOKS[index % len(_LOOKS)]
    filled = index % len(_LOOKS) == 0
    face, edge = (color, INK) if filled else ("none", color)
    axes.plot(*at, shape, markersize=size, markerfacecolor=face, markeredgecolor=edge, clip_on=False, zorder=5)
    x, y = axes.transData.transform(at)
    half = (size / 2 + 2.5) * around(axes).dpi / 72
    return Bbox.from_extents(x - half, y - half, x + half, y + half)


def _short(label: str, lines: int) -> str:
    """The label in so many lines at most, short enough to stand beside a mark."""
    parts = wrap(label, _LABEL_LETTERS) or [""]
    return "\n".join([*parts[: lines - 1], " ".join(parts[lines - 1 :])]).rstrip()


def _target_words(picture: CurvePicture) -> str:
    target = 0.0 if picture.target is None else picture.target
    words = f"target {of_hundred(target)}"
    if not picture.points:
        return words
    reached = next((cash for cash, share in picture.points if share >= target), None)
    return f"{words}: out of reach" if reached is None else f"{words}: from {cash_text(picture.currency, reached)}"


def _line_pixels(axes: Axes, picture: CurvePicture) -> Array:
    """Spots along the curve and the target's line, in pixels: words keep off them where they can."""
    import numpy as np

    right = axes.get_xlim()[1]
    cash = np.linspace(0, right, 120)
    spots = [np.empty((0, 2))]
    if picture.points:
        known = np.array(picture.points) * (1, 100)
        within = cash[(cash >= known[0, 0]) & (cash <= known[-1, 0])]
        spots += [np.column_stack([within, np.interp(within, *known.T)]), known]
    if picture.target is not None:
        spots.append(np.column_stack([cash, np.full(len(cash), 100 * picture.target)]))
    pixels: Array = axes.transData.transform(np.concatenate(spots))
    return pixels


def _label(axes: Axes, told: str, at: tuple[float, float], *, name: str = "", level: bool = False) -> _Label:
    """Words of a spot, not yet in their place; the name above them is cut where it is too long."""
    text = around(axes).text(0, 0, name, va="bottom", ha="left", linespacing=1.1, parse_math=False)
    fit(text, _LABEL_WIDTH / around(axes).get_figwidth())
    text.set_text(f"{text.get_text()}\n{told}".lstrip())
    extent = text.get_window_extent()
    x, y = axes.transData.transform(at)
    return _Label(text, (float(x), float(y)), (extent.width, extent.height), level)


def _arranged(axes: Axes, labels: Sequence[_Label], shapes: Sequence[Bbox], lines: Array) -> list[Bbox]:
    """Where each label goes: as near to its spot as it touches no other, no mark and, where that can be, no line."""
    import numpy as np

    found: list[tuple[float, dict[int, Bbox]]] = []
    for order in islice(permutations(range(len(labels))), _ORDERS):
        boxes: dict[int, Bbox] = {}
        total, avoided = 0.0, lines
        for index in order:
            words = [box.padded(_APART * around(axes).dpi / 72) for box in boxes.values()]
            cost, boxes[index] = _best(axes.bbox, labels[index], avoided, (shapes, words))
            tie = labels[index].tie(*(np.array([edge]) for edge in boxes[index].p0))
            avoided = np.concatenate([avoided, np.concatenate(tie, axis=1)])
            total += cost
        found.append((total, boxes))
    _, best = min(found, key=lambda one: one[0])
    return [best[index] for index in range(len(labels))]


def _best(
    frame: BboxBase, label: _Label, lines: Array, taken: tuple[Sequence[Bbox], Sequence[Bbox]]
) -> tuple[float, Bbox]:
    """The place within the frame where words disturb least, in pixels, and how much they do there.

    `taken` by marks and by other words; a tie may cross the former only.
    """
    import numpy as np
    from matplotlib.transforms import Bbox

    width, height = label.size
    left = np.arange(frame.x0 + 4, max(frame.x1 + 12 - width, frame.x0 + 5), _GRID)
    low = np.arange(frame.y0 + 3, frame.y1 + 6 - height, _GRID)
    x, y = (grid.ravel() for grid in np.meshgrid(left, low))
    tie_x, tie_y = label.tie(x, y)
    cost = np.hypot(tie_x[-1] - tie_x[0], tie_y[-1] - tie_y[0])
    cost += _PULL * np.hypot(x + (0 if label.level else width / 2) - label.spot[0], y + height / 2 - label.spot[1])
    for box in (*taken[0], *taken[1]):
        cost += _TOUCH_COST * ((x < box.x1) & (x + width > box.x0) & (y < box.y1) & (y + height > box.y0))
    for box in taken[1]:
        inside = (tie_x < box.x1) & (tie_x > box.x0) & (tie_y < box.y1) & (tie_y > box.y0)
        cost += _LINE_COST * inside.sum(axis=0)
    across, up = lines[:, 0] - x[:, None], lines[:, 1] - y[:, None]
    touched = (across > -_OFF_LINE) & (across < width + _OFF_LINE) & (up > -_OFF_LINE) & (up < height + _OFF_LINE)
    cost += _LINE_COST * touched.sum(axis=1)
    best = int(np.argmin(cost))
    return float(cost[best]), Bbox.from_bounds(float(x[best]), float(y[best]), width, height)


def _move(axes: Axes, label: _Label, box: Bbox) -> None:
    """Put the words in their place, with a thin line from their spot when that lies farther off."""
    import numpy as np

    figure = around(axes)
    extent = label.text.get_window_extent()
    label.text.set_position(tuple(figure.transFigure.inverted().transform((box.x0 - extent.x0, box.y0 - extent.y0))))
    tie_x, tie_y = (spots[[0, -1], 0] for spots in label.tie(*(np.array([edge]) for edge in box.p0)))
    if hypot(tie_x[1] - tie_x[0], tie_y[1] - tie_y[0]) > _CLOSE * around(axes).dpi / 72:
        tie = axes.transData.inverted().transform(np.column_stack([tie_x, tie_y]))
        axes.plot(tie[:, 0], tie[:, 1], color=INK, linewidth=0.6, clip_on=False, zorder=4)

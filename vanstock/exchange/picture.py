"""What every picture shares: its size, letters, colours and figures, and how it is put in place of an old file.

Drawn to be read on a phone: a file is 3.9 by 3.2 inches, a picture within a page narrower, so that its letters are
larger there; no letter is under 8 points. The colours are Okabe and Ito's, which
colour-blind people tell apart; no picture may tell things apart by colour alone. Knows nothing of what is drawn: that
is for `chart`, `curvechart` and `replaychart`, which call it; `onpage` makes it part of a page; the commands that draw
call `check_ending` early.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vanstock.errors import BadValue
from vanstock.exchange.inplace import in_place_of
from vanstock.quantity import in_hundred

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure
    from matplotlib.text import Text

ENDINGS = (".svg", ".png")
SIZE = (3.9, 3.2)
PAGE_WIDTH = 3.3
"""Inches of a picture within a page: across the 366 px that a phone's page has, 8 points are 12 px."""
LETTERS, TITLE_LETTERS = 8, 10.5
LONGEST = 54
"""Letters of the usual size that a line of the picture has room for."""
INK, GREY, FAINT, PALE = "#202020", "#9a9a9a", "#e4e4e4", "#fdf3dc"
BLUE, ORANGE, VERMILION, GREEN, PURPLE = "#0072b2", "#e69f00", "#d55e00", "#009e73", "#cc79a7"
_DOTS_PER_INCH = 200
_THOUSANDS_FROM, _MILLIONS_FROM, _PENCE_BELOW = 100_000, 100_000_000, 100
_STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": LETTERS, "svg.hashsalt": "vanstock", "svg.fonttype": "path",
    "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK, "xtick.color": INK, "ytick.color": INK,
    "hatch.linewidth": 0.6, "hatch.color": ORANGE,
}  # fmt: skip


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name says which kind of picture it is and its folder is there."""
    if not path.parent.is_dir():
        raise BadValue(f"cannot write {path}: there is no folder {path.parent}")
    if path.suffix.lower() not in ENDINGS:
        raise BadValue(f"{path.name!r} ends in neither .svg nor .png: name the picture like chart.png")


def save(path: Path, make: Callable[[], Figure], title: str) -> None:
    """Write what `make` draws in place of an old file, or leave that as it was; the same drawing gives the same SVG.

    Raises `BadValue` for another ending, `VanstockError` when the file cannot be written.
    """
    check_ending(path)
    kind = path.suffix.lower().lstrip(".")
    metadata = {"Title": title} | ({"Date": None} if kind == "svg" else {})
    with styled():
        figure = make()
        with in_place_of(path) as aside:
            figure.savefig(aside, format=kind, dpi=_DOTS_PER_INCH, metadata=metadata)


@contextmanager
def styled() -> Iterator[None]:
    """The style of all pictures, whatever the user's own settings are; those stand again afterwards."""
    import warnings

    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph", UserWarning)  # a letter the font lacks is drawn as a box
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def page(title: str) -> Figure:
    """An empty picture under its title."""
    figure = empty(SIZE)
    figure.text(0.02, 0.985, title, fontsize=TITLE_LETTERS, weight="bold", va="top")
    return figure


def empty(size: tuple[float, float]) -> Figure:
    """An empty picture of this width and height in inches, which can measure words."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size)
    FigureCanvasAgg(figure)
    return figure


def around(axes: Axes) -> Figure:
    """The picture that the axes stand in."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    return figure


def caption(figure: Figure, words: str, top: float = 0.9) -> None:
    """Say below the title what the upright axis counts."""
    figure.text(0.02, top, words, va="top", parse_math=False)


def cut(text: str, longest: int = LONGEST) -> str:
    """The text, or its beginning and three dots."""
    return text if len(text) <= longest else f"{text[: longest - 3].rstrip()}..."


def fit(text: Text, width: float) -> None:
    """Cut each line of a text until it takes no more than this share of its picture's width."""
    figure = text.get_figure(root=True)
    assert figure is not None
    lines = text.get_text().split("\n")
    for at, line in enumerate(lines):
        for longest in range(min(len(line), LONGEST), 3, -1):
            lines[at] = cut(line, longest)
            text.set_text(lines[at])
            if text.get_window_extent().width <= width * figure.bbox.width:
                break
    text.set_text("\n".join(lines))


def money_text(value: float) -> str:
    """Whole units of the currency; with their hundredths where they matter."""
    return f"{value:,.2f}".removesuffix(".00") if abs(value) < _PENCE_BELOW else f"{value:,.0f}"


def cash_text(currency: str, value: float) -> str:
    """Cash with its currency; in millions where it would be too long otherwise."""
    divisor, unit = cash_unit(currency, value) if value >= _MILLIONS_FROM else (1, currency)
    return f"{money_text(value / divisor)} {unit}"


def of_hundred(share: float) -> str:
    """Jobs of 100 as everywhere, but without a decimal that is nought, for which pictures have no room."""
    return in_hundred(share).removesuffix(".0")


def cash_unit(currency: str, most: float) -> tuple[float, str]:
    """What cash is divided by so that its figures stay short, and the unit's name then."""
    if most >= _MILLIONS_FROM:
        return 1_000_000, f"million {currency}"
    return (1_000, f"thousand {currency}") if most >= _THOUSANDS_FROM else (1, currency)


def cash_ticks(axis: Axis, lowest: float, most: float) -> float:
    """Mark four or five round amounts up to `most` in the unit that `cash_unit` gives; returns the one below them."""
    from matplotlib.ticker import MaxNLocator

    divisor, _ = cash_unit("", most)
    places = MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(lowest / divisor, most / divisor) if most > 0 else [0]
    shown = [float(place) for place in places if place * divisor <= most]
    axis.set_ticks([place * divisor for place in shown], [f"{place:,.6g}" for place in shown])
    return shown[0] * divisor


def week_labels(axes: Axes, mondays: Sequence[date]) -> None:
    """Date the first, middle and last week below the axes; fewer where the labels would touch."""
    weeks = len(mondays)
    shown = {0, weeks // 2, weeks - 1} if weeks > 20 else {0, weeks - 1} if weeks > 8 else {0} if weeks else set()
    ticks = sorted(shown)
    axes.set_xticks(ticks, [f"{mondays[week].day} {mondays[week]:%b}\n{mondays[week]:%Y}" for week in ticks])
    for label in axes.get_xticklabels()[1:][-1:]:
        label.set_horizontalalignment("right")


def without_edges(axes: Axes, *edges: str) -> None:
    """Leave out these edges of the frame ("top", "right", "left", "bottom")."""
    for edge in edges:
        axes.spines[edge].set_visible(False)

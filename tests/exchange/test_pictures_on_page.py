"""Pictures as parts of a page: no style of their own, legible in the light and in the dark, large enough on a phone.

Contrast is WCAG 2.2's, of relative luminances (1.4.3: 4.5 to 1 for words, 1.4.11: 3 to 1 for marks); the formula is
from memory.
"""

from __future__ import annotations

import re
from functools import partial
from itertools import combinations
from typing import Any
from xml.etree import ElementTree

import pytest

from tests.cli.test_forecast_screen import MONDAYS, PICTURE
from tests.exchange.test_curve_and_replay_charts import CURVE, CURVES
from vanstock.exchange import chart, curvechart
from vanstock.exchange.onpage import DARK, PAPER, as_svg
from vanstock.exchange.picture import FAINT, GREY, INK, LETTERS, PAGE_WIDTH, PALE, styled

DRAWN: dict[str, Any] = {
    "curve": partial(curvechart.figure_of, CURVE, in_page=True),
    "part": partial(chart.figure_of, PICTURE, in_page=True),
}
PARTS = {
    "as usual": PICTURE,
    "never needed": PICTURE._replace(mondays=(), need=(), level=(), half=0, most=0, min=0, max=0),
    "one week": PICTURE._replace(mondays=MONDAYS[:1], need=(0.0,), level=(0.0,)),
    "min and max are one": PICTURE._replace(min=4, max=4),
    "min and max close together": PICTURE._replace(min=3_999, max=4_000),
    "litres": PICTURE._replace(whole=False, unit="L", half=35.7, most=52.7, min=47.5, max=62.5),
    "thousands of metres": PICTURE._replace(whole=False, unit="m", half=35_700.5, most=52_700.5, min=4_750, max=62_500),
}


def svg(name: str, *, dark: bool = False) -> str:
    return as_svg(DRAWN[name], dark=dark)


def luminance(colour: str) -> float:
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("name", DRAWN)
def test_a_picture_on_a_page_has_no_style_nor_script_and_asks_for_nothing_outside(name: str) -> None:
    text = svg(name)
    root = ElementTree.fromstring(text)
    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert tags <= {"svg", "title", "defs", "g", "path", "use", "clipPath", "rect", "pattern"}
    assert not re.search(r"style|<!DOCTYPE|<\?xml|javascript|@import", text)
    asked = [value for one in root.iter() for key, value in one.attrib.items() if key.endswith("href")]
    assert asked
    assert all(address.startswith("#") for address in asked)
    assert set(re.findall(r"https?://\S+?(?=\")", text)) == {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


@pytest.mark.parametrize("name", DRAWN)
def test_the_dark_picture_is_the_light_one_in_other_colours(name: str) -> None:
    light, dark = svg(name), svg(name, dark=True)
    used = set(re.findall(r'(?<=")#[0-9a-f]{6}(?=")', light))
    assert {PAPER, INK} <= used <= set(DARK)
    turned = re.sub(r'(?<=")#[0-9a-f]{6}(?=")', lambda found: DARK[found[0]], light)
    assert turned == dark
    assert svg(name) == light


def test_words_and_marks_stand_out_from_the_paper_in_the_dark() -> None:
    paper = DARK[PAPER]
    assert contrast(DARK[INK], paper) >= 4.5
    marks = set(DARK) - {PAPER, INK, FAINT, PALE}  # lines of the grid; a ground under hatching that has an edge
    for colour in marks:
        assert contrast(DARK[colour], paper) >= 3, colour
    assert contrast(GREY, PAPER) > 2.5  # bars, in the light


def test_letters_are_12_px_on_a_phone_of_390() -> None:
    for name in DRAWN:
        width, unit = re.findall(r' width="([\d.]+)(\w+)"', svg(name))[0]
        assert unit == "pt"
        assert float(width) == pytest.approx(72 * PAGE_WIDTH)
        assert LETTERS / float(width) * 366 >= 12


def _beyond_the_axis(figure: Any) -> list[Any]:
    """The labels of ticks that matplotlib holds ready but does not draw."""
    axis = [one for axes in figure.axes for one in (axes.xaxis, axes.yaxis)]
    ticks = [(tick, sorted(one.get_view_interval())) for one in axis for tick in one.get_major_ticks()]
    return [tick.label1 for tick, (low, high) in ticks if not low <= tick.get_loc() <= high]


def _assert_legible(figure_of: Any, picture: Any) -> None:
    from matplotlib.text import Text

    with styled():
        figure = figure_of(picture, in_page=True)
        figure.canvas.draw()
        shown = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
        shown = [text for text in shown if text not in _beyond_the_axis(figure)]
        assert all(text.get_fontsize() >= LETTERS for text in shown)
        boxes = [(text.get_text(), text.get_window_extent()) for text in shown]
        for text, box in boxes:
            ends = (box.x0 >= 0, box.y0 >= 0, box.x1 <= figure.bbox.width, box.y1 <= figure.bbox.height)
            assert all(ends), f"{text!r} runs out"
        for (one, box), (other, another) in combinations(boxes, 2):
            assert not box.overlaps(another), f"{one!r} touches {other!r}"


@pytest.mark.parametrize("name", CURVES)
def test_no_words_of_the_curve_touch_or_run_out(name: str) -> None:
    _assert_legible(curvechart.figure_of, CURVES[name])


@pytest.mark.parametrize("name", PARTS)
def test_no_words_of_a_part_touch_or_run_out(name: str) -> None:
    _assert_legible(chart.figure_of, PARTS[name])

"""A picture as SVG for a page of ours: in light or in dark colours, and without any style sheet or style attribute.

So the strictest content policy shows it, by itself as well as within a page. The letters are shapes (see `picture`), so
that no phone needs a font; what a picture says in words stands beside it on the page. Knows nothing of what is drawn.
Called by `routines.pictures`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from io import StringIO
from types import MappingProxyType
from typing import TYPE_CHECKING

from vanstock.exchange.picture import BLUE, FAINT, GREEN, GREY, INK, ORANGE, PALE, PURPLE, VERMILION, styled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.figure import Figure

PAPER = "#ffffff"
DARK: Mapping[str, str] = MappingProxyType({
    PAPER: "#101317", INK: "#eef1f4", GREY: "#7a828a", FAINT: "#3c444d", PALE: "#3a2f14", BLUE: "#56b4e9",
    ORANGE: ORANGE, VERMILION: "#ff8040", GREEN: "#2fc79b", PURPLE: "#e59ac3",
})  # fmt: skip
"""What each colour becomes in the dark."""
_BEFORE = re.compile(r"^.*?(?=<svg )|<metadata>.*?</metadata>\s*|<style.*?</style>\s*", re.DOTALL)
_STYLE = re.compile(r'style="([^"]*)"')
_COLOUR = re.compile(r'(?<=")#[0-9a-f]{6}(?=")')
_EVERYWHERE = 'stroke-linejoin="round" stroke-linecap="butt"'
"""What the style sheet that is taken out says of all lines."""


def as_svg(make: Callable[[], Figure], *, dark: bool) -> str:
    """What `make` draws, as an SVG document; the same drawing gives the same text."""
    held = StringIO()
    with styled():
        make().savefig(held, format="svg", metadata={"Date": None})
    text = _BEFORE.sub("", held.getvalue()).replace("<svg ", f"<svg {_EVERYWHERE} ", 1)
    text = _STYLE.sub(lambda found: _as_attributes(found[1]), text)
    return _COLOUR.sub(lambda found: DARK.get(found[0], found[0]), text) if dark else text


def _as_attributes(style: str) -> str:
    """A style as attributes, which SVG has for each of them (https://www.w3.org/TR/SVG11/styling.html 6.1)."""
    pairs = (one.partition(":") for one in style.split(";") if one.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in pairs)

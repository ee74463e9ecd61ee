"""Pictures of the terminal for the documentation, as SVG: a command and its output, drawn by rich.

A picture is words in a fixed type and nothing else: nothing in it comes from outside, so it looks the same without a
network. Called by `console.py`, which runs the commands; the tests read the words back.
"""

from __future__ import annotations

import io
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from rich.console import Console
from rich.terminal_theme import TerminalTheme
from rich.text import Text

COLUMNS = 80
PICTURES = Path(__file__).parents[2] / "docs" / "pictures"
_PAPER, _INK = (250, 250, 246), (28, 28, 28)
_THEME = TerminalTheme(_PAPER, _INK, [_INK] * 8)
_FORMAT = """<svg role="img" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg">
<title>TITLE</title>
<style>
.{unique_id}-matrix {{ font-family: monospace; font-size: {char_height}px; line-height: {line_height}px }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal"><rect width="{terminal_width}" height="{terminal_height}" /></clipPath>
{lines}
</defs>
<rect width="100%" height="100%" rx="8" fill="PAPER" />
<g transform="translate({terminal_x}, {terminal_y})" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
""".replace("PAPER", "#{:02x}{:02x}{:02x}".format(*_PAPER))
"""rich's own frame, without a window around it and without the type that it would fetch."""


def picture(name: str) -> Path:
    """Where the picture of a screen lies."""
    return PICTURES / f"{name}.svg"


def shown(command: str, output: str) -> list[str]:
    """The lines that a picture holds."""
    return [f"$ {command}", *(line.rstrip() for line in output.rstrip().splitlines())]


def draw(command: str, output: str) -> str:
    """The picture of a command and its output; the same words make the same picture."""
    console = Console(record=True, width=COLUMNS, file=io.StringIO(), color_system=None)
    console.print(Text("\n".join(shown(command, output)), no_wrap=True, overflow="ignore"))
    svg = console.export_svg(theme=_THEME, code_format=_FORMAT.replace("TITLE", escape(command)), unique_id="screen")
    return "\n".join(line.rstrip() for line in svg.splitlines()) + "\n"


def words(svg: str) -> list[str]:
    """The lines that can be read in a picture, from top to bottom, without the empty ones."""
    rows: dict[float, str] = {}
    for text in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        rows[float(text.attrib["y"])] = rows.get(float(text.attrib["y"]), "") + (text.text or "")
    return [rows[y].replace("\xa0", " ").rstrip() for y in sorted(rows) if rows[y].strip()]

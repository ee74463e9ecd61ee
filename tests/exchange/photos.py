"""Photos of labels and barcodes, made up: codes drawn by zxing-cpp on a grey background, and what a hand and a bad
light do to a picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
import zxingcpp
from PIL import Image, ImageEnhance, ImageFilter

if TYPE_CHECKING:
    from PIL.Image import Image as Picture


def drawn(text: str, kind: str = "QRCode", *, gs1: bool = False, scale: int = 4) -> Picture:
    """A barcode of a kind, black on white."""
    made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat[kind], **({"gs1": True} if gs1 else {}))
    return Image.fromarray(np.asarray(made.to_image(scale=scale)))


def on_a_table(*codes: tuple[Picture, tuple[int, int]], size: tuple[int, int] = (900, 700)) -> Picture:
    """A picture of codes, each with the middle of its place, on a grey table."""
    table = Image.new("L", size, 150)
    for code, (across, down) in codes:
        table.paste(code, (across - code.width // 2, down - code.height // 2))
    return table


def as_file(picture: Picture, kind: str = "JPEG", **options: object) -> bytes:
    file = BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def photo(text: str, kind: str = "QRCode", *, gs1: bool = False) -> bytes:
    """A JPEG of one code in the middle."""
    return as_file(on_a_table((drawn(text, kind, gs1=gs1), (600, 350)), size=(1200, 700)))


def noisy(picture: Picture, sigma: float) -> Picture:
    grain = np.random.default_rng(7).normal(0, sigma, (picture.height, picture.width))
    return Image.fromarray(np.clip(np.asarray(picture.convert("L"), float) + grain, 0, 255).astype(np.uint8))


def turned(picture: Picture, degrees: float) -> Picture:
    return picture.rotate(degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=150)


def slanted(picture: Picture, share: float) -> Picture:
    """Seen from the side: the right edge is that much shorter than the left."""
    wide, high = picture.size
    inset = high * share / 2
    seen = [(0, 0), (wide, inset), (wide, high - inset), (0, high)]
    back = _coefficients(seen, picture.size)
    kind, smooth = Image.Transform.PERSPECTIVE, Image.Resampling.BICUBIC
    return picture.transform(picture.size, kind, back, resample=smooth, fillcolor=150)


def _coefficients(seen: Sequence[tuple[float, float]], size: tuple[int, int]) -> list[float]:
    """The projective map that takes what is seen back to the picture (Hartley and Zisserman, Multiple View Geometry,
    2nd ed. 2004, section 2.3: four corners give eight equations)."""
    wide, high = size
    flat = [(0, 0), (wide, 0), (wide, high), (0, high)]
    rows, right = [], []
    for (x, y), (u, v) in zip(seen, flat, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return [float(one) for one in np.linalg.solve(np.array(rows, float), np.array(right, float))]


def shaded(picture: Picture) -> Picture:
    """Dark on one side, as under a car with a lamp on the other."""
    light = np.linspace(0.08, 0.9, picture.width)
    return Image.fromarray((np.asarray(picture.convert("L"), float) * light).astype(np.uint8))


HANDS: dict[str, Callable[[Picture], Picture]] = {
    "turned by 20 degrees": lambda one: turned(one, 20),
    "upside down": lambda one: one.rotate(180),
    "out of focus": lambda one: one.filter(ImageFilter.GaussianBlur(2.5)),
    "from the side": lambda one: slanted(one, 0.45),
    "in low light": lambda one: noisy(ImageEnhance.Brightness(one).enhance(0.15), 3),
    "half in the dark": lambda one: noisy(shaded(one), 2),
    "from far away": lambda one: one.resize((one.width // 3, one.height // 3)),
    "all of it a little": lambda one: noisy(slanted(turned(one, -12), 0.2).filter(ImageFilter.GaussianBlur(1.2)), 6),
}
"""What a hand and the light do to a photo of a label that fills much of it."""

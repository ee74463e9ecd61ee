"""Labels and barcodes in a photo: pixels to what is written in them, held in memory and nowhere else.

A photo comes from a phone and may be anything, so its kind, its size in pixels and what it takes to unpack are looked
at before it is unpacked. Which part a code means is not known here (see `routines.scan`, which calls this). Needs
Pillow and zxing-cpp, the extra `scan`.
"""

from __future__ import annotations

from importlib.util import find_spec
from io import BytesIO
from math import hypot
from struct import error as struct_error
from typing import TYPE_CHECKING, NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.gtin import LENGTHS, gtin_of_elements, gtin_of_link, parse_gtin

if TYPE_CHECKING:
    from PIL.Image import Image
    from zxingcpp import Barcode

KINDS = ("JPEG", "PNG", "WEBP")
MOST_PIXELS = 64_000_000
_MOST_PIXELS_AT_ONCE = 25_000_000
"""What is not JPEG is unpacked whole, at four bytes a pixel."""
_MOST_SCANS = 200
"""A progressive JPEG is unpacked scan by scan; cameras write about ten."""
_FIRST_SIDE, _ENLARGED_SIDE, _LARGEST_SIDE = 1600, 2400, 3200
"""The longer side in pixels to look at: first small, which is quick. Then as it came, up to a limit that bounds the
time; a small photo is enlarged to twice its size, in which codes that are blurred, slanted or small are read more
often."""
_UNREADABLE = (
    OSError, SyntaxError, ValueError, TypeError, LookupError, ArithmeticError, AttributeError, EOFError, MemoryError,
    struct_error,
)  # fmt: skip
"""What unpacking a damaged or hostile picture raises."""
_NOT_WHOLE = "this picture cannot be opened: it is damaged or not whole, photograph the label again"


class Code(NamedTuple):
    """What one label or barcode says: its kind, its text, the GTIN in it (empty for none), and how far it lies from the
    middle of the photo, as a share of the way to a corner."""

    kind: str
    text: str
    gtin: str = ""
    off_middle: float = 0.0


def installed() -> bool:
    """Whether the extra `scan` is there."""
    return all(find_spec(name) is not None for name in ("zxingcpp", "PIL"))


def read_codes(photo: bytes) -> tuple[Code, ...]:
    """Every code that can be read in a photo (JPEG, PNG, WEBP), nearest the middle first; none is no mistake.

    Raises `BadValue` for what is no such photo, is damaged, or has too many pixels.
    """
    return _codes_in(_opened(photo, _FIRST_SIDE)) or _codes_in(_enlarged(_opened(photo, _LARGEST_SIDE)))


def _enlarged(picture: Image) -> Image:
    times = min(2.0, _ENLARGED_SIDE / max(picture.size))
    return picture.resize((round(picture.width * times), round(picture.height * times))) if times > 1 else picture


def _opened(photo: bytes, side: int) -> Image:
    """The photo upright in grey, its longer side at most `side`."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(BytesIO(photo), formats=KINDS) as image:
            _check_size(image, photo)
            image.draft("L", (side, side))
            grey = image.convert("L")
        grey.thumbnail((side, side))
        return ImageOps.exif_transpose(grey)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise BadValue(_too_large()) from None
    except UnidentifiedImageError:
        raise BadValue(f"this is no picture that can be read here: send a photo as {', '.join(KINDS)}") from None
    except _UNREADABLE:
        raise BadValue(_NOT_WHOLE) from None


def _too_large() -> str:
    return f"this picture has more than {MOST_PIXELS // 1_000_000} million pixels: take a smaller photo"


def _check_size(image: Image, photo: bytes) -> None:
    """Raise before anything is unpacked; raised as what Pillow raises for far more pixels."""
    from PIL.Image import DecompressionBombError

    jpeg = image.format in ("JPEG", "MPO")
    if image.width * image.height > (MOST_PIXELS if jpeg else _MOST_PIXELS_AT_ONCE):
        raise DecompressionBombError
    if jpeg and photo.count(b"\xff\xda") > _MOST_SCANS:
        raise ValueError


def _codes_in(picture: Image) -> tuple[Code, ...]:
    import zxingcpp

    kind = zxingcpp.BarcodeFormat
    wanted = (
        kind.EANUPC, kind.ITF, kind.Code128, kind.Code39, kind.DataBar, kind.QRCode, kind.DataMatrix, kind.Aztec,
        kind.PDF417,
    )  # fmt: skip
    formats, plain = zxingcpp.BarcodeFormats(wanted), zxingcpp.TextMode.Plain
    read = zxingcpp.read_barcodes(picture, formats=formats, text_mode=plain)
    found = (_code(one, picture) for one in read)
    return tuple(sorted((one for one in found if one.text), key=lambda one: one.off_middle))


def _code(barcode: Barcode, picture: Image) -> Code:
    corners = barcode.position
    points = (corners.top_left, corners.top_right, corners.bottom_left, corners.bottom_right)
    across, down = (sum(point.x for point in points) / 4, sum(point.y for point in points) / 4)
    away = hypot(across - picture.width / 2, down - picture.height / 2)
    off = away / hypot(picture.width / 2, picture.height / 2)
    return Code(str(barcode.format), barcode.text.strip(), _gtin(barcode), off)


def _gtin(barcode: Barcode) -> str:
    """The GTIN in a barcode: all of it for the kinds that retail and cases use, else where GS1's rules put it."""
    import zxingcpp

    if barcode.content_type == zxingcpp.ContentType.GS1:
        return gtin_of_elements(barcode.text)
    kind = zxingcpp.BarcodeFormat
    retail = barcode.format in (kind.EAN13, kind.EAN8, kind.UPCA, kind.UPCE)
    case = barcode.format in (kind.ITF, kind.ITF14) and len(barcode.text) == max(LENGTHS)
    if retail or case:
        try:
            return parse_gtin(barcode.text)
        except BadValue:
            return ""
    return gtin_of_link(barcode.text)

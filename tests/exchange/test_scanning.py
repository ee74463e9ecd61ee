"""Codes in photos: GS1's published examples are read, hostile files are told from photos, and nothing is unpacked that
is too large."""

from __future__ import annotations

import struct
import zlib
from contextlib import suppress
from io import BytesIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.exchange.photos import as_file, drawn, on_a_table, photo
from vanstock.errors import BadValue
from vanstock.exchange.scanning import MOST_PIXELS, read_codes


@pytest.mark.parametrize(
    ("kind", "content", "gs1", "gtin"),
    [
        # Wikipedia: "International Article Number", "EAN-8", "Universal Product Code" (UPC-A, and 042100005264 as
        # UPC-E), "ITF-14".
        ("EAN13", "4006381333931", False, "4006381333931"),
        ("EAN8", "96385074", False, "96385074"),
        ("UPCA", "036000291452", False, "0036000291452"),
        ("UPCE", "04252614", False, "0042100005264"),
        ("ITF14", "15400141288763", False, "15400141288763"),
        # ISO/IEC 24724, figures of GS1 DataBar Omnidirectional, Limited, Expanded (numbers from memory).
        ("DataBarOmni", "(01)20012345678909", False, "20012345678909"),
        ("DataBarLtd", "(01)15012345678907", False, "15012345678907"),
        ("DataBarExp", "(01)98898765432106(3202)012345(15)991231", False, "98898765432106"),
        # GS1 DataMatrix Guideline, section on element strings.
        ("DataMatrix", "(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917", True, "03453120000011"),
        ("Code128", "(01)03453120000011(17)120508(10)ABCD1234", True, "03453120000011"),
        # The GTIN may stand behind other elements (GS1 General Specifications, section 7.8).
        ("QRCode", "(10)ABCD1234(17)120508(01)03453120000011", True, "03453120000011"),
        # GS1 Digital Link standard: URI syntax, examples.
        ("QRCode", "https://id.gs1.org/01/09506000134376/10/ABC?17=271231", False, "09506000134376"),
        ("QRCode", "https://id.gs1.org/01/09506000134377", False, ""),
        ("QRCode", "9520000000356", False, ""),
        ("Code39", "GKT-1", False, ""),
    ],
)  # fmt: skip
def test_the_gtin_is_found_where_gs1_puts_it(kind: str, content: str, gs1: bool, gtin: str) -> None:
    (code,) = read_codes(photo(content, kind, gs1=gs1))
    assert code.gtin == gtin
    assert gs1 or kind.startswith(("DataBar", "UPC")) or code.text == content


def test_a_photo_without_a_code_has_none_and_several_come_nearest_the_middle_first() -> None:
    assert read_codes(as_file(Image.effect_noise((1700, 300), 60))) == ()
    table = on_a_table((drawn("A-1"), (150, 150)), (drawn("B-2"), (480, 350)), (drawn("C-3"), (800, 560)))
    codes = read_codes(as_file(table))
    assert codes[0].text == "B-2"
    assert sorted(code.text for code in codes) == ["A-1", "B-2", "C-3"]
    assert codes[0].off_middle < 0.1 < codes[1].off_middle


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_photo_is_read_whichever_way_the_phone_was_held(turn: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = turn
    table = on_a_table((drawn("A-1", "DataMatrix"), (600, 200)))
    assert [code.text for code in read_codes(as_file(table, exif=exif))] == ["A-1"]


def test_a_small_code_in_a_large_photo_is_read_at_the_second_look() -> None:
    small = drawn("GKT-1", scale=2)
    large = on_a_table((small, (2000, 1500)), size=(3100, 2300))
    assert [code.text for code in read_codes(as_file(large, quality=90))] == ["GKT-1"]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_three_kinds_of_photo_are_read(kind: str) -> None:
    colour = on_a_table((drawn("A-1"), (450, 350))).convert("RGB")
    assert [code.text for code in read_codes(as_file(colour, kind))] == ["A-1"]


def png(width: int, height: int, body: bytes = b"") -> bytes:
    """A PNG that says how large it is, with as little in it as can be."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(body, 9)) + chunk(b"IEND", b"")


def other(kind: str) -> bytes:
    file = BytesIO()
    Image.new("RGB", (40, 40)).save(file, kind)
    return file.getvalue()


JPEG = photo("GKT-1")
HOSTILE = {
    "nothing": (b"", "no picture"),
    "words": (b"not an image at all" * 50, "no picture"),
    "SVG": (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "no picture"),
    "PDF": (other("PDF"), "no picture"),
    "EPS": (other("EPS"), "no picture"),
    "TIFF": (other("TIFF"), "no picture"),
    "GIF": (other("GIF"), "no picture"),
    "a JPEG cut off": (JPEG[: len(JPEG) // 2], "not whole"),
    "a head alone": (JPEG[:4], "no picture"),
    "a PNG of 900 million pixels": (png(30_000, 30_000, bytes(2_000_000)), "64 million pixels"),
    "a PNG of 81 million pixels": (png(9_000, 9_000), "64 million pixels"),
    "a PNG of 36 million pixels": (png(6_000, 6_000), "64 million pixels"),
    "a PNG with nothing in it": (png(600, 600), "not whole"),
    "a PNG of no size": (png(0, 0), "no picture|not whole"),
    "a JPEG in a thousand scans": (JPEG[:-2] + b"\xff\xda\x00\x02" * 1000, "not whole"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_photo_is_refused_in_words(name: str) -> None:
    file, words = HOSTILE[name]
    with pytest.raises(BadValue, match=words):
        read_codes(file)


def test_what_hangs_on_behind_a_photo_is_not_looked_at() -> None:
    behind = b"<html><script>alert(1)</script>PK\x03\x04" + photo("BLT-1")
    assert [code.text for code in read_codes(JPEG + behind)] == ["GKT-1"]


def test_a_jpeg_with_more_pixels_than_a_phone_takes_is_refused_by_its_head() -> None:
    small = bytearray(as_file(Image.new("L", (64, 64))))
    at = small.index(b"\xff\xc0") + 5
    small[at : at + 4] = struct.pack(">HH", 8_001, MOST_PIXELS // 8_000)
    with pytest.raises(BadValue, match="64 million pixels"):
        read_codes(bytes(small))


SMALL = {
    kind: as_file(on_a_table((drawn("A-1", scale=3), (75, 75)), size=(150, 150)), kind)
    for kind in ("JPEG", "PNG", "WEBP")
}


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(sorted(SMALL)),
    st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), max_size=20),
    st.integers(0, 400),
)
def test_a_damaged_photo_is_read_or_refused_and_never_a_bug(
    kind: str, changes: list[tuple[int, int]], cut: int
) -> None:
    file = bytearray(SMALL[kind])
    for place, value in changes:
        file[place % len(file)] = value
    with suppress(BadValue):
        read_codes(bytes(file[: len(file) - cut]))

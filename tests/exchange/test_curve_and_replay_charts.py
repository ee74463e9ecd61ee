"""The pictures of cash against finished jobs and of a replay: legible, the same each time, unmoved by odd values.

Legible is measured on the drawn words' own boxes; the size of letters and the colours have no check outside the
project.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from itertools import combinations
from math import exp
from pathlib import Path
from typing import Any

import pytest

from vanstock.errors import BadValue, VanstockError
from vanstock.exchange import curvechart, replaychart
from vanstock.exchange.curvechart import CurvePicture
from vanstock.exchange.picture import LETTERS, SIZE, check_ending, of_hundred, save, styled
from vanstock.exchange.replaychart import ReplayLine, ReplayPicture
from vanstock.quantity import in_hundred

POINTS = tuple((80.0 * step, 1 - 0.94 * exp(-step / 15)) for step in range(101))
CURVE = CurvePicture("GBP", POINTS, 0.95, (("min and max today", 3_895.04, 0.9553), ("stock today", 2_148.95, 0.1889)))
SAME_SPOT = (("min and max today", 3_895.0, 0.95), ("stock today", 3_895.0, 0.95))
LONG = "min and max as they were set by hand in the spring, for the van and the lock-up together"
CURVES = {
    "as usual": CURVE,
    "no point": CURVE._replace(points=(), marks=()),
    "no point, but marks": CURVE._replace(points=()),
    "one point": CURVE._replace(points=((0.0, 1.0),), marks=(("min and max today", 0.0, 1.0),)),
    "never half of the jobs": CURVE._replace(points=((0.0, 0.0), (9.99, 0.4)), target=None, marks=()),
    "all jobs": CURVE._replace(target=1.0, marks=(("min and max today", 8_000.0, 1.0), ("stock today", 0.0, 1.0))),
    "huge": CURVE._replace(
        points=tuple((154.32 * cash, share) for cash, share in POINTS), marks=(("stock today", 1_234_567.89, 0.71),)
    ),
    "beyond all reason": CURVE._replace(points=((0.0, 0.2), (9_876_543_210.0, 1.0)), marks=()),
    "marks of one spot": CURVE._replace(marks=SAME_SPOT),
    "four marks, long labels": CURVE._replace(
        marks=(*((LONG, cash, share) for _, cash, share in SAME_SPOT), ("W" * 200, 200.0, 0.9), ("", 7_900.0, 1.0))
    ),
    "strange letters": CURVE._replace(marks=(("$\\frac{1}{0$ <b>& \u4e2d", 3_000.0, 0.9),)),
}
MONDAYS = tuple(date(2026, 3, 2) + timedelta(days=7 * week) for week in range(52))
LINES = tuple(
    ReplayLine(policy, share, cash, tuple(cash + 40 * (week * (number + 3) % 11) for week in range(52)))
    for number, (policy, share, cash) in enumerate(
        [("whole job", 0.945, 3_465.23), ("each part alike", 0.947, 4_489.82), ("rule of thumb", 0.881, 3_392.89)]
    )
)
REPLAY = ReplayPicture("GBP", MONDAYS, LINES)


def _lines(**changed: Any) -> tuple[ReplayLine, ...]:
    return tuple(line._replace(**changed) for line in (*LINES, *LINES)[:5])


REPLAYS = {
    "as usual": REPLAY,
    "no week": ReplayPicture("GBP", (), _lines(cash=())),
    "one week": ReplayPicture("GBP", MONDAYS[:1], _lines(cash=(3_000.0,))),
    "two weeks, two lines": ReplayPicture("GBP", MONDAYS[:2], _lines(cash=(3_000.0, 2_950.0))[:2]),
    "nothing on the shelves": REPLAY._replace(lines=_lines(cash=(0.0,) * 52, average_cash=0.0)),
    "huge": REPLAY._replace(lines=_lines(cash=(1_234_567.89,) * 52, average_cash=1_234_567.89, completion=1.0)),
    "long names": REPLAY._replace(lines=_lines(policy=f"{'W' * 60}\n{LONG}")),
    "strange letters": REPLAY._replace(lines=_lines(policy="$\\frac{1}{0$ <b>& \u4e2d")),
}


def _drawn(room: Any, picture: Any) -> dict[str, list[Any]]:
    """The boxes, in inches, of all words of a picture, looked at as a file would show them."""
    from matplotlib.text import Text

    found: dict[str, list[Any]] = {}
    with styled():
        figure = room.figure_of(picture)
        figure.canvas.draw()
        for text in figure.findobj(Text):
            if text.get_visible() and text.get_text().strip():
                assert text.get_fontsize() >= LETTERS, text.get_text()
                box = text.get_window_extent()
                found.setdefault(text.get_text(), []).append(box.transformed(figure.dpi_scale_trans.inverted()))
    return found


def _assert_legible(room: Any, picture: Any) -> str:
    words = _drawn(room, picture)
    boxes = [(text, box) for text, found in words.items() for box in found]
    for text, box in boxes:
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= SIZE[0] and box.y1 <= SIZE[1], f"{text!r} runs out"  # noqa: PT018
    for (one, box), (other, another) in combinations(boxes, 2):
        assert not box.overlaps(another), f"{one!r} touches {other!r}"
    return "\n".join(words)


@pytest.mark.parametrize("name", CURVES)
def test_no_words_of_the_curve_touch_or_run_out(name: str) -> None:
    _assert_legible(curvechart, CURVES[name])


@pytest.mark.parametrize("name", REPLAYS)
def test_no_words_of_the_replay_touch_or_run_out(name: str) -> None:
    _assert_legible(replaychart, REPLAYS[name])


def test_the_curve_says_what_cash_jobs_take_and_where_the_firm_stands() -> None:
    said = _assert_legible(curvechart, CURVE)
    first = next(cash for cash, share in POINTS if share >= 0.95)
    for words in (
        "of 100 jobs, finished on the first visit", "GBP on the shelves", f"target 95: from {first:,.0f} GBP",
        "min and max today\n95.5 of 100, 3,895 GBP", "stock today\n18.9 of 100, 2,149 GBP",
    ):  # fmt: skip
        assert words in said
    for share in (50, 70, 80, 90, 95, 99):
        takes = next(cash for cash, reached in POINTS if reached >= share / 100)
        assert {f"{share}", f"{takes:,.0f}"} <= set(said.split("\n"))


def test_an_axis_that_starts_above_nothing_says_so() -> None:
    assert "drawn from" not in _assert_legible(curvechart, CURVE)
    assert "(drawn from 70 up)" in _assert_legible(curvechart, CURVES["marks of one spot"])
    assert "GBP (drawn from 2,500 up)" in _assert_legible(replaychart, REPLAY)
    low = LINES[0]._replace(cash=(100.0,) * 52)
    assert "drawn from" not in _assert_legible(replaychart, REPLAY._replace(lines=(low, LINES[1])))


def test_what_the_curve_does_not_reach_is_said() -> None:
    assert "nothing is known of coming jobs yet" in _assert_legible(curvechart, CURVES["no point"])
    low = CURVES["never half of the jobs"]
    assert "at most 40 of 100 are finished, with 9.99 GBP" in _assert_legible(curvechart, low)
    assert "target 95: out of reach" in _assert_legible(curvechart, low._replace(target=0.95))


def test_a_share_just_short_of_all_is_not_said_to_be_all() -> None:
    """In pictures and in words alike."""
    shares = (0, 0.945, 0.9994, 0.9998, 1)
    assert [of_hundred(share) for share in shares] == ["0", "94.5", "99.9", ">99.9", "100"]
    assert [in_hundred(share) for share in shares] == ["0.0", "94.5", "99.9", ">99.9", "100.0"]


def test_the_replay_names_each_line_with_its_jobs_and_cash_and_a_letter_of_its_own() -> None:
    said = _drawn(replaychart, REPLAY)
    for letter, line in zip("ABC", LINES, strict=True):
        (row,), share, cash = said[line.policy], said[f"{100 * line.completion:.1f}"], said[f"{line.average_cash:,.0f}"]
        assert row.y0 == pytest.approx(share[0].y0, abs=0.05) == pytest.approx(cash[0].y0, abs=0.05)
        assert len(said[letter]) == 2  # in the table and at the line's end
    assert {"first visit, of 100", "average GBP", "2 Mar\n2026", "22 Feb\n2027"} <= set(said)


def test_no_two_lines_and_no_two_marks_differ_by_colour_alone() -> None:
    from matplotlib.lines import Line2D

    with styled():
        lines = replaychart.figure_of(REPLAY._replace(lines=_lines())).axes[0].get_lines()
        marks = curvechart.figure_of(CURVES["four marks, long labels"]).axes[0].get_lines()
    assert len({str(line._dash_pattern) for line in lines}) == len(lines) == 5  # type: ignore[attr-defined]
    shapes = [mark.get_marker() for mark in marks if isinstance(mark, Line2D) and len(mark.get_xydata()) == 1]  # type: ignore[arg-type]
    assert len(set(shapes)) == len(shapes) == 4


@pytest.mark.parametrize(("room", "picture"), [(curvechart, CURVE), (replaychart, REPLAY)])
def test_the_same_values_give_the_same_svg_and_a_png_has_a_phones_width(
    tmp_path: Path, room: Any, picture: Any
) -> None:
    for name in ("a.svg", "b.svg", "c.PNG"):
        room.draw(tmp_path / name, picture)
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert text == (tmp_path / "b.svg").read_text(encoding="utf-8")
    assert "dc:date" not in text
    assert re.search(r"<dc:title>Cash [a-z, ]+</dc:title>", text)
    assert (tmp_path / "c.PNG").read_bytes()[:24].endswith((780).to_bytes(4) + (640).to_bytes(4))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.svg", "b.svg", "c.PNG"]


@pytest.mark.parametrize(("room", "picture"), [(curvechart, CURVE), (replaychart, REPLAY)])
def test_another_ending_is_refused(tmp_path: Path, room: Any, picture: Any) -> None:
    for name in ("a.pdf", "a", ".svg"):
        with pytest.raises(BadValue, match=r"ends in neither \.svg nor \.png"):
            room.draw(tmp_path / name, picture)
    assert not list(tmp_path.iterdir())
    check_ending(tmp_path / "a.Svg")


def test_an_old_file_stays_when_writing_fails(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    class Full(Figure):
        def savefig(self, fname: Any, **how: Any) -> None:
            Path(fname).write_text("half")
            raise OSError(28, "No space left on device")

    (tmp_path / "a.svg").write_text("old")
    with pytest.raises(VanstockError, match=r"cannot write .*a\.svg: No space left on device"):
        save(tmp_path / "a.svg", Full, "full")
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("a.svg", "old")]
    with pytest.raises(VanstockError, match="cannot write"):
        replaychart.draw(tmp_path / "no" / "a.png", REPLAY)

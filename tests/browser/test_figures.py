"""The phone reckons amounts as the laptop does: whole base units, the same words, the same refusals, never a float.

The check from outside the script is `vanstock.quantity`, and plain whole numbers of Python.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import NAME, Laptop, pair
from vanstock.errors import BadValue
from vanstock.quantity import UNITS, format_qty, parse_qty, with_point

AMOUNT = """async (cases) => {
  const { amount } = await import("/static/amounts.js");
  return cases.map((one) => amount(...one)).map((found) => (Number.isNaN(found) ? null : found));
}"""
PLAIN = """async (cases) => {
  const { plain } = await import("/static/amounts.js");
  return cases.map(([base, unit]) => plain(base, unit));
}"""
FIGURE = """async (cases) => {
  const { figureWith } = await import("/static/figures.js");
  return cases.map(([spot, acts]) => figureWith(spot, acts));
}"""
PLAIN_TEXTS = (
    "0.1", "0.2", "0.3", "2,5", "2,50 L", "1,000", "0,125kg", "1,2,3", "1.000,5", "", ".", ",", "-0", "+2", "--1",
    "1e3", "1000000000", "1000000001", "1000000000.5", "0.0001", "2.5000", ".5", "5.", "1pack", "0.5 packs", "3 PAIRS",
    "600mm", "60 CM", "\u0661", "2\u00a0L", "12,5", "10,125", "00,125", "9" * 40, "0." + "0" * 40,
)  # fmt: skip


@pytest.fixture(scope="module")
def random_texts() -> list[tuple[str, str, int]]:
    dice = random.Random(20270301)
    words = ["", *sorted({word for unit in UNITS.values() for word, _ in unit.spellings}), "pack", "Packs", "LTR", "x"]
    found = [(text, code, 5000) for text in PLAIN_TEXTS for code in UNITS]
    for _ in range(6000):
        whole, part = (
            dice.choice(["", "0", str(dice.randrange(3000))]),
            f"{dice.randrange(10_000)}"[: dice.randrange(5)],
        )
        text = dice.choice(["", "", "", "-", "+"]) + whole + dice.choice([".", ".", ",", ""]) + part
        found.append(
            (text + dice.choice(["", " "]) + dice.choice(words), dice.choice(list(UNITS)), dice.choice([1, 7, 5000]))
        )
    return found


@pytest.fixture(scope="module")
def stock(chromium: Browser, served: Laptop) -> Iterator[Page]:
    """One page for all of these: nothing is recorded on it."""
    context = chromium.new_context(base_url=f"http://{NAME}:{served.port}")
    pair(context, served, "phone for figures")
    page = context.new_page()
    page.goto("/stock?q=gasket")
    yield page
    context.close()


def read(text: str, code: str, pack: int) -> int | None:
    try:
        return parse_qty(with_point(text), code, pack_size=pack)
    except BadValue:
        return None


def test_what_is_typed_is_read_as_the_laptop_reads_it(stock: Page, random_texts: list[tuple[str, str, int]]) -> None:
    wanted = [read(*case) for case in random_texts]
    assert sum(one is None for one in wanted) > 500
    assert len({one for one in wanted if one is not None}) > 500
    found: list[int | None] = stock.evaluate(AMOUNT, random_texts)
    wrong = [row for row in zip(random_texts, found, wanted, strict=True) if row[1] != row[2]]
    assert wrong == []


def test_figures_are_shown_in_the_laptops_plain_digits(stock: Page) -> None:
    dice = random.Random(20270302)
    cases = [(dice.randrange(-(10**9), 10**9), code) for code in UNITS for _ in range(300)]
    cases += [(small, code) for code in UNITS for small in (*range(-12, 13), 100, 1000, 1010)]
    assert stock.evaluate(PLAIN, cases) == [format_qty(*case) for case in cases]


def test_thousands_of_additions_never_lose_a_millilitre(stock: Page) -> None:
    dice = random.Random(20270303)
    cases, wanted = [], []
    for _ in range(150):
        now, acts = dice.randrange(-5000, 100_000), []
        spot = {"qtyPart": "P", "qty": format_qty(now, "LTR"), "unit": "LTR", "pack": "5000", "place": "van"}
        for number in range(30):
            ml = dice.choice([100, 200, 1, 333, dice.randrange(1, 9000)])
            act, change = dice.choice([(_fit, -ml), (_load, ml), (_count, None)]) if number % 9 == 8 else (_fit, -ml)
            now = ml if change is None else now + change
            acts.append({"id": str(number), "fields": act(_typed(ml, dice))})
        cases.append((spot, acts))
        wanted.append(format_qty(now, "LTR"))
    assert stock.evaluate(FIGURE, cases) == wanted
    tenths = [{"id": qty, "fields": _load(qty)} for qty in ("0.1", "0.2")]
    spot = {"qtyPart": "P", "qty": "0", "unit": "LTR", "pack": "5000", "place": "van"}
    assert stock.evaluate(FIGURE, [(spot, tenths)]) == ["0.3"]  # floats would make 0.30000000000000004


def _typed(ml: int, dice: random.Random) -> str:
    text = format_qty(ml, "LTR")
    comma = text.replace(".", ",")
    two_ways = len(comma.partition(",")[2]) == 3 and comma[0] != "0"
    return dice.choice([text, f"{ml}ml", f"{text} L", text if two_ways else comma])


def _fit(qty: str) -> list[list[str]]:
    return [["act", "fit"], ["job", "J"], ["part", "P"], ["qty", qty], ["place", "van"]]


def _load(qty: str) -> list[list[str]]:
    return [["act", "load"], ["part", "P"], ["qty", qty], ["place", "store"], ["van", "van"]]


def _count(qty: str) -> list[list[str]]:
    return [["act", "count"], ["part", "P"], ["qty", qty], ["place", "van"]]


def act(name: str, **fields: Any) -> dict[str, Any]:
    more: dict[str, Any] = {key: fields.pop(key) for key in ("takes", "moves", "of") if key in fields}
    return {"id": name, "fields": [[key, str(value)] for key, value in fields.items()], **more}


@pytest.mark.parametrize(
    ("acts", "van", "job"),
    [
        ([act("a", act="fit", job="J", part="P", qty="2", place="van")], "8", "3"),
        ([act("a", act="fit", job="J", part="P", qty="2"), act("b", act="undo", entry="a")], "10", "1"),
        ([act("a", act="fit", job="J", part="P", qty="2"), act("b", act="minus", job="J", part="P")], "10", "1"),
        ([act("a", act="fit", job="J", part="P", qty="2"), act("b", act="minus", job="J", part="P"),
          act("c", act="undo", entry="b")], "8", "3"),
        ([act("a", act="minus", job="J", part="P", takes=[["e1", [["P", "1", "van", "on J"]]]])], "11", "0"),
        ([act("a", act="minus", job="J", part="P", takes=[["e1", [["P", "1", "van", "on J"]]]]),
          act("b", act="undo", entry="a")], "10", "1"),
        ([act("a", act="undo", entry="e2", takes=[["e2", [["P", "4", "store", "van"]]]]),
          act("b", act="undo", entry="e2", takes=[["e2", [["P", "4", "store", "van"]]]])], "6", "1"),
        ([act("a", act="undo", entry="x", of=act("x", act="load", part="P", qty="3", van="van"))], "7", "1"),
        ([act("a", act="count", part="P", qty="4", place="van"), act("b", act="load", part="P", qty="1", van="van"),
          act("c", act="undo", entry="a")], "11", "1"),
        ([act("a", act="fit", job="J", part="V", moves=[["V", "1", "van", "on J"], ["P", "2", "van", "on J"]]),
          act("b", act="minus", job="J", part="P")], "10", "1"),
        ([act("a", **{"act": "receive", "order": "O", "came:P": "5", "damaged:P": "2", "place": "van"})], "13", "1"),
        ([act("a", act="fit", job="J", part="P", qty="two")], "10", "1"),
        ([act("a", act="fit", job="J", part="P", qty="-2")], "10", "1"),
    ],
    ids=["fit", "fit, undo", "fit, minus", "fit, minus, undo", "minus of an entry", "and undo of that", "undo twice",
         "undo of one just recorded", "a count undone", "riders", "goods in", "no number", "below zero"],
)  # fmt: skip
def test_what_waits_is_counted_and_taken_back(stock: Page, acts: list[dict[str, Any]], van: str, job: str) -> None:
    spot = {"qtyPart": "P", "unit": "C62", "pack": "10"}
    spots = [{**spot, "qty": "10", "place": "van"}, {**spot, "qty": "1", "place": "on J"}]
    assert stock.evaluate(FIGURE, [(one, acts) for one in spots]) == [van, job]

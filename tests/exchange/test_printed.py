"""The printed load-out: everything on it, nothing run by it, boxes to tick, and how many sheets it takes.

What a page is, is checked against the standards named beside the checks; how it prints, by a browser where there is
one on the machine.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vanstock.errors import BadValue, VanstockError
from vanstock.exchange.printed import as_html, write_page
from vanstock.model import Job, Part
from vanstock.routines.cautions import DEFER
from vanstock.routines.loadout import Buy, Do, JobOutlook, Left, Load, LoadOut, Need, Short, Split
from vanstock.routines.morning import load_out
from vanstock.routines.printing import load_out_page, print_load_out
from vanstock.routines.session import Session
from vanstock.routines.setup import import_folder

ROOT = Path(__file__).parents[2]
MORNING = datetime(2027, 3, 1, 6, 40)
DAY = MORNING.date()
OLD, NEW = Part("VAP-1", "exhaust vaporiser", supplier="NEXT"), Part("VAP-2", "exhaust vaporiser", supplier="NEXT")
FLUID = Part("FLU-1", "filter cleaning fluid", "cleaning fluid", "LTR", supplier="WEEK")
HOSE = Part("HOS-1", "pressure hose 8 mm", "pressure hose", "MTR")
HOSTILE = (
    """<script src="//example.invalid/x.js">alert('x')</script><img src=x onerror=alert(1)> & </style> {{ 7 * 7 }}"""
)


class Markup(HTMLParser):
    """What a browser would make of a page: its elements, their attributes, and the text outside the style sheet."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.pieces: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.elements and self.elements[-1][0] != "style":
            self.pieces.append(data)

    @property
    def tags(self) -> Counter[str]:
        return Counter(tag for tag, _ in self.elements)

    @property
    def text(self) -> str:
        return "".join(self.pieces)

    def of_class(self, name: str) -> int:
        return sum(name in (attributes.get("class") or "").split() for _, attributes in self.elements)


def outlook(job: Job, odds: float | None, **known: object) -> JobOutlook:
    plain = JobOutlook(job, odds, None if odds is None else odds / 2, 0.0, (), (), (), 62)
    return plain._replace(**known)  # type: ignore[arg-type]


def whole_day() -> LoadOut:
    """A day with something of everything."""
    first = Job("J1", DAY, "08:00", "AAA", "heat-source", ("P20CB", "P246B"))
    second, third = Job("J2", DAY, "10:30", "BBB", "clean"), Job("J3", DAY, "", "CCC", "clean")
    jobs = (
        outlook(
            first, 0.43,
            needs=(Need("vaporiser", OLD, 0.5, 1, 0, 62), Need("vaporiser", NEW, 0.4, 1, 0, 62)),
            short=(Short(NEW, 1, 0.4), Short(FLUID, 100, 0.01)), splits=(Split("vaporiser", ((OLD, 0.5), (NEW, 0.5))),),
        ),
        outlook(second, 0.97, needs=(Need("cleaning fluid", FLUID, 0.92, 2500, 500, 4),), jobs_like_it=4),
        outlook(third, None, jobs_like_it=0),
    )  # fmt: skip
    eight = datetime(2027, 3, 8)
    return LoadOut(
        DAY, "van", 0.29, 2.1, 1.2, jobs,
        do=(Do(second, "load", (FLUID,), 0.6, 0.6, "load 5 L x FLU-1 filter cleaning fluid from store"),
            Do(third, "buy", (NEW,), 0.4, 0.4, "buy 1 x VAP-2")),
        load=(Load(FLUID, 5000, "store", 500, "10:30 may take 2.5 L; van has 0.5 L"),
              Load(OLD, 1, "yard", 0, "08:00 may take 1; van has 0"), Load(HOSE, 600, "store", 0, "J3 may take 0.6 m")),
        left=(Left(HOSE, 400, "yard", 0.31),),
        buy=(Buy(HOSE, 5000, 0.2, None, None, True),
             Buy(NEW, 1, 0.4, datetime(2027, 3, 1, 12), eight, False),
             Buy(FLUID, 5000, 0.1, datetime(2027, 3, 1, 23, 59), MORNING, True)),
        cautions=("Let it cool.", "Gloves on.", DEFER),
    )  # fmt: skip


def empty_day() -> LoadOut:
    return LoadOut(DAY, "van", None, None, None, (), (), (), (), (), ())


def marked(found: LoadOut) -> Markup:
    return Markup(as_html(load_out_page(found, MORNING)))


def test_every_job_part_place_and_caution_of_the_day_is_on_the_page() -> None:
    found = whole_day()
    text = " ".join(marked(found).text.split())
    assert "Monday 1 March 2027 van: 3 jobs" in text
    for job in found.jobs:
        assert f"{job.job.job} {' '.join((job.job.family, job.job.job_type, *job.job.codes))}" in text
    for part in (line.part for lines in (found.load, found.left, found.buy) for line in lines):
        assert f"{part.part}{part.description}" in text
    assert "LOAD from store" in text
    assert "LOAD from yard" in text
    assert [text.index(do.words) for do in found.do] == sorted(text.index(do.words) for do in found.do)
    assert all(caution in text for caution in found.cautions)
    assert text.endswith("written by vanstock on Monday 1 March 2027, 06:40, from the ledger as it stood then")


def test_the_jobs_have_their_odds_in_figures_and_words_and_what_is_not_known_of_them() -> None:
    text = marked(whole_day()).text
    for words in ("43%IN DANGER", "97%should finish", "?odds not known",
                  "lacks 1 x VAP-2 exhaust vaporiser (costs 40%)",
                  "check the engine number before leaving: vaporiser VAP-1 50%, VAP-2 50%",
                  "rests on only 4 jobs like it", "vaporiser VAP-1 1 (50%)"):  # fmt: skip
        assert words in text
    assert "lacks 0.1 L" not in text


def test_what_is_expected_is_said_with_the_load_aboard_and_without_and_never_for_jobs_not_known() -> None:
    found = whole_day()
    known = "2.1 expected to finish first time with all of LOAD aboard; 1.2 as the van stands; chance that all do 29%"
    assert known in marked(found).text
    assert "2.1 expected to finish first time; chance that all do 29%" in marked(found._replace(load=())).text
    unknown = marked(found._replace(expected=None, expected_now=None, day_odds=None)).text
    assert "how many finish first time is not known" in unknown


def test_there_is_one_box_to_tick_for_each_line_to_load_and_to_buy() -> None:
    found = whole_day()
    page = marked(found)
    assert page.of_class("box") == len(found.load) + len(found.buy)
    assert marked(found._replace(load=(), buy=())).of_class("box") == 0


def test_what_to_buy_says_from_whom_by_when_and_when_it_comes() -> None:
    text = marked(whole_day()).text
    assert "VAP-2exhaust vaporiserNEXTMon 1 Mar 12:00Mon 8 Mar" in text
    assert "FLU-1filter cleaning fluidWEEKMon 1 Marat once" in text
    assert "HOS-1pressure hose 8 mmno suppliernot knownnot known" in text
    assert text.index("in time for a job of this day") < text.index("HOS-1pressure hose 8 mmno supplier")
    assert text.index("not in time as booked") < text.index("VAP-2exhaust vaporiserNEXT")


def test_nothing_is_said_of_a_list_that_is_empty_but_that_there_is_nothing_to_load() -> None:
    found = whole_day()._replace(do=(), load=(), buy=(), cautions=())
    text = marked(found._replace(left=())).text
    assert "nothing: what the store can give is aboard" in text
    assert not any(heading in text for heading in ("STAYS BEHIND", "BUY", "DO ", "TAKE CARE"))
    assert "what the store can give is aboard" not in marked(found).text


def test_the_empty_day_says_so_and_no_more() -> None:
    page = marked(empty_day())
    assert "van: nothing booked" in page.text
    assert page.tags["table"] == page.tags["h2"] == page.of_class("box") == 0
    assert "expected" not in page.text


def test_a_van_over_its_payload_is_told_even_where_no_other_caution_applies() -> None:
    assert "unload before you drive" in marked(empty_day()._replace(cautions=("unload before you drive",))).text


def test_the_page_needs_nothing_beside_it_and_runs_nothing() -> None:
    html = as_html(load_out_page(whole_day(), MORNING))
    page = Markup(html)
    assert "//" not in html.removeprefix("<!DOCTYPE html>")
    assert not re.search(r"url\(|@import", html)
    runs_or_fetches = {"script", "link", "img", "iframe", "object", "embed", "base", "form", "svg", "video", "audio"}
    assert not runs_or_fetches & set(page.tags)
    attributes = {name for _, given in page.elements for name in given}
    assert not {name for name in attributes if name.startswith("on") or name in ("src", "href", "style")}


def test_tables_and_headings_say_what_they_are_as_the_standards_ask() -> None:
    """W3C, WCAG 2.2: 3.1.1 (language of the page), 2.4.2 (title); technique H63 (scope of table headers); WHATWG, HTML,
    the th element: the values of scope (all from memory)."""
    page = marked(whole_day())
    assert ("html", {"lang": "en"}) in page.elements
    assert page.tags["title"] == page.tags["h1"] == page.tags["header"] == page.tags["main"] == 1
    assert page.tags["h2"] == page.tags["table"] + 1  # the cautions are no table
    scopes = [attributes.get("scope") for tag, attributes in page.elements if tag == "th"]
    assert set(scopes) == {"col", "row"}
    assert scopes.count("row") + page.tags["thead"] == page.tags["tr"]


def test_hostile_words_are_shown_as_they_are_and_become_no_markup() -> None:
    found = whole_day()
    part = Part(HOSTILE, HOSTILE, HOSTILE, supplier=HOSTILE)
    job = Job(HOSTILE, DAY, "08:00", HOSTILE, HOSTILE, (HOSTILE,))
    hostile = found._replace(
        van=HOSTILE,
        jobs=(found.jobs[0]._replace(job=job, short=(Short(part, 1, 0.4),), splits=(Split(HOSTILE, ((part, 1.0),)),)),),
        do=(found.do[0]._replace(job=job._replace(time=""), words=HOSTILE),),
        load=(Load(part, 1, HOSTILE, 0, HOSTILE),),
        left=(Left(part, 1, HOSTILE, 0.1),),
        buy=(Buy(part, 1, 0.1, None, None, True),),
        cautions=(HOSTILE,),
    )
    html = as_html(load_out_page(hostile, MORNING))
    tags = Markup(html).tags
    assert tags["script"] == tags["img"] == 0
    assert tags["style"] == 1
    assert Markup(html).text.count(HOSTILE) >= 17


@settings(max_examples=40, deadline=None)
@given(st.text(st.characters(exclude_categories=["C"]), max_size=40))
def test_whatever_a_part_is_called_the_page_has_the_same_elements_and_shows_its_name(name: str) -> None:
    """OWASP, Cross Site Scripting Prevention: encode & < > " and ' in what goes between tags (from memory)."""
    found = empty_day()
    plain, other = (marked(found._replace(left=(Left(Part("P", what), 1, "store", 0.1),))) for what in ("x", name))
    assert other.elements == plain.elements
    assert f"P{name}store" in other.text


def test_the_file_is_replaced_whole_and_the_same_day_writes_the_same_bytes(session: Session, tmp_path: Path) -> None:
    path = tmp_path / "page" / "loadout.html"
    path.parent.mkdir()
    path.write_text("an old page, longer than the new one " * 10_000)
    at_six = session._replace(now=MORNING)
    print_load_out(at_six, whole_day(), path)
    first = path.read_bytes()
    assert first == as_html(load_out_page(whole_day(), MORNING)).encode()
    assert first.startswith(b"<!DOCTYPE html>\n")
    print_load_out(at_six, whole_day(), path)
    assert path.read_bytes() == first
    assert list(path.parent.iterdir()) == [path]


def test_a_target_that_cannot_be_written_is_told_plainly_and_leaves_nothing_behind(tmp_path: Path) -> None:
    page = load_out_page(whole_day(), MORNING)
    folder = tmp_path / "folder.html"
    folder.mkdir()
    for path in (tmp_path / "gone" / "a.html", folder, tmp_path / "a\0b.html", tmp_path / f"{'a' * 300}.html"):
        with pytest.raises(VanstockError, match=r"\Acannot write .*: .+\Z"):
            write_page(path, page)
    assert [*tmp_path.iterdir(), *folder.iterdir()] == [folder]


def test_a_page_that_cannot_be_written_as_text_leaves_the_old_one_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a.html"
    path.write_text("the old page")
    with pytest.raises(VanstockError, match="cannot be written as text"):
        write_page(path, load_out_page(whole_day()._replace(van="\ud800"), MORNING))
    assert path.read_text() == "the old page"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("name", ["firm.db", "stock.csv", "loadout", "loadout.html.db", ".html"])
def test_only_a_file_named_as_a_page_is_written_over(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("kept")
    with pytest.raises(BadValue, match=r"does not end in \.html: name the page like loadout\.html"):
        write_page(tmp_path / name, load_out_page(empty_day(), MORNING))
    assert (tmp_path / name).read_text() == "kept"


def sheets(found: LoadOut, folder: Path) -> tuple[int, set[tuple[float, float]]]:
    """How many sheets a browser prints a load-out on, and their sizes in points."""
    page, paper = folder / "page.html", folder / "page.pdf"
    write_page(page, load_out_page(found, MORNING))
    quiet = ("--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync")
    words = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", *quiet, f"--user-data-dir={folder / 'profile'}"]
    printing = [*words, "--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri()]
    subprocess.run(printing, check=True, capture_output=True, timeout=120)
    pdf = paper.read_bytes()
    sizes = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf)
    return len(re.findall(rb"/Type\s*/Page\b", pdf)), {(float(wide), float(high)) for wide, high in sizes}


@pytest.fixture
def demo_day(new_session: Callable[..., Session]) -> LoadOut:
    """The demo firm's Monday: four jobs, with something of nearly everything."""
    session = new_session("demo", datetime(2027, 2, 28, 18), filled=False)
    import_folder(session, ROOT / "demo" / "firm")
    return load_out(session._replace(now=MORNING), date(2027, 3, 1))


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="there is no chromium on the PATH to print with")
def test_a_day_of_four_jobs_prints_on_one_a4_sheet_and_one_of_ten_on_two(demo_day: LoadOut, tmp_path: Path) -> None:
    """ISO 216: A4 is 210 by 297 mm; ISO 32000-1, 8.3.2.3: a point is a 72nd of an inch (from memory)."""
    assert len(demo_day.jobs) == 4
    count, sizes = sheets(demo_day, tmp_path)
    assert count == 1
    (size,) = sizes
    assert size == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=1)
    ten = demo_day._replace(jobs=(demo_day.jobs * 3)[:10], do=(demo_day.do * 3)[:10], buy=demo_day.buy * 2)
    assert sheets(ten, tmp_path)[0] <= 2

"""The screens of levels, the curve and the replay, on the demo firm and on ledgers that know little."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import NOON, fill_small_firm
from tests.routines.weeks import fill_weeks
from vanstock.ledger import catalogue
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Family, Fits, Part, Supplier, Usual
from vanstock.routines.session import Session

Run = Callable[..., Any]
SUNDAY, FRIDAY = "2027-02-28T19:00", "2027-03-05T14:00"
PNG = b"\x89PNG\r\n\x1a\n"
"""The eight bytes that begin every PNG (W3C, Portable Network Graphics, 3rd ed., sec. 5.2)."""


def told(vanstock: Run, line: str, now: str = SUNDAY) -> Any:
    said = vanstock(f"{line} --json", now=now)
    assert (said.code, said.err) == (0, "")
    return json.loads(said.out)


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A ledger of a small firm with twenty weeks of two jobs behind Monday 1 March 2027."""
    path = tmp_path / "small.db"
    ledger = open_ledger(path, create=True)
    session = Session(ledger, NOON, path, created=True)
    fill_small_firm(session)
    fill_weeks(session, 20)
    ledger.close()
    return path


def test_minmax_sums_up_what_the_shelves_cost_and_what_is_to_be_expected(vanstock: Run) -> None:
    page, found = vanstock("minmax", now=SUNDAY).out, told(vanstock, "minmax")
    assert f"with every part at its max: {found['cash']} on the shelves" in page
    assert f"to expect: {100 * found['completion']:.1f} of 100 jobs finished on the first visit" in page
    assert found["target"] == 0.95
    assert found["completion"] == pytest.approx(0.95, abs=0.015)
    assert "cannot be reached" not in page
    assert "CHANGED" not in page
    untaken = sum(row["basis"] == "no coming job is likely to take it" for row in found["parts"])
    dear = sum(row["max"] == "0" for row in found["parts"]) - untaken
    assert dear
    assert untaken
    assert f"{dear} parts would finish too few jobs for what they cost" in page
    assert f"{untaken} parts that no coming job is likely to take: max 0\n" in page


def test_a_part_left_out_for_its_shelf_life_or_by_a_pin_is_not_said_to_finish_too_few_jobs(
    vanstock: Run, small: Path
) -> None:
    before = vanstock("minmax", ledger=small).out
    assert "2 parts that no coming job is likely to take: max 0\n" in before  # gloves and hose
    assert "would" not in before.split("on the shelves")[1]
    with closing(open_ledger(small)) as ledger, writing(ledger):
        fluid = catalogue.read_catalogue(ledger).parts["FLU-1"]
        catalogue.save_rows(ledger, Part, [fluid._replace(shelf_life_days=7)])
    vanstock("minmax SNS-1 --min 0 --max 0", ledger=small)
    page = vanstock("minmax", ledger=small).out
    assert "1 part would expire before a pack is used: max 0, bought for booked jobs\n" in page
    assert "1 part pinned at max 0\n" in page


def test_no_more_is_promised_than_the_finished_jobs_that_are_known_allow(vanstock: Run, small: Path) -> None:
    """Laplace's rule of succession: 40 finished jobs and a usual table worth 20 leave 61 in 62."""
    page = vanstock("minmax --completion 0.9999", ledger=small).out
    assert "to expect: 98.4 of 100 jobs finished on the first visit\n" in page
    assert "98.4 of 100 is the most that can be promised on 40 finished jobs\n" in page
    assert "cannot be reached" not in page
    assert json.loads(vanstock("curve --json", ledger=small).out)["points"][-1]["completion"] == 0.9839
    assert "98.4" in re.findall(r"^ *[\d.]+ +([\d.]+)  #", vanstock("curve", ledger=small).out, re.MULTILINE)[-1]
    assert "promised" not in vanstock("minmax --completion 0.9", ledger=small).out


@pytest.mark.parametrize("line", ["minmax --completion 0.99999", "curve --more 9"])
def test_nothing_is_promised_to_all_of_a_hundred_jobs(vanstock: Run, line: str) -> None:
    page = vanstock(line, now=SUNDAY).out
    assert "99.9" in page
    assert "100.0" not in page


@pytest.mark.parametrize("option", ["--completion", "--cash", "--min 1 --max", "--max 2 --min"])
def test_an_option_without_a_figure_is_refused(vanstock: Run, option: str) -> None:
    said = vanstock(f"minmax FL-UNI-800-A {option} ''", now=SUNDAY)
    assert (said.code, said.out, len(said.err.splitlines())) == (1, "", 1)
    assert "'' is not a number" in said.err


def test_a_share_and_a_bound_on_cash_are_asked_for_by_options(vanstock: Run) -> None:
    share, cash, both = (told(vanstock, f"minmax {aim}") for aim in ("--completion 0.8", "--cash 1500", ""))
    assert (share["target"], cash["target"]) == (0.8, None)
    assert share["completion"] >= 0.8
    assert float(share["cash"]) < float(both["cash"])
    assert float(cash["cash"]) <= 1_500
    assert share["changed"] == cash["changed"] == []


def test_a_share_that_the_cash_cannot_reach_is_said(vanstock: Run) -> None:
    page = vanstock("minmax --completion 0.95 --cash 1000", now=SUNDAY).out
    said = re.sub(r"\s+", " ", page)
    assert "95 of 100 cannot be reached within the cash, the pins and the shelf lives given" in said
    assert float(re.findall(r"at its max: ([\d.]+) on", page)[0]) <= 1_000
    assert "cannot be reached" not in vanstock("minmax --completion 0.6 --cash 4000", now=SUNDAY).out


def test_a_target_that_a_pin_puts_out_of_reach_is_said(vanstock: Run) -> None:
    vanstock("minmax FL-UNI-800-A --min 0 --max 0", now=SUNDAY)
    assert "95 of 100 cannot be reached" in re.sub(r"\s+", " ", vanstock("minmax", now=SUNDAY).out)


def test_a_pin_too_low_does_not_make_every_other_part_dearer(vanstock: Run) -> None:
    before = float(told(vanstock, "minmax")["cash"])
    vanstock("minmax FL-UNI-800-A --min 10 --max 20", now=SUNDAY)
    assert float(told(vanstock, "minmax")["cash"]) < 1.2 * before  # 1.6 if the others made up for all of it


def test_pins_that_cost_more_than_the_cash_asked_for_are_said(vanstock: Run) -> None:
    vanstock("minmax DS-KRA-010-B --min 3 --max 9", now=SUNDAY)
    said = vanstock("minmax --cash 500", now=SUNDAY)
    assert "500.00" in said.out + said.err


def test_levels_change_after_a_list_when_much_is_needed_and_minmax_says_so(vanstock: Run) -> None:
    vanstock("reorder", now=SUNDAY)
    assert "CHANGED" not in vanstock("minmax", now=SUNDAY).out
    for number in range(4):
        made = vanstock(f"booking add KRA clean --date 2027-03-01 --time 1{number}:00 --job X{number}", now=SUNDAY)
        assert made.code == 0
        done = vanstock(f"finish X{number} --used PS-KRA-400-A=3 --used FL-UNI-800-A=2", now="2027-03-01T15:00")
        assert done.code == 0, done.err
    page, found = vanstock("minmax", now=FRIDAY).out, told(vanstock, "minmax PS-KRA-400-A", FRIDAY)
    assert "CHANGED since the last list that had another" in page
    assert re.search(r"PS-KRA-400-B +2027-02-28 ", page)
    (row,), (change,) = found["parts"], found["changed"]
    assert row["part"] == change["part"] == "PS-KRA-400-B"  # the number it is stocked under
    assert change["why"].startswith("12 needed since, 0.4 expected; ")
    assert int(row["max"]) > int(change["max_before"])
    why = vanstock("minmax PS-KRA-400-A --why", now=FRIDAY).out
    assert f"last list   min {change['min_before']}, max {change['max_before']} on 2027-02-28" in why
    past = told(vanstock, "minmax PS-KRA-400-A --past", FRIDAY)["past"]
    assert [row["max"] for row in past] == [change["max_before"]]


def test_why_says_what_the_level_protects_and_how_the_part_is_bought(vanstock: Run) -> None:
    page, found = vanstock("minmax GK-KRA-011-A --why", now=SUNDAY).out, told(vanstock, "minmax GK-KRA-011-A --why")
    labels = [line[:12].strip() for line in page.splitlines()[2:] if line[:12].strip()]
    assert labels == ["protects", "1 less", "1 more", "worth it?", "must last", "bought"]
    assert page.startswith(f"GK-KRA-011-A  vaporiser gasket: min {found['min']}, max {found['max']}\n\n")
    assert f"one job more in 100 costs {found['one_job_in_100_costs']}" in re.sub(r"\s+", " ", page)
    for name in ("taken_by", "one_less_loses", "one_more_finishes"):
        assert sum(job["share"] for job in found[name]["jobs"]) == pytest.approx(found[name]["share"], abs=1e-4)
    assert {job["family"] for job in found["taken_by"]["jobs"]} <= {"KRA", "KRB"}
    assert (found["review_weekday"], found["comes_after_working_days"]) == ("friday", 1)


def test_why_says_how_often_a_supplier_is_ordered_from(vanstock: Run, small: Path) -> None:
    def must_last() -> str:
        return re.sub(r"\s+", " ", vanstock("minmax FLU-1 --why", ledger=small).out).split("must last ")[1]

    assert must_last().startswith("from one Tuesday review until the goods of the next, 7 working days after it, ")
    change(small, least_order=70_00)  # some 5 litres of 5.60 in a week
    found = json.loads(vanstock("minmax FLU-1 --why --json", ledger=small).out)
    assert found["weeks_between_reviews"] == 3
    assert must_last().startswith("from one Tuesday review until the goods of the one 3 weeks later, 7 working days ")
    assert "a week's use of everything from it is worth less than its least order of 70.00; used in a" in must_last()
    change(small, least_order=0, order_days="Sat")  # never on a day that the firm works: on the next one
    assert must_last().startswith("from one Monday review until the goods of the next")


def change(path: Path, **fields: Any) -> None:
    """Change the fluid's supplier."""
    with closing(open_ledger(path)) as ledger, writing(ledger):
        known = catalogue.read_catalogue(ledger).suppliers["WEEK"]
        catalogue.save_rows(ledger, Supplier, [known._replace(**fields)])


def test_a_pin_that_a_pack_does_not_fit_into_is_never_ordered_above_max_and_that_is_said(
    vanstock: Run, small: Path
) -> None:
    def pinned(low: str, high: str) -> str:
        return re.sub(r"\s+", " ", vanstock(f"minmax FLU-1 --min {low} --max {high}", ledger=small).out)

    assert "a pack is 5 L, more than max: it is never ordered to be kept, only for booked jobs" in pinned("1L", "4L")
    assert "FLU-1" not in vanstock("reorder", ledger=small).out
    assert "ordered at 2 L, not at min: a pack of 5 L more would go above max" in pinned("4L", "7L")
    assert re.search(r"FLU-1 .* 5 L +1 +28.00 +7 L", vanstock("reorder", ledger=small).out)
    for low, high in (("1L", "6L"), ("0", "0"), ("0", "5L")):
        assert pinned(low, high).endswith("(--unpin takes it off) ")
    told = json.loads(vanstock("minmax FLU-1 --min 4L --max 7L --json", ledger=small).out)
    assert told["orders_at"] == "2"
    assert json.loads(vanstock("minmax FLU-1 --min 1L --max 4L --json", ledger=small).out)["orders_at"] is None


def test_why_says_so_of_a_pin_and_of_a_part_not_kept(vanstock: Run) -> None:
    vanstock("minmax GK-KRA-011-A --min 9 --max 12", now=SUNDAY)
    assert "set by      hand: it stays where it is until --unpin" in vanstock("minmax GK-KRA-011-A --why").out
    unkept = next(row["part"] for row in told(vanstock, "minmax")["parts"] if row["max"] == "0")
    page = vanstock(f"minmax {unkept} --why", now=SUNDAY).out
    assert "min 0, max 0" in page
    assert "protects" not in page or "no job: none that is likely to come takes it" in page


# The curve.


def test_the_curve_rises_and_marks_where_the_firm_stands(vanstock: Run) -> None:
    page, found = vanstock("curve", now=SUNDAY).out, told(vanstock, "curve")
    for before, after in pairwise(found["points"]):
        assert float(before["cash"]) < float(after["cash"])
        assert before["completion"] <= after["completion"]
    assert 0.99 < found["points"][-1]["completion"] < 1
    assert page.count("<- min and max today") == page.count("<- stock today, if kept so") == 1
    rows = re.findall(r"^ *([\d.]+) +([\d.]+)  [#=]", page, re.MULTILINE)
    assert [float(cash) for cash, _ in rows] == sorted(float(cash) for cash, _ in rows)
    for name in ("minmax", "stock"):
        assert (found[name]["cash"], f"{100 * found[name]['completion']:.1f}") in rows
    levels = told(vanstock, "minmax")
    assert found["minmax"]["completion"] == pytest.approx(levels["completion"], abs=1e-4)
    assert float(found["minmax"]["cash"]) == pytest.approx(float(levels["cash"]), abs=0.5)


def test_more_cash_is_asked_for_by_an_option(vanstock: Run, small: Path) -> None:
    page = vanstock("curve --more 40", ledger=small).out
    found = json.loads(vanstock("curve --more 40 --json", ledger=small).out)
    more = found["more"]
    assert more["cash"] == "40.00"
    assert 0 < float(more["spent"]) <= 40
    assert more["completion"] > found["minmax"]["completion"]
    assert "\n40.00 MORE would finish " in page
    assert all(row["part"] in page for row in more["parts"])
    assert "\n0.00 more would finish no further job\n" in vanstock("curve --more 0", ledger=small).out


@pytest.mark.parametrize("line", ["curve", "replay --weeks 4"])
def test_a_chart_is_written_in_the_form_that_its_name_asks_for(
    vanstock: Run, small: Path, tmp_path: Path, line: str
) -> None:
    png, svg = tmp_path / "chart.png", tmp_path / "chart.svg"
    said = vanstock(f"{line} --chart {png}", ledger=small)
    assert said.out.endswith(f"written to {png}\n")
    assert png.read_bytes().startswith(PNG)
    said = vanstock(f"{line} --chart {svg} --json", ledger=small)
    assert "<svg" in svg.read_text(encoding="utf-8")
    assert json.loads(said.out)


# The replay.


def test_the_replay_tells_what_each_way_came_to_and_that_little_is_known(vanstock: Run, small: Path) -> None:
    said = vanstock("replay --weeks 4", ledger=small)
    found = json.loads(vanstock("replay --weeks 4 --json", ledger=small).out)
    assert (said.code, said.err) == (0, "")
    names = ["whole job", "each part alike", "each part at 95 %", "rule of thumb", "what happened"]
    assert [row["policy"] for row in found["policies"]] == names
    assert (found["weeks"], found["from"], found["weeks_before"]) == (4, "2027-02-01", 16)
    assert said.out.startswith("4 weeks, from the week of 2027-02-01 to that of 2027-02-22: 8 jobs\n")
    for row in found["policies"]:
        assert row["jobs"] == 8
        assert 0 <= row["completion"] <= 1
        shown = f"{row['policy']:17}  {100 * row['completion']:6.1f}  {row['counter_runs']:4}  {row['second_visits']:6}"
        assert shown in said.out
        figures = [row[name] for name in ("cash", "peak_cash", "orders", "lines", "carriage")]
        assert all((figure is None) == (row["policy"] == "what happened") for figure in figures)
    assert [warning.split(":")[0] for warning in found["warnings"]] == [
        "only 16 weeks of history came before", "only 8 jobs came in these weeks",
    ]  # fmt: skip
    assert re.sub(r"\s+", " ", said.out).count("CAREFUL: only ") == 2


@pytest.mark.parametrize("weeks", ["2", "0", "-4", "521"])
def test_weeks_that_cannot_be_gone_through_are_refused_in_a_plain_line(vanstock: Run, small: Path, weeks: str) -> None:
    said = vanstock(f"replay --weeks {weeks}", ledger=small)
    assert (said.code, said.out) == (1, "")
    assert said.err == f"vanstock: {weeks} weeks cannot be gone through: ask for 4 to 520\n"


def test_fewer_weeks_than_asked_for_are_told(vanstock: Run, small: Path) -> None:
    page = re.sub(r"\s+", " ", vanstock("replay --weeks 20", ledger=small).out)
    assert page.startswith("7 weeks, ")
    assert "20 weeks were asked for; the history reaches back for so many, with 13 more to learn from." in page


def test_too_few_weeks_for_any_replay_are_refused_in_one_line(vanstock: Run, small: Path) -> None:
    said = vanstock("replay --weeks 4", now="2027-02-07T08:00", ledger=small)
    assert (said.code, said.out) == (1, "")
    assert said.err == (
        "vanstock: too little history to replay: 17 full weeks of finished jobs are needed, there are 16\n"
    )


# Little is known.


def test_an_empty_ledger_is_told_in_a_line_each(vanstock: Run, tmp_path: Path) -> None:
    path = tmp_path / "empty.db"
    open_ledger(path, create=True).close()
    for line in ("minmax", "curve"):
        said = vanstock(line, now=SUNDAY, ledger=path)
        assert said.code == 0
        assert "no jobs are known to come yet: book some, or import finished ones" in said.out
    said = vanstock("replay", now=SUNDAY, ledger=path)
    assert (said.code, said.out, len(said.err.splitlines())) == (1, "", 1)
    assert "too little history to replay: 17 full weeks of finished jobs are needed, there are 0" in said.err
    found = json.loads(vanstock("curve --json", now=SUNDAY, ledger=path).out)
    assert (found["points"], found["minmax"], found["stock"], found["more"]["parts"]) == ([], None, None, [])
    assert found["more"]["completion"] is None
    said = vanstock(f"curve --chart {tmp_path / 'nothing.png'}", now=SUNDAY, ledger=path)
    assert (said.code, said.out) == (1, "")
    assert said.err == (
        "vanstock: nothing to draw: no jobs are known to come yet: book some, or import finished ones\n"
    )
    assert not (tmp_path / "nothing.png").exists()
    assert json.loads(vanstock("minmax --json", now=SUNDAY, ledger=path).out) == {
        "target": 0.95, "completion": None, "cash": "0.00", "parts": [], "changed": [],
    }  # fmt: skip


def test_a_usual_table_and_bookings_give_levels_and_a_curve(vanstock: Run, tmp_path: Path) -> None:
    path = tmp_path / "young.db"
    ledger = open_ledger(path, create=True)
    with writing(ledger):
        catalogue.save_rows(ledger, Supplier, [Supplier("S", "Sutter", 1)])
        catalogue.save_rows(ledger, Family, [Family("AAA")])
        catalogue.save_rows(ledger, Part, [Part("P1", "sensor", "sensor", cost=500_000, supplier="S"), Part("P2")])
        catalogue.save_rows(ledger, Fits, [Fits("AAA", "P1"), Fits("AAA", "P2")])
        catalogue.save_rows(ledger, Usual, [Usual("clean", "*", "sensor", 0.5, 1, 8)])
    ledger.close()
    for day in range(1, 5):
        assert vanstock(f"booking add AAA clean --date 2027-03-0{day}", now=SUNDAY, ledger=path).code == 0
    found = json.loads(vanstock("minmax --json", now=SUNDAY, ledger=path).out)
    first, second = found["parts"]
    assert int(first["max"]) >= 1
    assert second["max"] == "0"
    assert found["completion"] is not None
    why = vanstock("minmax P1 --why", now=SUNDAY, ledger=path).out
    assert re.search(r"protects    \d+ of 1,000 jobs \(\d+ clean AAA\)", why)
    points = json.loads(vanstock("curve --json", now=SUNDAY, ledger=path).out)["points"]
    # The usual table is worth 8 jobs: (8 + 1) / (8 + 2) by the rule of succession.
    assert points[0]["completion"] < 0.6 < points[-1]["completion"] == 0.9

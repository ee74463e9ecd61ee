"""The load-out as a person and a machine meet it: the screen, its document, one job and why, what is kept of it."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from vanstock.ledger import catalogue
from vanstock.ledger.file import writing
from vanstock.model import Job, Usual
from vanstock.routines import booking, settings, stock
from vanstock.routines.session import Session

Run = Callable[..., Any]
ROOT = Path(__file__).parents[2]
MONDAY = date(2027, 3, 1)
SEVEN, LATE = "2027-03-01T07:00", "2027-03-01T11:30"


@pytest.fixture
def small(new_session: Callable[..., Session]) -> Session:
    """The small firm on Monday at seven: two jobs that probably take a sensor, none aboard, one heat-source job."""
    session = new_session(now=datetime(2027, 3, 1, 7))
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Usual, [Usual("sensor", "*", "pressure sensor", 0.9, 1, 8)])
    for name, at, kind in (("EARLY", "10:00", "sensor"), ("LATE", "14:00", "sensor"), ("HEAT", "16:00", "heat-source")):
        booking.add_booking(session, Job(name, MONDAY, at, "AAA", kind))
    for part, qty in (("FLU-1", "20"), ("GKT-1", "2"), ("BLT-1", "10")):
        stock.receive(session, part, qty, place="store")
    return session


def changed(session: Session, name: str, **fields: Any) -> None:
    part = catalogue.part_by_number(session.ledger, name)
    assert part
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, type(part), [part._replace(**fields)])


def document(said: Any) -> Any:
    assert (said.code, said.err) == (0, ""), said
    return json.loads(said.out)


def flat(said: Any) -> str:
    """What was printed, with its line breaks and spaces evened out."""
    assert said.code == 0, said
    return " ".join(said.out.split())


def under(said: Any, heading: str) -> str:
    """The lines from a heading to the next empty line, evened out."""
    block = said.out.split(f"\n{heading}", 1)[1].split("\n\n", 1)[0]
    return " ".join(block.split())


# The day


def test_the_day_comes_first_a_line_a_job_in_order_of_time(vanstock: Run) -> None:
    lines = vanstock("loadout").out.splitlines()
    assert lines[0].startswith("Monday 2027-03-01, van: 4 jobs, ")
    before = lines[: lines.index("DO, most gain first  (+ is jobs finished on the first visit)")]
    jobs = [line for line in before if line[2:3] == ":"]
    assert [line[:5] for line in jobs] == ["08:00", "10:30", "13:30", "16:00"]
    assert all("%" in line for line in jobs)


def test_the_screen_and_its_document_tell_the_same(vanstock: Run) -> None:
    said, found = vanstock("loadout"), document(vanstock("loadout --json"))
    words = flat(said)
    for job in found["jobs"]:
        assert f"{job['job']} {job['family']} {job['job_type']}" in words
    for do in found["do"]:
        assert f"+{do['gain']:.2f} " in said.out
        assert do["words"] in words
    for row in found["load"]:
        assert f"{row['part']} " in under(said, "LOAD from store")
    assert f"{found['expected']:.1f} expected to finish first time ({found['expected_now']:.1f} as the van stands)" in (
        words
    )
    assert f"chance that all do {found['day_odds']:.0%}" in words


@pytest.mark.parametrize("line", ["loadout", "loadout --json", "loadout J0785 --why", "loadout J0785 --why --json"])
def test_the_same_ledger_gives_the_same_answer_byte_for_byte(imported: Path, tmp_path: Path, line: str) -> None:
    """Each time in a process of its own, whose sets and dictionaries of text are in another order."""
    shown = []
    for seed in ("1", "2", "77"):
        ledger = Path(shutil.copy(imported, tmp_path / f"{seed}.db"))
        words = [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", "2027-03-01T06:40", *line.split()]
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        shown.append(subprocess.run(words, cwd=ROOT, env=environment, capture_output=True, check=True).stdout)
    assert shown[0]
    assert len(set(shown)) == 1


def test_odds_that_rest_on_few_jobs_are_told_on_the_main_screen(vanstock: Run, small: Session) -> None:
    said = vanstock("loadout", now=SEVEN, ledger=small.path)
    assert said.out.count("rests on no finished job like it: take these odds as a guess") == 3
    for number in range(5):
        name = f"PAST{number}"
        booking.add_booking(small, Job(name, MONDAY, "05:00", "AAA", "heat-source"))
        vanstock(f"finish {name}", now="2027-03-01T06:00", ledger=small.path)
        said = vanstock("loadout", now=SEVEN, ledger=small.path)
        guess = {0: "rests on 1 job like it", 4: ""}.get(number, f"rests on only {number + 1} jobs like it")
        assert (guess or "AAA") in said.out
        assert said.out.count("as a guess") == (3 if guess else 2)


def test_a_day_with_nothing_booked_says_how_to_book(vanstock: Run, small: Session) -> None:
    said = vanstock("loadout --date 2027-04-01", now=SEVEN, ledger=small.path)
    assert said.out == "Thursday 2027-04-01, van: nothing booked (vanstock booking add books a job)\n"
    assert document(vanstock("loadout --date 2027-04-01 --json", ledger=small.path))["jobs"] == []


def test_a_job_of_which_nothing_is_known_has_no_odds_and_none_are_made_up(vanstock: Run, small: Session) -> None:
    booking.add_booking(small, Job("NEW", MONDAY, "", "AAA", "never seen"))
    said = vanstock("loadout", now=SEVEN, ledger=small.path)
    assert "--:--    ?   odds not known" in said.out
    assert said.out.splitlines()[0] == "Monday 2027-03-01, van: 4 jobs"
    found = document(vanstock("loadout --json", now=SEVEN, ledger=small.path))
    assert (found["jobs"][3]["odds"], found["expected"], found["day_odds"]) == (None, None, None)


# What comes in time


def test_what_comes_in_time_and_what_cannot_are_told_apart(vanstock: Run, small: Session) -> None:
    said = vanstock("loadout", now=SEVEN, ledger=small.path)
    assert "SNS-1 pressure sensor DAY Mon 11:00 Mon 1 Mar 12:00" in under(said, "BUY FOR THESE JOBS")
    assert "VAP-2 exhaust vaporiser NEXT Mon 17:00 Tue 2 Mar" in under(said, "NOT IN TIME AS BOOKED")
    found = {row["part"]: row for row in document(vanstock("loadout --json", now=SEVEN, ledger=small.path))["buy"]}
    sensor, vaporiser = found["SNS-1"], found["VAP-2"]
    assert (sensor["cutoff"], sensor["comes"], sensor["arrives"], sensor["in_time"]) == (
        "2027-03-01T11:00", "2027-03-01T12:00", "2027-03-01", True,
    )  # fmt: skip
    assert (vaporiser["comes"], vaporiser["in_time"]) == ("2027-03-02T00:00", False)
    assert sensor["gain"] == pytest.approx(0.9, abs=0.02)
    assert found["SNS-1"]["qty"] == "2"


def test_after_the_cut_off_nothing_is_left_to_buy_for_today(vanstock: Run, small: Session) -> None:
    said = vanstock("loadout --date 2027-03-01", now=LATE, ledger=small.path)
    assert "BUY FOR THESE JOBS" not in said.out
    assert "SNS-1 pressure sensor DAY Tue 11:00 Tue 2 Mar 12:00" in under(said, "NOT IN TIME AS BOOKED")


def test_a_part_of_no_supplier_is_told_as_not_known(vanstock: Run, small: Session) -> None:
    changed(small, "SNS-1", supplier="")
    said = vanstock("loadout", now=SEVEN, ledger=small.path)
    assert "SNS-1 pressure sensor no supplier not known not known" in under(said, "NOT IN TIME AS BOOKED")
    rows = document(vanstock("loadout --json", now=SEVEN, ledger=small.path))["buy"]
    (sensor,) = [row for row in rows if row["part"] == "SNS-1"]
    assert (sensor["cutoff"], sensor["arrives"], sensor["comes"], sensor["in_time"]) == (None, None, None, False)


def test_the_four_kinds_of_advice_are_each_one_line_with_their_gain(vanstock: Run, small: Session) -> None:
    from vanstock.model import Fits, Part

    with writing(small.ledger) as ledger:
        late = Part("VAP-3", "exhaust vaporiser, late", "vaporiser", cost=1_400_000, supplier="NEXT")
        catalogue.save_rows(ledger, Part, [late])
        catalogue.save_rows(ledger, Fits, [Fits("AAA", part, 0.5) for part in ("VAP-1", "VAP-2", "VAP-3")])
        catalogue.save_rows(ledger, Usual, [Usual("look", "*", "gloves", 0.95, 2, 8)])
    booking.add_booking(small, Job("FIRST", MONDAY, "08:00", "BBB", "look"))
    stock.receive(small, "GLV-1", "50", place="store")
    for part, qty in (("VAP-2", "1"), ("GKT-1", "1"), ("BLT-1", "2"), ("FLU-1", "10")):
        stock.receive(small, part, qty, place="van")
    found = document(vanstock("loadout --json", now=SEVEN, ledger=small.path))["do"]
    assert {do["job"]: do["action"] for do in found} == {"FIRST": "load", "EARLY": "move", "LATE": "buy", "HEAT": "ask"}
    assert [do["gain"] for do in found] == sorted((do["gain"] for do in found), reverse=True)
    said = vanstock("loadout", now=SEVEN, ledger=small.path)
    assert "08:00  load 50 pr x GLV-1 nitrile gloves from store" in said.out
    words = under(said, "DO, most gain first")
    assert "14:00 buy 1 x SNS-1 (order by 11:00): it comes 12:00" in words
    assert "10:00 buy 1 x SNS-1 (order by 11:00): finished first time if the job starts after 12:00" in words
    assert "16:00 ask the customer for the engine number: it may take VAP-3, not aboard" in words
    assert "check the engine number before leaving: vaporiser VAP-2 50%, VAP-3 50%" in flat(said)


# What the van carries


@pytest.fixture
def laden(small: Session) -> Session:
    """Sensors of 2 kg in the store and a payload that leaves room for one of them."""
    for part, grams in (("SNS-1", 2_000), ("FLU-1", 1_000)):
        changed(small, part, weight_grams=grams)
    booking.cancel_booking(small, "HEAT")
    stock.receive(small, "SNS-1", "2", place="store")
    settings.change_setting(small, "payload_kg", "3.5")
    return small


def test_what_stays_behind_is_shown_with_its_cost_and_only_what_goes_is_loaded(vanstock: Run, laden: Session) -> None:
    said = vanstock("loadout", now=SEVEN, ledger=laden.path)
    assert "1 SNS-1 pressure sensor" in under(said, "LOAD from store")
    stays = under(said, "STAYS BEHIND")
    assert stays.startswith("(the van carries no more; cost is jobs finished on the first visit)")
    assert "1 SNS-1 pressure sensor store 0.81" in stays
    found = document(vanstock("loadout --json", now=SEVEN, ledger=laden.path))
    assert [(row["part"], row["qty"], row["from"]) for row in found["left_behind"]] == [("SNS-1", "1", "store")]
    assert found["left_behind"][0]["cost"] == pytest.approx(0.81, abs=0.02)
    assert found["buy"] == [], "what lies in the store is not bought"
    done = vanstock("load --all", now=SEVEN, ledger=laden.path)
    assert done.out.splitlines()[0] == "loaded 1 x SNS-1 pressure sensor from store"
    assert done.out.splitlines()[1].startswith("entry ")
    assert document(vanstock("loadout --json", now=SEVEN, ledger=laden.path))["load"] == []


def test_a_van_that_is_over_its_limits_is_cautioned_first_of_all(vanstock: Run, laden: Session) -> None:
    stock.receive(laden, "FLU-1", "10", place="van")
    said = vanstock("loadout", now=SEVEN, ledger=laden.path)
    cautions = under(said, "TAKE CARE")
    assert cautions.startswith("- The parts aboard are 6.5 kg over payload_kg: unload before you drive.")
    assert "\nLOAD" not in said.out
    assert "2 SNS-1 pressure sensor store" in under(said, "STAYS BEHIND")


# One job, and why


def test_one_job_alone_is_shown_with_its_advice_codes_and_what_it_takes(vanstock: Run) -> None:
    said = vanstock("loadout J0785")
    assert said.out.startswith("Monday 2027-03-01, van\n\n16:00  ")
    assert "J0782" not in said.out
    assert "\nDO  +" in said.out
    assert "P20D0  Exhaust fuel injector (doser) A: stuck closed" in said.out
    assert "vaporiser DS-KRB-020-A 1" in flat(said)
    assert "WHAT THE ODDS REST ON" not in said.out


def test_why_names_levels_counts_worths_and_the_jobs_that_count_most(vanstock: Run) -> None:
    said, found = vanstock("loadout J0785 --why"), document(vanstock("loadout J0785 --why --json"))
    assert max(map(len, said.out.splitlines())) <= 80
    words = flat(said)
    levels = under(said, "WHAT THE ODDS REST ON, from the jobs most like it to all")
    for level in found["levels"]:
        assert f"{level['name']} {level['jobs']} {level['faded']:.1f}" in levels
    assert f"chosen by how well they foretell {found['worths_chosen_on']} of your own jobs" in words
    assert f"worth {found['usual']['worth_jobs']:g} jobs by its own word: {found['usual']['share']:.0%}" in words
    alike, same = found["like_it"]["same_type_and_family"], found["like_it"]["and_fault_code"]
    (vaporiser,) = [row for row in found["took"] if row["component"] == "vaporiser"]
    row = f"vaporiser {vaporiser['probability']:.0%} {vaporiser['alike']} of {alike} {vaporiser['same_code']} of {same}"
    assert row in under(said, "WHAT SUCH JOBS TOOK")
    nearest = under(said, "THE JOBS THAT COUNT MOST")
    for near in found["nearest"]:
        assert f"{near['job']} {near['date']}" in nearest


def test_the_shares_in_the_document_of_why_add_up_to_one(vanstock: Run) -> None:
    for name in ("J0782", "J0783", "J0784", "J0785"):
        found = document(vanstock(f"loadout {name} --why --json"))
        assert sum(level["share"] for level in found["levels"]) == pytest.approx(1)
        assert all(0 <= row["probability"] <= 1 for row in found["took"])
        assert sum(near["weight"] for near in found["nearest"]) + found["usual"]["share"] <= 1


def test_codes_hints_and_readings_are_told_with_one_job(vanstock: Run) -> None:
    vanstock("booking add KRB heat-source --date 2027-03-02 --codes 'p246b p244c p1abc' --job MINE")
    vanstock("reading MINE idle 45mbar")
    said = vanstock("loadout MINE --why")
    assert "P246B  Vehicle conditions not right for filter regeneration" in said.out
    assert "\nP1ABC" not in said.out, "a maker's own code has no meaning here"
    words = flat(said)
    assert "note P246B with P244C: regeneration does not get done and the exhaust is too cool" in words
    assert "note filter pressure at idle 45 mbar: asks for cleaning" in words
    found = document(vanstock("loadout MINE --why --json"))
    assert found["codes"][2] == {"code": "P1ABC", "meaning": ""}
    assert found["readings"] == [{"reading": "filter pressure at idle 45 mbar", "words": "asks for cleaning"}]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("loadout --why", "--why explains one job: name it, as in `vanstock loadout J0123 --why`"),
        ("loadout J0785 --date 2027-03-02", "a job has its own day and van"),
        ("loadout J0785 --why --date 2027-03-02", "a job has its own day and van"),
        ("loadout J0785 --why --van van", "a job has its own day and van"),
        ("loadout J0785 --print page.html", "a job has its own day and van"),
        ("loadout J0001", "job J0001 is finished: only a booked job has odds; `vanstock score` looks back"),
        ("loadout J9999 --why", "no job 'J9999'"),
    ],
)
def test_what_cannot_be_explained_is_refused_in_one_line(vanstock: Run, line: str, says: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith("vanstock: ")
    assert says in said.err
    assert said.err.count("\n") == 1


# Pins


def test_a_pinned_part_takes_the_line_about_the_engine_number_away_and_undo_brings_it_back(vanstock: Run) -> None:
    asked = "check the engine number before leaving: vaporiser DS-KRB-010-A"
    before = vanstock("loadout J0785").out
    assert asked in flat(vanstock("loadout"))
    said = vanstock("booking pin J0785 DS-KRB-010-A")
    assert (said.code, said.out) == (0, "J0785 takes DS-KRB-010-A (vanstock undo takes it back)\n")
    assert asked not in flat(vanstock("loadout"))
    found = document(vanstock("loadout J0785 --json"))["job"]
    assert found["splits"] == []
    assert "DS-KRB-020-A" not in {need["part"] for need in found["needs"]}
    (row,) = [job for job in document(vanstock("booking list --json"))["jobs"] if job["job"] == "J0785"]
    assert row["chosen"] == ["DS-KRB-010-A"]
    assert vanstock("undo").code == 0
    assert vanstock("loadout J0785").out == before
    vanstock("booking pin J0785 DS-KRB-010-A")
    assert "takes whichever part it turns out to be" in vanstock("booking pin J0785 --none").out
    assert vanstock("loadout J0785").out == before


def test_a_moved_booking_says_what_it_takes(vanstock: Run) -> None:
    vanstock("booking pin J0785 DS-KRB-020-A")
    assert vanstock("booking move J0785 --time 15:30").out.rstrip().endswith("van, takes DS-KRB-020-A")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("booking pin J0785", "name the part that the job takes, or --none"),
        ("booking pin J0785 DS-KRB-010-A --none", "name the part that the job takes, or --none"),
        ("booking pin J0785 DS-KRA-010-B", "DS-KRA-010-B is not listed as fitting KRB"),
        ("booking pin J0785 --none", "no part is pinned on it"),
        ("booking pin J0001 DS-KRB-010-A", "job J0001 is finished"),
        ("booking pin J0785 flux-capacitor", "no part matches"),
    ],
)
def test_a_pin_that_cannot_be_is_refused_and_nothing_written(vanstock: Run, line: str, says: str) -> None:
    said = vanstock(line)
    assert (said.code, said.out) == (1, "")
    assert says in said.err
    assert said.err.count("\n") == 1


# What is kept of it


def told(ledger: Path) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(ledger)) as plain:
        return plain.execute("SELECT job, odds FROM said ORDER BY seq").fetchall()


def test_a_load_out_keeps_its_odds_once_and_asks_for_no_copy(vanstock: Run, tmp_path: Path) -> None:
    ledger = tmp_path / "firm.db"
    first = vanstock("loadout")
    assert first.err == ""
    assert [job for job, _ in told(ledger)] == ["J0782", "J0783", "J0784", "J0785"]
    kept = ledger.read_bytes()
    for line in ("loadout", "loadout --json", "loadout J0785 --why"):
        vanstock(line)
        assert ledger.read_bytes() == kept
    vanstock("load --all")
    vanstock("booking pin J0785 DS-KRB-010-A")
    vanstock("loadout")
    assert len(told(ledger)) > 4
    assert told(ledger)[-1][0] == "J0785"
    assert vanstock("check").code == 0


def test_one_job_alone_keeps_nothing(vanstock: Run, tmp_path: Path) -> None:
    vanstock("loadout J0785 --why")
    assert told(tmp_path / "firm.db") == []


LIMITED = """
import resource, runpy, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
runpy.run_module("vanstock", run_name="__main__")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
def test_on_a_full_disk_the_load_out_is_still_shown_with_a_note(imported: Path, tmp_path: Path, vanstock: Run) -> None:
    """Simulated: no file may grow, so that nothing can be written."""
    ledger = Path(shutil.copy(imported, tmp_path / "full.db"))
    words = ["--ledger", str(ledger), "--now", "2027-03-01T06:40", "loadout"]
    done = subprocess.run([sys.executable, "-c", LIMITED, *words], cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, vanstock("loadout").out)
    assert done.stderr.startswith("note: these odds were not kept for `vanstock score`: ")
    assert done.stderr.count("\n") == 1
    assert told(ledger) == []


@pytest.fixture
def read_only(imported: Path, tmp_path: Path) -> Iterator[Path]:
    """The demo firm's ledger on a file system of its own that is read-only, where this user may mount one."""
    stick = tmp_path / "stick"
    stick.mkdir()
    made = shutil.which("mount") and subprocess.run(["mount", "-t", "tmpfs", "tmpfs", str(stick)], capture_output=True)
    if not made or made.returncode:
        pytest.skip("this user may not mount a file system")
    try:
        ledger = Path(shutil.copy(imported, stick / "ledger.db"))
        subprocess.run(["mount", "-o", "remount,ro", str(stick)], check=True)
        yield ledger
    finally:
        subprocess.run(["umount", "--lazy", str(stick)], check=False)


@pytest.mark.parametrize("line", ["loadout", "loadout --json"])
def test_a_read_only_ledger_still_shows_the_load_out_with_a_note(vanstock: Run, read_only: Path, line: str) -> None:
    said = vanstock(line, ledger=read_only)
    assert (said.code, said.out) == (0, vanstock(line).out)
    assert said.err.startswith("note: these odds were not kept for `vanstock score`: ")
    assert "read-only" in said.err

"""What a person sees: screens that fit, no escapes in a pipe, help with examples, the day end to end."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import at_a_terminal, typed_at_a_terminal
from vanstock.cli import show
from vanstock.cli.main import HOMES, homes_for, program

Run = Callable[..., Any]
LINES = (
    "loadout", "loadout J0785", "loadout J0785 --why", "reading", "reading J0785", "reorder", "stock", "forecast",
    "minmax", "minmax GK-KRA-011-A --why", "minmax GK-KRA-011-A --past", "minmax --completion 0.99 --cash 1000",
    "curve", "replay --weeks 5", "booking list", "history J0001", "place list", "setting",
    "order list", "order list --all", "where GK-KRA-011-A", "kit",
)  # fmt: skip
HEAVY = ("numpy", "pandas", "scipy", "statsmodels", "matplotlib", "sqlite_utils", "starlette")


@pytest.mark.parametrize("line", LINES)
def test_a_screen_fits_eighty_columns_and_a_pipe_gets_no_escapes(vanstock: Run, line: str) -> None:
    said = vanstock(line)
    assert said.code == 0
    assert "\x1b" not in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    assert all(row == row.rstrip() for row in said.out.splitlines())


def commands(group: Any, path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    found: list[tuple[tuple[str, ...], Any]] = []
    for name, command in group.commands.items():
        found.append(((*path, name), command))
        found += commands(command, (*path, name)) if hasattr(command, "commands") else []
    return found


def every_command() -> list[tuple[tuple[str, ...], Any]]:
    from typer.main import get_command

    return commands(get_command(program(HOMES)))


@pytest.mark.parametrize(("path", "command"), every_command(), ids=[" ".join(path) for path, _ in every_command()])
def test_the_help_of_every_command_shows_an_example(vanstock: Run, path: tuple[str, ...], command: Any) -> None:
    said = vanstock(f"{' '.join(path)} --help")
    assert said.code == 0
    assert re.search(rf"Example:\n +vanstock {path[0]}", said.out), said.out
    assert command.help


def test_each_module_holds_the_commands_that_the_program_looks_for_there() -> None:
    from typer.main import get_command

    for home, names in HOMES.items():
        app = program([home, "levels" if home != "levels" else "reorder"])  # two, so that it stays a group
        assert set(names) <= set(get_command(app).commands)  # type: ignore[attr-defined]
    assert homes_for(["--ledger", "fit", "stock"]) == ["job", "stock"]
    assert homes_for(["--help", "fit"]) == homes_for([]) == homes_for(["nonsense"]) == list(HOMES)


def test_the_version_is_told(vanstock: Run) -> None:
    assert vanstock("--version").out == "vanstock 0.1.0\n"


def test_the_day_end_to_end(vanstock: Run) -> None:
    assert "J0783  LUN pressure-side P2453" in vanstock("loadout").out
    assert "loaded 1 x DS-KRA-010-A" in vanstock("load --all").out
    assert vanstock("load --all").out.startswith("nothing to load")
    fitted = vanstock("fit J0782 vaporiser --with")
    assert "fitted on J0782: 1 x DS-KRA-010-A exhaust fuel vaporiser; left: 0" in fitted.out
    assert "fitted on J0782: 2 x BT-UNI-012-A" in fitted.out
    alone = vanstock("fit J0785 DS-KRB-010-A")
    assert "goes on new with it, not logged: 1 x GK-KRA-011-A" in alone.err
    assert "missed on J0785: 1 x DS-KRB-020-A" in vanstock("missed J0785 DS-KRB-020-A").out
    assert vanstock("undo").out.startswith("undone: missed of 2027-03-01")
    assert "finished J0782" in vanstock("finish J0782 --used FL-UNI-800-A=2.1L").out
    assert "counted 36 x HC-UNI-412-A in van: 2 fewer than the ledger had" in vanstock("count HC-UNI-412-A 36").out
    assert "agrees with the ledger" in vanstock("count HC-UNI-412-A 36").out
    assert "into store, worth 56.00; now 15 L there" in vanstock("received FL-UNI-800-A 2packs").out
    assert "marked for a count" in vanstock("fit J0783 PS-LUN-400-A").err
    assert "count it" in vanstock("stock PS-LUN-400-A").out


def test_a_booking_tells_in_plain_words_what_its_codes_mean_and_keeps_a_makers_own(vanstock: Run) -> None:
    said = vanstock('booking add KRA clean --date 2027-03-02 --codes "p2463-00 p244c p1abc" --job MINE')
    assert said.out.splitlines() == [
        "booked MINE: Tue 2027-03-02, KRA clean P2463-00;P244C;P1ABC, van",
        "P2463-00: Particulate filter restricted by soot, bank 1",
        "P244C: Exhaust too cool for filter regeneration, bank 1",
    ]
    (job,) = [job for job in json.loads(vanstock("booking list --json").out)["jobs"] if job["job"] == "MINE"]
    assert job["codes"] == ["P2463-00", "P244C", "P1ABC"]


def test_codes_that_point_to_something_together_say_so_when_the_job_is_booked(vanstock: Run) -> None:
    said = vanstock("booking add KRA clean --date 2027-03-02 --codes 'P246B;P244C'")
    words = " ".join(said.out.split())
    assert "P246B with P244C: regeneration does not get done and the exhaust is too cool" in words
    assert words.endswith("the maker's test comes first.")


def test_a_reading_is_written_and_judged_and_the_maker_comes_first(vanstock: Run) -> None:
    assert vanstock("reading J0785").out.startswith("J0785 has no readings: `vanstock reading J0785 idle 35mbar`")
    first = vanstock("reading J0785 idle 45mbar")
    assert first.out.splitlines() == [
        "J0785  KRB heat-source",
        "filter pressure at idle 45 mbar: asks for cleaning",
        "These limits are common practice. The maker's figure and procedure come first.",
    ]
    after = vanstock("reading J0785 idle 0.8kPa --after")
    assert "filter pressure at idle 0.8 kPa, after the work: clean" in after.out
    assert "45 mbar before, 0.8 kPa after: better by 37 mbar" in " ".join(after.out.split())
    vanstock("reading J0785 idle 40mbar")
    assert "45 mbar" not in vanstock("reading J0785").out
    assert vanstock("undo").out.startswith("undone: read of 2027-03-01")
    assert "45 mbar before" in " ".join(vanstock("reading J0785").out.split())


def test_a_reading_of_a_cancelled_job_is_refused(vanstock: Run) -> None:
    vanstock("booking cancel J0785")
    said = vanstock("reading J0785 idle 45mbar")
    assert (said.code, said.out) == (1, "")
    assert "job J0785 is cancelled" in said.err


def test_the_kinds_of_readings_are_listed_with_an_example_of_each(vanstock: Run) -> None:
    rows = vanstock("reading").out.splitlines()
    assert any(row.startswith("idle") and row.endswith("like 35 mbar") for row in rows)
    assert any(row.startswith("regen") and row.endswith("like 610 C") for row in rows)
    assert any(row.startswith("flush") and row.endswith("like 60 C") for row in rows)


def test_the_score_shows_odds_by_band_second_visits_and_what_they_cost(vanstock: Run) -> None:
    before = " ".join(vanstock("score").out.split())
    assert "none yet: `vanstock loadout` keeps what it tells" in before
    vanstock("load --all")
    vanstock("loadout")
    vanstock("finish J0782")
    vanstock("missed J0783 PS-LUN-400-A")
    vanstock("finish J0783")
    said = vanstock("score", now="2027-03-02T08:00")
    jobs = said.out.split("\n\n")[0].splitlines()[3:]
    assert [row.split()[:2] for row in jobs] == [["90%-100%", "1"], ["40%-50%", "1"]]
    assert all(row.endswith("few: a rough figure") for row in jobs)
    found = json.loads(vanstock("score --json", now="2027-03-02T08:00").out)
    assert [(band["low"], band["number"], band["came"]) for band in found["jobs"]] == [(0.9, 1, 1.0), (0.4, 1, 0.0)]
    words, visits = " ".join(said.out.split()), found["finished"] - found["first_time"]
    assert f"{found['first_time']} of {found['finished']} jobs finished on the first visit" in words
    assert f"{visits} second visits at 60.00 each cost {visits * 60}.00" in words
    cost = sum(round(100 * float(row["cost"])) for row in found["second_visits"])
    assert cost == pytest.approx(visits * 6000, abs=len(found["second_visits"]))
    assert f"Tried on {found['parts_jobs']} finished jobs, each from the jobs before it alone." in words


def test_the_score_since_a_date_leaves_older_jobs_out(vanstock: Run) -> None:
    found = [json.loads(vanstock(f"score --since {day} --json").out) for day in ("2026-09-01", "2027-02-26")]
    assert found[0]["finished"] > found[1]["finished"] > 0
    assert [one["since"] for one in found] == ["2026-09-01", "2027-02-26"]
    assert "SECOND VISITS since 2027-02-26" in vanstock("score --since 2027-02-26").out


def test_data_never_sends_control_characters_to_the_terminal(vanstock: Run, capsys: pytest.CaptureFixture[str]) -> None:
    from vanstock.cli.show import say, table, words

    said = vanstock("booking add KRA clean --date 2027-03-02 --ref 'a\x1b[31mred'")
    assert (said.code, said.out) == (2, "")
    assert "\x1b" not in said.err
    say("a\x1b[31mred")
    table((words("what"),), [("b\x07\x1b]0;title",)])
    assert not {"\x1b", "\x07"} & set(capsys.readouterr().out)


def test_the_reorder_list_is_written_to_a_file_too(vanstock: Run, tmp_path: Path) -> None:
    said = vanstock(f"reorder --csv {tmp_path / 'order.csv'}")
    assert (tmp_path / "order.csv").read_text().startswith("supplier,supplier_part,part")
    assert said.out.rstrip().endswith("order.csv")


def test_the_bar_of_something_slow_is_drawn_without_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    with show.working("counting", total=3) as done:
        done(3)
    assert "counting" in screen.getvalue()
    assert not re.search(r"\x1b\[(?:[0-9]+;)*[349][0-8](?:;[0-9]+)*m", screen.getvalue())


@at_a_terminal
def test_a_terminal_gets_a_drawn_table_without_colours(imported: Path) -> None:
    _, shown = typed_at_a_terminal(["--ledger", str(imported), "stock", "gasket"])
    assert "─" in shown
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", shown), "colour carries no meaning and is not used"


@at_a_terminal
@pytest.mark.parametrize(("answer", "fitted"), [("y\n", 3), ("n\n", 1)])
def test_a_person_at_a_terminal_is_asked_for_what_goes_with_a_part(
    imported: Path, tmp_path: Path, answer: str, fitted: int
) -> None:
    ledger = tmp_path / "copy.db"
    ledger.write_bytes(imported.read_bytes())
    words = ["--ledger", str(ledger), "--now", "2027-03-01T09:00", "fit", "J0785", "DS-KRB-010-A"]
    _, shown = typed_at_a_terminal(words, f"{answer}n\n")
    assert "Also fitted new: 1 x GK-KRA-011-A vaporiser gasket, 2 x BT-UNI-012-A" in " ".join(shown.split())
    assert shown.count("fitted on J0785") == fitted


@pytest.mark.parametrize("line", ["fit J0783 HC-UNI-412-A 2", "stock gasket", "--help"])
def test_logging_a_part_loads_no_heavy_module(imported: Path, tmp_path: Path, line: str) -> None:
    ledger = tmp_path / "copy.db"
    ledger.write_bytes(imported.read_bytes())
    words = ["vanstock", *line.split()]
    if line != "--help":
        words[1:1] = ["--ledger", str(ledger), "--now", "2027-03-01T09:00"]
    script = (
        f"import sys; sys.argv = {words!r}\n"
        "from vanstock.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("LOADED []")


def test_bookings_out_of_the_days_listed_are_counted_not_hidden(vanstock: Run) -> None:
    said = vanstock("--now 2027-03-03T07:00 booking list --to 2027-03-03")
    assert "note: 7 booked jobs before 2027-03-03 are not finished: --from 2027-03-01 lists them" in said.err
    after = vanstock("--now 2027-03-01T07:00 booking list --to 2027-03-03").err
    assert "booked jobs after 2027-03-03: --to 2027-03-" in after
    assert "not finished" not in after
    assert vanstock("booking list --from 2027-01-01 --to 2028-01-01").err == ""


def test_an_amount_typed_as_for_load_is_told_how_fit_takes_it(vanstock: Run) -> None:
    said = vanstock("fit J0782 GK-KRA-011-A=2")
    assert (said.code, said.out) == (1, "")
    assert "here it is written GK-KRA-011-A 2" in said.err
    assert "name one part at a time" in vanstock("finish J0782 --used GK-KRA-011-A=2,BT-UNI-012-A=1").err


def test_a_booking_on_a_past_day_is_taken_and_told(vanstock: Run) -> None:
    said = vanstock("booking add KRA clean --date 2027-02-01")
    assert (said.code, "note: that day is past" in said.err) == (0, True)
    assert "past" in vanstock("booking move J0785 --date 2027-02-02").err
    assert "past" not in vanstock("booking move J0785 --date 2027-03-02").err

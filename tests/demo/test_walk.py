"""The walk through the main job: every step ends well on the firm as it is, and says what it shows."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture
def walk(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.setattr(sys, "dont_write_bytecode", sys.dont_write_bytecode)
    monkeypatch.setattr(sys, "path", [*sys.path])
    spec = importlib.util.spec_from_file_location("demo_walk", DEMO / "__main__.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_step_ends_well(walk: ModuleType, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    ledger, python = tmp_path / "walk.db", Path(sys.executable)
    assert walk.vanstock(python, ledger, "2027-02-28T18:00", "import demo/firm") == 0
    for clock, command, told in walk.STEPS:
        capfd.readouterr()
        assert walk.vanstock(python, ledger, clock, command) == 0, command
        shown, beside = capfd.readouterr()
        assert shown.strip(), command
        assert "Traceback" not in beside
        assert told.strip().endswith((".", "?"))


def test_the_walk_shows_the_morning_the_job_and_the_week(walk: ModuleType) -> None:
    commands = [command.split()[0] for _, command, _ in walk.STEPS]
    assert {"loadout", "load", "fit", "missed", "finish", "stock", "reorder"} <= set(commands)
    assert [clock for clock, _, _ in walk.STEPS] == sorted(clock for clock, _, _ in walk.STEPS)


def test_the_walk_names_the_number_of_finished_jobs_there_are() -> None:
    done = (DEMO / "firm" / "jobs.csv").read_text(encoding="utf-8").count(",done,")
    assert f"{done} finished jobs" in (DEMO / "__main__.py").read_text(encoding="utf-8")

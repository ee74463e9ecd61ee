"""What lies at the top of the project, what is pinned, and that the one check of everything checks everything."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "constraints.txt", "vanstock", "data", "tests", "demo",
    "docs",
}  # fmt: skip
CHECKS = ("python3 tests", "ruff check", "ruff format --check", "mypy", "lint-imports")


def pins() -> dict[str, str]:
    found = {}
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            pin = re.fullmatch(r"([A-Za-z0-9._-]+)==([0-9][A-Za-z0-9.]*)( ; .+)?", line)
            assert pin, line
            found[re.sub(r"[-_.]+", "-", pin[1]).lower()] = pin[2]
    return found


def test_the_top_level_holds_nothing_else() -> None:
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert there - {"__pycache__", "dist", "build"} <= TOP
    assert {name for name in TOP if "." in name or name == "LICENSE"} <= there


def test_everything_the_project_asks_for_is_pinned_exactly() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {re.split(r"[^A-Za-z0-9._-]", line)[0].lower() for line in asked}
    assert names <= set(pins())


def test_the_pins_name_no_place() -> None:
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    assert not re.search(r"://|@|^-|/", text, re.MULTILINE)


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A folder with the real `.ci/run` and stand-ins for the programs it runs, which write down their call."""
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci" / "run")
    (tmp_path / "path").mkdir()
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    script = '#!/bin/sh\ncall="$(basename "$0") $*"\necho "$call" >> calls\n[ "$call" != "$FAILS" ]\n'
    for name in ("path/python3", *(f".venv/bin/{tool}" for tool in ("ruff", "mypy", "lint-imports"))):
        (tmp_path / name).write_text(script, encoding="utf-8")
        (tmp_path / name).chmod(0o755)
    return tmp_path


def run_checks(checkout: Path, fails: str) -> tuple[int, list[str]]:
    environment = {**os.environ, "PATH": f"{checkout / 'path'}{os.pathsep}{os.environ['PATH']}", "FAILS": fails}
    status = subprocess.call(["bash", str(checkout / ".ci" / "run")], cwd=checkout.parent, env=environment)
    return status, [line.strip() for line in (checkout / "calls").read_text(encoding="utf-8").splitlines()]


@pytest.mark.skipif(os.name == "nt", reason="the check of everything is a bash script")
def test_the_check_of_everything_runs_each_check_from_any_folder(checkout: Path) -> None:
    assert run_checks(checkout, "nothing") == (0, list(CHECKS))


@pytest.mark.skipif(os.name == "nt", reason="the check of everything is a bash script")
@pytest.mark.parametrize("check", CHECKS)
def test_the_check_of_everything_fails_when_one_check_does(checkout: Path, check: str) -> None:
    call = check if " " in check else f"{check} "
    assert run_checks(checkout, call)[0] != 0


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such bit")
def test_the_check_of_everything_can_be_run_as_it_is() -> None:
    assert os.access(ROOT / ".ci" / "run", os.X_OK)

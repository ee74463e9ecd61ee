"""The wheel, as a person without this folder gets it: built, installed by pipx into nothing else, and used."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from vanstock import __version__
from vanstock.cli.main import HOMES

ROOT = Path(__file__).parents[2]
DEV_ONLY = ("pytest", "hypothesis", "playwright", "mypy", "ruff", "lxml", "sklearn")

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="the console script has an ending")]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel built from it."""
    folder = tmp_path_factory.mktemp("dist")
    finished([sys.executable, "-m", "build", "--outdir", str(folder), str(ROOT)])
    return folder


@pytest.fixture(scope="module")
def installed(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The console script where pipx has put it."""
    home = tmp_path_factory.mktemp("pipx")
    (wheel,) = built.glob("*.whl")
    pip_args = f"--pip-args=--no-compile -c {ROOT / 'constraints.txt'}"
    environment = {"PIPX_HOME": str(home / "home"), "PIPX_BIN_DIR": str(home / "bin")}
    finished([sys.executable, "-m", "pipx", "install", pip_args, str(wheel)], **environment)
    return home / "bin" / "vanstock"


def finished(words: list[str], **environment: str) -> str:
    """What a program prints that must end well, in an empty folder and with nothing of this one on its path."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VANSTOCK", "VIRTUAL"))}
    done = subprocess.run(words, capture_output=True, text=True, cwd="/", env=kept | environment, check=False)
    assert done.returncode == 0, f"{words}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def data_files(top: Path, within: str) -> set[str]:
    """Files that are no program text, by their path as an installation has it."""
    found = (path for path in top.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc"))
    return {f"{within}/{path.relative_to(top).as_posix()}" for path in found}


def test_everything_the_program_reads_is_inside_the_wheel(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = data_files(ROOT / "vanstock", "vanstock")
    wanted |= data_files(ROOT / "demo" / "firm", "vanstock/reference/invented_firm")
    assert wanted <= inside
    assert not [name for name in inside if name.startswith(("tests/", "demo/", "docs/"))]


def test_the_sdist_holds_what_is_needed_to_build_and_to_try_it(built: Path) -> None:
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    assert {
        "pyproject.toml",
        "README.md",
        "LICENSE",
        "constraints.txt",
        "demo/__main__.py",
        "tests/__main__.py",
    } <= names


def test_the_version_is_said_once_and_told_everywhere(built: Path, installed: Path) -> None:
    assert sorted(file.name.split("-")[1].removesuffix(".tar.gz") for file in built.iterdir()) == [__version__] * 2
    assert finished([str(installed), "--version"]).split() == ["vanstock", __version__]
    assert 'dynamic = ["version"]' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")


def test_every_command_says_how_it_is_used_without_anything_for_developers(installed: Path) -> None:
    python = re.match(r"#!(\S+)", installed.read_text(encoding="utf-8"))
    assert python
    script = f"""
import importlib.util, sys
from vanstock.cli.main import run
assert not [name for name in {DEV_ONLY!r} if importlib.util.find_spec(name)]
for command in {[name for names in HOMES.values() for name in names]!r}:
    sys.argv = ["vanstock", command, "--help"]
    try:
        run()
    except SystemExit as end:
        assert not end.code, command
"""
    told = finished([python[1], "-c", script])
    assert told.count("Usage: ") == sum(map(len, HOMES.values()))


def test_the_invented_firm_comes_along_and_has_its_morning(installed: Path, tmp_path: Path) -> None:
    ledger = tmp_path / "mine.db"
    subprocess.run(
        [str(installed), "--ledger", str(ledger), "start"], input="\n" * 9 + "2\n", text=True, cwd="/", check=True
    )
    invented = ["--ledger", str(tmp_path / "invented-firm.db"), "--now", "2027-03-01T06:40"]
    assert "4 jobs" in finished([str(installed), *invented, "loadout"])

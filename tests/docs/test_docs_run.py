"""The documentation is true because it runs: every console block, every link, every command named."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.docs import terminal

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")])


@pytest.fixture(scope="module")
def console() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_console", HERE / "console.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules["docs_console"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_console_block_and_terminal_picture_gives_the_output_shown(console: ModuleType, page: Path) -> None:
    before, after, screens = console.rerun(page)
    assert console.settled(after).splitlines() == console.settled(before).splitlines()
    for name, screen in screens.items():
        drawn = terminal.words(terminal.picture(name).read_text(encoding="utf-8"))
        assert drawn == [line for line in terminal.shown(*screen) if line]
        assert f"](pictures/{name}.svg)" in before


def test_the_first_hour_goes_as_it_is_shown(tmp_path: Path) -> None:
    from vanstock.routines.starting import QUESTIONS, SUPPLIER_QUESTIONS

    text = (ROOT / "docs" / "setup.md").read_text(encoding="utf-8")
    shown = text.partition("$ vanstock start\n")[2].partition("```")[0]
    asks = [*(one.ask for one in QUESTIONS), *(row[1] for row in SUPPLIER_QUESTIONS)]
    asks += ["Supplier, short name", "Which", "Name of the workbook"]
    prompt = re.compile(rf"^( *(?:{'|'.join(map(re.escape, asks))})(?: \[.*\])?:)(.*)$", re.MULTILINE)
    done = subprocess.run(
        [sys.executable, "-m", "vanstock", "--ledger", "firm.db", "start"],
        cwd=tmp_path, env={**os.environ, "COLUMNS": "80", "PYTHONUTF8": "1"},
        input="".join(f"{typed.strip()}\n" for _, typed in prompt.findall(shown)),
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert len(prompt.findall(shown)) > len(QUESTIONS) + len(SUPPLIER_QUESTIONS)
    assert done.stdout.split() == prompt.sub(r"\1", shown).split()  # what is typed is not in the output


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_to_a_file_leads_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def commands(group: Any, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []
    for name, command in group.commands.items():
        inner = getattr(command, "commands", None)
        found += commands(command, (*path, name)) if inner else [(*path, name)]
    return found


def test_every_command_is_shown_in_the_documentation() -> None:
    from typer.main import get_command

    from vanstock.cli.main import HOMES, program

    told = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    missing = [
        " ".join(path) for path in commands(get_command(program(HOMES))) if f"vanstock {' '.join(path)}" not in told
    ]
    assert missing == []

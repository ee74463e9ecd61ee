"""The house keeps its shape: import contracts, short functions, modules with a docstring."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "vanstock").rglob("*.py"))


def test_imports_point_one_way() -> None:
    words = [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"]
    done = subprocess.run([*words, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_says_what_it_is_and_its_functions_are_short(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 320
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            length = (node.end_lineno or 0) - node.lineno + 1
            assert length <= 50, f"{node.name} has {length} lines"

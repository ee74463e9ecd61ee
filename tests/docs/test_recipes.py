"""What DEVELOPERS.md says of the code is so: its list of rooms is whole, and its recipes run as they stand."""

from __future__ import annotations

import importlib
import json
import re
import sys
from datetime import datetime
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from tests.cli.conftest import imported  # noqa: F401
from vanstock.cli.options import Options
from vanstock.errors import ImportRefused
from vanstock.forecast import smoothers
from vanstock.routines import stock
from vanstock.routines.session import open_session

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
RECIPES = dict(re.findall(r"```python\n# (vanstock/\S+\.py)\n(.*?)```", PAGE, re.DOTALL))
MORNING = datetime.fromisoformat("2027-03-01T06:40")


def made(file: str, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """A recipe as the module that it would be."""
    name = file.removesuffix(".py").replace("/", ".")
    module = ModuleType(name)
    exec(RECIPES[file], vars(module))
    monkeypatch.setitem(sys.modules, name, module)
    package, _, own = name.rpartition(".")
    monkeypatch.setattr(importlib.import_module(package), own, module, raising=False)
    return module


@pytest.mark.parametrize("room", ["ledger", "forecast", "needs", "kit", "exchange", "routines", "web"])
def test_every_module_of_a_room_is_listed_in_it_and_no_other(room: str) -> None:
    rows = re.findall(r"^\| (\w*) ?\| [^|]*\| ([^|]+) \|$", PAGE, re.MULTILINE)
    first = next(number for number, (named, _) in enumerate(rows) if named == room)
    later = next((number for number in range(first + 1, len(rows)) if rows[number][0]), len(rows))
    told = " ".join(re.sub(r"\([^)]*\)", "", modules) for _, modules in rows[first:later])
    listed = re.findall(r"\b(?!with\b)\w+", told)
    there = {path.stem for path in (ROOT / "vanstock" / room).glob("*.py")} - {"__init__"}
    assert sorted(listed) == sorted(there)


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES)
def test_a_recipe_is_short(recipe: str) -> None:
    assert len([line for line in recipe.splitlines() if line.strip()]) < 20


def test_the_screen_of_the_recipe_shows_the_dearest_stock(
    imported: Path,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made("vanstock/routines/dearest.py", monkeypatch)
    screen = made("vanstock/cli/dearest.py", monkeypatch)
    app = typer.Typer()
    screen.add_to(app)
    shown = CliRunner().invoke(app, ["--lines", "3"], obj=Options(str(imported), MORNING))
    with open_session(str(imported), MORNING) as session:
        dearest = max(stock.stock(session), key=lambda row: row.balance.value)
    assert shown.exit_code == 0
    assert shown.output.splitlines()[2].split()[0] == dearest.part.part
    assert len(shown.output.splitlines()) == 2 + 3


def test_the_smoother_of_the_recipe_is_the_published_moving_average(monkeypatch: pytest.MonkeyPatch) -> None:
    """Amounts of twelve suppliers and their moving average of three: NIST/SEMATECH e-Handbook, 6.4.2.1, from memory."""
    exec(RECIPES["vanstock/forecast/smoothers.py"], namespace := dict(vars(smoothers), Array=np.ndarray))
    need = np.array([[9.0, 8, 9, 12, 9, 12, 11, 7, 13, 9, 11, 10]])
    published = [8.667, 9.667, 10.0, 11.0, 10.667, 10.0, 10.333, 9.667, 11.0, 10.0]
    assert namespace["recent"](need, np.array([3.0]))[0, 0, 2:] == pytest.approx(published, abs=5e-4)
    late = np.array([[np.nan, np.nan, 4.0, 2.0]])
    assert namespace["recent"](late, np.array([3.0]))[0, 0].tolist() == [0, 0, 4, 3]


def test_the_importer_of_the_recipe_brings_rows_in_or_tells_what_is_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    importer, file = made("vanstock/routines/jsonfile.py", monkeypatch), tmp_path / "lists.json"
    with open_session(str(tmp_path / "new.db"), MORNING, create=True) as session:
        file.write_text(json.dumps({"parts": [{"part": "A-1", "component": "gasket", "unit": "C62", "cost": "2.50"}]}))
        assert importer.import_json(session, file).changed["parts"] == 1
        file.write_text(json.dumps({"stock": [{"part": "A-2", "place": "van", "qty": "3"}]}))
        with pytest.raises(ImportRefused):
            importer.import_json(session, file)

"""Runs the command line in this process, as a person would type it, on a ledger of the demo firm."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import pytest

from vanstock.cli.main import run

ROOT = Path(__file__).parents[2]


class Said(NamedTuple):
    """What a command line printed and how it ended."""

    code: int
    out: str
    err: str


Run = Callable[..., Said]


def typed(
    line: str, ledger: Path, now: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Said:
    words = ["vanstock", "--ledger", str(ledger), "--now", now, *shlex.split(line)]
    monkeypatch.setattr(sys, "argv", words)
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    return Said(int(ended.value.code or 0), out, err)


at_a_terminal = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


def typed_at_a_terminal(words: Sequence[str], answers: str = "", **environment: str) -> tuple[int, str]:
    """How a command line ends, and all it prints, where a person sits at a terminal and types `answers` when asked."""
    import pty

    ours, its = pty.openpty()
    usual = {"TERM": "xterm-256color", "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", "vanstock", *words]
    process = subprocess.Popen(command, stdin=its, stdout=its, stderr=its, env={**os.environ, **usual, **environment})
    os.close(its)
    os.write(ours, answers.encode())
    shown = b""
    with suppress(OSError):  # how a terminal ends that nobody has open any more
        while more := os.read(ours, 65_536):
            shown += more
    os.close(ours)
    return process.wait(60), shown.decode()


@pytest.fixture(scope="session")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo firm's ledger, made once."""
    path = tmp_path_factory.mktemp("firm") / "imported.db"
    with pytest.MonkeyPatch.context() as patch:
        line = ["vanstock", "--ledger", str(path), "--now", "2027-02-28T18:00", "import", str(ROOT / "demo" / "firm")]
        patch.setattr(sys, "argv", line)
        with pytest.raises(SystemExit) as ended:
            run()
    assert not ended.value.code
    return path


@pytest.fixture
def vanstock(
    imported: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Run:
    """Runs a command line on a copy of the demo firm's ledger: `vanstock("stock gasket", now=...)`."""
    ledger = tmp_path / "firm.db"
    shutil.copyfile(imported, ledger)

    def run_line(line: str, now: str = "2027-03-01T06:40", *, ledger: Path = ledger) -> Said:
        return typed(line, ledger, now, monkeypatch, capsys)

    return run_line

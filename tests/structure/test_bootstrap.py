"""Setting up the environment, on a small project that builds itself, so that no network is needed."""

from __future__ import annotations

import ast
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCRIPTS = ("demo/bootstrap.py", "demo/__main__.py", "tests/__main__.py")
PROJECT = """[build-system]
requires = []
build-backend = "backend"
backend-path = ["."]

[project]
name = "tiny"
version = "1"
"""
BACKEND = '''"""A build backend that makes an empty editable wheel, slowly when told to."""
import os, time, zipfile

def build_editable(folder, config_settings=None, metadata_directory=None):
    time.sleep(float(os.environ.get("TINY_SECONDS", "0")))
    if os.environ.get("TINY_FAILS"):
        raise SystemExit("the tiny backend was told to fail")
    about = "Metadata-Version: 2.1\\nName: tiny\\nVersion: 1\\nProvides-Extra: test\\n"
    wheel = "Wheel-Version: 1.0\\nGenerator: tiny\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n"
    with zipfile.ZipFile(os.path.join(folder, "tiny-1-py3-none-any.whl"), "w") as out:
        out.writestr("tiny-1.dist-info/METADATA", about)
        out.writestr("tiny-1.dist-info/WHEEL", wheel)
        out.writestr("tiny-1.dist-info/RECORD", "")
    return "tiny-1-py3-none-any.whl"
'''
BEGIN = "import sys; sys.dont_write_bytecode = True; sys.path.insert(0, 'demo'); import bootstrap; "
posix_only = pytest.mark.skipif(os.name == "nt", reason="uses links and scripts as posix has them")


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A checkout with a space in its name, holding the real bootstrap and a project that needs nothing."""
    root = tmp_path / "a checkout"
    (root / "demo").mkdir(parents=True)
    (root / "vanstock").mkdir()
    shutil.copy(ROOT / "demo" / "bootstrap.py", root / "demo" / "bootstrap.py")
    (root / "pyproject.toml").write_text(PROJECT, encoding="utf-8")
    (root / "backend.py").write_text(BACKEND, encoding="utf-8")
    (root / "constraints.txt").write_text("", encoding="utf-8")
    return root


def begin(project: Path, extra: str = "", **environment: str) -> subprocess.Popen[str]:
    code = f"{BEGIN}print(bootstrap.ensure({extra!r}))"
    return subprocess.Popen(
        [sys.executable, "-c", code], cwd=project, env={**os.environ, **environment}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip


def ensure(project: Path, extra: str = "", **environment: str) -> tuple[int, str, str]:
    process = begin(project, extra, **environment)
    shown, beside = process.communicate(timeout=300)
    return process.returncode, shown.strip(), beside


def is_ready(project: Path, extra: str = "") -> bool:
    done = subprocess.run(
        [sys.executable, "-c", f"{BEGIN}sys.exit(not bootstrap._ready({extra!r}))"], cwd=project, check=False
    )
    return done.returncode == 0


def answers(python: str) -> bool:
    return subprocess.call([python, "-c", "import pip"], stderr=subprocess.DEVNULL) == 0


@pytest.mark.parametrize("name", SCRIPTS)
def test_an_old_python_can_read_the_script_that_says_it_is_too_old(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    ast.parse(text, feature_version=(3, 6))
    assert "from __future__ import annotations" not in text


@pytest.mark.parametrize("name", SCRIPTS)
def test_the_scripts_need_nothing_but_the_standard_library(name: str) -> None:
    nodes = ast.walk(ast.parse((ROOT / name).read_text(encoding="utf-8")))
    imported = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    assert imported <= {*sys.stdlib_module_names, "bootstrap"}


def too_old(project: Path, path: Path) -> subprocess.CompletedProcess[str]:
    """Begin where every Python is too old but those found in a folder."""
    script = project / "demo" / "bootstrap.py"
    text = script.read_text(encoding="utf-8")
    assert "OLDEST = (3, 11)" in text
    script.write_text(text.replace("OLDEST = (3, 11)", "OLDEST = (99, 0)"), encoding="utf-8")
    start = project / "start.py"
    start.write_text(f"{BEGIN}bootstrap.ensure('')\n", encoding="utf-8")
    return subprocess.run(
        [sys.executable, "start.py", "some words"], cwd=project, env={**os.environ, "PATH": str(path)}, text=True,
        capture_output=True, check=False,
    )  # fmt: skip


def test_where_no_python_is_new_enough_one_line_says_so(project: Path) -> None:
    (project / "empty").mkdir()
    done = too_old(project, project / "empty")
    assert (done.returncode, done.stdout) == (1, "")
    assert "needs Python 99.0 or newer" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@posix_only
def test_a_newer_python_on_the_path_takes_over_with_the_same_words(project: Path) -> None:
    newer = project / "path" / "python3.13"
    newer.parent.mkdir()
    newer.write_text('#!/bin/sh\n[ "$1" = -c ] || { echo "took over: $*"; exit 7; }\n', encoding="utf-8")
    newer.chmod(0o755)
    done = too_old(project, newer.parent)
    assert (done.returncode, done.stdout.strip()) == (7, "took over: start.py some words")


def browser_wanted(project: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Ask for a browser where there is a stand-in for the package manager, and nothing else, on the PATH."""
    (project / "path").mkdir()
    manager = project / "path" / "apt-get"
    made = 'printf "" > path/chromium; /bin/chmod 755 path/chromium'
    manager.write_text(f'#!/bin/sh\necho "$*" >> asked\ncase "$*" in *chromium*) {made};; esac\n', encoding="utf-8")
    manager.chmod(0o755)
    code = f"{BEGIN}import os; os.geteuid = lambda: int(os.environ['RUN_AS']); print(bootstrap.ensure_browser())"
    clean = {name: word for name, word in os.environ.items() if name != "CI"}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=project, env={**clean, "PATH": "path", **environment}, text=True,
        capture_output=True, check=True,
    )  # fmt: skip


@posix_only
def test_the_browser_is_installed_where_the_machine_lets_us(project: Path) -> None:
    done = browser_wanted(project, RUN_AS="0")
    assert done.stdout.strip() == "True"
    assert "installing Chromium" in done.stderr
    asked = (project / "asked").read_text(encoding="utf-8").splitlines()
    assert [line.split()[1] for line in asked] == ["update", "install"]


@posix_only
def test_where_it_cannot_be_installed_one_line_says_what_is_left_out(project: Path) -> None:
    done = browser_wanted(project, RUN_AS="1000")
    assert done.stdout.strip() == "False"
    assert "tests of the pages are left out" in done.stderr
    assert not (project / "asked").exists()


@pytest.mark.slow
def test_the_first_run_installs_and_the_second_finds_it_done(project: Path) -> None:
    status, python, told = ensure(project)
    assert (status, answers(python)) == (0, True), told
    assert "takes a minute" in told
    assert ensure(project) == (0, python, "")
    assert not is_ready(project, "test")
    (project / "constraints.txt").write_text("other==1\n", encoding="utf-8")
    assert not is_ready(project)


@pytest.mark.slow
def test_what_the_tests_need_serves_the_demo_too(project: Path) -> None:
    assert ensure(project, "test")[0] == 0
    assert is_ready(project, "test")
    assert is_ready(project)


@pytest.mark.slow
def test_a_failed_installation_says_what_pip_said_and_is_begun_again(project: Path) -> None:
    status, _, told = ensure(project, TINY_FAILS="1")
    assert status == 1
    assert "the tiny backend was told to fail" in told
    assert "Traceback" not in told.splitlines()[0]
    assert not is_ready(project)
    assert ensure(project)[0] == 0


@posix_only
@pytest.mark.slow
def test_an_installation_killed_halfway_is_begun_again(project: Path) -> None:
    process = begin(project, TINY_SECONDS="60")
    marker = project / ".venv" / ".installing"
    for _ in range(600):
        if marker.exists():
            break
        time.sleep(0.05)
    time.sleep(0.5)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
    assert not is_ready(project)
    status, python, told = ensure(project)
    assert (status, answers(python)) == (0, True), told


@posix_only
@pytest.mark.slow
def test_an_environment_whose_python_went_away_is_made_again(project: Path) -> None:
    (project / ".venv" / "bin").mkdir(parents=True)
    (project / ".venv" / "bin" / "python").symlink_to(project / "gone" / "python")
    status, python, told = ensure(project)
    assert (status, answers(python)) == (0, True), told


@posix_only
@pytest.mark.slow
def test_a_link_to_an_environment_that_went_away_is_replaced(project: Path) -> None:
    (project / ".venv").symlink_to(project / "gone")
    assert ensure(project)[0] == 0
    assert not (project / ".venv").is_symlink()


@pytest.mark.slow
def test_two_at_once_make_one_environment(project: Path) -> None:
    both = [begin(project, TINY_SECONDS="1") for _ in range(2)]
    told = [process.communicate(timeout=300) for process in both]
    assert [process.returncode for process in both] == [0, 0], told
    assert sum("takes a minute" in beside for _, beside in told) == 1
    assert sum("waiting for it" in beside for _, beside in told) == 1
    assert told[0][0] == told[1][0]


@pytest.mark.slow
def test_where_environments_cannot_be_made_the_line_says_what_to_install(project: Path) -> None:
    (project / "odd").mkdir()
    (project / "odd" / "venv.py").write_text("raise SystemExit('ensurepip is not available')\n", encoding="utf-8")
    status, _, told = ensure(project, PYTHONPATH=str(project / "odd"))
    assert status == 1
    assert "python3-venv" in told
    assert "ensurepip is not available" in told
    assert not (project / ".venv").exists()


@posix_only
@pytest.mark.slow
def test_an_environment_left_without_pip_is_made_again(project: Path) -> None:
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(project / ".venv")], check=True)
    status, python, told = ensure(project)
    assert (status, answers(python)) == (0, True), told


@posix_only
@pytest.mark.slow
def test_the_environment_stays_when_another_python_begins_and_not_when_its_own_moved(project: Path) -> None:
    assert ensure(project)[0] == 0
    asked = f"{BEGIN}sys.version_info = (3, 99, 0); sys.exit(not bootstrap._ready(''))"
    assert subprocess.call([sys.executable, "-c", asked], cwd=project) == 0
    python = project / ".venv" / "bin" / "python"
    python.unlink()
    other = project / "moved"
    shutil.copy(os.path.realpath(sys.executable), other)
    python.symlink_to(other)
    assert not is_ready(project)

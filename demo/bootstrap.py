"""Sets up .venv beside the project and installs it there, for `python3 demo` and `python3 tests`.

Standard library only, and written so that an old Python can still read it and say what is wrong. A second
run with nothing changed takes a few hundredths of a second. Two runs at once wait for each other; an
interrupted one is begun again.
"""

import contextlib
import hashlib
import os
import pathlib
import shutil
import subprocess
import sys
import time
import typing

ROOT = pathlib.Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
OLDEST = (3, 11)
NEWER = ("python3.14", "python3.13", "python3.12", "python3.11", "python3", "python")
CONSTRAINTS = ROOT / "constraints.txt"
BROWSERS = ("chromium", "chromium-browser")
BROWSER_PACKAGES = ["chromium", "libatomic1"]  # the second is what Playwright's own Node links to


def ensure(extra: str) -> pathlib.Path:
    """The interpreter of a ready .venv with the project and this extra ("" or "test") installed."""
    _use_new_enough_python()
    if _ready(extra):
        return _interpreter()
    with alone():
        if not _ready(extra):
            _install(extra)
    return _interpreter()


def run(command: "typing.Sequence[object]", cwd: pathlib.Path = ROOT) -> int:
    """Run a command in the project's environment and return its exit status."""
    environment = dict(os.environ, PYTHONUTF8="1")
    return subprocess.call([str(word) for word in command], env=environment, cwd=str(cwd))


def ensure_browser() -> bool:
    """Whether there is a Chromium for the tests of the pages, installed now where this machine lets us."""
    if not _browser():
        root = _root_words()
        if shutil.which("apt-get") and root is not None:
            sys.stderr.write("installing Chromium for the tests of the pages\n")
            quiet = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
            for words in (["update"], ["install", "--yes", "--no-install-recommends"] + BROWSER_PACKAGES):
                subprocess.call(root + ["apt-get", "-qq"] + words, stdout=subprocess.DEVNULL, env=quiet)
    if not _browser():
        sys.stderr.write("no Chromium on PATH: the tests of the pages are left out (on Debian: apt install chromium)\n")
    return bool(_browser())


def _browser() -> "typing.Optional[str]":
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def _root_words() -> "typing.Optional[typing.List[str]]":
    """What makes a command the system's own: nothing for root, sudo on a machine that only runs checks, else None."""
    if getattr(os, "geteuid", lambda: 1)() == 0:
        return []
    return ["sudo", "-n"] if os.environ.get("CI") == "true" and shutil.which("sudo") else None


def _use_new_enough_python() -> None:
    """Begin again under a newer Python where this one is too old; stop with a plain line where none is."""
    if _new_enough(sys.version_info[:2]):
        return
    for name in NEWER:
        path = shutil.which(name)
        if path and _answers(path):
            sys.stdout.flush()
            raise SystemExit(subprocess.call([path] + sys.argv))
    stop("vanstock needs Python %d.%d or newer and this is %s: install a newer Python, then run this again"
         % (OLDEST + (sys.version.split()[0],)))  # fmt: skip


def _new_enough(version: "typing.Tuple[int, ...]") -> bool:
    return version >= OLDEST


def _answers(path: str, module: str = "sys") -> bool:
    """Whether there is a Python at this path, new enough, that can import a module."""
    question = "import %s, sys; sys.exit(sys.version_info < %r)" % (module, OLDEST)
    try:
        return subprocess.call([path, "-c", question], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) == 0
    except OSError:
        return False


def stop(text: str) -> "typing.NoReturn":
    """Say why nothing more is done, and end 1."""
    sys.stderr.write(text + "\n")
    raise SystemExit(1)


def _interpreter() -> pathlib.Path:
    name = ("Scripts", "python.exe") if os.name == "nt" else ("bin", "python")
    return VENV.joinpath(*name)


def _key(extra: str) -> str:
    # The environment's own Python counts, not the one that runs this file: an upgrade moves the former.
    python = os.path.realpath(str(_interpreter()))
    digest = hashlib.sha256(repr((extra, python, str(ROOT))).encode("utf-8"))
    for path in (ROOT / "pyproject.toml", CONSTRAINTS):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _stamp(extra: str) -> pathlib.Path:
    return VENV / (".ready-%s" % (extra or "plain"))


def _ready(extra: str) -> bool:
    """Whether .venv holds what the project asks for now; the test extra holds all that the demo needs."""
    if not _interpreter().exists():
        return False
    for name in {extra, "test"}:
        with contextlib.suppress(OSError):
            if _stamp(name).read_text(encoding="utf-8") == _key(name):
                return True
    return False


@contextlib.contextmanager
def alone() -> "typing.Iterator[None]":
    """Hold the lock that keeps two set-ups apart; the second waits until the first is done."""
    with (ROOT / ".venv.lock").open("a") as lock:
        told = False
        while not _locked(lock):
            if not told:
                sys.stderr.write("another set-up is running here: waiting for it\n")
                told = True
            time.sleep(0.1)
        yield


def _locked(lock: "typing.IO[str]") -> bool:
    """Whether the lock is ours now; the system lets go of it however this program ends."""
    try:
        if os.name == "nt":
            import msvcrt

            lock.seek(0)
            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _install(extra: str) -> None:
    sys.stderr.write("setting up .venv: the first time takes a minute or two\n")
    begun = VENV / ".installing"
    if VENV.is_symlink() and not VENV.exists():
        VENV.unlink()
    elif VENV.exists() and (begun.exists() or not _answers(str(_interpreter()), "pip")):
        shutil.rmtree(str(VENV))
    if not VENV.exists():
        _make_environment(begun)
    begun.touch()
    for old in VENV.glob(".ready-*"):
        old.unlink()
    target = ".[%s]" % extra if extra else "."
    _pip("install", "--quiet", "--disable-pip-version-check", "--editable", target, "--constraint", str(CONSTRAINTS))
    subprocess.call([str(_interpreter()), "-m", "compileall", "-q", str(ROOT / "vanstock")])
    _stamp(extra).write_text(_key(extra), encoding="utf-8")
    begun.unlink()


def _make_environment(begun: pathlib.Path) -> None:
    VENV.mkdir()
    begun.touch()
    python = getattr(sys, "_base_executable", None) or sys.executable  # ours may have been in the old .venv
    made = subprocess.run([python, "-m", "venv", str(VENV)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if made.returncode != 0:
        shutil.rmtree(str(VENV), ignore_errors=True)
        stop("this Python cannot make a virtual environment: install its venv module (on Debian and Ubuntu: "
             "apt install python3-venv), then run this again\n" + made.stdout.decode("utf-8", "replace")[-600:])  # fmt: skip


def _pip(*words: str) -> None:
    command = [str(_interpreter()), "-m", "pip"] + list(words)
    done = subprocess.run(command, cwd=str(ROOT), stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode != 0:
        tail = "\n".join(done.stdout.decode("utf-8", "replace").splitlines()[-12:])
        stop("installing failed; what pip said last:\n%s\nCheck the network, then run this again" % tail)

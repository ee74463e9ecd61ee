"""A phone for the tests of the pages: Chromium on a name that is not localhost, a real server, the demo firm's ledger.

A browser treats localhost as a safe place and any other http address as an unsafe one, where much is missing; the name
`van.test` (reserved for tests, RFC 6761) is therefore mapped to this machine. Between the two lies a `Line` that may be
bad. Without Chromium these tests are left out, or fail where CI=true.
"""

from __future__ import annotations

import os
import shutil
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.hand import JOB
from tests.browser.proxy import Line
from vanstock.web.devices import Devices

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

ROOT = Path(__file__).parents[2]
NAME = "van.test"
NOW = "2027-03-01T07:30"
WIDTH, HEIGHT = 390, 844
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", f"--host-resolver-rules=MAP {NAME} 127.0.0.1",
)  # fmt: skip


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--pictures", action="store_true", help="draw the pictures of the documentation anew")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    drawn = config.getoption("--pictures", default=False)
    return True if collection_path.name == "test_pictures.py" and not drawn else None


def _absent(why: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{why}, and CI=true: the tests of the pages must run", pytrace=False)
    pytest.skip(f"{why}: the tests of the pages are left out (on Debian: apt install chromium libatomic1)")


def vanstock(ledger: Path, *words: str, now: str = NOW) -> list[str]:
    return [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", now, *words]


class Laptop:
    """`vanstock serve` as a process of its own, on a ledger that can be put back to how it was; over https with
    `--tls` among the `more` words."""

    def __init__(self, ledger: Path, *more: str) -> None:
        self.fresh, self.ledger = ledger, ledger.with_name(f"served{''.join(more)}.db")
        self.more, self.scheme = more, "https" if "--tls" in more else "http"
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            self.port: int = found.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None
        self.put_back()

    def put_back(self) -> None:
        copy = self.ledger.with_suffix(".new")
        shutil.copy(self.fresh, copy)
        copy.replace(self.ledger)

    def start(self) -> None:
        words = vanstock(self.ledger, "serve", "--host", "127.0.0.1", "--port", str(self.port), "--name", NAME)
        words += self.more
        anybody = ssl._create_unverified_context()  # only whether it answers is asked here
        log = self.ledger.with_suffix(".log").open("ab")
        self.process = subprocess.Popen(words, cwd=ROOT, stdout=log, stderr=log)
        log.close()
        for _ in range(600):
            with suppress(OSError):
                address = f"{self.scheme}://127.0.0.1:{self.port}/pair"
                urllib.request.urlopen(address, timeout=5, context=anybody).close()
                return
            time.sleep(0.05)
        pytest.fail(f"the server did not start: {self.ledger.with_suffix('.log').read_text()}")

    def kill(self) -> None:
        assert self.process
        self.process.kill()
        self.process.wait()

    def entries(self, *words: str) -> str:
        """What a command of the terminal says about the ledger as it is now."""
        return subprocess.run(
            vanstock(self.ledger, *words), cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout  # fmt: skip


def pair(context: BrowserContext, laptop: Laptop, name: str) -> None:
    """Give a phone the cookie that pairing would have given it."""
    devices = Devices(laptop.ledger)
    token = devices.pair(devices.new_code(), name)
    cookie = {"name": f"vanstock_{laptop.port}", "value": token, "domain": NAME, "path": "/"}
    context.add_cookies([cookie])  # type: ignore[list-item]


@pytest.fixture(scope="module")
def launch() -> Iterator[Callable[..., Browser]]:
    """Starts browsers: `launch("--some-flag")`. Stopped after each file: Playwright keeps an event loop running, beside
    which no test of another folder could run its own."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if not found:
        _absent("there is no Chromium on PATH")
    from playwright.sync_api import Error, sync_playwright

    try:
        player = sync_playwright().start()
    except (Error, OSError) as error:
        _absent(f"Playwright does not start ({error})")
    yield lambda *more: player.chromium.launch(executable_path=found, args=[*FLAGS, *more])
    player.stop()


@pytest.fixture(scope="module")
def chromium(launch: Callable[..., Browser]) -> Iterator[Browser]:
    browser = launch()
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Laptop]:
    ledger = tmp_path_factory.mktemp("firm") / "firm.db"
    imported = vanstock(ledger, "import", str(ROOT / "demo" / "firm"), now="2027-02-28T18:00")
    subprocess.run(imported, cwd=ROOT, capture_output=True, check=True)
    laptop = Laptop(ledger)
    laptop.start()
    yield laptop
    laptop.kill()


@pytest.fixture
def laptop(served: Laptop) -> Laptop:
    """The server with the ledger as it was imported."""
    served.put_back()
    return served


@pytest.fixture
def line(laptop: Laptop) -> Iterator[Line]:
    made = Line(laptop.port)
    yield made
    made.close()


@pytest.fixture
def new_phone(chromium: Browser, laptop: Laptop, line: Line) -> Iterator[Callable[..., BrowserContext]]:
    """Makes phones, paired unless told otherwise: `new_phone()`, `new_phone(color_scheme="dark")`."""
    made: list[BrowserContext] = []
    faults: list[str] = []

    def one(*, paired: bool = True, width: int = WIDTH, height: int = HEIGHT, **options: object) -> BrowserContext:
        viewport = {"width": width, "height": height}
        base = f"http://{NAME}:{line.port}"
        context = chromium.new_context(viewport=viewport, base_url=base, **options)  # type: ignore[arg-type]
        context.set_default_timeout(10_000)
        made.append(context)
        if paired:
            pair(context, laptop, f"phone {time.monotonic_ns()}")
        context.on("weberror", lambda error: faults.append(str(error.error)))
        context.on("console", lambda told: faults.append(told.text) if "Security Policy" in told.text else None)
        return context

    yield one
    for context in made:
        context.close()
    assert faults == []


@pytest.fixture
def phone(new_phone: Callable[..., BrowserContext]) -> Page:
    """A page of a paired phone, upright."""
    return new_phone().new_page()


@pytest.fixture
def job(phone: Page) -> Page:
    """The job's page on a phone."""
    phone.goto(f"/job/{JOB}")
    return phone


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pictures of the pages are put, for a person to look at."""
    return tmp_path_factory.mktemp("pictures")

"""The first view of a page in Chromium on a slow line and phone, by the browser's own throttling. For `web.py`."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from playwright.sync_api import Browser

LATENCY_MS, DOWN_BITS, UP_BITS, CPU = 150, 1_600_000, 750_000, 4
PROFILE = f"{DOWN_BITS / 1e6:g} Mbit/s down, {UP_BITS / 1e6:g} up, {LATENCY_MS} ms round trip, CPU {CPU} x slower"
"""The "slow 4G" that browsers' own tools offer, from memory."""
TIMES = 5
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


class View(NamedTuple):
    """What was fetched, in bytes with headers and in requests, and after how many milliseconds something was seen."""

    weight: int
    requests: int
    painted: float


@contextmanager
def serving(app: Any) -> Iterator[int]:
    """An application under uvicorn in a thread; its port."""
    import uvicorn

    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield int(listening.getsockname()[1])
    server.should_exit = True
    thread.join(10)


def look(pages: Sequence[tuple[int, dict[str, str] | None]]) -> list[list[View]]:
    """Several first views of what each port shows at /, in turn; nothing where there is no Chromium."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if not found:
        return []
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=found, args=FLAGS)
        seen: list[list[View]] = [[] for _ in pages]
        for _ in range(TIMES + 1):  # the first warms the browser and the server up
            for place, (port, cookie) in enumerate(pages):
                seen[place].append(_view(browser, port, cookie))
        browser.close()
    return [views[1:] for views in seen]


def _view(browser: Browser, port: int, cookie: dict[str, str] | None) -> View:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    if cookie:
        context.add_cookies([cookie])  # type: ignore[list-item]
    page = context.new_page()
    line = context.new_cdp_session(page)
    weights: list[float] = []
    line.on("Network.loadingFinished", lambda told: weights.append(told["encodedDataLength"]))
    line.send("Network.enable")
    slow = {"latency": LATENCY_MS, "downloadThroughput": DOWN_BITS / 8, "uploadThroughput": UP_BITS / 8}
    line.send("Network.emulateNetworkConditions", {"offline": False, **slow})
    line.send("Emulation.setCPUThrottlingRate", {"rate": CPU})
    page.goto(f"http://127.0.0.1:{port}/", wait_until="networkidle")
    painted = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? Infinity")
    context.close()
    return View(round(sum(weights)), len(weights), float(painted))

"""Prints how long the phone face takes to answer, beside a bare Starlette page asked in turn in the same run.

Both are called without a network, as a server would call them. An act is shown beside its own disk sync: the same bytes
written to a file and synced as often as a rollback journal does it. Not a test: run it with
`.venv/bin/python tests/benchmarks/web.py`.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

from vanstock.web.app import create_app
from vanstock.web.desk import Desk
from vanstock.web.devices import Devices

ROOT = Path(__file__).parents[2]
HOST = "van.test:8040"
RUNS = 40
SYNCS = 4
"""Of a transaction under a rollback journal with synchronous FULL: journal twice, database, folder."""


async def ask(app: Any, path: str, *, cookie: str = "", form: dict[str, str] | None = None) -> int:
    """Call an application as a server does, and return the status."""
    path, _, query = path.partition("?")
    headers = [(b"host", HOST.encode()), (b"cookie", cookie.encode()), (b"accept", b"application/json")]
    body = urlencode(form or {}).encode()
    if form:
        headers += [(b"origin", f"http://{HOST}".encode()), (b"content-type", b"application/x-www-form-urlencoded")]
    scope = {
        "type": "http", "method": "POST" if form else "GET", "path": path, "raw_path": path.encode(), "scheme": "http",
        "query_string": query.encode(), "headers": headers, "server": ("127.0.0.1", 8040), "client": ("127.0.0.1", 1),
        "http_version": "1.1", "root_path": "", "asgi": {"version": "3.0"},
    }  # fmt: skip
    status = 0

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        nonlocal status
        status = message.get("status", status)

    await app(scope, receive, send)
    return status


def bare() -> Starlette:
    """The least page there is."""

    async def page(_: Request) -> HTMLResponse:
        return HTMLResponse("<p>ok")

    return Starlette(routes=[Route("/", page)])


def milliseconds(work: Callable[[], object]) -> float:
    """How long something takes."""
    begun = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - begun)


def sync_alone(folder: Path) -> None:
    """As many syncs as one entry costs, of a page each."""
    with (folder / "synced").open("wb") as file:
        for _ in range(SYNCS):
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())


def main() -> None:
    """Make the demo firm's ledger, ask every page, print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ledger = folder / "firm.db"
        shutil.copytree(ROOT / "demo" / "firm", folder / "firm")
        line = [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", "2027-02-28T18:00", "import"]
        subprocess.run([*line, str(folder / "firm")], check=True, capture_output=True, cwd=ROOT)
        devices = Devices(ledger)
        token = devices.pair(devices.new_code(), "bench")
        now = datetime(2027, 3, 1, 7, 30)
        desk = Desk(str(ledger), now, hosts=frozenset({HOST}), port=8040, devices=devices, tell=lambda _: None)
        asyncio.run(measure(create_app(desk), f"{desk.cookie}={token}", folder))


async def measure(app: Any, cookie: str, folder: Path) -> None:
    """Ask each page and act many times, each beside the bare page."""
    plain = bare()
    begun = time.perf_counter()
    await ask(app, "/", cookie=cookie)
    print(f"Today, worked out for the first time: {1000 * (time.perf_counter() - begun):.0f} ms")
    number = 0

    def fit() -> dict[str, str]:
        nonlocal number
        number += 1
        return {"act": "fit", "id": f"{number:032x}", "job": "J0782", "part": "GK-KRA-011-A", "qty": "1"}

    rows: list[tuple[str, str, Callable[[], dict[str, str]] | None]] = [
        ("Today, kept", "/", None), ("job page", "/job/J0782", None), ("find", "/find?job=J0782&q=gask", None),
        ("stock", "/stock?place=van", None), ("an act", "/act", fit),
    ]  # fmt: skip
    for what, path, form in rows:
        await ask(app, path, cookie=cookie, form=form() if form else None)
        took, beside, synced = [], [], []
        for _ in range(RUNS):
            begun = time.perf_counter()
            status = await ask(app, path, cookie=cookie, form=form() if form else None)
            took.append(1000 * (time.perf_counter() - begun))
            begun = time.perf_counter()
            await ask(plain, "/")
            beside.append(1000 * (time.perf_counter() - begun))
            synced.append(milliseconds(lambda: sync_alone(folder)) if form else 0.0)
        ratio = statistics.median(a / b for a, b in zip(took, beside, strict=True))
        disk = f", of which {statistics.median(synced):.1f} ms is what the disk sync alone takes" if form else ""
        print(f"{what:<12} {status}  {statistics.median(took):6.1f} ms  {ratio:6.0f} x a bare page{disk}")


if __name__ == "__main__":
    main()

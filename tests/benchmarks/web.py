"""Prints how long the phone face takes to answer and to be seen, beside a bare Starlette page in the same run.

Pages and acts are called without a network, as a server would call them, each in turn with the bare page: 300 parts,
104 weeks, 10 jobs today. An act is shown beside its own disk sync: the same bytes written to a file and synced as often
as a rollback journal does it. Then, on the demo firm with ten jobs today, what the first view weighs and when it is
seen in Chromium on a slow line (`web_view.py`); then four phones post 2,000 acts to `vanstock serve` with a writer at
the terminal beside, after which the ledger must hold each once. Ends 1 when a bar is missed. Not a test: run it with
`.venv/bin/python tests/benchmarks/web.py`; `--quick` leaves the 2,000 acts out.
"""

from __future__ import annotations

import asyncio
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlencode

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from starlette.applications import Starlette  # noqa: E402
from starlette.requests import Request  # noqa: E402
from starlette.responses import HTMLResponse  # noqa: E402
from starlette.routing import Route  # noqa: E402

from tests.benchmarks import web_view  # noqa: E402
from tests.benchmarks.run import make_large_firm  # noqa: E402
from tests.web import phones  # noqa: E402
from vanstock.web.app import create_app  # noqa: E402
from vanstock.web.desk import Desk  # noqa: E402
from vanstock.web.devices import Devices  # noqa: E402

HOST = "van.test:8040"
RUNS = 100
PHONES, ACTS = 4, 500
TODAY_MS, ACT_MS, VIEW_MS, VIEW_BYTES = 5, 20, 1000, 60_000
SYNCS = 4
"""Of a transaction under a rollback journal with synchronous FULL: journal twice, database, folder."""


class Took(NamedTuple):
    """How long a page took, the bare page beside it, and the disk sync alone, each time, in milliseconds."""

    status: int
    page: Sequence[float]
    bare: Sequence[float]
    sync: Sequence[float]


async def ask(app: Any, path: str, *, cookie: str = "", form: dict[str, str] | None = None) -> int:
    """Call an application as a server does, and return the status."""
    path, _, query = path.partition("?")
    headers = [
        (b"host", HOST.encode()),
        (b"cookie", cookie.encode()),
        (b"accept", b"application/json"),
        (b"accept-encoding", b"gzip"),
    ]
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


def half(times: Sequence[float]) -> float:
    """What half of them stay within."""
    return statistics.median(times)


def most(times: Sequence[float]) -> float:
    """What 95 of 100 stay within."""
    return statistics.quantiles(times, n=20)[-1]


def imported(ledger: Path, folder: Path) -> Path:
    """A ledger with what a folder holds."""
    line = [sys.executable, "-m", "vanstock", "--ledger", str(ledger), "--now", "2027-02-28T18:00", "import"]
    subprocess.run([*line, str(folder)], check=True, capture_output=True, cwd=ROOT)
    return ledger


def main() -> int:
    """Make the firms, ask, look, post; say which bars were missed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "large").mkdir()
        make_large_firm(folder / "large", booked=10)
        missed = asked(imported(folder / "large.db", folder / "large"), folder)
        demo = imported(folder / "demo.db", ROOT / "demo" / "firm")
        for number in range(6):
            family, kind = ("KRA", "LUN", "DUN", "TAV")[number % 4], ("clean", "heat-source")[number % 2]
            booking = ("booking", "add", family, kind, "--date", "2027-03-01", "--time", f"{8 + number}:15")
            subprocess.run(phones.vanstock(demo, *booking), check=True, capture_output=True, cwd=ROOT)
        missed += viewed(demo)
        if "--quick" not in sys.argv:
            missed += posted(demo)
    print("\n".join(f"MISSED: {one}" for one in missed) or "every bar is met")
    return 1 if missed else 0


def asked(ledger: Path, folder: Path) -> list[str]:
    """Ask each page and act many times, each beside the bare page; the bars that were missed."""
    devices = Devices(ledger)
    token = devices.pair(devices.new_code(), "bench")
    now = datetime(2027, 3, 1, 7, 30)
    desk = Desk(str(ledger), now, hosts=frozenset({HOST}), port=8040, devices=devices, tell=lambda _: None)
    found = asyncio.run(_measure(create_app(desk), f"{desk.cookie_for('http')}={token}", folder))
    for what, took in found.items():
        ratio = half([page / plain for page, plain in zip(took.page, took.bare, strict=True)])
        disk = f", of which {half(took.sync):.1f} ms is what the disk sync alone takes" if any(took.sync) else ""
        print(f"{what:<12} {took.status}  p50 {half(took.page):6.2f} ms  p95 {most(took.page):6.2f} ms  "
              f"{ratio:6.1f} x a bare page{disk}")  # fmt: skip
    own = half([page - sync for page, sync in zip(found["an act"].page, found["an act"].sync, strict=True)])
    today = half(found["Today, kept"].page)
    wrong = [f"{what} was answered {took.status}" for what, took in found.items() if took.status != 200]
    wrong += [f"Today: {today:.1f} ms, not under {TODAY_MS}"] if today >= TODAY_MS else []
    return wrong + ([f"an act: {own:.1f} ms beside the sync, not under {ACT_MS}"] if own >= ACT_MS else [])


async def _measure(app: Any, cookie: str, folder: Path) -> dict[str, Took]:
    plain, number = bare(), 0
    begun = time.perf_counter()
    await ask(app, "/", cookie=cookie)
    print(f"Today, worked out for the first time: {1000 * (time.perf_counter() - begun):.0f} ms")

    def fit() -> dict[str, str]:
        nonlocal number
        number += 1
        return {"act": "fit", "id": f"{number:032x}", "job": "B00", "part": "P007", "qty": "1"}

    async def timed(path: str, form: Callable[[], dict[str, str]] | None) -> Took:
        await ask(app, path, cookie=cookie, form=form() if form else None)
        took, beside, synced, status = [], [], [], 0
        for _ in range(RUNS):
            begun = time.perf_counter()
            status = await ask(app, path, cookie=cookie, form=form() if form else None)
            took.append(1000 * (time.perf_counter() - begun))
            begun = time.perf_counter()
            await ask(plain, "/")
            beside.append(1000 * (time.perf_counter() - begun))
            synced.append(milliseconds(lambda: sync_alone(folder)) if form else 0.0)
        return Took(status, took, beside, synced)

    rows: list[tuple[str, str, Callable[[], dict[str, str]] | None]] = [
        ("Today, kept", "/", None), ("load list", "/load", None), ("job page", "/job/B00", None),
        ("find", "/find?job=B00&q=P00", None), ("stock", "/stock?place=van", None), ("an act", "/act", fit),
    ]  # fmt: skip
    return {what: await timed(path, form) for what, path, form in rows}


def viewed(ledger: Path) -> list[str]:
    """See Today for the first time on a slow line, beside the bare page; the bars that were missed."""
    print(f"first view in Chromium: {web_view.PROFILE}")
    with phones.serving(ledger) as port, web_view.serving(bare()) as bare_port:
        devices = Devices(ledger)
        token = devices.pair(devices.new_code(), "view")
        cookie = {"name": f"vanstock_{port}", "value": str(token), "domain": "127.0.0.1", "path": "/"}
        seen = web_view.look([(port, cookie), (bare_port, None)])
    if not seen:
        return ["the first view was not measured: there is no Chromium"]
    (views, plain) = seen
    weight, view = views[0].weight, half([one.painted for one in views])
    print(f"Today, ten jobs: {weight:,} bytes in {views[0].requests} requests; seen after {view:.0f} ms "
          f"({half([one.painted for one in plain]):.0f} ms for a bare page)")  # fmt: skip
    wrong = [f"first view: {weight:,} bytes, not under {VIEW_BYTES:,}"] if weight >= VIEW_BYTES else []
    return wrong + ([f"first view: {view:.0f} ms, not under {VIEW_MS}"] if view >= VIEW_MS else [])


def posted(ledger: Path) -> list[str]:
    """Have four phones post 2,000 acts with a writer beside; what is wrong afterwards."""
    fields = {"job": "J0782", "part": "GK-KRA-011-A", "qty": "1"}
    begun = time.perf_counter()
    with phones.serving(ledger) as port:
        found = phones.post_at_once(ledger, port, phones=PHONES, acts=ACTS, fields=fields)
    took, each = time.perf_counter() - begun, [1000 * second for second in found.seconds]
    wrong = phones.faults_after(ledger, found, fields)
    verdict = "FAULTS" if wrong else "each act once, check clean"
    print(f"{PHONES} phones, {len(found.ids):,} acts in {took:.0f} s, {found.written} commands beside them: "
          f"an answer p50 {half(each):.0f} ms  p95 {most(each):.0f} ms  the longest {max(each):.0f} ms; "
          f"{len(found.errors) + len(found.failed)} errors, {verdict}")  # fmt: skip
    return wrong


if __name__ == "__main__":
    sys.exit(main())

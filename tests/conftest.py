"""Fixtures that every room's tests share: a small firm, and an open sitting with its ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from datetime import datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from vanstock.ledger import catalogue, untouched
from vanstock.ledger.file import Ledger, open_ledger, writing
from vanstock.model import Family, Fits, GoesWith, Part, Supplier, Usual
from vanstock.routines.session import Session

NOON = datetime(2027, 3, 1, 12, 0)


def fill_small_firm(session: Session) -> None:
    """Two families, a heat source with its gasket and bolts, a sensor, a fluid, a hose, gloves."""
    parts = [
        Part("VAP-1", "exhaust vaporiser", "vaporiser", cost=1_249_000, supplier="NEXT", superseded_by="VAP-2"),
        Part("VAP-2", "exhaust vaporiser", "vaporiser", cost=1_300_000, supplier="NEXT"),
        Part("GKT-1", "vaporiser gasket", "vaporiser gasket", cost=38_500, one_time_use=True, supplier="NEXT"),
        Part("BLT-1", "vaporiser bolt", "vaporiser bolt", cost=9_200, pack_size=10, supplier="DAY"),
        Part("SNS-1", "pressure sensor", "pressure sensor", cost=472_000, supplier="DAY", gtin="9520000000356"),
        Part("FLU-1", "filter cleaning fluid", "cleaning fluid", "LTR", 56_000, 5000, "WEEK", shelf_life_days=730),
        Part("HOS-1", "pressure hose 8 mm", "pressure hose", "MTR", 71_000, 5000, "DAY"),
        Part("GLV-1", "nitrile gloves", "gloves", "PR", 1_400, 50, "WEEK"),
    ]
    with writing(session.ledger) as ledger:
        catalogue.save_rows(ledger, Supplier, [
            Supplier("DAY", "Day Round", 0, "Mon-Fri", "11:00", 495, 7500),
            Supplier("NEXT", "Next Day", 1, "Mon-Fri", "17:00", 750, 15000),
            Supplier("WEEK", "Weekly Run", 7, "Tue", "12:00", 1200, 20000),
        ])  # fmt: skip
        catalogue.save_rows(ledger, Family, [Family("AAA", "Alder"), Family("BBB", "Beck")])
        catalogue.save_rows(ledger, Part, parts)
        catalogue.save_rows(ledger, Fits, [
            Fits("AAA", "VAP-1"), Fits("AAA", "VAP-2"), Fits("AAA", "GKT-1"), Fits("*", "BLT-1"), Fits("AAA", "SNS-1"),
            Fits("*", "FLU-1"), Fits("*", "HOS-1"), Fits("*", "GLV-1"),
        ])  # fmt: skip
        riders = [GoesWith("VAP-1", "GKT-1", 1), GoesWith("VAP-2", "GKT-1", 1), GoesWith("VAP-2", "BLT-1", 2)]
        catalogue.save_rows(ledger, GoesWith, riders)
        catalogue.save_rows(ledger, Usual, [
            Usual("heat-source", "*", "vaporiser", 0.88, 1, 8),
            Usual("heat-source", "*", "cleaning fluid", 0.85, 2000, 20),
            Usual("clean", "*", "cleaning fluid", 0.92, 2000, 20), Usual("clean", "AAA", "pressure sensor", 0.14, 1, 8),
        ])  # fmt: skip


@cache
def _as_bytes(*, filled: bool) -> bytes:
    """A new ledger's file, made once: bringing one up through every version takes longer than most tests."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "new.db"
        with closing(open_ledger(path, create=True)) as connection:
            if filled:
                fill_small_firm(Session(connection, NOON, path, True))
        return path.read_bytes()


def new_ledger(path: Path, *, filled: bool = True) -> Ledger:
    """A ledger of its own at `path`, with the small firm or empty, as if it had just been made there."""
    path.write_bytes(_as_bytes(filled=filled))
    untouched.leave_mark(path)
    return open_ledger(path)


@pytest.fixture
def new_session(tmp_path: Path) -> Iterator[Callable[..., Session]]:
    """Opens sittings with ledgers of their own: `new_session(name="a", now=...)`; closed after the test."""
    with ExitStack() as stack:

        def open_one(name: str = "ledger", now: datetime = NOON, *, filled: bool = True) -> Session:
            path = tmp_path / f"{name}.db"
            fresh = not path.exists()
            connection = new_ledger(path, filled=filled) if fresh else open_ledger(path)
            stack.callback(connection.close)
            return Session(connection, now, path, fresh)

        yield open_one


@pytest.fixture
def session(new_session: Callable[..., Session]) -> Session:
    """A sitting with the small firm's ledger, at noon on Monday 1 March 2027."""
    return new_session()

"""Fixtures for the tests of trust: the helpers beside this file, and a firm that has been at work."""

from __future__ import annotations

import hashlib
import importlib.util
from datetime import timedelta
from pathlib import Path
from types import ModuleType

import pytest

from vanstock.model import Job
from vanstock.routines import booking, job, stock
from vanstock.routines.session import Session

JOBS = ("J1", "J2", "J3", "J4")


def load(path: Path, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def processes() -> ModuleType:
    return load(Path(__file__).with_name("processes.py"), "processes_for_trust")


@pytest.fixture(scope="session")
def firm_bytes(processes: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("firm") / "ledger.db"
    session: Session = processes.session(path)
    load(Path(__file__).parents[1] / "conftest.py", "conftest_for_trust").fill_small_firm(session)
    be_at_work(session)
    session.ledger.close()
    return path.read_bytes()


@pytest.fixture
def firm(firm_bytes: bytes, tmp_path: Path) -> Path:
    """The closed ledger of a firm with bookings, stock, and a few dozen entries of every kind."""
    path = tmp_path / "ledger.db"
    path.write_bytes(firm_bytes)
    return path


def be_at_work(session: Session) -> None:
    """Book, receive, load, fit, miss, count, finish, undo; under ids that are the same every time."""
    ids = (hashlib.blake2b(bytes([number]), digest_size=16).hexdigest() for number in range(256))
    for number, name in enumerate(JOBS):
        day = session.today + timedelta(number)
        new = Job(name, day, "08:00", "AAA", "clean", reference=f"C-{number}")
        booking.add_booking(session, new, entry_id=next(ids))
    for part, qty in (("SNS-1", "40"), ("GKT-1", "60"), ("BLT-1", "9pack"), ("VAP-2", "30"), ("FLU-1", "90")):
        stock.receive(session, part, qty, carriage=495, entry_id=next(ids))
        stock.move(session, part, "3", source="store", target="van", entry_id=next(ids))
    for name in JOBS[:3]:
        job.fit(session, name, "VAP-2", with_riders=True, entry_id=next(ids))
        job.miss(session, name, "SNS-1", entry_id=next(ids))
        stock.count(session, "FLU-1", "0.5", place="van", reason="spilt", entry_id=next(ids))
    job.finish(session, "J3", ["FLU-1=1.5"], entry_id=next(ids))
    job.undo(session, undoing_id=next(ids))

"""What past lists rested on: kept when it changed, read back as it was, and carried into and out of old files."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vanstock.ledger.basis import Basis, keep, past
from vanstock.ledger.checking import check
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.restoring import as_it_was
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrations, schema_of, wanted_schema
from vanstock.model import Forecast, MinMax
from vanstock.routines.session import Session

FOUND = Forecast(
    "SNS-1", "intermittent", "TSB", (0.1, 0.05), own=True, weeks=40, weeks_with_need=12, weekly_mean=0.4,
    interval_days=6, interval_mean=0.48, interval_variance=0.61, spread="negative binomial",
    quantiles={0.5: 0.0, 0.8: 1.0, 0.9: 2.0, 0.95: 2.0, 0.975: 3.0},
)  # fmt: skip
FIRST = Basis("2027-03-05T14:00:00+00:00", MinMax("SNS-1", 2, 3, pinned=False, basis=""), FOUND)


def keep_one(session: Session, row: Basis) -> int:
    with writing(session.ledger) as ledger:
        return keep(ledger, [row])


def test_what_was_kept_comes_back_as_it_was_newest_first(session: Session) -> None:
    later = Basis("2027-03-12T14:00:00+00:00", MinMax("SNS-1", 1, 1, pinned=True, basis="pinned by hand"), FOUND)
    assert (keep_one(session, FIRST), keep_one(session, later)) == (1, 1)
    assert past(session.ledger, "SNS-1") == [later, FIRST]
    assert past(session.ledger, "GKT-1") == []
    assert [finding for finding in check(session.ledger) if finding.wrong] == []


@pytest.mark.parametrize(
    ("changed", "rows"),
    [
        ({}, 0), ({"weeks": 41}, 0), ({"weeks": 41, "weekly_mean": 0.39, "interval_mean": 0.47}, 0),
        ({"spread": "Poisson"}, 0), ({"weekly_mean": 0.3}, 1), ({"weekly_mean": 0.5}, 1), ({"weeks_with_need": 13}, 1),
        ({"method": "mean", "constants": ()}, 1), ({"constants": (0.1, 0.1)}, 1), ({"demand_class": "lumpy"}, 1),
        ({"own": False}, 1), ({"interval_days": 7}, 1),
    ],
)  # fmt: skip
def test_only_what_changed_the_levels_or_their_reasons_makes_a_row(
    session: Session, changed: dict[str, Any], rows: int
) -> None:
    keep_one(session, FIRST)
    found = FOUND._replace(**changed)
    assert keep_one(session, FIRST._replace(at="2027-03-12T14:00:00+00:00", forecast=found)) == rows
    assert len(past(session.ledger, "SNS-1")) == 1 + rows


@pytest.mark.parametrize("changed", [{"min": 1}, {"max": 4}, {"pinned": True}])
def test_other_levels_make_a_row(session: Session, changed: dict[str, Any]) -> None:
    keep_one(session, FIRST)
    assert keep_one(session, FIRST._replace(level=FIRST.level._replace(**changed))) == 1


def test_a_list_is_kept_whole_or_not_at_all(session: Session) -> None:
    stranger = FIRST._replace(forecast=FOUND._replace(part="NOT-THERE"))
    with pytest.raises(sqlite3.IntegrityError), writing(session.ledger) as ledger:
        keep(ledger, [FIRST, stranger])
    assert past(session.ledger, "SNS-1") == []


MEANS = st.floats(0, 1e9, allow_nan=False, allow_subnormal=False)


@given(
    st.lists(
        st.builds(
            lambda low, mean, constants, half, most: (low, mean, tuple(constants), {0.5: half, 0.95: most}),
            st.integers(0, 10**9), MEANS, st.lists(st.floats(0, 1), max_size=3), MEANS, MEANS,
        ),
        max_size=5,
    )
)  # fmt: skip
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50, deadline=None)
def test_the_newest_row_always_tells_the_levels_of_the_last_list(
    session: Session, lists: list[tuple[int, float, tuple[float, ...], dict[float, float]]]
) -> None:
    for low, mean, constants, quantiles in lists:
        found = FOUND._replace(weekly_mean=mean, constants=constants, quantiles=quantiles)
        row = Basis("2027-03-05T14:00:00+00:00", MinMax("SNS-1", low, low, pinned=False, basis=""), found)
        keep_one(session, row)
        newest = past(session.ledger, "SNS-1")[0]
        assert newest.level == row.level
        assert newest.forecast.constants == constants
        assert newest.forecast.weekly_mean == pytest.approx(mean, rel=0.12)
        assert keep_one(session, row) == 0


def test_the_ledger_as_it_was_at_a_moment_knows_what_lists_rested_on(session: Session, tmp_path: Path) -> None:
    keep_one(session, FIRST)
    as_it_was(session.path, session.now + timedelta(days=9), tmp_path / "then.db")
    with closing(open_ledger(tmp_path / "then.db")) as then:
        assert past(then, "SNS-1") == [FIRST]


def write_older(path: Path, version: int) -> None:
    """A ledger file with one entry, as an earlier version of the tables had it."""
    from sqlite_utils import Database, Migrations

    older = Migrations("vanstock")
    for step in list(migrations()._migrations)[:version]:
        older(name=step.name)(step.fn)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        older.apply(Database(connection))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {version}")
        connection.execute(
            """INSERT INTO part (part, description, component, unit, cost, pack_size, supplier, supplier_part,
            one_time_use, surcharge, hazard, gtin, superseded_by)
            VALUES ('SNS-1', '', 'c', 'C62', 100, 1, '', '', 0, 0, '', '', '')"""
        )
        connection.execute("COMMIT")


@pytest.mark.parametrize("version", range(1, VERSION))
def test_every_older_ledger_is_brought_up_to_date_and_can_keep_a_basis(tmp_path: Path, version: int) -> None:
    path = tmp_path / "ledger.db"
    write_older(path, version)
    with closing(open_ledger(path)) as ledger:
        assert ledger.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert wanted_schema() <= schema_of(ledger)
        assert [finding for finding in check(ledger) if finding.wrong] == []
        keep_one(Session(ledger, datetime(2027, 3, 5, 14), path), FIRST)
        assert past(ledger, "SNS-1") == [FIRST]
    (copy,) = (tmp_path / "ledger.db-copies").iterdir()
    assert copy.name.startswith(f"ledger-version-{version}-")

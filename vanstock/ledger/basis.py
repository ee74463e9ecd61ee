"""What past decisions rested on: the forecast and the min and max of each part, as they were when a list was made.

Kept so that last month's min can be explained; nothing is worked out from it, and a forecast never reads it. Rows
are added, never changed. Estimates, so means are real numbers. Called by `routines.why`.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from typing import Any, NamedTuple

from vanstock.model import Forecast, MinMax

_COLUMNS = (
    "at, part, min, max, pinned, class, method, constants, own, weeks, weeks_with_need, weekly_mean,"
    " interval_days, interval_mean, interval_variance, spread, quantiles"
)
_DRIFT = 0.1
"""How far the mean week may move, as a share, before that alone is worth a row."""


class Basis(NamedTuple):
    """A part's levels and the forecast that they came from, at a local time with its offset."""

    at: str
    level: MinMax
    forecast: Forecast


def keep(connection: sqlite3.Connection, rows: Iterable[Basis]) -> int:
    """Add the rows that differ from their part's newest, inside the caller's transaction; how many.

    A week that only passed without need makes none: then the levels, the method and the needs behind them are the
    same, until the mean week has drifted by a tenth.
    """
    last = newest(connection)
    new = [row for row in rows if row.forecast.part not in last or _differs(row, last[row.forecast.part])]
    marks = ", ".join("?" * len(_COLUMNS.split(",")))
    connection.executemany(f"INSERT INTO basis ({_COLUMNS}) VALUES ({marks})", map(_cells, new))
    return len(new)


def newest(connection: sqlite3.Connection, until: str = "9999-12-31") -> dict[str, Basis]:
    """What was kept last of each part, up to a moment, by its number."""
    sql = f"""SELECT {_COLUMNS} FROM basis WHERE seq IN
      (SELECT max(seq) FROM basis WHERE datetime(at) <= datetime(?) GROUP BY part)"""
    return {row.forecast.part: row for row in map(_read, connection.execute(sql, (until,)))}


def past(connection: sqlite3.Connection, part: str) -> list[Basis]:
    """Everything kept of a part, newest first."""
    return [_read(row) for row in connection.execute(
        f"SELECT {_COLUMNS} FROM basis WHERE part = ? ORDER BY seq DESC", (part,))]  # fmt: skip


def _differs(new: Basis, old: Basis) -> bool:
    before, now = old.forecast.weekly_mean, new.forecast.weekly_mean
    return _decisive(new) != _decisive(old) or abs(now - before) > _DRIFT * max(before, now)


def _decisive(row: Basis) -> tuple[object, ...]:
    level, found = row.level, row.forecast
    return (
        level.min, level.max, level.pinned, found.demand_class, found.method, found.constants, found.own,
        found.weeks_with_need, found.interval_days, tuple(found.quantiles),
    )  # fmt: skip


def _cells(row: Basis) -> tuple[object, ...]:
    level, found = row.level, row.forecast
    return (
        row.at, found.part, level.min, level.max, int(level.pinned), found.demand_class, found.method,
        json.dumps(found.constants), int(found.own), found.weeks, found.weeks_with_need, found.weekly_mean,
        found.interval_days, found.interval_mean, found.interval_variance, found.spread,
        json.dumps({f"{probability:g}": value for probability, value in found.quantiles.items()}),
    )  # fmt: skip


def _read(row: tuple[Any, ...]) -> Basis:
    at, part, low, high, pinned, demand_class, method, constants, own, *figures, quantiles = row
    by_probability = {float(probability): value for probability, value in json.loads(quantiles).items()}
    found = Forecast._make(
        (part, demand_class, method, tuple(json.loads(constants)), bool(own), *figures, by_probability)
    )
    return Basis(at, MinMax(part, low, high, bool(pinned), basis="pinned by hand" if pinned else ""), found)

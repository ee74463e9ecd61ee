"""The tables, guards and balances of the ledger file, as migrations.

What a person did is append-only: `entry` and its lines refuse UPDATE, DELETE and an INSERT that would replace.
`balance` and `job` are kept by triggers from those lines and can be made again from them. The one rewrite that
is let through blanks a customer's reference, a note or a digest, while the newest entry is of kind "forgotten"
(see `forgetting`). Catalogue tables (part, family, supplier ...) are plain master data, and `basis` and `said`
hold what past lists rested on and what odds were told (see `basis`, `said`). Nothing here is a rule of the
trade; called by `file`, and by `checking` to see that the guards are there.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from vanstock.ledger import orderrows

if TYPE_CHECKING:
    from sqlite_utils import Migrations

VERSION = 7
APPLICATION_ID = 0x56414E53
"""The four bytes in the file's header that say it is a vanstock ledger."""

_CATALOGUE = """
CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE supplier (
  supplier TEXT PRIMARY KEY, name TEXT NOT NULL, lead_working_days INTEGER NOT NULL,
  order_days TEXT NOT NULL, cutoff TEXT NOT NULL, carriage INTEGER NOT NULL,
  carriage_paid_over INTEGER, email TEXT NOT NULL) STRICT;
CREATE TABLE family (
  family TEXT PRIMARY KEY, name TEXT NOT NULL, year_from INTEGER, year_to INTEGER) STRICT;
CREATE TABLE part (
  part TEXT PRIMARY KEY, description TEXT NOT NULL, component TEXT NOT NULL, unit TEXT NOT NULL,
  cost INTEGER NOT NULL CHECK (cost >= 0), pack_size INTEGER NOT NULL CHECK (pack_size > 0),
  supplier TEXT NOT NULL, supplier_part TEXT NOT NULL, lead_working_days INTEGER,
  one_time_use INTEGER NOT NULL, surcharge INTEGER NOT NULL, shelf_life_days INTEGER,
  weight_grams INTEGER, hazard TEXT NOT NULL, gtin TEXT NOT NULL, superseded_by TEXT NOT NULL) STRICT;
CREATE INDEX part_gtin ON part (gtin) WHERE gtin <> '';
CREATE TABLE fits (
  family TEXT NOT NULL, part TEXT NOT NULL REFERENCES part (part), share REAL NOT NULL,
  PRIMARY KEY (family, part)) STRICT;
CREATE TABLE goes_with (
  part TEXT NOT NULL REFERENCES part (part), also TEXT NOT NULL REFERENCES part (part),
  qty INTEGER NOT NULL CHECK (qty > 0), PRIMARY KEY (part, also)) STRICT;
CREATE TABLE usual (
  job_type TEXT NOT NULL, family TEXT NOT NULL, component TEXT NOT NULL, probability REAL NOT NULL,
  qty INTEGER NOT NULL, worth_jobs REAL NOT NULL, PRIMARY KEY (job_type, family, component)) STRICT;
CREATE TABLE pinned (
  part TEXT PRIMARY KEY REFERENCES part (part), min INTEGER NOT NULL, max INTEGER NOT NULL) STRICT;
"""

_WHAT_HAPPENED = """
CREATE TABLE place (
  place TEXT PRIMARY KEY, kind TEXT NOT NULL CHECK (kind IN
  ('van', 'store', 'supplier', 'customer', 'history', 'count difference', 'write-off'))) STRICT;
CREATE TABLE entry (
  seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, at TEXT NOT NULL, kind TEXT NOT NULL,
  device TEXT NOT NULL, note TEXT NOT NULL, reverses INTEGER UNIQUE REFERENCES entry (seq),
  digest TEXT NOT NULL) STRICT;
CREATE TABLE booking (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq), job TEXT NOT NULL,
  date TEXT NOT NULL, time TEXT NOT NULL, family TEXT NOT NULL REFERENCES family (family),
  job_type TEXT NOT NULL, codes TEXT NOT NULL,
  status TEXT NOT NULL CHECK (status IN ('booked', 'done', 'cancelled')),
  van TEXT NOT NULL REFERENCES place (place), reference TEXT NOT NULL) STRICT;
CREATE INDEX booking_entry ON booking (entry);
CREATE INDEX booking_job ON booking (job, seq);
CREATE TABLE job (
  job TEXT PRIMARY KEY, date TEXT NOT NULL, time TEXT NOT NULL, family TEXT NOT NULL,
  job_type TEXT NOT NULL, codes TEXT NOT NULL, status TEXT NOT NULL, van TEXT NOT NULL,
  reference TEXT NOT NULL) STRICT;
CREATE INDEX job_date ON job (date);
CREATE TABLE movement (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq),
  part TEXT NOT NULL REFERENCES part (part), qty INTEGER NOT NULL CHECK (qty >= 0),
  from_place TEXT NOT NULL REFERENCES place (place), to_place TEXT NOT NULL REFERENCES place (place),
  value INTEGER NOT NULL CHECK (value >= 0), job TEXT REFERENCES job (job), order_no TEXT,
  CHECK (from_place <> to_place), CHECK (qty > 0 OR value > 0)) STRICT;
CREATE INDEX movement_entry ON movement (entry);
CREATE INDEX movement_part ON movement (part, seq);
CREATE INDEX movement_job ON movement (job) WHERE job IS NOT NULL;
CREATE TABLE missed (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq),
  job TEXT NOT NULL REFERENCES job (job), part TEXT NOT NULL REFERENCES part (part),
  qty INTEGER NOT NULL CHECK (qty <> 0)) STRICT;
CREATE INDEX missed_entry ON missed (entry);
CREATE INDEX missed_job ON missed (job);
CREATE TABLE counted (
  seq INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entry (seq),
  part TEXT NOT NULL REFERENCES part (part), place TEXT NOT NULL REFERENCES place (place),
  qty INTEGER NOT NULL CHECK (qty >= 0)) STRICT;
CREATE INDEX counted_entry ON counted (entry);
CREATE INDEX counted_part ON counted (part, place, seq);
CREATE TABLE balance (
  part TEXT NOT NULL REFERENCES part (part), place TEXT NOT NULL REFERENCES place (place),
  qty INTEGER NOT NULL, value INTEGER NOT NULL, count_needed INTEGER NOT NULL DEFAULT 0,
  PRIMARY KEY (part, place)) STRICT;
CREATE INDEX balance_place ON balance (place, part);
INSERT INTO place VALUES ('van', 'van'), ('store', 'store'), ('supplier', 'supplier'),
  ('customer', 'customer'), ('history', 'history'), ('count difference', 'count difference'),
  ('write-off', 'write-off');
"""

_KEPT_BY_TRIGGER = """
CREATE TRIGGER movement_moves_balance AFTER INSERT ON movement BEGIN
  INSERT INTO balance (part, place, qty, value) VALUES (NEW.part, NEW.from_place, -NEW.qty, -NEW.value)
    ON CONFLICT (part, place) DO UPDATE SET qty = qty + excluded.qty, value = value + excluded.value;
  INSERT INTO balance (part, place, qty, value) VALUES (NEW.part, NEW.to_place, NEW.qty, NEW.value)
    ON CONFLICT (part, place) DO UPDATE SET qty = qty + excluded.qty, value = value + excluded.value;
  UPDATE balance SET count_needed = 1
    WHERE part = NEW.part AND place = NEW.from_place AND qty < 0
    AND place IN (SELECT place FROM place WHERE kind IN ('van', 'store'));
END;
CREATE TRIGGER counted_settles_balance AFTER INSERT ON counted BEGIN
  INSERT INTO balance (part, place, qty, value) VALUES (NEW.part, NEW.place, 0, 0)
    ON CONFLICT (part, place) DO UPDATE SET count_needed = 0;
END;
CREATE TRIGGER booking_moves_job AFTER INSERT ON booking BEGIN
  INSERT INTO job VALUES (NEW.job, NEW.date, NEW.time, NEW.family, NEW.job_type, NEW.codes, NEW.status,
    NEW.van, NEW.reference)
    ON CONFLICT (job) DO UPDATE SET date = excluded.date, time = excluded.time,
    family = excluded.family, job_type = excluded.job_type, codes = excluded.codes,
    status = excluded.status, van = excluded.van, reference = excluded.reference;
END;
"""

GUARDED = ("entry", "movement", "missed", "counted", "booking", "seal")
_REPLACES = {
    "entry": "SELECT 1 FROM entry WHERE seq = NEW.seq OR id = NEW.id OR reverses = NEW.reverses",
    **{t: f"SELECT 1 FROM {t} WHERE seq = NEW.seq" for t in ("movement", "missed", "counted", "booking")},
    **{t: f"SELECT 1 FROM {t} WHERE seq = NEW.seq" for t in orderrows.COLUMNS},
    "seal": "SELECT 1 FROM seal WHERE entry = NEW.entry",
}
_BLANKED = {"entry": ("note", "digest"), "booking": ("reference",)}
"""The columns of a guarded table that forgetting may blank: a digest is a hash of what was said, reference too."""


def guards(table: str) -> str:
    """The triggers that make one table append-only, its lines only ever added to the newest entry."""
    refuse = f"RAISE (ABORT, 'the ledger is append-only: {table} rows are never"
    late = (
        ""
        if table == "entry"
        else f"""
CREATE TRIGGER {table}_only_with_newest_entry BEFORE INSERT ON {table}
  WHEN NEW.entry <> (SELECT max(seq) FROM entry)
  BEGIN SELECT RAISE (ABORT, 'the ledger is append-only: lines belong to the newest entry'); END;"""
    )
    return f"""
CREATE TRIGGER {table}_never_changed BEFORE UPDATE ON {table}
  BEGIN SELECT {refuse} changed'); END;
CREATE TRIGGER {table}_never_deleted BEFORE DELETE ON {table}
  BEGIN SELECT {refuse} deleted'); END;
CREATE TRIGGER {table}_never_replaced BEFORE INSERT ON {table} WHEN EXISTS ({_REPLACES[table]})
  BEGIN SELECT {refuse} replaced'); END;{late}
"""


_TRUST = """
CREATE TABLE seal (entry INTEGER PRIMARY KEY REFERENCES entry (seq), seal TEXT NOT NULL) STRICT;
CREATE TABLE forgotten (
  job TEXT PRIMARY KEY REFERENCES job (job), entry INTEGER NOT NULL REFERENCES entry (seq)) STRICT;
"""


_BASIS = """
CREATE TABLE basis (
  seq INTEGER PRIMARY KEY, at TEXT NOT NULL, part TEXT NOT NULL REFERENCES part (part),
  min INTEGER NOT NULL, max INTEGER NOT NULL, pinned INTEGER NOT NULL,
  class TEXT NOT NULL, method TEXT NOT NULL, constants TEXT NOT NULL, own INTEGER NOT NULL,
  weeks INTEGER NOT NULL, weeks_with_need INTEGER NOT NULL, weekly_mean REAL NOT NULL,
  interval_days INTEGER NOT NULL, interval_mean REAL NOT NULL, interval_variance REAL NOT NULL,
  spread TEXT NOT NULL, quantiles TEXT NOT NULL) STRICT;
CREATE INDEX basis_part ON basis (part, seq);
"""


_LEAST_ORDERS = "ALTER TABLE supplier ADD COLUMN least_order INTEGER NOT NULL DEFAULT 0;"

_BOOKED = ("seq", "entry", "job", "date", "time", "family", "job_type", "codes", "status", "van")
_READ = ("chosen", "readings")
"""What a booking says since `_known_of_a_job`: the part numbers that it is known to take, and readings."""
_JOBS_KNOWN = """
ALTER TABLE booking ADD COLUMN chosen TEXT NOT NULL DEFAULT '';
ALTER TABLE booking ADD COLUMN readings TEXT NOT NULL DEFAULT '';
ALTER TABLE job ADD COLUMN chosen TEXT NOT NULL DEFAULT '';
ALTER TABLE job ADD COLUMN readings TEXT NOT NULL DEFAULT '';
ALTER TABLE part ADD COLUMN bulk_ml INTEGER;
ALTER TABLE supplier ADD COLUMN comes_at TEXT NOT NULL DEFAULT '';
DROP TRIGGER booking_moves_job;
CREATE TRIGGER booking_moves_job AFTER INSERT ON booking BEGIN
  INSERT INTO job VALUES (NEW.job, NEW.date, NEW.time, NEW.family, NEW.job_type, NEW.codes, NEW.status,
    NEW.van, NEW.reference, NEW.chosen, NEW.readings)
    ON CONFLICT (job) DO UPDATE SET date = excluded.date, time = excluded.time,
    family = excluded.family, job_type = excluded.job_type, codes = excluded.codes,
    status = excluded.status, van = excluded.van, reference = excluded.reference,
    chosen = excluded.chosen, readings = excluded.readings;
END;
CREATE TABLE said (
  seq INTEGER PRIMARY KEY, at TEXT NOT NULL, job TEXT NOT NULL, odds REAL NOT NULL, odds_now REAL NOT NULL,
  jobs_like_it INTEGER NOT NULL) STRICT;
CREATE INDEX said_job ON said (job, seq);
"""


def _may_be_blanked(table: str, *more: str) -> str:
    """The trigger that refuses every change of a row but the blanking of those columns while forgetting."""
    blanked = " AND ".join(f"NEW.{name} IN ('', OLD.{name})" for name in _BLANKED[table])
    columns = {"entry": ("seq", "id", "at", "kind", "device", "reverses"), "booking": _BOOKED}[table]
    same = " AND ".join(f"NEW.{name} IS OLD.{name}" for name in (*columns, *more))
    return f"""
DROP TRIGGER {table}_never_changed;
CREATE TRIGGER {table}_never_changed BEFORE UPDATE ON {table}
  WHEN NOT ({blanked} AND {same}
    AND (SELECT kind FROM entry WHERE seq = (SELECT max(seq) FROM entry)) = 'forgotten')
  BEGIN SELECT RAISE (ABORT, 'the ledger is append-only: {table} rows are never changed'); END;
"""


def _first_scripts() -> list[str]:
    return [_CATALOGUE, _WHAT_HAPPENED, _KEPT_BY_TRIGGER, *(guards(t) for t in GUARDED if t != "seal")]


def _later_guards() -> list[str]:
    return [guards("seal"), *map(_may_be_blanked, _BLANKED)]


def wanted_schema() -> set[tuple[str, str, str]]:
    """Type, name and SQL of every table, index and trigger that a ledger of this version has."""
    empty = sqlite3.connect(":memory:")
    try:
        for script in (
            *_first_scripts(),
            _TRUST,
            *_later_guards(),
            _BASIS,
            *_known_scripts(),
            _LEAST_ORDERS,
            *_order_scripts(),
            *_calendar_scripts(),
        ):
            empty.executescript(script)
        return schema_of(empty)
    finally:
        empty.close()


def schema_of(connection: sqlite3.Connection) -> set[tuple[str, str, str]]:
    """Type, name and SQL of every table, index and trigger in a file."""
    return set(connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"))


def _running(scripts: Sequence[str]) -> Callable[[Any], None]:
    """A step that runs these scripts."""

    def step(db: Any) -> None:
        for script in scripts:
            db.executescript(script)

    return step


def _seal_everything(db: Any) -> None:
    from vanstock.ledger.sealing import seal_all

    db.executescript(_TRUST)
    seal_all(db.conn)
    for script in _later_guards():
        db.executescript(script)


def _known_scripts() -> list[str]:
    return [_JOBS_KNOWN, _may_be_blanked("booking", *_READ)]


def _order_scripts() -> list[str]:
    return [orderrows.SCRIPT, *map(guards, orderrows.OF_ORDERS)]


def _calendar_scripts() -> list[str]:
    return [orderrows.CALENDAR_SCRIPT, guards("calendar_event")]


def migrations() -> Migrations:
    """Every step from an empty file to `VERSION`, in order."""
    from sqlite_utils import Migrations

    steps = Migrations("vanstock")
    steps(name="0001_ledger")(_running(_first_scripts()))
    steps(name="0002_trust")(_seal_everything)
    steps(name="0003_basis")(_running([_BASIS]))
    steps(name="0004_known_of_a_job")(_running(_known_scripts()))
    steps(name="0005_least_orders")(_running([_LEAST_ORDERS]))
    steps(name="0006_orders")(_running(_order_scripts()))
    steps(name="0007_calendar_events")(_running(_calendar_scripts()))
    return steps


def migrate(connection: sqlite3.Connection) -> None:
    """Bring an open ledger to `VERSION`, inside the caller's transaction; one already there is left alone."""
    from sqlite_utils import Database

    migrations().apply(Database(connection))
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {VERSION}")

"""Reading what happened: balances, jobs, what jobs used, and the entries behind a part or a job.

Only SELECTs. Called by routines; nothing here changes the file or knows what the figures are for.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from datetime import date

from vanstock.ledger.jobrows import COLUMNS, from_row
from vanstock.model import Balance, Entry, Job, Movement, OpeningStock, PastEntry, Used


def jobs(connection: sqlite3.Connection) -> list[Job]:
    """Every job, in the order it was first booked."""
    return [from_row(row) for row in connection.execute(f"SELECT {COLUMNS} FROM job ORDER BY rowid")]


def job_named(connection: sqlite3.Connection, name: str) -> Job | None:
    """The job with this id (any case), or None."""
    sql = f"SELECT {COLUMNS} FROM job WHERE job = ?"
    row = connection.execute(sql, (name,)).fetchone() or connection.execute(f"{sql} COLLATE NOCASE", (name,)).fetchone()
    return from_row(row) if row else None


def jobs_between(connection: sqlite3.Connection, first: date, last: date) -> list[Job]:
    """The jobs from `first` to `last`, both included, in time order; a job without a time comes last."""
    rows = connection.execute(
        f"SELECT {COLUMNS} FROM job WHERE date BETWEEN ? AND ? ORDER BY date, time = '', time, rowid",
        (first.isoformat(), last.isoformat()),
    )
    return [from_row(row) for row in rows]


def booked_from(connection: sqlite3.Connection, first: date) -> list[Job]:
    """The jobs still booked for a day or a later one, in the order they were first booked."""
    sql = f"SELECT {COLUMNS} FROM job WHERE date >= ? AND status = 'booked' ORDER BY rowid"
    return [from_row(row) for row in connection.execute(sql, (first.isoformat(),))]


def done_by_kind(connection: sqlite3.Connection, *, since: date = date.min) -> list[tuple[str, str, int, str]]:
    """How many jobs of each family and type were done from a day on, and the day of the first of them."""
    sql = """SELECT family, job_type, count(*), min(date) FROM job WHERE status = 'done' AND date >= ?
      GROUP BY family, job_type ORDER BY family, job_type"""
    return connection.execute(sql, (since.isoformat(),)).fetchall()


def done_on(connection: sqlite3.Connection, van: str) -> list[tuple[str, str, str]]:
    """Family, type and day of every job that was done from a van."""
    sql = "SELECT family, job_type, date FROM job WHERE status = 'done' AND van = ? ORDER BY date, rowid"
    return connection.execute(sql, (van,)).fetchall()


def spread_of_done(
    connection: sqlite3.Connection, newest: int, most: int, *, near: Iterable[tuple[str, str]], most_near: int
) -> dict[str, float]:
    """Done jobs that stand for all, and for how many each: the `newest` of all for themselves; of the older ones of a
    kind (family, type) evenly spread ones, no more than `most`, or `most_near` of the kinds that are `near`."""
    kinds = json.dumps([list(kind) for kind in near])
    sql = """
      WITH near (family, job_type) AS (SELECT value ->> 0, value ->> 1 FROM json_each(?1)),
      done AS (SELECT job, date, time, family, job_type,
          row_number() OVER (ORDER BY date DESC, time DESC, job DESC) <= ?2 AS is_new FROM job WHERE status = 'done'),
      older AS (SELECT job, row_number() OVER kind AS n, count(*) OVER (PARTITION BY family, job_type) AS many,
          iif((family, job_type) IN near, ?4, ?3) AS most
        FROM done WHERE NOT is_new WINDOW kind AS (PARTITION BY family, job_type ORDER BY date, time, job))
      SELECT job, 1.0 FROM done WHERE is_new UNION ALL
      SELECT job, max(1.0 * many / most, 1.0) FROM older
        WHERE many <= most OR n * most / many <> (n - 1) * most / many"""
    return dict(connection.execute(sql, (kinds, newest, most, most_near)).fetchall())


def jobs_with_visits(connection: sqlite3.Connection, names: Iterable[str]) -> list[Job]:
    """These jobs, and every job of a reference that one of them has, in the order they were first booked."""
    rows = connection.execute(
        f"""WITH chosen AS (SELECT value AS job FROM json_each(?1))
        SELECT {COLUMNS} FROM job WHERE job IN chosen OR reference IN
          (SELECT reference FROM job WHERE job IN chosen AND reference <> '') ORDER BY rowid""",
        (json.dumps(list(names)),),
    )
    return [from_row(row) for row in rows]


def used_on_jobs(connection: sqlite3.Connection, names: Iterable[str]) -> list[Used]:
    """What of `used` these jobs took."""
    return _used(connection, "AND job IN (SELECT value FROM json_each(?1))", json.dumps(list(names)))


def finished_count(connection: sqlite3.Connection) -> int:
    """How many jobs are done."""
    return int(connection.execute("SELECT count(*) FROM job WHERE status = 'done'").fetchone()[0])


def used(connection: sqlite3.Connection) -> list[Used]:
    """What each job took of each part: fitted and missed, undone lines taken off, in order of entry."""
    return _used(connection, "")


def used_brought(connection: sqlite3.Connection) -> list[Used]:
    """What of `used` came from imports."""
    return _used(connection, "AND entry IN (SELECT seq FROM entry WHERE kind = 'imported')")


def used_on_job(connection: sqlite3.Connection, job: str) -> list[Used]:
    """What one job took of each part."""
    return _used(connection, "AND job = ?1", job)


def _used(connection: sqlite3.Connection, which: str, *values: str) -> list[Used]:
    sql = f"""
      SELECT job, part, sum(fitted), sum(missed) FROM (
        SELECT entry, job, part, CASE WHEN to_place = 'customer' THEN qty
               WHEN from_place = 'customer' THEN -qty ELSE 0 END AS fitted, 0 AS missed
        FROM movement WHERE job IS NOT NULL AND qty > 0 {which}
        UNION ALL SELECT entry, job, part, 0, qty FROM missed WHERE 1 {which})
      GROUP BY job, part HAVING sum(fitted) <> 0 OR sum(missed) <> 0 ORDER BY min(entry), job, part"""
    return [Used(*row) for row in connection.execute(sql, values)]


def fitted_since(connection: sqlite3.Connection, part: str, entry: int) -> int:
    """Base units of a part that jobs took after an entry, what was taken back left out."""
    row = connection.execute(
        """SELECT coalesce(sum(CASE 'customer' WHEN to_place THEN qty WHEN from_place THEN -qty ELSE 0 END), 0)
           FROM movement WHERE part = ? AND entry > ? AND job IS NOT NULL""",
        (part, entry),
    ).fetchone()
    return int(row[0])


def balances(connection: sqlite3.Connection, parts: Iterable[str] | None = None, place: str = "") -> list[Balance]:
    """What lies in vans and stores, in the order it first came there; all parts when none is named."""
    sql = """SELECT b.part, b.place, b.qty, b.value, b.count_needed FROM balance b JOIN place p USING (place)
      WHERE p.kind IN ('van', 'store')"""
    values: list[str] = []
    if parts is not None:
        values = list(parts)
        sql += f" AND b.part IN ({', '.join('?' * len(values))})"
    if place:
        sql += " AND b.place = ?"
        values.append(place)
    rows = connection.execute(sql + " ORDER BY b.rowid", values)
    return [Balance(part, where, qty, value, bool(flag)) for part, where, qty, value, flag in rows]


def on_hand(connection: sqlite3.Connection, part: str, place: str) -> int:
    """Base units of a part at one place, by the ledger."""
    row = connection.execute("SELECT qty FROM balance WHERE part = ? AND place = ?", (part, place)).fetchone()
    return int(row[0]) if row else 0


def opening_counts(connection: sqlite3.Connection) -> dict[tuple[str, str], int]:
    """The first quantity ever counted, by part and place."""
    rows = connection.execute(
        "SELECT part, place, qty FROM counted WHERE seq IN (SELECT min(seq) FROM counted GROUP BY part, place)"
    )
    return {(part, place): qty for part, place, qty in rows}


def differences(connection: sqlite3.Connection) -> list[tuple[str, str, int]]:
    """What counts after the first of a part and place found gone, or (below 0) there after all, and what was written
    off, unless because it had expired: part, local time of the entry, base units; undone entries left out.

    `+c.entry` has the counts looked up by part: an opening count of thousands of lines is one entry.
    """
    rows = connection.execute(
        """SELECT m.part, e.at, CASE WHEN p.kind IN ('count difference', 'write-off') THEN m.qty ELSE -m.qty END
        FROM movement m JOIN entry e ON e.seq = m.entry JOIN place p ON p.place = m.to_place
        WHERE m.qty > 0 AND (p.kind IN ('count difference', 'write-off') OR m.from_place = 'count difference')
          AND e.kind <> 'expired' AND e.reverses IS NULL AND NOT EXISTS (SELECT 1 FROM entry r WHERE r.reverses = e.seq)
          AND NOT EXISTS (SELECT 1 FROM counted c WHERE +c.entry = m.entry AND c.part = m.part
            AND c.place IN (m.from_place, m.to_place)
            AND c.seq = (SELECT min(d.seq) FROM counted d WHERE d.part = c.part AND d.place = c.place))
        ORDER BY e.seq, m.part"""
    )
    return [(part, at, qty) for part, at, qty in rows]


def opened_at(connection: sqlite3.Connection) -> str | None:
    """Local time of the first stock count, from which the ledger follows the stock; None before it."""
    row = connection.execute("SELECT e.at FROM counted c JOIN entry e ON e.seq = c.entry ORDER BY c.seq LIMIT 1")
    found = row.fetchone()
    return str(found[0]) if found else None


def stock_lines(connection: sqlite3.Connection) -> list[OpeningStock]:
    """Today's stock as the lines of an opening count."""
    return [OpeningStock(row.part, row.place, row.qty, row.value) for row in balances(connection)]


def entries_about(connection: sqlite3.Connection, *, part: str = "", job: str = "", limit: int = 50) -> list[PastEntry]:
    """The newest entries about a part or a job (everything when neither is named), newest first."""
    seqs = _entries_naming(connection, part, job, limit)
    return [_past(connection, seq, part, job) for seq in seqs]


def _entries_naming(connection: sqlite3.Connection, part: str, job: str, limit: int) -> list[int]:
    if not part and not job:
        rows = connection.execute("SELECT seq FROM entry ORDER BY seq DESC LIMIT ?", (limit,))
        return [row[0] for row in rows]
    tables = ("movement", "missed", *(("owing", "counted", "lot") if part else ("owing", "booking")))
    column = "part" if part else "job"
    union = " UNION ".join(f"SELECT entry FROM {table} WHERE {column} = ?" for table in tables)
    rows = connection.execute(
        f"SELECT entry FROM ({union}) ORDER BY entry DESC LIMIT ?",
        (*[part or job] * len(tables), limit),
    )
    return [row[0] for row in rows]


_OF_CLAIM = "SELECT entry FROM owing WHERE claim = ?1"
_OF_ORDER = """SELECT entry FROM order_step WHERE order_no = ?1 UNION SELECT entry FROM order_line WHERE order_no = ?1
  UNION SELECT entry FROM movement WHERE order_no = ?1 UNION SELECT entry FROM owing WHERE order_no = ?1"""


def entries_of_number(connection: sqlite3.Connection, number: str, limit: int) -> tuple[str, list[PastEntry]]:
    """What a number names, a claim or an order, and the newest entries about it, newest first; nothing when it names
    neither."""
    for what, sql in (("claim", _OF_CLAIM), ("order", _OF_ORDER)):
        rows = connection.execute(f"SELECT entry FROM ({sql}) ORDER BY entry DESC LIMIT ?2", (number, limit)).fetchall()
        if rows:
            return what, [_past(connection, row[0], "", "") for row in rows]
    return "", []


def lines_of(connection: sqlite3.Connection, entry: Entry) -> PastEntry:
    """An entry with all its lines."""
    return _past(connection, entry.seq, "", "")


def left_after(connection: sqlite3.Connection, part: str, place: str, entry: Entry) -> int:
    """Base units of a part at one place once an entry was written, whatever came after it."""
    since = connection.execute(
        "SELECT coalesce(sum(CASE WHEN to_place = ?1 THEN qty WHEN from_place = ?1 THEN -qty ELSE 0 END), 0)"
        " FROM movement WHERE part = ?2 AND entry > ?3",
        (place, part, entry.seq),
    ).fetchone()
    return on_hand(connection, part, place) - int(since[0])


def last_moment(connection: sqlite3.Connection) -> str:
    """The local time, with offset, of the newest entry; "" in an empty ledger."""
    row = connection.execute("SELECT at FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
    return str(row[0]) if row else ""


def first_id(connection: sqlite3.Connection) -> str:
    """The id of the oldest entry; "" in an empty ledger."""
    row = connection.execute("SELECT id FROM entry ORDER BY seq LIMIT 1").fetchone()
    return str(row[0]) if row else ""


def newest_by(connection: sqlite3.Connection, device: str, among: int) -> list[Entry]:
    """The entries made on a device among so many newest of all, newest first."""
    from vanstock.ledger.entries import entry_by_seq

    rows = connection.execute(
        "SELECT seq FROM entry WHERE device = ? AND seq > (SELECT max(seq) FROM entry) - ? ORDER BY seq DESC",
        (device, among),
    )
    return [entry_by_seq(connection, seq) for (seq,) in rows]


def entries_on(connection: sqlite3.Connection, day: date, most: int) -> int:
    """How many of the newest entries, `most` at the most, are of one date."""
    rows = connection.execute("SELECT at FROM entry ORDER BY seq DESC LIMIT ?", (most,))
    count = 0
    for (at,) in rows:
        if at[:10] != day.isoformat():
            break
        count += 1
    return count


def brought(connection: sqlite3.Connection) -> dict[str, Job]:
    """Each job as an import last wrote it."""
    rows = connection.execute(
        f"SELECT {COLUMNS} FROM booking WHERE seq IN (SELECT max(b.seq) FROM booking b JOIN entry e ON e.seq = b.entry"
        " WHERE e.kind = 'imported' GROUP BY b.job)"
    )
    return {row[0]: from_row(row) for row in rows}


def _past(connection: sqlite3.Connection, seq: int, part: str, job: str) -> PastEntry:
    from vanstock.ledger.entries import entry_by_seq

    which, values = ("AND part = ?", (seq, part)) if part else ("AND job = ?", (seq, job)) if job else ("", (seq,))
    by_part = which if part else ""
    movements = connection.execute(
        "SELECT part, qty, from_place, to_place, value, coalesce(job, '') FROM movement"
        f" WHERE entry = ? {which} ORDER BY seq",
        values,
    )
    missed = connection.execute(f"SELECT job, part, qty FROM missed WHERE entry = ? {which}", values)
    counted = (
        []
        if job
        else connection.execute(f"SELECT part, place, qty FROM counted WHERE entry = ? {by_part}", values).fetchall()
    )
    bookings = (
        [] if part else connection.execute(f"SELECT {COLUMNS} FROM booking WHERE entry = ? {which}", values).fetchall()
    )
    return PastEntry(
        entry_by_seq(connection, seq),
        tuple(Movement(*row) for row in movements),
        tuple(missed),
        tuple(counted),
        tuple(from_row(row) for row in bookings),
        _undone_by(connection, seq),
    )


def _undone_by(connection: sqlite3.Connection, seq: int) -> str:
    """The id of the entry that undid this one; empty when there is none, or when that was itself undone."""
    undoing = connection.execute("SELECT seq, id FROM entry WHERE reverses = ?", (seq,)).fetchone()
    return str(undoing[1]) if undoing and not _undone_by(connection, undoing[0]) else ""

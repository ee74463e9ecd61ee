"""Checking the ledger: every balance and value worked out again from what happened, and every rule tested.

Only reads. A rule is a name and a function that returns what is wrong. `damage` asks the rules that tell a
damaged file; `check` asks all. Called by `routines.trust`, `untouched` and `copies`.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime
from typing import NamedTuple

from vanstock.ledger import orderrows
from vanstock.ledger.claims import standing
from vanstock.ledger.jobrows import COLUMNS
from vanstock.ledger.orders import orders
from vanstock.ledger.schema import VERSION, schema_of, wanted_schema
from vanstock.ledger.sealing import true_seals
from vanstock.model import Finding

_MOST_TOLD = 20
Look = Callable[[sqlite3.Connection], list[str]]


class Rule(NamedTuple):
    """A rule that the ledger must keep, and how to see whether it does; `damage` when breaking it means that
    the file was changed by something other than vanstock."""

    name: str
    look: Look
    damage: bool = False


def check(connection: sqlite3.Connection, told: Callable[[Finding], None] = lambda _: None) -> list[Finding]:
    """Test every rule and return what was found, each also `told` as soon as it is known."""
    found = []
    for rule in RULES:
        found.append(_look(rule, connection))
        told(found[-1])
        if rule is RULES[0] and found[-1].wrong:
            break  # nothing read from a broken file means anything
    return found


def damage(connection: sqlite3.Connection) -> str:
    """The first sign that the file is damaged, or nothing; an older version's structure alone is looked at."""
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    for rule in RULES if version == VERSION else RULES[:1]:
        wrong = _look(rule, connection).wrong if rule.damage else ()
        if wrong:
            return f"{rule.name}: {wrong[0]}"
    return ""


def _look(rule: Rule, connection: sqlite3.Connection) -> Finding:
    try:
        return Finding(rule.name, tuple(rule.look(connection)[:_MOST_TOLD]))
    except sqlite3.DatabaseError as error:
        if "locked" in str(error):
            raise
        return Finding(rule.name, (str(error),))
    except (ValueError, TypeError, OverflowError) as error:  # a damaged file can hold anything at all
        return Finding(rule.name, (f"cannot be read: {error}",))


def _structure(connection: sqlite3.Connection) -> list[str]:
    found = [str(row[0]) for row in connection.execute(f"PRAGMA integrity_check({_MOST_TOLD})")]
    return [] if found == ["ok"] else [" ".join(text.split()) for text in found]


def _guards(connection: sqlite3.Connection) -> list[str]:
    wanted, there = wanted_schema(), schema_of(connection)
    ours = {name for _, name, _ in wanted}
    strange = {(kind, name) for kind, name, _ in there if kind == "trigger" and name not in ours}
    lost = [f"{kind} {name} is missing or changed" for kind, name, _ in sorted(wanted - there)]
    return lost + [f"{kind} {name} is not vanstock's" for kind, name in sorted(strange)]


def _orphans(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute("PRAGMA foreign_key_check")
    return [f"{table} row {row} names a {parent} that is not there" for table, row, parent, _ in rows]


def _balances(connection: sqlite3.Connection) -> list[str]:
    quantity: dict[tuple[str, str], int] = defaultdict(int)
    value: dict[tuple[str, str], int] = defaultdict(int)
    for part, qty, source, target, worth in connection.execute(
        "SELECT part, qty, from_place, to_place, value FROM movement ORDER BY seq"
    ):
        quantity[part, source] -= qty
        quantity[part, target] += qty
        value[part, source] -= worth
        value[part, target] += worth
    kept = {(part, place): (q, v) for part, place, q, v in connection.execute(
        "SELECT part, place, qty, value FROM balance")}  # fmt: skip
    wrong = []
    for key in sorted(kept.keys() | quantity.keys()):
        true = (quantity.get(key, 0), value.get(key, 0))
        if kept.get(key, (0, 0)) != true:
            wrong.append(f"{key[0]} at {key[1]}: kept {kept.get(key)}, the movements give {true}")
    return wrong


def _sums(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT part, sum(qty), sum(value) FROM balance GROUP BY part HAVING sum(qty) <> 0 OR sum(value) <> 0"
    )
    return [f"{part}: {qty} base units and {value} pence too much over all places" for part, qty, value in rows]


def _worth(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT part, sum(qty) AS q, sum(value) AS v FROM balance WHERE place IN"
        " (SELECT place FROM place WHERE kind IN ('van', 'store'))"
        " GROUP BY part HAVING (q = 0 AND v <> 0) OR (q > 0 AND v < 0) OR (q < 0 AND v > 0)"
    )
    return [f"{part}: {qty} base units worth {value} pence in all vans and stores" for part, qty, value in rows]


def _jobs(connection: sqlite3.Connection) -> list[str]:
    last = f"SELECT {COLUMNS} FROM booking WHERE seq IN (SELECT max(seq) FROM booking GROUP BY job)"
    rows = connection.execute(
        f"SELECT job FROM (SELECT {COLUMNS} FROM job EXCEPT {last})"
        f" UNION SELECT job FROM ({last} EXCEPT SELECT {COLUMNS} FROM job)"
    )
    return [f"job {job} does not stand as it was last booked" for (job,) in rows]


def _seals(connection: sqlite3.Connection) -> list[str]:
    kept = connection.execute("SELECT entry, seal FROM seal ORDER BY entry")
    for seq, true in true_seals(connection):
        row = kept.fetchone()
        if row != (seq, true):
            return [f"entry {seq} or a line of it is not as it was written"]
    return ["a seal without an entry"] if kept.fetchone() else []


def _numbers(connection: sqlite3.Connection) -> list[str]:
    lowest, highest, count = connection.execute("SELECT min(seq), max(seq), count(*) FROM entry").fetchone()
    if count and (lowest, highest) != (1, count):
        return [f"{count} entries are numbered from {lowest} to {highest}"]
    return []


def _order_of_lines(connection: sqlite3.Connection) -> list[str]:
    wrong = []
    for table in ("movement", "booking", "missed", "counted", *orderrows.COLUMNS):
        row = connection.execute(
            f"SELECT seq FROM (SELECT seq, entry, lag(entry) OVER (ORDER BY seq) AS before FROM {table})"
            " WHERE entry < before LIMIT 1"
        ).fetchone()
        if row:
            wrong.append(f"{table} row {row[0]} was put into an older entry")
    return wrong


def _undoings(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute("SELECT seq, reverses FROM entry WHERE reverses >= seq")
    return [f"entry {seq} takes back entry {undone}, which came later" for seq, undone in rows]


def _below_zero(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT part, place FROM balance JOIN place USING (place)"
        " WHERE kind IN ('van', 'store') AND qty < 0 AND count_needed = 0"
    )
    return [f"{part} at {place} is below zero and not marked for a count" for part, place in rows]


def _times(connection: sqlite3.Connection) -> list[str]:
    wrong = []
    for what, read, sql in (
        ("entry", datetime.fromisoformat, "SELECT seq, at FROM entry"),
        ("booking", date.fromisoformat, "SELECT seq, date FROM booking"),
    ):
        for seq, text in connection.execute(sql):
            try:
                read(text)
            except ValueError:
                wrong.append(f"{what} row {seq}: {text!r} is no time")
    return wrong


def _circle(pairs: list[tuple[str, str]], what: str) -> list[str]:
    from graphlib import CycleError, TopologicalSorter

    after: dict[str, list[str]] = defaultdict(list)
    for one, other in pairs:
        after[one].append(other)
    try:
        TopologicalSorter(after).prepare()
    except CycleError as error:
        return [f"{what}: {' -> '.join(reversed(error.args[1]))}"]
    return []


def _supersession(connection: sqlite3.Connection) -> list[str]:
    pairs = connection.execute("SELECT part, superseded_by FROM part WHERE superseded_by <> ''").fetchall()
    known = {row[0] for row in connection.execute("SELECT part FROM part")}
    lost = [f"{part} is superseded by {other}, which is no part" for part, other in pairs if other not in known]
    return lost + _circle(pairs, "superseded in a circle")


def _goes_with(connection: sqlite3.Connection) -> list[str]:
    return _circle(connection.execute("SELECT part, also FROM goes_with").fetchall(), "goes with itself")


def _orders(connection: sqlite3.Connection) -> list[str]:
    wrong = [
        f"order {order.order_no}, {line.part}: {line.ordered} ordered, {line.received} received, "
        f"{line.cancelled} cancelled"
        for order in orders(connection)
        for line in order.lines
        if min(line.ordered, line.received, line.cancelled, line.to_come) < 0
    ]
    lost = connection.execute(
        "SELECT DISTINCT order_no FROM movement WHERE order_no IS NOT NULL EXCEPT SELECT order_no FROM order_step"
    )
    return wrong + [f"order {name} is not in the ledger" for (name,) in lost]


def _closed(connection: sqlite3.Connection) -> list[str]:
    return [
        f"order {order.order_no} is {order.state} and {line.part} is still to come"
        for order in orders(connection)
        for line in order.lines
        if not order.is_open and line.to_come
    ]


def _claims(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(f"SELECT {orderrows.COLUMNS['owing']} FROM owing ORDER BY seq").fetchall()
    by_claim: dict[str, list[orderrows.Owing]] = defaultdict(list)
    for row in rows:
        by_claim[row[0]].append(orderrows.Owing(*row))
    wrong = [f"claim {name} {text}" for name, steps in by_claim.items() if (text := _cannot_be(standing(steps)))]
    for what, table, column in (("job", "job", "job"), ("order", "order_step", "order_no")):
        lost = connection.execute(
            f"SELECT DISTINCT claim, {column} FROM owing WHERE {column} <> '' AND {column} NOT IN"
            f" (SELECT {column} FROM {table})"
        )
        wrong += [f"claim {name} names the {what} {other}, which is not there" for name, other in lost]
    return wrong


def _cannot_be(rows: list[orderrows.Owing]) -> str:
    """What is impossible about the steps of a claim that stand; nothing when all is well."""
    steps = [row.step for row in rows]
    if any(row.qty <= 0 for row in rows):
        return "has a step taken back that it never took"
    if rows and steps[0] != "owed":
        return f"is {steps[0]} and was never owed"
    if len({(row.kind, row.supplier, row.part, row.qty) for row in rows}) > 1:
        return "is about more than one thing"
    if any(steps.count(step) > 1 for step in ("taken off", "sent back")):
        return "went the same way twice"
    gone = sum(row.amount for row in rows if row.step in ("credited", "given up"))
    owed = sum(row.amount for row in rows if row.step == "owed")
    return f"has {gone} pence credited and given up of {owed} owed" if gone > owed else ""


def _events(connection: sqlite3.Connection) -> list[str]:
    lost = "SELECT DISTINCT job FROM calendar_event WHERE job <> '' EXCEPT SELECT job FROM job"
    return [f"an event of a calendar is the job {job}, which is not there" for (job,) in connection.execute(lost)]


def _less_than_nothing(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT job, part, sum(qty) FROM missed GROUP BY job, part HAVING sum(qty) < 0 UNION ALL"
        " SELECT job, part, sum(CASE WHEN to_place = 'customer' THEN qty WHEN from_place = 'customer' THEN -qty"
        " ELSE 0 END) AS total FROM movement WHERE job IS NOT NULL GROUP BY job, part HAVING total < 0"
    )
    return [f"job {job}: {qty} base units of {part}" for job, part, qty in rows]


def _forgotten(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT f.job FROM forgotten f JOIN booking b ON b.job = f.job WHERE b.reference <> '' AND b.seq ="
        " (SELECT max(seq) FROM booking last WHERE last.job = f.job AND last.entry <= f.entry)"
    )
    return [f"job {job} still names its customer" for (job,) in rows]


RULES = (
    Rule("the file's own structure is whole", _structure, damage=True),
    Rule("the tables and the guards against change are in the file", _guards, damage=True),
    Rule("every line names an entry, a part, a job and places that are there", _orphans, damage=True),
    Rule("every balance and value is the sum of its movements", _balances, damage=True),
    Rule("over all places every part and its value add up to nothing", _sums, damage=True),
    Rule("no stock is worth less than nothing, and none is worth something when it is gone", _worth),
    Rule("every job stands as it was last booked", _jobs, damage=True),
    Rule("entries are numbered without a gap", _numbers, damage=True),
    Rule("every line was written with its own entry", _order_of_lines, damage=True),
    Rule("no entry or line was changed since it was written", _seals, damage=True),
    Rule("every time and date can be read", _times, damage=True),
    Rule("an entry is only undone by a later one", _undoings, damage=True),
    Rule("what is below zero is marked for a count", _below_zero, damage=True),
    Rule("no job has less than nothing fitted or missed", _less_than_nothing),
    Rule("no part is superseded in a circle", _supersession),
    Rule("no part goes with itself in a circle", _goes_with),
    Rule("of every order line no more has come or was cancelled than was ordered", _orders),
    Rule("of no closed order anything is still to come", _closed),
    Rule("no claim goes back twice, or has more credited or given up than is owed", _claims),
    Rule("every event of a calendar that is a job is one that is there", _events),
    Rule("what was forgotten stays forgotten", _forgotten),
)
"""Every rule, the structure of the file first."""

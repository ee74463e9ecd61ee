"""Master data in the ledger file: parts, families, suppliers, what fits what, places, settings, pins.

Plain current tables, changed row by row on import; not part of what happened. Called by routines.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, TypeVar

from vanstock.errors import BadValue, NotFound
from vanstock.model import Catalogue, Family, Fits, GoesWith, Part, Place, Supplier, Usual, Word
from vanstock.quantity import round_half_up

Row = TypeVar("Row", Supplier, Family, Part, Fits, GoesWith, Usual)

_TABLES: dict[type[Any], tuple[str, tuple[str, ...]]] = {
    Supplier: ("supplier", ("supplier",)),
    Family: ("family", ("family",)),
    Part: ("part", ("part",)),
    Fits: ("fits", ("family", "part")),
    GoesWith: ("goes_with", ("part", "also")),
    Usual: ("usual", ("job_type", "family", "component")),
}


def _columns(kind: type[Any]) -> list[str]:
    return list(kind._fields)


def rows_of(connection: sqlite3.Connection, kind: type[Row], where: str = "", *values: str) -> list[Row]:
    """All rows of one master table as its dataclass, in the order they first came in."""
    table, _ = _TABLES[kind]
    names = ", ".join(_columns(kind))
    found = connection.execute(f"SELECT {names} FROM {table} {where} ORDER BY rowid", values)
    flag = _columns(Part).index("one_time_use") if kind is Part else None
    return [kind(*_with_flag(row, flag)) for row in found]


def _with_flag(row: tuple[Any, ...], flag: int | None) -> tuple[Any, ...]:
    return row if flag is None else (*row[:flag], bool(row[flag]), *row[flag + 1 :])


def read_catalogue(connection: sqlite3.Connection) -> Catalogue:
    """Everything known of parts, families and suppliers."""
    return Catalogue(
        parts={row.part: row for row in rows_of(connection, Part)},
        families={row.family: row for row in rows_of(connection, Family)},
        suppliers={row.supplier: row for row in rows_of(connection, Supplier)},
        fits=tuple(rows_of(connection, Fits)),
        goes_with=tuple(rows_of(connection, GoesWith)),
        usual=tuple(rows_of(connection, Usual)),
    )


def save_rows(connection: sqlite3.Connection, kind: type[Row], rows: Iterable[Row]) -> int:
    """Add or change master rows, by key, inside the caller's transaction; how many were new or changed."""
    table, keys = _TABLES[kind]
    names = _columns(kind)
    others = [name for name in names if name not in keys]
    changes = ", ".join(f"{name} = excluded.{name}" for name in others)
    differs = " OR ".join(f"{table}.{name} IS NOT excluded.{name}" for name in others)
    sql = (
        f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
        f" ON CONFLICT ({', '.join(keys)}) DO UPDATE SET {changes} WHERE {differs}"
    )
    before = connection.total_changes
    connection.executemany(sql, (tuple(_stored(value) for value in row) for row in rows))
    return connection.total_changes - before


def _stored(value: Any) -> Any:
    return int(value) if isinstance(value, bool) else value


def part_by_number(connection: sqlite3.Connection, number: str) -> Part | None:
    """The part with this number (any case) or GTIN, or None."""
    exact = rows_of(connection, Part, "WHERE part = ?", number)
    found = exact or rows_of(connection, Part, "WHERE part = ? COLLATE NOCASE", number)
    if not found and number.isdigit():
        found = rows_of(connection, Part, "WHERE gtin <> '' AND ltrim(gtin, '0') = ltrim(?, '0')", number)
    return found[0] if len(found) == 1 else None


def part_names(connection: sqlite3.Connection) -> list[Part]:
    """Every part, for finding one by words."""
    return rows_of(connection, Part)


def parts_of_family(connection: sqlite3.Connection, family: str) -> set[str]:
    """The part numbers that fit a family, universal ones with them."""
    found = connection.execute("SELECT part FROM fits WHERE family IN (?, '*')", (family,))
    return {row[0] for row in found}


def goes_with(connection: sqlite3.Connection, part: str) -> list[GoesWith]:
    """What goes on new with one unit of this part."""
    return rows_of(connection, GoesWith, "WHERE part = ?", part)


def places(connection: sqlite3.Connection, *kinds: str) -> list[Place]:
    """The places of these kinds (all vans and stores when none is named)."""
    wanted = kinds or ("van", "store")
    marks = ", ".join("?" * len(wanted))
    found = connection.execute(f"SELECT place, kind FROM place WHERE kind IN ({marks}) ORDER BY rowid", wanted)
    return [Place(*row) for row in found]


def place_named(connection: sqlite3.Connection, name: str, *kinds: str) -> Place:
    """The van or store with this name; raises `NotFound` naming those there are."""
    known = places(connection, *kinds)
    for place in known:
        if place.place.casefold() == name.casefold():
            return place
    wanted = " or ".join(kinds or ("van", "store"))
    names = ", ".join(place.place for place in known)
    raise NotFound(f"no {wanted} named {name!r}: there is {names}; `vanstock place add` makes another")


def add_place(connection: sqlite3.Connection, place: Place) -> bool:
    """Add a van or store inside the caller's transaction; False when it is already there."""
    found = connection.execute("SELECT kind FROM place WHERE place = ? COLLATE NOCASE", (place.place,)).fetchone()
    if found is None:
        connection.execute("INSERT INTO place VALUES (?, ?)", (place.place, place.kind))
        return True
    if found[0] != place.kind:
        raise BadValue(f"{place.place!r} is already the name of a {found[0]}: choose another name")
    return False


def setting(connection: sqlite3.Connection, name: str) -> str | None:
    """The stored value of a setting, or None."""
    row = connection.execute("SELECT value FROM setting WHERE name = ?", (name,)).fetchone()
    return str(row[0]) if row else None


def cost_with_vat(connection: sqlite3.Connection, cost: int) -> int:
    """A list cost as it counts in the value of stock: plus the VAT the firm cannot reclaim, as goods in have it."""
    percent = Decimal(setting(connection, "vat_added_percent") or 0)
    return round_half_up(*(cost * (100 + percent) / 100).as_integer_ratio())


def save_setting(connection: sqlite3.Connection, name: str, value: str) -> None:
    """Store a setting inside the caller's transaction."""
    connection.execute("INSERT OR REPLACE INTO setting VALUES (?, ?)", (name, value))


def pins(connection: sqlite3.Connection) -> dict[str, tuple[int, int]]:
    """The min and max pinned by hand, by part."""
    return {part: (low, high) for part, low, high in connection.execute("SELECT part, min, max FROM pinned")}


def save_pin(connection: sqlite3.Connection, part: str, levels: tuple[int, int] | None) -> None:
    """Pin a part's min and max inside the caller's transaction, or take the pin off."""
    connection.execute("DELETE FROM pinned WHERE part = ?", (part,))
    if levels is not None:
        connection.execute("INSERT INTO pinned VALUES (?, ?, ?)", (part, *levels))


def words(connection: sqlite3.Connection) -> list[Word]:
    """The phrases that a person gave a meaning, by phrase."""
    return [Word(*row) for row in connection.execute("SELECT phrase, means, value FROM word ORDER BY phrase")]


def save_word(connection: sqlite3.Connection, word: Word) -> None:
    """Give a phrase a meaning inside the caller's transaction, in the place of the one it had."""
    connection.execute("INSERT OR REPLACE INTO word VALUES (?, ?, ?)", word)


def drop_word(connection: sqlite3.Connection, phrase: str) -> bool:
    """Take a phrase's meaning away inside the caller's transaction; whether it had one."""
    return connection.execute("DELETE FROM word WHERE phrase = ?", (phrase,)).rowcount > 0

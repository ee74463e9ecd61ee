"""What a spreadsheet is taken for and would change, shown before anything is written. Called by `importing`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from vanstock.cli.show import Column, figure, many, paragraph, say, table, words
from vanstock.exchange.knowncolumns import PRICE_PER

if TYPE_CHECKING:
    from vanstock.exchange.headings import Match
    from vanstock.routines.sheetchanges import Change, Changes, PriceChange
    from vanstock.routines.sheetfile import Look

_MOST_SHOWN = 20
_EXAMPLES = 3
_LONGEST_EXAMPLE = 24
_HOW = {"spelling": "by its spelling", "remembered": "as before", "said": "as you say"}


def matching(seen: Look) -> None:
    """Which column is taken for which, with examples, and how the file had to be read."""
    rows = len(seen.headed.rows)
    sheet = f", sheet {seen.table.sheet}" if seen.table.sheet else ""
    notes = "".join(f"; {note}" for note in seen.table.notes)
    where = f"rows {seen.headed.first} and {seen.headed.number}" if seen.headed.joined else f"row {seen.headed.number}"
    below = f"{many(rows, 'row')} below"
    paragraph(f"{seen.table.file}{sheet}: headings in {where}, {below}{notes}", then="  ")
    columns = (words("their column"), Column("ours"), words("examples"), words("note"))
    table(columns, [_matched(seen, match) for match in seen.matching.matches])
    for ours, value in seen.wish.values.items():
        say(f"{ours} is {value} in every row")
    for note in seen.notes:
        paragraph(note, then="  ")
    if seen.was_remembered:
        paragraph(
            f"columns as the last time{f' for {seen.wish.supplier}' if seen.wish.supplier else ''}: --columns changes "
            "one, --match-again forgets them",
            then="  ",
        )


def _matched(seen: Look, match: Match) -> tuple[str, str, str, str]:
    ours = {"": "not used", PRICE_PER: "must be 1"}.get(match.ours, match.ours)
    note = match.why or (_HOW.get(match.how, "") if match.ours or match.how == "said" else "")
    return match.heading.text, ours, "; ".join(_examples(seen, match.heading.place)), note


def _examples(seen: Look, place: int) -> list[str]:
    found: list[str] = []
    for row in seen.headed.rows:
        cell = row.cells[place] if place < len(row.cells) else None
        if cell and cell.text and (short := _short(f"{cell.currency}{cell.text}")) not in found:
            found.append(short)
        if len(found) == _EXAMPLES:
            break
    return found


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= _LONGEST_EXAMPLE else f"{line[: _LONGEST_EXAMPLE - 3]}..."


def changes(seen: Look, *, every: bool) -> None:
    """What would be new, what changes from what to what, what stays, and what is left out."""
    found = seen.changes
    most = None if every else _MOST_SHOWN
    if found.new:
        _new(seen, found.new, most)
    if found.prices:
        _prices(found.prices, most)
    for title, rows in (("changed packs", found.packs), ("other changes", found.others)):
        if rows:
            _others(title, rows, most)
    if seen.left_out:
        _left_out(seen.left_out, most)
    say()
    paragraph("; ".join(_counts(seen, found)), then="  ")


def _counts(seen: Look, found: Changes) -> Iterator[str]:
    kind = seen.wish.kind
    yield f"new: {len(found.new)}"
    if kind == "parts":
        alerts = sum(change.alert for change in found.prices)
        yield f"prices changed: {len(found.prices)}{f', to look at twice: {alerts}' if alerts else ''}"
        yield f"packs changed: {len(found.packs)}"
    yield f"other cells changed: {len(found.others)}"
    yield f"as they are: {found.same}"
    if kind == "parts":
        whose = f"{seen.wish.supplier}'s " if seen.wish.supplier else ""
        yield f"{whose}parts not in the list, left alone: {found.not_listed}"


def _cut(count: int, most: int | None) -> None:
    if most is not None and count > most:
        say(f"and {count - most} more: --all shows them")


def _new(seen: Look, rows: Sequence[Mapping[str, str]], most: int | None) -> None:
    kept = [name for name in rows[0] if any(row[name] for row in rows[:most]) and name in _SHOWN_OF_NEW]
    say(f"\nnew {seen.wish.kind.replace('_', '-')}")
    table([words(name) if name in ("description", "name") else Column(name) for name in kept],
          [[row[name] for name in kept] for row in rows[:most]])  # fmt: skip
    _cut(len(rows), most)
    free = sum(row.get("cost") == "0.00" for row in rows)
    if free:
        say(f"{free} of them without a cost, which then is 0.00")


_SHOWN_OF_NEW = (
    "place", "kind", "supplier", "name", "family", "part", "description", "unit", "cost", "pack_size", "also",
    "job_type", "component", "probability", "job", "date", "time", "status", "fitted", "missed", "qty", "share",
)  # fmt: skip


def _prices(rows: Sequence[PriceChange], most: int | None) -> None:
    say("\nchanged prices, the largest first")
    columns = (Column("part"), words("description"), figure("was"), figure("now"), figure("change"), Column("look"))
    shown = [
        (one.part, one.description, one.was, one.now, _percent(one), "look twice" if one.alert else "")
        for one in rows[:most]
    ]
    table(columns if any(row[-1] for row in shown) else columns[:-1], shown)
    _cut(len(rows), most)


def _percent(change: PriceChange) -> str:
    return "from 0" if change.percent is None else f"{change.percent:+} %"


def _others(title: str, rows: Sequence[Change], most: int | None) -> None:
    say(f"\n{title}")
    columns = (Column("row"), Column("column"), words("was"), words("now"))
    table(columns, [(one.row, one.column, one.was or "(empty)", one.now or "(empty)") for one in rows[:most]])
    _cut(len(rows), most)


def _left_out(rows: Sequence[tuple[int, str]], most: int | None) -> None:
    say("\nrows left out")
    table((figure("row"), words("why")), [(str(number), why) for number, why in rows[:most]])
    _cut(len(rows), most)

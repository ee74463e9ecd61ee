"""Writing the import folder: the same files that `folder` reads, in one canonical way.

What is written reads back as exactly the same values. Called by `routines.setup`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from vanstock.exchange import sheets
from vanstock.exchange.csvfile import Sheet, write_rows
from vanstock.exchange.folder import FolderContents
from vanstock.model import Family, Job, OpeningStock, Part, Supplier
from vanstock.quantity import format_money, format_price, format_qty, round_half_up, unit, value_of

Cells = Sequence[str]
_MOST_DECIMALS = 15


def write_folder(folder: Path, contents: FolderContents, parts: Mapping[str, Part]) -> None:
    """Write every file that has rows; `parts` gives the units. Raises `VanstockError` when one cannot be."""
    for sheet, rows in _files(contents, parts):
        cells = list(rows)
        if cells:
            columns = _filled(sheet, cells)
            write_rows(folder / sheet.file, columns, (row[: len(columns)] for row in cells))


def cells_of(sheet: Sheet, contents: FolderContents, parts: Mapping[str, Part]) -> list[dict[str, str]]:
    """The rows of one file as they would be written, by column."""
    rows = next(rows for one, rows in _files(contents, parts) if one == sheet)
    return [dict(zip(sheet.columns, row, strict=True)) for row in rows]


def supplier_cells(row: Supplier) -> dict[str, str]:
    """A supplier as a row of suppliers.csv would be written, by column."""
    return dict(zip(sheets.SUPPLIERS.columns, _supplier(row), strict=True))


def _filled(sheet: Sheet, rows: Sequence[Cells]) -> Sequence[str]:
    """The columns of a file, without the rare ones at its end that no row fills."""
    kept = len(sheet.columns)
    while sheet.columns[kept - 1] in sheet.rarely and not any(row[kept - 1] for row in rows):
        kept -= 1
    return sheet.columns[:kept]


def _files(contents: FolderContents, parts: Mapping[str, Part]) -> Iterator[tuple[Sheet, Iterable[Cells]]]:
    components = {part.component: part.unit for part in parts.values()}
    yield sheets.PLACES, ((row.place, row.kind) for row in contents.places)
    yield sheets.SUPPLIERS, map(_supplier, contents.suppliers)
    yield sheets.FAMILIES, map(_family, contents.families)
    yield sheets.PARTS, map(_part, contents.parts)
    yield sheets.FITS, ((row.family, row.part, _number(row.share)) for row in contents.fits)
    yield (
        sheets.GOES_WITH,
        ((row.part, row.also, format_qty(row.qty, parts[row.also].unit)) for row in contents.goes_with),
    )
    yield sheets.USUAL, (
        (
            row.job_type, row.family, row.component, _number(row.probability),
            format_qty(row.qty, components.get(row.component, "C62")), _number(row.worth_jobs),
        )
        for row in contents.usual
    )  # fmt: skip
    yield sheets.JOBS, map(_job, contents.jobs)
    yield (
        sheets.USED,
        (
            (row.job, row.part, *(format_qty(qty, parts[row.part].unit) for qty in (row.fitted, row.missed)))
            for row in contents.used
        ),
    )
    yield sheets.STOCK, (_stock(row, parts[row.part]) for row in contents.stock)


def _supplier(row: Supplier) -> Cells:
    paid_over = "" if row.carriage_paid_over is None else format_money(row.carriage_paid_over)
    return (
        row.supplier, row.name, str(row.lead_working_days), row.order_days, row.cutoff, format_money(row.carriage),
        paid_over, row.email, row.comes_at, format_money(row.least_order) if row.least_order else "",
    )  # fmt: skip


def _family(row: Family) -> Cells:
    return (row.family, row.name, _maybe(row.year_from), _maybe(row.year_to))


def _part(row: Part) -> Cells:
    weight = "" if row.weight_grams is None else format_qty(row.weight_grams, "KGM")
    bulk = "" if row.bulk_ml is None else format_qty(row.bulk_ml, "LTR")
    return (
        row.part, row.description, row.component, row.unit, format_price(row.cost), format_qty(row.pack_size, row.unit),
        row.supplier, row.supplier_part, _maybe(row.lead_working_days), str(int(row.one_time_use)),
        format_money(row.surcharge), _maybe(row.shelf_life_days), weight, row.hazard, row.gtin, row.superseded_by,
        bulk,
    )  # fmt: skip


def _job(row: Job) -> Cells:
    return (
        row.job, row.date.isoformat(), row.time, row.family, row.job_type, ";".join(row.codes), row.status, row.van,
        row.reference, ";".join(row.chosen), row.readings,
    )  # fmt: skip


def _stock(row: OpeningStock, part: Part) -> Cells:
    return (row.part, row.place, format_qty(row.qty, part.unit), unit_cost(row, part))


def unit_cost(row: OpeningStock, part: Part) -> str:
    """The cost of one unit that gives the row's value back to the penny, with as few decimals as do."""
    if row.qty == 0 or value_of(row.qty, part.unit, part.cost) == row.value:
        return format_price(part.cost)
    scale = unit(part.unit).scale
    exact = Fraction(row.value * scale, 100 * row.qty)
    for decimals in range(2, _MOST_DECIMALS + 1):
        step = 10**decimals
        near = round_half_up(exact.numerator * step, exact.denominator)
        if round_half_up(row.qty * near * 100, scale * step) == row.value:
            break
    return f"{Decimal(near).scaleb(-decimals):f}"


def _maybe(number: int | None) -> str:
    return "" if number is None else str(number)


def _number(value: float) -> str:
    """The shortest decimal that is this number."""
    return f"{Decimal(repr(value)).normalize():f}"

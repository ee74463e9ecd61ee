"""Makes deliberately broken import folders from a good one: one kind of damage each, at a known file and line.

The fixture `broken` for the tests of the exchange room and of the import routines.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

GOOD = {
    "suppliers.csv": [
        "supplier,name,lead_working_days,order_days,cutoff,carriage,carriage_paid_over,email",
        "DAY,Day Round,0,Mon-Fri,11:00,4.95,75.00,orders@day.example",
        "WEEK,Weekly Run,7,Tue,12:00,12.00,200.00,",
    ],
    "families.csv": ["family,name,year_from,year_to", "AAA,Alder,2010,2014", "BBB,Beck,2015,2019", "CCC,Crane,,"],
    "parts.csv": [
        "part,description,component,unit,cost,pack_size,supplier,gtin,superseded_by",
        "VAP-1,vaporiser,vaporiser,C62,124.90,1,DAY,9520000000011,VAP-2",
        "VAP-2,vaporiser,vaporiser,C62,130.00,1,DAY,,",
        "GKT-1,gasket,vaporiser gasket,C62,3.85,1,DAY,9520000000080,",
        "FLU-1,fluid,cleaning fluid,LTR,5.60,5,WEEK,,",
        "HOS-1,hose,pressure hose,MTR,7.10,5,DAY,,",
    ],
    "fits.csv": ["family,part,share", "AAA,VAP-1,1", "AAA,VAP-2,1", "BBB,VAP-2,0.5", "*,FLU-1,", "*,HOS-1,1"],
    "goes_with.csv": ["part,also,qty", "VAP-1,GKT-1,1", "VAP-2,GKT-1,1"],
    "usual.csv": [
        "job_type,family,component,probability,qty,worth_jobs",
        "heat-source,*,vaporiser,0.88,1,8",
        "clean,AAA,cleaning fluid,0.92,2.5,20",
    ],
    "jobs.csv": [
        "job,date,time,family,job_type,codes,status,van,reference",
        "J1,2026-05-04,08:30,AAA,clean,P2463,done,van,B-1",
        "J2,2026-05-05,09:00,BBB,heat-source,P20CB;P246B,done,van,B-2",
        "J3,2026-05-06,,CCC,clean,,cancelled,van,B-3",
        "J4,2027-03-02,10:00,AAA,clean,,booked,van,",
    ],
    "used.csv": ["job,part,fitted,missed", "J1,FLU-1,2.5,0", "J2,VAP-2,1,0", "J2,GKT-1,0,1"],
    "stock.csv": ["part,place,qty,unit_cost", "VAP-2,van,1,130.00", "FLU-1,store,10,5.60", "GKT-1,van,4,"],
}

Folder = dict[str, list[str]]
Found = tuple[str, int]


def as_bytes(folder: Folder) -> dict[str, bytes]:
    """The folder's files as they lie on disk."""
    return {name: "".join(f"{line}\r\n" for line in lines).encode() for name, lines in folder.items()}


def _set(file: str, column: str, value: str) -> Callable[[Folder, random.Random], Found]:
    """Damage that puts a bad value into a column of a random row."""

    def damage(folder: Folder, dice: random.Random) -> Found:
        lines = folder[file]
        row = dice.randrange(1, len(lines))
        cells = lines[row].split(",")
        cells[lines[0].split(",").index(column)] = value
        lines[row] = ",".join(cells)
        return file, row + 1

    return damage


def _repeat(file: str) -> Callable[[Folder, random.Random], Found]:
    def damage(folder: Folder, dice: random.Random) -> Found:
        lines = folder[file]
        lines.append(lines[dice.randrange(1, len(lines))])
        return file, len(lines)

    return damage


def _row(file: str, text: str) -> Callable[[Folder, random.Random], Found]:
    def damage(folder: Folder, _: random.Random) -> Found:
        folder[file].append(text)
        return file, len(folder[file])

    return damage


def _header(file: str, text: str) -> Callable[[Folder, random.Random], Found]:
    def damage(folder: Folder, _: random.Random) -> Found:
        folder[file][0] = text
        return file, 1

    return damage


def _column(file: str, name: str, value: str) -> Callable[[Folder, random.Random], Found]:
    """Damage that adds a column that is rarely there, with a bad value in a random row."""

    def damage(folder: Folder, dice: random.Random) -> Found:
        lines = folder[file]
        row = dice.randrange(1, len(lines))
        folder[file] = [f"{line},{name if n == 0 else value if n == row else ''}" for n, line in enumerate(lines)]
        return file, row + 1

    return damage


def _loop(folder: Folder, _: random.Random) -> Found:
    folder["parts.csv"][2] = folder["parts.csv"][2].rstrip(",") + ",,VAP-1"
    return "parts.csv", 2


def _extra_cell(folder: Folder, dice: random.Random) -> Found:
    name = dice.choice(sorted(folder))
    row = dice.randrange(1, len(folder[name]))
    folder[name][row] += ",more"
    return name, row + 1


def _quote(folder: Folder, dice: random.Random) -> Found:
    name = dice.choice(sorted(folder))
    row = dice.randrange(1, len(folder[name]))
    folder[name][row] = '"' + folder[name][row]
    return name, row + 1


DAMAGE: dict[str, Callable[[Folder, random.Random], Found]] = {
    "unknown supplier of a part": _set("parts.csv", "supplier", "NOBODY"),
    "unknown unit": _set("parts.csv", "unit", "GAL"),
    "comma decimal": _row("parts.csv", 'X-1,x,x,C62,"12,50",1,DAY,,'),
    "cost in words": _set("parts.csv", "cost", "dear"),
    "negative cost": _set("parts.csv", "cost", "-1"),
    "pack of nothing": _set("parts.csv", "pack_size", "0"),
    "negative pack": _set("parts.csv", "pack_size", "-5"),
    "wrong check digit": _set("parts.csv", "gtin", "9520000000012"),
    "GTIN of eleven digits": _set("parts.csv", "gtin", "95200000000"),
    "supersedes itself": _row("parts.csv", "X-2,x,x,C62,1,1,DAY,,X-2"),
    "superseded by nothing known": _set("parts.csv", "superseded_by", "GONE"),
    "supersession loop": _loop,
    "two units for a component": _row("parts.csv", "X-3,x,cleaning fluid,C62,1,1,DAY,,"),
    "part without a number": _set("parts.csv", "part", ""),
    "part twice": _repeat("parts.csv"),
    "supplier twice": _repeat("suppliers.csv"),
    "family twice": _repeat("families.csv"),
    "fits twice": _repeat("fits.csv"),
    "job twice": _repeat("jobs.csv"),
    "used twice": _repeat("used.csv"),
    "stock twice": _repeat("stock.csv"),
    "usual twice": _repeat("usual.csv"),
    "order day that is none": _set("suppliers.csv", "order_days", "Someday"),
    "cut-off that is no time": _set("suppliers.csv", "cutoff", "25:00"),
    "negative lead time": _set("suppliers.csv", "lead_working_days", "-1"),
    "half a day of lead": _set("suppliers.csv", "lead_working_days", "0.5"),
    "e-mail that is none": _set("suppliers.csv", "email", "somewhere"),
    "years the wrong way round": _row("families.csv", "DDD,Dell,2019,2010"),
    "year that is none": _set("families.csv", "year_from", "20x4"),
    "fits an unknown family": _set("fits.csv", "family", "ZZZ"),
    "unknown part fits": _set("fits.csv", "part", "GONE"),
    "share above one": _set("fits.csv", "share", "1.5"),
    "goes with itself": _row("goes_with.csv", "FLU-1,FLU-1,1"),
    "goes with in a loop": _row("goes_with.csv", "GKT-1,VAP-1,1"),
    "goes with an unknown part": _set("goes_with.csv", "also", "GONE"),
    "usual of an unknown component": _set("usual.csv", "component", "flux capacitor"),
    "probability in per cent": _set("usual.csv", "probability", "88"),
    "usual of an unknown family": _set("usual.csv", "family", "ZZZ"),
    "date that does not exist": _set("jobs.csv", "date", "2026-02-30"),
    "date the other way round": _set("jobs.csv", "date", "04/05/2026"),
    "time that does not exist": _set("jobs.csv", "time", "24:01"),
    "job of an unknown family": _set("jobs.csv", "family", "ZZZ"),
    "unknown van": _set("jobs.csv", "van", "lorry"),
    "store for a van": _set("jobs.csv", "van", "store"),
    "status that is none": _set("jobs.csv", "status", "maybe"),
    "done next year": _row("jobs.csv", "J9,2028-01-03,,AAA,clean,,done,van,"),
    "code with a star": _set("jobs.csv", "codes", "P24*3"),
    "job without a type": _set("jobs.csv", "job_type", ""),
    "used on an unknown job": _set("used.csv", "job", "J99"),
    "unknown part used": _set("used.csv", "part", "GONE"),
    "negative use": _set("used.csv", "fitted", "-1"),
    "a third of a gasket": _row("used.csv", "J1,GKT-1,0.333,0"),
    "nothing used": _row("used.csv", "J1,GKT-1,0,0"),
    "unknown place": _set("stock.csv", "place", "attic"),
    "unknown part in stock": _set("stock.csv", "part", "GONE"),
    "negative stock": _set("stock.csv", "qty", "-2"),
    "stock of nothing": _set("stock.csv", "qty", ""),
    "unit cost in words": _set("stock.csv", "unit_cost", "cheap"),
    "unknown column": _header("stock.csv", "part,place,qty,colour"),
    "missing column": _header("used.csv", "job,component,fitted,missed"),
    "a lead time of ten years": _set("suppliers.csv", "lead_working_days", "3650"),
    "a cost beyond anyone's means": _set("parts.csv", "cost", "99999999"),
    "more stock than there is": _set("stock.csv", "qty", "999999999999"),
    "a date before the diesel": _set("jobs.csv", "date", "0001-01-01"),
    "a worth that is no number": _set("usual.csv", "worth_jobs", "sNaN"),
    "no probability": _set("usual.csv", "probability", ""),
    "packs in a file": _row("used.csv", "J1,HOS-1,1pack,0"),
    "one GTIN on two parts": _row("parts.csv", "X-4,x,x,C62,1,1,DAY,09520000000011,"),
    "a successor in another unit": _row("parts.csv", "X-5,x,y,LTR,1,1,DAY,,VAP-2"),
    "a part in other letters": _row("parts.csv", "vap-1,x,x,C62,1,1,DAY,,"),
    "a supplier in other letters": _row("suppliers.csv", "Day,x,0,Mon-Fri,11:00,0,,"),
    "a family in other letters": _row("families.csv", "aaa,x,,"),
    "a job in other letters": _row("jobs.csv", "j1,2026-05-04,,AAA,clean,,booked,van,"),
    "a long van": _set("jobs.csv", "van", "v" * 201),
    "a long reference": _set("jobs.csv", "reference", "r" * 201),
    "a long component": _set("parts.csv", "component", "c" * 201),
    "a long supplier": _set("parts.csv", "supplier", "s" * 201),
    "a long name": _set("families.csv", "name", "n" * 201),
    "stock beyond anyone's means": _row("stock.csv", "VAP-1,van,99999999,99999"),
    "an unknown part chosen": _column("jobs.csv", "chosen", "GONE"),
    "one of two parts chosen unknown": _column("jobs.csv", "chosen", "VAP-2;GONE"),
    "a reading without a unit": _column("jobs.csv", "readings", "idle 45"),
    "a reading of an unknown kind": _column("jobs.csv", "readings", "boost 1 bar"),
    "bulk in words": _column("parts.csv", "bulk_litres", "large"),
    "negative bulk": _column("parts.csv", "bulk_litres", "-1"),
    "a time that goods cannot come": _column("suppliers.csv", "comes_at", "24:30"),
    "a least order below zero": _column("suppliers.csv", "least_order", "-5"),
    "a cell too many": _extra_cell,
    "a quote left open": _quote,
}


def broken_folders(count: int, seed: int) -> Iterator[tuple[str, dict[str, bytes], Found]]:
    """So many broken folders: what is wrong, the files, and the (file, line) that must be named."""
    dice = random.Random(seed)
    kinds = list(DAMAGE)
    for number in range(count):
        kind = kinds[number % len(kinds)]
        folder = {name: list(lines) for name, lines in GOOD.items()}
        found = DAMAGE[kind](folder, dice)
        yield f"{number}: {kind}", as_bytes(folder), found


def write(folder: Path, files: dict[str, bytes]) -> Path:
    """Put files into a folder, made for them."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder

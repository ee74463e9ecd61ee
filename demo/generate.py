"""Makes the invented firm's import folder, demo/firm, from the tables in demo/scenario.

Ullermoor Filter Rescue does not exist, nor do its vehicles, parts and suppliers. The same seed always gives
the same files: `python3 demo/generate.py` writes them again, and a test compares. Eighteen months of
finished jobs end before the demo date, Sunday 28 February 2027; the first booked jobs are on the Monday.

The traps it keeps: two vaporisers for one family, split by engine number and no replacement of each other;
numbers replaced by new ones with old stock left; hose used by the metre from 5 m rolls, fluid by the litre
from 5 L cans, gloves in pairs; one glow plug in two boxes; return visits; missed parts; a growing family.
"""

from __future__ import annotations

import csv
import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
SEED = 20_270_228
FIRST_DAY, DEMO_DATE = date(2025, 9, 1), date(2027, 2, 28)
CLOSED = {date(2025, 12, 25), date(2025, 12, 26), date(2026, 1, 1), date(2026, 4, 3), date(2026, 4, 6),
          date(2026, 12, 25), date(2026, 12, 28), date(2027, 1, 1)}  # fmt: skip
JOB_TYPES = {"J1": "clean", "J2": "heat-source", "J3": "pressure-side", "J4": "temperature-sensor", "J5": "warm-up",
             "J6": "air-side"}  # fmt: skip
POPULARITY = {"KRA": 22, "KRB": 14, "LUN": 18, "DUN": 12, "ZEL": 10, "SKV": 6, "FEN": 8, "TAV": 6}
GROWS_FROM, GROWN = date(2026, 7, 1), {"TAV": 14}
COMPONENTS = {
    "DS-LUN-030": "vaporiser fuel pump", "DS-SKV": "exhaust doser", "DS": "vaporiser", "GK-SKV-011": "doser gasket",
    "GK-KRA-011": "vaporiser gasket", "GK-LUN-011": "vaporiser gasket", "BT": "vaporiser bolt", "GP": "glow plug",
    "GC": "glow control unit", "TH": "thermostat", "GK-UNI-201": "thermostat seal",
    "ET-SKV-320": "temperature sensor after filter", "ET": "temperature sensor before filter",
    "CT": "coolant temperature sensor", "PS": "filter pressure sensor", "HS": "pressure hose", "HC": "hose clip",
    "PF": "rigid pressure pipe", "EV": "EGR valve", "GK-KRA-501": "EGR valve gasket",
    "GK-LUN-501": "EGR valve gasket", "GK-KRA-601": "filter ring gasket", "GK-LUN-601": "filter ring gasket",
    "CL-UNI-610": "V-band clamp 65 mm", "CL-UNI-611": "V-band clamp 76 mm", "NT": "exhaust nut", "ST": "exhaust stud",
    "MF": "air mass sensor", "BH": "boost hose", "FL-UNI-800": "cleaning fluid", "FL-UNI-801": "rinse fluid",
    "FL-UNI-802": "coolant", "CH-UNI-810": "intake cleaner", "CH-UNI-811": "penetrating oil",
    "CH-UNI-812": "thread paste", "CH-UNI-813": "joint sealant", "CN-UNI-820": "gloves", "CN-UNI-821": "spill pad",
}  # fmt: skip
SUCCESSOR = {"DS-KRA-010-A": "DS-KRA-010-B", "PS-KRA-400-A": "PS-KRA-400-B"}
REPLACED_ON = {"DS-KRA-010-B": date(2026, 3, 2), "PS-KRA-400-B": date(2026, 6, 1)}
HOSE_OF = {"DUN": "410", "ZEL": "410", "TAV": "410", "KRA": "411", "KRB": "411", "LUN": "411", "FEN": "411"}
SPLIT = {"DS-KRB-010-A": "0.51", "DS-KRB-020-A": "0.49"}
OTHER_BOX = {"GP-FEN-100-A": "LUN", "GP-LUN-100-A": "FEN"}
CUTOFFS = {
    "WMF": ("Mon-Fri", "11:00"),
    "ODP": ("Mon-Fri", "17:00"),
    "GWC": ("Tue", "12:00"),
    "PDP": ("Mon-Fri", "12:00"),
}
BOOKINGS = (
    ("2027-03-01", "08:00", "KRA", "heat-source", "P20CB;P246B"), ("2027-03-01", "10:30", "LUN", "pressure-side", "P2453"),
    ("2027-03-01", "13:30", "DUN", "clean", "P2463"), ("2027-03-01", "16:00", "KRB", "heat-source", "P20D0;P24A4"),
    ("2027-03-02", "08:30", "TAV", "clean", "P2463;P2452"), ("2027-03-02", "11:00", "FEN", "warm-up", "P0128"),
    ("2027-03-02", "14:30", "ZEL", "pressure-side", "P2455"), ("2027-03-03", "08:30", "LUN", "clean", "P2463"),
    ("2027-03-03", "13:00", "KRA", "warm-up", "P0380;P0671"), ("2027-03-04", "09:00", "SKV", "heat-source", "P20CC"),
    ("2027-03-04", "14:00", "KRA", "air-side", "P0401"), ("2027-03-05", "08:30", "ZEL", "clean", "P2463"),
    ("2027-03-05", "11:00", "DUN", "pressure-side", "P2452"), ("2027-03-08", "09:00", "KRA", "clean", "P2463"),
    ("2027-03-09", "09:00", "LUN", "heat-source", "P20CB"),
)  # fmt: skip
VAN = {
    "FL-UNI-800-A": "4.5", "FL-UNI-801-A": "6", "FL-UNI-802-A": "3", "GK-KRA-011-A": "1", "BT-UNI-012-A": "5",
    "DS-KRB-010-A": "1", "DS-LUN-010-A": "1", "GK-LUN-011-A": "2", "GP-KRA-100-A": "4", "GP-LUN-100-A": "2",
    "GP-DUN-100-A": "4", "TH-KRA-200-A": "1", "TH-LUN-200-A": "1", "GK-UNI-201-A": "3", "ET-KRA-310-A": "1",
    "ET-DUN-310-A": "1", "ET-LUN-310-A": "1", "PS-KRA-400-A": "1", "PS-KRA-400-B": "1", "PS-DUN-400-A": "1",
    "PS-ZEL-400-A": "1", "HS-UNI-410-A": "2.4", "HS-UNI-411-A": "1.4", "HC-UNI-412-A": "38", "GK-KRA-501-A": "2",
    "NT-UNI-620-A": "14", "ST-UNI-621-A": "6", "CH-UNI-810-A": "3", "CH-UNI-811-A": "2", "CH-UNI-812-A": "1",
    "CH-UNI-813-A": "1", "CN-UNI-820-A": "22", "CN-UNI-821-A": "30", "GC-KRA-110-A": "1", "CT-UNI-330-A": "2",
}  # fmt: skip
STORE = {
    "FL-UNI-800-A": "15", "FL-UNI-801-A": "10", "FL-UNI-802-A": "5", "DS-KRA-010-A": "1", "DS-KRA-010-B": "1",
    "GK-KRA-011-A": "3", "BT-UNI-012-A": "10", "GP-FEN-100-A": "3", "GP-ZEL-100-A": "4", "TH-FEN-200-A": "1",
    "TH-DUN-200-A": "1", "PS-TAV-400-A": "1", "PS-SKV-400-A": "1", "HS-UNI-411-A": "5", "CL-UNI-610-A": "2",
    "CL-UNI-611-A": "2", "GK-KRA-601-A": "3", "GK-LUN-601-A": "2", "EV-KRA-500-A": "1", "MF-KRA-700-A": "1",
    "BH-KRA-710-A": "1", "CN-UNI-820-A": "50", "CN-UNI-821-A": "100", "CH-UNI-811-A": "10", "GP-TAV-100-A": "4",
}  # fmt: skip

Row = dict[str, str]


@cache
def scenario(name: str) -> list[Row]:
    """The rows of one scenario table."""
    with (HERE / "scenario" / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def component(part: str) -> str:
    """What a part is on the vehicle, by the longest beginning of its number that is known."""
    return next(COMPONENTS[part[:length]] for length in range(len(part), 1, -1) if part[:length] in COMPONENTS)


def suppliers() -> Iterator[Sequence[str]]:
    """The rows of suppliers.csv; nothing is ever carriage paid where the table says 0."""
    for row in scenario("suppliers"):
        name = row["supplier"]
        paid = row["carriage_paid_over_gbp_ex_vat"]
        over = "" if float(paid) == 0 else f"{float(paid):.2f}"
        carriage = f"{float(row['carriage_gbp']):.2f}"
        yield (
            name,
            row["name"],
            row["lead_working_days"],
            *CUTOFFS[name],
            carriage,
            over,
            f"orders@{name.lower()}.example",
        )


def families() -> Iterator[Sequence[str]]:
    """The rows of families.csv."""
    for row in scenario("families"):
        yield row["family"], f"{row['maker']} {row['model']} {row['litres']}", row["year_from"], row["year_to"]


def parts() -> Iterator[Sequence[str]]:
    """The rows of parts.csv."""
    for row in scenario("parts"):
        life = row["shelf_life_months"]
        yield (
            row["sku"], row["description"], component(row["sku"]), row["unit_rec20"], row["cost_gbp_ex_vat"],
            row["pack_size"], row["supplier"], row["supplier_part_no"], row["lead_working_days"], row["one_time_use"],
            row["core_charge_gbp"], str(int(life) * 365 // 12) if life else "", f"{float(row['weight_kg']):g}",
            row["transport_hazard"], row["gtin13_demo_prefix_952"], SUCCESSOR.get(row["sku"], ""),
        )  # fmt: skip


def fits() -> Iterator[Sequence[str]]:
    """The rows of fits.csv: hose by the size of the pressure port, the other box of a plug with share 0."""
    for row in scenario("parts"):
        part = row["sku"]
        if part.startswith("HS-"):
            yield from ((name, part, "1") for name, size in HOSE_OF.items() if size in part)
        else:
            names = ["*"] if row["fits"] == "universal" else row["fits"].split("+")
            yield from ((name, part, SPLIT.get(part, "1")) for name in names)
        if part in OTHER_BOX:
            yield OTHER_BOX[part], part, "0"


def goes_with() -> Iterator[Sequence[str]]:
    """The rows of goes_with.csv that always hold; clips are six to the metre of hose."""
    certain = [row for row in scenario("goes_with") if float(row["probability"]) == 1 and float(row["qty"]) >= 1]
    for row in certain:
        qty = "6" if row["also"].startswith("HC-") else f"{float(row['qty']):g}"
        for part in (row["when_fitted"], *(old for old, new in SUCCESSOR.items() if new == row["when_fitted"])):
            yield part, row["also"], qty


def usual() -> Iterator[Sequence[str]]:
    """The rows of usual.csv: one for every family where all agree, else one for each."""
    table: dict[tuple[str, str], dict[str, tuple[float, str, str]]] = defaultdict(dict)
    for row in scenario("job_parts"):
        cell = table[JOB_TYPES[row["job"]], component(row["sku"])]
        before = cell.get(row["family"], (0.0, "", ""))[0]
        qty = f"{float(row['qty_if_used']):g}"
        cell[row["family"]] = (round(before + float(row["prior_probability"]), 4), qty, row["prior_strength_jobs"])
    for (job_type, what), cell in table.items():
        everyone = set(cell.values())
        named = {"*": everyone.pop()} if len(everyone) == 1 else cell
        for family, (probability, qty, worth) in named.items():
            yield job_type, family, what, f"{probability:g}", qty, worth


@dataclass
class Past:
    """The jobs made so far, what they used, and return visits still to come, by date."""

    dice: random.Random
    jobs: list[Sequence[str]] = field(default_factory=list)
    used: list[Sequence[str]] = field(default_factory=list)
    returns: dict[date, list[tuple[Row, dict[str, float]]]] = field(default_factory=lambda: defaultdict(list))
    references: int = 1000

    def book(self, day: date, time: str, family: str, job_type: str, codes: str, reference: str, status: str) -> str:
        """Add a job and return its id."""
        name = f"J{len(self.jobs) + 1:04d}"
        self.jobs.append((name, day.isoformat(), time, family, job_type, codes, status, "van", reference))
        return name

    def next_reference(self) -> str:
        """A reference for a new customer."""
        self.references += 1
        return f"B-{self.references}"


def working_days() -> Iterator[date]:
    """The days on which the firm worked before the demo date."""
    for step in range((DEMO_DATE - FIRST_DAY).days):
        day = FIRST_DAY + timedelta(days=step)
        if day.weekday() < 5 and day not in CLOSED:
            yield day


def make_past(past: Past) -> None:
    """Eighteen months of finished jobs."""
    for day in working_days():
        times = iter(("08:30", "11:00", "14:00", "16:00"))
        for row, needs in past.returns.pop(day, ()):
            name = past.book(day, next(times), row["family"], row["type"], row["codes"], row["reference"], "done")
            past.used.extend((name, part, amount(qty), "0") for part, qty in sorted(needs.items()))
        for _ in range(past.dice.choices((1, 2, 3), (2, 5, 2))[0]):
            make_job(past, day, next(times))


def make_job(past: Past, day: date, time: str) -> None:
    """One finished job: type and family by popularity, needs by the usual table, now and then a part missed."""
    dice = past.dice
    weights = POPULARITY | (GROWN if day >= GROWS_FROM else {})
    types = scenario("job_types")
    kind = dice.choices(types, [float(row["share_of_bookings"]) for row in types])[0]
    able = [name for name in weights if possible(kind["job"], name)]
    family = dice.choices(able, [weights[name] for name in able])[0]
    codes = ";".join(sorted(dice.sample(kind["typical_codes"].split(";"), dice.choice((1, 1, 2)))))
    row = {"family": family, "type": JOB_TYPES[kind["job"]], "codes": codes, "reference": past.next_reference()}
    needs = draw_needs(dice, kind["job"], family, day)
    missed = draw_missed(dice, needs)
    name = past.book(day, time, family, row["type"], codes, row["reference"], "done")
    past.used.extend(
        (name, part, "0" if part in missed else amount(qty), amount(qty) if part in missed else "0")
        for part, qty in sorted(needs.items())
    )
    if missed:
        back = next((later for later in working_days() if later >= day + timedelta(days=3)), None)
        if back:
            past.returns[back].append((row, missed))


def possible(job: str, family: str) -> bool:
    """Whether a type of job is done on a family: it has a main part there, or needs none."""
    main = {"J2": "DS", "J3": "PS", "J4": "ET"}.get(job)
    return main is None or any(
        row["sku"].startswith(main) for row in scenario("job_parts") if (row["job"], row["family"]) == (job, family)
    )


def draw_needs(dice: random.Random, job: str, family: str, day: date) -> dict[str, float]:
    """What a job took: each usual part by its chance, and with it what goes with it."""
    needs: dict[str, float] = {}
    clean = dice.random()  # cleaning and rinse fluid are used together or not at all
    for row in scenario("job_parts"):
        if (row["job"], row["family"]) != (job, family) or row["sku"] == "DS-KRB-020-A":
            continue
        part, chance = row["sku"], float(row["prior_probability"])
        if part == "DS-KRB-010-A":
            part, chance = dice.choice(("DS-KRB-010-A", "DS-KRB-020-A")), 0.88
        roll = clean if part.startswith("FL-UNI-80") else dice.random()
        if roll < chance:
            add(needs, dice, in_those_days(part, day), float(row["qty_if_used"]))
    return needs


def in_those_days(part: str, day: date) -> str:
    """The number that a part went by before its new one came."""
    old = {new: name for name, new in SUCCESSOR.items()}
    return old[part] if part in REPLACED_ON and day < REPLACED_ON[part] else part


def add(needs: dict[str, float], dice: random.Random, part: str, qty: float) -> None:
    """Add a part in the quantity of the day, and what goes with it."""
    if part.startswith(("FL-", "HS-")):
        qty = round(qty * dice.triangular(0.7, 1.4, 1.0), 1)
    elif part.startswith("GP-"):
        qty = qty if dice.random() < 0.7 else dice.randint(1, 3)
    needs[part] = needs.get(part, 0) + qty
    for row in scenario("goes_with"):
        listed = row["when_fitted"] == SUCCESSOR.get(part, part) and float(row["qty"]) >= 0.5
        if listed and dice.random() < float(row["probability"]) and row["also"] not in needs:
            add(needs, dice, row["also"], float(row["qty"]))


def draw_missed(dice: random.Random, needs: dict[str, float]) -> dict[str, float]:
    """Now and then one part of a job was not aboard."""
    can = [part for part in needs if not part.startswith(("FL-", "CN-", "CH-", "HC-"))]
    if not can or dice.random() > 0.06:
        return {}
    part = dice.choice(sorted(can))
    return {part: needs[part]}


def amount(qty: float) -> str:
    """A quantity as the files write it."""
    return f"{qty:g}"


def book_ahead(past: Past) -> None:
    """The bookings from the demo date on."""
    for day, time, family, job_type, codes in BOOKINGS:
        reference = past.next_reference()
        past.book(date.fromisoformat(day), time, family, job_type, codes, reference, "booked")


def stock() -> Iterator[Sequence[str]]:
    """The opening stock, at list cost."""
    costs = {row["sku"]: row["cost_gbp_ex_vat"] for row in scenario("parts")}
    for place, held in (("van", VAN), ("store", STORE)):
        yield from ((part, place, qty, costs[part]) for part, qty in held.items())


def write(folder: Path) -> None:
    """Write every file of the invented firm into a folder."""
    past = Past(random.Random(SEED))
    make_past(past)
    book_ahead(past)
    folder.mkdir(parents=True, exist_ok=True)
    for name, columns, rows in (
        ("suppliers", "supplier name lead_working_days order_days cutoff carriage carriage_paid_over email", suppliers()),
        ("families", "family name year_from year_to", families()),
        ("parts", "part description component unit cost pack_size supplier supplier_part lead_working_days one_time_use"
         " surcharge shelf_life_days weight_kg hazard gtin superseded_by", parts()),
        ("fits", "family part share", fits()),
        ("goes_with", "part also qty", goes_with()),
        ("usual", "job_type family component probability qty worth_jobs", usual()),
        ("jobs", "job date time family job_type codes status van reference", past.jobs),
        ("used", "job part fitted missed", past.used),
        ("stock", "part place qty unit_cost", stock()),
    ):  # fmt: skip
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as lines:
            writer = csv.writer(lines)
            writer.writerow(columns.split())
            writer.writerows(rows)


if __name__ == "__main__":
    write(HERE / "firm")

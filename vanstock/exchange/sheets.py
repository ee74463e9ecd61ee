"""The files of the import folder: names, columns, and which of them a row cannot do without."""

from __future__ import annotations

from vanstock.exchange.csvfile import Sheet


def _sheet(file: str, columns: str, required: str, free_text: str = "", *, lists: str = "", rarely: str = "") -> Sheet:
    return Sheet(file, *(tuple(names.split()) for names in (columns, required, free_text, lists, rarely)))


PLACES = _sheet("places.csv", "place kind", "place kind")
SUPPLIERS = _sheet(
    "suppliers.csv",
    "supplier name lead_working_days order_days cutoff carriage carriage_paid_over email comes_at least_order",
    "supplier",
    "name",
    rarely="comes_at least_order",
)
FAMILIES = _sheet("families.csv", "family name year_from year_to", "family", "name")
PARTS = _sheet(
    "parts.csv",
    "part description component unit cost pack_size supplier supplier_part lead_working_days one_time_use surcharge "
    "shelf_life_days weight_kg hazard gtin superseded_by bulk_litres",
    "part",
    "description hazard",
    rarely="bulk_litres",
)
FITS = _sheet("fits.csv", "family part share", "family part")
GOES_WITH = _sheet("goes_with.csv", "part also qty", "part also")
USUAL = _sheet(
    "usual.csv", "job_type family component probability qty worth_jobs", "job_type family component probability"
)
JOBS = _sheet(
    "jobs.csv",
    "job date time family job_type codes status van reference chosen readings",
    "job date family job_type",
    lists="codes chosen readings",
    rarely="chosen readings",
)
USED = _sheet("used.csv", "job part fitted missed", "job part")
STOCK = _sheet("stock.csv", "part place qty unit_cost", "part place qty")

ALL = (PLACES, SUPPLIERS, FAMILIES, PARTS, FITS, GOES_WITH, USUAL, JOBS, USED, STOCK)

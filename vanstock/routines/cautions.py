"""Which of the usual cautions apply to a day's jobs, by the words in what the jobs may take.

They remind and never replace the maker's procedure, the data sheet, local rules and licensed practice.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files

from vanstock.model import Part

DEFER = "These are reminders. The maker's procedure, the data sheet and local rules come first."


@dataclass(frozen=True, slots=True)
class Caution:
    """A short warning and the words of parts that call for it."""

    topic: str
    applies_to: tuple[str, ...]
    text: str


def all_cautions() -> list[Caution]:
    """Every caution, in the order they are shown."""
    text = (files("vanstock.reference") / "cautions.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return [Caution(row["topic"], tuple(row["applies_to"].split(";")), row["text"]) for row in rows]


def cautions_for(parts: Iterable[Part]) -> list[str]:
    """The cautions that jobs which may take these parts call for, and the line that defers to the maker."""
    known = list(parts)
    spoken = " / ".join(f"{part.component} {part.description}" for part in known).casefold()
    told = [caution.text for caution in all_cautions() if any(word.casefold() in spoken for word in caution.applies_to)]
    carried = sorted({part.hazard for part in known if part.hazard.startswith("UN")})
    if carried:
        told.append(
            f"Dangerous goods aboard ({'; '.join(carried)}): upright and secured, labels on, extinguisher in the van; "
            "keep to the carriage rules where you are."
        )
    return [*told, DEFER] if told else []

"""How the last spreadsheet of a supplier was read, kept in the ledger so that the next one needs no asking.

One text for each supplier and kind of file among the settings, beside those that a person sets. Called by `sheetfile`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from vanstock.ledger import catalogue
from vanstock.routines.session import Session


class Remembered(NamedTuple):
    """The sheet, the columns of ours by their headings ("" for not used), and the mark before decimals where it was
    said."""

    sheet: str = ""
    columns: Mapping[str, str] = MappingProxyType({})
    mark: str = ""


def _name(kind: str, supplier: str) -> str:
    return f"columns of {kind} {supplier}".rstrip()


def recall(session: Session, kind: str, supplier: str) -> Remembered:
    """What is remembered of this kind of file of this supplier ("" for none); nothing where nothing is."""
    stored = catalogue.setting(session.ledger, _name(kind, supplier))
    return Remembered(**json.loads(stored)) if stored else Remembered()


def remember(session: Session, kind: str, supplier: str, what: Remembered) -> None:
    """Keep it, inside the caller's transaction."""
    text = json.dumps(what._asdict(), ensure_ascii=False, sort_keys=True)
    if catalogue.setting(session.ledger, _name(kind, supplier)) != text:
        catalogue.save_setting(session.ledger, _name(kind, supplier), text)

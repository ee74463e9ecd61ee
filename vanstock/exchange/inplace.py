"""One whole file put in the place of an old one, or the old one left as it was: written aside first, then moved.

For what can be made again. Not for ledgers and their copies, which are checked and pushed to the disk
(`ledger.copies`), nor for several files that belong together (`orderdocs.write_all`). Called by what writes files here.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from vanstock.errors import VanstockError


@contextmanager
def in_place_of(path: Path) -> Iterator[Path]:
    """Where to write what takes the place of `path` once it is written whole; raises `VanstockError`."""
    if "\0" in str(path):
        raise VanstockError(f"cannot write {path}: the name cannot be that of a file")
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield aside
        aside.replace(path)
    except OSError as error:
        raise VanstockError(f"cannot write {path}: {error.strerror or error}") from error
    except UnicodeError as error:
        raise VanstockError(f"cannot write {path}: it holds what cannot be written as text") from error
    finally:
        with suppress(OSError, ValueError):
            aside.unlink(missing_ok=True)


def put_bytes(path: Path, content: bytes) -> None:
    """Write a file, and the folders that it lies in, in place of an old one or not at all; raises `VanstockError`."""
    with in_place_of(path) as aside:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside.write_bytes(content)

"""The invented firm in a ledger of its own, to look at what vanstock does before there is anything of one's own.

Nothing of it touches the person's ledger. Called by `cli.start`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory

from vanstock.errors import BadValue, NotFound
from vanstock.routines.session import open_session
from vanstock.routines.setup import import_folder

MORNING = "2027-03-01T06:40"
"""When the firm's four jobs of the day are still to come."""
_EVENING_BEFORE = datetime.fromisoformat("2027-02-28T18:00")
_NAME = "invented-firm.db"


def make(beside: Path) -> Path:
    """The invented firm's ledger, made beside another, whole or not at all; raises `BadValue` where one is already, and
    where none can be made."""
    path = beside.with_name(_NAME)
    if path.exists():
        raise BadValue(f"{path} is already there: look at it, or delete it first")
    try:
        with TemporaryDirectory(
            dir=path.parent, prefix=f".{_NAME}.", suffix=".part", ignore_cleanup_errors=True
        ) as aside:
            made = Path(aside) / _NAME
            with _folder() as folder, open_session(str(made), _EVENING_BEFORE, create=True) as session:
                import_folder(session, folder)
            made.replace(path)
    except OSError as error:
        raise BadValue(f"cannot make {path}: {error.strerror}") from error
    return path


@contextmanager
def _folder() -> Iterator[Path]:
    """Where its files are: inside the installed program, or in the project's own folder."""
    inside = files("vanstock.reference").joinpath("invented_firm")
    if inside.is_dir():
        with as_file(inside) as folder:
            yield folder
        return
    beside = Path(__file__).parents[2] / "demo" / "firm"
    if not beside.is_dir():
        raise NotFound("this copy of vanstock was installed without the invented firm: install it again")
    yield beside

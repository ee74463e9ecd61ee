"""The good folder and the maker of broken ones, for the tests of this room."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest

from vanstock.exchange.checks import Known
from vanstock.exchange.folder import FolderContents, read_folder

TODAY = date(2027, 3, 1)


@pytest.fixture
def read(broken: ModuleType, tmp_path: Path) -> Callable[..., FolderContents]:
    """Reads the good folder with some of its files replaced by other text or bytes."""

    def read_with(**changed: str | bytes | None) -> FolderContents:
        files = broken.as_bytes(broken.GOOD)
        for name, content in changed.items():
            file = f"{name}.csv"
            files.pop(file, None)
            if content is not None:
                files[file] = content if isinstance(content, bytes) else content.encode()
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        return read_folder(broken.write(folder, files), Known(), today=TODAY)

    return read_with

"""Which phones may ask: pairing codes and paired devices, as small files in a folder beside the ledger.

Not in the ledger: a copy of the ledger on a stick or a restored one must carry no way in, and a device taken off must
not come back with an older copy. One file for each, named by the hash of what it stands for, so that nothing can be
read out of them; making a file, or removing one, is the only change there is, so two programs at once cannot undo each
other's. The folder is for its owner alone (0700, files 0600). Called by the phone face and by `cli.serve`.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue, LedgerUnusable, NotFound

CODE_SECONDS = 600
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_CODE_LENGTH = 8
_LONGEST_NAME = 40
_LONGEST_SECRET = 200
_SEEN_EVERY_SECONDS = 3600
_DEVICE, _CODE = "device-", "code-"


class Device(NamedTuple):
    """A paired phone: its name, and when it was paired and last seen (seconds since 1970)."""

    name: str
    paired: float
    seen: float


class Devices:
    """The paired devices and open codes of one ledger."""

    def __init__(self, ledger: Path) -> None:
        self.folder = ledger.with_name(f"{ledger.name}.devices")

    def new_code(self) -> str:
        """A code that pairs one device within ten minutes."""
        for file in self._files(_CODE):
            if self._read(file).get("until", 0) < time.time():
                file.unlink(missing_ok=True)
        code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
        self._write(self._file(_CODE, code), {"until": time.time() + CODE_SECONDS})
        return f"{code[:4]}-{code[4:]}"

    def pair(self, typed: str, name: str) -> str | None:
        """The token of a device newly paired by a code, which is then spent; None for a code that is not good.

        Raises `BadValue` for a name that cannot be used; the code stays good then.
        """
        file = self._file(_CODE, _plain(typed))
        if self._read(file).get("until", 0) < time.time():
            return None
        chosen = self._free_name(name)
        try:
            file.unlink()  # whoever removes it has spent it: of two at once, one
        except OSError:
            return None
        token = secrets.token_urlsafe(32)
        self._write(self._file(_DEVICE, token), {"name": chosen, "paired": time.time()})
        return token

    def named_by(self, token: str) -> str | None:
        """The name of the device that holds this token, or None."""
        if not token or len(token) > _LONGEST_SECRET:
            return None
        file = self._file(_DEVICE, token)
        name = self._read(file).get("name")
        if name is None:
            return None
        with suppress(OSError):
            if time.time() - file.stat().st_mtime > _SEEN_EVERY_SECONDS:
                os.utime(file)
        return str(name)

    def paired(self) -> list[Device]:
        """The paired devices by name."""
        return sorted(device for _, device in self._devices())

    def revoke(self, name: str) -> None:
        """Take a device off by its name; raises `NotFound`."""
        found = [file for file, device in self._devices() if device.name.casefold() == name.strip().casefold()]
        if not found:
            there = ", ".join(device.name for device in self.paired()) or "none"
            raise NotFound(f"no device {name!r} is paired: there is {there}")
        for file in found:
            file.unlink(missing_ok=True)

    def _free_name(self, name: str) -> str:
        chosen = " ".join(name.split())
        if not chosen or len(chosen) > _LONGEST_NAME or not chosen.isprintable():
            raise BadValue(f"name the phone in at most {_LONGEST_NAME} plain letters")
        if chosen.casefold() in {device.name.casefold() for device in self.paired()} | {"terminal"}:
            raise BadValue(f"there is a device named {chosen!r} already: choose another name")
        return chosen

    def _devices(self) -> Iterator[tuple[Path, Device]]:
        for file in self._files(_DEVICE):
            held = self._read(file)
            if "name" in held:
                with suppress(OSError):
                    yield file, Device(str(held["name"]), float(held.get("paired", 0)), file.stat().st_mtime)

    def _files(self, kind: str) -> list[Path]:
        return sorted(self.folder.glob(f"{kind}*.json"))

    def _file(self, kind: str, secret: str) -> Path:
        return self.folder / f"{kind}{hashlib.sha256(secret.encode()).hexdigest()}.json"

    def _read(self, file: Path) -> dict[str, float]:
        try:
            held = json.loads(file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return held if isinstance(held, dict) else {}

    def _write(self, file: Path, held: dict[str, object]) -> None:
        try:
            self.folder.mkdir(mode=0o700, exist_ok=True)
            number = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(number, "w", encoding="utf-8") as out:
                json.dump(held, out)
        except OSError as error:
            raise LedgerUnusable(f"cannot write to {self.folder}: {error.strerror}") from error


def _plain(typed: str) -> str:
    """A code as it is kept, whatever the case and however it was spaced."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())[:_LONGEST_SECRET]

"""Which phones may ask: pairing codes and paired devices, as small files in a folder beside the ledger.

Not in the ledger: a copy of the ledger on a stick or a restored one must carry no way in, and a device taken off must
not come back with an older copy. One file for each, named by the hash of what it stands for, so that nothing can be
read out of them; a file appears whole or is removed, so two programs at once cannot undo each other's. The folder is
for its owner alone (0700, files 0600), and nothing in it counts when others can write there. A secret is never
compared: it is looked up by its hash. Called by the phone face and by `cli.serve`.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import stat
import threading
import time
import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue, LedgerUnusable, NotFound

CODE_SECONDS = 600
PAIRED_SECONDS = 366 * 24 * 3600
"""How long a pairing lasts; a phone that is still in use then is paired again."""
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
        self._naming = threading.Lock()

    def check_folder(self) -> None:
        """Raise `LedgerUnusable` when others could put a device into the folder."""
        if not self._is_ours():
            raise LedgerUnusable(
                f"others can write to {self.folder}, and so pair phones: remove it and pair again, or keep the ledger "
                "where only you can write"
            )

    def new_code(self) -> str:
        """A code that pairs one device within ten minutes; raises `LedgerUnusable`."""
        self.check_folder()
        for file in self._files(_CODE):
            if not self._is_open(file):
                file.unlink(missing_ok=True)
        code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
        self._write(self._file(_CODE, code), {"until": time.time() + CODE_SECONDS})
        return f"{code[:4]}-{code[4:]}"

    def pair(self, typed: str, name: str) -> str | None:
        """The token of a device newly paired by a code, which is then spent; None for a code that is not good.

        Raises `BadValue` for a name that cannot be used; the code stays good then.
        """
        self.check_folder()
        file = self._file(_CODE, _plain(typed))
        if not self._is_open(file):
            return None
        with self._naming:  # of two at once with two codes and one name, one
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
        device = self._device(file) if self._is_ours() else None
        if device is None:
            return None
        with suppress(OSError):
            if time.time() - device.seen > _SEEN_EVERY_SECONDS:
                os.utime(file)
        return device.name

    def paired(self) -> list[Device]:
        """The paired devices by name; raises `LedgerUnusable`."""
        self.check_folder()
        return sorted(device for _, device in self._devices())

    def revoke(self, name: str) -> None:
        """Take a device off by its name; raises `NotFound` or `LedgerUnusable`."""
        self.check_folder()
        found = [file for file, device in self._devices() if device.name.casefold() == name.strip().casefold()]
        if not found:
            there = ", ".join(device.name for device in self.paired()) or "none"
            raise NotFound(f"no device {name!r} is paired: there is {there}")
        for file in found:
            try:
                file.unlink(missing_ok=True)
            except OSError as error:
                raise LedgerUnusable(f"cannot take {name} off in {self.folder}: {error.strerror}") from error

    def _free_name(self, name: str) -> str:
        chosen = unicodedata.normalize("NFKC", " ".join(name.split()))
        if not chosen or len(chosen) > _LONGEST_NAME or not chosen.isprintable():
            raise BadValue(f"name the phone in at most {_LONGEST_NAME} plain letters")
        if chosen.casefold() in {device.name.casefold() for device in self.paired()} | {"terminal"}:
            raise BadValue(f"there is a device named {chosen!r} already: choose another name")
        return chosen

    def _is_ours(self) -> bool:
        """Whether nobody else can put a device into the folder."""
        try:
            found, around = self.folder.stat(), self.folder.parent.stat()
        except OSError:
            return True  # nothing in it, and it is made for its owner alone
        if not hasattr(os, "geteuid"):
            return True
        owners = {os.geteuid(), around.st_uid}
        return found.st_uid in owners and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)

    def _is_open(self, file: Path) -> bool:
        """Whether a code can still be used; one from later than now was made by a clock that was wrong."""
        until = self._read(file).get("until")
        return isinstance(until, float) and 0 <= until - time.time() <= CODE_SECONDS

    def _device(self, file: Path) -> Device | None:
        held = self._read(file)
        name, paired = held.get("name"), held.get("paired")
        if not isinstance(name, str) or not isinstance(paired, float) or time.time() - paired > PAIRED_SECONDS:
            return None
        try:
            return Device(name, paired, file.stat().st_mtime)
        except OSError:
            return None

    def _devices(self) -> Iterator[tuple[Path, Device]]:
        for file in self._files(_DEVICE):
            device = self._device(file)
            if device:
                yield file, device

    def _files(self, kind: str) -> list[Path]:
        return sorted(self.folder.glob(f"{kind}*.json"))

    def _file(self, kind: str, secret: str) -> Path:
        return self.folder / f"{kind}{hashlib.sha256(secret.encode()).hexdigest()}.json"

    def _read(self, file: Path) -> dict[str, object]:
        try:
            held = json.loads(file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return held if isinstance(held, dict) else {}

    def _write(self, file: Path, held: dict[str, object]) -> None:
        """Make a file that others see whole or not at all."""
        part = file.with_name(f".{file.name}.{secrets.token_hex(4)}")
        try:
            self.folder.mkdir(mode=0o700, exist_ok=True)
            number = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(number, "w", encoding="utf-8") as out:
                json.dump(held, out)
                out.flush()
                os.fsync(out.fileno())
            part.replace(file)
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise LedgerUnusable(f"cannot write to {self.folder}: {error.strerror}") from error


def _plain(typed: str) -> str:
    """A code as it is kept, whatever the case and however it was spaced."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())[:_LONGEST_SECRET]

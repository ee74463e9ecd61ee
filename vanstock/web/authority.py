"""The certificate authority of this computer: its files beside the ledger, made when first wanted.

Like the paired devices not in the ledger: a copy on a stick must not carry a key that phones trust. The folder is for
its owner alone (0700, files 0600); each file holds a key and its certificate and is put in place whole. What a
certificate says is in `certificates`. Called by `papers` and `cli.authority`.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from vanstock.errors import BadValue, LedgerUnusable, NotFound
from vanstock.web import certificates

if TYPE_CHECKING:
    from vanstock.web.certificates import Pair

SOON = timedelta(days=60)
_ANEW = "`vanstock serve --tls --new-authority` makes another, which each phone must be told to trust"


class About(NamedTuple):
    """What anybody may know of an authority: its name, whom it may vouch for and until when, its SHA-256 fingerprint in
    pairs of hexadecimal digits, and its certificate as DER and as PEM."""

    name: str
    names: tuple[str, ...]
    networks: tuple[str, ...]
    ends: datetime
    fingerprint: str
    der: bytes
    pem: bytes

    def ends_soon(self, now: datetime) -> bool:
        """Whether it is time to plan for another."""
        return self.ends - now < SOON


class Leaf(NamedTuple):
    """What a server needs: the file with its key and certificate, the names and addresses it is for, its number."""

    file: Path
    hosts: tuple[str, ...]
    serial: int


class Authority:
    """The authority of one ledger."""

    def __init__(self, ledger: Path) -> None:
        self.folder = ledger.with_name(f"{ledger.name}.authority")
        self._file = self.folder / "secret-authority.pem"

    def exists(self) -> bool:
        """Whether there is one, usable or not."""
        return self._file.exists()

    def make(self, asked: Sequence[str], own: Sequence[str], label: str, now: datetime) -> None:
        """Make an authority, in place of the one there may be, for the names asked for and those of `own` that are
        private; raises `BadValue` for a name asked for that is not."""
        for host in asked:
            _check_private(host)
        names = [host for host in (*asked, *own) if certificates.is_private(host) and not certificates.is_address(host)]
        self._write(self._file, certificates.as_pem(certificates.make_authority(names, label, now)))

    def about(self, now: datetime) -> About:
        """What there is to know of the authority; raises `NotFound` without one, `BadValue` for one of no use."""
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.hazmat.primitives.serialization import Encoding

        made = self._usable(now).certificate
        names, networks = certificates.permitted(made)
        name = made.subject.rfc4514_string().removeprefix("CN=")
        der, pem = made.public_bytes(Encoding.DER), made.public_bytes(Encoding.PEM)
        return About(
            name, names, networks, made.not_valid_after_utc, made.fingerprint(SHA256()).hex(":").upper(), der, pem
        )

    def leaf(self, port: int, asked: Sequence[str], own: Sequence[str], now: datetime) -> Leaf:
        """The certificate to serve with at a port, made anew when missing, broken, for other hosts or near its end.

        For the names and addresses asked for (`BadValue` for one that the authority may not vouch for) and for those of
        `own` that it may.
        """
        authority = self._usable(now)
        for host in asked:
            _check_private(host)
            if not certificates.may_vouch(authority.certificate, host):
                names = ", ".join(certificates.permitted(authority.certificate)[0])
                raise BadValue(f"the authority is for {names} and private addresses, not {host}: {_ANEW}")
        may = [host for host in own if certificates.may_vouch(authority.certificate, host)]
        hosts = tuple(dict.fromkeys((*asked, *may)))
        file = self.folder / f"secret-server-{port}.pem"  # two servers of one ledger have two ports
        leaf = _held(file)
        if leaf is None or not certificates.is_current(leaf, authority, hosts, now):
            leaf = certificates.make_leaf(authority, hosts, now)
            self._write(file, certificates.as_pem(leaf))
        return Leaf(file, hosts, leaf.certificate.serial_number)

    def _usable(self, now: datetime) -> Pair:
        made = self._read()
        begins, ends = made.certificate.not_valid_before_utc, made.certificate.not_valid_after_utc
        if now < begins:
            raise BadValue(f"this computer's clock says {now:%Y-%m-%d}, before its authority was made: set the clock")
        if now >= ends:
            raise BadValue(f"the authority was good until {ends:%Y-%m-%d}: {_ANEW}")
        return made

    def _read(self) -> Pair:
        try:
            made = certificates.from_pem(self._file.read_bytes())
            certificates.permitted(made.certificate)
        except FileNotFoundError:
            raise NotFound("there is no authority beside this ledger yet: `vanstock serve --tls` makes one") from None
        except OSError as error:
            raise LedgerUnusable(f"cannot read {self._file}: {error.strerror}") from error
        except ValueError:
            raise BadValue(f"{self._file} is damaged or is no authority of vanstock: {_ANEW}") from None
        return made

    def _write(self, file: Path, content: bytes) -> None:
        temporary = ""
        try:
            self.folder.mkdir(mode=0o700, exist_ok=True)
            number, temporary = tempfile.mkstemp(dir=self.folder)  # for its owner alone
            with os.fdopen(number, "wb") as out:
                out.write(content)
                out.flush()
                os.fsync(out.fileno())
            Path(temporary).replace(file)
        except OSError as error:
            with suppress(OSError):
                Path(temporary).unlink()
            raise LedgerUnusable(f"cannot write to {self.folder}: {error.strerror}") from error


def _held(file: Path) -> Pair | None:
    try:
        return certificates.from_pem(file.read_bytes())
    except (OSError, ValueError):
        return None


def _check_private(host: str) -> None:
    if certificates.is_private(host):
        return
    if certificates.is_address(host):
        raise BadValue(f"{host} is a public address, which --tls does not vouch for: give --certificate and --key")
    raise BadValue(
        f"--tls vouches for private names only, and {host!r} is none: end it in .local, .internal or .home.arpa, "
        "or give --certificate and --key"
    )

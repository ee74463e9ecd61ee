"""The names and addresses under which this computer can be reached. Called by `cli.serve` and `papers`."""

from __future__ import annotations

import socket

_ELSEWHERE = ("192.0.2.1", "10.255.255.255", "172.31.255.255", "192.168.255.255")
"""Addresses to look for a way to; nothing is sent."""
_ALL = ("0.0.0.0", "::", "")
LOOPBACK = ("localhost", "127.0.0.1", "::1")


def addresses(host: str) -> list[str]:
    """The addresses at which a server that listens at `host` can be reached, the likeliest first."""
    if host not in _ALL:
        return [host]
    found = [address for target in _ELSEWHERE if (address := _way_to(target))]
    return list(dict.fromkeys(found)) or ["127.0.0.1"]


def only(host: str) -> list[str]:
    """The one address that `host` asks to listen at; none where it means all."""
    return [] if host in _ALL else [host]


def own_names() -> list[str]:
    """This computer's name, and the one under which computers find each other without a name server (RFC 6762)."""
    name = socket.gethostname().lower()
    return [name] if "." in name or name in LOOPBACK else [name, f"{name}.local"]


def in_url(host: str) -> str:
    """A name or address as it stands in an address of a page (RFC 3986, 3.2.2)."""
    return f"[{host}]" if ":" in host else host


def _way_to(target: str) -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((target, 9))
            return str(probe.getsockname()[0])
        except OSError:
            return ""

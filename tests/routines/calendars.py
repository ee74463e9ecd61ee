"""Calendar files for the tests: events as lines, and the file they stand in."""

from __future__ import annotations

from pathlib import Path


def event(uid: str, start: str, summary: str, *more: str) -> str:
    """An event; `start` is what follows DTSTART, like `:20270302T090000`."""
    return "\r\n".join(["BEGIN:VEVENT", f"UID:{uid}", f"DTSTART{start}", f"SUMMARY:{summary}", *more, "END:VEVENT"])


def calendar(path: Path, *events: str, name: str = "") -> Path:
    """A calendar file with these events."""
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", *([f"X-WR-CALNAME:{name}"] if name else [])]
    path.write_text("\r\n".join([*head, *events, "END:VCALENDAR", ""]), encoding="utf-8", newline="")
    return path

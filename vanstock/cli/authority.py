"""`authority` from the terminal: whom this computer's own certificate authority vouches for, and how a phone comes to
trust it. `serve --tls` makes and uses it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import as_json, paragraph, say
from vanstock.errors import BadValue, LedgerUnusable

if TYPE_CHECKING:
    from vanstock.web.authority import About

_FORMS = {".crt": "der", ".cer": "der", ".pem": "pem"}
_HALF = 48
_STEPS = (
    "Bring its certificate, which is no secret, to the phone: `vanstock authority --file authority.crt` writes it, "
    "to be copied by cable. Or open /authority.crt on the phone at the address that `vanstock serve --tls` shows, and "
    "pass the warning this one time. Do not pair yet.",
    "Install it there as a certificate authority (CA certificate): the phone's settings have that under security, "
    "privacy or profiles. Some phones want a screen lock first, some want it switched on as trusted afterwards.",
    "Compare the SHA-256 fingerprint that the phone shows with the one above, all of it. Another one is not this "
    "computer's: take it off again.",
    "Open the address of `vanstock serve --tls`. There is no warning any more: pair.",
)
_AFTERWARDS = (
    "Take it off the phone when this computer is sold, lost or given up, or after --new-authority. Whoever can read "
    "the folder of the authority, beside the ledger, can pass for this computer and others in your own network; for a "
    "public site only before a program that does not heed the limits in its certificate."
)


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("authority", epilog=example("vanstock authority", "vanstock authority --file authority.crt"))(authority)


def authority(
    ctx: typer.Context,
    file: Annotated[
        Path | None,
        typer.Option("--file", metavar="FILE", help="Write its certificate, to take to a phone (.crt, .cer or .pem)."),
    ] = None,
    json: Json = False,
) -> None:
    """Show the authority that `serve --tls` made, and how a phone comes to trust it."""
    from vanstock.web.authority import Authority

    with opened(ctx) as session:
        about = Authority(session.path).about(datetime.now(UTC))
    if file is not None:
        _write(about, file)
    if json:
        as_json({
            "authority": about.name, "names": list(about.names), "networks": list(about.networks),
            "until": f"{about.ends:%Y-%m-%d}", "sha256": about.fingerprint,
        })  # fmt: skip
    elif file is not None:
        say(f"{file} is written: the phone must show this fingerprint")
        show_fingerprint(about.fingerprint)
    else:
        _show(about)


def _write(about: About, file: Path) -> None:
    form = _FORMS.get(file.suffix.lower())
    if form is None:
        raise BadValue(f"{file} must end in .crt or .cer, which phones read, or in .pem")
    try:
        with file.open("xb") as out:
            out.write(about.der if form == "der" else about.pem)
    except FileExistsError:
        raise BadValue(f"there is a file {file} already: give another name") from None
    except OSError as error:
        raise LedgerUnusable(f"cannot write {file}: {error.strerror}") from error


def _show(about: About) -> None:
    say(about.name)
    names = ", ".join(about.names)
    paragraph(f"vouches for {names}, names below them, and private addresses; nothing else", first="  ", then="  ")
    say(f"  good until {about.ends:%Y-%m-%d}")
    show_fingerprint(about.fingerprint)
    say("\nSo that a phone trusts it:")
    for number, step in enumerate(_STEPS, 1):
        paragraph(step, first=f"{number}. ", then="   ")
    paragraph(_AFTERWARDS)


def show_fingerprint(fingerprint: str) -> None:
    """Print a SHA-256 fingerprint in two lines of sixteen pairs."""
    say(f"  SHA-256 fingerprint  {fingerprint[:_HALF].rstrip(':')}")
    say(f"                       {fingerprint[_HALF:]}")

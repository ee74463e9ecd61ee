"""The phone face from the terminal: `serve` starts it, `device` says which phones are paired and takes one off."""

from __future__ import annotations

import socket
import sys
import threading
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, Options, example, opened
from vanstock.cli.show import Column, as_json, say, table, tell
from vanstock.errors import BadValue

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from vanstock.web.devices import Devices

_ELSEWHERE = ("192.0.2.1", "10.255.255.255", "172.31.255.255", "192.168.255.255")
"""Addresses to look for a way to; nothing is sent."""
_OWN = ("localhost", "127.0.0.1", "[::1]")


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = ("vanstock serve", "vanstock serve --port 8041 --name van-laptop.local")
    app.command("serve", epilog=example(*lines))(serve)
    group = typer.Typer(
        help="Phones that are paired; pair another, take one off.",
        invoke_without_command=True,
        rich_markup_mode=None,
        epilog=example("vanstock device", "vanstock device add", 'vanstock device revoke "Kim\'s phone"'),
    )
    group.callback()(device)
    group.command("add", epilog=example("vanstock device add"))(add)
    group.command("revoke", epilog=example('vanstock device revoke "Kim\'s phone"'))(revoke)
    app.add_typer(group, name="device")


def serve(
    ctx: typer.Context,
    host: Annotated[str, typer.Option("--host", metavar="ADDRESS", help="Where to listen.")] = "0.0.0.0",
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="On which port.")] = 8040,
    name: Annotated[
        list[str] | None, typer.Option("--name", metavar="HOST", help="A name phones know this machine by.")
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Serve https with this certificate (PEM).")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="The certificate's key (PEM).")] = None,
) -> None:
    """Serve the pages for phones until Ctrl-C; at a terminal it shows a code that pairs a phone."""
    from vanstock.web.app import create_app
    from vanstock.web.desk import Desk
    from vanstock.web.pages import warm

    _check_tls(certificate, key)
    options: Options = ctx.obj
    devices = _devices(ctx)
    devices.check_folder()
    own = _addresses(host)
    hosts = frozenset(f"{one.lower()}:{port}" for one in (*own, *_names(name or []), *_OWN, socket.gethostname()))
    scheme, usual = ("https", 443) if certificate else ("http", 80)
    if port == usual:
        hosts |= {one.removesuffix(f":{port}") for one in hosts}
    listening = _listen(host, port)
    desk = Desk(options.ledger, options.now, hosts=hosts, port=port, devices=devices, tell=_tell)
    _greet([f"{scheme}://{one}:{port}" for one in (*(name or []), *own)], devices)
    threading.Thread(target=warm, args=(desk,), daemon=True).start()
    _run(create_app(desk), listening, (certificate, key))


def _check_tls(certificate: Path | None, key: Path | None) -> None:
    """Raise `BadValue` for a certificate without its key, or a pair that cannot be served with."""
    if certificate is None and key is None:
        return
    if certificate is None or key is None:
        raise BadValue("a certificate and its key go together: give --certificate and --key, or neither")
    import ssl

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except OSError as error:
        why = error.strerror or error
        raise BadValue(f"{certificate} with {key} cannot be served with ({why}): give PEM files") from None


def _devices(ctx: typer.Context) -> Devices:
    from vanstock.web.devices import Devices

    with opened(ctx) as session:
        return Devices(session.path)


def _tell(text: str) -> None:
    for line in text.splitlines():
        tell(f"{datetime.now().astimezone():%H:%M} {line}")


def _names(names: list[str]) -> list[str]:
    for one in names:
        if not one or not all(letter.isalnum() or letter in ".-" for letter in one):
            raise BadValue(f"--name {one!r} is no name of a machine: write it like van-laptop.local")
    return names


def _addresses(host: str) -> list[str]:
    """The addresses under which this machine can be reached, the likeliest first."""
    if host not in ("0.0.0.0", "::", ""):
        return [f"[{host}]" if ":" in host else host]
    found = [address for target in _ELSEWHERE if (address := _way_to(target))]
    return list(dict.fromkeys(found)) or ["127.0.0.1"]


def _way_to(target: str) -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((target, 9))
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def _greet(addresses: list[str], devices: Devices) -> None:
    say(f"serving at {addresses[0]}")
    for other in addresses[1:]:
        say(f"also at {other}")
    if sys.stdout.isatty():
        _show_code(addresses[0], devices.new_code())
    else:  # what is printed may be kept in a file, and a code is nothing to keep
        say("A code that pairs a phone: vanstock device add.")
    sys.stdout.flush()


def _show_code(address: str, code: str) -> None:
    import segno

    say(f"Pair a phone within 10 minutes with the code {code}: open {address}/pair, or scan this.")
    segno.make(f"{address}/pair?code={code}", micro=False).terminal(compact=True)
    say("Another code: vanstock device add. Stop: Ctrl-C.")


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        why = error.strerror or error
        raise BadValue(f"cannot listen at {host} port {port} ({why}): choose another with --host or --port") from None


def _run(app: ASGIApp, listening: socket.socket, tls: tuple[Path | None, Path | None]) -> None:
    import uvicorn

    from vanstock.web.line import LINES, PatientLine

    certificate, key = tls
    config = uvicorn.Config(
        app, http=PatientLine, ssl_certfile=certificate, ssl_keyfile=key, proxy_headers=False, server_header=False,
        access_log=False, log_level="error", ws="none", timeout_keep_alive=20, limit_concurrency=LINES,
        timeout_graceful_shutdown=5,
    )  # fmt: skip
    try:
        uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        tell("stopped")


def device(ctx: typer.Context, json: Json = False) -> None:
    """List the paired phones."""
    if ctx.invoked_subcommand is not None:
        return
    found = _devices(ctx).paired()
    if json:
        rows = [{"device": one.name, "paired": _day(one.paired), "last_seen": _day(one.seen)} for one in found]
        as_json({"devices": rows})
        return
    if not found:
        say("no phone is paired: `vanstock serve` shows how")
        return
    table(
        (Column("device"), Column("paired"), Column("last seen")),
        [(one.name, _day(one.paired), _day(one.seen)) for one in found],
    )


def _day(seconds: float) -> str:
    return f"{datetime.fromtimestamp(seconds).astimezone():%Y-%m-%d}"


def add(ctx: typer.Context) -> None:
    """Make a code that pairs one more phone within ten minutes, while `serve` runs."""
    code = _devices(ctx).new_code()
    say(f"{code}: open /pair at the address that `vanstock serve` shows, and type it within 10 minutes")


def revoke(ctx: typer.Context, name: Annotated[str, typer.Argument(metavar="NAME", help="The phone's name.")]) -> None:
    """Take a paired phone off: it sees nothing any more."""
    _devices(ctx).revoke(name)
    say(f"{name} is no longer paired")

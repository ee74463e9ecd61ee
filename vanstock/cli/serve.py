"""The phone face from the terminal: `serve` starts it, `device` says which phones are paired and takes one off."""

from __future__ import annotations

import socket
import sys
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Commands, Json, Options, example, opened
from vanstock.cli.show import Column, as_json, say, table, tell
from vanstock.errors import BadValue

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from vanstock.web.devices import Devices
    from vanstock.web.papers import Papers

_USUAL = {False: 80, True: 443}
_LOOK_EVERY_SECONDS = 15
"""How often to see whether a hotspot gave this computer another address."""


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = ("vanstock serve", "vanstock serve --port 8041 --name van-laptop.local", "vanstock serve --tls")
    app.command("serve", epilog=example(*lines))(serve)
    group = typer.Typer(
        cls=Commands,
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
    port: Annotated[int, typer.Option("--port", metavar="PORT", min=1, max=65535, help="On which port.")] = 8040,
    name: Annotated[
        list[str] | None, typer.Option("--name", metavar="HOST", help="A name phones know this machine by.")
    ] = None,
    tls: Annotated[bool, typer.Option("--tls", help="Serve https, by this computer's own authority.")] = False,
    new_authority: Annotated[
        bool, typer.Option("--new-authority", help="With --tls: make another authority; phones must trust it anew.")
    ] = False,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Serve https with this certificate (PEM).")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="The certificate's key (PEM).")] = None,
) -> None:
    """Serve the pages for phones until Ctrl-C; at a terminal it shows a code that pairs a phone."""
    from vanstock.web.addresses import LOOPBACK, addresses
    from vanstock.web.app import create_app
    from vanstock.web.desk import Desk
    from vanstock.web.pages import warm

    _check_tls(certificate, key, tls=tls, new_authority=new_authority)
    options: Options = ctx.obj
    names, devices = _names(name or []), _devices(ctx)
    devices.check_folder()
    with closing(_listen(host, port)) as listening:
        papers = _papers(ctx, host, port, names, anew=new_authority) if tls else None
        https = bool(papers or certificate)
        desk = Desk(
            options.ledger, options.now, hosts=_answered(host, port, names, https=https), port=port, devices=devices,
            tell=_tell, authority=(lambda: papers.about().der) if papers else None,
        )  # fmt: skip
        shown = [one for one in (*names, *addresses(host)) if papers is None or papers.vouches_for(one)]
        _greet([_address(one, port, https=https) for one in shown or LOOPBACK[:1]], devices, papers)
        threading.Thread(target=warm, args=(desk,), daemon=True).start()
        _run(create_app(desk), listening, (certificate, key), papers)


def _check_tls(certificate: Path | None, key: Path | None, *, tls: bool, new_authority: bool) -> None:
    """Raise `BadValue` for options that do not go together, or a certificate that cannot be served with."""
    if new_authority and not tls:
        raise BadValue("--new-authority makes the authority of --tls: give both")
    if certificate is None and key is None:
        return
    if tls:
        raise BadValue("--tls makes a certificate by itself: leave out --certificate and --key, or --tls")
    if certificate is None or key is None:
        raise BadValue("a certificate and its key go together: give --certificate and --key, or neither")
    import ssl

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except OSError as error:
        why = error.strerror or error
        raise BadValue(f"{certificate} with {key} cannot be served with ({why}): give PEM files") from None


def _papers(ctx: typer.Context, host: str, port: int, names: list[str], *, anew: bool) -> Papers:
    from vanstock.web.addresses import addresses
    from vanstock.web.papers import Papers

    with opened(ctx) as session:
        return Papers(session.path, host, port, names, anew=anew, look=lambda: addresses(host), tell=_tell)


def _answered(host: str, port: int, names: list[str], *, https: bool) -> frozenset[str]:
    """What may stand as the Host of a request; the port is left out where it is the usual one."""
    from vanstock.web.addresses import LOOPBACK, addresses, in_url, own_names

    hosts = [in_url(one.lower()) for one in (*addresses(host), *names, *LOOPBACK, *own_names())]
    bare = hosts if port == _USUAL[https] else []
    return frozenset((*(f"{one}:{port}" for one in hosts), *bare))


def _address(host: str, port: int, *, https: bool) -> str:
    from vanstock.web.addresses import in_url

    return f"{'https' if https else 'http'}://{in_url(host)}:{port}"


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


def _greet(addresses: list[str], devices: Devices, papers: Papers | None) -> None:
    say(f"serving at {addresses[0]}")
    for other in addresses[1:]:
        say(f"also at {other}")
    if papers:
        _greet_anew(papers)
    if sys.stdout.isatty():
        _show_code(addresses[0], devices.new_code())
    else:  # what is printed may be kept in a file, and a code is nothing to keep
        say("A code that pairs a phone: vanstock device add.")
    sys.stdout.flush()


def _greet_anew(papers: Papers) -> None:
    from vanstock.cli.authority import show_fingerprint

    about = papers.about()
    if about.ends_soon(datetime.now(UTC)):
        tell(f"note: the authority is good until {about.ends:%Y-%m-%d} only: --new-authority makes another")
    if papers.made:
        say(f"An authority was made for this computer, good until {about.ends:%Y-%m-%d}.")
    say("A phone must trust its authority first, once: `vanstock authority` says how.")
    show_fingerprint(about.fingerprint)


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


def _run(app: ASGIApp, listening: socket.socket, tls: tuple[Path | None, Path | None], papers: Papers | None) -> None:
    import uvicorn

    from vanstock.web.line import LINES, PatientLine

    certificate, key = tls

    async def renew() -> None:
        if papers and config.ssl:
            papers.renew(config.ssl)

    config = uvicorn.Config(
        app, http=PatientLine, ssl_certfile=papers.leaf.file if papers else certificate, ssl_keyfile=key,
        proxy_headers=False, server_header=False, access_log=False, log_level="error", ws="none", timeout_keep_alive=20,
        limit_concurrency=LINES, timeout_graceful_shutdown=5, callback_notify=renew, timeout_notify=_LOOK_EVERY_SECONDS,
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

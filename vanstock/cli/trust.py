"""Trust: `backup`, `restore`, `check`, `forget`. Parse, ask, call one routine, say what was done."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.entries import entry_table
from vanstock.cli.options import Json, Options, example, opened
from vanstock.cli.show import Column, as_json, clean, many, paragraph, say, table, tell

if TYPE_CHECKING:
    from vanstock.model import Finding
    from vanstock.routines.trust import Loss

_TABLES = {
    "setting": "settings", "supplier": "suppliers", "family": "families", "part": "parts", "fits": "what fits what",
    "goes_with": "what goes with what", "usual": "the usual table", "pinned": "pinned levels", "place": "places",
    "word": "calendar words",
}  # fmt: skip


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("backup", epilog=example("vanstock backup", "vanstock backup /media/stick"))(backup)
    app.command(
        "restore",
        epilog=example("vanstock restore ledger-2027-03-01T064000.db", "vanstock restore --until 2027-03-02T12:00"),
    )(restore)
    app.command("check", epilog=example("vanstock check"))(check)
    app.command("forget", epilog=example("vanstock forget C-1042"))(forget)


def backup(
    ctx: typer.Context,
    folder: Annotated[Path | None, typer.Argument(metavar="[FOLDER]", help="Where to put it.")] = None,
) -> None:
    """Write a checked, dated copy of the ledger, and thin out old copies."""
    from vanstock.routines import trust as routine

    with opened(ctx) as session:
        made = routine.backup(session, folder)
    say(f"copy written and checked: {made.file} ({_entries(made.entries)})")
    if made.new_folder:
        tell(f"note: {made.file.parent} was not there and was made: if it is to be a stick, see that it is plugged in")
    if made.removed:
        say(f"{many(len(made.removed), 'old copy', 'old copies')} removed")


def _entries(count: int) -> str:
    return many(count, "entry", "entries")


def restore(
    ctx: typer.Context,
    file: Annotated[Path | None, typer.Argument(metavar="[FILE]", help="A copy of the ledger.")] = None,
    until: Annotated[str, typer.Option(metavar="TIME", help="Write the ledger as it was then to a new file.")] = "",
    to: Annotated[Path | None, typer.Option(metavar="NEWFILE", help="The new file for --until.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Go back to a copy of the ledger, or make the ledger as it was at a moment."""
    from vanstock.errors import BadValue

    if to and not until:
        raise BadValue("--to belongs to --until: a copy is put back in the ledger's own place")
    if until:
        _as_it_was(ctx, file, until, to)
    elif file is None:
        _list_copies(ctx)
    else:
        _put_back(ctx, file, yes)


def _list_copies(ctx: typer.Context) -> None:
    from vanstock.routines import trust as routine

    chosen: Options = ctx.obj
    kept = routine.copies_kept(chosen.ledger)
    if not kept:
        say("no copies yet: `vanstock backup` makes one")
        return
    table((Column("made"), Column("copy")), [(f"{c.at:%a %Y-%m-%d %H:%M}", str(c.file)) for c in reversed(kept)])
    say("`vanstock restore COPY` shows what going back to one would lose, and asks")


def _as_it_was(ctx: typer.Context, file: Path | None, until: str, to: Path | None) -> None:
    from vanstock.routines import trust as routine

    chosen: Options = ctx.obj
    made = routine.as_it_was(str(file) if file else chosen.ledger, routine.read_moment(until), to)
    say(f"the ledger as it was on {made.until:%a %Y-%m-%d at %H:%M}: {made.file} ({made.entries} of {made.of} entries)")
    paragraph(
        "Parts, families, suppliers, settings and pins in it are as they are now. Look at it with --ledger; `vanstock"
        " restore` puts it in the ledger's place.",
    )


def _put_back(ctx: typer.Context, file: Path, yes: bool) -> None:
    from vanstock.errors import BadValue
    from vanstock.routines import trust as routine

    chosen: Options = ctx.obj
    _say_loss(routine.what_would_be_lost(chosen.ledger, file))
    if not yes:
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            raise BadValue("nothing was changed: say --yes to go back to this copy")
        if not typer.confirm("Go back to this copy?", default=False):
            say("nothing was changed")
            return
    done = routine.restore(chosen.ledger, file, chosen.now)
    say(f"restored: {done.ledger}")
    if done.aside:
        say(f"the ledger that was there is kept beside it as {done.aside.name}")


def _say_loss(loss: Loss) -> None:
    last = f", the newest of {loss.newest[:16].replace('T', ' ')}" if loss.newest else ""
    say(f"{loss.copy} holds {_entries(loss.entries)}{last}")
    if loss.lost and loss.lost.other and loss.entries:
        say("CAREFUL: it is a copy of another ledger, not of the one in use")
    if loss.lost is None:
        say("the ledger in use cannot be read: what it has beyond this copy cannot be listed; it will be kept aside")
    elif not loss.lost.total and not loss.lost.tables:
        say("nothing would be lost: the ledger in use has nothing that is not in this copy")
    elif not loss.lost.total:
        say("no entry would be lost")
    else:
        say(f"{_entries(loss.lost.total)} would be lost{', newest first' if loss.lost.total > 1 else ''}:")
        entry_table(loss.lost.entries, loss.lost.parts)
        if loss.lost.total > len(loss.lost.entries):
            say(f"and {loss.lost.total - len(loss.lost.entries)} older ones")
    if loss.lost and loss.lost.tables:
        names = ", ".join(_TABLES.get(name, name) for name in loss.lost.tables)
        say(f"would go back to how the copy has them: {names}")


def check(ctx: typer.Context, json: Json = False) -> None:
    """Work every balance out again and test every rule; ends 1 when one is broken."""
    from vanstock.routines import trust as routine

    chosen: Options = ctx.obj
    found = routine.check(chosen.ledger, (lambda _: None) if json else _say_finding)
    broken = [finding for finding in found if finding.wrong]
    if json:
        rules = [{"rule": f.rule, "ok": not f.wrong, "wrong": list(f.wrong)} for f in found]
        as_json({"ok": not broken, "rules": rules})
    elif broken:
        tell(f"vanstock: {len(broken)} of {len(found)} rules broken: `vanstock restore` lists the copies to go back to")
    else:
        say(f"all {len(found)} rules hold")
    if broken:
        raise typer.Exit(1)


def _say_finding(finding: Finding) -> None:
    say(f"{'BROKEN' if finding.wrong else 'ok':6}  {finding.rule}")
    for wrong in finding.wrong:
        say(f"        {clean(wrong)}")


def forget(
    ctx: typer.Context,
    reference: Annotated[str, typer.Argument(metavar="REFERENCE", help="The customer's reference on a booking.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Blank a customer's reference everywhere in the ledger, for good."""
    from vanstock.errors import BadValue
    from vanstock.routines import trust as routine

    with opened(ctx) as session:
        found = routine.what_names(session, reference)
        where = f"{many(len(found.jobs), 'job')} and {many(len(found.notes), 'note')}"
        if not yes:
            if not (sys.stdin.isatty() and sys.stdout.isatty()):
                raise BadValue(f"{where} would be blanked for good: say --yes to do it; nothing was changed")
            if not typer.confirm(f"{where} will be blanked for good. Forget it?", default=False):
                say("nothing was changed")
                return
        done = routine.forget(session, reference)
    chosen: Options = ctx.obj
    kept = routine.copies_kept(chosen.ledger)
    say(f"forgotten: {where} blanked (entry {done.entry.id[:8]})")
    if kept:
        older = many(len(kept), "copy", "copies")
        tell(f"note: {older} in {kept[-1].file.parent} may still hold it: delete what must not")
    for file in routine.also_holding(chosen.ledger):
        tell(f"note: {file} may still hold it")
    tell("note: copies you put elsewhere and folders you exported hold it as before")

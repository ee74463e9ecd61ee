"""Setting up: `export`, `place`, `setting`. Parse, call one routine, show."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from vanstock.cli.options import Commands, Json, example, opened
from vanstock.cli.show import Column, as_json, many, say, table, tell, words, working


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("export", epilog=example("vanstock export copy-of-my-firm"))(export)
    place = typer.Typer(
        cls=Commands,
        help="Vans and stores.",
        no_args_is_help=True,
        rich_markup_mode=None,
        epilog=example("vanstock place list"),
    )
    place.command("add", epilog=example('vanstock place add "van 2"', "vanstock place add lock-up --store"))(place_add)
    place.command("list", epilog=example("vanstock place list"))(place_list)
    app.add_typer(place, name="place")
    app.command("setting", epilog=example("vanstock setting", "vanstock setting target 0.9"))(setting)


def export(
    ctx: typer.Context, folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write them.")]
) -> None:
    """Write the ledger out as the CSV files that import reads."""
    from vanstock.routines import setup as routine

    with opened(ctx) as session, working("exporting"):
        counts = routine.export_folder(session, folder)
    listed = ", ".join(f"{counts[name]} {name}" for name in ("parts", "jobs", "used", "stock"))
    say(f"wrote {folder}: {listed}")
    if counts["below zero"]:
        below = "1 stock line is" if counts["below zero"] == 1 else f"{counts['below zero']} stock lines are"
        tell(f"note: {below} below zero: count what is before importing this elsewhere")
    left = (
        ("claims", "open claim", ""),
        ("orders", "order", " under way"),
        ("use-by dates", "use-by date", " of parts"),
        ("events", "event", " that bookings came from"),
        ("words", "word", " for calendars"),
    )
    if told := ", ".join(f"{many(counts[name], what)}{rest}" for name, what, rest in left if counts[name]):
        tell(f"note: not in these files: {told}; `vanstock backup` copies everything")


def place_add(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call it, like van 2.")],
    store: Annotated[bool, typer.Option("--store", help="It is a store, not a van.")] = False,
) -> None:
    """Add a van, or a store with --store."""
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        place = routine.add_place(session, name, "store" if store else "van")
    say(f"added {place.kind} {place.place!r}")


def place_list(ctx: typer.Context, json: Json = False) -> None:
    """List the vans and stores."""
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        places = routine.list_places(session)
    if json:
        as_json({"places": [{"place": place.place, "kind": place.kind} for place in places]})
    else:
        table((Column("place"), Column("kind")), [(place.place, place.kind) for place in places])


def setting(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="The setting; all when left out.")] = "",
    value: Annotated[str | None, typer.Argument(metavar="[VALUE]", help="Its new value; left out it is shown.")] = None,
    json: Json = False,
) -> None:
    """Show the settings, or change one."""
    from vanstock.routines import settings as routine

    with opened(ctx) as session:
        if name and value is not None:
            routine.change_setting(session, name, value)
        chosen = {name: routine.setting_text(session, name)} if name else routine.all_settings(session)
    if json:
        as_json(chosen)
    else:
        rows = [(key, text, routine.SETTINGS[key].what) for key, text in chosen.items()]
        table((Column("setting"), Column("value"), words("what it is")), rows)

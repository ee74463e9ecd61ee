"""What `--help` says of every command: each thing that can be typed is explained, and nothing is cut short."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import typer.main

from vanstock.cli.main import HOMES, program


def every(group: Any, names: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """The program, its groups and its commands, by what is typed for each."""
    yield " ".join(names) or "vanstock", group
    for name, one in getattr(group, "commands", {}).items():
        yield from every(one, (*names, name))


COMMANDS = dict(every(typer.main.get_command(program(HOMES))))


@pytest.mark.parametrize("typed", COMMANDS)
def test_every_argument_and_option_says_what_it_is_for_and_what_to_type(typed: str) -> None:
    command = COMMANDS[typed]
    context = command.make_context(typed, [], resilient_parsing=True)
    for one in command.params:
        assert one.help, f"{typed}: {one.name} is not explained"
    shown = command.get_help(context)
    for unsaid in ("<int", "<str", "INTEGER", "[default: 0]\n  --only-known"):
        assert unsaid not in shown


@pytest.mark.parametrize("typed", [name for name, one in COMMANDS.items() if hasattr(one, "commands")])
def test_a_list_of_commands_says_each_in_full(typed: str) -> None:
    context = COMMANDS[typed].make_context(typed, [], resilient_parsing=True)
    words = " ".join(COMMANDS[typed].get_help(context).split())
    for one in COMMANDS[typed].commands.values():
        assert " ".join(one.help.split()).partition("\n\n")[0].rstrip(".") in words
    assert "..." not in words.replace("[ARGS]...", "")

"""The commands by name; each one's file is loaded only when it runs, so that help is quick."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

if TYPE_CHECKING:
    from typer._click.core import Command, Context
    from typer._click.formatting import HelpFormatter

from cardprep.texts.commands import COMMANDS, HELP, PROGRAM

_MODULES: Mapping[str, str] = {name: f"cardprep.cli.{name}_command" for name in COMMANDS}


class LazyGroup(TyperGroup):
    """A group whose commands are loaded when they are asked for."""

    def list_commands(self, ctx: Context) -> list[str]:
        """Return the names in the order of the catalogue."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: Context, cmd_name: str) -> Command | None:
        """Load one command, or return None if there is none of this name."""
        del ctx
        if cmd_name not in _MODULES:
            return None
        module = importlib.import_module(_MODULES[cmd_name])
        command = typer.main.get_command(module.app)
        command.name = cmd_name
        return command

    def format_commands(self, ctx: Context, formatter: HelpFormatter) -> None:
        """List the commands from the catalogue, without loading any."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


app = typer.Typer(
    cls=LazyGroup,
    help=PROGRAM,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback()
def root(
    ctx: typer.Context,
    shop: Annotated[str | None, typer.Option(help=HELP["shop"], metavar="DIR")] = None,
    version: Annotated[bool, typer.Option("--version", "-V", help=HELP["version"])] = False,  # noqa: ARG001 - answered before this is loaded; here for the help
) -> None:
    """Take the options that all commands have."""
    ctx.obj = shop

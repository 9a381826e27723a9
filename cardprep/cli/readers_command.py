"""The command ``readers``."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from cardprep.bench.readers import list_readers
from cardprep.cli.door import say, say_object, width
from cardprep.paper.readers import readers_lines, readers_object
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("readers", help=COMMANDS["readers"])
def readers(
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """List the card readers."""
    listing = list_readers(sys.platform)
    found, cards, was_told = listing.readers, listing.cards, listing.was_told
    if as_json:
        say_object(readers_object(found, cards, was_told=was_told))
        return
    say(readers_lines(found, cards, was_told=was_told, width=width()))

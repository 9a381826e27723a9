"""The command ``inspect``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.inspect import inspect
from cardprep.cli.door import bar, say, say_object, stoppable, width
from cardprep.paper.inspect import inspection_lines
from cardprep.paper.inspect_object import inspection_object
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("inspect", help=COMMANDS["inspect"])
def inspect_(
    card: Annotated[Path, typer.Argument(help=HELP["check-card"], metavar="CARD")],
    deleted: Annotated[bool, typer.Option("--deleted", help=HELP["deleted"])] = False,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """See what is on one card."""
    progress = bar(screen("check.reading"))
    inspection = inspect(card, deleted=deleted, progress=progress, cancel=stoppable())
    if as_json:
        say_object(inspection_object(inspection))
        return
    say(inspection_lines(inspection, width=width(), deleted=deleted))

"""The command ``intake``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.release import IntakeFacts, take_in
from cardprep.cli import words
from cardprep.cli.door import bar, place, say, say_object, stoppable
from cardprep.paper.job import taken_in_lines
from cardprep.terms import Version
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("intake", help=COMMANDS["intake"])
def intake(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help=HELP["file"], metavar="FILE")],
    kind: Annotated[str, typer.Option("--type", help=HELP["type"])],
    model: Annotated[list[str], typer.Option(help=HELP["model"])],
    version: Annotated[str, typer.Option(help=HELP["version-of"])],
    released: Annotated[str, typer.Option(help=HELP["released"])],
    known_by: Annotated[str, typer.Option(help=HELP["known-by"])],
    source: Annotated[str | None, typer.Option(help=HELP["source"])] = None,
    on: Annotated[str | None, typer.Option(help=HELP["on"])] = None,
    needs: Annotated[list[str] | None, typer.Option(help=HELP["needs"])] = None,
    starts: Annotated[list[str] | None, typer.Option("--from", help=HELP["from"])] = None,
    carries: Annotated[list[str] | None, typer.Option(help=HELP["carries"])] = None,
    leaves: Annotated[str, typer.Option(help=HELP["leaves"])] = "running",
    minutes: Annotated[str, typer.Option(help=HELP["minutes"])] = "1-10",
    sha256: Annotated[str | None, typer.Option(help=HELP["sha256"])] = None,
    list_checked: Annotated[str | None, typer.Option(help=HELP["list-checked"])] = None,
    name: Annotated[str | None, typer.Option(help=HELP["as-name"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Take one file in."""
    facts = IntakeFacts(
        models=tuple(model),
        type=kind,
        version=Version(version),
        released=words.moment(released),
        known_by=words.known_by(known_by, source, on),
        needs=words.needs(needs or []),
        starts=tuple(Version(text) for text in starts or []),
        carried=words.carried(carries or []),
        leaves=words.leaves(leaves),
        minutes=words.minutes(minutes),
        expected=sha256,
        list_checked=None if list_checked is None else words.day(list_checked),
        name=name,
    )
    with open_bench(place(ctx), screen("command.intake")) as bench:
        taken = take_in(bench, file, facts, bar(file.name), stoppable())
    if as_json:
        say_object(
            {
                "file": taken.image.file,
                "sha256": taken.image.sha256,
                "size": taken.image.size,
                "container": taken.container.format,
                "soundness": taken.container.soundness.value,
                "on_shelf": taken.on_shelf,
                "in_manifest": taken.in_manifest,
            }
        )
        return
    say(
        taken_in_lines(
            taken.image,
            taken.container,
            on_shelf=taken.on_shelf,
            in_manifest=taken.in_manifest,
        )
    )

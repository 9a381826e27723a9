"""The command ``intake``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.intake import TakenIn, take_in
from cardprep.bench.intake_facts import WEAK, IntakeFacts, PublishedSum
from cardprep.bench.intake_file import Unpack
from cardprep.bench.open import open_bench
from cardprep.canonical import Json
from cardprep.cli import words
from cardprep.cli.door import bar, place, say, say_object, stoppable, width
from cardprep.errors import BadValueError
from cardprep.paper.intake import taken_in_lines
from cardprep.terms import Version, spelled_out
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
    checksum: Annotated[
        str | None, typer.Option("--checksum", "--sha256", help=HELP["checksum"])
    ] = None,
    list_checked: Annotated[str | None, typer.Option(help=HELP["list-checked"])] = None,
    unpack: Annotated[bool, typer.Option("--unpack", help=HELP["unpack"])] = False,
    member: Annotated[str | None, typer.Option(help=HELP["member"])] = None,
    as_is: Annotated[bool, typer.Option("--as-is", help=HELP["as-is"])] = False,
    name: Annotated[str | None, typer.Option(help=HELP["as-name"])] = None,
    needs: Annotated[list[str] | None, typer.Option(help=HELP["needs"])] = None,
    starts: Annotated[list[str] | None, typer.Option("--from", help=HELP["from"])] = None,
    carries: Annotated[list[str] | None, typer.Option(help=HELP["carries"])] = None,
    runs_with: Annotated[list[str] | None, typer.Option(help=HELP["runs-with"])] = None,
    erases: Annotated[list[str] | None, typer.Option(help=HELP["erases"])] = None,
    leaves: Annotated[str | None, typer.Option(help=HELP["leaves"])] = None,
    minutes: Annotated[str | None, typer.Option(help=HELP["minutes"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Take one file in."""
    facts = IntakeFacts(
        models=tuple(model),
        type=kind,
        version=Version(version),
        released=words.moment(released),
        known_by=words.known_by(known_by, source, on),
        needs=words.needs(needs) if needs else None,
        starts=tuple(Version(text) for text in starts) if starts else None,
        carried=words.carried(carries) if carries else None,
        runs_with=tuple(Version(text) for text in runs_with) if runs_with else None,
        erases=tuple(erases) if erases else None,
        leaves=None if leaves is None else words.leaves(leaves),
        minutes=None if minutes is None else words.minutes(minutes),
        published=None if checksum is None else PublishedSum.parse(checksum),
        list_checked=None if list_checked is None else words.day(list_checked),
        name=name,
    )
    if as_is and (unpack or member is not None):
        raise BadValueError("intake.as-is-and-unpack")
    wanted = Unpack(member=member) if unpack or member is not None else None
    with open_bench(place(ctx), screen("command.intake")) as bench:
        progress = bar(spelled_out(file.name))
        taken = take_in(bench, file, facts, progress, stoppable(), unpack=wanted, as_is=as_is)
    if as_json:
        say_object(_object(taken))
    else:
        _say(taken)


def _say(taken: TakenIn) -> None:
    archive, checked = taken.archive, taken.checked
    say(
        taken_in_lines(
            taken.image,
            taken.container,
            on_shelf=taken.on_shelf,
            in_manifest=taken.in_manifest,
            list_checked=taken.list_checked,
            other_name=taken.other_name,
            same_name=taken.same_name,
            archive=None if archive is None else (archive.name, archive.member),
            checked=None if checked is None else (checked.algorithm, checked.algorithm in WEAK),
            width=width(),
        )
    )


def _object(taken: TakenIn) -> dict[str, Json]:
    archive, checked = taken.archive, taken.checked
    return {
        "file": taken.image.file,
        "sha256": taken.image.sha256,
        "size": taken.image.size,
        "container": taken.container.format,
        "soundness": taken.container.soundness.value,
        "on_shelf": taken.on_shelf,
        "in_manifest": taken.in_manifest,
        "list_checked_updated": taken.list_checked,
        "given_as": None if taken.other_name is None else spelled_out(taken.other_name),
        "same_name_versions": list(taken.same_name),
        "archive": None if archive is None else {"name": archive.name, "sha256": archive.sha256},
        "published": None if checked is None else checked.algorithm,
    }

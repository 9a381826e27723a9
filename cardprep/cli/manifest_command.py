"""The commands ``manifest check`` and ``manifest sign``."""

from __future__ import annotations

from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.sign import check_manifest, sign_manifest
from cardprep.cli.door import place, say, say_object
from cardprep.cli.streams import put_error
from cardprep.errors import ManifestTextError
from cardprep.texts.catalogue import refusal, screen, word
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(
    help=COMMANDS["manifest"], no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


@app.command("check", help=HELP["manifest check"])
def check(
    ctx: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Name every mistake of the manifest."""
    with open_bench(place(ctx)) as bench:
        manifest, mistakes = check_manifest(bench)
        trusted, reason = bench.trusted_or_reason()
    if as_json:
        rows = [dict(mistake.parameters) for mistake in mistakes]
        say_object({"mistakes": rows, "signed": trusted is not None})
    elif manifest is not None:
        serial, images = manifest.serial, len(manifest.images)
        signed = screen("manifest.is-signed")
        if trusted is None:
            signed = screen("manifest.not-signed", reason=word(reason or ""))
        say([screen("manifest.good", serial=serial, images=images), signed])
    for mistake in mistakes:
        text = refusal(mistake)
        put_error(screen("manifest.mistake", message=text.message, remedy=text.remedy))
    if mistakes:
        raise typer.Exit(ManifestTextError.exit_status)


@app.command("sign", help=HELP["manifest sign"])
def sign(
    ctx: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Sign the manifest."""
    with open_bench(place(ctx), screen("command.sign")) as bench:
        signed = sign_manifest(bench)
    if as_json:
        say_object({"serial": signed.serial, "sha256": signed.sha256, "changed": signed.changed})
        return
    slug = "manifest.signed" if signed.changed else "manifest.was-signed"
    say(
        [
            screen(slug, serial=signed.serial, images=signed.images),
            screen("manifest.digest", sha256=signed.sha256),
        ]
    )

"""The commands ``shop new`` and ``shop accept``."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from cardprep.bench.open import accept_key, agent_key, new_shop
from cardprep.cli.door import place, say, say_object
from cardprep.sshsig import PrivateKey
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(
    help=COMMANDS["shop"], no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


@app.command("new", help=HELP["shop new"])
def new(
    ctx: typer.Context,
    name: Annotated[str, typer.Option(help=HELP["name"])],
    bench: Annotated[str, typer.Option(help=HELP["bench"])],
    operator: Annotated[str, typer.Option(help=HELP["operator"])],
    agent: Annotated[str | None, typer.Option("--agent", help=HELP["agent"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Make a shop folder."""
    here = place(ctx)
    key = PrivateKey(os.urandom(32)) if agent is None else agent_key(here, agent)
    made = new_shop(here, name=name, bench=bench, operator=operator, key=key)
    folder = spelled_out(str(made.shop.folder))
    if as_json:
        say_object({"folder": folder, "fingerprint": made.fingerprint})
        return
    say(
        [
            screen("shop.made", folder=folder),
            screen("shop.key", fingerprint=made.fingerprint),
            screen("shop.next", manifest=spelled_out(str(made.shop.manifest))),
        ]
    )


@app.command("accept", help=HELP["shop accept"])
def accept(
    ctx: typer.Context,
    fingerprint: Annotated[str, typer.Argument(help=HELP["fingerprint"], metavar="FINGERPRINT")],
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Accept a shop's key."""
    here = place(ctx)
    pin = accept_key(here, fingerprint)
    folder = spelled_out(str(here.shop))
    if as_json:
        say_object({"folder": folder, "fingerprint": pin.fingerprint})
        return
    say([screen("shop.accepted", fingerprint=pin.fingerprint, folder=folder)])

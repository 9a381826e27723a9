"""The commands ``log show``, ``log verify`` and ``log sign``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.prove import hand_out, last_records, seal_log, verify
from cardprep.cli.door import place, say, say_object
from cardprep.paper.log import record_line, state_lines
from cardprep.paper.objects import record_object
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(
    help=COMMANDS["log"], no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


@app.command("show", help=HELP["log show"])
def show(
    ctx: typer.Context,
    most: Annotated[int, typer.Option("--last", help=HELP["most"], min=1)] = 40,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Show the newest records."""
    with open_bench(place(ctx)) as bench:
        records = last_records(bench, most)
    if as_json:
        say_object({"records": [record_object(record) for record in records]})
        return
    say([record_line(record) for record in records])


@app.command("verify", help=HELP["log verify"])
def verify_(
    ctx: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Verify the log."""
    with open_bench(place(ctx)) as bench:
        state = verify(bench)
    if as_json:
        say_object(
            {
                "size": state.size,
                "root": state.root.hex(),
                "checkpoints": state.checkpoints,
                "sealed": state.sealed,
            }
        )
        return
    say(state_lines(state))


@app.command("sign", help=HELP["log sign"])
def sign(
    ctx: typer.Context,
    to: Annotated[Path | None, typer.Option("--to", help=HELP["to"], metavar="DIR")] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Sign the log's head."""
    with open_bench(place(ctx), screen("command.sign")) as bench:
        sealed = seal_log(bench)
    handed = None if to is None else hand_out(sealed, to)
    short = str(sealed.checkpoint.short())
    if as_json:
        text, signature = sealed.signed.text.decode(), sealed.signed.signature
        say_object({"checkpoint": text, "signature": signature, "short": short})
        return
    say([screen("log.sealed", size=sealed.checkpoint.size, short=short)])
    if handed is not None:
        text, signature = (spelled_out(str(path)) for path in handed)
        say([screen("log.handed-out", text=text, signature=signature)])

"""The command ``trace``."""

from __future__ import annotations

from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.trace import trace
from cardprep.cli.door import place, say, say_object, width
from cardprep.paper.log import traced_lines
from cardprep.paper.objects import record_object, written_object
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("trace", help=COMMANDS["trace"])
def trace_(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(help=HELP["what"], metavar="WHAT")],
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Look something up."""
    with open_bench(place(ctx)) as bench:
        traced = trace(bench, what)
    if as_json:
        say_object(
            {
                "asked": {"field": traced.asked[0], "value": traced.asked[1]},
                "jobs": [job.to_record() for job in traced.jobs],
                "unchanged": traced.unchanged,
                "cards": [written_object(card) for card in traced.cards],
                "outcomes": [
                    {"time": time, **outcome.to_record()} for time, outcome in traced.outcomes
                ],
                "records": [record_object(record) for record in traced.records],
            }
        )
        return
    lines = traced_lines(
        traced.asked,
        traced.jobs,
        traced.cards,
        traced.outcomes,
        traced.records,
        unchanged=traced.unchanged,
        width=width(),
    )
    say(lines)

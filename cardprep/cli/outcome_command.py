"""The command ``outcome``."""

from __future__ import annotations

from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.outcome import Told, record_outcome
from cardprep.cli import words
from cardprep.cli.door import place, say, say_object
from cardprep.job.visit import JobName
from cardprep.paper.outcome import recorded_lines
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("outcome", help=COMMANDS["outcome"])
def outcome(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    result: Annotated[str, typer.Argument(help=HELP["result"], metavar="RESULT")],
    stage: Annotated[int | None, typer.Option(help=HELP["outcome-stage"])] = None,
    card: Annotated[int | None, typer.Option(help=HELP["outcome-card"], min=1, max=99999)] = None,
    seen: Annotated[list[str] | None, typer.Option(help=HELP["seen"])] = None,
    note: Annotated[str | None, typer.Option(help=HELP["note"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Record an outcome."""
    told = Told(
        result=words.result(result),
        stage=stage,
        card=card,
        seen=tuple(words.seen(text) for text in seen or []),
        note=note,
    )
    with open_bench(place(ctx), screen("command.job")) as bench:
        recorded = record_outcome(bench, JobName.parse(job), told)
    if as_json:
        missing = [
            {
                "unit": number,
                "type": word,
                "seen": None if version is None else version.text,
                "wanted": wanted.text,
            }
            for number, word, version, wanted in recorded.missing
        ]
        say_object({**recorded.outcome.to_record(), "missing": missing})
        return
    say(recorded_lines(recorded.job, recorded.outcome, recorded.missing))

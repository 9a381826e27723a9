"""The command ``check``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.check import check_card
from cardprep.bench.open import Bench, bench_or_none
from cardprep.cli.door import bar, leave_with, place, say, say_object, say_verdict, stoppable, width
from cardprep.errors import BadValueError
from cardprep.job.visit import JobName
from cardprep.paper.card import card_lines
from cardprep.paper.objects import judgement_object
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("check", help=COMMANDS["check"])
def check(
    ctx: typer.Context,
    card: Annotated[Path, typer.Argument(help=HELP["check-card"], metavar="CARD")],
    job: Annotated[str | None, typer.Option(help=HELP["check-job"])] = None,
    stage: Annotated[int | None, typer.Option(help=HELP["check-stage"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Check one card."""
    if (job is None) != (stage is None):
        raise BadValueError("check.job-and-stage")
    bench = bench_or_none(place(ctx))
    try:
        checked = check_card(
            bench,
            card,
            job=None if job is None else JobName.parse(job),
            stage=stage,
            progress=bar(screen("check.reading")),
            cancel=stoppable(),
        )
    finally:
        if isinstance(bench, Bench):
            bench.log.close()
    judgement = checked.judgement
    if as_json:
        say_object(judgement_object(judgement, checked.stage, checked.compared))
    else:
        say_verdict(judgement.verdict)
        say(card_lines(judgement, checked.stage, by_name=checked.by_name, width=width()))
    leave_with(judgement.verdict)

"""The command ``write``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.open import open_bench
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.cli.door import bar, leave_with, place, say, say_object, say_verdict, stoppable, width
from cardprep.errors import BadValueError
from cardprep.job.outcome import CARD_MOST
from cardprep.job.visit import JobName
from cardprep.paper.card import card_lines
from cardprep.paper.job import announced_lines, written_lines
from cardprep.paper.objects import judgement_object, layout_object
from cardprep.progress import Progress
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("write", help=COMMANDS["write"])
def write(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    stage: Annotated[int, typer.Argument(help=HELP["stage"], metavar="STAGE")],
    card: Annotated[Path, typer.Argument(help=HELP["card"], metavar="CARD")],
    number: Annotated[int | None, typer.Option(help=HELP["number"], min=1, max=99999)] = None,
    loop: Annotated[bool, typer.Option("--loop", help=HELP["loop"])] = False,
    yes: Annotated[bool, typer.Option("--yes", help=HELP["yes"])] = False,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Write one card."""
    cancel = stoppable()
    name = JobName.parse(job)
    number = _asked(number)
    wanted = CardToWrite(job=name, stage=stage, path=card, number=number, loop=loop)
    target = str(card)
    with open_bench(place(ctx), screen("command.write", target=spelled_out(target))) as bench:
        announced = announce(bench, wanted, bar(screen("write.digesting")), cancel)
        if not as_json:
            before = announced.before
            say(announced_lines(announced.layout, announced.sha256, number, target, before))
        if _is_there(card) and not yes and sys.stdin.isatty():
            typer.confirm(screen("write.ask", target=spelled_out(target)), abort=True)

        def steps(what: str) -> Progress:
            return bar(screen("write.writing" if what == "write" else "write.reading"))

        written = write_card(bench, wanted, announced, steps, cancel)
    judgement = written.judgement
    if as_json:
        checked = judgement_object(judgement, announced.stage, None)
        layout = layout_object(announced.layout, announced.sha256)
        checkpoint = written.checkpoint.text.decode()
        say_object({**checked, "layout": layout, "checkpoint": checkpoint})
    else:
        say_verdict(judgement.verdict)
        say(card_lines(judgement, announced.stage, by_name=False, width=width(), cards=(number,)))
        say(written_lines(announced.layout, written.checkpoint.text, target), fold=False)
    leave_with(judgement.verdict)


def _asked(number: int | None) -> int:
    """Return the number marked on the card, asked for where somebody can answer."""
    if number is not None:
        return number
    if not sys.stdin.isatty():
        raise BadValueError("write.number")
    while True:
        answer = int(typer.prompt(screen("write.ask-number"), type=int))
        if 1 <= answer <= CARD_MOST:
            return answer


def _is_there(card: Path) -> bool:
    try:
        return card.exists()
    except OSError:
        # A name that is too long; the guard says so.
        return False

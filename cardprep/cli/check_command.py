"""The command ``check``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.check import Wanted, check_card
from cardprep.bench.open import Bench, bench_or_none
from cardprep.bench.release_by_hand import Release
from cardprep.cli.door import bar, leave_with, place, say, say_object, say_verdict, stoppable, width
from cardprep.errors import BadValueError
from cardprep.job.visit import JobName
from cardprep.paper.card import card_lines, release_line
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("check", help=COMMANDS["check"])
def check(
    ctx: typer.Context,
    card: Annotated[Path, typer.Argument(help=HELP["check-card"], metavar="CARD")],
    job: Annotated[str | None, typer.Option(help=HELP["check-job"])] = None,
    stage: Annotated[int | None, typer.Option(help=HELP["check-stage"])] = None,
    display: Annotated[str | None, typer.Option(help=HELP["check-display"])] = None,
    release: Annotated[list[str] | None, typer.Option(help=HELP["release"])] = None,
    reason: Annotated[str | None, typer.Option(help=HELP["release-reason"])] = None,
    authority: Annotated[str | None, typer.Option(help=HELP["release-authority"])] = None,
    name: Annotated[str | None, typer.Option(help=HELP["release-name"])] = None,
    deleted: Annotated[bool, typer.Option("--deleted", help=HELP["deleted"])] = False,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Check one card."""
    if stage is not None and job is None:
        raise BadValueError("check.job-and-stage")
    by_hand = _release(release, reason, authority, name)
    wanted = Wanted(job=None if job is None else JobName.parse(job), stage=stage, display=display)
    bench = bench_or_none(place(ctx))
    try:
        checked = check_card(
            bench,
            card,
            wanted=wanted,
            release=by_hand,
            deleted=deleted,
            progress=bar(screen("check.reading")),
            cancel=stoppable(),
        )
    finally:
        if isinstance(bench, Bench):
            bench.log.close()
    judgement = checked.judgement
    if as_json:
        from cardprep.paper.objects import judgement_object, release_row

        rows = [release_row(one.slugs, *_words(one)) for one in checked.releases]
        checked_object = judgement_object(judgement, checked.stage, checked.compared)
        say_object({**checked_object, "cards": list(checked.cards), "releases": rows})
    else:
        say_verdict(judgement.verdict)
        lines = card_lines(
            judgement,
            checked.stage,
            by_name=checked.by_name,
            width=width(),
            cards=checked.cards,
            job=checked.place[0],
            other=None if checked.other is None else checked.other.stage,
        )
        say(lines)
        say([release_line(*_words(one)) for one in checked.releases])
    leave_with(judgement.verdict)


def _release(
    slugs: list[str] | None, reason: str | None, authority: str | None, name: str | None
) -> Release | None:
    """Return what is to be released by hand; all four belong together."""
    if not slugs and reason is None and authority is None and name is None:
        return None
    if not slugs or reason is None or authority is None or name is None:
        raise BadValueError("check.release-lacks")
    return Release(slugs=tuple(slugs), reason=reason, authority=authority, name=name)


def _words(release: Release) -> tuple[str, str, str, str, str]:
    return release.name, release.authority, release.reason, release.record, release.time

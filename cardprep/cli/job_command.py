"""The commands ``job open``, ``job plan`` and ``job show``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.jobs import Planned, find_job, find_plan, open_job, plan_job
from cardprep.bench.open import open_bench
from cardprep.cli import words
from cardprep.cli.door import place, say, say_object
from cardprep.errors import BadValueError, JobError
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.paper.job import opened_lines, planned_lines
from cardprep.paper.objects import layout_object
from cardprep.terms import Version
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(
    help=COMMANDS["job"], no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


@app.command("open", help=HELP["job open"])
def open_(
    ctx: typer.Context,
    vessel: Annotated[str | None, typer.Option(help=HELP["vessel"])] = None,
    mmsi: Annotated[str | None, typer.Option(help=HELP["mmsi"])] = None,
    display: Annotated[str | None, typer.Option(help=HELP["display"])] = None,
    display_software: Annotated[str | None, typer.Option(help=HELP["display-software"])] = None,
    unit: Annotated[list[str] | None, typer.Option(help=HELP["unit"])] = None,
    file: Annotated[Path | None, typer.Option("--file", help=HELP["job-file"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Open a job."""
    if file is not None:
        aboard, reader, units = words.job_file(file)
    elif vessel and display and unit:
        aboard = Vessel(name=vessel, mmsi=mmsi)
        software = None if display_software is None else Version(display_software)
        reader = Display(model=display, software=software)
        units = tuple(words.unit(text) for text in unit)
    else:
        raise BadValueError("job.incomplete")
    with open_bench(place(ctx), screen("command.job")) as bench:
        job = open_job(bench, vessel=aboard, display=reader, units=units)
    if as_json:
        say_object(job.to_record())
        return
    say([*opened_lines(job), screen("job.next", job=str(job.name))])


@app.command("plan", help=HELP["job plan"])
def plan(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Plan a job."""
    with open_bench(place(ctx), screen("command.job")) as bench:
        planned = plan_job(bench, JobName.parse(job))
    _say_planned(planned, as_json=as_json)


@app.command("show", help=HELP["job show"])
def show(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Show a job and its plan."""
    with open_bench(place(ctx)) as bench:
        name = JobName.parse(job)
        try:
            planned = find_plan(bench, name)
        except JobError:
            found = find_job(bench, name)
            planned = None
    if planned is not None:
        if not as_json:
            say([*opened_lines(planned.job), ""])
        _say_planned(planned, as_json=as_json)
    elif as_json:
        say_object(found.to_record())
    else:
        say([*opened_lines(found), screen("job.next", job=str(found.name))])


def _say_planned(planned: Planned, *, as_json: bool) -> None:
    layouts = tuple(lay_out(stage) for stage in planned.stages)
    if as_json:
        say_object(
            {
                "job": planned.job.to_record(),
                "stages": [layout_object(layout) for layout in layouts],
            }
        )
        return
    say(planned_lines(planned.job, layouts))

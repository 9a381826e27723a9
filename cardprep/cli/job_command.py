"""The commands ``job open``, ``job plan`` and ``job show``."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.jobs import (
    Opened,
    Planned,
    Visit,
    change_job,
    find_job,
    find_plan,
    open_job,
    plan_job,
    unasked_companions,
)
from cardprep.bench.open import Bench, open_bench
from cardprep.cli import words
from cardprep.cli.door import place, say, say_object, width
from cardprep.cli.job_file import job_file
from cardprep.errors import BadValueError, JobError
from cardprep.job.visit import Display, Job, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.paper.job import listed_lines, mention_lines, opened_lines, planned_lines
from cardprep.paper.objects import layout_object, listed_object
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP

app = typer.Typer(
    help=COMMANDS["job"], no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


_VESSEL = Annotated[str | None, typer.Option(help=HELP["vessel"])]
_MMSI = Annotated[str | None, typer.Option(help=HELP["mmsi"])]
_DISPLAY = Annotated[str | None, typer.Option(help=HELP["display"])]
_SOFTWARE = Annotated[str | None, typer.Option(help=HELP["display-software"])]
_UNIT = Annotated[list[str] | None, typer.Option(help=HELP["unit"])]
_FILE = Annotated[Path | None, typer.Option("--file", help=HELP["job-file"])]
_JSON = Annotated[bool, typer.Option("--json", help=HELP["json"])]


@app.command("open", help=HELP["job open"])
def open_(
    ctx: typer.Context,
    vessel: _VESSEL = None,
    mmsi: _MMSI = None,
    display: _DISPLAY = None,
    display_software: _SOFTWARE = None,
    unit: _UNIT = None,
    file: _FILE = None,
    as_json: _JSON = False,
) -> None:
    """Open a job."""
    visit = visit_told(vessel, mmsi, display, display_software, unit, file)
    with open_bench(place(ctx), screen("command.job")) as bench:
        opened = open_job(bench, _asked(bench, visit))
    _say_opened(opened, "job.opened", as_json=as_json)


@app.command("change", help=HELP["job change"])
def change(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    vessel: _VESSEL = None,
    mmsi: _MMSI = None,
    display: _DISPLAY = None,
    display_software: _SOFTWARE = None,
    unit: _UNIT = None,
    file: _FILE = None,
    as_json: _JSON = False,
) -> None:
    """Put another visit in the place of a job's."""
    name = JobName.parse(job)
    with open_bench(place(ctx), screen("command.job")) as bench:
        before = find_job(bench, name)
        if file is None and any((vessel, mmsi, display, display_software, unit)):
            visit = _changed(before, vessel, mmsi, display, display_software, unit)
        else:
            visit = visit_told(vessel, mmsi, display, display_software, unit, file)
        opened = change_job(bench, name, _asked(bench, visit))
    _say_opened(opened, "job.was-changed", as_json=as_json)


@app.command("list", help=HELP["job list"])
def list_(ctx: typer.Context, as_json: _JSON = False) -> None:
    """List the bench's jobs."""
    from cardprep.bench.job_list import list_jobs

    with open_bench(place(ctx)) as bench:
        jobs = list_jobs(bench)
    if as_json:
        say_object({"jobs": [listed_object(job) for job in jobs]})
        return
    say(listed_lines(jobs))


def visit_told(
    vessel: str | None,
    mmsi: str | None,
    display: str | None,
    display_software: str | None,
    unit: list[str] | None,
    file: Path | None,
) -> Visit:
    """Return the visit that the options, or the file, tell of."""
    options = (vessel, mmsi, display, display_software, unit)
    if file is not None:
        if any(option for option in options):
            raise BadValueError("job.file-or-options")
        return job_file(file)
    if vessel and display and unit:
        aboard = Vessel(name=vessel, mmsi=mmsi)
        return Visit(
            vessel=aboard,
            display=words.display(display, display_software),
            units=tuple(words.unit(text) for text in unit),
        )
    raise BadValueError("job.incomplete")


def _changed(
    before: Job,
    vessel: str | None,
    mmsi: str | None,
    display: str | None,
    display_software: str | None,
    unit: list[str] | None,
) -> Visit:
    """Return the visit of a job with what was given put in its place; the rest stays."""
    reader = before.display
    if display is not None:
        reader = Display(model=display, software=None)
    if display_software is not None:
        reader = replace(reader, software=words.version_or_unknown(display_software))
    return Visit(
        vessel=Vessel(name=vessel or before.vessel.name, mmsi=mmsi or before.vessel.mmsi),
        display=reader,
        units=tuple(words.unit(text) for text in unit) if unit else before.units,
        further_displays=before.further_displays,
        together=before.together,
    )


def _asked(bench: Bench, visit: Visit) -> Visit:
    """Ask on a terminal for each handset that was not told; elsewhere that is a refusal."""
    if not sys.stdin.isatty():
        return visit
    units = list(visit.units)
    for number, facts in unasked_companions(bench, visit):
        unit = units[number]
        model = facts.companion.model if facts.companion is not None else ""
        question = screen("job.ask-handset", role=unit.role, model=unit.model, companion=model)
        units[number] = replace(unit, companion=words.handset(typer.prompt(question)))
    return replace(visit, units=tuple(units))


def _say_opened(opened: Opened, slug: str, *, as_json: bool) -> None:
    job = opened.job
    if as_json:
        say_object(job.to_record())
        return
    say([*opened_lines(job, slug), *mention_lines(opened.mentions)])
    say([screen("job.next", job=str(job.name))])


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


@app.command("rehearse", help=HELP["job rehearse"])
def rehearse(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(help=HELP["job"], metavar="JOB")],
    cards: Annotated[int | None, typer.Option(help=HELP["cards"], min=1)] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", help=HELP["picture"], metavar="FILE")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Rehearse a job."""
    from cardprep.bench.picture import put_picture
    from cardprep.bench.rehearse import rehearse_job
    from cardprep.paper.plan_picture import plan_picture
    from cardprep.paper.rehearsal import rehearsal_lines, rehearsal_object

    with open_bench(place(ctx)) as bench:
        rehearsal = rehearse_job(bench, JobName.parse(job), cards=cards)
    if picture is not None:
        put_picture(picture, plan_picture(rehearsal))
    if as_json:
        say_object(rehearsal_object(rehearsal))
        return
    say(rehearsal_lines(rehearsal, width=width()))
    if picture is not None:
        say(["", screen("picture.put", name=spelled_out(str(picture)))])


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
            say([*opened_lines(planned.job, "job.is"), ""])
        _say_planned(planned, as_json=as_json)
    elif as_json:
        say_object(found.to_record())
    else:
        say([*opened_lines(found, "job.is"), screen("job.next", job=str(found.name))])


def _say_planned(planned: Planned, *, as_json: bool) -> None:
    layouts = tuple(lay_out(stage) for stage in planned.stages)
    if as_json:
        stages = [
            {**layout_object(layout), "steps": [step.to_record() for step in steps]}
            for layout, steps in zip(layouts, planned.steps, strict=True)
        ]
        say_object({"job": planned.job.to_record(), "stages": stages})
        return
    say(planned_lines(planned.job, layouts, planned.steps, width=width()))

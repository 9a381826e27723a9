"""Open jobs and plan them. The shop log is where jobs live; nothing else keeps them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cardprep.bench.open import Bench
from cardprep.bench.records import OPENED, PLANNED
from cardprep.canonical import Json
from cardprep.errors import JobError
from cardprep.job.stage import Stage
from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.shoplog.record import Record

if TYPE_CHECKING:
    from cardprep.vessel.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A job with its stages, as they stand in the log.

    plan      the steps, or None when read back from the log
    manifest  sha256 of the manifest that it was planned with
    """

    job: Job
    stages: tuple[Stage, ...]
    manifest: str
    plan: Plan | None = None


def open_job(bench: Bench, *, vessel: Vessel, display: Display, units: tuple[Unit, ...]) -> Job:
    """Open a job under the bench's next number and return it."""
    job = Job(name=_next_name(bench), vessel=vessel, display=display, units=units)
    index = [("job", str(job.name)), ("opened", job.name.bench)]
    index.append(("vessel", vessel.name.casefold()))
    if vessel.mmsi is not None:
        index.append(("vessel", vessel.mmsi))
    index += [("serial", unit.serial) for unit in units if unit.serial is not None]
    bench.record(OPENED, {"job": job.to_record()}, index)
    return job


def plan_job(bench: Bench, name: JobName) -> Planned:
    """Plan a job with the manifest as it is now, and record the stages.

    Raises JobError if there is no such job, NoPlanError or LayoutError if there
    is no plan, ManifestUntrustedError. A new plan takes the place of the one before.
    """
    # Whoever only looks a job up does without the planner.
    from cardprep.vessel.plan import plan
    from cardprep.vessel.stages import stages_of

    job = find_job(bench, name)
    trusted = bench.trusted()
    planned = plan(job, trusted.manifest)
    stages = stages_of(job, planned, trusted.manifest)
    body: dict[str, Json] = {
        "job": str(name),
        "manifest": trusted.sha256,
        "stages": [stage.to_record() for stage in stages],
    }
    bench.record(PLANNED, body, [("job", str(name))])
    return Planned(job=job, stages=stages, manifest=trusted.sha256, plan=planned)


def find_job(bench: Bench, name: JobName) -> Job:
    """Return a job from the log; JobError if there is none of this name."""
    for record in bench.log.find("job", str(name)):
        if record.kind == OPENED:
            return job_of(record)
    raise JobError("job.not-there", job=str(name))


def find_plan(bench: Bench, name: JobName) -> Planned:
    """Return a job with its newest plan; JobError if it was not planned."""
    job = find_job(bench, name)
    plans = all_plans(bench, name)
    if not plans:
        raise JobError("job.not-planned", job=str(name))
    body = plans[-1].body
    return Planned(job=job, stages=stages_in(body), manifest=str(body.get("manifest", "")))


def all_plans(bench: Bench, name: JobName) -> list[Record]:
    """Return the records of all plans of a job, oldest first."""
    return [record for record in bench.log.find("job", str(name)) if record.kind == PLANNED]


def find_stage(bench: Bench, name: JobName, number: int) -> tuple[Planned, Stage]:
    """Return a stage of a job's newest plan; JobError if there is none of this number."""
    planned = find_plan(bench, name)
    for stage in planned.stages:
        if stage.number == number:
            return planned, stage
    raise JobError("job.no-stage", job=str(name), stage=number, of=len(planned.stages))


def job_of(record: Record) -> Job:
    """Return the job in a record that opened it."""
    return Job.from_record(record.body.get("job"))


def stages_in(body: Mapping[str, Json]) -> tuple[Stage, ...]:
    """Return the stages in the body of a plan's record."""
    stages = body.get("stages")
    if not isinstance(stages, list):
        raise JobError("job.record")
    return tuple(Stage.from_record(stage, f"stages.{i}") for i, stage in enumerate(stages))


def _next_name(bench: Bench) -> JobName:
    """Return the name after the highest that the log has."""
    letter = bench.shop.settings.bench
    opened = bench.log.find("opened", letter)
    return JobName(letter, job_of(opened[-1]).name.number + 1 if opened else 1)

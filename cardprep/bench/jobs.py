"""Open jobs and plan them. The shop log is where jobs live; nothing else keeps them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cardprep.bench.open import Bench
from cardprep.bench.records import CHANGED, OPENED, PLANNED
from cardprep.canonical import Json
from cardprep.errors import JobError
from cardprep.job.stage import Stage
from cardprep.job.step import StageStep
from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.manifest.model import Manifest, ModelFacts
from cardprep.manifest.text import SIZE_LIMIT, parse
from cardprep.shop.files import read_whole
from cardprep.shoplog.record import IndexEntry, Record

if TYPE_CHECKING:
    from cardprep.vessel.aboard import Mention


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A job with its stages, as they stand in the log.

    steps     what each stage loads into which unit, in the order of the stages
    manifest  sha256 of the manifest that it was planned with
    """

    job: Job
    stages: tuple[Stage, ...]
    steps: tuple[tuple[StageStep, ...], ...]
    manifest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What is told of a visit, before it has a name."""

    vessel: Vessel
    display: Display
    units: tuple[Unit, ...]
    further_displays: tuple[Display, ...] = ()
    together: bool = False

    def job(self, name: JobName) -> Job:
        """Return the visit as a job of this name."""
        return Job(
            name=name,
            vessel=self.vessel,
            display=self.display,
            units=self.units,
            further_displays=self.further_displays,
            together=self.together,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A job that was opened or changed, with what is worth a mention."""

    job: Job
    mentions: tuple[Mention, ...]


def unasked_companions(bench: Bench, visit: Visit) -> tuple[tuple[int, ModelFacts], ...]:
    """Return the numbers, from 0, of units whose handset nobody has asked for yet."""
    from cardprep.vessel.aboard import unasked

    return unasked(visit.units, _manifest(bench))


def open_job(bench: Bench, visit: Visit) -> Opened:
    """Open a job under the bench's next number.

    Raises JobError or BadValueError for what the manifest, signed or not, does
    not know of or what cannot be right.
    """
    return _record_visit(bench, OPENED, _next_name(bench), visit)


def change_job(bench: Bench, name: JobName, visit: Visit) -> Opened:
    """Put another visit in the place of a job's; it is then planned anew.

    What stood there before stays in the log. Raises as open_job does, and
    JobError if there is no such job.
    """
    find_job(bench, name)
    return _record_visit(bench, CHANGED, name, visit)


def _record_visit(bench: Bench, kind: str, name: JobName, visit: Visit) -> Opened:
    from cardprep.vessel.aboard import check_visit

    job = visit.job(name)
    mentions = check_visit(job.vessel, job.displays, job.units, _manifest(bench))
    index: list[IndexEntry] = [("job", str(job.name))]
    if kind == OPENED:
        index.append(("opened", job.name.bench))
    index.append(("vessel", job.vessel.name.casefold()))
    if job.vessel.mmsi is not None:
        index.append(("vessel", job.vessel.mmsi))
    index += [("serial", unit.serial) for unit in job.units if unit.serial is not None]
    bench.record(kind, {"job": job.to_record()}, index)
    return Opened(job=job, mentions=mentions)


def _manifest(bench: Bench) -> Manifest:
    """Return the manifest as it stands; a job may be opened while it waits to be signed."""
    return parse(read_whole(bench.shop.manifest, SIZE_LIMIT), file=str(bench.shop.manifest))


def plan_job(bench: Bench, name: JobName) -> Planned:
    """Plan a job with the manifest as it is now, and record the stages.

    Raises JobError if there is no such job, NoPlanError or LayoutError if there
    is no plan, ManifestUntrustedError. A new plan takes the place of the one before.
    """
    # Whoever only looks a job up does without the planner.
    from cardprep.vessel.plan import plan
    from cardprep.vessel.stages import stages_of, steps_of

    job = find_job(bench, name)
    trusted = bench.trusted()
    planned = plan(job, trusted.manifest)
    stages = stages_of(job, planned, trusted.manifest)
    steps = steps_of(job, planned, trusted.manifest)
    body: dict[str, Json] = {
        "job": str(name),
        "manifest": trusted.sha256,
        "stages": [stage.to_record() for stage in stages],
        "steps": [[step.to_record() for step in told] for told in steps],
    }
    bench.record(PLANNED, body, [("job", str(name))])
    return Planned(job=job, stages=stages, steps=steps, manifest=trusted.sha256)


def find_job(bench: Bench, name: JobName) -> Job:
    """Return a job as it stands now; JobError if there is none of this name."""
    for record in reversed(bench.log.find("job", str(name))):
        if record.kind in (OPENED, CHANGED):
            return job_of(record)
    raise JobError("job.not-there", job=str(name))


def find_plan(bench: Bench, name: JobName) -> Planned:
    """Return a job with its newest plan; JobError if it was not planned since it was changed."""
    job = find_job(bench, name)
    kinds = (OPENED, CHANGED, PLANNED)
    records = [r for r in bench.log.find("job", str(name)) if r.kind in kinds]
    if records[-1].kind != PLANNED:
        planned_before = any(record.kind == PLANNED for record in records)
        reason = "job.changed" if planned_before else "job.not-planned"
        raise JobError(reason, job=str(name))
    body = records[-1].body
    return Planned(
        job=job,
        stages=stages_in(body),
        steps=_steps_in(body),
        manifest=str(body.get("manifest", "")),
    )


def is_planned(bench: Bench, name: JobName) -> bool:
    """Return whether a job has a plan and was not changed since."""
    try:
        find_plan(bench, name)
    except JobError:
        return False
    return True


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
    stages = enumerate(_list(body.get("stages")))
    return tuple(Stage.from_record(stage, f"stages.{i}") for i, stage in stages)


def _steps_in(body: Mapping[str, Json]) -> tuple[tuple[StageStep, ...], ...]:
    """Return the steps in the body of a plan's record."""
    found = []
    for number, told in enumerate(_list(body.get("steps"))):
        where = f"steps.{number}"
        steps = enumerate(_list(told))
        found.append(tuple(StageStep.from_record(s, f"{where}.{i}") for i, s in steps))
    return tuple(found)


def _list(value: Json) -> Sequence[Json]:
    if not isinstance(value, list):
        raise JobError("job.record")
    return value


def _next_name(bench: Bench) -> JobName:
    """Return the name after the highest that the log has."""
    letter = bench.shop.settings.bench
    opened = bench.log.find("opened", letter)
    return JobName(letter, job_of(opened[-1]).name.number + 1 if opened else 1)

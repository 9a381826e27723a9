"""Turn a plan into stages: what stands on each card, under which name, in which volume."""

from __future__ import annotations

from cardprep.errors import NoPlanError
from cardprep.job.stage import Stage
from cardprep.job.step import StageStep
from cardprep.job.visit import Job
from cardprep.layout.build import lay_out
from cardprep.manifest.model import Manifest
from cardprep.vessel.card_room import stage_file, volume_settings
from cardprep.vessel.plan import Plan, Step


def stages_of(job: Job, planned: Plan, manifest: Manifest) -> tuple[Stage, ...]:
    """Return the stages of a plan; each is known to fit a card that the display takes.

    Raises NoPlanError if the manifest does not know the display or cardprep does
    not write what it reads, and LayoutError if a stage does not fit.
    """
    stages = []
    for number, stage in enumerate(planned.stages, 1):
        model = job.displays[stage.display].model
        display = manifest.display(model)
        if display is None:
            raise NoPlanError("plan.unknown-display", display=model)
        stages.append(
            Stage(
                job=job.name,
                number=number,
                of=len(planned.stages),
                display=display.model,
                files=tuple(stage_file(image, display) for image in stage.images),
                settings=volume_settings(display),
            )
        )
    for made in stages:
        lay_out(made)
    return tuple(stages)


def steps_of(job: Job, planned: Plan, manifest: Manifest) -> tuple[tuple[StageStep, ...], ...]:
    """Return what each stage of a plan loads into which unit, and why."""
    return tuple(
        tuple(_told(job, step, manifest) for step in stage.steps) for stage in planned.stages
    )


def _told(job: Job, step: Step, manifest: Manifest) -> StageStep:
    image, needed_by, unit = step.image, step.needed_by, job.units[step.unit]
    facts = manifest.model(unit.model)
    carried = image.carries[0] if image.carries and unit.may_have_companion else None
    handset = None
    if carried is not None:
        handset = f"{carried.model} {carried.type.word} {carried.version}"
    return StageStep(
        unit=step.unit + 1,
        type=image.type.word,
        version=image.version,
        now=step.now,
        needed_by=None if needed_by is None else f"{needed_by.type.word} {needed_by.version}",
        minutes=(image.minutes.low, image.minutes.high),
        read_at=None if facts is None else facts.read_at.get(image.type),
        handset=handset,
        mode=None if carried is None else carried.mode,
        note=() if facts is None else facts.note_before,
        once=() if facts is None else facts.entered_once,
        leave_out=step.leave_out,
    )

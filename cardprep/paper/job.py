"""A job, its stages and what will be on their cards, as lines for a terminal."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

from cardprep.job.listed import Listed
from cardprep.job.stage import Stage
from cardprep.job.step import LeaveOut, StageStep
from cardprep.job.visit import (
    COMPANION_UNKNOWN,
    NO_COMPANION,
    Display,
    Job,
    Unit,
    Vessel,
)
from cardprep.layout.model import Layout
from cardprep.paper.fold import folded
from cardprep.shoplog.checkpoint import parse_checkpoint
from cardprep.terms import Version, size_as_printed, size_in_words, spelled_out
from cardprep.texts.catalogue import screen
from cardprep.volume.model import shown_path

if TYPE_CHECKING:
    from cardprep.vessel.aboard import Mention


def opened_lines(job: Job, slug: str = "job.opened") -> list[str]:
    """Return a job, unit by unit.

    slug  of the first line: that it was opened, was changed, or simply is
    """
    name = str(job.name)
    lines = [screen(slug, job=name, vessel=_vessel(job.vessel)), _display(job.display)]
    for number, unit in enumerate(job.units, 1):
        serial = "" if unit.serial is None else screen("job.serial", serial=unit.serial)
        line = screen("job.unit", number=number, role=unit.role, model=unit.model, serial=serial)
        lines.append(line.rstrip())
        for kind in dict.fromkeys((*unit.versions, *unit.wanted)):
            version, wanted = unit.versions.get(kind), unit.wanted.get(kind)
            now = _version(version)
            if wanted is None:
                lines.append(screen("job.unit-kept", type=kind, now=now))
            else:
                lines.append(screen("job.unit-type", type=kind, now=now, wanted=wanted.text))
        if unit.companion is not None:
            lines.append(_handset(unit.companion))
    return lines


def _vessel(vessel: Vessel) -> str:
    return vessel.name if vessel.mmsi is None else f"{vessel.name} (MMSI {vessel.mmsi})"


def _display(display: Display) -> str:
    return screen("job.display", model=display.model, software=_version(display.software))


def _handset(companion: str) -> str:
    slug = {NO_COMPANION: "job.handset-none", COMPANION_UNKNOWN: "job.handset-unknown"}
    return screen(slug.get(companion, "job.handset"), handset=companion)


def _version(version: Version | None) -> str:
    return screen("words.unknown") if version is None else version.text


def mention_lines(mentions: Sequence[Mention]) -> list[str]:
    """Return what is unusual about a visit and stops nothing."""
    return [screen(mention.slug, text=mention.text) for mention in mentions]


def listed_lines(jobs: Sequence[Listed]) -> list[str]:
    """Return the jobs of a bench, one to a line."""
    if not jobs:
        return [screen("job.list-empty")]
    lines = []
    for listed in jobs:
        job, stages = listed.job, listed.stages or 0
        state = screen(f"job.state-{listed.state.value}", written=listed.written, stages=stages)
        lines.append(
            screen(
                "job.list-line",
                job=f"{job.name!s:<6}",
                opened=listed.opened[:10],
                state=state,
                vessel=job.vessel.name,
            )
        )
    return lines


def planned_lines(
    job: Job, layouts: Sequence[Layout], steps: Sequence[Sequence[StageStep]], *, width: int
) -> list[str]:
    """Return a job's stages in order, each with its card and with what it does to which unit."""
    name, vessel = str(job.name), job.vessel.name
    wishless = [screen("mention.no-wish", text=_unit(u)) for u in job.units if not u.wanted]
    if not layouts:
        return [screen("job.nothing", job=name, vessel=vessel), *wishless]
    count = len(layouts)
    cards = screen("words.one-card") if count == 1 else screen("words.cards", count=count)
    with_handset = any(step.handset is not None for told in steps for step in told)
    lines = [screen("job.planned", job=name, vessel=vessel, count=cards)]
    lines += cautions(handset=with_handset)
    for layout, told in zip(layouts, steps, strict=True):
        lines += ["", *_stage_lines(layout, [_step_lines(job, step) for step in told])]
    return folded([*lines, *wishless], width)


def _unit(unit: Unit) -> str:
    return f"{unit.role}, {unit.model}"


def _numbered(number: int, unit: Unit) -> str:
    """Return a unit so that it is not taken for another one of the same role and model."""
    serial = "" if unit.serial is None else screen("job.serial", serial=unit.serial)
    role, model = unit.role, unit.model
    return screen("job.step-unit", number=number, role=role, model=model, serial=serial)


def _step_lines(job: Job, step: StageStep) -> list[str]:
    """Return what one step does, why, how long it takes, and when it can be left out."""
    unit = job.units[step.unit - 1]
    low, high = step.minutes
    lines = [
        screen(
            "job.step",
            unit=_numbered(step.unit, unit),
            type=step.type,
            now=_version(step.now),
            version=step.version.text,
            minutes=str(low) if low == high else f"{low} to {high}",
        )
    ]
    if step.needed_by is not None:
        lines.append(screen("job.step-needed", needed_by=step.needed_by))
    if step.handset is not None:
        mode = step.mode or screen("words.unknown")
        lines.append(screen("job.step-handset", handset=step.handset, mode=mode))
    if step.note:
        lines.append(screen("job.step-note", what=", ".join(step.note)))
    if step.once:
        lines.append(screen("job.step-once", what=", ".join(step.once)))
    lines += [f"    {leave_out_line(one, step)}" for one in step.leave_out]
    return lines


def leave_out_line(condition: LeaveOut, step: StageStep) -> str:
    """Return by what is seen on board a step may be left out."""
    versions = screen("words.or").join(version.text for version in condition.versions)
    if condition.or_later:
        versions = screen("words.or-later", version=condition.versions[0].text)
    if condition.handset:
        return screen("job.step-skip-handset", type=condition.type, versions=versions)
    own = condition.type == step.type and step.read_at is not None
    read_at = step.read_at if own and step.read_at is not None else screen("words.somewhere")
    return screen("job.step-skip", type=condition.type, versions=versions, read_at=read_at)


def _stage_lines(layout: Layout, steps: list[list[str]]) -> list[str]:
    stage = layout.stage
    types = " and ".join(image_type.word for image_type in stage.types)
    lines = [
        screen(
            "job.stage", stage=stage.number, of=stage.of, types=types.upper(), label=layout.label
        )
    ]
    lines += [line for told in steps for line in told]
    lines += [
        screen(
            "job.file",
            path=shown_path(file.path),
            version=file.version.text,
            models=", ".join(file.models),
            size=size_in_words(file.size),
        )
        for file in stage.files
    ]
    largest = stage.settings.largest_card
    limit = "" if largest is None else screen("job.card-most", size=size_as_printed(largest))
    lines.append(
        screen(
            "job.card",
            size=size_in_words(layout.card_size),
            length=size_in_words(layout.length),
            limit=limit,
        )
    )
    lines.append(screen("job.write", job=str(stage.job), stage=stage.number))
    return lines


def cautions(*, handset: bool = False) -> list[str]:
    """Return the cautions that stand wherever a job is planned.

    handset  whether a handset is updated with its radio
    """
    slugs = ["caution.calling", "caution.moored", "caution.identity"]
    if handset:
        slugs.append("caution.handset")
    return [screen(slug) for slug in (*slugs, "caution.maker")]


def announced_lines(
    layout: Layout,
    sha256: str,
    number: int,
    target: str,
    before: tuple[str, int] | None = None,
) -> list[str]:
    """Return what a card will hold, before its first byte is written.

    before  job and stage for which a card of this number was written last
    """
    stage: Stage = layout.stage
    lines = [
        screen(
            "write.announced",
            job=str(stage.job),
            stage=stage.number,
            of=stage.of,
            label=layout.label,
            number=number,
            target=spelled_out(target),
        ),
        screen("write.digest", sha256=sha256),
        screen("write.range", length=layout.length),
    ]
    if before is not None:
        lines.append(screen("write.before", number=number, job=before[0], stage=before[1]))
    return lines


def written_lines(layout: Layout, checkpoint: bytes, target: str) -> list[str]:
    """Return what to put on the label of a card that was written."""
    short = str(parse_checkpoint(checkpoint).short())
    return [
        screen("write.checkpoint", short=short),
        screen("write.prove", length=layout.length, target=shlex.quote(spelled_out(target))),
    ]

"""A job, its stages and what will be on their cards, as lines for a terminal."""

from __future__ import annotations

import shlex

from cardprep.images.report import ContainerReport
from cardprep.job.stage import Stage
from cardprep.job.visit import Job
from cardprep.layout.model import Layout
from cardprep.manifest.model import ImageFacts
from cardprep.shoplog.checkpoint import parse_checkpoint
from cardprep.terms import size_in_words, spelled_out
from cardprep.texts.catalogue import screen, word
from cardprep.volume.model import shown_path


def opened_lines(job: Job) -> list[str]:
    """Return a job that was opened, unit by unit."""
    name = str(job.name)
    lines = [screen("job.opened", job=name, vessel=job.vessel.name)]
    for unit in job.units:
        lines.append(
            screen("job.unit", role=unit.role, model=unit.model, serial=unit.serial or "").rstrip()
        )
        for kind in dict.fromkeys((*unit.versions, *unit.wanted)):
            version, wanted = unit.versions.get(kind), unit.wanted.get(kind)
            now = screen("words.unknown") if version is None else version.text
            if wanted is None:
                lines.append(screen("job.unit-kept", type=kind, now=now))
            else:
                lines.append(screen("job.unit-type", type=kind, now=now, wanted=wanted.text))
    return lines


def planned_lines(job: Job, layouts: tuple[Layout, ...]) -> list[str]:
    """Return a job's stages in order, each with its card."""
    name, vessel = str(job.name), job.vessel.name
    if not layouts:
        return [screen("job.nothing", job=name, vessel=vessel)]
    count = len(layouts)
    cards = screen("words.one-card") if count == 1 else screen("words.cards", count=count)
    lines = [screen("job.planned", job=name, vessel=vessel, count=cards), *cautions()]
    for layout in layouts:
        lines += ["", *_stage_lines(layout)]
    return lines


def _stage_lines(layout: Layout) -> list[str]:
    stage = layout.stage
    types = " and ".join(image_type.word for image_type in stage.types)
    lines = [
        screen(
            "job.stage", stage=stage.number, of=stage.of, types=types.upper(), label=layout.label
        )
    ]
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
    lines.append(
        screen(
            "job.card",
            size=size_in_words(layout.card_size),
            length=size_in_words(layout.length),
        )
    )
    lines.append(screen("job.write", job=str(stage.job), stage=stage.number))
    return lines


def cautions() -> list[str]:
    """Return the cautions that stand wherever a job is planned or a card is written."""
    return [screen(slug) for slug in ("caution.calling", "caution.moored", "caution.maker")]


def announced_lines(layout: Layout, sha256: str, number: int, target: str) -> list[str]:
    """Return what a card will hold, before its first byte is written."""
    stage: Stage = layout.stage
    return [
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


def written_lines(layout: Layout, checkpoint: bytes, target: str) -> list[str]:
    """Return what to put on the label of a card that was written."""
    short = str(parse_checkpoint(checkpoint).short())
    return [
        screen("write.checkpoint", short=short),
        screen("write.prove", length=layout.length, target=shlex.quote(spelled_out(target))),
    ]


def taken_in_lines(
    image: ImageFacts, container: ContainerReport, *, on_shelf: bool, in_manifest: bool
) -> list[str]:
    """Return what was taken in, and what was there before."""
    lines = [
        screen(
            "intake.done",
            file=image.file,
            type=image.type.word,
            version=image.version.text,
            models=", ".join(image.models),
        ),
        screen(
            "intake.container",
            format=word(container.format),
            size=size_in_words(image.size),
            soundness=screen(f"soundness.{container.soundness.value}"),
        ),
        screen("intake.digest", sha256=image.sha256),
    ]
    if on_shelf:
        lines.append(screen("intake.on-shelf"))
    lines.append(screen("intake.in-manifest" if in_manifest else "intake.next"))
    return lines

"""A rehearsed visit as lines for a terminal, and as an object for ``--json``."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.canonical import Json
from cardprep.job.visit import Job
from cardprep.paper.fold import wrapped
from cardprep.texts.catalogue import screen
from cardprep.vessel.rehearsal import Part, Rehearsal, RehearsedStage, Said, Stands

# Columns by which a sentence is moved in behind the word for its part.
_HANG = 10


def rehearsal_lines(rehearsal: Rehearsal, *, width: int) -> list[str]:
    """Return a visit as it will go, card by card."""
    job, count = rehearsal.job, len(rehearsal.stages)
    cards = screen("words.one-card") if count == 1 else screen("words.cards", count=count)
    if not count:
        return [screen("job.nothing", job=str(job.name), vessel=job.vessel.name)]
    title = screen(
        "rehearse.title",
        job=str(job.name),
        vessel=job.vessel.name,
        cards=cards,
        minutes=_range(rehearsal.minutes),
    )
    lines = [*wrapped(title, width), "", screen("rehearse.before")]
    lines += _said(rehearsal.before, width)
    for stage in rehearsal.stages:
        lines += ["", *_stage(job, stage, width)]
    lines += ["", screen("rehearse.afterwards"), *_said(rehearsal.afterwards, width)]
    return lines


def _stage(job: Job, rehearsed: RehearsedStage, width: int) -> list[str]:
    stage = rehearsed.stage
    heading = screen(
        "rehearse.stage",
        stage=stage.number,
        of=stage.of,
        types=" and ".join(image_type.word for image_type in stage.types).upper(),
        display=stage.display,
        minutes=_range(rehearsed.minutes),
    )
    touched = {step.unit for step in rehearsed.steps}
    lines = [*wrapped(heading, width), *_said(rehearsed.said, width)]
    for stands in rehearsed.stands:
        if stands.unit in touched:
            lines += wrapped(_stands(job, stands), width, _HANG)
    return lines


def _said(said: Sequence[Said], width: int) -> list[str]:
    lines = []
    for sentence in said:
        text = screen(sentence.slug, **sentence.parameters)
        slug = f"rehearse.part-{sentence.part.value}"
        hang = 5 if sentence.part is Part.BEFORE else _HANG
        lines += wrapped(screen(slug, text=text), width, hang)
    return lines


def _stands(job: Job, stands: Stands) -> str:
    unit = job.units[stands.unit - 1]
    slug = f"rehearse.{stands.condition}"
    condition = "" if stands.condition == "running" else screen(slug)
    if stands.is_blank:
        condition += screen("rehearse.blank-handset")
    elif stands.handset:
        condition += screen("rehearse.handset-has", versions=_versions(stands.handset))
    return screen(
        "rehearse.stands",
        unit=f"{unit.role} ({unit.model})",
        versions=_versions(stands.versions),
        condition=condition,
    )


def _versions(versions: Sequence[tuple[str, str | None]]) -> str:
    return ", ".join(f"{word} {_version(text)}" for word, text in versions)


def _version(text: str | None) -> str:
    if text is None:
        return screen("words.unknown")
    return text or screen("rehearse.nothing")


def _range(minutes: tuple[int, int]) -> str:
    low, high = minutes
    return str(low) if low == high else f"{low} to {high}"


def rehearsal_object(rehearsal: Rehearsal) -> dict[str, Json]:
    """Return a rehearsal with slugs, parameters and sentences."""
    return {
        "job": str(rehearsal.job.name),
        "minutes": list(rehearsal.minutes),
        "before": [_sentence(one) for one in rehearsal.before],
        "stages": [
            {
                "stage": stage.stage.number,
                "of": stage.stage.of,
                "display": stage.stage.display,
                "minutes": list(stage.minutes),
                "said": [_sentence(one) for one in stage.said],
                "stands": [
                    {
                        "unit": one.unit,
                        "condition": one.condition,
                        "versions": dict(one.versions),
                        "handset": dict(one.handset),
                        "handset_blank": one.is_blank,
                    }
                    for one in stage.stands
                ],
            }
            for stage in rehearsal.stages
        ],
        "afterwards": [_sentence(one) for one in rehearsal.afterwards],
    }


def _sentence(said: Said) -> dict[str, Json]:
    return {
        "part": said.part.value,
        "slug": said.slug,
        "parameters": dict(said.parameters),
        "text": screen(said.slug, **said.parameters),
    }

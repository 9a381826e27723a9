"""Rules about a card and the stage that it ought to be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cardprep.findings import Finding, Parameter
from cardprep.job.stage import Stage
from cardprep.medium.protocol import MediumKind
from cardprep.rules.context import By, Context
from cardprep.volume.model import shown_path

if TYPE_CHECKING:
    from cardprep.layout.compare import Difference

_CONTENT = "file content"


def stage_files(context: Context) -> list[Finding]:
    """Return findings about files of the stage that are missing, and images that are no part of it.

    A file counts only if its bytes are those of the stage.
    """
    stage = context.stage
    # Of a card that is another stage's whole, that is said, and not each of its files.
    if stage is None or context.other is not None:
        return []
    findings = []
    complete = True
    # A display reads the first volume of a card, and the stage's card has no other.
    present = {
        _key(file.path, file.digests.sha256)
        for file in context.inspection.files
        if file.digests is not None and file.volume == 0
    }
    wanted = {_key(file.path, file.sha256) for file in stage.files}
    there = {_folded(file.path) for file in context.inspection.files if file.volume == 0}
    said = _contents_that_differ(context)
    for file in stage.files:
        if _key(file.path, file.sha256) in present:
            continue
        complete = False
        # Of a file that is there with other bytes, the comparison tells more.
        if _folded(file.path) not in there or shown_path(file.path) not in said:
            shown = shown_path(file.path)
            findings.append(Finding("stage-file-missing", shown, "directory", _named(stage)))
    for item, image in context.images:
        if item.by is By.DIGEST and _key(item.file.path, image.sha256) not in wanted:
            findings.append(Finding("not-in-stage", item.file.shown, "directory", _named(stage)))
    if complete and not findings:
        parameters = {**_named(stage), "files": len(stage.files)}
        findings.append(Finding("stage-complete", None, "card", parameters))
    return findings


def _key(path: tuple[str, ...], sha256: str) -> tuple[tuple[str, ...], str]:
    """Return where a file stands, without case, and what it is."""
    return _folded(path), sha256


def _folded(path: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(part.casefold() for part in path)


def _right(context: Context, stage: Stage) -> set[str]:
    """Return the files of the stage that are on the card with the right bytes, wherever."""
    present = {
        _key(file.path, file.digests.sha256)
        for file in context.inspection.files
        if file.digests is not None and file.volume == 0
    }
    return {shown_path(f.path) for f in stage.files if _key(f.path, f.sha256) in present}


def _contents_that_differ(context: Context) -> set[str | None]:
    """Return the files in whose place the comparison found other bytes."""
    compared = context.compared
    if compared is None or not compared.complete:
        return set()
    return {one.path for one in compared.differences if one.structure == _CONTENT}


def as_written(context: Context) -> list[Finding]:
    """Return what the byte for byte comparison with the stage says, structure by structure."""
    compared, stage = context.compared, context.stage
    if compared is None or stage is None:
        return []
    if not compared.complete:
        return [Finding("stage-not-compared", None, "card", _named(stage))]
    if not compared.differences:
        parameters = {**_named(stage), "sha256": compared.sha256, "length": compared.length}
        return [Finding("as-written", None, "card", parameters)]
    findings = []
    in_tables = []
    right = _right(context, stage)
    for difference in compared.differences:
        if difference.structure == _CONTENT and difference.path in right:
            # A copy of the right file that stands elsewhere on the card.
            in_tables.append(difference)
        elif difference.structure == _CONTENT:
            parameters = {**_named(stage), "offset": difference.offset}
            slug = "content-differs-from-stage"
            findings.append(Finding(slug, difference.path, difference.structure, parameters))
        else:
            in_tables.append(difference)
    return [*findings, *_elsewhere(context, stage, in_tables)]


def _elsewhere(context: Context, stage: Stage, differences: Sequence[Difference]) -> list[Finding]:
    """Return one finding for all structures that differ: one file more changes several."""
    if not differences:
        return []
    # One that was written a moment ago has had no time to be used.
    slug = "read-back-differs" if context.read_back else "differs-from-stage"
    structures = ", ".join(dict.fromkeys(difference.structure for difference in differences))
    first = min(differences, key=lambda difference: difference.offset)
    parameters = {**_named(stage), "offset": first.offset}
    return [Finding(slug, first.path, structures, parameters)]


def other_card(context: Context) -> list[Finding]:
    """Return a finding if a card is that of another stage, by its own serial number."""
    other, stage = context.other, context.stage
    if other is None:
        return []
    if context.other_superseded and stage is not None and other.job == stage.job:
        # Nothing was exchanged: it is a card of this job, of an older plan.
        return [Finding("plan-superseded", None, "card", _named(other))]
    compared = context.other_compared
    state = "other-unknown"
    if compared is not None and compared.complete:
        state = "other-changed" if compared.differences else "other-intact"
    job = (
        str(stage.job)
        if stage is not None
        else ""
        if context.job is None
        else str(context.job.name)
    )
    parameters: dict[str, Parameter] = {**_named(other), "how": state, "wanted_job": job}
    if stage is None:
        return [Finding("other-job", None, "card", parameters)]
    return [Finding("other-card", None, "card", {**parameters, "wanted_stage": stage.number})]


def superseded(context: Context) -> list[Finding]:
    """Return a finding if the card is of a plan that is no longer the job's."""
    if not context.superseded or context.stage is None:
        return []
    stage = context.stage
    if any(_is_like(stage, planned) for planned in context.stages):
        return [Finding("plan-renewed", None, "card", _named(stage))]
    return [Finding("plan-superseded", None, "card", _named(stage))]


def _is_like(one: Stage, other: Stage) -> bool:
    """Return whether two stages bring the same files to the same display at the same step."""
    files = [[(file.path, file.sha256) for file in stage.files] for stage in (one, other)]
    return (one.number, one.display) == (other.number, other.display) and files[0] == files[1]


def through_cache(context: Context) -> list[Finding]:
    """Return a finding if a card that was just written was read from the system's memory."""
    if not context.read_back or context.inspection.past_the_cache:
        return []
    kind = context.inspection.identity.kind
    slug = "read-from-file" if kind is MediumKind.IMAGE_FILE else "read-through-cache"
    return [Finding(slug, None, "card")]


def _named(stage: Stage) -> dict[str, Parameter]:
    return {"job": str(stage.job), "stage": stage.number, "of": stage.of}

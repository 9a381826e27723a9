"""Rules about a card and the stage that it ought to be."""

from __future__ import annotations

from cardprep.findings import Finding, Parameter
from cardprep.job.stage import Stage
from cardprep.rules.context import By, Context
from cardprep.volume.model import shown_path


def stage_files(context: Context) -> list[Finding]:
    """Return findings about files of the stage that are missing, and images that are no part of it.

    A file counts only if its bytes are those of the stage.
    """
    stage = context.stage
    if stage is None:
        return []
    findings = []
    # A display reads the first volume of a card, and the stage's card has no other.
    present = {
        _key(file.path, file.digests.sha256)
        for file in context.inspection.files
        if file.digests is not None and file.volume == 0
    }
    wanted = {_key(file.path, file.sha256) for file in stage.files}
    for file in stage.files:
        if _key(file.path, file.sha256) not in present:
            shown = shown_path(file.path)
            findings.append(Finding("stage-file-missing", shown, "directory", _named(stage)))
    for item, image in context.images:
        if item.by is By.DIGEST and _key(item.file.path, image.sha256) not in wanted:
            findings.append(Finding("not-in-stage", item.file.shown, "directory", _named(stage)))
    if not findings:
        parameters = {**_named(stage), "files": len(stage.files)}
        findings.append(Finding("stage-complete", None, "card", parameters))
    return findings


def _key(path: tuple[str, ...], sha256: str) -> tuple[tuple[str, ...], str]:
    """Return where a file stands, without case, and what it is."""
    return tuple(part.casefold() for part in path), sha256


def as_written(context: Context) -> list[Finding]:
    """Return what the byte for byte comparison with the stage says, structure by structure."""
    compared, stage = context.compared, context.stage
    if compared is None or stage is None:
        return []
    if not compared.complete:
        return [Finding("stage-not-compared", None, "card", _named(stage))]
    if not compared.differences:
        parameters = {**_named(stage), "sha256": compared.sha256}
        return [Finding("as-written", None, "card", parameters)]
    findings = []
    # One that was written a moment ago has had no time to be used.
    elsewhere = "read-back-differs" if context.read_back else "differs-from-stage"
    for difference in compared.differences:
        in_content = difference.structure == "file content"
        slug = "content-differs-from-stage" if in_content else elsewhere
        parameters = {**_named(stage), "offset": difference.offset}
        findings.append(Finding(slug, difference.path, difference.structure, parameters))
    return findings


def superseded(context: Context) -> list[Finding]:
    """Return a finding if the card is of a plan that is no longer the job's."""
    if not context.superseded or context.stage is None:
        return []
    return [Finding("plan-superseded", None, "card", _named(context.stage))]


def through_cache(context: Context) -> list[Finding]:
    """Return a finding if a card that was just written was read from the system's memory."""
    if not context.read_back or context.inspection.past_the_cache:
        return []
    return [Finding("read-through-cache", None, "card")]


def _named(stage: Stage) -> dict[str, Parameter]:
    return {"job": str(stage.job), "stage": stage.number, "of": stage.of}

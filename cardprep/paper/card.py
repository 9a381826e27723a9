"""A judged card as lines for a terminal: verdict first, then what it rests on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from cardprep.findings import Finding, Severity, Verdict
from cardprep.inspection.model import Inspection
from cardprep.job.stage import Stage
from cardprep.paper.fold import wrapped
from cardprep.rules.judge import Judgement
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import finding as worded_finding
from cardprep.texts.catalogue import screen
from cardprep.texts.screens import SEVERITIES, VERDICTS

SHOWN_OF_A_KIND = 8
_INDENT = " " * 10


def verdict_line(verdict: Verdict) -> str:
    """Return the verdict in capital letters, the first thing that is read."""
    return VERDICTS[verdict.value]


def card_lines(
    judgement: Judgement,
    stage: Stage | None,
    *,
    by_name: bool,
    width: int,
    cards: Sequence[int] = (),
    job: str | None = None,
    other: Stage | None = None,
) -> list[str]:
    """Return what stands under the verdict: the card, what it was held against, all findings.

    by_name  whether the stage was found by the card's serial number
    width    columns of the terminal
    cards    numbers of the cards that were written with this serial number
    job      that it was held against, where no stage of it was
    other    the stage that its serial number tells, where it ought to be another
    """
    inspection = judgement.inspection
    lines = [screen("check.card", target=spelled_out(inspection.identity.name))]
    lines += [
        screen(
            "check.volume",
            file_system=volume.file_system,
            label=spelled_out(volume.label or screen("words.none")),
            serial=volume.serial or screen("words.none"),
        )
        for volume in inspection.volumes
    ]
    lines.append(_held_against(stage, by_name=by_name, job=job, other=other))
    lines += _written_as(cards)
    lines.append(screen("check.files", count=_files(inspection)))
    lines = [folded for line in lines for folded in _wrapped(line, width)]
    return [*lines, *findings_lines(judgement.findings, width), *unseen_lines(inspection, width)]


def unseen_lines(inspection: Inspection, width: int) -> list[str]:
    """Return what this way to the card cannot show, one thing to a line."""
    if not inspection.unseen:
        return []
    items = [screen("unseen.item", what=screen(slug)) for slug in inspection.unseen]
    lines = [_wrapped(f"  {item}", width) for item in items]
    return [screen("unseen"), *(line for folded in lines for line in folded)]


def findings_lines(findings: Sequence[Finding], width: int) -> list[str]:
    """Return all findings, but of one kind no more than a person reads; ``--json`` has the rest."""
    counts = Counter(finding.slug for finding in findings)
    shown: Counter[str] = Counter()
    lines: list[str] = []
    for finding in findings:
        shown[finding.slug] += 1
        if shown[finding.slug] <= SHOWN_OF_A_KIND:
            lines += finding_lines(finding, width)
        if shown[finding.slug] == SHOWN_OF_A_KIND < counts[finding.slug]:
            more = counts[finding.slug] - SHOWN_OF_A_KIND
            lines.append(_INDENT + screen("check.more", count=more))
    return lines


def finding_lines(finding: Finding, width: int) -> list[str]:
    """Return one finding: what was seen, and for what is not a mere note why and what to do."""
    text = worded_finding(finding.slug, finding.path, finding.structure, finding.parameters)
    slug = "released" if finding.released else finding.severity.value
    severity = f"{SEVERITIES[slug]:<8}"
    lines = _wrapped(screen("check.finding", severity=severity, seen=text.seen), width)
    if finding.severity is not Severity.NOTE:
        lines += _wrapped(_INDENT + screen("check.why", why=text.why), width)
        lines += _wrapped(_INDENT + screen("check.remedy", remedy=text.remedy), width)
        if finding.releasable and not finding.released:
            lines += _wrapped(_INDENT + screen("check.releasable", finding=finding.slug), width)
    return lines


def _written_as(cards: Sequence[int]) -> list[str]:
    """Return which card it is, as far as its serial number tells."""
    if not cards:
        return []
    numbers = ", ".join(str(card) for card in cards)
    slug = "check.written-as" if len(cards) == 1 else "check.written-as-one-of"
    return [screen(slug, cards=numbers)]


def release_line(name: str, authority: str, reason: str, record: str, time: str) -> str:
    """Return what a person overruled, on whose word and why."""
    return screen(
        "check.released", name=name, authority=authority, reason=reason, record=record, time=time
    )


def _held_against(
    stage: Stage | None, *, by_name: bool, job: str | None, other: Stage | None
) -> str:
    if other is not None:
        return screen("check.stage-other", job=str(other.job), stage=other.number, of=other.of)
    if stage is None and job is not None:
        return screen("check.job-only", job=job)
    if stage is None:
        return screen("check.no-stage")
    slug = "check.stage-found" if by_name else "check.stage-named"
    return screen(slug, job=str(stage.job), stage=stage.number, of=stage.of)


def _files(inspection: Inspection) -> str:
    count = len(inspection.files)
    return screen("words.one-file") if count == 1 else screen("words.files", count=count)


def _wrapped(line: str, width: int) -> list[str]:
    """Return a line folded to the terminal."""
    indent = len(_INDENT)
    return wrapped(line, width, indent + 5 if line.startswith(_INDENT) else indent)

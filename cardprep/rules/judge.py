"""Run all rules over one card and say what follows from their findings.

A card is called good only because something was established: at least one image
is what the shop released, nothing forbids the card, and nothing that matters
could not be looked at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from cardprep.findings import Finding, Severity, Verdict
from cardprep.inspection.model import Inspection
from cardprep.rules import content, display, images, odd, others, stage, visit
from cardprep.rules.context import Context

Rule = Callable[[Context], list[Finding]]

ESTABLISHED = frozenset(("matches", "as-written", "stage-complete"))
# What follows from another finding about the same file, and is not said as well.
_UNSTEADY = frozenset(("reads-differently",))
_PAGE = frozenset(("page-as-image",))
_IN_DOUBT = frozenset(("altered", "cut-short", "read-error")) | _UNSTEADY
_FOLLOWS: Mapping[str, frozenset[str]] = {
    "content-differs-from-stage": _IN_DOUBT | {"stage-file-missing"},
    "stage-file-missing": _IN_DOUBT,
    "container-broken": frozenset(("altered", "cut-short")) | _UNSTEADY,
    "container-contradicts": _UNSTEADY,
    "altered": _UNSTEADY,
    "unknown-file": _PAGE,
    "newer-than-shelf": _PAGE,
    "other-version": _PAGE,
    "cut-short": _UNSTEADY,
}
_NO_SHOP = frozenset(("shop.not-there", "shop.not-a-shop"))
_ORDER = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


def seen(context: Context) -> list[Finding]:
    """Return what the inspection itself found about card, volumes and folders."""
    return list(context.inspection.findings)


def deleted(context: Context) -> list[Finding]:
    """Return what is to be said of deleted files; most cards have none."""
    if not context.inspection.deleted:
        return []
    from cardprep.rules.deleted import deleted_files

    return deleted_files(context)


def trust(context: Context) -> list[Finding]:
    """Return a finding if there is no manifest that may be believed."""
    if context.manifest is not None:
        return []
    reason = context.untrusted or ""
    if reason in _NO_SHOP:
        return [Finding("no-shop", parameters={"reason": reason})]
    return [Finding("manifest-untrusted", parameters={"reason": reason})]


RULES: tuple[Rule, ...] = (
    trust,
    images.mixed_types,
    images.two_versions,
    content.unsteady,
    content.altered,
    images.renamed,
    images.short_names,
    images.wrong_folder,
    images.withdrawn,
    images.wrong_volume,
    visit.not_for_these_units,
    visit.versions,
    visit.needs,
    visit.handsets,
    display.card_size,
    display.file_system,
    stage.other_card,
    content.containers,
    others.unknown_files,
    odd.programs,
    odd.attributes,
    odd.decomposed,
    odd.fragmented,
    stage.stage_files,
    stage.as_written,
    stage.through_cache,
    stage.superseded,
    seen,
    deleted,
    images.matches,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """A card, what was found about it, and what follows.

    findings  the worst first, otherwise in the order of the rules
    """

    inspection: Inspection
    verdict: Verdict
    findings: tuple[Finding, ...]


def judge(context: Context) -> Judgement:
    """Return the judgement of one card."""
    found = [finding for rule in RULES for finding in rule(context)]
    # The same thing can be seen in two ways; it is said once.
    unique = _once(list({_key(finding): finding for finding in found}.values()))
    unique = [_as_released(context, finding) for finding in unique]
    unique.sort(key=lambda finding: _ORDER[finding.severity])
    return Judgement(
        inspection=context.inspection, verdict=verdict_of(unique), findings=tuple(unique)
    )


def verdict_of(findings: Sequence[Finding]) -> Verdict:
    """Return what follows from findings; nothing established is not a pass."""
    if any(finding.severity is Severity.STOP for finding in findings):
        return Verdict.DO_NOT_USE
    if any(finding.undecided for finding in findings):
        return Verdict.CANNOT_SAY
    if not any(finding.slug in ESTABLISHED or finding.released for finding in findings):
        return Verdict.CANNOT_SAY
    if any(finding.severity is Severity.CAUTION for finding in findings):
        return Verdict.USE_WITH_CARE
    return Verdict.USE


def _once(findings: list[Finding]) -> list[Finding]:
    """Leave out what only follows from another finding about the same file."""
    by_path: dict[str, set[str]] = defaultdict(set)
    for finding in findings:
        if finding.path is not None:
            by_path[finding.path].add(finding.slug)
    return [
        finding
        for finding in findings
        if finding.path is None
        or not _FOLLOWS.get(finding.slug, frozenset()) & by_path[finding.path]
    ]


def _as_released(context: Context, finding: Finding) -> Finding:
    """Return a finding as it counts after what a person overruled in writing."""
    if finding.releasable and (finding.slug, finding.path) in context.releases:
        return replace(finding, released=True)
    return finding


def _key(finding: Finding) -> tuple[object, ...]:
    parameters = tuple(sorted(finding.parameters.items()))
    return finding.slug, finding.path, finding.structure, parameters

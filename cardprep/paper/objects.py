"""The same results as objects for ``--json``: plain keys, stable slugs, no sentences left out."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.canonical import Json
from cardprep.findings import Finding
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.job.listed import Listed
from cardprep.job.stage import Stage
from cardprep.job.written import WrittenCard
from cardprep.layout.compare import Compared
from cardprep.layout.model import Layout
from cardprep.rules.judge import Judgement
from cardprep.shoplog.record import Record
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import finding as worded_finding
from cardprep.texts.catalogue import screen


def finding_object(finding: Finding) -> dict[str, Json]:
    """Return a finding with its sentences."""
    text = worded_finding(finding.slug, finding.path, finding.structure, finding.parameters)
    return {
        "slug": finding.slug,
        "severity": finding.severity.value,
        "released": finding.released,
        "path": finding.path,
        "structure": finding.structure,
        "parameters": dict(finding.parameters),
        "seen": text.seen,
        "why": text.why,
        "remedy": text.remedy,
    }


def judgement_object(
    judgement: Judgement, stage: Stage | None, compared: Compared | None
) -> dict[str, Json]:
    """Return a checked card: verdict, card, files, findings."""
    inspection = judgement.inspection
    identity = inspection.identity
    return {
        "verdict": judgement.verdict.value,
        "card": {
            "name": spelled_out(identity.name),
            "kind": identity.kind.value,
            "size": identity.size,
            "volumes": [
                {
                    "file_system": volume.file_system,
                    "label": None if volume.label is None else spelled_out(volume.label),
                    "serial": volume.serial,
                    "cluster_size": volume.cluster_size,
                }
                for volume in inspection.volumes
            ],
            "sha256": None if compared is None or not compared.complete else compared.sha256,
        },
        "stage": None if stage is None else {"job": str(stage.job), "number": stage.number},
        "files": [_file(file) for file in inspection.files],
        "deleted": _deleted(inspection),
        "unseen": unseen_rows(inspection),
        "findings": [finding_object(finding) for finding in judgement.findings],
    }


def unseen_rows(inspection: Inspection) -> list[Json]:
    """Return what this way to the card cannot show."""
    return [{"slug": slug, "said": screen(slug)} for slug in inspection.unseen]


def _deleted(inspection: Inspection) -> list[Json]:
    if not inspection.deleted:
        return []
    from cardprep.paper.deleted import deleted_objects

    return deleted_objects(inspection)


def release_row(
    slugs: Sequence[str], name: str, authority: str, reason: str, record: str, time: str
) -> dict[str, Json]:
    """Return what a person overruled in writing."""
    return {
        "findings": list(slugs),
        "name": name,
        "authority": authority,
        "reason": reason,
        "record": record,
        "time": time,
    }


def _file(file: InspectedFile) -> dict[str, Json]:
    return {
        "path": file.shown,
        "size": file.size,
        "modified": file.modified,
        "sha256": None if file.digests is None else file.digests.sha256,
        "container": None if file.container is None else file.container.format,
    }


def layout_object(layout: Layout, sha256: str | None = None) -> dict[str, Json]:
    """Return what a stage's card holds; `sha256` is the card digest where it is known."""
    return {
        "stage": layout.stage.to_record(),
        "label": layout.label,
        "serial": layout.serial_text,
        "length": layout.length,
        "card_size": layout.card_size,
        "sha256": sha256,
    }


def listed_object(listed: Listed) -> dict[str, Json]:
    """Return a job of the list."""
    return {
        "job": str(listed.job.name),
        "vessel": listed.job.vessel.to_record(),
        "opened": listed.opened,
        "state": listed.state.value,
        "stages": listed.stages,
        "written": listed.written,
    }


def written_object(card: WrittenCard) -> dict[str, Json]:
    """Return one write of one card."""
    return {
        "card": card.number,
        "job": card.job,
        "stage": card.stage,
        "label": card.label,
        "time": card.time,
        "outcome": card.outcome,
        "verdict": card.verdict,
        "length": card.length,
        "sha256": card.sha256,
        "target": card.target,
        "files": [
            {
                "path": file.path,
                "size": file.size,
                "sha256": file.sha256,
                "type": file.type,
                "version": file.version,
            }
            for file in card.files
        ],
    }


def record_object(record: Record) -> dict[str, Json]:
    """Return a record as it stands in its line."""
    return {
        "bench": record.bench,
        "sequence": record.sequence,
        "time": record.time,
        "kind": record.kind,
        "kind_version": record.kind_version,
        "body": record.body,
    }

"""Check a card: what is on it, what it is held against, what follows. Never writes on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.jobs import find_stage
from cardprep.bench.open import Bench
from cardprep.bench.write import BEGUN, ENDED, findings_body
from cardprep.canonical import Json
from cardprep.errors import CardprepError
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.folder import inspect_folder
from cardprep.inspection.model import Inspection
from cardprep.job.stage import Stage
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Compared, Comparison
from cardprep.layout.model import Layout
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel, Progress
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import spelled_out
from cardprep.volume.serial import volume_serial

CHECKED = "card-checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A card that was checked.

    stage     what it was held against, or None
    compared  byte for byte with that stage, or None
    by_name   whether the stage was found by the card's own serial number, which
              is a name and proves nothing, and not named by the person
    """

    judgement: Judgement
    stage: Stage | None
    compared: Compared | None
    by_name: bool


def check_card(
    bench: Bench | CardprepError,
    path: Path,
    *,
    job: JobName | None = None,
    stage: int | None = None,
    progress: Progress,
    cancel: Cancel,
) -> Checked:
    """Check a card.

    bench  without one (the refusal says why) the card is looked at, but nothing
           says what its files are
    job, stage  what the card ought to be; else it is looked for in the log

    Raises NotThereError or NotAllowedError for the card, JobError for a stage
    that there is not, StoppedError.
    """
    opened = open_card(path)
    with opened:
        found, by_name = _stage(bench, opened, job, stage)
        inspection, compared = _inspect(opened, found, progress, cancel)
    manifest, reason = None, None
    if isinstance(bench, Bench):
        trusted, reason = bench.trusted_or_reason()
        manifest = None if trusted is None else trusted.manifest
    else:
        reason = bench.reason
    judgement = judge(
        Context(
            inspection=inspection,
            manifest=manifest,
            untrusted=reason,
            stage=found,
            compared=compared,
        )
    )
    checked = Checked(judgement=judgement, stage=found, compared=compared, by_name=by_name)
    if isinstance(bench, Bench):
        _record(bench, path, checked)
    return checked


def _inspect(
    opened: DescriptorSectors | MountedFolder,
    stage: Stage | None,
    progress: Progress,
    cancel: Cancel,
) -> tuple[Inspection, Compared | None]:
    if isinstance(opened, MountedFolder):
        return inspect_folder(opened, progress=progress, cancel=cancel), None
    if stage is None:
        return inspect_card(opened, progress=progress, cancel=cancel), None
    layout = lay_out(stage)
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(opened, watched=watched, progress=progress, cancel=cancel)
    return inspection, comparison.result()


def _stage(
    bench: Bench | CardprepError,
    opened: DescriptorSectors | MountedFolder,
    job: JobName | None,
    stage: int | None,
) -> tuple[Stage | None, bool]:
    """Return the stage to hold the card against, and whether the card's serial number told it."""
    if not isinstance(bench, Bench):
        return None, False
    if job is not None and stage is not None:
        return find_stage(bench, job, stage)[1], False
    if isinstance(opened, MountedFolder):
        return None, False
    return written_stage(bench, opened), True


def written_stage(bench: Bench, sectors: Sectors) -> Stage | None:
    """Return the stage that the log has under the card's volume serial number, or None.

    The plan may have changed since; only a stage that lays out to that very
    number is the one.
    """
    try:
        serial = volume_serial(sectors)
    except CardprepError:
        return None
    if serial is None:
        return None
    return stage_of_serial(bench, serial)


def stage_of_serial(bench: Bench, serial: str) -> Stage | None:
    """Return the newest written stage whose card has this volume serial number, or None."""
    for record in reversed(bench.log.find("serial", serial)):
        if record.kind not in (BEGUN, ENDED):
            continue
        try:
            job, number = JobName.parse(str(record.body["job"])), record.body["stage"]
            stage = find_stage(bench, job, number if isinstance(number, int) else 0)[1]
            layout: Layout = lay_out(stage)
        except CardprepError:
            continue
        if layout.serial_text == serial:
            return stage
    return None


def _record(bench: Bench, path: Path, checked: Checked) -> None:
    judgement = checked.judgement
    stage = checked.stage
    files: list[Json] = [
        {
            "path": file.shown,
            "size": file.size,
            "sha256": None if file.digests is None else file.digests.sha256,
        }
        for file in judgement.inspection.files[:_FILES_RECORDED]
    ]
    body: dict[str, Json] = {
        "target": spelled_out(str(path.absolute())),
        "verdict": judgement.verdict.value,
        "findings": findings_body(judgement.findings[:_FINDINGS_RECORDED]),
        "findings_count": len(judgement.findings),
        "files": files,
        "files_count": len(judgement.inspection.files),
        "job": None if stage is None else str(stage.job),
        "stage": None if stage is None else stage.number,
        "sha256": None if checked.compared is None else checked.compared.sha256,
    }
    volumes = judgement.inspection.volumes[:4]
    index = [("serial", volume.serial) for volume in volumes if volume.serial is not None]
    if stage is not None:
        index.append(("job", str(stage.job)))
    bench.record(CHECKED, body, index)


# A hostile card may hold any number of files; the record keeps the first ones and the count.
_FILES_RECORDED = 1000
_FINDINGS_RECORDED = 500

"""Check a card: what is on it, what it is held against, what follows. Never writes on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.jobs import all_plans, find_stage, stages_in
from cardprep.bench.open import Bench
from cardprep.bench.records import BEGUN, CHECKED, ENDED, findings_body
from cardprep.canonical import Json
from cardprep.errors import CardprepError
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.folder import inspect_folder
from cardprep.inspection.model import Inspection
from cardprep.job.stage import Stage
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Compared, Comparison
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel, Progress
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import spelled_out
from cardprep.volume.serial import volume_serial


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The stage that a card is held against.

    by_name     whether the card's own serial number told it, which is a name and
                proves nothing, and not the person
    superseded  whether the job's newest plan has no such stage any more
    """

    stage: Stage
    by_name: bool
    superseded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A card that was checked.

    held      what it was held against, or None
    compared  byte for byte with that stage, or None
    """

    judgement: Judgement
    held: Held | None
    compared: Compared | None

    @property
    def stage(self) -> Stage | None:
        """The stage that it was held against, or None."""
        return None if self.held is None else self.held.stage

    @property
    def by_name(self) -> bool:
        """Whether the card's own serial number told the stage."""
        return self.held is not None and self.held.by_name


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
        held = _held(bench, opened, job, stage)
        found = None if held is None else held.stage
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
            superseded=held is not None and held.superseded,
        )
    )
    checked = Checked(judgement=judgement, held=held, compared=compared)
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


def _held(
    bench: Bench | CardprepError,
    opened: DescriptorSectors | MountedFolder,
    job: JobName | None,
    stage: int | None,
) -> Held | None:
    """Return the stage that the person named, or the one that the card's serial number tells."""
    if not isinstance(bench, Bench):
        return None
    if job is not None and stage is not None:
        return Held(stage=find_stage(bench, job, stage)[1], by_name=False)
    return None if isinstance(opened, MountedFolder) else written_stage(bench, opened)


def written_stage(bench: Bench, sectors: Sectors) -> Held | None:
    """Return the stage that the log has under the card's volume serial number, or None."""
    try:
        serial = volume_serial(sectors)
    except CardprepError:
        return None
    return None if serial is None else stage_of_serial(bench, serial)


def stage_of_serial(bench: Bench, serial: str) -> Held | None:
    """Return the written stage whose card has this volume serial number, or None.

    Looked for in all plans of the job, the newest first: the job may have been
    planned anew since. Only a stage that lays out to that very number is the one.
    """
    written = [r for r in bench.log.find("serial", serial) if r.kind in (BEGUN, ENDED)]
    for name in dict.fromkeys(str(record.body.get("job")) for record in reversed(written)):
        try:
            plans = all_plans(bench, JobName.parse(name))
        except CardprepError:
            continue
        for age, plan in enumerate(reversed(plans)):
            for stage in stages_in(plan.body):
                if lay_out(stage).serial_text == serial:
                    return Held(stage=stage, by_name=True, superseded=age > 0)
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

"""Write a stage onto a card: digest, guard, intent, put, read-back, verdict, outcome.

The intent is in the log before the first byte, the outcome after the last. A
write that ends in a refusal or is stopped has an outcome too; one that was
killed has an intent without one, which the next look at the log shows.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from cardprep.bench.jobs import Planned, find_stage
from cardprep.bench.open import Bench
from cardprep.bench.records import BEGUN, ENDED, findings_body
from cardprep.canonical import Json
from cardprep.errors import (
    CardprepError,
    ReadFailedError,
    ShelfError,
    ShortReadError,
    StoppedError,
    WriteFailedError,
    WriteRefusedError,
)
from cardprep.job.stage import Stage, StageFile
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.model import Layout
from cardprep.layout.stream import ContentReader, card_digest
from cardprep.manifest.model import Manifest
from cardprep.progress import Cancel, Progress
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.shop.shelf import Shelf
from cardprep.shoplog.checkpoint import SignedCheckpoint
from cardprep.shoplog.record import Record
from cardprep.shoplog.store import seal
from cardprep.terms import spelled_out
from cardprep.write.guard import Permission, open_for_writing
from cardprep.write.put import put, read_back


@dataclass(frozen=True, slots=True, kw_only=True)
class CardToWrite:
    """Which card is to hold which stage.

    path    device or image file
    number  as marked on the card
    loop    whether a loop device was named on purpose
    """

    job: JobName
    stage: int
    path: Path
    number: int
    loop: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Announced:
    """What will be on a card, known before its first byte is written.

    sha256  the card digest, over the first `length` bytes
    before  what a card of this number was last written as, if as something else
    """

    planned: Planned
    stage: Stage
    layout: Layout
    sha256: str
    before: tuple[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A card that was written and read back."""

    announced: Announced
    judgement: Judgement
    checkpoint: SignedCheckpoint


class _ShelfSource:
    """The shelf as a source of content; each image is digested while it is laid out."""

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf

    def open(self, file: StageFile) -> AbstractContextManager[ContentReader]:
        return self._shelf.open_unchecked(file.sha256, file.size)


def announce(bench: Bench, wanted: CardToWrite, progress: Progress, cancel: Cancel) -> Announced:
    """Return what would be on the card, from the shelf's own bytes; writes nothing.

    Raises JobError, LayoutError, ShelfError.
    """
    planned, stage = find_stage(bench, wanted.job, wanted.stage)
    layout = lay_out(stage)
    sha256 = card_digest(layout, _ShelfSource(bench.shelf), progress, cancel)
    before = _written_before(bench, wanted)
    return Announced(planned=planned, stage=stage, layout=layout, sha256=sha256, before=before)


def write_card(
    bench: Bench,
    wanted: CardToWrite,
    announced: Announced,
    steps: Callable[[str], Progress],
    cancel: Cancel,
) -> Written:
    """Write what was announced, read it back, judge it and record it.

    steps  gives the progress for "write" and for "read"

    Raises WriteRefusedError before anything changed, WriteFailedError,
    ShelfError or StoppedError when what is on the card is unfinished; the log
    says so in every case.
    """
    trusted = bench.trusted()
    _require_wanted(trusted.manifest, announced.stage)
    # A key that cannot sign is found out now and not when the card is done.
    signer = bench.signer()
    source = _ShelfSource(bench.shelf)
    permission = Permission(loop=wanted.loop)
    with open_for_writing(wanted.path, announced.layout, permission, source) as card:
        begun = _record_intent(bench, wanted, announced, trusted.sha256)
        try:
            put(card, announced.layout, source, steps("write"), cancel)
            back = read_back(card, announced.layout, steps("read"), cancel)
        except (WriteFailedError, ShelfError, StoppedError, ReadFailedError, ShortReadError) as e:
            _record_failure(bench, wanted, announced, begun, e)
            raise
        judgement = judge(
            Context(
                inspection=back.inspection,
                manifest=trusted.manifest,
                stage=announced.stage,
                compared=back.compared,
                read_back=True,
                job=announced.planned.job,
                stages=announced.planned.stages,
            )
        )
    body = {
        **_common(wanted, announced, begun),
        "outcome": "done" if back.compared.sha256 == announced.sha256 else "differs",
        "verdict": judgement.verdict.value,
        "findings": findings_body(judgement.findings),
        "read_sha256": back.compared.sha256,
        "past_the_cache": judgement.inspection.past_the_cache,
    }
    bench.record(ENDED, body, _index(wanted, announced))
    return Written(announced=announced, judgement=judgement, checkpoint=seal(bench.log, signer))


def _require_wanted(manifest: Manifest, stage: Stage) -> None:
    """Refuse a stage with an image that was withdrawn, or taken off the list, since the plan."""
    for file in stage.files:
        image = manifest.by_sha256(file.sha256)
        if image is None:
            raise WriteRefusedError("write.not-listed", file=file.path[-1], job=str(stage.job))
        if image.withdrawn is not None:
            raise WriteRefusedError("write.withdrawn", file=image.file, given=image.withdrawn)


def _written_before(bench: Bench, wanted: CardToWrite) -> tuple[str, int] | None:
    """Return job and stage of the last write under this number, if they are others."""
    records = [r for r in bench.log.find("card", str(wanted.number)) if r.kind == BEGUN]
    if not records:
        return None
    job, stage = records[-1].body.get("job"), records[-1].body.get("stage")
    if not isinstance(job, str) or not isinstance(stage, int):
        return None
    return None if (job, stage) == (str(wanted.job), wanted.stage) else (job, stage)


def _record_intent(
    bench: Bench, wanted: CardToWrite, announced: Announced, manifest: str
) -> Record:
    body: dict[str, Json] = {
        **_common(wanted, announced, None),
        "manifest": manifest,
        "files": [
            {
                "path": "/".join(file.path),
                "size": file.size,
                "sha256": file.sha256,
                "type": file.image_type.word,
                "version": file.version.text,
            }
            for file in announced.stage.files
        ],
    }
    return bench.record(BEGUN, body, _index(wanted, announced))


def _record_failure(
    bench: Bench,
    wanted: CardToWrite,
    announced: Announced,
    begun: Record,
    error: CardprepError,
) -> None:
    body = {
        **_common(wanted, announced, begun),
        "outcome": "failed",
        "reason": error.reason,
        "parameters": dict(error.parameters),
    }
    bench.record(ENDED, body, _index(wanted, announced))


def _common(wanted: CardToWrite, announced: Announced, begun: Record | None) -> dict[str, Json]:
    return {
        "job": str(wanted.job),
        "stage": wanted.stage,
        "card": wanted.number,
        "target": _target(wanted.path),
        "label": announced.layout.label,
        "serial": announced.layout.serial_text,
        "length": announced.layout.length,
        "sha256": announced.sha256,
        "begun": None if begun is None else begun.sequence,
    }


def _index(wanted: CardToWrite, announced: Announced) -> list[tuple[str, str]]:
    index = [
        ("card", str(wanted.number)),
        ("job", str(wanted.job)),
        ("serial", announced.layout.serial_text),
        ("written", announced.layout.serial_text),
        ("digest", announced.sha256),
    ]
    for file in announced.stage.files:
        index += [("file", file.path[-1]), ("digest", file.sha256)]
    return index


def _target(path: Path) -> str:
    return spelled_out(str(path.absolute()))

"""Check a card: what is on it, what it is held against, what follows. Never writes on it."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from cardprep.bench.jobs import all_plans, find_job, find_plan, find_stage, is_planned, stages_in
from cardprep.bench.open import Bench
from cardprep.bench.records import CHECKED, ENDED, findings_body
from cardprep.bench.release_by_hand import (
    Release,
    content_key,
    release_by_hand,
    released,
    releases_of,
)
from cardprep.canonical import Json
from cardprep.errors import CardprepError, JobError
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.folder import inspect_folder
from cardprep.inspection.model import Inspection
from cardprep.job.stage import Stage
from cardprep.job.visit import Job, JobName
from cardprep.manifest.model import Manifest
from cardprep.manifest.tables import nearest
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel, Progress
from cardprep.rules.context import By, Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import spelled_out
from cardprep.volume.serial import volume_serial

if TYPE_CHECKING:
    from cardprep.inspection.deleted import AskedDeleted
    from cardprep.layout.compare import Compared


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
class Wanted:
    """What a person says of a card before it is checked; all of it may be left out.

    job      the visit that it is for
    stage    of that job, which the card ought to be
    display  model of the display that is to read it, if it is not the job's
    """

    job: JobName | None = None
    stage: int | None = None
    display: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A card that was checked.

    held      what it was held against, or None
    compared  with that stage, all bytes of it, or None
    other     the stage that it really is, where it ought to be another
    cards     numbers of the cards that were written with what its serial number
              tells, oldest first; several may hold one stage
    releases  what persons overruled in writing about this very content
    key       a name for the content of all its files, for such a release
    place     job and stage for which it was checked, or None
    """

    judgement: Judgement
    held: Held | None
    compared: Compared | None
    other: Held | None = None
    cards: tuple[int, ...] = ()
    releases: tuple[Release, ...] = ()
    key: str = ""
    place: tuple[str | None, int | None] = (None, None)

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
    wanted: Wanted | None = None,
    release: Release | None = None,
    deleted: bool = False,
    progress: Progress,
    cancel: Cancel,
) -> Checked:
    """Check a card.

    bench    without one (the refusal says why) the card is looked at, but nothing
             says what its files are
    wanted   what the card ought to be; else it is looked for in the log
    release  findings that a person overrules in writing; recorded before it counts
    deleted  whether the content of deleted files is looked for

    Raises NotThereError or NotAllowedError for the card, JobError for a job, stage
    or display that there is not, ReleaseError, StoppedError.
    """
    wanted = wanted or Wanted()
    opened = open_card(path)
    with opened:
        found = _find(bench, opened, wanted)
        promised = _promised(bench)
        asked = _asked(promised[0]) if deleted else None
        inspection, compared = _inspect(opened, found.to_compare, asked, progress, cancel)
        context = _context(promised, found, wanted, inspection, compared)
        if isinstance(bench, Bench) and any(i.by is not By.DIGEST for i, _ in context.images):
            # Of most cards every image is proved by its digest.
            from cardprep.bench.closer import look_closer

            context = replace(context, read_twice=look_closer(bench, opened, context, cancel))
    key = content_key(inspection)
    releases: tuple[Release, ...] = ()
    if isinstance(bench, Bench):
        if release is not None:
            release_by_hand(bench, judge(context), key, found.place, release)
        releases = releases_of(bench, key, found.place)
        context = replace(context, releases=released(releases))
    elif release is not None:
        raise bench
    checked = Checked(
        judgement=judge(context),
        held=found.held,
        compared=context.compared,
        other=found.other,
        cards=found.cards,
        releases=releases,
        key=key,
        place=found.place,
    )
    if isinstance(bench, Bench):
        _record(bench, path, checked)
    return checked


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What is known of a card before it is read: from the person, and from its serial number."""

    held: Held | None = None
    other: Held | None = None
    job: Job | None = None
    stages: tuple[Stage, ...] = ()
    cards: tuple[int, ...] = ()

    @property
    def to_compare(self) -> Stage | None:
        """The stage whose bytes are expected on it: what it is, and not what it ought to be."""
        held = self.other or self.held
        return None if held is None else held.stage

    @property
    def place(self) -> tuple[str | None, int | None]:
        """Job and stage for which it was checked."""
        if self.held is not None:
            return str(self.held.stage.job), self.held.stage.number
        return (None if self.job is None else str(self.job.name)), None


def _find(bench: Bench | CardprepError, opened: Sectors | MountedFolder, wanted: Wanted) -> _Found:
    if not isinstance(bench, Bench):
        if wanted.job is not None:
            raise bench
        return _Found()
    told: Held | None = None
    cards: tuple[int, ...] = ()
    if not isinstance(opened, MountedFolder):
        told, cards = written_stage(bench, opened)
    held, other = told, None
    if wanted.job is not None:
        find_job(bench, wanted.job)
        if wanted.stage is not None:
            held = Held(stage=find_stage(bench, wanted.job, wanted.stage)[1], by_name=False)
        elif told is not None and told.stage.job != wanted.job:
            held = None
        if told is not None and (held is None or not _same(told.stage, held.stage)):
            other = told
    name = wanted.job or (None if held is None else held.stage.job)
    job: Job | None = None
    stages: tuple[Stage, ...] = ()
    if name is not None:
        with contextlib.suppress(CardprepError):
            job = find_job(bench, name)
            stages = find_plan(bench, name).stages
    return _Found(held=held, other=other, job=job, stages=stages, cards=cards)


def _same(one: Stage, other: Stage) -> bool:
    from cardprep.layout.build import lay_out

    return lay_out(one).serial == lay_out(other).serial


def _promised(bench: Bench | CardprepError) -> tuple[Manifest | None, str | None]:
    """Return the manifest, or the reason why there is none to be believed."""
    if not isinstance(bench, Bench):
        return None, bench.reason
    trusted, reason = bench.trusted_or_reason()
    return (None if trusted is None else trusted.manifest), reason


def _asked(manifest: Manifest | None) -> AskedDeleted:
    from cardprep.inspection.deleted import AskedDeleted

    known = () if manifest is None else manifest.images
    return AskedDeleted(sizes=frozenset(image.size for image in known))


def _context(
    promised: tuple[Manifest | None, str | None],
    found: _Found,
    wanted: Wanted,
    inspection: Inspection,
    compared: Compared | None,
) -> Context:
    manifest, reason = promised
    if wanted.display is not None and manifest is not None:
        _require_display(manifest, wanted.display)
    is_other = found.other is not None
    return Context(
        inspection=inspection,
        manifest=manifest,
        untrusted=reason,
        stage=None if found.held is None else found.held.stage,
        compared=None if is_other else compared,
        superseded=found.held is not None and found.held.superseded,
        job=found.job,
        stages=found.stages,
        reader=wanted.display,
        other=None if found.other is None else found.other.stage,
        other_compared=compared if is_other else None,
        other_superseded=found.other is not None and found.other.superseded,
    )


def _require_display(manifest: Manifest, display: str) -> None:
    if manifest.display(display) is None:
        names = tuple(facts.model for facts in manifest.displays)
        known = ", ".join(names) or "-"
        meant = nearest(display, names) or known
        found = spelled_out(display[:60])
        raise JobError("job.display-unknown", found=found, known=known, meant=meant)


def _inspect(
    opened: Sectors | MountedFolder,
    stage: Stage | None,
    asked: AskedDeleted | None,
    progress: Progress,
    cancel: Cancel,
) -> tuple[Inspection, Compared | None]:
    if isinstance(opened, MountedFolder):
        return inspect_folder(opened, progress=progress, cancel=cancel), None
    if stage is None:
        return inspect_card(opened, deleted=asked, progress=progress, cancel=cancel), None
    # A card that nobody here wrote is looked at without this.
    from cardprep.layout.build import lay_out
    from cardprep.layout.compare import Comparison

    layout = lay_out(stage)
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(
        opened, watched=watched, deleted=asked, progress=progress, cancel=cancel
    )
    return inspection, comparison.result()


def written_stage(bench: Bench, sectors: Sectors) -> tuple[Held | None, tuple[int, ...]]:
    """Return the stage that the log has under the card's volume serial number, or None.

    Also the numbers of the cards that were written with it, oldest first.
    """
    try:
        serial = volume_serial(sectors)
    except CardprepError:
        return None, ()
    if serial is None:
        return None, ()
    # Not by "serial", under which every check of the card stands too.
    records = bench.log.find("written", serial)
    done = [r for r in records if r.kind == ENDED and r.body.get("outcome") == "done"]
    cards = dict.fromkeys(record.body.get("card") for record in done)
    # A number that was put on something else since then tells nothing of this card.
    numbers = [n for n in cards if isinstance(n, int) and _last_serial(bench, n) == serial]
    return (stage_of_serial(bench, serial) if records else None), tuple(numbers)


def _last_serial(bench: Bench, number: int) -> str | None:
    """Return the serial number of what a card of this number was last written as."""
    written = [r for r in bench.log.find("card", str(number)) if r.kind == ENDED]
    serial = written[-1].body.get("serial") if written else None
    return serial if isinstance(serial, str) else None


def stage_of_serial(bench: Bench, serial: str) -> Held | None:
    """Return the written stage whose card has this volume serial number, or None.

    Looked for in all plans of the job, the newest first: the job may have been
    planned anew since. Only a stage that lays out to that very number is the one.
    """
    from cardprep.layout.build import lay_out

    written = bench.log.find("written", serial)
    for name in dict.fromkeys(str(record.body.get("job")) for record in reversed(written)):
        try:
            plans = all_plans(bench, JobName.parse(name))
        except CardprepError:
            continue
        current = is_planned(bench, JobName.parse(name))
        for age, plan in enumerate(reversed(plans)):
            for stage in stages_in(plan.body):
                if lay_out(stage).serial_text == serial:
                    return Held(stage=stage, by_name=True, superseded=age > 0 or not current)
    return None


def _record(bench: Bench, path: Path, checked: Checked) -> None:
    judgement = checked.judgement
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
        "job": checked.place[0],
        "stage": checked.place[1],
        "sha256": None if checked.compared is None else checked.compared.sha256,
        "content": checked.key,
    }
    volumes = judgement.inspection.volumes[:4]
    index = [("serial", volume.serial) for volume in volumes if volume.serial is not None]
    if checked.place[0] is not None:
        index.append(("job", checked.place[0]))
    bench.record(CHECKED, body, index)


# A hostile card may hold any number of files; the record keeps the first ones and the count.
_FILES_RECORDED = 1000
_FINDINGS_RECORDED = 500

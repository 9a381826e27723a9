"""All jobs of a bench, and how far each one is."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.bench.jobs import find_job, find_plan, job_of
from cardprep.bench.open import Bench
from cardprep.bench.records import CHANGED, ENDED, OPENED, OUTCOME
from cardprep.errors import JobError
from cardprep.job.listed import Listed, State
from cardprep.job.stage import Stage
from cardprep.job.visit import Job
from cardprep.layout.build import lay_out
from cardprep.shoplog.record import Record


def list_jobs(bench: Bench) -> tuple[Listed, ...]:
    """Return the bench's jobs, newest first."""
    opened = bench.log.find("opened", bench.shop.settings.bench)
    return tuple(
        _listed(bench, find_job(bench, job_of(record).name), record.time)
        for record in reversed([record for record in opened if record.kind == OPENED])
    )


def _listed(bench: Bench, job: Job, opened: str) -> Listed:
    records = bench.log.find("job", str(job.name))
    stages: tuple[Stage, ...] | None
    try:
        stages = find_plan(bench, job.name).stages
    except JobError:
        stages = None
    right = {
        record.body.get("serial")
        for record in records
        if record.kind == ENDED and record.body.get("outcome") == "done"
    }
    written = sum(lay_out(stage).serial_text in right for stage in stages or ())
    state = State.OPENED if stages is None else State.PLANNED
    if stages and written == len(stages):
        state = State.PREPARED
    return Listed(
        job=job,
        opened=opened,
        state=_told(records) or state,
        stages=None if stages is None else len(stages),
        written=written,
    )


def _told(records: Sequence[Record]) -> State | None:
    """Return what was told of a whole job, unless it was changed since."""
    told = None
    for record in records:
        if record.kind == CHANGED:
            told = None
        elif record.kind == OUTCOME and record.body.get("stage") is None:
            told = State(str(record.body.get("result")))
    return told

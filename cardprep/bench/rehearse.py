"""Rehearse a planned job: what will be done and seen on board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cardprep.bench.jobs import find_plan
from cardprep.bench.open import Bench
from cardprep.job.visit import JobName

if TYPE_CHECKING:
    from cardprep.vessel.rehearsal import Rehearsal


def rehearse_job(bench: Bench, name: JobName, *, cards: int | None = None) -> Rehearsal:
    """Return a job's visit as it will go.

    cards  how many are at hand; None for one for each stage

    Raises JobError if there is no such job, it is not planned, or the manifest has
    no longer what it was planned with; ManifestUntrustedError.
    """
    from cardprep.vessel.rehearse import rehearse

    planned = find_plan(bench, name)
    manifest = bench.trusted().manifest
    one_card = cards == 1
    return rehearse(planned.job, planned.stages, planned.steps, manifest, one_card=one_card)

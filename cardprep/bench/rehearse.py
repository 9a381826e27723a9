"""Rehearse a planned job: what will be done and seen on board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cardprep.bench.jobs import find_plan
from cardprep.bench.open import Bench
from cardprep.job.visit import JobName

if TYPE_CHECKING:
    from cardprep.vessel.rehearse import Rehearsal


def rehearse_job(bench: Bench, name: JobName) -> Rehearsal:
    """Return a job's visit as it will go.

    Raises JobError if there is no such job, it is not planned, or the manifest has
    no longer what it was planned with; ManifestUntrustedError.
    """
    from cardprep.vessel.rehearse import rehearse

    planned = find_plan(bench, name)
    manifest = bench.trusted().manifest
    return rehearse(planned.job, planned.stages, planned.steps, manifest)

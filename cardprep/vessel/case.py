"""A visit that something went wrong with: what is known of it, and what follows. Values only."""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.job.outcome import Outcome
from cardprep.job.stage import Stage
from cardprep.job.visit import Job, JobName
from cardprep.job.written import WrittenCard
from cardprep.manifest.model import Manifest
from cardprep.vessel.advice import Advice
from cardprep.vessel.explain import Explained, Explainer
from cardprep.vessel.next_question import NextQuestion
from cardprep.vessel.observe import Observed, Question
from cardprep.vessel.scene import Scene, Stages

_DONE = "done"
_IN_ORDER = "use"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedCard:
    """A card that was checked for a stage. The stage is None where none was named."""

    stage: int | None
    verdict: str
    time: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the log proves, oldest first. Stages count from 1, as they stand in the log."""

    written: tuple[WrittenCard, ...] = ()
    checked: tuple[CheckedCard, ...] = ()
    told: tuple[tuple[str, Outcome], ...] = ()

    def right(self, stage: int) -> WrittenCard | None:
        """Return the newest card of a stage that left the bench with all bytes right."""
        done = [one for one in self.written if one.stage == stage and one.outcome == _DONE]
        return done[-1] if done else None

    def in_order(self, stage: int) -> CheckedCard | None:
        """Return the newest check of a card of a stage, if nothing was wrong with it."""
        of_stage = [one for one in self.checked if one.stage == stage]
        return of_stage[-1] if of_stage and of_stage[-1].verdict == _IN_ORDER else None


@dataclass(frozen=True, kw_only=True)
class Case:
    """A visit, and all that is known of it.

    name         of the job, or None for a visit that was no job of ours
    rows         for each stage its display, and units and digests of its steps
    was_planned  whether the stages are those of the job's plan, or were planned just now
    observed     what was told, read off the cards, or stands in the log as seen afterwards
    from_log     those questions whose answers the log gives
    looked_at    those whose answers a fresh look at a card gives
    """

    name: JobName | None
    job: Job
    manifest: Manifest
    scene: Scene
    rows: Stages
    stages: tuple[Stage, ...]
    was_planned: bool
    evidence: Evidence
    explainer: Explainer
    observed: Observed
    from_log: frozenset[Question]
    looked_at: frozenset[Question]


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What follows.

    advices  for each explanation what follows from it
    asked    the observation that would best tell the explanations apart, or None
    """

    observed: Observed
    explained: Explained
    advices: tuple[Advice, ...]
    asked: NextQuestion | None

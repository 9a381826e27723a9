"""The values of a rehearsed visit: what is said of each stage, and how the units stand after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from cardprep.job.stage import Stage
from cardprep.job.step import StageStep
from cardprep.job.visit import Job


class Part(StrEnum):
    """Which part of a stage a sentence belongs to."""

    BEFORE = "before"
    DO = "do"
    SEE = "see"
    NORMAL = "normal"
    PROVED = "proved"
    IF_NOT = "if-not"


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One sentence: its slug in the catalogue, and what is filled in."""

    part: Part
    slug: str
    parameters: Mapping[str, str | int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stands:
    """What one unit is and has after a stage.

    unit       its number in the job, from 1
    condition  "running", "waiting" or "dead"
    versions   by image type; None for unknown, "" for none
    handset    the same of the handset; empty where there is none
    is_blank   whether the handset is left behind
    """

    unit: int
    condition: str
    versions: tuple[tuple[str, str | None], ...]
    handset: tuple[tuple[str, str | None], ...]
    is_blank: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedStage:
    """One stage as it will go. `minutes` is the usual range of all its steps, one after another."""

    stage: Stage
    steps: tuple[StageStep, ...]
    minutes: tuple[int, int]
    said: tuple[Said, ...]
    stands: tuple[Stands, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """A whole visit as it will go."""

    job: Job
    before: tuple[Said, ...]
    stages: tuple[RehearsedStage, ...]
    afterwards: tuple[Said, ...]

    @property
    def minutes(self) -> tuple[int, int]:
        """The usual range of all steps together."""
        low = sum(stage.minutes[0] for stage in self.stages)
        return low, sum(stage.minutes[1] for stage in self.stages)

"""Which images a vessel needs, and in which order: the first, plain planner.

Pure: a job and a manifest in, steps and their order out. What one unit needs is
decided in ``unit_plan.py``; here the units' steps are put onto cards.

Rules that hold for every plan: a need holds before the image that has it is
loaded; a card carries one image type; no card carries two versions of one type
for one model; units that stand in for each other are done one after the other.

Source: common practice, no published source: a bootloader goes on a card of its
own before the application that needs it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cardprep.job.visit import Job
from cardprep.manifest.model import ImageFacts, Manifest
from cardprep.terms import ImageType, Version
from cardprep.vessel.unit_plan import UnitPlan, Wanted, rank


@dataclass(frozen=True, slots=True)
class Step:
    """One image loaded into one unit.

    unit       its number in the job, from 0
    now        the version that the image takes the place of, None for unknown
    needed_by  the image that needs it, or None if it was asked for
    """

    unit: int
    image: ImageFacts
    now: Version | None = None
    needed_by: ImageFacts | None = None


@dataclass(frozen=True, slots=True)
class PlannedStage:
    """The steps that are made with one card."""

    steps: tuple[Step, ...]

    @property
    def images(self) -> tuple[ImageFacts, ...]:
        """The images on the card, each once, in the order of the steps."""
        return tuple({step.image.sha256: step.image for step in self.steps}.values())

    @property
    def image_type(self) -> ImageType:
        """The image type on the card."""
        return self.steps[0].image.type


@dataclass(frozen=True, slots=True)
class Plan:
    """The stages of a job, in order; none if everything is as it should be."""

    stages: tuple[PlannedStage, ...]


def plan(job: Job, manifest: Manifest) -> Plan:
    """Return the stages that bring every unit to its wanted versions.

    Raises NoPlanError with the fact that forbids it.
    """
    stages: list[PlannedStage] = []
    for wave in _waves(job):
        left = {number: UnitPlan(job, job.units[number], manifest).run() for number in wave}
        while any(left.values()):
            word = _next_type(left)
            steps = [
                _step(number, left[number].pop(word))
                for number in wave
                if word in left[number] and _is_ready(word, left[number])
            ]
            stages.extend(_cards(steps))
    return Plan(tuple(stages))


def _step(number: int, wanted: Wanted) -> Step:
    return Step(number, wanted.image, wanted.now, wanted.needed_by)


def _next_type(left: Mapping[int, Mapping[str, Wanted]]) -> str:
    """Return the word of the image type that comes next.

    One that no unit has to wait for, if there is one, so that one card serves all.
    """
    steps = [(word, wanted) for wanted in left.values() for word in wanted]
    types = {word: wanted[word].image.type for word, wanted in steps}
    ready = {word for word, wanted in steps if _is_ready(word, wanted)}
    waiting = {word for word, wanted in steps if not _is_ready(word, wanted)}
    return min(ready, key=lambda word: (word in waiting, rank(types[word]), word))


def _is_ready(word: str, wanted: Mapping[str, Wanted]) -> bool:
    """Return whether nothing that comes before a unit's step is still to be done."""
    return wanted[word].before.isdisjoint(wanted)


def _waves(job: Job) -> list[list[int]]:
    """Return unit numbers in groups, no two units of one role in the same group."""
    waves: list[list[int]] = []
    count: dict[str, int] = {}
    for number, unit in enumerate(job.units):
        role = " ".join(unit.role.casefold().split())
        place = count.get(role, 0)
        count[role] = place + 1
        if place == len(waves):
            waves.append([])
        waves[place].append(number)
    return waves


def _cards(steps: list[Step]) -> list[PlannedStage]:
    """Return steps of one type as cards without two versions for one model."""
    cards: list[list[Step]] = []
    for step in steps:
        for card in cards:
            if not any(_exclude(step.image, other.image) for other in card):
                card.append(step)
                break
        else:
            cards.append([step])
    return [PlannedStage(tuple(card)) for card in cards]


def _exclude(one: ImageFacts, other: ImageFacts) -> bool:
    if one.sha256 == other.sha256:
        return False
    return bool(set(one.models) & set(other.models)) or one.file.upper() == other.file.upper()

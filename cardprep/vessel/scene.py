"""A visit as it was planned, made ready to be played: its vessel, its stages, what may vary.

Pure. The vessel is compiled twice where a handset is concerned that may be aboard or
not, since both can be true: a radio told to have none may have one all the same.

Images that were withdrawn since count as they were, because they may have been loaded.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from cardprep.job.visit import COMPANION_UNKNOWN, NO_COMPANION, Display, Job, Unit
from cardprep.manifest.model import ImageFacts, Manifest, Presence
from cardprep.vessel.compiled import compiled
from cardprep.vessel.model import Load, UnitModel, VesselModel
from cardprep.vessel.scales import Spoken


@dataclass(frozen=True, slots=True)
class SceneStage:
    """One card in one display.

    steps      unit and image, by their numbers in the vessel, in the order in which they are made
    announces  whether the display announces a type that is on the card by itself
    """

    display: int
    steps: tuple[tuple[int, int], ...]
    announces: bool


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A visit as it was planned.

    vessel       with every handset that can be aboard
    without      the units that may have no handset, as they are without one
    told_none    those of them that were told to have none
    stages       in the planned order
    needs_newer  for each display the images that need its own software; empty where no
                 image says so, and then it may be too old for any
    """

    vessel: VesselModel
    without: Mapping[int, UnitModel]
    told_none: frozenset[int]
    stages: tuple[SceneStage, ...]
    needs_newer: Mapping[int, frozenset[int]]

    @cached_property
    def expected_companions(self) -> frozenset[int]:
        """Units whose handset was planned for."""
        aboard = {unit.number for unit in self.vessel.units if unit.has_companion}
        return frozenset(aboard - self.told_none)

    @cached_property
    def planned(self) -> Mapping[int, tuple[int, ...]]:
        """For each unit the stages in which it has a step."""
        found: dict[int, list[int]] = {}
        for number, stage in enumerate(self.stages):
            for unit, _ in stage.steps:
                found.setdefault(unit, []).append(number)
        return {unit: tuple(dict.fromkeys(stages)) for unit, stages in found.items()}

    @cached_property
    def depends(self) -> Mapping[int, frozenset[int]]:
        """For each unit the other units of which some image for it needs a version."""
        return {
            unit.number: frozenset(
                need.unit for load in unit.loads for need in load.needs if need.unit is not None
            )
            for unit in self.vessel.units
        }

    @cached_property
    def _loads(self) -> Mapping[tuple[int, int, bool], Load]:
        found = {(u.number, load.image, True): load for u in self.vessel.units for load in u.loads}
        for number, unit in self.without.items():
            found.update({(number, load.image, False): load for load in unit.loads})
        return found

    def load(self, unit: int, image: int, *, companion: bool) -> Load | None:
        """Return what an image does to a unit, with its handset or without one; None if nothing."""
        return self._loads.get((unit, image, companion or unit not in self.without))

    def widest(self, unit: int) -> UnitModel:
        """Return a unit with its handset, unless it was told to have none."""
        return self.without[unit] if unit in self.told_none else self.vessel.units[unit]

    def carries(self, unit: int, image: int) -> bool:
        """Return whether an image brings code for the unit's handset, should one be aboard."""
        load = self.load(unit, image, companion=True)
        return load is not None and bool(load.carries)

    def twins(self, stage: int, unit: int, image: int) -> tuple[int, ...]:
        """Return the other units for which the display would offer the same image."""
        own = {one for one, what in self.stages[stage].steps if what == image}
        return tuple(
            other.number
            for other in self.vessel.units
            if other.number not in own | {unit} and any(load.image == image for load in other.loads)
        )

    def other_images(self, stage: int) -> tuple[int, ...]:
        """Return the images that another job's card could bring instead: same type, same unit."""
        images = self.vessel.images
        own = {image for _, image in self.stages[stage].steps}
        types = {images[image].type for image in own}
        units = {unit for unit, _ in self.stages[stage].steps}
        found = {
            load.image
            for unit in units
            for load in self.vessel.units[unit].loads
            if load.image not in own and images[load.image].type in types
        }
        return tuple(sorted(found))


# For each stage its display, and its steps as unit and sha256 of the image.
Stages = Sequence[tuple[int, Sequence[tuple[int, str]]]]


def scene_of(job: Job, manifest: Manifest, stages: Stages, seen: Iterable[Spoken] = ()) -> Scene:
    """Return the scene of a planned job.

    seen  versions that somebody read off a unit; they need a place although nobody
          planned with them

    Raises NoPlanError as ``compiled`` does; an image that is no longer in the manifest
    has no step.
    """
    spoken = tuple(seen)
    manifest = replace(
        manifest, images=tuple(replace(image, withdrawn=None) for image in manifest.images)
    )
    may_lack = frozenset(n for n, unit in enumerate(job.units) if _may_lack(unit, manifest))
    told_none = frozenset(n for n in may_lack if job.units[n].companion == NO_COMPANION)
    vessel = _compiled(job, manifest, may_lack, COMPANION_UNKNOWN, spoken)
    lacking = _compiled(job, manifest, may_lack, NO_COMPANION, spoken) if may_lack else vessel
    numbers = {image.facts.sha256: number for number, image in enumerate(vessel.images)}
    return Scene(
        vessel=vessel,
        without={number: lacking.units[number] for number in sorted(may_lack)},
        told_none=told_none,
        stages=tuple(
            SceneStage(
                display=display,
                steps=tuple((unit, numbers[sha256]) for unit, sha256 in steps if sha256 in numbers),
                announces=_announces(job, manifest, display, [sha256 for _, sha256 in steps]),
            )
            for display, steps in stages
        ),
        needs_newer=_needs_newer(job, vessel),
    )


def _may_lack(unit: Unit, manifest: Manifest) -> bool:
    """Return whether a unit may have a handset and may have none, whatever was told."""
    facts = manifest.model(unit.model)
    if facts is None or facts.companion is None or facts.companion.presence is Presence.ALWAYS:
        return False
    return unit.companion in (None, NO_COMPANION, COMPANION_UNKNOWN)


def _compiled(
    job: Job,
    manifest: Manifest,
    may_lack: frozenset[int],
    companion: str,
    spoken: tuple[Spoken, ...],
) -> VesselModel:
    told = [
        replace(unit, companion=companion) if number in may_lack else unit
        for number, unit in enumerate(job.units)
    ]
    return compiled(replace(job, units=tuple(told)), manifest, fits=_it_fits, spoken=spoken)


def _it_fits(display: Display, images: Sequence[ImageFacts]) -> bool:
    # The cards were made, so there was room on them.
    del display, images
    return True


def _announces(job: Job, manifest: Manifest, display: int, images: Sequence[str]) -> bool:
    facts = manifest.display(job.displays[display].model)
    known = [image for image in map(manifest.by_sha256, images) if image is not None]
    return facts is not None and any(image.type in facts.announces for image in known)


def _needs_newer(job: Job, vessel: VesselModel) -> dict[int, frozenset[int]]:
    units = {unit.model for unit in job.units}
    return {
        number: frozenset(
            image
            for image, one in enumerate(vessel.images)
            if display.model not in units
            and any(need.model == display.model for need in one.facts.needs)
        )
        for number, display in enumerate(job.displays)
    }

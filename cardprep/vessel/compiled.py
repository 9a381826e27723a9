"""A job and a manifest, compiled once into the numbers that planning works with.

Source of the usual facts (what a waiting unit lacks, that carried code and listed
versions are those an application runs with): common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from cardprep.errors import BadValueError, NoPlanError
from cardprep.job.visit import Display, Found, Job
from cardprep.manifest.model import ImageFacts, Leaves, Manifest, Need
from cardprep.terms import (
    APPLICATION,
    BOOTLOADER,
    CHART_DATA,
    CONFIGURATION,
    USUAL_TYPES,
    ImageType,
)
from cardprep.vessel.model import (
    DisplayModel,
    Floor,
    ImageOnCard,
    Load,
    State,
    UnitModel,
    VesselModel,
)
from cardprep.vessel.scale import EMPTY_ONLY, Scale
from cardprep.vessel.scales import Scales, Spoken, companion_model

# Whether these images fit on one card for a display.
Fits = Callable[[Display, Sequence[ImageFacts]], bool]

# Without these a unit still does what it is aboard for.
_NOT_VITAL = (CONFIGURATION, CHART_DATA)
# What a display's software version says nothing of.
_NO_SOFTWARE = (BOOTLOADER, CONFIGURATION, CHART_DATA)
# The place of a version that nothing aboard can have.
_NEVER = 4096


@dataclass(frozen=True, slots=True)
class _Part:
    """One slot while it is compiled: whose it is, and its type."""

    model: str
    type: ImageType
    scale: Scale


def compiled(
    job: Job, manifest: Manifest, *, fits: Fits, spoken: Iterable[Spoken] = ()
) -> VesselModel:
    """Return the vessel of a job as a state model.

    spoken  versions that get a place although neither job nor manifest name them

    Raises NoPlanError for a model, an image type or a version that the manifest
    does not know what to do with.
    """
    scales = Scales(job, manifest, spoken)
    units = tuple(
        _Compiler(job, manifest, scales, number, fits).unit() for number in range(len(job.units))
    )
    return VesselModel(
        units=units,
        displays=tuple(_display(display, manifest) for display in job.displays),
        images=tuple(_on_card(image) for image in _in_order(manifest)),
        together=job.together,
    )


def _display(display: Display, manifest: Manifest) -> DisplayModel:
    facts = manifest.display(display.model)
    if facts is None:
        raise NoPlanError("plan.unknown-display", display=display.model)
    return DisplayModel(model=display.model, types_per_card=facts.types_per_card)


def _in_order(manifest: Manifest) -> list[ImageFacts]:
    """Return the images in an order that does not depend on how the manifest lists them."""
    return sorted(
        manifest.images,
        key=lambda image: (rank(image.type), image.type.word, image.file.upper(), image.sha256),
    )


def rank(image_type: ImageType) -> int:
    """Return the usual place of a type among those that need nothing of each other."""
    return USUAL_TYPES.index(image_type) if image_type in USUAL_TYPES else len(USUAL_TYPES)


def _on_card(image: ImageFacts) -> ImageOnCard:
    return ImageOnCard(
        type=image.type.word,
        models=frozenset(image.models),
        file=image.file.upper(),
        size=image.size,
        facts=image,
    )


class _Compiler:
    """Compiles one unit of a job."""

    def __init__(
        self, job: Job, manifest: Manifest, scales: Scales, number: int, fits: Fits
    ) -> None:
        self._job = job
        self._manifest = manifest
        self._scales = scales
        self._number = number
        self._fits = fits
        self._unit = job.units[number]
        facts = manifest.model(self._unit.model)
        if facts is None:
            raise NoPlanError("plan.unknown-model", model=self._unit.model)
        self._facts = facts
        self._companion = companion_model(self._unit, manifest)
        own = [_Part(facts.name, known, scales.of(facts.name, known)) for known in self._types()]
        self._own = len(own)
        self._parts = (*own, *self._companion_parts())

    def _types(self) -> list[ImageType]:
        """Return the image types of the unit; those that the job speaks of have to be known."""
        known = list(self._facts.types or self._manifest.all_types)
        for word in (*self._unit.versions, *self._unit.wanted):
            image_type = self._manifest.image_type(word)
            if image_type is None:
                raise NoPlanError("plan.unknown-type", model=self._unit.model, type=word)
            if image_type not in known:
                known.append(image_type)
        return known

    def _companion_parts(self) -> list[_Part]:
        if self._companion is None:
            return []
        facts = self._manifest.model(self._companion)
        types = list(facts.types) if facts is not None and facts.types else [APPLICATION]
        return [_Part(self._companion, one, self._scales.of(self._companion, one)) for one in types]

    # --- the unit

    def unit(self) -> UnitModel:
        """Return the unit as a part of the state model."""
        off = self._unit.found is Found.OFF_NETWORK
        images = enumerate(_in_order(self._manifest))
        loads = [] if off else [self._load(number, image) for number, image in images]
        return UnitModel(
            number=self._number,
            slots=tuple(part.type.word for part in self._parts),
            own=self._own,
            scales=tuple(part.scale for part in self._parts),
            vital=tuple(
                slot
                for slot, part in enumerate(self._parts[: self._own])
                if part.type not in _NOT_VITAL
            ),
            start=self._start(),
            goal=self._goal(),
            # Of plans that cost the same, the one with newer images is found first.
            loads=tuple(
                sorted(
                    (load for load in loads if load is not None),
                    key=lambda load: (load.slot, -load.place, load.image),
                )
            ),
            standing=self._standing(),
            role=" ".join(self._unit.role.casefold().split()),
            left_alone=self._unit.is_left_alone,
        )

    def _start(self) -> State:
        contents = []
        for slot, part in enumerate(self._parts):
            told = self._unit.versions if slot < self._own else self._unit.companion_versions
            contents.append(part.scale.mask(told.get(part.type.word)))
        if self._unit.found is Found.WAITING:
            for slot in self._slots_of(self._facts.name, APPLICATION):
                contents[slot] = EMPTY_ONLY
        return (*contents, 0 if self._unit.found is Found.HANDSET_BLANK else 1)

    def _goal(self) -> tuple[int, ...]:
        goal = []
        for slot, part in enumerate(self._parts):
            wanted = self._unit.wanted if slot < self._own else self._unit.companion_wanted
            version = wanted.get(part.type.word)
            goal.append(part.scale.unknown if version is None else part.scale.mask(version))
        return tuple(goal)

    def _slots_of(self, model: str, image_type: ImageType) -> list[int]:
        return [
            slot
            for slot, part in enumerate(self._parts)
            if part.model == model and part.type == image_type
        ]

    def _standing(self) -> dict[tuple[int, int], tuple[Floor, ...]]:
        """Return what images need of their unit as long as they are installed."""
        standing: dict[tuple[int, int], tuple[Floor, ...]] = {}
        for image in _in_order(self._manifest):
            if self._facts.name not in image.models:
                continue
            for slot in self._slots_of(self._facts.name, image.type):
                floors = tuple(
                    floor
                    for need in image.needs
                    for floor in self._floors(need)
                    if floor.unit is None
                )
                if floors:
                    place = self._parts[slot].scale.place(image.version)
                    standing.setdefault((slot, place), floors)
        return standing

    # --- one image

    def _load(self, number: int, image: ImageFacts) -> Load | None:
        """Return what an image does to this unit; None if it never gets there."""
        slots = self._slots_of(self._facts.name, image.type)
        if image.withdrawn is not None or self._facts.name not in image.models or not slots:
            return None
        displays = self._displays(image)
        if not displays:
            return None
        slot = slots[0]
        scale = self._parts[slot].scale
        erased = list(image.erases)
        if image.leaves is Leaves.WAITING and image.type != APPLICATION:
            erased.append(APPLICATION)
        return Load(
            image=number,
            slot=slot,
            place=scale.place(image.version),
            starts=self._starts(image, scale),
            may_fall=image.type.word in self._unit.may_fall,
            needs=tuple(floor for need in image.needs for floor in self._floors(need)),
            displays=displays,
            erases=tuple(
                sorted({one for kind in erased for one in self._slots_of(self._facts.name, kind)})
            ),
            carries=self._carries(image),
            runs_with=self._runs_with(image),
            minutes=(image.minutes.low, image.minutes.high),
            size=image.size,
        )

    def _starts(self, image: ImageFacts, scale: Scale) -> int:
        starts = scale.unknown
        if image.from_versions:
            starts = 0
            for version in image.from_versions:
                starts |= scale.mask(version)
        return starts | (EMPTY_ONLY if image.from_empty else 0)

    def _carries(self, image: ImageFacts) -> tuple[tuple[int, int], ...]:
        return tuple(
            (slot, self._parts[slot].scale.place(carried.version))
            for carried in image.carries
            for slot in self._slots_of(carried.model, carried.type)
            if carried.model == self._companion
        )

    def _runs_with(self, image: ImageFacts) -> tuple[int, int] | None:
        """Return the companion's slot and the versions with which an application runs."""
        if self._companion is None or image.type != APPLICATION:
            return None
        found = self._slots_of(self._companion, APPLICATION)
        if not found:
            return None
        scale = self._parts[found[0]].scale
        versions = [
            *image.runs_with,
            *(
                carried.version
                for carried in image.carries
                if carried.model == self._companion and carried.type == APPLICATION
            ),
        ]
        runs = 0
        for version in versions:
            runs |= scale.mask(version)
        return found[0], runs

    def _displays(self, image: ImageFacts) -> frozenset[int]:
        """Return the displays that can load an image into this unit."""
        return frozenset(
            number
            for number, display in enumerate(self._job.displays)
            if (not self._unit.displays or display.model in self._unit.displays)
            and all(self._display_has(display, need) for need in image.needs)
            and self._fits(display, (image,))
        )

    # --- needs

    def _floors(self, need: Need) -> list[Floor]:
        """Return a need as places in slots; the display's own software is not among them."""
        model = self._facts.name if need.model is None else need.model
        if model in (self._facts.name, self._companion):
            slots = self._slots_of(model, need.type)
            if not slots:
                return [Floor(0, _NEVER)]
            return [Floor(slots[0], self._parts[slots[0]].scale.place(need.at_least))]
        if self._is_absent_companion(model):
            return []
        found = [
            floor
            for number, unit in enumerate(self._job.units)
            if unit.model == model
            for floor in self._floors_elsewhere(number, model, need)
        ]
        if found or any(display.model == model for display in self._job.displays):
            return found
        return [Floor(0, _NEVER)]

    def _is_absent_companion(self, model: str) -> bool:
        companion = self._facts.companion
        return companion is not None and companion.model == model

    def _floors_elsewhere(self, number: int, model: str, need: Need) -> list[Floor]:
        facts = self._manifest.model(model)
        types: Sequence[ImageType] = facts.types if facts is not None else ()
        types = types or self._manifest.all_types
        if need.type not in types:
            return [Floor(0, _NEVER)]
        place = self._scales.of(model, need.type).place(need.at_least)
        return [Floor(types.index(need.type), place, number)]

    def _display_has(self, display: Display, need: Need) -> bool:
        """Return whether a need of the display's own software holds, or is none of it."""
        readers = [one.model for one in self._job.displays]
        if need.model not in readers or any(u.model == need.model for u in self._job.units):
            return True
        if need.model != display.model:
            # A need of another display than the one that reads the card is not this one's.
            return True
        if display.software is None or need.type in _NO_SOFTWARE:
            return False
        order = self._manifest.version_order(display.model, need.type)
        try:
            return order.at_least(display.software, need.at_least)
        except BadValueError:
            return False

"""Which images a vessel needs, and in which order: the first, plain planner.

Pure: a job and a manifest in, steps and their order out. It takes the way that
is always right where it is open, and refuses where more than that would be
needed: it looks for no stepping stones over several versions of one type.

Rules that hold for every plan: a need holds before the image that has it is
loaded; a card carries one image type; no card carries two versions of one type
for one model; units that stand in for each other are done one after the other.

Source: common practice, no published source: a bootloader goes on a card of its
own before the application that needs it.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError, NoPlanError
from cardprep.job.visit import Job, Unit
from cardprep.manifest.model import ImageFacts, Manifest, Need
from cardprep.terms import APPLICATION, BOOTLOADER, USUAL_TYPES, ImageType, Version

_DEPTH_LIMIT = 16


@dataclass(frozen=True, slots=True)
class Step:
    """One image loaded into one unit; `unit` is its number in the job, from 0."""

    unit: int
    image: ImageFacts


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
        levels: dict[tuple[int, int, str], list[Step]] = {}
        for number in wave:
            for level, image in _UnitPlan(job, job.units[number], manifest).run():
                key = (level, _rank(image.type), image.type.word)
                levels.setdefault(key, []).append(Step(number, image))
        for key in sorted(levels):
            stages.extend(_cards(levels[key]))
    return Plan(tuple(stages))


def _waves(job: Job) -> list[list[int]]:
    """Return unit numbers in groups, no two units of one role in the same group."""
    waves: list[list[int]] = []
    count: dict[str, int] = {}
    for number, unit in enumerate(job.units):
        place = count.get(unit.role, 0)
        count[unit.role] = place + 1
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


# --- one unit


def _rank(image_type: ImageType) -> int:
    """Return the usual place of a type among those that need nothing of each other."""
    return USUAL_TYPES.index(image_type) if image_type in USUAL_TYPES else len(USUAL_TYPES)


class _UnitPlan:
    def __init__(self, job: Job, unit: Unit, manifest: Manifest) -> None:
        self._job = job
        self._unit = unit
        self._manifest = manifest
        self._levels: dict[str, tuple[int, ImageFacts]] = {}

    def run(self) -> list[tuple[int, ImageFacts]]:
        if self._manifest.model(self._unit.model) is None:
            raise NoPlanError("plan.unknown-model", model=self._unit.model)
        for word, wanted in self._unit.wanted.items():
            self._bring(self._type(word), wanted, 0)
        self._bootloader_first()
        return list(self._levels.values())

    def _bootloader_first(self) -> None:
        """Keep an application behind the bootloader, also where no need says so."""
        boot, application = (self._levels.get(kind.word) for kind in (BOOTLOADER, APPLICATION))
        if boot is not None and application is not None and application[0] <= boot[0]:
            self._levels[APPLICATION.word] = (boot[0] + 1, application[1])

    def _type(self, word: str) -> ImageType:
        found = self._manifest.image_type(word)
        if found is None:
            raise NoPlanError("plan.unknown-type", model=self._unit.model, type=word)
        return found

    def _now(self, image_type: ImageType) -> Version | None:
        return self._unit.versions.get(image_type.word)

    def _bring(self, image_type: ImageType, wanted: Version, depth: int) -> int:
        """Plan the step to exactly `wanted` and return its level, or -1 if none is needed."""
        now = self._now(image_type)
        if image_type.word in self._levels:
            return self._levels[image_type.word][0]
        if now is not None:
            if self._compare(image_type, now, wanted) == 0:
                return -1
            if self._compare(image_type, now, wanted) > 0:
                raise NoPlanError(
                    "plan.downgrade",
                    model=self._unit.model,
                    type=image_type.word,
                    now=now.text,
                    wanted=wanted.text,
                )
        image = self._image(image_type, wanted)
        self._require_start(image, now)
        return self._add(image, depth)

    def _add(self, image: ImageFacts, depth: int) -> int:
        if depth > _DEPTH_LIMIT:
            raise NoPlanError("plan.circle", image=image.file, version=image.version.text)
        level = 0
        for need in image.needs:
            level = max(level, self._satisfy(image, need, depth) + 1)
        self._levels[image.type.word] = (level, image)
        return level

    def _satisfy(self, image: ImageFacts, need: Need, depth: int) -> int:
        """Return the level of the step after which a need holds, -1 if it holds already."""
        if need.model is not None and need.model != self._unit.model:
            self._require_other(image, need)
            return -1
        now = self._now(need.type)
        wanted = self._unit.wanted.get(need.type.word)
        if wanted is not None:
            if self._compare(need.type, wanted, need.at_least) < 0:
                raise self._unmet(image, need)
            return self._bring(need.type, wanted, depth + 1)
        if now is not None and self._compare(need.type, now, need.at_least) >= 0:
            return -1
        enough = [
            known
            for known in self._released(need.type)
            if self._compare(need.type, known.version, need.at_least) >= 0
            and self._may_start(known, now)
        ]
        if not enough:
            raise self._unmet(image, need)
        return self._bring(need.type, enough[-1].version, depth + 1)

    def _require_other(self, image: ImageFacts, need: Need) -> None:
        """Refuse a need of another unit, or of the display, that does not hold or is not known."""
        found: list[Version | None] = [
            unit.versions.get(need.type.word)
            for unit in self._job.units
            if unit.model == need.model
        ]
        if need.model == self._job.display.model:
            found.append(self._job.display.software)
        order = self._manifest.version_order(need.model or "", need.type)
        for version in found or [None]:
            try:
                holds = version is not None and order.at_least(version, need.at_least)
            except BadValueError as error:
                raise self._unmet(image, need) from error
            if not holds:
                raise self._unmet(image, need)

    # --- images and versions

    def _released(self, image_type: ImageType) -> list[ImageFacts]:
        images = self._manifest.images_for(self._unit.model, image_type)
        return [image for image in images if image.withdrawn is None]

    def _image(self, image_type: ImageType, wanted: Version) -> ImageFacts:
        for image in self._released(image_type):
            if self._compare(image_type, image.version, wanted) == 0:
                return image
        raise NoPlanError(
            "plan.no-image", model=self._unit.model, type=image_type.word, version=wanted.text
        )

    def _may_start(self, image: ImageFacts, now: Version | None) -> bool:
        """Return whether an image may be loaded over what the unit has."""
        if not image.from_versions:
            return True
        return now is not None and any(
            self._compare(image.type, now, start) == 0 for start in image.from_versions
        )

    def _require_start(self, image: ImageFacts, now: Version | None) -> None:
        if not self._may_start(image, now):
            raise NoPlanError(
                "plan.start",
                model=self._unit.model,
                image=image.file,
                starts=", ".join(version.text for version in image.from_versions),
                now="unknown" if now is None else now.text,
            )

    def _unmet(self, image: ImageFacts, need: Need) -> NoPlanError:
        return NoPlanError(
            "plan.need",
            image=image.file,
            version=image.version.text,
            model=need.model or self._unit.model,
            type=need.type.word,
            at_least=need.at_least.text,
        )

    def _compare(self, image_type: ImageType, one: Version, other: Version) -> int:
        order = self._manifest.version_order(self._unit.model, image_type)
        try:
            first, second = order.key(one), order.key(other)
        except BadValueError as error:
            raise NoPlanError(
                "plan.version-order",
                model=self._unit.model,
                type=image_type.word,
                one=one.text,
                other=other.text,
            ) from error
        return (first > second) - (first < second)

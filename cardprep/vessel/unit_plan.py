"""What one unit needs, and what of it comes before what: the planner's part for one unit.

It takes the way that is always right where it is open. It looks for no stepping
stones over several versions of one type, and refuses where they would be needed.

Source: common practice, no published source: a bootloader is loaded before the
application that needs it; where nobody knows which one is there, it is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError, NoPlanError
from cardprep.job.visit import Job, Unit
from cardprep.manifest.model import ImageFacts, Manifest, Need
from cardprep.terms import (
    APPLICATION,
    BOOTLOADER,
    CHART_DATA,
    CONFIGURATION,
    USUAL_TYPES,
    ImageType,
    Version,
)

# What a display's software version says nothing of.
_NO_SOFTWARE = (BOOTLOADER, CONFIGURATION, CHART_DATA)


def rank(image_type: ImageType) -> int:
    """Return the usual place of a type among those that need nothing of each other."""
    return USUAL_TYPES.index(image_type) if image_type in USUAL_TYPES else len(USUAL_TYPES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """An image that a unit is to get.

    before     the words of the types that come first
    now        the version that it takes the place of, None for unknown
    needed_by  the image that needs it, or None if it was asked for
    """

    image: ImageFacts
    before: frozenset[str]
    now: Version | None
    needed_by: ImageFacts | None


class UnitPlan:
    """What one unit is to get, and what of it comes before what."""

    def __init__(self, job: Job, unit: Unit, manifest: Manifest) -> None:
        self._job = job
        self._unit = unit
        self._manifest = manifest
        self._images: dict[str, ImageFacts] = {}
        self._before: dict[str, set[str]] = {}
        self._begun: list[str] = []
        self._needed_by: dict[str, ImageFacts] = {}

    def run(self) -> dict[str, Wanted]:
        """Return what the unit is to get, by the word of its image type."""
        if self._manifest.model(self._unit.model) is None:
            raise NoPlanError("plan.unknown-model", model=self._unit.model)
        types = [self._type(word) for word in self._unit.wanted]
        for image_type in sorted(types, key=lambda known: (rank(known), known.word)):
            self._bring(image_type, self._unit.wanted[image_type.word])
        self._bootloader_first()
        return {
            word: Wanted(
                image=image,
                before=frozenset(self._before[word]),
                now=self._now(image.type),
                needed_by=None if word in self._unit.wanted else self._needed_by.get(word),
            )
            for word, image in self._images.items()
        }

    def _bootloader_first(self) -> None:
        """Keep an application behind the bootloader where no need says otherwise."""
        boot, application = BOOTLOADER.word, APPLICATION.word
        both = boot in self._images and application in self._images
        if both and application not in self._all_before(boot):
            self._before[application].add(boot)

    def _all_before(self, word: str) -> set[str]:
        found = set(self._before[word])
        return found.union(*(self._all_before(earlier) for earlier in found))

    def _type(self, word: str) -> ImageType:
        found = self._manifest.image_type(word)
        if found is None:
            raise NoPlanError("plan.unknown-type", model=self._unit.model, type=word)
        return found

    def _now(self, image_type: ImageType) -> Version | None:
        return self._unit.versions.get(image_type.word)

    def _bring(self, image_type: ImageType, wanted: Version) -> bool:
        """Plan the step to exactly `wanted`; return whether one is needed."""
        now = self._now(image_type)
        if image_type.word in self._images:
            return True
        if now is not None:
            if self._compare(image_type, now, wanted) == 0:
                return False
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
        self._add(image)
        return True

    def _add(self, image: ImageFacts) -> None:
        word = image.type.word
        if word in self._begun:
            raise NoPlanError("plan.circle", image=image.file, version=image.version.text)
        self._begun.append(word)
        before = {need.type.word for need in image.needs if self._satisfy(image, need)}
        self._before[word] = before
        self._images[word] = image

    def _satisfy(self, image: ImageFacts, need: Need) -> bool:
        """Return whether a need holds only after a step of this plan; refuse one that never does.

        What holds already holds for good, because no step goes back.
        """
        if need.model is not None and need.model != self._unit.model:
            self._require_other(image, need)
            return False
        now = self._now(need.type)
        if now is not None and self._compare(need.type, now, need.at_least) >= 0:
            return False
        if need.type == image.type:
            # It lacks a version between, and no unit is brought to two versions of one type.
            raise self._unmet(image, need)
        wanted = self._unit.wanted.get(need.type.word)
        self._needed_by.setdefault(need.type.word, image)
        if wanted is None:
            enough = [
                known.version
                for known in self._released(need.type)
                if self._compare(need.type, known.version, need.at_least) >= 0
                and self._may_start(known, now)
            ]
            wanted = enough[-1] if enough else None
        if wanted is None or self._compare(need.type, wanted, need.at_least) < 0:
            raise self._unmet(image, need)
        return self._bring(need.type, wanted)

    def _require_other(self, image: ImageFacts, need: Need) -> None:
        """Refuse a need of another unit, or of the display, that does not hold or is not known."""
        found: list[Version | None] = [
            unit.versions.get(need.type.word)
            for unit in self._job.units
            if unit.model == need.model
        ]
        if need.model == self._job.display.model and need.type not in _NO_SOFTWARE:
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
        found = [
            image
            for image in self._manifest.images_for(self._unit.model, image_type)
            if self._compare(image_type, image.version, wanted) == 0
        ]
        for image in found:
            if image.withdrawn is None:
                return image
        model, word, version = self._unit.model, image_type.word, wanted.text
        if found:
            given = found[-1].withdrawn or ""
            raise NoPlanError(
                "plan.withdrawn", model=model, type=word, version=version, given=given
            )
        raise NoPlanError("plan.no-image", model=model, type=word, version=version)

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

"""The scales of all models of a visit, each with every version that job or manifest speak of."""

from __future__ import annotations

from collections.abc import Iterable

from cardprep.errors import BadValueError, NoPlanError
from cardprep.job.visit import COMPANION_UNKNOWN, Job, Unit
from cardprep.manifest.model import ImageFacts, Manifest
from cardprep.terms import APPLICATION, ImageType, Version
from cardprep.vessel.scale import Scale

# Model, word of the image type, version.
Spoken = tuple[str, str, Version]


class Scales:
    """The scales of all models, each with every version that job or manifest speak of."""

    def __init__(self, job: Job, manifest: Manifest, spoken: Iterable[Spoken] = ()) -> None:
        """Hear job and manifest; `spoken` are versions that somebody speaks of besides."""
        self._manifest = manifest
        self._spoken: dict[tuple[str, str], set[Version]] = {}
        self._made: dict[tuple[str, str], Scale] = {}
        for unit in job.units:
            self._hear_unit(unit)
        for image in manifest.images:
            self._hear_image(image)
        for model, word, version in spoken:
            self._hear(model, word, (version,))

    def _hear(self, model: str, word: str, versions: Iterable[Version | None]) -> None:
        spoken = self._spoken.setdefault((model, word), set())
        spoken.update(version for version in versions if version is not None)

    def _hear_unit(self, unit: Unit) -> None:
        companion = companion_model(unit, self._manifest)
        told = [(unit.model, unit.versions), (unit.model, unit.wanted)]
        if companion is not None:
            told += [(companion, unit.companion_versions), (companion, unit.companion_wanted)]
        for model, versions in told:
            for word, version in versions.items():
                self._hear(model, word, (version,))

    def _hear_image(self, image: ImageFacts) -> None:
        word = image.type.word
        for model in image.models:
            self._hear(model, word, (image.version, *image.from_versions))
            facts = self._manifest.model(model)
            if facts is not None and facts.companion is not None:
                self._hear(facts.companion.model, APPLICATION.word, image.runs_with)
            for need in image.needs:
                self._hear(need.model or model, need.type.word, (need.at_least,))
        for carried in image.carries:
            self._hear(carried.model, carried.type.word, (carried.version,))

    def of(self, model: str, image_type: ImageType) -> Scale:
        """Return the scale of one type on one model."""
        key = (model, image_type.word)
        if key not in self._made:
            order = self._manifest.version_order(model, image_type)
            spoken = sorted(self._spoken.get(key, ()), key=str)
            try:
                self._made[key] = Scale(order, spoken)
            except BadValueError as error:
                raise NoPlanError(
                    "plan.version-order",
                    model=model,
                    type=image_type.word,
                    found=str(error.parameters.get("found", "")),
                ) from error
        return self._made[key]


def companion_model(unit: Unit, manifest: Manifest) -> str | None:
    """Return the model of the companion that is aboard, or may be; None if there is none."""
    if not unit.may_have_companion:
        return None
    facts = manifest.model(unit.model)
    if unit.companion == COMPANION_UNKNOWN:
        return facts.companion.model if facts is not None and facts.companion else None
    return unit.companion

"""Facts that could be otherwise: each turns a job and a manifest into others with that one change.

Used to say why there is no plan: which facts would have to change to give one. Nothing
here is proposed as harmless, and nothing is changed anywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime

from cardprep.job.visit import NO_COMPANION, Found, Job, Unit
from cardprep.manifest.model import (
    HandedOver,
    ImageFacts,
    Leaves,
    Manifest,
    Minutes,
    Need,
    Presence,
)
from cardprep.manifest.tables import FIRST_DAY
from cardprep.terms import APPLICATION, MIB, ImageType, Version
from cardprep.vessel.change import Change, Facts
from cardprep.vessel.model import UnitModel, VesselModel
from cardprep.vessel.scale import is_known
from cardprep.vessel.scales import companion_model

# Smaller images fit on every card that is sold.
_LARGE = 64 * MIB
_RELEASED = datetime(1980, 1, 1, tzinfo=UTC)


def changes_of_unit(vessel: VesselModel, job: Job, manifest: Manifest, number: int) -> list[Change]:
    """Return the facts about one unit that could be otherwise, in a fixed order."""
    about = _About(vessel.units[number], job, manifest)
    found = [
        *(*about.shelf(), *about.wishes(), *about.images(), *about.unit()),
        *(*about.needs_elsewhere(), *about.unknown()),
    ]
    return list({change.key: change for change in found}.values())


def together() -> Change:
    """Return the change that lets units of one role be out of service together."""

    def apply(job: Job, manifest: Manifest) -> Facts:
        return replace(job, together=True), manifest

    return Change(slug="change.together", unit=None, parameters={}, apply=apply)


class _About:
    """The changes that concern one unit."""

    def __init__(self, model: UnitModel, job: Job, manifest: Manifest) -> None:
        self._model = model
        self._job = job
        self._manifest = manifest
        self._number = model.number
        self._unit = job.units[model.number]
        self._named = f"{self._unit.role} ({self._unit.model})"
        self._images = sorted(
            (image for image in manifest.images if self._unit.model in image.models),
            key=lambda image: (image.type.word, image.file, image.version.text, image.sha256),
        )

    def _of_unit(
        self, slug: str, change: Callable[[Unit], Unit], **parameters: str | int
    ) -> Change:
        number = self._number

        def apply(job: Job, manifest: Manifest) -> Facts:
            units = list(job.units)
            units[number] = change(units[number])
            return replace(job, units=tuple(units)), manifest

        named = {"unit": self._named, **parameters}
        return Change(slug=slug, unit=number, parameters=named, apply=apply)

    def _of_image(
        self,
        slug: str,
        image: ImageFacts,
        change: Callable[[ImageFacts], ImageFacts],
        **parameters: str | int,
    ) -> Change:
        def apply(job: Job, manifest: Manifest) -> Facts:
            images = tuple(
                change(known) if known.sha256 == image.sha256 else known
                for known in manifest.images
            )
            return job, replace(manifest, images=images)

        named = {
            "unit": self._named,
            "model": self._unit.model,
            "type": image.type.word,
            "version": image.version.text,
            **parameters,
        }
        return Change(slug=slug, unit=self._number, parameters=named, apply=apply)

    # --- what is not on the shelf

    def shelf(self) -> Iterator[Change]:
        """Give the images that are missing: for what is wanted, and for what others need."""
        for word, version in sorted(self._unit.wanted.items()):
            image_type = self._manifest.image_type(word)
            if image_type is not None and not self._released(image_type, version, exactly=True):
                yield self._missing("change.shelf", image_type, version)
        for image in self._images:
            for need in image.needs:
                own = need.model in (None, self._unit.model)
                if own and not self._released(need.type, need.at_least, exactly=False):
                    yield self._missing("change.shelf-at-least", need.type, need.at_least)

    def _released(self, image_type: ImageType, version: Version, *, exactly: bool) -> bool:
        order = self._manifest.version_order(self._unit.model, image_type)
        for image in self._images:
            if image.type != image_type or image.withdrawn is not None:
                continue
            same = order.same(image.version, version)
            if same or (not exactly and order.at_least(image.version, version)):
                return True
        return False

    def _missing(self, slug: str, image_type: ImageType, version: Version) -> Change:
        model = self._unit.model
        now = self._unit.versions.get(image_type.word)
        made = ImageFacts(
            file=f"{image_type.code}-{version.text}",
            models=(model,),
            type=image_type,
            version=version,
            released=_RELEASED,
            size=1,
            sha256="0" * 64,
            xxh3_128="0" * 32,
            chunks=("0" * 16,),
            container="opaque",
            needs=(),
            from_versions=(),
            carries=(),
            leaves=Leaves.RUNNING,
            minutes=Minutes(low=0, high=0),
            known_by=HandedOver(by="-", on=FIRST_DAY),
            list_checked=None,
            withdrawn=None,
            runs_with=self._handset_versions(),
        )

        def apply(job: Job, manifest: Manifest) -> Facts:
            return job, replace(manifest, images=(*manifest.images, made))

        return Change(
            slug=slug,
            unit=self._number,
            parameters={
                "unit": self._named,
                "model": model,
                "type": image_type.word,
                "version": version.text,
                "now": "" if now is None else now.text,
            },
            apply=apply,
        )

    def _handset_versions(self) -> tuple[Version, ...]:
        """Return every version of the handset that is spoken of."""
        found: list[Version] = []
        for slot in range(self._model.own, len(self._model.slots)):
            if self._model.slots[slot] == APPLICATION.word:
                scale = self._model.scales[slot]
                found += scale.versions(scale.unknown)
        return tuple(found)

    # --- what the manifest says of images

    def images(self) -> Iterator[Change]:
        """Give what images on the shelf do not allow."""
        for image in self._images:
            if image.withdrawn is not None:
                yield self._of_image(
                    "change.withdrawn",
                    image,
                    lambda known: replace(known, withdrawn=None),
                    given=image.withdrawn,
                )
                continue
            if image.from_versions:
                yield self._of_image(
                    "change.starts",
                    image,
                    lambda known: replace(known, from_versions=()),
                    starts=", ".join(version.text for version in image.from_versions),
                )
            if image.size > _LARGE:
                yield self._of_image(
                    "change.room", image, lambda known: replace(known, size=1), size=image.size
                )
            if not image.from_empty:
                yield self._of_image(
                    "change.from-empty", image, lambda known: replace(known, from_empty=True)
                )
            yield from self._with_handset(image)

    def _with_handset(self, image: ImageFacts) -> Iterator[Change]:
        versions = self._handset_versions()
        companion = companion_model(self._unit, self._manifest)
        if companion is None or image.type != APPLICATION or not versions:
            return
        if any(carried.model == companion for carried in image.carries):
            return
        yield self._of_image(
            "change.runs-with",
            image,
            lambda known: replace(known, runs_with=versions),
            handset=companion,
        )

    # --- what the job says of the unit

    def unit(self) -> Iterator[Change]:
        """Give what is told of the unit and its handset."""
        if self._unit.found is Found.OFF_NETWORK:
            yield self._of_unit("change.network", lambda unit: replace(unit, found=Found.RUNNING))
        for word, version in sorted(self._unit.wanted.items()):
            now = self._unit.versions.get(word)
            if now is not None and word not in self._unit.may_fall and self._falls(word):
                yield self._of_unit(
                    "change.downgrade",
                    _falling(word),
                    type=word,
                    now=now.text,
                    wanted=version.text,
                )
        facts = self._manifest.model(self._unit.model)
        companion = None if facts is None else facts.companion
        is_optional = companion is not None and companion.presence is Presence.OPTIONAL
        if self._model.has_companion and is_optional:
            yield self._of_unit(
                "change.no-handset",
                lambda unit: replace(
                    unit, companion=NO_COMPANION, companion_versions={}, companion_wanted={}
                ),
            )
        if self._unit.displays:
            yield self._of_unit("change.reach", lambda unit: replace(unit, displays=()))

    def _falls(self, word: str) -> bool:
        slot = self._model.slots.index(word)
        return self._model.goal[slot] < self._model.start[slot]

    def wishes(self) -> Iterator[Change]:
        """Give for each wish that a need is above what could be wanted instead."""
        for image in self._images:
            for need in image.needs:
                wanted = self._unit.wanted.get(need.type.word)
                if wanted is None or need.model not in (None, self._unit.model):
                    continue
                order = self._manifest.version_order(self._unit.model, need.type)
                if order.at_least(wanted, need.at_least):
                    continue
                enough = [
                    other.version
                    for other in self._images
                    if other.type == need.type and order.at_least(other.version, need.at_least)
                ]
                for version in dict.fromkeys([*enough, need.at_least]):
                    yield self._of_unit(
                        "change.wish",
                        _wishing(need.type.word, version),
                        type=need.type.word,
                        version=version.text,
                        wanted=wanted.text,
                    )

    def unknown(self) -> Iterator[Change]:
        """Give for each version that nobody knows what it could be."""
        for slot, word in enumerate(self._model.slots):
            mask = self._model.start[slot]
            if is_known(mask):
                continue
            own = slot < self._model.own
            wishes = self._unit.wanted if own else self._unit.companion_wanted
            for version in self._model.scales[slot].versions(mask):
                wished = wishes.get(word)
                yield self._of_unit(
                    "change.known" if own else "change.known-handset",
                    _known(word, version, own=own),
                    type=word,
                    version=version.text,
                    is_wanted=int(version == wished),
                )

    # --- what others have to have

    def needs_elsewhere(self) -> Iterator[Change]:
        """Give what the display, or other units, would have to have."""
        readers = {display.model for display in self._job.displays}
        for image in self._images:
            for need in image.needs:
                if need.model is None or need.model == self._unit.model:
                    continue
                if need.model in readers:
                    yield self._display(need)
                elif any(unit.model == need.model for unit in self._job.units):
                    yield self._elsewhere(need)
                else:
                    yield self._aboard(need)

    def _display(self, need: Need) -> Change:
        def apply(job: Job, manifest: Manifest) -> Facts:
            displays = tuple(
                replace(one, software=need.at_least) if one.model == need.model else one
                for one in job.displays
            )
            return replace(job, display=displays[0], further_displays=displays[1:]), manifest

        return Change(
            slug="change.display",
            unit=self._number,
            parameters={"display": need.model or "", "version": need.at_least.text},
            apply=apply,
        )

    def _aboard(self, need: Need) -> Change:
        model = need.model or ""

        def apply(job: Job, manifest: Manifest) -> Facts:
            versions = {need.type.word: need.at_least}
            other = Unit(model=model, role=model, versions=versions, companion=NO_COMPANION)
            return replace(job, units=(*job.units, other)), manifest

        return Change(
            slug="change.aboard",
            unit=self._number,
            parameters={
                "model": model,
                "type": need.type.word,
                "version": need.at_least.text,
            },
            apply=apply,
        )

    def _elsewhere(self, need: Need) -> Change:
        word = need.type.word

        def apply(job: Job, manifest: Manifest) -> Facts:
            units = tuple(
                replace(unit, versions={**unit.versions, word: need.at_least})
                if unit.model == need.model
                else unit
                for unit in job.units
            )
            return replace(job, units=units), manifest

        return Change(
            slug="change.elsewhere",
            unit=self._number,
            parameters={
                "model": need.model or "",
                "type": word,
                "version": need.at_least.text,
            },
            apply=apply,
        )


def _falling(word: str) -> Callable[[Unit], Unit]:
    return lambda unit: replace(unit, may_fall=(*unit.may_fall, word))


def _wishing(word: str, version: Version) -> Callable[[Unit], Unit]:
    return lambda unit: replace(unit, wanted={**unit.wanted, word: version})


def _known(word: str, version: Version, *, own: bool) -> Callable[[Unit], Unit]:
    if own:
        return lambda unit: replace(unit, versions={**unit.versions, word: version})
    return lambda unit: replace(unit, companion_versions={**unit.companion_versions, word: version})

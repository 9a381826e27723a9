"""Check that what a manifest refers to is there, and that nothing is there twice.

It runs only on values that could be read without a mistake, so that one slip is
named once. Names of models are matched exactly, since a label is printed from
them; file names are compared without case, as FAT does.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from cardprep.errors import BadValueError
from cardprep.manifest.mistakes import Mistakes, cut
from cardprep.manifest.model import ImageFacts, Manifest, ModelFacts, SupposedFacts
from cardprep.manifest.places import Path
from cardprep.manifest.tables import nearest
from cardprep.terms import ImageType, Version

_NO_PLACE = {
    "version.not-listed": "manifest.version-not-listed",
    "version.not-dotted": "manifest.version-not-dotted",
}


def check_references(manifest: Manifest, mistakes: Mistakes) -> None:
    """Note every reference that leads nowhere and everything that stands twice."""
    check = _Check(manifest, mistakes)
    check.once("display", "model", [display.model for display in manifest.displays])
    check.once("model", "name", [model.name for model in manifest.models])
    check.once("image", "sha256", [image.sha256 for image in manifest.images])
    for place, model in enumerate(manifest.models):
        check.model(("model", place), model)
    for place, image in enumerate(manifest.images):
        check.image(("image", place), image)
    for place, rule in enumerate(manifest.supposed):
        check.supposed(("supposed", place), rule)
    check.releases()


class _Check:
    """The references of one manifest, looked up in dictionaries made once."""

    def __init__(self, manifest: Manifest, mistakes: Mistakes) -> None:
        self.manifest = manifest
        self.mistakes = mistakes
        self.models = {model.name: model for model in manifest.models}
        self.displays = {display.model for display in manifest.displays}

    def once(self, table: str, key: str, values: Iterable[Hashable]) -> None:
        """Note each value that stands in two tables of one kind."""
        first: dict[Hashable, int] = {}
        for place, value in enumerate(values):
            if value in first:
                self._twice((table, place, key), (table, first[value], key), str(value))
            first.setdefault(value, place)

    def model(self, path: Path, model: ModelFacts) -> None:
        """Check one model: its companion, and the types that it speaks of."""
        companion = model.companion
        if companion is not None:
            there = (*path, "companion", "model")
            if companion.model == model.name:
                self.mistakes.add(there, "manifest.own-companion", found=cut(model.name))
            else:
                self._known_model(there, companion.model)
        for key, types in (("versions", model.versions), ("read_at", model.read_at)):
            for known in types:
                if known not in model.types:
                    self._no_such_type((*path, key, known.word), model.name, known)

    def image(self, path: Path, image: ImageFacts) -> None:
        """Check one image against the models it names."""
        for place, name in enumerate(image.models):
            there = (*path, "models", place)
            if not self._known_model(there, name):
                continue
            if image.type not in self.models[name].types:
                self._no_such_type(there, name, image.type)
                continue
            self._comparable((*path, "version"), name, image.type, image.version)
            for at, version in enumerate(image.from_versions):
                self._comparable((*path, "from_versions", at), name, image.type, version)
        self._needs(path, image)
        self._carries(path, image)
        self._runs_with(path, image)
        self._erases(path, image)

    def supposed(self, path: Path, rule: SupposedFacts) -> None:
        """Check one rule of the shop against the models it names."""
        for place, name in enumerate(rule.models):
            there = (*path, "models", place)
            if self._known_model(there, name) and rule.type not in self.models[name].types:
                self._no_such_type(there, name, rule.type)

    def releases(self) -> None:
        """Note two images of one version for one model, unless one is withdrawn."""
        first: dict[Hashable, int] = {}
        for place, image in enumerate(self.manifest.images):
            if image.withdrawn is not None:
                continue
            for name in image.models:
                release = (name, image.type, self._place_in_order(name, image))
                if release in first:
                    there, before = ("image", place, "version"), ("image", first[release])
                    self._twice(there, (*before, "version"), f"{name} {image.version}")
                    break
                first[release] = place

    def _place_in_order(self, name: str, image: ImageFacts) -> Hashable:
        try:
            return self.manifest.version_order(name, image.type).key(image.version)
        except BadValueError:
            return image.version.text

    def _needs(self, path: Path, image: ImageFacts) -> None:
        for place, need in enumerate(image.needs):
            there = (*path, "needs", place)
            if need.model is None:
                names: tuple[str, ...] = image.models
            elif need.model in self.displays and need.model not in self.models:
                # A display can be known by how it reads cards alone.
                self._comparable((*there, "at_least"), need.model, need.type, need.at_least)
                continue
            else:
                self._known_model((*there, "model"), need.model)
                names = (need.model,)
            for name in names:
                known = self.models.get(name)
                if known is not None and need.type not in known.types:
                    self._no_such_type((*there, "type"), name, need.type)
                elif known is not None:
                    self._comparable((*there, "at_least"), name, need.type, need.at_least)

    def _carries(self, path: Path, image: ImageFacts) -> None:
        companions = self._companions(image)
        for place, carried in enumerate(image.carries):
            there = (*path, "carries", place)
            if not self._known_model((*there, "model"), carried.model):
                continue
            # A companion that is not there is already named at its model.
            if carried.model not in companions and companions <= self.models.keys():
                found, models = cut(carried.model), cut(", ".join(image.models))
                self.mistakes.add(
                    (*there, "model"), "manifest.no-companion", found=found, models=models
                )
            if carried.type not in self.models[carried.model].types:
                self._no_such_type((*there, "type"), carried.model, carried.type)
            else:
                version = carried.version
                self._comparable((*there, "version"), carried.model, carried.type, version)

    def _runs_with(self, path: Path, image: ImageFacts) -> None:
        companions = self._companions(image)
        if image.runs_with and not companions:
            models = cut(", ".join(image.models))
            self.mistakes.add((*path, "runs_with"), "manifest.runs-with-none", models=models)
        for at, version in enumerate(image.runs_with):
            for name in sorted(companions & self.models.keys()):
                self._comparable((*path, "runs_with", at), name, image.type, version)

    def _companions(self, image: ImageFacts) -> set[str]:
        return {
            model.companion.model
            for name in image.models
            if (model := self.models.get(name)) is not None and model.companion is not None
        }

    def _erases(self, path: Path, image: ImageFacts) -> None:
        for at, erased in enumerate(image.erases):
            there = (*path, "erases", at)
            if erased == image.type:
                self.mistakes.add(there, "manifest.erases-itself", found=erased.word)
            if any(need.type == erased and need.model is None for need in image.needs):
                self.mistakes.add(there, "manifest.erases-its-need", found=erased.word)
            for name in image.models:
                known = self.models.get(name)
                if known is not None and erased not in known.types:
                    self._no_such_type(there, name, erased)

    def _known_model(self, path: Path, name: str) -> bool:
        if name in self.models:
            return True
        right = "" if self.mistakes.full else nearest(name, list(self.models))
        if right:
            self.mistakes.add(path, "manifest.model-unknown", found=cut(name), right=right)
        else:
            self.mistakes.add(path, "manifest.model-missing", found=cut(name))
        return False

    def _no_such_type(self, path: Path, name: str, image_type: ImageType) -> None:
        model = self.models[name]
        right = ", ".join(known.word for known in model.types)
        self.mistakes.add(
            path, "manifest.type-not-of-model", found=image_type.word, model=cut(name), right=right
        )

    def _comparable(self, path: Path, name: str, image_type: ImageType, version: Version) -> None:
        try:
            self.manifest.version_order(name, image_type).key(version)
        except BadValueError as error:
            reason = _NO_PLACE[error.reason]
            self.mistakes.add(path, reason, found=version.text, model=cut(name))

    def _twice(self, path: Path, before: Path, found: str) -> None:
        before_line = self.mistakes.line(before)
        self.mistakes.add(path, "manifest.twice", found=cut(found), before=before_line)

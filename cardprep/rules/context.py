"""What a rule may look at: one value, put together before any rule runs.

A file is *identified* by its digest, which proves it; by its name alone, which
is only what it claims to be; by a name that a copy or a browser changed; or not
at all. What stands in a system's own folder claims nothing by its name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING

from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.job.stage import Stage
from cardprep.job.visit import Job
from cardprep.manifest.model import DisplayFacts, ImageFacts, Manifest
from cardprep.rules.names import ending, family_of, meant_names, system_folder
from cardprep.volume.model import Extent

if TYPE_CHECKING:
    from cardprep.layout.compare import Compared


class By(StrEnum):
    """What a file was identified by."""

    DIGEST = "digest"
    NAME = "name"
    LIKENESS = "likeness"


@dataclass(frozen=True, slots=True, kw_only=True)
class Identified:
    """A file of the card and the image that it is, or claims to be.

    claims         images that it is or may be, the likeliest first
    by             None for a file that neither digest nor name tells
    system_folder  the folder of a system's own in which it stands, or None
    """

    file: InspectedFile
    claims: tuple[ImageFacts, ...] = ()
    by: By | None = None
    system_folder: tuple[str, ...] | None = None

    @property
    def image(self) -> ImageFacts | None:
        """The image that it is, or most likely claims to be."""
        return self.claims[0] if self.claims else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadTwice:
    """Blocks of 64 KiB of one file, read a second time because they differ from the image's.

    numbers  of the blocks, lowest first
    card     what the card gave the second time, None for what could not be read
    shelf    what the shelf has there; it was held against the manifest
    """

    numbers: tuple[int, ...]
    card: tuple[bytes | None, ...]
    shelf: tuple[bytes, ...]


# A name can stand twice in a folder, so the place on the card belongs to it.
FilePlace = tuple[int, tuple[str, ...], tuple[Extent, ...]]


def place_of(file: InspectedFile) -> FilePlace:
    """Return what tells one file of a card from all others."""
    return file.volume, file.path, file.extents


@dataclass(frozen=True, kw_only=True)
class Context:
    """All that is known when a card is judged.

    manifest    None if there is none that may be believed
    untrusted   the reason why not, as a slug of the refusals, or None
    stage       what the card ought to be, or None if that is not known
    compared    the comparison with the stage's layout, or None if it was not made
    read_back   whether this is the look at a card that was written a moment ago
    superseded  whether the job was planned anew since the stage was written, and the
                newest plan has no such stage
    job         the visit that it is for, or None if that is not known
    stages      of that visit's newest plan
    reader      model of the display that is to read it, where no stage tells
    other       the stage that its serial number tells, where it ought to be another
    other_compared  the comparison with that one, or None if it was not made
    other_superseded  whether that one is of an older plan of its job
    releases    findings that a person overruled in writing: slug and path
    read_twice  what was read a second time, by the file that it belongs to
    """

    inspection: Inspection
    manifest: Manifest | None = None
    untrusted: str | None = None
    stage: Stage | None = None
    compared: Compared | None = None
    read_back: bool = False
    superseded: bool = False
    job: Job | None = None
    stages: tuple[Stage, ...] = ()
    reader: str | None = None
    other: Stage | None = None
    other_compared: Compared | None = None
    other_superseded: bool = False
    releases: frozenset[tuple[str, str | None]] = frozenset()
    read_twice: Mapping[FilePlace, ReadTwice] = field(default_factory=dict)

    @cached_property
    def files(self) -> tuple[Identified, ...]:
        """The card's files with what they are."""
        return tuple(self._identify(file) for file in self.inspection.files)

    @cached_property
    def images(self) -> tuple[tuple[Identified, ImageFacts], ...]:
        """The files that are or claim to be an image, those in systems' folders left out."""
        return tuple(
            (item, item.image)
            for item in self.files
            if item.image is not None and item.system_folder is None
        )

    @cached_property
    def display(self) -> DisplayFacts | None:
        """What is known of the display that is to read the card."""
        if self.manifest is None:
            return None
        if self.reader is not None:
            return self.manifest.display(self.reader)
        if self.stage is not None:
            return self.manifest.display(self.stage.display)
        return None if self.job is None else self.manifest.display(self.job.display.model)

    @cached_property
    def possible_displays(self) -> tuple[DisplayFacts, ...]:
        """The display that is to read the card, or all that may have been meant."""
        if self.display is not None:
            return (self.display,)
        return () if self.manifest is None else self.manifest.displays

    @cached_property
    def endings(self) -> frozenset[str]:
        """What the names of images end in, without case."""
        known = () if self.manifest is None else self.manifest.images
        return frozenset(end for image in known if (end := ending(image.file)))

    @cached_property
    def by_name(self) -> Mapping[str, tuple[ImageFacts, ...]]:
        """The images of each name, without case."""
        found: dict[str, list[ImageFacts]] = defaultdict(list)
        for image in () if self.manifest is None else self.manifest.images:
            found[image.file.casefold()].append(image)
        return {name: tuple(images) for name, images in found.items()}

    @cached_property
    def by_family(self) -> Mapping[str, tuple[ImageFacts, ...]]:
        """The images of each name without its numbers, for names that have some."""
        found: dict[str, list[ImageFacts]] = defaultdict(list)
        for image in () if self.manifest is None else self.manifest.images:
            family, numbers = family_of(image.file)
            if numbers:
                found[family].append(image)
        return {family: tuple(images) for family, images in found.items()}

    @cached_property
    def by_sha256(self) -> Mapping[str, ImageFacts]:
        """The images by their digests."""
        known = () if self.manifest is None else self.manifest.images
        return {image.sha256: image for image in known}

    def _identify(self, file: InspectedFile) -> Identified:
        folder = system_folder(file.path)
        image = None if file.digests is None else self.by_sha256.get(file.digests.sha256)
        if image is not None:
            return Identified(file=file, claims=(image,), by=By.DIGEST, system_folder=folder)
        if folder is not None:
            return Identified(file=file, system_folder=folder)
        claims = self.by_name.get(file.path[-1].casefold())
        if claims is not None:
            return Identified(file=file, claims=_likeliest_first(file, claims), by=By.NAME)
        for name in meant_names(file.path[-1]):
            if name in self.by_name:
                claims = _likeliest_first(file, self.by_name[name])
                return Identified(file=file, claims=claims, by=By.LIKENESS)
        return Identified(file=file)


def _likeliest_first(file: InspectedFile, claims: tuple[ImageFacts, ...]) -> tuple[ImageFacts, ...]:
    """Order images of one name: makers keep a name for all versions.

    The more blocks are the same, the likelier it is; then one that is in use, then
    the nearer in size.
    """

    def unlikeliness(image: ImageFacts) -> tuple[int, bool, int]:
        chunks = () if file.digests is None else file.digests.chunks
        same = sum(one == other for one, other in zip(image.chunks, chunks, strict=False))
        return -same, image.withdrawn is not None, abs(image.size - file.size)

    return tuple(sorted(claims, key=unlikeliness))

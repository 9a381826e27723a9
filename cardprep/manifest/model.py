"""What the shop promises: the values of a manifest, whole and checked.

Values only; ``text.py`` is the door through which they come from TOML, and every
reference in a value that came through it points to something that is there.
Whether a manifest may be believed is not known here: see ``trust.py``.

Words: an *image* is one update file. A *companion* is a unit that is updated
through another, as a handset through its radio. Sizes are bytes, times UTC.

Source of the usual defaults (one image type per card, which types a display
announces): common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from fnmatch import fnmatchcase

from cardprep.terms import USUAL_TYPES, ImageType, Version, VersionOrder


class FileSystem(StrEnum):
    """A file system that a display reads."""

    FAT16 = "fat16"
    FAT32 = "fat32"
    EXFAT = "exfat"


class PartitionTable(StrEnum):
    """How a display wants its cards divided."""

    MBR = "mbr"
    NONE = "none"


class UnitKind(StrEnum):
    """What sort of equipment a model is."""

    RADIO = "radio"
    HANDSET = "handset"
    DISPLAY = "display"
    INSTRUMENT = "instrument"
    AUTOPILOT = "autopilot"
    OTHER = "other"


class Presence(StrEnum):
    """Whether a unit of this model has its companion aboard."""

    OPTIONAL = "optional"
    ALWAYS = "always"


class Leaves(StrEnum):
    """The state in which an image leaves its unit."""

    RUNNING = "running"
    WAITING = "waiting for application"
    OFF = "switched off"


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayFacts:
    """How one model of display reads cards.

    model            name, as on its back
    file_systems     what it reads, the preferred one first
    partition_table  what it wants
    volume_size      bytes it wants, or None for the smallest usual one that holds the stage
    largest_card     bytes, or None where no limit is known
    types_per_card   how many image types it takes on one card
    folder           where images must stand, parts joined by "/"; "" is the root
    announces        image types which it announces by itself when the card is put in
    writes           patterns of files that it writes on cards itself
    ticks            whether it ticks the units to be updated by itself
    told_to_read     how it is told to read a card that it does not announce, or None
    shows_done       what it shows when a step has worked, or None
    shows_failed     what it shows when a step has not, or None
    """

    model: str
    file_systems: tuple[FileSystem, ...]
    partition_table: PartitionTable
    volume_size: int | None
    largest_card: int | None
    types_per_card: int
    folder: str
    announces: tuple[ImageType, ...]
    writes: tuple[str, ...]
    ticks: bool = False
    told_to_read: str | None = None
    shows_done: str | None = None
    shows_failed: str | None = None

    def may_write(self, path: str) -> bool:
        """Return whether the display itself writes a file of this path ("/" between parts).

        Letters are compared without case, as FAT does; ``*`` and ``?`` do not
        reach over a "/".
        """
        parts = path.casefold().split("/")
        return any(_matches(parts, pattern.casefold().split("/")) for pattern in self.writes)


def _matches(parts: list[str], patterns: list[str]) -> bool:
    return len(parts) == len(patterns) and all(map(fnmatchcase, parts, patterns))


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """The unit that is updated through units of a model; no companion is None."""

    model: str
    presence: Presence


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelFacts:
    """One model of unit. All texts are the shop's own words, for people.

    role             what it does aboard ("fixed VHF radio")
    types            image types that it has
    versions         by image type, the shop's own order, oldest first; else dotted numbers
    seen_off         how it is seen that the unit is off, or None
    seen_in_mode     how it is seen that it is in its programming mode, or None
    read_at          by image type, where its version can be read
    note_before      what to note before a step
    read_back_after  what to read back after a step
    entered_once     what can be entered only once, such as an identity
    """

    name: str
    kind: UnitKind
    role: str
    companion: Companion | None
    types: tuple[ImageType, ...]
    versions: Mapping[ImageType, VersionOrder]
    seen_off: str | None
    seen_in_mode: str | None
    read_at: Mapping[ImageType, str]
    note_before: tuple[str, ...]
    read_back_after: tuple[str, ...]
    entered_once: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What must be there before an image is loaded.

    model     None is the unit itself; a display is the one that reads the card
    at_least  this version or a newer one
    """

    model: str | None
    type: ImageType
    at_least: Version


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Code for a companion inside an image, and the mode the companion must be in."""

    model: str
    type: ImageType
    version: Version
    mode: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Minutes:
    """How long a step usually takes; never a reason to cut power."""

    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MakersChecksum:
    """The maker published a checksum at `address`, and the file matched it."""

    address: str
    on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDownload:
    """The shop fetched the file itself."""

    address: str
    on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportTicket:
    """The maker's support sent the file."""

    ticket: str
    on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedOver:
    """Somebody brought the file."""

    by: str
    on: date


KnownBy = MakersChecksum | OwnDownload | SupportTicket | HandedOver


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageFacts:
    """One released update file.

    file           name as the maker spells it, as it stands on a card
    released       UTC; midnight where only the day is known
    size           bytes
    sha256, xxh3_128, chunks  as in ``cardprep.digests``
    container      slug of the container format; "opaque" is normal
    from_versions  the only versions it may start from; none named, any
    from_empty     whether it may be loaded where nothing is, as after an interrupted step
    erases         other image types of the unit that it empties
    carries        code for companions inside it
    runs_with      further versions of the companion with which it runs
    minutes        usual duration of its step
    list_checked   when the maker's list of releases was last looked at, or None
    withdrawn      the reason, or None
    """

    file: str
    models: tuple[str, ...]
    type: ImageType
    version: Version
    released: datetime
    size: int
    sha256: str
    xxh3_128: str
    chunks: tuple[str, ...] = field(repr=False)
    container: str
    needs: tuple[Need, ...]
    from_versions: tuple[Version, ...]
    carries: tuple[Carried, ...]
    leaves: Leaves
    minutes: Minutes
    known_by: KnownBy
    list_checked: date | None
    withdrawn: str | None
    from_empty: bool = True
    erases: tuple[ImageType, ...] = ()
    runs_with: tuple[Version, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressRange:
    """Addresses of a unit's memory, `high` included."""

    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SupposedFacts:
    """The shop's own rule for files that are no image of the manifest; it proves nothing.

    names      patterns of file names, without folder
    addresses  ranges in one of which all data of a record file lie
    begins     first bytes, lower-case hex
    What is empty is not looked at; of the others, one entry of each must fit.
    """

    type: ImageType
    models: tuple[str, ...]
    names: tuple[str, ...]
    addresses: tuple[AddressRange, ...]
    begins: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """The shop's list of released images and of facts of displays and models.

    serial       grows with every signed text, from 1
    previous     sha256 of the signed text before, None for the first
    image_types  those that the shop added to the usual four
    supposed     the shop's rules for files that are no image of these
    """

    format: int
    serial: int
    previous: str | None
    shop: str
    image_types: tuple[ImageType, ...]
    displays: tuple[DisplayFacts, ...]
    models: tuple[ModelFacts, ...]
    images: tuple[ImageFacts, ...]
    supposed: tuple[SupposedFacts, ...] = ()

    @property
    def all_types(self) -> tuple[ImageType, ...]:
        """The usual image types and the shop's own."""
        return USUAL_TYPES + self.image_types

    def image_type(self, word: str) -> ImageType | None:
        """Return the image type of this word."""
        return next((known for known in self.all_types if known.word == word), None)

    def display(self, model: str) -> DisplayFacts | None:
        """Return what is known of how this model reads cards."""
        return next((known for known in self.displays if known.model == model), None)

    def model(self, name: str) -> ModelFacts | None:
        """Return what is known of this model."""
        return next((known for known in self.models if known.name == name), None)

    def by_sha256(self, sha256: str) -> ImageFacts | None:
        """Return the image with this digest (lower-case hex)."""
        return next((image for image in self.images if image.sha256 == sha256), None)

    def by_file_name(self, name: str) -> tuple[ImageFacts, ...]:
        """Return the images of this file name, compared without case as FAT does.

        There can be several, because makers keep one name for all versions.
        """
        wanted = name.casefold()
        return tuple(image for image in self.images if image.file.casefold() == wanted)

    def images_for(self, model: str, image_type: ImageType) -> tuple[ImageFacts, ...]:
        """Return the images of one type for one model, oldest version first."""
        found = [image for image in self.images if image.type == image_type]
        order = self.version_order(model, image_type)
        return tuple(
            sorted(
                (image for image in found if model in image.models),
                key=lambda image: order.key(image.version),
            )
        )

    def version_order(self, model: str, image_type: ImageType) -> VersionOrder:
        """Return how versions of this type are compared on this model."""
        known = self.model(model)
        return known.versions.get(image_type, VersionOrder()) if known else VersionOrder()

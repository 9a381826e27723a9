"""The values of a stage: one card in one display, one step of a job.

A stage holds all that decides the bytes of its card: the files with their
digests and dates, and how the display wants the volume. Nothing else does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from cardprep.canonical import INTEGER_LIMIT, Json
from cardprep.errors import BadValueError
from cardprep.job.door import Door
from cardprep.job.visit import JobName, require_line
from cardprep.terms import GIB, MIB, ImageType, Version, spelled_out

_SHA256 = re.compile("[0-9a-f]{64}")
_RELEASED = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")

FILE_SYSTEMS = ("fat16", "fat32")
PARTITION_TABLES = ("mbr", "none")
STAGES_MOST = 99
SMALLEST_VOLUME = 16 * MIB
LARGEST_VOLUME = 32 * GIB


@dataclass(frozen=True, slots=True, kw_only=True)
class StageFile:
    """One image on a stage's card.

    path        parts from the root of the card
    size        bytes
    sha256      64 hexadecimal digits
    image_type  what it replaces
    models      units that it is for
    version     as the maker writes it
    released    UTC as "YYYY-MM-DDTHH:MM:SSZ"; becomes the file's time stamp
    """

    path: tuple[str, ...]
    size: int
    sha256: str
    image_type: ImageType
    models: tuple[str, ...]
    version: Version
    released: str

    def __post_init__(self) -> None:
        """Refuse what could not be laid out, checked or printed."""
        if not self.path or not all(self.path):
            raise BadValueError("stage.path")
        if not 0 <= self.size < INTEGER_LIMIT:
            raise BadValueError("stage.size", found=self.size)
        if not _SHA256.fullmatch(self.sha256):
            raise BadValueError("stage.digest", found=spelled_out(self.sha256[:70]))
        if not _RELEASED.fullmatch(self.released):
            raise BadValueError("stage.released", found=spelled_out(self.released[:40]))
        for model in self.models:
            require_line(model, "model")

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "path": list(self.path),
            "size": self.size,
            "sha256": self.sha256,
            "type": self.image_type.word,
            "code": self.image_type.code,
            "models": list(self.models),
            "version": self.version.text,
            "released": self.released,
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> StageFile:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        file = cls(
            path=door.texts("path"),
            size=door.integer("size", 0, INTEGER_LIMIT - 1),
            sha256=door.text("sha256"),
            image_type=ImageType(door.text("type"), door.text("code")),
            models=door.texts("models"),
            version=door.parsed("version", Version, "version"),
            released=door.text("released"),
        )
        door.close()
        return file


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeSettings:
    """How a display wants the volume of its cards.

    file_systems     those that it reads, of "fat16" and "fat32"
    volume_size      bytes, or None for the smallest usual size that holds the stage
    largest_card     bytes of the largest card that it takes, or None
    partition_table  "mbr" or "none"
    """

    file_systems: tuple[str, ...] = FILE_SYSTEMS
    volume_size: int | None = None
    largest_card: int | None = None
    partition_table: str = "mbr"

    def __post_init__(self) -> None:
        """Refuse what cardprep does not lay out."""
        if not self.file_systems or not set(self.file_systems) <= set(FILE_SYSTEMS):
            raise BadValueError("stage.file-systems", found=", ".join(self.file_systems))
        if self.partition_table not in PARTITION_TABLES:
            raise BadValueError("stage.partition-table", found=spelled_out(self.partition_table))
        if self.volume_size is not None:
            if not SMALLEST_VOLUME <= self.volume_size <= LARGEST_VOLUME:
                raise BadValueError("stage.volume-size", found=self.volume_size)
            if self.volume_size % MIB:
                raise BadValueError("stage.volume-size", found=self.volume_size)

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "file_systems": list(self.file_systems),
            "volume_size": self.volume_size,
            "largest_card": self.largest_card,
            "partition_table": self.partition_table,
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> VolumeSettings:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        settings = cls(
            file_systems=door.texts("file_systems"),
            volume_size=door.optional_integer("volume_size", SMALLEST_VOLUME, LARGEST_VOLUME),
            largest_card=door.optional_integer("largest_card", 0, INTEGER_LIMIT - 1),
            partition_table=door.text("partition_table"),
        )
        door.close()
        return settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One card in one display.

    number    from 1
    of        how many stages the job has
    display   model of the display that reads the card
    files     in the order in which they lie on the card
    settings  how the display wants the volume
    layout    version of the layout that makes the card
    """

    job: JobName
    number: int
    of: int
    display: str
    files: tuple[StageFile, ...]
    settings: VolumeSettings
    layout: int = 1

    def __post_init__(self) -> None:
        """Refuse a stage that no job has."""
        if not 1 <= self.number <= self.of <= STAGES_MOST:
            raise BadValueError("stage.number", found=self.number, of=self.of)
        if not self.files:
            raise BadValueError("stage.empty")
        require_line(self.display, "display")

    @property
    def types(self) -> tuple[ImageType, ...]:
        """The image types on the card, in the order of the files."""
        return tuple(dict.fromkeys(file.image_type for file in self.files))

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "job": str(self.job),
            "number": self.number,
            "of": self.of,
            "display": self.display,
            "files": [file.to_record() for file in self.files],
            "settings": self.settings.to_record(),
            "layout": self.layout,
        }

    @classmethod
    def from_record(cls, record: Json, where: str = "stage") -> Stage:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        stage = cls(
            job=door.parsed("job", JobName.recorded, "job name"),
            number=door.integer("number", 1, STAGES_MOST),
            of=door.integer("of", 1, STAGES_MOST),
            display=door.text("display"),
            files=door.many("files", StageFile.from_record),
            settings=door.one("settings", VolumeSettings.from_record),
            layout=door.integer("layout", 1, 1),
        )
        door.close()
        return stage

"""A stage as bytes: regions that cover a card from its first byte to the last used one.

Each region says by its published name what stands there, so that a difference
found later can be named. What a region holds is either a few bytes followed by
zeros, or one file's content.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.job.stage import Stage
from cardprep.layout.geometry import Geometry

LAYOUT_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A stretch of the card.

    structure  what stands there ("boot sector", "FAT 1", "directory", "file content", ...)
    offset     bytes from the start of the card
    length     bytes
    content    the first bytes; zeros follow up to `length`. Empty for a file's content
    file       number in the stage's files, from 0, or None
    path       the file or folder it belongs to, or None
    """

    structure: str
    offset: int
    length: int
    content: bytes = b""
    file: int | None = None
    path: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All of a stage's card.

    regions  ascending, without gap or overlap, from byte 0
    label    volume label, at most eleven characters
    serial   volume serial number
    """

    stage: Stage
    geometry: Geometry
    regions: tuple[Region, ...]
    label: str
    serial: int

    @property
    def length(self) -> int:
        """Bytes from the first to the last used one; the card's digest is over these."""
        last = self.regions[-1]
        return last.offset + last.length

    @property
    def first_file_offset(self) -> int:
        """Where the first file's content begins; everything before is the tables."""
        return next((r.offset for r in self.regions if r.file is not None), self.length)

    @property
    def card_size(self) -> int:
        """Bytes that a card must have."""
        return self.geometry.card_size

    @property
    def serial_text(self) -> str:
        """The volume's serial number as systems show it."""
        return f"{self.serial >> 16:04X}-{self.serial & 0xFFFF:04X}"

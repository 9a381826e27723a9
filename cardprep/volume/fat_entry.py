"""The two sorts of entry in a FAT folder, 32 bytes each, as stored.

Nothing here decides what an entry means for a card; ``fat_folder.py`` puts long
and short entries together.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT
Directory Structure" and "FAT Long Directory Entries". The case bits of byte 12
are common practice, seen in cards written by mtools.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from cardprep.errors import NotFatError
from cardprep.volume.fat_names import UNITS_PER_ENTRY

LENGTH = 32
END = 0x00
DELETED = 0xE5

READ_ONLY = 0x01
HIDDEN = 0x02
SYSTEM = 0x04
VOLUME_LABEL = 0x08
FOLDER = 0x10
ARCHIVE = 0x20
LONG_NAME = 0x0F
_LONG_NAME_MASK = 0x3F

LAST_LONG = 0x40
_ORDER_MASK = 0x3F

_SHORT = struct.Struct("<11sBBBHHHHHHHI")
_LONG = struct.Struct("<B10sBBB12sH4s")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortEntry:
    """A file, a folder or the volume's label. Published names in brackets.

    name             eleven bytes                    [DIR_Name]
    attributes       bits                            [DIR_Attr]
    case_bits        08 base, 10 extension lower     [DIR_NTRes]
    created          tenths byte, time, date words   [DIR_CrtTimeTenth, CrtTime, CrtDate]
    accessed         date word                       [DIR_LstAccDate]
    modified         time and date words             [DIR_WrtTime, DIR_WrtDate]
    first_cluster    0 for an empty file             [DIR_FstClusHI, DIR_FstClusLO]
    size             bytes, 0 for a folder           [DIR_FileSize]
    """

    name: bytes
    attributes: int
    case_bits: int = 0
    created: tuple[int, int, int] = (0, 0, 0)
    accessed: int = 0
    modified: tuple[int, int] = (0, 0)
    first_cluster: int = 0
    size: int = 0

    @classmethod
    def parse(cls, raw: bytes) -> ShortEntry:
        """Read 32 bytes; NotFatError for another number of them."""
        _require_length(raw)
        name, attributes, case_bits, tenths, time, date, accessed, high, mtime, mdate, low, size = (
            _SHORT.unpack(raw)
        )
        return cls(
            name=name,
            attributes=attributes,
            case_bits=case_bits,
            created=(tenths, time, date),
            accessed=accessed,
            modified=(mtime, mdate),
            first_cluster=high << 16 | low,
            size=size,
        )

    def to_bytes(self) -> bytes:
        """Return the 32 bytes."""
        return _SHORT.pack(
            self.name,
            self.attributes,
            self.case_bits,
            *self.created,
            self.accessed,
            self.first_cluster >> 16,
            *self.modified,
            self.first_cluster & 0xFFFF,
            self.size,
        )

    @property
    def is_label(self) -> bool:
        """Whether it names the volume."""
        return bool(self.attributes & VOLUME_LABEL)

    @property
    def is_folder(self) -> bool:
        """Whether it is a folder."""
        return bool(self.attributes & FOLDER)


@dataclass(frozen=True, slots=True, kw_only=True)
class LongEntry:
    """A piece of a long name. Published names in brackets.

    order          1 for the first piece, 40h added on the last  [LDIR_Ord]
    units          thirteen UTF-16 units                         [LDIR_Name1 to 3]
    entry_type     0                                             [LDIR_Type]
    checksum       over the short name's bytes                   [LDIR_Chksum]
    first_cluster  0                                             [LDIR_FstClusLO]
    """

    order: int
    units: tuple[int, ...]
    entry_type: int = 0
    checksum: int
    first_cluster: int = 0
    attributes: int = LONG_NAME

    @classmethod
    def parse(cls, raw: bytes) -> LongEntry:
        """Read 32 bytes; NotFatError for another number of them."""
        _require_length(raw)
        order, one, attributes, kind, checksum, two, cluster, three = _LONG.unpack(raw)
        return cls(
            order=order,
            units=struct.unpack(f"<{UNITS_PER_ENTRY}H", one + two + three),
            entry_type=kind,
            checksum=checksum,
            first_cluster=cluster,
            attributes=attributes,
        )

    def to_bytes(self) -> bytes:
        """Return the 32 bytes."""
        packed = struct.pack(f"<{UNITS_PER_ENTRY}H", *self.units)
        return _LONG.pack(
            self.order,
            packed[:10],
            self.attributes,
            self.entry_type,
            self.checksum,
            packed[10:22],
            self.first_cluster,
            packed[22:],
        )

    @property
    def is_last(self) -> bool:
        """Whether it is the last piece, which stands first."""
        return bool(self.order & LAST_LONG)

    @property
    def number(self) -> int:
        """Number of the piece, from 1."""
        return self.order & _ORDER_MASK


def parse_entry(raw: bytes) -> ShortEntry | LongEntry:
    """Read 32 bytes as whichever of the two sorts they are; NotFatError as above."""
    _require_length(raw)
    if raw[11] & _LONG_NAME_MASK == LONG_NAME:
        return LongEntry.parse(raw)
    return ShortEntry.parse(raw)


def _require_length(raw: bytes) -> None:
    if len(raw) != LENGTH:
        raise NotFatError("fat.entry-length", got=len(raw), wanted=LENGTH)

"""The entries of an exFAT folder, 32 bytes each, as stored.

Nothing here decides what an entry means for a card; ``exfat_folder.py`` puts
the entries of one file together.

Words: an entry is *primary*, or *secondary* to the primary one before it; all of
one file are its *entry set*. An entry that is *benign* may be passed over by who
does not know it, one that is *critical* may not.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7.
"""

from __future__ import annotations

import struct
from dataclasses import Field, dataclass
from typing import Any, ClassVar, Self

from cardprep.errors import NotFatError

LENGTH = 32
END = 0x00
IN_USE = 0x80
SECONDARY = 0x40
BENIGN = 0x20

BITMAP = 0x81
UPCASE = 0x82
LABEL = 0x83
FILE = 0x85
STREAM = 0xC0
NAME = 0xC1

READ_ONLY = 0x01
HIDDEN = 0x02
SYSTEM = 0x04
FOLDER = 0x10
ARCHIVE = 0x20

ALLOCATION_POSSIBLE = 0x01
NO_FAT_CHAIN = 0x02
SECOND_BITMAP = 0x01

UNITS_PER_NAME = 15
MOST_LABEL_UNITS = 11


class _Entry:
    """What all sorts of entry have in common: fields in stored order behind one another."""

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]
    FORM: ClassVar[struct.Struct]

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Read 32 bytes; NotFatError for another number of them."""
        if len(raw) != LENGTH:
            raise NotFatError("exfat.entry-length", got=len(raw), wanted=LENGTH)
        return cls(**dict(zip(cls.__dataclass_fields__, cls.FORM.unpack(raw), strict=True)))

    def to_bytes(self) -> bytes:
        """Return the 32 bytes."""
        return self.FORM.pack(*(getattr(self, name) for name in self.__dataclass_fields__))


@dataclass(frozen=True, slots=True, kw_only=True)
class FileEntry(_Entry):
    """A file or folder. Published names in brackets.

    entry_type   85, or 05 when deleted                    [EntryType]
    secondaries  entries behind this one, 2 to 18          [SecondaryCount]
    checksum     over all entries of the set               [SetChecksum]
    attributes   bits as FAT has them                      [FileAttributes]
    created, modified, accessed  date and time     [CreateTimestamp and so on]
    created_hundredths, modified_hundredths  0 to 199  [Create10msIncrement and so on]
    created_zone, modified_zone, accessed_zone     [CreateUtcOffset and so on]
    """

    entry_type: int = FILE
    secondaries: int
    checksum: int = 0
    attributes: int = ARCHIVE
    reserved: int = 0
    created: int = 0
    modified: int = 0
    accessed: int = 0
    created_hundredths: int = 0
    modified_hundredths: int = 0
    created_zone: int = 0
    modified_zone: int = 0
    accessed_zone: int = 0
    reserved_end: bytes = bytes(7)

    FORM = struct.Struct("<BBHHHIIIBBBBB7s")

    @property
    def is_folder(self) -> bool:
        """Whether it is a folder."""
        return bool(self.attributes & FOLDER)


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamEntry(_Entry):
    """Where a file's content lies. Published names in brackets.

    entry_type     C0, or 40 when deleted                       [EntryType]
    flags          01 allocation possible, 02 no FAT chain      [GeneralSecondaryFlags]
    name_length    UTF-16 units, 1 to 255                       [NameLength]
    name_hash      over the name in upper case                  [NameHash]
    valid_length   bytes that were written; zeros behind them   [ValidDataLength]
    first_cluster  0 for an empty file                          [FirstCluster]
    size           bytes                                        [DataLength]
    """

    entry_type: int = STREAM
    flags: int = ALLOCATION_POSSIBLE | NO_FAT_CHAIN
    reserved: int = 0
    name_length: int
    name_hash: int = 0
    reserved_middle: int = 0
    valid_length: int
    reserved_end: int = 0
    first_cluster: int
    size: int

    FORM = struct.Struct("<BBBBHHQIIQ")

    @property
    def is_contiguous(self) -> bool:
        """Whether the clusters lie one behind the other and the FAT says nothing of them."""
        return bool(self.flags & NO_FAT_CHAIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class NameEntry(_Entry):
    """A piece of a file's name: fifteen UTF-16 units in 30 bytes [FileName]."""

    entry_type: int = NAME
    flags: int = 0
    units: bytes

    FORM = struct.Struct("<BB30s")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelEntry(_Entry):
    """The volume's label: number of units [CharacterCount] and 22 bytes [VolumeLabel]."""

    entry_type: int = LABEL
    count: int
    units: bytes
    reserved: bytes = bytes(8)

    FORM = struct.Struct("<BB22s8s")

    @property
    def is_possible(self) -> bool:
        """Whether it has no more units than there is room for."""
        return self.count <= MOST_LABEL_UNITS

    @property
    def text(self) -> str:
        """The label; a lone surrogate stays one."""
        count = min(self.count, MOST_LABEL_UNITS)
        return self.units[: 2 * count].decode("utf-16-le", "surrogatepass")


@dataclass(frozen=True, slots=True, kw_only=True)
class BitmapEntry(_Entry):
    """Where an allocation bitmap lies. Published names in brackets.

    flags          01 for the second one, of TexFAT   [BitmapFlags]
    first_cluster                                     [FirstCluster]
    size           bytes                              [DataLength]
    """

    entry_type: int = BITMAP
    flags: int = 0
    reserved: bytes = bytes(18)
    first_cluster: int
    size: int

    FORM = struct.Struct("<BB18sIQ")


@dataclass(frozen=True, slots=True, kw_only=True)
class UpcaseEntry(_Entry):
    """Where the up-case table lies. Published names in brackets.

    checksum       over the table's bytes   [TableChecksum]
    first_cluster                           [FirstCluster]
    size           bytes                    [DataLength]
    """

    entry_type: int = UPCASE
    reserved: bytes = bytes(3)
    checksum: int
    reserved_middle: bytes = bytes(12)
    first_cluster: int
    size: int

    FORM = struct.Struct("<B3sI12sIQ")


def set_checksum(entries: bytes) -> int:
    """Return the 16-bit sum over an entry set, section 6.3.3; its own two bytes are left out."""
    total = 0
    for at, byte in enumerate(entries):
        if at not in (2, 3):
            total = ((total >> 1) | (total & 1) << 15) + byte & 0xFFFF
    return total

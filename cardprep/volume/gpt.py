"""Read a GUID partition table: its header and entries, the copy of both, and their checks.

The header in LBA 1 and its backup in the last LBA are each judged by
themselves, then compared. The first one is used if it holds, else the backup,
and what is wrong with either is a finding. Nothing is taken from a copy whose
CRCs do not hold. The array of entries is read only as far as a bound allows.

Words: an *LBA* is a sector counted from the start of the card, in the card's
own sector size, here *unit*. A GUID is shown as the standard does, with its
first three fields turned round from how they are stored.

Source: UEFI Specification 2.10, section 5.3, "GUID Partition Table (GPT) Disk
Layout"; Table 5.5 for the header, 5.6 for an entry, 5.7 for the attributes.
"""

from __future__ import annotations

import struct
import uuid
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.fat_boot import SECTOR_SIZES
from cardprep.volume.model import Extent

MARK = b"EFI PART"
REVISION = 0x00010000
HEADER_LENGTH = 92
ENTRY_LENGTH = 128
ENTRIES_USUAL = 128
# The standard wants room for 128 entries of 128 bytes, 16 KiB; nobody has a mebibyte of them.
ARRAY_MOST = 1 << 20
# A card with more partitions than this is nobody's card.
USED_MOST = 128

_HEADER = struct.Struct("<8sIIIIQQQQ16sQIII")
_ENTRY = struct.Struct("<16s16sQQQ72s")
_LEGACY_BOOT = 1 << 2
# Larger than any card by far, and small enough that bytes still fit where numbers are kept.
_LBA_MOST = 1 << 40


@dataclass(frozen=True, slots=True, kw_only=True)
class GuidHeader:
    """A header as stored. Published names in brackets.

    revision      00010000h                                   [Revision]
    length        bytes that the CRC covers, 92 or more       [HeaderSize]
    crc           of the header with this field zero          [HeaderCRC32]
    reserved      zero                                        [Reserved]
    own_lba       where this header stands                    [MyLBA]
    other_lba     where the other one stands                  [AlternateLBA]
    first_usable  first LBA for partitions                    [FirstUsableLBA]
    last_usable   last LBA for partitions                     [LastUsableLBA]
    disk_guid     16 bytes                                    [DiskGUID]
    entries_lba   where the array of entries begins           [PartitionEntryLBA]
    entry_count   entries, used or not                        [NumberOfPartitionEntries]
    entry_length  bytes of an entry: 128, 256, 512 and so on  [SizeOfPartitionEntry]
    entries_crc   of all entries, used or not                 [PartitionEntryArrayCRC32]
    rest          the block behind byte 92
    """

    revision: int = REVISION
    length: int = HEADER_LENGTH
    crc: int = 0
    reserved: int = 0
    own_lba: int
    other_lba: int
    first_usable: int
    last_usable: int
    disk_guid: bytes
    entries_lba: int
    entry_count: int = ENTRIES_USUAL
    entry_length: int = ENTRY_LENGTH
    entries_crc: int
    rest: bytes = b""

    @classmethod
    def parse(cls, block: bytes) -> GuidHeader | None:
        """Read the block of an LBA; None where no header begins with its mark."""
        if len(block) < HEADER_LENGTH or not block.startswith(MARK):
            return None
        names = tuple(cls.__dataclass_fields__)
        values = (*_HEADER.unpack_from(block)[1:], block[HEADER_LENGTH:])
        return cls(**dict(zip(names, values, strict=True)))

    def to_bytes(self) -> bytes:
        """Return the block."""
        names = tuple(self.__dataclass_fields__)[:-1]
        return _HEADER.pack(MARK, *(getattr(self, name) for name in names)) + self.rest

    def computed_crc(self) -> int:
        """Return the CRC-32 of as many bytes as the header says it has."""
        raw = replace(self, crc=0).to_bytes()
        return zlib.crc32(raw[: self.length])

    def sealed(self, entries: bytes) -> GuidHeader:
        """Return the same header with both CRCs for an array of entries."""
        whole = replace(self, entries_crc=zlib.crc32(entries))
        return replace(whole, crc=whole.computed_crc())


@dataclass(frozen=True, slots=True, kw_only=True)
class GuidEntry:
    """One entry of the array, as stored.

    type_guid    16 bytes, all zero when the entry is not used  [PartitionTypeGUID]
    unique_guid  16 bytes                                       [UniquePartitionGUID]
    first_lba                                                   [StartingLBA]
    last_lba     the last one, included                         [EndingLBA]
    attributes   bit 2 marks what an old BIOS starts from       [Attributes]
    name         72 bytes, UTF-16                               [PartitionName]
    rest         what a longer entry has besides
    """

    type_guid: bytes
    unique_guid: bytes = bytes(16)
    first_lba: int = 0
    last_lba: int = 0
    attributes: int = 0
    name: bytes = bytes(72)
    rest: bytes = b""

    @classmethod
    def parse(cls, raw: bytes) -> GuidEntry | None:
        """Read an entry of 128 bytes or more; None where there are fewer."""
        if len(raw) < ENTRY_LENGTH:
            return None
        names = tuple(cls.__dataclass_fields__)
        values = (*_ENTRY.unpack_from(raw), raw[ENTRY_LENGTH:])
        return cls(**dict(zip(names, values, strict=True)))

    def to_bytes(self) -> bytes:
        """Return its bytes."""
        names = tuple(self.__dataclass_fields__)[:-1]
        return _ENTRY.pack(*(getattr(self, name) for name in names)) + self.rest

    @property
    def is_used(self) -> bool:
        """Whether the entry names a partition."""
        return any(self.type_guid)

    @property
    def sectors(self) -> int:
        """How many it claims."""
        return self.last_lba - self.first_lba + 1

    @property
    def is_active(self) -> bool:
        """Whether an old BIOS would start from it."""
        return bool(self.attributes & _LEGACY_BOOT)

    @property
    def text(self) -> str:
        """The name up to its first zero, as stored; not harmless."""
        return self.name.decode("utf-16-le", "replace").partition("\0")[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class GuidTable:
    """The table that a card goes by.

    unit       bytes per LBA
    is_backup  whether it is the backup, because the first one does not hold
    entries    those in use, by number from 1
    """

    header: GuidHeader
    unit: int
    is_backup: bool
    entries: tuple[tuple[int, GuidEntry], ...]


def guid_text(raw: bytes) -> str:
    """Return the 16 stored bytes of a GUID as the standard writes it."""
    return str(uuid.UUID(bytes_le=raw)).upper()


@dataclass(slots=True)
class _Copy:
    """One of the two headers with its array, and what is wrong with it."""

    structure: str
    header: GuidHeader
    entries: bytes = b""
    holds: bool = True
    findings: list[Finding] = field(default_factory=list)

    def bad(self, what: str) -> None:
        self.holds = False
        self.odd(what)

    def odd(self, what: str) -> None:
        self.findings.append(Finding("gpt-damaged", None, self.structure, {"what": what}))


def read_guid_table(sectors: Sectors) -> tuple[GuidTable | None, list[Finding]]:
    """Return the table that holds, or None, and what is wrong with it and with its backup.

    No table and no finding means that there is not a trace of one.
    """
    findings: list[Finding] = []
    first, unit = _first_header(sectors)
    last, unit = _last_header(sectors, (unit,) if unit else units(sectors), first)
    if first is None and last is None:
        return None, []
    if unit != sectors.sector_size:
        what = {"what": "sector-size"}
        findings.append(Finding("partition-table-odd", None, "GPT header", what))
    copies = []
    for structure, header, is_backup in (
        ("GPT header", first, False),
        ("backup GPT header", last, True),
    ):
        if header is None:
            findings.append(Finding("gpt-damaged", None, structure, {"what": "gpt.missing"}))
            continue
        copy = _examined(sectors, unit, structure, header, is_backup=is_backup)
        copies.append((copy, is_backup))
        findings += copy.findings
    sound = [(copy, is_backup) for copy, is_backup in copies if copy.holds]
    if len(sound) == 2:
        findings += _differences(sound[0][0], sound[1][0])
    for copy, is_backup in sound:
        return _table(copy, unit, findings, is_backup=is_backup), findings
    return None, findings


def stale_places(sectors: Sectors, owned: Sequence[Extent]) -> Iterator[tuple[str, int]]:
    """Give structure and byte of headers that no protective MBR leads to.

    owned  stretches that belong to volumes; what stands there is theirs
    """
    for structure, places in (
        ("GPT header", [512, 4096]),
        ("backup GPT header", [_end(sectors, 512), _end(sectors, 4096)]),
    ):
        for at in dict.fromkeys(places):
            inside = any(place.offset <= at < place.offset + place.length for place in owned)
            if not inside and at >= 512 and _header(sectors, at, 512) is not None:
                yield structure, at


def units(sectors: Sectors) -> tuple[int, ...]:
    """Return the sector sizes to try: the one that the card announces first."""
    announced = sectors.sector_size
    return (announced, *(size for size in SECTOR_SIZES if size != announced))


def _end(sectors: Sectors, unit: int) -> int:
    return (sectors.size // unit - 1) * unit


def _header(sectors: Sectors, at: int, length: int) -> GuidHeader | None:
    if at < 0 or at + length > sectors.size:
        return None
    try:
        return GuidHeader.parse(read(sectors, at, length))
    except (ReadFailedError, ShortReadError):
        return None


def _first_header(sectors: Sectors) -> tuple[GuidHeader | None, int]:
    for unit in units(sectors):
        header = _header(sectors, unit, unit)
        if header is not None:
            return header, unit
    return None, 0


def _last_header(
    sectors: Sectors, sizes: Sequence[int], first: GuidHeader | None
) -> tuple[GuidHeader | None, int]:
    """Return the backup and its unit: from the last LBA, or from where the first one says."""
    for unit in sizes:
        header = _header(sectors, _end(sectors, unit), unit)
        if header is not None:
            return header, unit
    unit = sizes[0]
    if first is not None and first.other_lba > 1:
        return _header(sectors, first.other_lba * unit, unit), unit
    return None, unit


def _examined(
    sectors: Sectors, unit: int, structure: str, header: GuidHeader, *, is_backup: bool
) -> _Copy:
    """Return a copy with everything that is wrong with it by itself, and its entries."""
    copy = _Copy(structure, header)
    if not HEADER_LENGTH <= header.length <= unit:
        copy.bad("gpt.length")
    elif header.computed_crc() != header.crc:
        copy.bad("gpt.header-crc")
    end = _end(sectors, unit) // unit
    own_lba, other_lba = (end, 1) if is_backup else (1, end)
    if header.own_lba != own_lba:
        # On a card that was copied to a larger one the backup is where the smaller one ended.
        own = _header(sectors, header.own_lba * unit, unit)
        if is_backup and header.own_lba > 1 and own == header:
            copy.odd("gpt.not-at-end")
        else:
            copy.bad("gpt.own-place")
    if header.other_lba != other_lba:
        copy.odd("gpt.other-place")
    if header.revision != REVISION:
        copy.odd("gpt.revision")
    if header.reserved or any(header.rest):
        copy.odd("gpt.reserved")
    if not 2 <= header.first_usable <= header.last_usable <= end:
        copy.odd("gpt.usable")
    if copy.holds:
        _take_entries(sectors, unit, copy)
    return copy


def _take_entries(sectors: Sectors, unit: int, copy: _Copy) -> None:
    """Read the array of entries into a copy, bounded, and hold it against its CRC."""
    header = copy.header
    size = header.entry_length
    length = size * header.entry_count
    start = header.entries_lba
    if size < ENTRY_LENGTH or size & (size - 1):
        copy.bad("gpt.entry-length")
    elif not 0 < length <= ARRAY_MOST:
        copy.bad("gpt.entry-count")
    elif start < 2 or start * unit + length > sectors.size:
        copy.bad("gpt.entries-place")
    else:
        if start <= header.last_usable and start + -(-length // unit) > header.first_usable:
            copy.odd("gpt.entries-place")
        try:
            copy.entries = read(sectors, start * unit, length)
        except (ReadFailedError, ShortReadError):
            copy.bad("gpt.entries-unreadable")
        else:
            if zlib.crc32(copy.entries) != header.entries_crc:
                copy.bad("gpt.entries-crc")


def _differences(first: _Copy, last: _Copy) -> Iterator[Finding]:
    """Give what the two copies do not have in common, though each of them holds."""
    one, other = first.header, last.header
    for what, same in (
        ("gpt.disk-guid", one.disk_guid == other.disk_guid),
        ("gpt.revision", one.revision == other.revision),
        (
            "gpt.usable",
            (one.first_usable, one.last_usable) == (other.first_usable, other.last_usable),
        ),
        (
            "gpt.entry-count",
            (one.entry_count, one.entry_length) == (other.entry_count, other.entry_length),
        ),
        ("gpt.entries", first.entries == last.entries),
    ):
        if not same:
            yield Finding("gpt-backup-differs", None, last.structure, {"what": what})


def _table(copy: _Copy, unit: int, findings: list[Finding], *, is_backup: bool) -> GuidTable:
    """Return the table of a copy that holds, with findings about single entries."""
    size = copy.header.entry_length
    used = []
    for at in range(0, len(copy.entries), size):
        entry = GuidEntry.parse(copy.entries[at : at + size])
        if entry is not None and entry.is_used:
            used.append((at // size + 1, entry))
    if len(used) > USED_MOST:
        limit = {"limit": USED_MOST, "count": len(used)}
        findings.append(Finding("too-many-partitions", None, "GPT", limit))
    seen = set()
    kept = []
    for number, entry in used[:USED_MOST]:
        name = f"partition {number}"
        if entry.first_lba > entry.last_lba or entry.last_lba > _LBA_MOST:
            findings.append(Finding("partition-table-odd", None, name, {"what": "entry"}))
            continue
        if (
            not copy.header.first_usable <= entry.first_lba <= entry.last_lba
            or entry.last_lba > copy.header.last_usable
        ):
            findings.append(Finding("partition-table-odd", None, name, {"what": "gpt.outside"}))
        if entry.unique_guid in seen:
            findings.append(Finding("partition-table-odd", None, name, {"what": "gpt.twice"}))
        seen.add(entry.unique_guid)
        kept.append((number, entry))
    return GuidTable(header=copy.header, unit=unit, is_backup=is_backup, entries=tuple(kept))

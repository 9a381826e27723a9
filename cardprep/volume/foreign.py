"""Recognise volumes by their own marks, and say what they are; most of them are not read.

A mark is what the file system's published format puts at a fixed place. Label
and identifier are given where they too stand at fixed places; nothing is
followed, decoded or believed beyond that. At most some dozens of pages are read
of a volume, whatever stands in it.

Sources, each for its mark, label and identifier: ext2, ext3, ext4: Linux,
Documentation/filesystems/ext4, "Super Block". F2FS: Linux, f2fs_fs.h. btrfs:
btrfs on-disk format, "Superblock". XFS: XFS Algorithms and Data Structures,
"Superblocks". SquashFS: Linux, squashfs_fs.h. Swap: Linux, swap.h. LUKS: LUKS1
On-Disk Format Specification 1.2.3 and LUKS2 On-Disk Format Specification 1.0.0.
LVM2: util-linux, superblocks/lvm.c. HFS and HFS+: Apple, Inside Macintosh:
Files, and Technical Note TN1150. APFS: Apple File System Reference,
"nx_superblock_t". ISO 9660: ECMA-119, 8.4. UDF: ECMA-167, 2/9 and 3/9. NTFS:
Linux, ntfs3/ntfs.h. exFAT: exFAT File System Specification, 3.1. BitLocker:
libbde, "BitLocker Drive Encryption (BDE) format", volume header.
"""

from __future__ import annotations

import struct
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.protocol import Sectors, read
from cardprep.volume import mbr
from cardprep.volume.model import Extent

EXFAT = "exFAT"
_PAGE = 4096
# Sizes of a page of memory, which decides where a swap area has its mark.
_SWAP_PAGES = (4096, 8192, 16384, 65536)
_SWAP_MARKS = (b"SWAPSPACE2", b"SWAP-SPACE")
_DESCRIPTORS_AT = 32768
_DESCRIPTORS_MOST = 16
_BTRFS_AT = 65536
# The volume that BitLocker shows to systems without it is FAT, and has this in its first sector.
_TO_GO_AT = 424
_TO_GO = uuid.UUID("4967d63b-2e29-4ad8-8399-f6a339e3d001").bytes_le

_EXT3_JOURNAL = 0x0004
# Features that ext3 does not know make it ext4: extents, 64 bits, checksums and so on.
_EXT3_INCOMPATIBLE = 0x0002 | 0x0004 | 0x0010
_EXT3_READ_ONLY = 0x0001 | 0x0002 | 0x0004

_LINUX = frozenset(
    ("ext2", "ext3", "ext4", "F2FS", "btrfs", "XFS", "SquashFS", "LUKS", "LVM2", "swap")
)
_MICROSOFT = frozenset(("FAT12", "FAT16", "FAT32", EXFAT, "NTFS", "BitLocker"))
_APPLE = frozenset(("HFS", "HFS+", "APFS"))
_FATS = frozenset(("FAT12", "FAT16", "FAT32"))
_READ = _FATS | {EXFAT}
# Formatters choose 12 or 16 bits by size and keep the type byte of small FAT.
_OLD_FATS = frozenset(("FAT12", "FAT16"))

# What a partition of a type may hold: by type byte (source: `sfdisk --list-types`), and by GUID
# (source: `sfdisk --label gpt --list-types`; Apple's from Technical Note TN2166). Whatever type
# is not here promises nothing.
PROMISED: Mapping[str, frozenset[str]] = {
    f"{mbr.FAT12:02X}": _OLD_FATS,
    f"{mbr.FAT16_SMALL:02X}": _OLD_FATS,
    f"{mbr.FAT16:02X}": _OLD_FATS,
    f"{mbr.FAT16_LBA:02X}": _OLD_FATS,
    f"{mbr.FAT32_CHS:02X}": frozenset(("FAT32",)),
    f"{mbr.FAT32_LBA:02X}": frozenset(("FAT32",)),
    f"{mbr.EXFAT_OR_NTFS:02X}": frozenset((EXFAT, "NTFS", "BitLocker")),
    f"{mbr.SWAP:02X}": frozenset(("swap",)),
    f"{mbr.LINUX:02X}": _LINUX,
    f"{mbr.LVM:02X}": frozenset(("LVM2",)),
    f"{mbr.HFS:02X}": _APPLE,
    "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7": _MICROSOFT,
    "C12A7328-F81F-11D2-BA4B-00A0C93EC93B": _FATS,
    "0FC63DAF-8483-4772-8E79-3D69D8477DE4": _LINUX,
    "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F": frozenset(("swap",)),
    "E6D6D379-F507-44C2-A23C-238F2A3DF928": frozenset(("LVM2",)),
    "48465300-0000-11AA-AA11-00306543ECAC": frozenset(("HFS", "HFS+")),
    "7C3457EF-0000-11AA-AA11-00306543ECAC": frozenset(("APFS",)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignVolume:
    """A volume that was recognised and not read.

    name        of the file system or container, as it is usually written
    label       as stored, not harmless; empty where there is none at a fixed place
    identifier  UUID or serial number as its own tools write it, or empty
    where       the stretch of the card that there is for it
    reason      why a volume of a kind that is read cannot be, or empty
    """

    name: str
    label: str = ""
    identifier: str = ""
    where: Extent
    reason: str = ""


@dataclass(frozen=True, slots=True)
class _Found:
    name: str
    label: str = ""
    identifier: str = ""


class _View:
    """What stands at places of a volume; nothing where it ends or cannot be read."""

    def __init__(self, sectors: Sectors, start: int, room: int) -> None:
        self._sectors = sectors
        self._start = start
        self._end = max(start, min(start + room, sectors.size))
        self._pages: dict[int, bytes] = {}

    def at(self, offset: int, length: int) -> bytes:
        """Return the bytes from an offset that lie in one page of it; fewer at its end."""
        number, inside = divmod(offset, _PAGE)
        if number not in self._pages:
            self._pages[number] = self._page(number)
        return self._pages[number][inside : inside + length]

    def _page(self, number: int) -> bytes:
        at = self._start + number * _PAGE
        length = min(_PAGE, self._end - at)
        try:
            return read(self._sectors, at, length) if length > 0 else b""
        except (ReadFailedError, ShortReadError):
            return b""


# What a first sector has at bytes 3 to 10 if it is one of a volume, though it ends as a table does.
EXFAT_MARK = b"EXFAT   "
BOOT_MARKS = (EXFAT_MARK, b"NTFS    ", b"-FVE-FS-")


def recognise(sectors: Sectors, start: int, room: int) -> ForeignVolume | None:
    """Return what begins at a byte of the card, or None where no mark is known."""
    view = _View(sectors, start, room)
    for look in _LOOKS:
        found = look(view)
        if found is not None:
            return ForeignVolume(
                name=found.name,
                label=found.label,
                identifier=found.identifier,
                where=Extent(start, room),
            )
    return None


def has_encrypted_part(boot_sector: bytes) -> bool:
    """Whether a FAT volume is only what BitLocker shows to systems that cannot open the rest."""
    return boot_sector[_TO_GO_AT : _TO_GO_AT + 16] == _TO_GO


def contradicts(kind: str, found: str) -> bool:
    """Whether a partition type promises something else than what was found.

    kind  two hexadecimal digits of a type byte, or a GUID

    A type without promise contradicts FAT and exFAT all the same: a display that
    goes by the type does not look for them there.
    """
    promised = PROMISED.get(kind)
    if promised is None:
        return found in _READ
    return found not in promised


def _windows(view: _View) -> _Found | None:
    first = view.at(0, 512)
    mark = first[3:11]
    if mark == b"NTFS    ":
        serial = int.from_bytes(first[72:80], "little")
        return _Found("NTFS", identifier=f"{serial:016X}" if serial else "")
    if mark == b"-FVE-FS-" or has_encrypted_part(first):
        return _Found("BitLocker")
    # Its label stands in its root folder.
    return _Found(EXFAT) if mark == EXFAT_MARK else None


def _containers(view: _View) -> _Found | None:
    first = view.at(0, 512)
    if first.startswith(b"LUKS\xba\xbe") and first[6:8] in (b"\0\1", b"\0\2"):
        label = first[24:72] if first[7] == 2 else b""
        return _Found("LUKS", _text(label), _text(first[168:208]))
    for at in range(0, 2048, 512):
        label = view.at(at, 512)
        if label.startswith(b"LABELONE") and label[24:32] == b"LVM2 001":
            place = int.from_bytes(label[20:24], "little")
            raw = _text(label[place : place + 32])
            groups = (raw[:6], raw[6:10], raw[10:14], raw[14:18], raw[18:22], raw[22:26], raw[26:])
            return _Found("LVM2", identifier="-".join(groups) if len(raw) == 32 else "")
    return None


def _at_the_start(view: _View) -> _Found | None:
    first = view.at(0, 512)
    if first.startswith(b"XFSB"):
        return _Found("XFS", _text(first[108:120]), _uuid(first[32:48]))
    if first[32:36] == b"NXSB":
        return _Found("APFS", identifier=_uuid(first[72:88]))
    if first.startswith((b"hsqs", b"sqsh")):
        return _Found("SquashFS")
    return None


def _ext(view: _View) -> _Found | None:
    block = view.at(1024, 256)
    if block[56:58] != b"\x53\xef":
        return None
    compatible, incompatible, read_only = struct.unpack_from("<III", block.ljust(256, b"\0"), 92)
    name = "ext3" if compatible & _EXT3_JOURNAL else "ext2"
    if incompatible & ~_EXT3_INCOMPATIBLE or read_only & ~_EXT3_READ_ONLY:
        name = "ext4"
    return _Found(name, _text(block[120:136]), _uuid(block[104:120]))


def _others_at_a_kibibyte(view: _View) -> _Found | None:
    block = view.at(1024, 1536)
    if block.startswith(b"\x10\x20\xf5\xf2"):
        label = block[124:1148]
        text = label[: len(label) & ~1].decode("utf-16-le", "replace").partition("\0")[0]
        return _Found("F2FS", text, _uuid(block[108:124]))
    if block[:4] in (b"H+\0\4", b"HX\0\5"):
        return _Found("HFS+")
    if block.startswith(b"BD") and len(block) >= 162:
        if block[124:126] == b"H+":
            return _Found("HFS+")
        return _Found("HFS", block[37 : 37 + min(block[36], 27)].decode("mac-roman"))
    return None


def _swap(view: _View) -> _Found | None:
    for page in _SWAP_PAGES:
        if view.at(page - 10, 10) in _SWAP_MARKS:
            head = view.at(1024, 44)
            return _Found("swap", _text(head[28:44]), _uuid(head[12:28]))
    return None


def _btrfs(view: _View) -> _Found | None:
    block = view.at(_BTRFS_AT, 1024)
    if block[64:72] != b"_BHRfS_M":
        return None
    return _Found("btrfs", _text(block[299:555]), _uuid(block[32:48]))


def _discs(view: _View) -> _Found | None:
    """Look at the descriptors of optical discs: UDF names itself among those of ISO 9660."""
    disc = None
    for step in (2048, 4096):
        for number in range(_DESCRIPTORS_MOST):
            block = view.at(_DESCRIPTORS_AT + number * step, 128)
            mark = block[1:6]
            if mark in (b"NSR02", b"NSR03"):
                return _Found("UDF", disc.label if disc else "")
            if mark == b"CD001" and block[0] == 1 and disc is None:
                disc = _Found("ISO 9660", _text(block[40:72].rstrip(b" ")))
            elif mark not in (b"CD001", b"BEA01", b"BOOT2", b"TEA01", b"CDW02"):
                break
    return disc


_LOOKS: tuple[Callable[[_View], _Found | None], ...] = (
    _windows,
    _containers,
    _at_the_start,
    _ext,
    _others_at_a_kibibyte,
    _swap,
    _btrfs,
    _discs,
)


def _text(raw: bytes) -> str:
    return raw.partition(b"\0")[0].decode("utf-8", "replace")


def _uuid(raw: bytes) -> str:
    return str(uuid.UUID(bytes=raw)) if len(raw) == 16 and any(raw) else ""

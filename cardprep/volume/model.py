"""What a volume holds, as values: files, folders, times, places on the card, damage.

Offsets are bytes from the start of the card, lengths are bytes. Path parts are
text as stored, whatever characters that may be; ``shown`` is the harmless
spelling for people and findings.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.findings import Finding
from cardprep.terms import spelled_out
from cardprep.volume.fat_time import FatTime


@dataclass(frozen=True, slots=True)
class Extent:
    """A stretch of a card."""

    offset: int
    length: int


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeEntry:
    """A file or folder of a volume.

    path        parts from the root
    short       the last part's short name as shown
    size        bytes that the folder entry claims; for a folder, of its clusters
    attributes  bits as FAT stores them
    created, accessed, modified  time stamps of unknown zone, or None
    extents     where the content lies, in file order; together at most `size`
    is_whole    whether the extents hold all of `size` in clusters of its own
    """

    path: tuple[str, ...]
    short: str
    is_folder: bool
    size: int
    attributes: int
    created: FatTime | None
    accessed: FatTime | None
    modified: FatTime | None
    extents: tuple[Extent, ...]
    is_whole: bool

    @property
    def shown(self) -> str:
        """The path in harmless spelling, parts joined by /."""
        return shown_path(self.path)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeletedEntry:
    """What is left of a deleted file's folder entry.

    folder  parts of the folder it stood in
    short   the short name with ? for the lost first character
    """

    folder: tuple[str, ...]
    short: str
    size: int
    modified: FatTime | None
    first_cluster: int


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeFacts:
    """What a volume says of itself.

    file_system    "FAT12", "FAT16" or "FAT32", by the layout that it is read with
    standard_type  the same by the standard's count of clusters
    where          the stretch of the card that it says it fills
    cluster_size, sector_size  bytes
    serial         32-bit number as "1234-ABCD", or None
    label          the root folder's label, or None
    boot_label     the boot sector's label, or None
    free_bytes     by the table itself
    """

    file_system: str
    standard_type: str
    where: Extent
    sector_size: int
    cluster_size: int
    clusters: int
    serial: str | None
    label: str | None
    boot_label: str | None
    free_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """All that was read of a volume except the files' content.

    entries   in folder order, folders before what they hold
    system    stretches that are no file's content: boot area, FATs, folders
    findings  what is wrong with the volume
    """

    facts: VolumeFacts
    entries: tuple[VolumeEntry, ...]
    deleted: tuple[DeletedEntry, ...]
    system: tuple[tuple[str, Extent], ...]
    findings: tuple[Finding, ...]


def shown_path(path: tuple[str, ...]) -> str:
    """Return path parts in harmless spelling, joined by /."""
    return "/".join(spelled_out(part) for part in path)

"""What a volume holds, as values: files, folders, times, places on the card, damage.

Offsets are bytes from the start of the card, lengths are bytes. Path parts are
text as stored, whatever characters that may be; ``shown`` is the harmless
spelling for people and findings.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

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


class Left(StrEnum):
    """What is left on the card of a deleted file's content, if its clusters lay together.

    FREE is all of it, PARTLY the part before a cluster that is in use again. EMPTY is a
    file that had no content, NOWHERE one whose first cluster no volume of this size has.
    """

    FREE = "free"
    PARTLY = "partly"
    IN_USE = "in-use"
    EMPTY = "empty"
    NOWHERE = "nowhere"


@dataclass(frozen=True, slots=True, kw_only=True)
class DeletedEntry:
    """What is left of the folder entry of a deleted file or folder.

    folder         parts of the folder it stood in
    short          the short name, with ? for a lost first character
    long_name      the long name where that is left, or None
    name_is_whole  whether `name` lacks nothing
    first_cluster  as stored; the upper half of it may be lost
    left           what of the content is not overwritten for certain
    guesses        where the content may lie, if its clusters lay one behind the other;
                   the first one may be cut where a cluster is in use again
    """

    folder: tuple[str, ...]
    short: str
    size: int
    modified: FatTime | None
    first_cluster: int
    long_name: str | None = None
    name_is_whole: bool = False
    is_folder: bool = False
    attributes: int = 0
    created: FatTime | None = None
    accessed: FatTime | None = None
    left: Left = Left.NOWHERE
    guesses: tuple[Extent, ...] = ()

    @property
    def name(self) -> str:
        """The long name, or what is left of the short one."""
        return self.short if self.long_name is None else self.long_name

    @property
    def shown(self) -> str:
        """The path in harmless spelling, parts joined by /."""
        return shown_path((*self.folder, self.name))


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeFacts:
    """What a volume says of itself.

    file_system    "FAT12", "FAT16" or "FAT32", by the layout that it is read with, or "exFAT"
    standard_type  the same by the standard's count of clusters, which exFAT has not
    where          the stretch of the card that it says it fills
    cluster_size, sector_size  bytes
    serial         32-bit number as "1234-ABCD", or None
    label          the root folder's label, or None
    boot_label     the boot sector's label, or None; exFAT has none there
    free_bytes     by the table itself, or by the allocation bitmap
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

"""All that was seen on one card in one pass.

Values only. What it means for a job is judged elsewhere; here stands what is
there, with digests, and what could not be looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.digests import FileDigests
from cardprep.findings import Finding
from cardprep.images.report import ContainerReport
from cardprep.medium.protocol import Identity
from cardprep.volume.card import CardContent, Partition
from cardprep.volume.model import DeletedEntry, Extent, VolumeFacts, shown_path


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectedFile:
    """One file of a card, with its content looked at.

    volume      number of the volume, from 0
    path        parts from the root of the volume
    short       short name of the last part as shown, or None in a mounted folder
    size        bytes that the folder claims
    attributes  bits as FAT stores them, 0 in a mounted folder
    modified    "YYYY-MM-DD HH:MM:SS" as the card gives it, of unknown zone, or None
    extents     where the content lies, empty in a mounted folder
    digests     of the whole content, or None if it could not be read whole
    container   what the content is, or None if it could not be read whole
    head        its first bytes, 32 at most
    """

    volume: int
    path: tuple[str, ...]
    short: str | None
    size: int
    attributes: int
    modified: str | None
    extents: tuple[Extent, ...]
    digests: FileDigests | None
    container: ContainerReport | None
    head: bytes = b""

    @property
    def shown(self) -> str:
        """The path in harmless spelling."""
        return shown_path(self.path)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeletedContent:
    """What lies in one of the places where a deleted file's content may be.

    entry      number of the file among all that is deleted, from 0
    where      the place, shorter than the file where a cluster of it is in use again
    digests    of what lies there now, or None if it could not be read
    container  what that is, or None if it could not be read
    """

    entry: int
    where: Extent
    digests: FileDigests | None
    container: ContainerReport | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """What one pass over a card saw.

    identity         the way to the card
    content          partition table and volumes, or None for a mounted folder
    files            in the order of the folders
    folders          paths of all folders
    deleted          what is left of deleted files and folders, in the order of the volumes
    findings         about card, volumes and files, in the order of the card
    past_the_cache   whether the bytes came from the card and not from the system's memory
    bytes_read       bytes that were asked of the medium
    deleted_content  what lies where deleted files may have lain, if that was asked for
    deleted_left     numbers of deleted files that would have been too much to read
    unseen           what this way to the card cannot show, as slugs of ``texts/screens_unseen.py``
    """

    identity: Identity
    content: CardContent | None
    files: tuple[InspectedFile, ...]
    folders: tuple[tuple[str, ...], ...]
    deleted: tuple[DeletedEntry, ...]
    findings: tuple[Finding, ...]
    past_the_cache: bool
    bytes_read: int
    deleted_content: tuple[DeletedContent, ...] = ()
    deleted_left: tuple[int, ...] = ()
    unseen: tuple[str, ...] = ()

    @property
    def volumes(self) -> tuple[VolumeFacts, ...]:
        """What the volumes say of themselves."""
        if self.content is None:
            return ()
        return tuple(volume.facts for volume in self.content.volumes)

    @property
    def partitions(self) -> tuple[Partition, ...]:
        """Entries of the partition table that are in use."""
        return () if self.content is None else self.content.partitions

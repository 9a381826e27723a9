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
class Inspection:
    """What one pass over a card saw.

    identity         the way to the card
    content          partition table and volumes, or None for a mounted folder
    files            in the order of the folders
    folders          paths of all folders
    deleted          what is left of deleted files
    findings         about card, volumes and files, in the order of the card
    past_the_cache   whether the bytes came from the card and not from the system's memory
    bytes_read       bytes that were asked of the medium
    """

    identity: Identity
    content: CardContent | None
    files: tuple[InspectedFile, ...]
    folders: tuple[tuple[str, ...], ...]
    deleted: tuple[DeletedEntry, ...]
    findings: tuple[Finding, ...]
    past_the_cache: bool
    bytes_read: int

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

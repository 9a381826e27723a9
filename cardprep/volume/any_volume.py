"""Read the volume that begins somewhere on a card, or recognise it, or say why there is none.

What is found is gathered for the whole card, so that no place is read twice and
no more volumes are read than a bound allows, however many partitions name them.
"""

from __future__ import annotations

from dataclasses import replace

from cardprep.errors import NotFatError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import CHUNK, SECTOR, spelled_out
from cardprep.volume.fat_boot import LENGTH, BootSector
from cardprep.volume.fat_volume import read_fat_volume
from cardprep.volume.foreign import (
    EXFAT,
    EXFAT_MARK,
    ForeignVolume,
    contradicts,
    has_encrypted_part,
    recognise,
)
from cardprep.volume.gpt import units
from cardprep.volume.model import Extent, Volume

# A card made to trap a reader could name one large volume in hundreds of partitions.
VOLUMES_MOST = 16
# In so many places, evenly spread, a card without a table is looked at before it is called blank,
# and where partitions usually begin: sectors 63, 2048, 8192 and 32768 (common practice).
_PLACES = 64
_USUAL_STARTS = (63 * SECTOR, 2048 * SECTOR, 8192 * SECTOR, 32768 * SECTOR)

Found = Volume | ForeignVolume | Finding


class Volumes:
    """The volumes of a card while it is read, and what is wrong with where they stand.

    read     those that could be read
    foreign  those that were recognised
    """

    def __init__(self, sectors: Sectors, *, into_deleted: bool = False) -> None:
        self._into_deleted = into_deleted
        self.read: list[Volume] = []
        self.foreign: list[ForeignVolume] = []
        self.findings: list[Finding] = []
        self._sectors = sectors
        self._starts: set[int] = set()

    def at(self, start: int, room: int, number: int) -> Found:
        """Return the volume that begins at a byte of the card, or why there is none.

        number  of the partition, 0 for the card itself
        """
        if start in self._starts:
            return about("volume-unreadable", number, what="same-place")
        if len(self.read) >= VOLUMES_MOST:
            return about("volume-unreadable", number, what="too-many-volumes")
        try:
            try:
                deleted = self._into_deleted
                return read_fat_volume(self._sectors, start, room, into_deleted=deleted)
            except NotFatError as error:
                return self._no_fat(start, room, number, error.reason)
        except (ReadFailedError, ShortReadError):
            return about("read-error", number, offset=start)

    def _no_fat(self, start: int, room: int, number: int, reason: str) -> Found:
        """Return the exFAT volume that begins at a byte, or what was recognised there."""
        foreign = recognise(self._sectors, start, room)
        if foreign is None:
            return about("volume-unreadable", number, what=reason)
        if foreign.name != EXFAT:
            return foreign
        # Most cards are FAT, and these files take time to load.
        from cardprep.volume.exfat_volume import read_exfat_volume

        try:
            where, deleted = Extent(start, room), self._into_deleted
            return read_exfat_volume(self._sectors, where, into_deleted=deleted)
        except NotFatError as error:
            return replace(foreign, reason=error.reason)

    def by_sector(self, first: int, count: int, number: int, unit: int) -> tuple[Found, int]:
        """Return what begins at a sector, and the bytes per sector with which it was found.

        A copy of a card with larger sectors counts its LBA in those, and a file does
        not say so; the size that leads to a volume with such sectors is the right one.
        """
        found = self.at(first * unit, count * unit, number)
        for other in units(self._sectors) if isinstance(found, Finding) else ():
            if other != unit and self._has_boot_sector(first * other, other):
                volume = self.at(first * other, count * other, number)
                if isinstance(volume, Volume):
                    return volume, other
        return found, unit

    def keep(self, found: Found, number: int, kind: str | None = None) -> None:
        """Keep what was found, and hold it against the type that the partition has."""
        if isinstance(found, Finding):
            self.findings.append(found)
            return
        if isinstance(found, ForeignVolume):
            start, name = found.where.offset, found.name
            what = found.reason or name
            self.findings.append(about("volume-unreadable", number, what=what))
            self.keep_foreign(found, number)
        else:
            start, name = found.facts.where.offset, found.facts.file_system
            self.read.append(found)
            if self._is_encrypted(start):
                self.findings.append(about("volume-unreadable", number, what="BitLocker"))
                encrypted = ForeignVolume(name="BitLocker", where=found.facts.where)
                self.keep_foreign(encrypted, number)
        self._starts.add(start)
        if kind is not None and contradicts(kind, name):
            self.findings.append(
                about("partition-type-contradicts", number, partition_type=kind, found=name)
            )

    def keep_foreign(self, volume: ForeignVolume, number: int) -> None:
        """Keep a volume that was recognised, with what it says of itself."""
        self.foreign.append(volume)
        label, identifier = spelled_out(volume.label), spelled_out(volume.identifier)
        if label or identifier:
            self.findings.append(
                about(
                    "foreign-volume", number, found=volume.name, label=label, identifier=identifier
                )
            )

    def filling(self, byte: int) -> str | None:
        """Return what a card is called whose first sector is filled with one byte, or None."""
        size = self._sectors.size
        step = max(CHUNK, size // _PLACES // CHUNK * CHUNK)
        places = {*range(0, size, step), *_USUAL_STARTS, max(0, size - CHUNK)}
        for at in sorted(place for place in places if place < size):
            try:
                piece = read(self._sectors, at, min(CHUNK, size - at))
            except (ReadFailedError, ShortReadError):
                self.findings.append(about("read-error", 0, offset=at))
                return None
            if piece.count(byte) != len(piece):
                return "first-blank" if byte == 0 else None
        return "blank" if byte == 0 else "filled"

    def _has_boot_sector(self, start: int, sector_size: int) -> bool:
        try:
            first = read(self._sectors, start, LENGTH)
            if first[3:11] == EXFAT_MARK:
                from cardprep.volume.exfat_boot import ExfatBootSector

                return ExfatBootSector.parse(first).sector_size == sector_size
            return BootSector.parse(first).bytes_per_sector == sector_size
        except (NotFatError, ReadFailedError, ShortReadError):
            return False

    def _is_encrypted(self, start: int) -> bool:
        try:
            return has_encrypted_part(read(self._sectors, start, LENGTH))
        except (ReadFailedError, ShortReadError):
            return False


def about(slug: str, number: int, **parameters: str | int) -> Finding:
    """Return a finding about a partition; number 0 is the card itself."""
    structure = f"partition {number}" if number else "card"
    return Finding(slug, None, structure, parameters)

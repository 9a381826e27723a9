"""Choose the boot region that an exFAT volume is read by, the main one or its backup.

The standard wants the checksum of a region looked at before any of its fields,
and lets a system go by the backup where the main one does not hold.

Source: exFAT File System Specification (Microsoft, 2019), section 3.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from cardprep.errors import NotFatError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.exfat_boot import (
    EXTENDED_SECTORS,
    EXTENDED_SIGNATURE,
    LENGTH,
    NAME,
    REGION_SECTORS,
    SECTOR_SHIFTS,
    ExfatBootSector,
    checksum_holds,
    without_changing,
)


@dataclass(frozen=True, slots=True)
class _Region:
    raw: bytes
    boot: ExfatBootSector | None
    holds: bool


class BootReading:
    """The two boot regions of one volume.

    offset    byte on the card where the volume begins
    findings  what is wrong with the two
    """

    def __init__(self, sectors: Sectors, offset: int) -> None:
        self._sectors = sectors
        self._offset = offset
        self.findings: list[Finding] = []

    def run(self) -> ExfatBootSector:
        """Return the boot sector to go by.

        Raises NotFatError if neither can be right, and ReadFailedError or
        ShortReadError if the first sector cannot be read.
        """
        first = read(self._sectors, self._offset, LENGTH)
        if first[3:11] != NAME:
            raise NotFatError("exfat.no-name")
        try:
            boot = ExfatBootSector.parse(first)
        except NotFatError as error:
            backup = self._any_backup()
            if backup is None:
                raise
            sector = REGION_SECTORS
            self._say("boot-copy-used", "boot sector", reason=error.reason, sector=sector)
            return backup
        return self._choose(boot)

    def _choose(self, boot: ExfatBootSector) -> ExfatBootSector:
        size = boot.sector_size
        main, backup = self._region(0, size), self._region(REGION_SECTORS, size)
        if main is None or backup is None:
            return boot
        for number in EXTENDED_SECTORS:
            if main.raw[(number + 1) * size - 4 : (number + 1) * size] != EXTENDED_SIGNATURE:
                self._say("boot-sector-odd", "boot sector", what="extended", found=number)
        if not main.holds:
            self._say("boot-sector-odd", "boot sector", what="boot-checksum", found=0)
        if not backup.holds:
            self._say("boot-sector-odd", "backup boot sector", what="boot-checksum", found=12)
        one, two = without_changing(main.raw), without_changing(backup.raw)
        if one != two:
            differing = next(at for at, byte in enumerate(one) if byte != two[at])
            number = REGION_SECTORS + differing // size
            self._say("backup-boot-differs", "backup boot sector", sector=number)
        if main.holds or not backup.holds or backup.boot is None:
            return boot
        # The marks of a volume in use stand in the first one only.
        return replace(backup.boot, flags=boot.flags, percent_in_use=boot.percent_in_use)

    def _any_backup(self) -> ExfatBootSector | None:
        """Return the backup whose sectors have the size that it says, if its sum holds."""
        for shift in SECTOR_SHIFTS:
            region = self._region(REGION_SECTORS, 1 << shift, quietly=True)
            if region is not None and region.holds and region.boot is not None:
                return region.boot
        return None

    def _region(self, sector: int, size: int, *, quietly: bool = False) -> _Region | None:
        at = self._offset + sector * size
        try:
            raw = read(self._sectors, at, REGION_SECTORS * size)
        except (ReadFailedError, ShortReadError):
            if not quietly:
                self._say("read-error", "boot area", offset=at)
            return None
        try:
            boot = ExfatBootSector.parse(raw)
        except NotFatError:
            boot = None
        if boot is not None and boot.sector_size != size:
            boot = None
        return _Region(raw, boot, checksum_holds(raw, size))

    def _say(self, slug: str, structure: str, **parameters: str | int) -> None:
        self.findings.append(Finding(slug, None, structure, parameters))

"""Cards for tests: made by outside programs, damaged by hand, read from memory.

Nothing here uses cardprep's own writers or parsers of FAT, so that what is made
here can judge them.
"""

from __future__ import annotations

import hashlib
import os
import struct
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Self

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.protocol import Identity, MediumKind, Sectors, read
from cardprep.volume.card import CardContent
from cardprep.volume.model import VolumeEntry

KIB = 1024
MIB = 1024 * KIB
GIB = 1024 * MIB

# One zone and one character set, whatever the machine has; geometries that no floppy had.
ENVIRONMENT = {
    **os.environ,
    "PATH": os.environ.get("PATH", "") + ":/usr/sbin:/sbin",
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "MTOOLS_SKIP_CHECK": "1",
}


def run(*command: str | Path, status: int = 0, given: str | None = None) -> str:
    """Run an outside program and return what it printed; fail on another exit status."""
    done = subprocess.run(
        [str(part) for part in command],
        env=ENVIRONMENT,
        input=given,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    said = done.stdout + done.stderr
    assert done.returncode == status, f"{command}: {done.returncode}\n{said}"
    return said


@dataclass
class MemorySectors(Sectors):
    """A card that is bytes in memory.

    bad  stretches as start and end that the reader cannot read
    """

    data: bytes | bytearray
    sector_bytes: int = 512
    bad: Sequence[tuple[int, int]] = ()
    reads: list[tuple[int, int]] = field(default_factory=list)

    @property
    def identity(self) -> Identity:
        return Identity(
            name="memory",
            kind=MediumKind.IMAGE_FILE,
            size=len(self.data),
            sector_size=self.sector_bytes,
        )

    @property
    def size(self) -> int:
        return len(self.data)

    @property
    def sector_size(self) -> int:
        return self.sector_bytes

    @property
    def past_the_cache(self) -> bool:
        return True

    def close(self) -> None: ...

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None: ...

    def read_into(self, offset: int, buffer: memoryview) -> None:
        end = offset + len(buffer)
        self.reads.append((offset, end))
        if offset < 0 or end > len(self.data):
            raise ShortReadError(
                "medium.past-the-end",
                name="memory",
                offset=offset,
                wanted=len(buffer),
                size=len(self.data),
            )
        if any(start < end and offset < stop for start, stop in self.bad):
            raise ReadFailedError("medium.read-error", name="memory", offset=offset, cause="EIO")
        buffer[:] = self.data[offset:end]


class FatImage:
    """The bytes of a FAT volume, to be damaged by hand.

    Takes the boot sector apart by itself.
    """

    def __init__(self, data: bytes | bytearray, offset: int = 0) -> None:
        self.data = bytearray(data)
        self.offset = offset
        boot = self.data[offset : offset + 512]
        self.sector, self.per_cluster, self.reserved, self.copies, self.root_entries, small = (
            _numbers("<HBHBHH", boot, 11)
        )
        self.sectors = small or _numbers("<I", boot, 32)[0]
        old_fat = _numbers("<H", boot, 22)[0]
        self.fat_sectors = old_fat or _numbers("<I", boot, 36)[0]
        self.root_cluster = 0 if old_fat else _numbers("<I", boot, 44)[0]
        root_sectors = -(-self.root_entries * 32 // self.sector)
        self.first_root = self.reserved + self.copies * self.fat_sectors
        self.first_data = self.first_root + root_sectors
        self.clusters = (self.sectors - self.first_data) // self.per_cluster
        self.bits = 32 if not old_fat else 12 if self.clusters < 4085 else 16
        self.cluster_size = self.sector * self.per_cluster
        self.fat_at = [
            offset + (self.reserved + copy * self.fat_sectors) * self.sector
            for copy in range(self.copies)
        ]

    @property
    def root(self) -> int:
        """The byte where the root folder begins."""
        if self.root_cluster:
            return self.cluster(self.root_cluster)
        return self.offset + self.first_root * self.sector

    def cluster(self, number: int) -> int:
        """Return the byte where a cluster begins."""
        sector = self.first_data + (number - 2) * self.per_cluster
        return self.offset + sector * self.sector

    def entry(self, cluster: int) -> int:
        """Return the first FAT's entry for a cluster."""
        at = self.fat_at[0] + cluster * self.bits // 8
        if self.bits == 12:
            word = _numbers("<H", self.data, at)[0]
            return word >> 4 if cluster % 2 else word & 0xFFF
        return int.from_bytes(self.data[at : at + self.bits // 8], "little")

    def set_entry(self, cluster: int, value: int, copies: Iterable[int] | None = None) -> None:
        """Set a cluster's entry in all copies of the FAT, or in some."""
        for copy in range(self.copies) if copies is None else copies:
            at = self.fat_at[copy] + cluster * self.bits // 8
            if self.bits == 12:
                word = _numbers("<H", self.data, at)[0]
                word = word & 0xF | value << 4 if cluster % 2 else word & 0xF000 | value
                struct.pack_into("<H", self.data, at, word)
            else:
                size = self.bits // 8
                self.data[at : at + size] = value.to_bytes(size, "little")

    def folder_entry(self, short: str, start: int | None = None) -> int:
        """Return the byte where the folder entry with these eleven characters begins."""
        begin = self.root if start is None else start
        at = self.data.find(short.encode("cp850"), begin)
        while at >= 0 and (at - begin) % 32:
            at = self.data.find(short.encode("cp850"), at + 1)
        assert at >= 0, short
        return at

    def first_cluster(self, short: str) -> int:
        """Return the first cluster in the first folder entry with these eleven characters."""
        return self.entry_cluster(self.folder_entry(short))

    def entry_cluster(self, at: int) -> int:
        """Return the first cluster in the folder entry that begins at a byte."""
        high, low = (_numbers("<H", self.data, at + place)[0] for place in (20, 26))
        return high << 16 | low if self.bits == 32 else low

    def set_first_cluster(self, short: str, cluster: int) -> None:
        at = self.folder_entry(short)
        struct.pack_into("<H", self.data, at + 20, cluster >> 16)
        struct.pack_into("<H", self.data, at + 26, cluster & 0xFFFF)

    def chain(self, first: int) -> list[int]:
        """Return the clusters of an undamaged chain."""
        found = []
        end = {12: 0xFF8, 16: 0xFFF8, 32: 0x0FFFFFF8}[self.bits]
        while first < end:
            found.append(first)
            first = self.entry(first)
        return found

    def medium(self) -> MemorySectors:
        return MemorySectors(self.data)


def _numbers(form: str, data: bytes | bytearray, at: int) -> tuple[int, ...]:
    return struct.unpack_from(form, data, at)


def content(sectors: Sectors, entry: VolumeEntry) -> bytes:
    """Return a file's content, read through its extents."""
    return b"".join(read(sectors, extent.offset, extent.length) for extent in entry.extents)


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def slugs(card: CardContent) -> set[str]:
    return {finding.slug for finding in card.findings}


def paths(card: CardContent) -> dict[str, VolumeEntry]:
    return {entry.shown: entry for volume in card.volumes for entry in volume.entries}


def make_volume(image: Path, size: int, *options: str, files: Path | None = None) -> str:
    """Make an image file with one volume and no partition table; return what mkfs.fat said.

    files  a folder whose content is copied into the volume's root
    """
    with image.open("wb") as new:
        new.truncate(size)
    said = run("mkfs.fat", "--invariant", *options, image)
    if files is not None:
        run("mcopy", "-s", "-m", "-i", image, *sorted(files.iterdir()), "::/")
    return said

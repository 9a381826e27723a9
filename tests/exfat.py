"""exFAT volumes for tests: made by mkfs.exfat, filled through exfat-fuse or entry by entry.

Nothing here uses cardprep's own structures of exFAT, so that what is made here can
judge them. What is filled entry by entry is judged by fsck.exfat.

Source: exFAT File System Specification (Microsoft, 2019).
"""

from __future__ import annotations

import os
import struct
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from cardprep.medium.protocol import read
from cardprep.volume.exfat_volume import read_exfat_volume
from cardprep.volume.model import Extent, Volume, VolumeEntry
from tests.cards import ENVIRONMENT, MIB, MemorySectors, run

STAMP = 0x5C4E6CB5  # 2026-02-14 13:37:42
UTC = 0x80
PATIENCE = 10.0


def make_exfat(image: Path, size: int, *options: str) -> None:
    """Make an image file with one exFAT volume and no partition table."""
    with image.open("wb") as new:
        new.truncate(size)
    run("mkfs.exfat", *options, image)


@contextmanager
def attached(image: Path, sector_size: int = 512) -> Iterator[str]:
    """Give the block device as which an image file can be reached."""
    options = ("--sector-size", str(sector_size), "--find", "--show")
    made = subprocess.run(
        ["losetup", *options, str(image)],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode or not Path("/dev/fuse").exists():
        # Root is promised both; anybody else has the volumes that are filled entry by entry.
        assert os.geteuid() != 0, made.stderr or "there is no /dev/fuse"
        pytest.skip("this user may not make a block device, or mount one")
    device = made.stdout.strip()
    try:
        yield device
    finally:
        run("losetup", "--detach", device)


@contextmanager
def mounted(image: Path, folder: Path, sector_size: int = 512) -> Iterator[Path]:
    """Mount an image file by exfat-fuse, and see that all of it is written in the end."""
    folder.mkdir(exist_ok=True)
    with attached(image, sector_size) as device:
        # Whoever serves it stays in the foreground: when it ends, all is written.
        command = ("mount.exfat-fuse", "-d", device, str(folder))
        quiet = subprocess.DEVNULL
        with subprocess.Popen(command, env=ENVIRONMENT, stdout=quiet, stderr=quiet) as server:
            deadline = time.monotonic() + PATIENCE
            while not folder.is_mount():
                assert server.poll() is None, "mount.exfat-fuse ended"
                assert time.monotonic() < deadline, "mount.exfat-fuse mounts nothing"
                time.sleep(0.01)
            try:
                yield folder
            finally:
                run("umount", folder)
                server.wait(60)


def fsck(image: Path, status: int = 0) -> str:
    """Let fsck.exfat judge an image, and return what it said."""
    return run("fsck.exfat", "-n", image, status=status)


def rotate_sum(data: bytes | bytearray, bits: int, skip: Sequence[int] = ()) -> int:
    """Return the sum of exFAT over bytes, in 16 or 32 bits."""
    total = 0
    for at, byte in enumerate(data):
        if at not in skip:
            total = ((total >> 1) | (total & 1) << bits - 1) + byte & (1 << bits) - 1
    return total


@dataclass(frozen=True, kw_only=True)
class File:
    """How a file is put into an image by `ExfatImage.add`.

    clusters    in file order; they need not be neighbours unless `contiguous`
    valid       valid data length, as large as the data unless given
    attributes  10 for a folder
    """

    name: str
    data: bytes = b""
    clusters: tuple[int, ...] = ()
    contiguous: bool = False
    valid: int | None = None
    attributes: int = 0x20
    stamp: int = STAMP
    hundredths: int = 0
    zone: int = UTC

    def entries(self) -> bytes:
        """Return the file's entry set."""
        units = self.name.encode("utf-16-le", "surrogatepass")
        pieces = [units[at : at + 30].ljust(30, b"\0") for at in range(0, len(units), 30)]
        valid = len(self.data) if self.valid is None else self.valid
        stamps, zones = (self.stamp,) * 3, (self.zone,) * 3
        head = (0x85, 1 + len(pieces), 0, self.attributes, 0, *stamps)
        file = struct.pack("<BBHHHIII5B7x", *head, self.hundredths, self.hundredths, *zones)
        flags = 3 if self.contiguous else 1
        # Right for ASCII only, which is all that is built here.
        name_hash = rotate_sum(self.name.upper().encode("utf-16-le", "surrogatepass"), 16)
        first = self.clusters[0] if self.clusters else 0
        length = (len(units) // 2, name_hash, valid, first, len(self.data))
        stream = struct.pack("<BBxBHxxQ4xIQ", 0xC0, flags, *length)
        names = b"".join(b"\xc1\x00" + piece for piece in pieces)
        return sealed(file + stream + names)


def sealed(entries: bytes) -> bytes:
    """Return an entry set with the checksum that it ought to have."""
    total = rotate_sum(entries, 16, skip=(2, 3))
    return entries[:2] + struct.pack("<H", total) + entries[4:]


class ExfatImage:
    """The bytes of an exFAT volume, to be filled and damaged by hand."""

    def __init__(self, data: bytes | bytearray) -> None:
        self.data = bytearray(data)
        self.fat, self.heap, self.clusters, self.root_cluster = (
            int.from_bytes(self.data[at : at + 4], "little") for at in (80, 88, 92, 96)
        )
        self.sector: int = 1 << self.data[108]
        self.cluster_size: int = self.sector << self.data[109]

    def cluster(self, number: int) -> int:
        """Return the byte where a cluster begins."""
        return self.heap * self.sector + (number - 2) * self.cluster_size

    @property
    def root(self) -> int:
        """The byte where the root folder begins."""
        return self.cluster(self.root_cluster)

    def entry(self, cluster: int) -> int:
        """Return a cluster's entry in the FAT."""
        at = self.fat * self.sector + cluster * 4
        return int.from_bytes(self.data[at : at + 4], "little")

    def set_entry(self, cluster: int, value: int) -> None:
        struct.pack_into("<I", self.data, self.fat * self.sector + cluster * 4, value)

    def system_entry(self, kind: int) -> int:
        """Return the byte where the root's first entry of a kind stands."""
        places = range(self.root, self.root + self.cluster_size, 32)
        return next(at for at in places if self.data[at] == kind)

    def system_file(self, kind: int) -> int:
        """Return the byte where the bitmap (81) or the up-case table (82) begins."""
        at = self.system_entry(kind)
        return self.cluster(int.from_bytes(self.data[at + 20 : at + 24], "little"))

    def mark(self, cluster: int, *, used: bool = True) -> None:
        """Set or clear a cluster's bit in the allocation bitmap."""
        at = self.system_file(0x81) + (cluster - 2 >> 3)
        bit = 1 << (cluster - 2 & 7)
        self.data[at] = self.data[at] | bit if used else self.data[at] & ~bit

    def find(self, name: str) -> int:
        """Return the byte where the entry set of a file begins, by its name's first piece."""
        units = name.encode("utf-16-le")[:30].ljust(30, b"\0")
        at = self.data.find(b"\xc1\x00" + units, self.root)
        assert at >= 0, name
        return at - 64

    def seal(self, at: int) -> None:
        """Give the entry set at a byte the checksum that it ought to have."""
        end = at + 32 * (1 + self.data[at + 1])
        self.data[at:end] = sealed(bytes(self.data[at:end]))

    def seal_boot(self, sector: int = 0) -> None:
        """Give a boot region, the main one or the one from sector 12, its checksum."""
        at = sector * self.sector
        end = at + 11 * self.sector
        total = rotate_sum(self.data[at:end], 32, skip=(106, 107, 112))
        self.data[end : end + self.sector] = struct.pack("<I", total) * (self.sector // 4)

    def set_boot(self, at: int, value: bytes) -> None:
        """Change both boot regions, with their checksums."""
        for sector in (0, 12):
            begin = sector * self.sector + at
            self.data[begin : begin + len(value)] = value
            self.seal_boot(sector)

    def add(self, file: File, folder: int | None = None) -> int:
        """Put a file in; return the byte where its entry set begins.

        folder  byte where the folder begins, the root unless given
        """
        for place, cluster in enumerate(file.clusters):
            part = file.data[place * self.cluster_size : (place + 1) * self.cluster_size]
            at = self.cluster(cluster)
            self.data[at : at + self.cluster_size] = part.ljust(self.cluster_size, b"\0")
            self.mark(cluster)
            if not file.contiguous:
                last = place + 1 == len(file.clusters)
                self.set_entry(cluster, 0xFFFFFFFF if last else file.clusters[place + 1])
        at = self.root if folder is None else folder
        while self.data[at]:
            at += 32
        entries = file.entries()
        self.data[at : at + len(entries)] = entries
        return at

    def medium(self) -> MemorySectors:
        return MemorySectors(self.data)

    def read(self, room: int | None = None) -> Volume:
        """Read the volume with what is under test."""
        length = len(self.data) if room is None else room
        return read_exfat_volume(self.medium(), Extent(0, length))


def said(volume: Volume) -> list[tuple[str, str | None]]:
    """Return slug and path of all findings."""
    return [(finding.slug, finding.path) for finding in volume.findings]


def whats(volume: Volume) -> list[str | int | None]:
    """Return what is odd, by all findings."""
    return [finding.parameters.get("what") for finding in volume.findings]


def by_path(volume: Volume) -> dict[str, VolumeEntry]:
    return {"/".join(entry.path): entry for entry in volume.entries}


def content(image: ExfatImage, entry: VolumeEntry) -> bytes:
    """Return a file's content, read through its extents."""
    medium = image.medium()
    return b"".join(read(medium, extent.offset, extent.length) for extent in entry.extents)


@cache
def empty(size: int = 4 * MIB, cluster_size: int = 4096) -> bytes:
    """Return a volume as mkfs.exfat makes it."""
    with TemporaryDirectory() as folder:
        image = Path(folder) / "volume"
        make_exfat(image, size, "-c", str(cluster_size), "-L", "B238")
        return image.read_bytes()


# What the undamaged volume below holds.
FILES = {
    "ONE.BIN": b"1" * 10_000,
    "TWO.BIN": bytes(range(256)) * 48,
    "EMPTY.BIN": b"",
    "SUB/INNER.BIN": b"i" * 5000,
    "SUB/a name of more than fifteen units.bin": b"d" * 100,
}
FOLDERS = {"SUB"}
ONE, TWO, SUB, INNER, LONG = (10, 11, 12), (20, 22, 21), (30,), (32, 31), (40,)


def built() -> ExfatImage:
    """Return a volume with FILES: one contiguous, others by the FAT, one with a long name."""
    image = ExfatImage(empty())
    image.add(File(name="ONE.BIN", data=FILES["ONE.BIN"], clusters=ONE, contiguous=True))
    image.add(File(name="TWO.BIN", data=FILES["TWO.BIN"], clusters=TWO))
    image.add(File(name="EMPTY.BIN"))
    image.add(File(name="SUB", data=bytes(4096), clusters=SUB, attributes=0x10))
    at = image.cluster(SUB[0])
    image.add(File(name="INNER.BIN", data=FILES["SUB/INNER.BIN"], clusters=INNER), at)
    name = "a name of more than fifteen units.bin"
    image.add(File(name=name, data=FILES["SUB/" + name], clusters=LONG, contiguous=True), at)
    return image


def whole(image: ExfatImage, volume: Volume) -> set[str]:
    """Return the files that are whole, and see that these have their content."""
    found = set()
    for path, entry in by_path(volume).items():
        if entry.is_whole and not entry.is_folder:
            assert content(image, entry) == FILES[path], path
            found.add(path)
    return found


def field(name: str, at: int, value: bytes, *, sealed: bool = True) -> Callable[[ExfatImage], None]:
    """Change bytes of an entry set and, unless told otherwise, mend its checksum."""

    def damage(image: ExfatImage) -> None:
        begin = image.find(name)
        image.data[begin + at : begin + at + len(value)] = value
        if sealed:
            image.seal(begin)

    return damage


def long(value: int) -> bytes:
    """Return a 64-bit number as stored."""
    return struct.pack("<Q", value)


def word(value: int) -> bytes:
    """Return a 32-bit number as stored."""
    return struct.pack("<I", value)

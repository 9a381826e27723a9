"""exFAT volumes that exfat-fuse filled: every name, size, time and byte as it shows them.

Judges: exfat-fuse, and fsck.exfat for each image.
"""

from __future__ import annotations

import datetime
import os
import random
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardprep.terms import KIB, MIB
from cardprep.volume.exfat_time import ExfatTime
from cardprep.volume.model import Extent, Left, Volume
from tests.cards import digest, run
from tests.exfat import ONE, ExfatImage, attached, built, by_path, content, make_exfat, mounted

pytestmark = pytest.mark.oracle

FIRST_STAMP = datetime.datetime(2001, 1, 1, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Shown:
    """A file or folder as the mounted volume shows it."""

    is_folder: bool
    size: int
    modified: datetime.datetime
    sha256: str


def shown(root: Path) -> dict[str, Shown]:
    """Return all that a mounted volume shows, by path."""
    found = {}
    for path in root.rglob("*"):
        facts = path.stat()
        modified = datetime.datetime.fromtimestamp(facts.st_mtime_ns // 10**9, datetime.UTC)
        folder = path.is_dir()
        data = b"" if folder else path.read_bytes()
        size = 0 if folder else facts.st_size
        found[path.relative_to(root).as_posix()] = Shown(folder, size, modified, digest(data))
    return found


def utc(stamp: ExfatTime | None) -> datetime.datetime:
    assert stamp is not None
    assert stamp.offset is not None
    local = datetime.datetime(
        *(stamp.year, stamp.month, stamp.day, stamp.hour, stamp.minute, stamp.second),
        tzinfo=datetime.UTC,
    )
    return local - datetime.timedelta(minutes=stamp.offset)


def seen(image: ExfatImage, volume: Volume) -> dict[str, Shown]:
    """Return the same as it was read from the image."""
    found = {}
    for path, entry in by_path(volume).items():
        assert entry.is_whole, path
        data = b"" if entry.is_folder else content(image, entry)
        size = 0 if entry.is_folder else entry.size
        assert isinstance(entry.modified, ExfatTime)
        found[path] = Shown(entry.is_folder, size, utc(entry.modified), digest(data))
    return found


def held_against(image: Path, folder: Path, sector_size: int = 512) -> Volume:
    """Read an image and hold it against what a new mount of it shows."""
    # An entry set can be longer than 512 bytes, and fsck.exfat 1.2.0 then loses its end in
    # clusters of that size; such a volume has the mount for its only judge.
    if ExfatImage(image.read_bytes()).cluster_size > 512:
        with attached(image, sector_size) as device:
            run("fsck.exfat", "-n", device)
    with mounted(image, folder, sector_size) as root:
        expected = shown(root)
    read = ExfatImage(image.read_bytes())
    volume = read.read()
    assert volume.findings == ()
    assert seen(read, volume) == expected
    return volume


def fill(root: Path, draw: random.Random, count: int) -> None:
    """Put files and folders in whose sizes are around those of clusters."""
    folders = [root]
    for number in range(count):
        folder = draw.choice(folders)
        if number % 7 == 3:
            new = folder / f"folder {number}"
            new.mkdir()
            folders.append(new)
            continue
        size = draw.choice((0, 1, 511, 512, 513, 4095, 4096, 32768, 32769, draw.randrange(200_000)))
        name = draw.choice(("f", "Ümlaut", "小さい", "😀 ", "x" * 100, "y" * 250)) + str(number)
        path = folder / name
        path.write_bytes(draw.randbytes(size))
        when = FIRST_STAMP.timestamp() + draw.randrange(10**9)
        os.utime(path, (when, when))


@pytest.mark.parametrize("cluster_size", [512 * 2**n for n in range(12)])
def test_cluster_sizes(tmp_path: Path, cluster_size: int) -> None:
    image = tmp_path / "volume"
    label = "B238-2 gelb"
    size = max(64 * MIB if cluster_size < MIB else 256 * MIB, 64 * cluster_size)
    make_exfat(image, size, "-c", str(cluster_size), "-L", label)
    with mounted(image, tmp_path / "m") as root:
        fill(root, random.Random(cluster_size), 40)
    volume = held_against(image, tmp_path / "m")
    assert volume.facts.cluster_size == cluster_size
    assert volume.facts.label == label
    assert volume.facts.where.length == size
    assert volume.facts.file_system == "exFAT"


@pytest.mark.parametrize("sector_size", [1024, 2048, 4096])
def test_sector_sizes(tmp_path: Path, sector_size: int) -> None:
    image = tmp_path / "volume"
    with image.open("wb") as new:
        new.truncate(64 * MIB)
    # mkfs.exfat takes the size from the device.
    with attached(image, sector_size) as device:
        run("mkfs.exfat", "-c", "16K", device)
    with mounted(image, tmp_path / "m", sector_size) as root:
        fill(root, random.Random(sector_size), 20)
    volume = held_against(image, tmp_path / "m", sector_size)
    assert (volume.facts.sector_size, volume.facts.cluster_size) == (sector_size, 16 * KIB)


def test_folders_twenty_deep(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 16 * MIB, "-c", "4096")
    with mounted(image, tmp_path / "m") as root:
        folder = root
        for depth in range(20):
            folder = folder / f"level {depth}"
            folder.mkdir()
            (folder / "file.bin").write_bytes(bytes([depth]) * 5000)
    volume = held_against(image, tmp_path / "m")
    assert max(len(entry.path) for entry in volume.entries) == 21


def test_two_thousand_files_in_one_folder(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 32 * MIB, "-c", "4096")
    with mounted(image, tmp_path / "m") as root:
        (root / "many").mkdir()
        for number in range(2000):
            (root / "many" / f"chart cell {number:05d}.bin").write_bytes(b"%d" % number)
    volume = held_against(image, tmp_path / "m")
    assert len(volume.entries) == 2001


def test_fragmented_and_contiguous_files(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 16 * MIB, "-c", "4096")
    draw = random.Random(5)
    with mounted(image, tmp_path / "m") as root:
        (root / "contiguous.bin").write_bytes(draw.randbytes(100_000))
        for _ in range(20):
            for name in ("one", "two", "three"):
                with (root / name).open("ab") as file:
                    file.write(draw.randbytes(9000))
    volume = held_against(image, tmp_path / "m")
    pieces = {path: len(entry.extents) for path, entry in by_path(volume).items()}
    assert pieces["contiguous.bin"] == 1
    assert all(pieces[name] > 10 for name in ("one", "two", "three"))


def test_what_was_deleted(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 16 * MIB, "-c", "4096", "-L", "CHARTS")
    with mounted(image, tmp_path / "m") as root:
        (root / "stays.bin").write_bytes(b"s" * 10_000)
        (root / "folder").mkdir()
        (root / "folder" / "a longer name that went.bin").write_bytes(b"g" * 10_000)
    with mounted(image, tmp_path / "m") as root:
        (root / "folder" / "a longer name that went.bin").unlink()
    volume = held_against(image, tmp_path / "m")
    (gone,) = volume.deleted
    assert (gone.folder, gone.short) == (("folder",), "a longer name that went.bin")
    assert gone.size in (0, 10_000)
    assert isinstance(gone.modified, ExfatTime)


@pytest.mark.parametrize("again", [False, True])
def test_where_deleted_content_may_still_be(again: bool) -> None:
    image = built()
    begin = image.find("ONE.BIN")
    for entry in range(3):
        image.data[begin + 32 * entry] &= 0x7F
    for cluster in ONE:
        image.mark(cluster, used=again and cluster == ONE[1])
    if again:
        image.set_entry(ONE[1], 0xFFFFFFF7)
    volume = image.read()
    assert volume.findings == ()
    (gone,) = volume.deleted
    assert (gone.shown, gone.name_is_whole, gone.size) == ("ONE.BIN", True, 10_000)
    assert gone.left is (Left.PARTLY if again else Left.FREE)
    assert gone.guesses == (Extent(image.cluster(ONE[0]), 4096 if again else 10_000),)


def test_free_bytes_as_statvfs_has_them(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 16 * MIB, "-c", "8K")
    with mounted(image, tmp_path / "m") as root:
        (root / "file").write_bytes(bytes(100 * KIB))
    with mounted(image, tmp_path / "m") as root:
        facts = os.statvfs(root)
    volume = ExfatImage(image.read_bytes()).read()
    assert volume.facts.free_bytes == facts.f_bfree * facts.f_frsize


def test_times_are_stored_with_hundredths_and_zone(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 16 * MIB)
    with mounted(image, tmp_path / "m") as root:
        for second in range(4):
            path = root / str(second)
            path.touch()
            when = FIRST_STAMP.timestamp() + second
            os.utime(path, (when, when))
    volume = held_against(image, tmp_path / "m")
    assert [str(entry.modified) for entry in volume.entries] == [
        f"2001-01-01 00:00:0{second} +00:00" for second in range(4)
    ]

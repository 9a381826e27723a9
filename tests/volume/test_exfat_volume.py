"""One exFAT volume as a whole; every damage alone, with its finding.

Judge where there is one: fsck.exfat.
"""

from __future__ import annotations

import itertools
import struct
from pathlib import Path

import pytest

from cardprep.errors import NotFatError, ReadFailedError, ShortReadError
from cardprep.terms import MIB
from cardprep.volume.exfat_time import ExfatTime
from cardprep.volume.exfat_volume import read_exfat_volume
from cardprep.volume.model import Extent
from tests.cards import MemorySectors
from tests.exfat import (
    FILES,
    FOLDERS,
    INNER,
    ONE,
    SUB,
    TWO,
    ExfatImage,
    File,
    built,
    by_path,
    empty,
    field,
    fsck,
    long,
    said,
    whole,
    word,
)


def judged(image: ExfatImage, tmp_path: Path, status: int = 0) -> str:
    (tmp_path / "volume").write_bytes(image.data)
    return fsck(tmp_path / "volume", status)


@pytest.mark.oracle
def test_an_undamaged_volume(tmp_path: Path) -> None:
    image = built()
    volume = image.read()
    judged(image, tmp_path)
    assert volume.findings == ()
    assert whole(image, volume) == set(FILES)
    assert {path for path, entry in by_path(volume).items() if entry.is_folder} == FOLDERS
    facts = volume.facts
    assert (facts.file_system, facts.standard_type) == ("exFAT", "exFAT")
    assert (facts.label, facts.boot_label) == ("B238", None)
    assert (facts.where, facts.sector_size) == (Extent(0, 4 * MIB), 512)
    serial = struct.unpack_from("<I", image.data, 100)[0]
    assert facts.serial == f"{serial >> 16:04X}-{serial & 0xFFFF:04X}"
    used = 4 + len(ONE) + len(TWO) + len(SUB) + len(INNER) + 1
    assert facts.free_bytes == (image.clusters - used) * 4096


def test_places_of_the_content() -> None:
    image = built()
    entries = by_path(image.read())
    assert entries["ONE.BIN"].extents == (Extent(image.cluster(10), 10_000),)
    assert entries["TWO.BIN"].extents == (
        Extent(image.cluster(20), 4096),
        Extent(image.cluster(22), 4096),
        Extent(image.cluster(21), 4096),
    )
    assert entries["EMPTY.BIN"].extents == ()
    assert entries["EMPTY.BIN"].is_whole
    assert entries["SUB"].extents == (Extent(image.cluster(30), 4096),)
    assert entries["SUB"].attributes == 0x10
    assert entries["ONE.BIN"].short == "ONE.BIN"
    assert entries["ONE.BIN"].modified == ExfatTime(2026, 2, 14, 13, 37, 42, 0, 0)


def test_what_is_no_files_content() -> None:
    image = built()
    volume = image.read()
    names = [name for name, _ in volume.system]
    assert names == [
        *("boot area", "FAT 1", "allocation bitmap", "up-case table", "directory", "directory")
    ]
    taken = [e for entry in volume.entries if not entry.is_folder for e in entry.extents]
    places = sorted(
        (e.offset, e.offset + e.length) for e in (*dict(volume.system).values(), *taken)
    )
    assert all(one[1] <= two[0] for one, two in itertools.pairwise(places))


def test_a_volume_further_on_the_card() -> None:
    image = built()
    medium = MemorySectors(bytes(MIB) + image.data)
    volume = read_exfat_volume(medium, Extent(MIB, 4 * MIB))
    assert volume.findings == ()
    assert volume.facts.where == Extent(MIB, 4 * MIB)
    assert by_path(volume)["ONE.BIN"].extents == (Extent(MIB + image.cluster(10), 10_000),)


# --- what cannot be read


def test_the_valid_length_cuts_the_extents() -> None:
    image = built()
    field("ONE.BIN", 40, long(4000))(image)
    volume = image.read()
    entry = by_path(volume)["ONE.BIN"]
    assert (entry.size, entry.is_whole) == (10_000, False)
    assert entry.extents == (Extent(image.cluster(10), 4000),)
    assert volume.findings[0].parameters == {"size": 10_000, "room": 4000}


@pytest.mark.oracle
def test_fsck_takes_a_short_valid_length_too(tmp_path: Path) -> None:
    image = ExfatImage(empty())
    image.add(File(name="A", data=bytes(5000), clusters=(10, 11), contiguous=True, valid=100))
    judged(image, tmp_path)
    assert said(image.read()) == [("never-written", "A")]


@pytest.mark.parametrize("cluster", [5, 30])
def test_a_folder_that_cannot_be_read(cluster: int) -> None:
    image = built()
    at = image.cluster(cluster)
    medium = MemorySectors(image.data, bad=[(at, at + 512)])
    volume = read_exfat_volume(medium, Extent(0, len(image.data)))
    place = ("read-error", "SUB" if cluster == 30 else None)
    assert place in said(volume)
    assert any(finding.parameters.get("offset") == at for finding in volume.findings)


def test_a_fat_that_cannot_be_read() -> None:
    image = built()
    at = image.fat * image.sector
    medium = MemorySectors(image.data, bad=[(at, at + 512)])
    volume = read_exfat_volume(medium, Extent(0, len(image.data)))
    assert ("read-error", None) in said(volume)
    # Not even the root folder can be followed.
    assert volume.entries == ()


@pytest.mark.parametrize(("kind", "structure"), [(0x81, "bitmap"), (0x82, "up-case")])
def test_a_table_that_cannot_be_read(kind: int, structure: str) -> None:
    image = built()
    at = image.system_file(kind)
    medium = MemorySectors(image.data, bad=[(at, at + 512)])
    volume = read_exfat_volume(medium, Extent(0, len(image.data)))
    assert any(structure in (finding.structure or "") for finding in volume.findings)
    assert whole(image, volume) == set(FILES)


def test_a_first_sector_that_cannot_be_read() -> None:
    image = built()
    with pytest.raises(ReadFailedError):
        read_exfat_volume(MemorySectors(image.data, bad=[(0, 512)]), Extent(0, len(image.data)))
    with pytest.raises(ShortReadError):
        read_exfat_volume(MemorySectors(b""), Extent(0, 0))


def test_no_exfat_at_all() -> None:
    with pytest.raises(NotFatError) as refused:
        read_exfat_volume(MemorySectors(bytes(MIB)), Extent(0, MIB))
    assert refused.value.reason == "exfat.no-name"


@pytest.mark.parametrize("length", [512, 5000, 12_288, 100_000, MIB, 2 * MIB, 2 * MIB + 9000])
def test_a_card_that_ends_too_early(length: int) -> None:
    image = built()
    del image.data[length:]
    volume = image.read(4 * MIB)
    assert volume.findings
    assert all(finding.slug != "volume-beyond-partition" for finding in volume.findings)
    for entry in volume.entries:
        assert not entry.is_whole or all(e.offset < 4 * MIB for e in entry.extents)


def test_files_that_were_deleted() -> None:
    image = built()
    at = image.find("TWO.BIN")
    for number in range(3):
        image.data[at + 32 * number] &= 0x7F
    for cluster in TWO:
        image.mark(cluster, used=False)
    volume = image.read()
    assert volume.findings == ()
    (entry,) = volume.deleted
    assert (entry.folder, entry.short, entry.size) == ((), "TWO.BIN", 12_288)
    assert (entry.first_cluster, str(entry.modified)) == (20, "2026-02-14 13:37:42 +00:00")


def test_a_deleted_file_without_a_time() -> None:
    image = built()
    at = image.find("EMPTY.BIN")
    for number in range(3):
        image.data[at + 32 * number] &= 0x7F
    image.data[at + 12 : at + 16] = word(0x5C000000)
    (entry,) = image.read().deleted
    assert (entry.short, entry.modified) == ("EMPTY.BIN", None)


def test_two_files_of_one_name() -> None:
    image = built()
    image.add(File(name="one.bin"))
    assert ("name-twice", "one.bin") in said(image.read())

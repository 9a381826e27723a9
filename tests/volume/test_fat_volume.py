"""One volume as a whole: marks, copies, counts, labels; every damage alone, with its finding.

Judge where there is one: fsck.fat.
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.findings import Finding
from cardprep.volume.fat_volume import read_fat_volume
from cardprep.volume.model import Extent, Volume
from tests.cards import MIB, FatImage, MemorySectors, make_volume, run
from tests.volumes import BITS, FILES, FOLDERS, SIZES

STATUS_AT = {12: 0x25, 16: 0x25, 32: 0x41}


def volume_of(image: FatImage, room: int | None = None) -> Volume:
    return read_fat_volume(image.medium(), 0, len(image.data) if room is None else room)


def said(volume: Volume) -> list[tuple[str, str | None]]:
    return [(finding.slug, finding.structure) for finding in volume.findings]


def only(volume: Volume) -> Finding:
    (finding,) = volume.findings
    return finding


def fsck(tmp_path: Path, image: FatImage, status: int) -> str:
    (tmp_path / "volume").write_bytes(image.data)
    return run("fsck.fat", "-n", tmp_path / "volume", status=status)


@pytest.mark.parametrize("bits", BITS)
def test_an_undamaged_volume(originals: dict[int, bytes], bits: int, tmp_path: Path) -> None:
    image = FatImage(originals[bits])
    volume = volume_of(image)
    assert volume.findings == ()
    fsck(tmp_path, image, 0)
    facts = volume.facts
    assert (facts.file_system, facts.standard_type) == (f"FAT{bits}", f"FAT{bits}")
    assert (facts.label, facts.boot_label) == ("B238-1 BOOT", "B238-1 BOOT")
    assert facts.where == Extent(0, SIZES[bits])
    assert (facts.cluster_size, facts.clusters) == (image.cluster_size, image.clusters)
    assert facts.serial is not None
    free = sum(image.entry(n) == 0 for n in range(2, image.clusters + 2))
    assert facts.free_bytes == free * image.cluster_size


@pytest.mark.parametrize("bits", BITS)
def test_what_is_no_files_content(originals: dict[int, bytes], bits: int) -> None:
    image = FatImage(originals[bits])
    volume = volume_of(image)
    areas = dict(volume.system[:3])
    fat = image.fat_sectors * image.sector
    assert areas == {
        "boot area": Extent(0, image.reserved * image.sector),
        "FAT 1": Extent(image.fat_at[0], fat),
        "FAT 2": Extent(image.fat_at[1], fat),
    }
    folders = [extent for name, extent in volume.system[3:] if name == "directory"]
    root = image.cluster_size if bits == 32 else image.root_entries * 32
    assert folders[0] == Extent(image.root, root)
    assert folders[1] == Extent(
        image.cluster(image.first_cluster("SUB        ")), image.cluster_size
    )
    taken = [e for entry in volume.entries if not entry.is_folder for e in entry.extents]
    ends = [(e.offset, e.offset + e.length) for e in (*areas.values(), *folders, *taken)]
    ends.sort()
    assert all(one[1] <= two[0] for one, two in itertools.pairwise(ends))


# Source: FAT: General Overview of On-Disk Format, v1.03, FAT[1], where 1 is good; and the status
# byte of the boot sector, where 1 is bad, as fsck.fat (dosfstools 4.2) reports it. The error bit
# of the status byte is from memory and has no judge.
MARKS = [
    pytest.param(16, "table", 0x8000, "volume-dirty", "Dirty bit is set", id="FAT16 table, dirty"),
    pytest.param(
        32, "table", 0x08000000, "volume-dirty", "Dirty bit is set", id="FAT32 table, dirty"
    ),
    pytest.param(16, "table", 0x4000, "volume-error-mark", None, id="FAT16 table, error"),
    pytest.param(32, "table", 0x04000000, "volume-error-mark", None, id="FAT32 table, error"),
    pytest.param(12, "boot", 0x01, "volume-dirty", "Dirty bit is set", id="FAT12 boot, dirty"),
    pytest.param(16, "boot", 0x01, "volume-dirty", "Dirty bit is set", id="FAT16 boot, dirty"),
    pytest.param(32, "boot", 0x01, "volume-dirty", "Dirty bit is set", id="FAT32 boot, dirty"),
    pytest.param(12, "boot", 0x02, "volume-error-mark", None, id="FAT12 boot, error"),
    pytest.param(16, "boot", 0x02, "volume-error-mark", None, id="FAT16 boot, error"),
    pytest.param(32, "boot", 0x02, "volume-error-mark", None, id="FAT32 boot, error"),
]


@pytest.mark.oracle
@pytest.mark.parametrize(("bits", "where", "mark", "slug", "remark"), MARKS)
def test_two_places_of_opposite_sense_for_one_mark(
    originals: dict[int, bytes],
    tmp_path: Path,
    bits: int,
    where: str,
    mark: int,
    slug: str,
    remark: str | None,
) -> None:
    image = FatImage(originals[bits])
    if where == "table":
        image.set_entry(1, image.entry(1) & ~mark)
    else:
        image.data[STATUS_AT[bits]] |= mark
    structure = "FAT" if where == "table" else "boot sector"
    assert said(volume_of(image)) == [(slug, structure)]
    if remark is not None:
        text = fsck(tmp_path, image, 1)
        assert remark in text
        if bits == 32 and where == "boot":
            assert "65:01/00" in text


def test_fat12_has_no_marks_in_its_table(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[12])
    image.set_entry(1, 0x3FF)
    assert [slug for slug, _ in said(volume_of(image))] == ["fat-head-odd"]


def poke(at: int, form: str, value: int) -> Callable[[FatImage], None]:
    def change(image: FatImage) -> None:
        struct.pack_into(form, image.data, at, value)
        # Copied, so that only the field itself is odd and not its backup.
        if image.bits == 32:
            image.data[6 * 512 : 7 * 512] = image.data[:512]

    return change


@pytest.mark.parametrize(
    ("bits", "change", "what", "others"),
    [
        pytest.param(16, poke(21, "B", 0x12), "media", {"fat-head-odd"}, id="media byte"),
        pytest.param(16, poke(0, "B", 0x00), "jump", set(), id="jump"),
        pytest.param(16, poke(32, "<I", 7), "totals", set(), id="two numbers of sectors"),
        pytest.param(16, poke(37, "B", 0x80), "status", set(), id="unknown status"),
        pytest.param(32, poke(19, "<H", 65535), "old-fields", None, id="old number of sectors"),
        pytest.param(32, poke(40, "<H", 0x80), "mirroring", set(), id="one FAT active"),
        pytest.param(32, poke(50, "<H", 500), "backup-place", set(), id="backup elsewhere"),
    ],
)
def test_odd_fields_of_the_boot_sector(
    originals: dict[int, bytes],
    bits: int,
    change: Callable[[FatImage], None],
    what: str,
    others: set[str] | None,
) -> None:
    image = FatImage(originals[bits])
    change(image)
    findings = volume_of(image).findings
    assert findings[0].slug == "boot-sector-odd"
    assert findings[0].parameters["what"] == what
    if others is not None:
        assert {finding.slug for finding in findings[1:]} == others


def test_a_jump_of_the_other_kind_is_as_good(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.data[0:3] = b"\xe9\x12\x34"
    assert volume_of(image).findings == ()


@pytest.mark.parametrize("sector", [0, 0xFFFF])
def test_fat32_without_a_backup(originals: dict[int, bytes], sector: int) -> None:
    image = FatImage(originals[32])
    struct.pack_into("<H", image.data, 50, sector)
    assert volume_of(image).findings == ()


def test_more_than_two_fats(tmp_path: Path) -> None:
    make_volume(tmp_path / "volume", 8 * MIB, "-F", "16", "-s", "1", "-f", "3")
    image = FatImage((tmp_path / "volume").read_bytes())
    assert only(volume_of(image)).parameters == {"what": "fat-count", "found": 3}


def test_a_root_that_fills_no_sector(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    struct.pack_into("<H", image.data, 17, image.root_entries - 1)
    assert only(volume_of(image)).parameters == {"what": "root", "found": image.root_entries - 1}


@pytest.mark.oracle
def test_a_fat_that_is_too_small(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = FatImage(originals[32])
    image.data += bytes(2 * MIB)
    struct.pack_into("<I", image.data, 32, len(image.data) // 512)
    image.data[6 * 512 : 7 * 512] = image.data[:512]
    finding = volume_of(image).findings[0]
    assert finding.parameters == {"what": "small-fat", "found": image.fat_sectors}
    assert "only space for" in fsck(tmp_path, image, 1)


@pytest.mark.oracle
def test_fat32_with_too_few_clusters(originals: dict[int, bytes], tmp_path: Path) -> None:
    # mtools reads no such volume; so an ordinary one is made smaller by its number of sectors.
    image = FatImage(originals[32])
    sectors = image.first_data + 60000
    struct.pack_into("<I", image.data, 32, sectors)
    struct.pack_into("<I", image.data, 512 + 488, 60000 - (image.clusters - free_of(image)))
    image.data[6 * 512 : 8 * 512] = image.data[: 2 * 512]
    small = FatImage(image.data[: sectors * 512])
    volume = volume_of(small)
    finding = only(volume)
    assert finding.slug == "fat-type-disagrees"
    assert finding.parameters == {"layout": "FAT32", "standard": "FAT16", "clusters": 60000}
    assert (volume.facts.file_system, volume.facts.standard_type) == ("FAT32", "FAT16")
    assert {entry.shown for entry in volume.entries} == FILES.keys() | FOLDERS
    assert "less than the required minimum" in fsck(tmp_path, small, 0)


def free_of(image: FatImage) -> int:
    return sum(image.entry(n) == 0 for n in range(2, image.clusters + 2))


@pytest.mark.oracle
@pytest.mark.parametrize("bits", BITS)
def test_fats_that_differ(originals: dict[int, bytes], tmp_path: Path, bits: int) -> None:
    image = FatImage(originals[bits])
    image.set_entry(900, 0x123, copies=[1])
    finding = only(volume_of(image))
    assert (finding.slug, finding.structure) == ("fats-differ", "FAT")
    assert finding.parameters["copy"] == 2
    assert finding.parameters["cluster"] in (900, 899)
    assert "FATs differ but appear to be intact" in fsck(tmp_path, image, 1)


@pytest.mark.oracle
def test_a_backup_that_differs(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = FatImage(originals[32])
    image.data[6 * 512 + 71] ^= 0xFF
    finding = only(volume_of(image))
    assert (finding.slug, finding.parameters) == ("backup-boot-differs", {"sector": 6})
    assert "differences between boot sector and its backup" in fsck(tmp_path, image, 0)


def test_the_status_byte_may_differ_from_its_backup(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[32])
    image.data[6 * 512 + 0x41] = 1
    assert volume_of(image).findings == ()


@pytest.mark.parametrize(
    ("change", "slug", "parameters"),
    [
        pytest.param(
            poke(48, "<H", 0), "fsinfo-odd", {"what": "place", "found": 0}, id="no FSInfo"
        ),
        pytest.param(
            poke(48, "<H", 32), "fsinfo-odd", {"what": "place", "found": 32}, id="outside"
        ),
        pytest.param(
            poke(48, "<H", 3), "fsinfo-odd", {"what": "signature", "found": 3}, id="elsewhere"
        ),
        pytest.param(
            poke(512, "B", 0), "fsinfo-odd", {"what": "signature", "found": 1}, id="signature"
        ),
    ],
)
def test_fsinfo_that_is_broken(
    originals: dict[int, bytes],
    change: Callable[[FatImage], None],
    slug: str,
    parameters: dict[str, str | int],
) -> None:
    image = FatImage(originals[32])
    change(image)
    finding = only(volume_of(image))
    assert (finding.slug, finding.parameters) == (slug, parameters)


@pytest.mark.parametrize(
    ("free", "slug"),
    [
        pytest.param(0xFFFFFFFF, None, id="unknown"),
        pytest.param(17, "free-count-odd", id="lapsed"),
        pytest.param(0x7FFFFFFF, "fsinfo-odd", id="more than there are"),
    ],
)
def test_the_number_of_free_clusters(
    originals: dict[int, bytes], free: int, slug: str | None
) -> None:
    image = FatImage(originals[32])
    struct.pack_into("<I", image.data, 512 + 488, free)
    volume = volume_of(image)
    if slug is None:
        assert volume.findings == ()
        return
    finding = only(volume)
    assert (finding.slug, finding.structure) == (slug, "FSInfo")
    assert finding.parameters == {"what": "free-count", "found": free, "counted": free_of(image)}


@pytest.mark.oracle
def test_lost_clusters(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = FatImage(originals[16])
    image.set_entry(2000, 2001)
    image.set_entry(2001, 0xFFFF)
    finding = only(volume_of(image))
    assert finding.slug == "lost-clusters"
    assert finding.parameters == {"clusters": 2, "size": 2 * image.cluster_size}
    assert "2 unused clusters" in fsck(tmp_path, image, 1)


def test_bad_clusters_are_not_lost(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.set_entry(2000, 0xFFF7)
    assert volume_of(image).findings == ()
    assert volume_of(image).facts.free_bytes == free_of(image) * image.cluster_size


def test_a_volume_larger_than_its_partition(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    assert volume_of(image, SIZES[16]).findings == ()
    finding = only(volume_of(image, SIZES[16] - 1))
    assert finding.slug == "volume-beyond-partition"
    assert finding.parameters == {"size": SIZES[16], "room": SIZES[16] - 1}


def test_a_volume_that_says_it_begins_elsewhere(originals: dict[int, bytes]) -> None:
    medium = MemorySectors(bytes(8192) + originals[16])
    finding = only(read_fat_volume(medium, 8192, SIZES[16]))
    assert finding.slug == "hidden-sectors-differ"
    assert finding.parameters == {"found": 0, "expected": 16}

"""The boot sector and boot region of exFAT.

Source: exFAT File System Specification (Microsoft, 2019), section 3.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.terms import MIB
from cardprep.volume.exfat_boot import (
    MOST_CLUSTERS,
    ExfatBootSector,
    boot_checksum,
    checksum_holds,
    without_changing,
)
from tests.exfat import fsck, make_exfat

BOOT = ExfatBootSector(
    total_sectors=16384,
    fat_sector=2048,
    sectors_per_fat=16,
    heap_sector=4096,
    cluster_count=1536,
    root_cluster=5,
    serial=0x1234ABCD,
    sector_shift=9,
    cluster_shift=3,
)


def test_parse_then_format_gives_the_same_bytes() -> None:
    assert ExfatBootSector.parse(BOOT.to_bytes()) == BOOT
    assert BOOT.to_bytes()[:11] == b"\xeb\x76\x90EXFAT   "
    assert len(BOOT.to_bytes()) == 512


@given(st.binary(min_size=0, max_size=600))
def test_any_bytes_are_a_value_or_refused(data: bytes) -> None:
    try:
        boot = ExfatBootSector.parse(data)
    except NotFatError:
        return
    assert boot.to_bytes() == data[:512]


@given(st.integers(64, 111), st.integers(0, 255))
def test_any_byte_of_the_fields_is_a_value_or_refused(at: int, value: int) -> None:
    data = bytearray(BOOT.to_bytes())
    data[at] = value
    try:
        boot = ExfatBootSector.parse(bytes(data))
    except NotFatError:
        return
    assert boot.to_bytes() == data
    assert boot.cluster_offset(boot.limit) <= boot.size


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({"name": b"NTFS    "}, "exfat.no-name", id="another name"),
        pytest.param({"signature": b"\0\0"}, "exfat.no-signature", id="no 55 AA"),
        pytest.param({"zeros": b"\1" + bytes(52)}, "exfat.not-zero", id="numbers of a FAT"),
        pytest.param({"revision": 0x0200}, "exfat.version", id="version 2"),
        pytest.param({"revision": 0x0001}, "exfat.version", id="version 0"),
        pytest.param({"sector_shift": 8}, "exfat.sector-size", id="256 bytes"),
        pytest.param({"sector_shift": 13}, "exfat.sector-size", id="8192 bytes"),
        pytest.param({"cluster_shift": 17}, "exfat.cluster-size", id="64 MiB"),
        pytest.param({"fat_count": 0}, "exfat.fat-count", id="no FAT"),
        pytest.param({"fat_count": 3}, "exfat.fat-count", id="three FATs"),
        pytest.param({"fat_sector": 23}, "exfat.fat-place", id="FAT in the boot regions"),
        pytest.param({"heap_sector": 2063}, "exfat.fat-place", id="FAT in the heap"),
        pytest.param({"sectors_per_fat": 12}, "exfat.small-fat", id="FAT too small"),
        pytest.param({"cluster_count": 0}, "exfat.no-cluster", id="no cluster"),
        pytest.param({"cluster_count": 1537}, "exfat.no-room", id="more clusters than room"),
        pytest.param({"total_sectors": 100}, "exfat.no-room", id="heap behind the end"),
        pytest.param({"root_cluster": 1}, "exfat.root-cluster", id="root before the heap"),
        pytest.param({"root_cluster": 1538}, "exfat.root-cluster", id="root behind the heap"),
        pytest.param(
            {
                "cluster_count": MOST_CLUSTERS + 1,
                "sectors_per_fat": 2**22,
                "heap_sector": 2**23,
                "total_sectors": 2**40,
            },
            "exfat.too-many-clusters",
            id="more clusters than are read",
        ),
    ],
)
def test_what_cannot_be_right(change: dict[str, int], reason: str) -> None:
    boot = replace(BOOT, **change)  # type: ignore[arg-type]
    with pytest.raises(NotFatError) as refused:
        ExfatBootSector.parse(boot.to_bytes())
    assert refused.value.reason == reason


@pytest.mark.parametrize(("sector_shift", "cluster_shift"), [(9, 0), (9, 16), (12, 0), (12, 13)])
def test_the_edges_of_sizes(sector_shift: int, cluster_shift: int) -> None:
    total = 4096 + (1536 << cluster_shift)
    boot = replace(
        BOOT, sector_shift=sector_shift, cluster_shift=cluster_shift, total_sectors=total
    )
    parsed = ExfatBootSector.parse(boot.to_bytes())
    assert parsed.cluster_size == 2 ** (sector_shift + cluster_shift)
    assert parsed.cluster_offset(2) == 4096 << sector_shift
    assert parsed.cluster_offset(3) - parsed.cluster_offset(2) == parsed.cluster_size


@pytest.mark.oracle
def test_the_checksum_that_mkfs_exfat_writes(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_exfat(image, 8 * MIB)
    data = bytearray(image.read_bytes())
    region = bytes(data[: 12 * 512])
    assert checksum_holds(region, 512)
    assert int.from_bytes(region[11 * 512 : 11 * 512 + 4], "little") == boot_checksum(
        region[: 11 * 512]
    )
    # Flags and percentage are left out of the sum, and everything else counts.
    for at in (106, 107, 112):
        data[at] ^= 0x04
    assert checksum_holds(bytes(data[: 12 * 512]), 512)
    data[3 * 512] ^= 0xFF
    assert not checksum_holds(bytes(data[: 12 * 512]), 512)
    image.write_bytes(data)
    assert "checksum of boot region is not correct" in fsck(image, status=4)


def test_what_may_differ_between_the_regions() -> None:
    region = bytes(range(256)) * 24
    changed = without_changing(region)
    differing = [at for at, byte in enumerate(region) if changed[at] != byte]
    assert differing == [106, 107, 112]

"""The boot sector: where its fields stand, what two outside programs read there, refusals."""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.volume.fat_boot import BootSector, Fat32Part, bits_by_count

OLD = BootSector(
    jump=b"\xeb\x3c\x90",
    oem_name=b"OTTERVAN",
    bytes_per_sector=512,
    sectors_per_cluster=4,
    reserved_sectors=1,
    fat_count=2,
    root_entries=512,
    total_sectors_16=0,
    media=0xF8,
    sectors_per_fat_16=64,
    sectors_per_track=63,
    heads=255,
    hidden_sectors=8192,
    total_sectors_32=65536,
    fat32=None,
    drive_number=0x80,
    status=0,
    extended_signature=0x29,
    volume_id=0x1234ABCD,
    label=b"B238-1 BOOT",
    type_text=b"FAT16   ",
    boot_code=bytes(448),
)
NEW = replace(
    OLD,
    jump=b"\xeb\x58\x90",
    sectors_per_cluster=1,
    reserved_sectors=32,
    root_entries=0,
    sectors_per_fat_16=0,
    total_sectors_32=131072,
    fat32=Fat32Part(sectors_per_fat=1009),
    type_text=b"FAT32   ",
    boot_code=bytes(420),
)


# Source: FAT: General Overview of On-Disk Format, v1.03, "Boot Sector and BPB Structure".
COMMON = [
    pytest.param(0, "3s", "jump", id="BS_jmpBoot"),
    pytest.param(3, "8s", "oem_name", id="BS_OEMName"),
    pytest.param(11, "<H", "bytes_per_sector", id="BPB_BytsPerSec"),
    pytest.param(13, "B", "sectors_per_cluster", id="BPB_SecPerClus"),
    pytest.param(14, "<H", "reserved_sectors", id="BPB_RsvdSecCnt"),
    pytest.param(16, "B", "fat_count", id="BPB_NumFATs"),
    pytest.param(17, "<H", "root_entries", id="BPB_RootEntCnt"),
    pytest.param(19, "<H", "total_sectors_16", id="BPB_TotSec16"),
    pytest.param(21, "B", "media", id="BPB_Media"),
    pytest.param(22, "<H", "sectors_per_fat_16", id="BPB_FATSz16"),
    pytest.param(24, "<H", "sectors_per_track", id="BPB_SecPerTrk"),
    pytest.param(26, "<H", "heads", id="BPB_NumHeads"),
    pytest.param(28, "<I", "hidden_sectors", id="BPB_HiddSec"),
    pytest.param(32, "<I", "total_sectors_32", id="BPB_TotSec32"),
]
OLD_TAIL = [
    pytest.param(36, "B", "drive_number", id="BS_DrvNum"),
    pytest.param(37, "B", "status", id="BS_Reserved1"),
    pytest.param(38, "B", "extended_signature", id="BS_BootSig"),
    pytest.param(39, "<I", "volume_id", id="BS_VolID"),
    pytest.param(43, "11s", "label", id="BS_VolLab"),
    pytest.param(54, "8s", "type_text", id="BS_FilSysType"),
]
NEW_TAIL = [
    pytest.param(36, "<I", "fat32.sectors_per_fat", id="BPB_FATSz32"),
    pytest.param(40, "<H", "fat32.flags", id="BPB_ExtFlags"),
    pytest.param(42, "<H", "fat32.version", id="BPB_FSVer"),
    pytest.param(44, "<I", "fat32.root_cluster", id="BPB_RootClus"),
    pytest.param(48, "<H", "fat32.info_sector", id="BPB_FSInfo"),
    pytest.param(50, "<H", "fat32.backup_boot_sector", id="BPB_BkBootSec"),
    pytest.param(52, "12s", "fat32.reserved", id="BPB_Reserved"),
    pytest.param(64, "B", "drive_number", id="BS_DrvNum"),
    pytest.param(65, "B", "status", id="BS_Reserved1"),
    pytest.param(66, "B", "extended_signature", id="BS_BootSig"),
    pytest.param(67, "<I", "volume_id", id="BS_VolID"),
    pytest.param(71, "11s", "label", id="BS_VolLab"),
    pytest.param(82, "8s", "type_text", id="BS_FilSysType"),
]


def field(boot: BootSector, path: str) -> object:
    value: object = boot
    for name in path.split("."):
        value = getattr(value, name)
    return value


@pytest.mark.parametrize(("at", "form", "path"), [*COMMON, *OLD_TAIL])
def test_where_the_fields_of_fat12_and_fat16_stand(at: int, form: str, path: str) -> None:
    assert struct.unpack_from(form, OLD.to_bytes(), at) == (field(OLD, path),)
    assert field(BootSector.parse(OLD.to_bytes()), path) == field(OLD, path)


@pytest.mark.parametrize(("at", "form", "path"), [*COMMON, *NEW_TAIL])
def test_where_the_fields_of_fat32_stand(at: int, form: str, path: str) -> None:
    assert struct.unpack_from(form, NEW.to_bytes(), at) == (field(NEW, path),)
    assert field(BootSector.parse(NEW.to_bytes()), path) == field(NEW, path)


@pytest.mark.parametrize("boot", [pytest.param(OLD, id="FAT16"), pytest.param(NEW, id="FAT32")])
def test_laying_out_and_reading_again(boot: BootSector) -> None:
    raw = boot.to_bytes()
    assert len(raw) == 512
    assert raw[510:] == b"\x55\xaa"
    assert BootSector.parse(raw) == boot
    assert BootSector.parse(raw + bytes(3584)) == boot


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Type Determination".
@pytest.mark.parametrize(
    ("cluster_count", "bits"),
    [
        pytest.param(1, 12, id="smallest FAT12"),
        pytest.param(4084, 12, id="largest FAT12"),
        pytest.param(4085, 16, id="smallest FAT16"),
        pytest.param(65524, 16, id="largest FAT16"),
        pytest.param(65525, 32, id="smallest FAT32"),
    ],
)
def test_the_type_follows_from_the_number_of_clusters(cluster_count: int, bits: int) -> None:
    assert bits_by_count(cluster_count) == bits


@pytest.mark.parametrize(
    ("boot", "reason"),
    [
        pytest.param(replace(OLD, bytes_per_sector=0), "fat.sector-size", id="no sector size"),
        pytest.param(replace(OLD, bytes_per_sector=256), "fat.sector-size", id="sector of 256"),
        pytest.param(replace(OLD, bytes_per_sector=8192), "fat.sector-size", id="sector of 8192"),
        pytest.param(replace(OLD, bytes_per_sector=513), "fat.sector-size", id="sector of 513"),
        pytest.param(replace(OLD, sectors_per_cluster=0), "fat.cluster-size", id="no cluster"),
        pytest.param(replace(OLD, sectors_per_cluster=3), "fat.cluster-size", id="cluster of 3"),
        pytest.param(
            replace(OLD, reserved_sectors=0), "fat.no-reserved-sectors", id="no boot sector"
        ),
        pytest.param(replace(OLD, fat_count=0), "fat.no-fat", id="no FAT"),
        pytest.param(
            replace(NEW, fat32=Fat32Part(sectors_per_fat=0)), "fat.empty-fat", id="empty FAT"
        ),
        pytest.param(replace(OLD, root_entries=0), "fat.no-root", id="no root"),
        pytest.param(replace(OLD, total_sectors_32=0), "fat.no-room", id="no sectors"),
        pytest.param(replace(OLD, total_sectors_32=161), "fat.no-room", id="only the tables"),
        pytest.param(replace(OLD, total_sectors_32=164), "fat.no-cluster", id="part of a cluster"),
        pytest.param(
            replace(OLD, total_sectors_32=2**32 - 1), "fat.too-many-clusters", id="FAT16 too large"
        ),
        pytest.param(
            replace(NEW, fat32=Fat32Part(sectors_per_fat=1009, version=1)),
            "fat.version",
            id="unknown version",
        ),
    ],
)
def test_what_cannot_be_right_is_refused(boot: BootSector, reason: str) -> None:
    with pytest.raises(NotFatError) as caught:
        BootSector.parse(boot.to_bytes())
    assert caught.value.reason == reason


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        pytest.param(b"", "fat.short", id="nothing"),
        pytest.param(OLD.to_bytes()[:511], "fat.short", id="a byte too few"),
        pytest.param(bytes(512), "fat.no-signature", id="zeros"),
        pytest.param(OLD.to_bytes()[:511] + b"\x55", "fat.no-signature", id="55 55"),
    ],
)
def test_what_is_no_boot_sector_is_refused(raw: bytes, reason: str) -> None:
    with pytest.raises(NotFatError) as caught:
        BootSector.parse(raw)
    assert caught.value.reason == reason


def test_the_smallest_volume() -> None:
    boot = replace(OLD, total_sectors_16=165, total_sectors_32=0)
    assert BootSector.parse(boot.to_bytes()).cluster_count == 1


def test_the_16_bit_number_of_sectors_comes_first() -> None:
    assert replace(OLD, total_sectors_16=40000).total_sectors == 40000


def test_clusters_without_an_entry_are_not_used() -> None:
    small = replace(NEW, fat32=Fat32Part(sectors_per_fat=1))
    assert small.usable_clusters == 512 // 4 - 2
    # The numbers above are marks, not clusters, however large the FAT is.
    vast = replace(NEW, total_sectors_32=2**32 - 1, fat32=Fat32Part(sectors_per_fat=2**25))
    assert vast.usable_clusters == 0x0FFFFFF5


@pytest.mark.parametrize(
    ("flags", "active"),
    [
        pytest.param(0x0000, None, id="all copies"),
        pytest.param(0x0001, None, id="a number without the bit"),
        pytest.param(0x0080, 0, id="the first"),
        pytest.param(0x0081, 1, id="the second"),
        pytest.param(0xFF8F, 15, id="all bits"),
    ],
)
def test_which_fat_is_kept_up_to_date(flags: int, active: int | None) -> None:
    # Source: FAT: General Overview of On-Disk Format, v1.03, BPB_ExtFlags.
    assert Fat32Part(sectors_per_fat=1, flags=flags).only_active_fat == active


SECTORS = st.one_of(
    st.binary(max_size=600),
    st.binary(min_size=510, max_size=510).map(lambda raw: raw + b"\x55\xaa"),
    st.tuples(
        st.sampled_from([OLD.to_bytes(), NEW.to_bytes()]),
        st.lists(st.tuples(st.integers(0, 511), st.integers(0, 255)), max_size=6),
    ).map(lambda both: changed(*both)),
)


def changed(raw: bytes, changes: list[tuple[int, int]]) -> bytes:
    found = bytearray(raw)
    for at, value in changes:
        found[at] = value
    return bytes(found)


@settings(deadline=None, max_examples=400)
@given(SECTORS)
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    try:
        boot = BootSector.parse(raw)
    except NotFatError:
        return
    assert boot.to_bytes() == raw[:512]
    assert boot.cluster_count >= 1
    assert boot.usable_clusters <= boot.cluster_count
    assert boot.entry_bits in (12, 16, 32)


@settings(deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.binary(min_size=11, max_size=11),
    st.integers(0, 255),
    st.sampled_from([OLD, NEW]),
)
def test_building_and_reading_gives_the_same(
    serial: int, label: bytes, status: int, base: BootSector
) -> None:
    boot = replace(base, volume_id=serial, label=label, status=status)
    assert BootSector.parse(boot.to_bytes()) == boot

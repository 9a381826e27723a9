"""The boot sector as outside programs read and write it; the two rules for the type of a FAT.

Judges: mkfs.fat and fsck.fat (dosfstools), minfo (mtools).
"""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest

from cardprep.errors import NotFatError
from cardprep.volume.fat_boot import BootSector
from tests.cards import KIB, FatImage, digest, make_volume, run


def number(text: str, pattern: str) -> int:
    match = re.search(pattern, text)
    assert match, pattern
    return int(match[1])


FORMATS = [
    pytest.param(("-F", "12", "-S", "512", "-s", "2"), 2048, id="FAT12"),
    pytest.param(("-F", "16", "-S", "1024", "-s", "4"), 65536, id="FAT16 of 1024"),
    pytest.param(("-F", "16", "-S", "4096", "-s", "1", "-r", "256"), 65536, id="FAT16 of 4096"),
    pytest.param(("-F", "32", "-S", "512", "-s", "1"), 65536, id="FAT32"),
    pytest.param(("-F", "32", "-S", "2048", "-s", "1", "-f", "1"), 204800, id="FAT32 of 2048"),
]


@pytest.mark.oracle
@pytest.mark.parametrize(("options", "kib"), FORMATS)
def test_fsck_fat_reads_the_same(tmp_path: Path, options: tuple[str, ...], kib: int) -> None:
    image = tmp_path / "volume"
    make_volume(image, kib * KIB, *options, "-n", "STAGE-1", "-i", "1234ABCD")
    boot = BootSector.parse(image.read_bytes()[:512])
    text = run("fsck.fat", "-n", "-v", image)
    sector = boot.bytes_per_sector
    assert number(text, r"(\d+) bytes per logical sector") == sector
    assert number(text, r"(\d+) bytes per cluster") == boot.cluster_size
    assert number(text, r"(\d+) reserved sectors?") == boot.reserved_sectors
    assert number(text, r"(\d+) FATs?, ") == boot.fat_count
    assert number(text, r", (\d+) bit entries") == boot.entry_bits
    assert number(text, r"\(= (\d+) sectors\)") == boot.sectors_per_fat
    assert number(text, r"Data area starts at byte (\d+)") == boot.first_data_sector * sector
    assert boot.cluster_offset(2) == boot.first_data_sector * sector
    assert boot.cluster_offset(5) == boot.cluster_offset(2) + 3 * boot.cluster_size
    assert number(text, r"(\d+) data clusters") == boot.cluster_count == boot.usable_clusters
    assert number(text, r"(\d+) sectors total") == boot.total_sectors
    if boot.fat32 is None:
        assert (
            number(text, r"Root directory starts at byte (\d+)") == boot.first_root_sector * sector
        )
        assert number(text, r"(\d+) root directory entries") == boot.root_entries
    else:
        assert number(text, r"Root directory start at cluster (\d+)") == boot.fat32.root_cluster
        assert boot.fat32.only_active_fat is None


@pytest.mark.oracle
@pytest.mark.parametrize(("options", "kib"), FORMATS)
def test_minfo_reads_the_same(tmp_path: Path, options: tuple[str, ...], kib: int) -> None:
    image = tmp_path / "volume"
    make_volume(image, kib * KIB, *options, "-n", "STAGE-1", "-i", "1234ABCD", "-h", "63")
    boot = BootSector.parse(image.read_bytes()[:512])
    text = run("minfo", "-i", image, "::")
    assert boot.oem_name == b"mkfs.fat"
    assert f'banner:"{boot.oem_name.decode()}"' in text
    assert number(text, r"sector size: (\d+)") == boot.bytes_per_sector
    assert number(text, r"cluster size: (\d+)") == boot.sectors_per_cluster
    assert number(text, r"reserved \(boot\) sectors: (\d+)") == boot.reserved_sectors
    assert number(text, r"fats: (\d+)") == boot.fat_count
    assert number(text, r"directory slots: (\d+)") == boot.root_entries
    assert number(text, r"small size: (\d+)") == boot.total_sectors_16
    assert number(text, r"sectors per fat: (\d+)") == boot.sectors_per_fat_16
    assert number(text, r"sectors per track: (\d+)") == boot.sectors_per_track
    assert number(text, r"heads: (\d+)") == boot.heads
    assert number(text, r"hidden sectors: (\d+)") == boot.hidden_sectors == 63
    assert f"media descriptor byte: {boot.media:#x}" in text
    assert f"serial number: {boot.volume_id:08X}" in text
    assert boot.volume_id == 0x1234ABCD
    assert f'disk label="{boot.label.decode()}"' in text
    assert f'disk type="{boot.type_text.decode()}"' in text
    if boot.total_sectors_32:
        assert number(text, r"big size: (\d+)") == boot.total_sectors_32
    if boot.fat32 is not None:
        assert number(text, r"Big fatlen=(\d+)") == boot.fat32.sectors_per_fat
        assert f"Extended flags={boot.fat32.flags:#06x}" in text
        assert f"FS version={boot.fat32.version:#06x}" in text
        assert number(text, r"rootCluster=(\d+)") == boot.fat32.root_cluster
        assert number(text, r"infoSector location=(\d+)") == boot.fat32.info_sector
        assert number(text, r"backup boot sector=(\d+)") == boot.fat32.backup_boot_sector


# Source: mkfs.fat of dosfstools 4.2 with --invariant; the digests hold for that version only.
@pytest.mark.oracle
@pytest.mark.parametrize(
    ("kib", "options", "sha256", "clusters"),
    [
        pytest.param(
            *(1440, ("-F", "12")),
            *("05b87edb7b90b37aaa034a993522d09f27f4381c4f44bf0b932488258b3bf51e", 2847),
            id="FAT12",
        ),
        pytest.param(
            *(32768, ("-F", "16")),
            *("8753064ded359ddf97dd3e78f7cda80eb08af25012a39c377aeeeb6e1b1fbe94", 16343),
            id="FAT16",
        ),
        pytest.param(
            *(65536, ("-F", "32", "-s", "1")),
            *("7e5facedfbfcf794b52d0d621e927da8f027f7c60d03f86ecbe08e1571cefa75", 129022),
            id="FAT32",
        ),
    ],
)
def test_cluster_counts_of_images_that_are_always_the_same(
    tmp_path: Path, kib: int, options: tuple[str, ...], sha256: str, clusters: int
) -> None:
    image = tmp_path / "volume"
    said = make_volume(image, kib * KIB, *options, "-n", "STAGE-1", "-i", "1234ABCD")
    data = image.read_bytes()
    if "mkfs.fat 4.2 " in said:
        assert digest(data) == sha256
    boot = BootSector.parse(data[:512])
    assert boot.cluster_count == clusters
    assert boot.to_bytes() == data[:512]


# Source: FAT: General Overview of On-Disk Format, v1.03, and fsck.fat 4.2, which goes by the
# empty 16-bit field before it counts.
@pytest.mark.oracle
@pytest.mark.parametrize(
    ("layout", "clusters", "standard", "status", "remark"),
    [
        pytest.param(12, 4084, 12, 0, "12 bit entries", id="12 largest"),
        pytest.param(12, 4085, 16, 1, "only space for 3070 FAT entries", id="12 one too many"),
        pytest.param(16, 4084, 12, 1, "12 bit entries", id="16 one too few"),
        pytest.param(16, 4085, 16, 0, "16 bit entries", id="16 smallest"),
        pytest.param(16, 65524, 16, 0, "16 bit entries", id="16 largest"),
        pytest.param(32, 65524, 16, 0, "32 bit entries", id="32 one too few"),
        pytest.param(32, 65525, 32, 0, "32 bit entries", id="32 smallest"),
    ],
)
def test_two_rules_for_the_type(
    tmp_path: Path, layout: int, clusters: int, standard: int, status: int, remark: str
) -> None:
    image = tmp_path / "volume"
    boot = with_clusters(image, layout, clusters)
    assert boot.cluster_count == clusters
    assert boot.standard_bits == standard
    assert boot.entry_bits == (32 if layout == 32 else standard)
    text = run("fsck.fat", "-n", "-v", image, status=status)
    assert remark in text
    if "bit entries" in text:
        assert f"{boot.entry_bits} bit entries" in text


@pytest.mark.oracle
def test_too_many_clusters_for_the_layout(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    with pytest.raises(NotFatError, match=r"fat\.too-many-clusters found=65525"):
        with_clusters(image, 16, 65525)
    assert "Too many clusters (65525) for FAT16" in run("fsck.fat", "-n", image, status=1)


def with_clusters(image: Path, layout: int, clusters: int) -> BootSector:
    """Format a volume of nearly so many clusters and set its number of sectors to fit."""
    near = {12: 4050, 16: 4150 if clusters < 5000 else 65400, 32: 65600}[layout]
    room = near + 32 + near * layout // 8 // 512 * 2
    make_volume(image, (room + 1) // 2 * KIB, "-a", "-F", str(layout), "-s", "1")
    volume = FatImage(image.read_bytes())
    sectors = volume.first_data + clusters
    struct.pack_into("<H", volume.data, 19, sectors if sectors < 65536 and layout != 32 else 0)
    struct.pack_into("<I", volume.data, 32, 0 if sectors < 65536 and layout != 32 else sectors)
    if layout == 32:
        volume.data[6 * 512 : 7 * 512] = volume.data[:512]
        struct.pack_into("<I", volume.data, 512 + 488, clusters - 1)
    volume.data += bytes(max(0, sectors * 512 - len(volume.data)))
    image.write_bytes(volume.data)
    return BootSector.parse(bytes(volume.data[:512]))

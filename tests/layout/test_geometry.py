"""Where the parts of a volume lie, for every size that can be asked for."""

from __future__ import annotations

import pytest

from cardprep.errors import LayoutError
from cardprep.job.stage import LARGEST_VOLUME, SMALLEST_VOLUME, VolumeSettings
from cardprep.layout.geometry import (
    ALIGNMENT,
    FAT_COUNT,
    USUAL_SIZES,
    Geometry,
    candidates,
)
from cardprep.terms import GIB, MIB, SECTOR
from cardprep.volume.fat_boot import FAT12_MOST, FAT16_MOST, FIRST_CLUSTER, bits_by_count

# 65,525 clusters of a sector are 32 MiB less 11 sectors; the data begins at 4 MiB.
SMALLEST_FAT32 = 36


def possible(mebibytes: int, file_systems: tuple[str, ...]) -> Geometry | None:
    settings = VolumeSettings(file_systems=file_systems, volume_size=mebibytes * MIB)
    try:
        (made,) = candidates(settings)
    except LayoutError as error:
        if error.reason == "layout.no-file-system":
            return None
        raise
    return made


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Type Determination".
@pytest.mark.parametrize(
    ("file_system", "bits", "smallest", "largest"),
    [("fat16", 16, 16, 2048), ("fat32", 32, SMALLEST_FAT32, 32 * 1024)],
)
def test_the_number_of_clusters_is_always_that_of_the_file_system(
    file_system: str, bits: int, smallest: int, largest: int
) -> None:
    """Every size there is, in steps of 1 MiB; what is not given is refused with its reason."""
    given = set()
    for mebibytes in range(SMALLEST_VOLUME // MIB, LARGEST_VOLUME // MIB + 1):
        made = possible(mebibytes, (file_system,))
        if made is None:
            continue
        given.add(mebibytes)
        assert made.bits == bits
        assert bits_by_count(made.cluster_count) == bits, mebibytes
        entries = made.sectors_per_fat * SECTOR * 8 // bits
        assert entries >= made.cluster_count + FIRST_CLUSTER
        assert made.first_data_sector < made.total_sectors
        assert 0 < made.reserved_sectors < 0x10000
        assert made.sectors_per_cluster in (1, 2, 4, 8, 16, 32, 64)
        if bits == 32:
            assert made.first_data_sector * SECTOR % ALIGNMENT == 0
        else:
            # Old readers expect it.
            assert made.reserved_sectors == 1
            assert made.sectors_per_fat < 0x10000
        assert made.total_sectors == mebibytes * MIB // SECTOR
    assert given == set(range(smallest, largest + 1))


@pytest.mark.parametrize(
    ("mebibytes", "file_systems", "bits"),
    [
        pytest.param(16, ("fat16", "fat32"), 16, id="smallest"),
        pytest.param(2048, ("fat16", "fat32"), 16, id="FAT16 up to 2 GiB"),
        pytest.param(2049, ("fat16", "fat32"), 32, id="FAT32 above"),
        pytest.param(64, ("fat32",), 32, id="FAT32 where the display reads only that"),
        pytest.param(2049, ("fat16",), None, id="FAT16 holds no more than 2 GiB"),
        pytest.param(16, ("fat32",), None, id="too small for FAT32"),
        pytest.param(32768, ("fat32",), 32, id="largest"),
    ],
)
def test_which_file_system_a_size_gets(
    mebibytes: int, file_systems: tuple[str, ...], bits: int | None
) -> None:
    made = possible(mebibytes, file_systems)
    assert (None if made is None else made.bits) == bits


def test_the_usual_sizes_fit_cards_of_the_printed_size() -> None:
    # Common practice, no published source: a "2 GB" card holds at least 1.9 decimal GB.
    printed = (512 * MIB, *(size * 10**9 for size in (2, 4, 8, 16, 32)))
    for size, most in zip(USUAL_SIZES[1:], printed[1:], strict=True):
        assert size + ALIGNMENT < most * 0.95
        assert size % ALIGNMENT == 0
    assert USUAL_SIZES[0] == 512 * MIB
    for table in ("mbr", "none"):
        made = candidates(VolumeSettings(partition_table=table))
        sizes = [geometry.card_size for geometry in made]
        assert all(size < most for size, most in zip(sizes[1:], printed[1:], strict=True))
        # With its partition's start even the first fits a card of 2 GB, and 1 GB.
        assert sizes[0] < 10**9


def test_the_display_decides_what_is_too_large() -> None:
    settings = VolumeSettings(largest_card=4 * 10**9)
    assert [made.total_sectors * SECTOR for made in candidates(settings)] == list(USUAL_SIZES[:3])
    with pytest.raises(LayoutError) as caught:
        candidates(VolumeSettings(largest_card=100 * MIB))
    assert caught.value.reason == "layout.display-too-small"


def test_without_a_table_the_volume_begins_at_the_first_byte() -> None:
    (made,) = candidates(VolumeSettings(partition_table="none", volume_size=64 * MIB))
    assert (made.start, made.card_size) == (0, 64 * MIB)
    (made,) = candidates(VolumeSettings(volume_size=64 * MIB))
    assert (made.start, made.card_size) == (4 * MIB, 68 * MIB)


def test_just_below_two_gib_the_fats_take_the_clusters_that_are_too_many() -> None:
    (made,) = candidates(VolumeSettings(volume_size=2 * GIB))
    assert made.cluster_count <= FAT16_MOST
    assert made.cluster_count > FAT16_MOST - 4
    assert made.sectors_per_fat * FAT_COUNT > 514
    assert made.cluster_count > FAT12_MOST

"""A card's first sector: partition tables, and volumes without one."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path

import pytest

from cardprep.findings import Finding, Severity
from cardprep.volume.card import CardContent, read_card
from cardprep.volume.model import Extent
from tests.cards import KIB, MIB, FatImage, MemorySectors, make_volume, paths, run, slugs
from tests.volumes import START, USUAL, VOLUME, card_of, partition, table


def read(data: bytes | bytearray, sector_size: int = 512) -> CardContent:
    return read_card(MemorySectors(data, sector_size))


def loud(card: CardContent) -> list[Finding]:
    return [finding for finding in card.findings if finding.severity is not Severity.NOTE]


def only(card: CardContent) -> Finding:
    (finding,) = card.findings
    return finding


def test_one_partition(volume: bytes) -> None:
    card = read(card_of(table(USUAL), volume))
    assert card.findings == ()
    (partition,) = card.partitions
    assert (partition.number, partition.partition_type, partition.active) == (1, 0x0E, False)
    assert partition.where == Extent(START, VOLUME)
    assert card.volumes[0].facts.where == Extent(START, VOLUME)
    assert set(paths(card)) == {"STAGE.BIN"}
    assert card.table is not None


@pytest.mark.parametrize("place", [0, 1, 2, 3])
def test_the_partition_may_stand_in_any_entry(volume: bytes, place: int) -> None:
    entries = [bytes(16)] * 4
    entries[place] = partition(0x0E, START // 512, VOLUME // 512, status=0x80)
    card = read(card_of(table(*entries), volume))
    assert card.findings == ()
    assert (card.partitions[0].number, card.partitions[0].active) == (place + 1, True)


# Source: `sfdisk --list-types` of util-linux.
@pytest.mark.parametrize(
    ("kind", "right"),
    [
        pytest.param(0x01, True, id="FAT12"),
        pytest.param(0x04, True, id="FAT16 below 32 MB"),
        pytest.param(0x06, True, id="FAT16"),
        pytest.param(0x0E, True, id="FAT16 LBA"),
        pytest.param(0x0B, False, id="FAT32 CHS"),
        pytest.param(0x0C, False, id="FAT32 LBA"),
        pytest.param(0x07, False, id="exFAT"),
        pytest.param(0x83, False, id="Linux"),
        pytest.param(0xEF, False, id="EFI system"),
    ],
)
def test_type_bytes(volume: bytes, kind: int, right: bool) -> None:
    card = read(card_of(table(partition(kind, START // 512, VOLUME // 512)), volume))
    assert set(paths(card)) == {"STAGE.BIN"}
    if right:
        assert card.findings == ()
    else:
        finding = only(card)
        assert (finding.slug, finding.structure) == ("partition-type-contradicts", "partition 1")
        assert finding.parameters == {"partition_type": f"{kind:02X}", "found": "FAT16"}
        assert finding.severity is Severity.CAUTION


@pytest.mark.oracle
@pytest.mark.parametrize("kind", ["b", "c"])
def test_type_bytes_of_fat32(tmp_path: Path, kind: str) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(START + 34 * MIB)
    run("sfdisk", "-q", image, given=f"label: dos\nstart=8192, type={kind}\n")
    options = ("--offset", "8192", "-h", "8192", "-F", "32", "-s", "1", "--invariant")
    run("mkfs.fat", *options, image, str(34 * KIB))
    assert read(image.read_bytes()).findings == ()


@pytest.mark.oracle
def test_no_partition_table(tmp_path: Path) -> None:
    image = tmp_path / "card"
    make_volume(image, VOLUME, "-F", "16", "-s", "1")
    card = read(image.read_bytes())
    assert only(card).slug == "no-partition-table"
    assert (card.table, card.partitions, len(card.volumes)) == (None, (), 1)


@pytest.mark.oracle
def test_a_volume_whose_formatter_wrote_a_table_for_it(tmp_path: Path) -> None:
    # mkfs.fat --mbr=y writes an entry from sector 0 into the volume's own boot sector.
    image = tmp_path / "card"
    make_volume(image, VOLUME, "-F", "16", "-s", "1", "--mbr=y")
    data = image.read_bytes()
    assert data[446] == 0x80
    assert only(read(data)).slug == "no-partition-table"


def test_a_first_sector_that_is_both(volume: bytes) -> None:
    # One display may follow the table and another the volume: two contents on one card.
    first = bytearray(FatImage(volume).data[:512])
    struct.pack_into("<I", first, 28, 0)
    first[446:510] = USUAL + bytes(48)
    data = bytearray(volume + bytes(START + VOLUME - len(volume)))
    data[:512] = first
    data[START : START + VOLUME] = volume
    card = read(data)
    assert [(finding.slug, finding.parameters) for finding in card.findings] == [
        ("no-partition-table", {}),
        ("partition-table-odd", {"what": "volume-too"}),
    ]


@pytest.mark.parametrize(
    "entries",
    [
        pytest.param(
            USUAL[:1] + b"B" + USUAL[2:] + b"Remove disks or other media!".ljust(48), id="text"
        ),
        pytest.param(partition(0x0E, START // 512, 2**31), id="beyond the card"),
        pytest.param(USUAL + partition(0, 5, 5), id="odd entry"),
        pytest.param(partition(0x0E, 8192, 5, status=1), id="odd status"),
    ],
)
def test_boot_code_is_no_table(volume: bytes, entries: bytes) -> None:
    data = bytearray(volume)
    struct.pack_into("<I", data, 28, 0)
    data[446:510] = entries.ljust(64, b"\0")
    assert only(read(data + bytes(START))).slug == "no-partition-table"


# --- several partitions


def test_two_partitions(volume: bytes) -> None:
    later = START + VOLUME
    second = bytearray(volume)
    struct.pack_into("<I", second, 28, later // 512)
    entries = (USUAL, partition(0x0E, later // 512, VOLUME // 512))
    card = read(card_of(table(*entries), volume + bytes(second)))
    finding = only(card)
    assert (finding.slug, finding.parameters) == ("several-partitions", {"count": 2})
    assert len(card.volumes) == 2


def stretches(card: CardContent) -> set[tuple[str | None, object]]:
    return {
        (finding.structure, finding.parameters["other"])
        for finding in card.findings
        if finding.slug == "partitions-overlap"
    }


@pytest.mark.parametrize(
    ("places", "overlaps"),
    [
        pytest.param([(8192, 100), (8292, 100)], set(), id="neighbours"),
        pytest.param([(8192, 100), (8291, 100)], {("partition 1", 2)}, id="one sector"),
        pytest.param([(8291, 100), (8192, 100)], {("partition 2", 1)}, id="the other way round"),
        pytest.param(
            [(8192, 1000), (8200, 10), (8500, 10)],
            {("partition 1", 2), ("partition 1", 3)},
            id="two within one",
        ),
        pytest.param([(8192, 100), (8192, 100)], {("partition 1", 2)}, id="the same twice"),
    ],
)
def test_partitions_that_overlap(
    volume: bytes, places: Sequence[tuple[int, int]], overlaps: set[tuple[str, int]]
) -> None:
    entries = [partition(0x0E, start, count) for start, count in places]
    assert stretches(read(card_of(table(*entries), volume))) == overlaps


def test_a_partition_beyond_the_card(volume: bytes) -> None:
    entries = table(partition(0x0E, START // 512, VOLUME // 512 + 1))
    finding = only(read(card_of(entries, volume)))
    assert (finding.slug, finding.structure) == ("partition-beyond-card", "partition 1")
    assert finding.parameters == {"end": START + VOLUME + 512, "size": START + VOLUME}


def test_a_partition_that_begins_beyond_the_card(volume: bytes) -> None:
    card = read(card_of(table(partition(0x0E, 2**32 - 1, 2**32 - 1)), volume))
    assert slugs(card) == {"partition-beyond-card", "read-error"}
    assert card.volumes == ()


def test_a_card_that_was_cut_short(volume: bytes) -> None:
    data = card_of(table(USUAL), volume)[: START + 5 * MIB]
    assert slugs(read(data)) == {"partition-beyond-card"}
    # The same without a table: there the card itself is the room.
    whole = bytearray(volume)
    struct.pack_into("<I", whole, 28, 0)
    assert slugs(read(whole[: 5 * MIB])) == {"no-partition-table", "volume-beyond-partition"}


def test_a_volume_beyond_its_partition(volume: bytes) -> None:
    entries = table(partition(0x0E, START // 512, VOLUME // 512 - 1))
    finding = only(read(card_of(entries, volume)))
    assert finding.slug == "volume-beyond-partition"
    assert finding.severity is Severity.STOP


@pytest.mark.parametrize(
    ("entries", "finding"),
    [
        pytest.param(
            (partition(0x0E, START // 512, VOLUME // 512, status=0x42), bytes(16), USUAL),
            ("partition-status-odd", {"found": 0x42}),
            id="status",
        ),
        pytest.param(
            (USUAL, partition(0, 1, 1)), ("partition-table-odd", {"what": "entry"}), id="no type"
        ),
        pytest.param(
            (USUAL, partition(0x0C, 1, 0)),
            ("partition-table-odd", {"what": "entry"}),
            id="no sectors",
        ),
    ],
)
def test_odd_entries(
    volume: bytes, entries: Sequence[bytes], finding: tuple[str, dict[str, object]]
) -> None:
    card = read(card_of(table(*entries), volume))
    assert finding in [(found.slug, found.parameters) for found in card.findings]
    assert set(paths(card)) == {"STAGE.BIN"}


# --- sectors that are not of 512 bytes


@pytest.fixture(scope="module")
def large_sectors(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a card whose table and volume count in sectors of 4096 bytes."""
    image = tmp_path_factory.mktemp("large") / "volume"
    size = 32 * MIB
    make_volume(image, size, "-F", "16", "-S", "4096", "-s", "1", "-h", "1024")
    return card_of(table(partition(0x0E, START // 4096, size // 4096)), image.read_bytes())


def test_a_table_in_the_sectors_that_the_card_announces(large_sectors: bytes) -> None:
    card = read(large_sectors, 4096)
    assert card.findings == ()
    assert card.partitions[0].where == Extent(START, 32 * MIB)


def test_a_copy_of_such_a_card_as_a_file(large_sectors: bytes) -> None:
    # A file announces nothing, so that the table is taken for one of 512.
    finding = only(read(large_sectors, 512))
    assert (finding.slug, finding.parameters) == ("partition-table-odd", {"what": "sector-size"})


def test_another_place_counts_only_if_its_volume_has_such_sectors(volume: bytes) -> None:
    # By sectors of 1024 bytes the entry leads to a volume, but to one that has other sectors.
    card = read(card_of(table(partition(0x0E, START // 1024, VOLUME // 1024)), volume))
    assert slugs(card) == {"volume-unreadable"}


def test_a_card_of_small_sectors_read_with_large_ones(volume: bytes) -> None:
    card = read(card_of(table(USUAL), volume), 4096)
    finding = only(card)
    assert (finding.slug, finding.parameters) == ("partition-table-odd", {"what": "sector-size"})
    assert card.partitions[0].where == Extent(START, VOLUME)
    # Without a table the volume itself says it.
    whole = bytearray(volume)
    struct.pack_into("<I", whole, 28, 0)
    assert slugs(read(whole, 4096)) == {"no-partition-table", "partition-table-odd"}

"""Chains of logical partitions: what sfdisk makes is read, and each damage is named."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.card import OVERLAPS_MOST, CardContent, read_card
from cardprep.volume.logical import RECORDS_MOST, Chain, ExtendedBootRecord, chain_unit
from cardprep.volume.mbr import PartitionEntry
from cardprep.volume.model import Extent
from tests.cards import MIB, MemorySectors, run, slugs
from tests.volumes import partition, table

SIZE = 16 * MIB
# Where the extended partition stands, and the two records of its chain.
EXTENDED = 4096
SECOND = 8192

Said = set[tuple[str, str | None, object]]


def chained(*records: tuple[int, bytes], kind: int = 0x05, size: int = SIZE) -> bytearray:
    """Return a card with one extended partition and records in some of its sectors."""
    data = bytearray(size)
    data[:512] = table(partition(kind, EXTENDED, SIZE // 512 - EXTENDED))
    for sector, record in records:
        data[sector * 512 : sector * 512 + 512] = record
    return data


FIRST = table(partition(0x0C, 64, 2048), partition(0x05, SECOND - EXTENDED, 4096))
LAST = table(partition(0x83, 64, 2048))
SOUND = ((EXTENDED, FIRST), (SECOND, LAST))


def read(data: bytes | bytearray, sector_size: int = 512) -> CardContent:
    return read_card(MemorySectors(data, sector_size))


def said(card: CardContent) -> Said:
    """Return what is said besides that there are no volumes and that there is a chain."""
    return {
        (finding.slug, finding.structure, finding.parameters.get("what"))
        for finding in card.findings
        if finding.slug not in ("volume-unreadable", "table-not-usual", "several-partitions")
    }


def places(card: CardContent) -> list[tuple[int, str, Extent]]:
    return [(part.number, part.kind, part.where) for part in card.partitions]


@pytest.mark.parametrize("kind", [0x05, 0x0F, 0x85])
def test_a_chain_of_two(kind: int) -> None:
    records = [(at, raw.replace(b"\x05", bytes((kind,)))) for at, raw in SOUND]
    card = read(chained(*records, kind=kind))
    assert places(card) == [
        (1, "extended", Extent(EXTENDED * 512, SIZE - EXTENDED * 512)),
        (5, "logical", Extent((EXTENDED + 64) * 512, MIB)),
        (6, "logical", Extent((SECOND + 64) * 512, MIB)),
    ]
    assert [part.type_text for part in card.partitions] == [f"{kind:02X}", "0C", "83"]
    assert said(card) == set()
    (unusual,) = (found for found in card.findings if found.slug == "table-not-usual")
    assert unusual.parameters == {"what": "logical", "count": 2}


@pytest.mark.oracle
def test_what_sfdisk_makes_is_read(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(64 * MIB)
    script = "label: dos\nstart=1MiB, size=1MiB, type=c\nstart=4MiB, type=5\n" + "".join(
        f"start={start}MiB, size={size}MiB, type={kind}\n"
        for start, size, kind in ((5, 1, "c"), (8, 2, "6"), (15, 2, "83"), (20, 1, "82"))
    )
    run("sfdisk", "-q", image, given=script)
    truth = json.loads(run("sfdisk", "--json", image))["partitiontable"]["partitions"]
    card = read(image.read_bytes())
    assert [
        (part.where.offset // 512, part.where.length // 512, part.type_text)
        for part in card.partitions
    ] == [(part["start"], part["size"], part["type"].upper().zfill(2)) for part in truth]
    numbers = [int(part["node"].removeprefix(str(image))) for part in truth]
    assert [part.number for part in card.partitions] == numbers
    assert said(card) == set()


@pytest.mark.oracle
def test_a_fat_volume_in_a_logical_partition_is_read(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(32 * MIB)
    run("sfdisk", "-q", image, given="label: dos\nstart=2048, type=f\nstart=4096, type=6\n")
    where = json.loads(run("sfdisk", "--json", image))["partitiontable"]["partitions"][1]
    start, size = where["start"], where["size"]
    options = ("--offset", str(start), "-h", str(start), "-F", "16", "-n", "LOGICAL")
    run("mkfs.fat", *options, image, str(size // 2))
    card = read(image.read_bytes())
    assert [volume.facts.label for volume in card.volumes] == ["LOGICAL"]
    assert card.volumes[0].facts.where.offset == start * 512
    assert said(card) == set()
    assert slugs(card) == {"table-not-usual"}


@pytest.mark.oracle
def test_an_extended_partition_that_holds_none(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(32 * MIB)
    run("sfdisk", "-q", image, given="label: dos\nstart=2048, type=5\n")
    assert [part.kind for part in read(image.read_bytes()).partitions] == ["extended"]


# --- one damage each


def linked(to: int) -> bytes:
    return table(partition(0x0C, 64, 2048), partition(0x05, to, 4096))


@pytest.mark.parametrize(
    ("records", "finding"),
    [
        pytest.param(
            [(EXTENDED, linked(0))], ("logical-chain-broken", "EBR 1", "ebr-loop"), id="to itself"
        ),
        pytest.param(
            [(EXTENDED, FIRST), (SECOND, linked(0))],
            ("logical-chain-broken", "EBR 2", "ebr-loop"),
            id="back to the first",
        ),
        pytest.param(
            [(EXTENDED, linked(2**32 - 1))],
            ("logical-chain-broken", "EBR 1", "ebr-outside"),
            id="out of the partition",
        ),
        pytest.param(
            [(EXTENDED, linked(SIZE // 512 - EXTENDED))],
            ("logical-chain-broken", "EBR 1", "ebr-outside"),
            id="a sector too far",
        ),
        pytest.param(
            [(EXTENDED, FIRST)],
            ("logical-chain-broken", "EBR 2", "ebr-no-signature"),
            id="to no record",
        ),
        pytest.param(
            [(EXTENDED, FIRST + b""), (SECOND, LAST[:510] + b"\x55\x55")],
            ("logical-chain-broken", "EBR 2", "ebr-no-signature"),
            id="signature",
        ),
        pytest.param(
            [(EXTENDED, table(partition(0x0C, 64, 100), bytes(16), partition(0x0C, 900, 100)))],
            ("partition-table-odd", "EBR 1", "ebr-entries"),
            id="a third entry",
        ),
        pytest.param(
            [(EXTENDED, table(partition(0x0C, 64, 100), partition(0x0C, 900, 100)))],
            ("partition-table-odd", "EBR 1", "ebr-entries"),
            id="two partitions",
        ),
        pytest.param(
            [(EXTENDED, table(partition(0x0C, 64, 100), partition(0, 5, 5)))],
            ("partition-table-odd", "EBR 1", "ebr-entries"),
            id="an entry half filled in",
        ),
        pytest.param(
            [(EXTENDED, table(partition(0x0C, 0, 100)))],
            ("partition-table-odd", "partition 5", "logical-outside"),
            id="over its own record",
        ),
        pytest.param(
            [(EXTENDED, table(partition(0x0C, 64, SIZE // 512 - EXTENDED)))],
            ("partition-table-odd", "partition 5", "logical-outside"),
            id="longer than the extended one",
        ),
    ],
)
def test_damage(records: list[tuple[int, bytes]], finding: tuple[str, str, str]) -> None:
    card = read(chained(*records))
    found = said(card) - {("partition-beyond-card", "partition 5", None)}
    assert found == {finding}
    # What came before the damage is there.
    assert (5, "logical") in [(part.number, part.kind) for part in card.partitions]


def test_a_chain_that_breaks_off_leaves_something_undecided() -> None:
    card = read(chained((EXTENDED, linked(0))))
    assert any(found.undecided for found in card.findings if found.slug == "logical-chain-broken")


def test_logical_partitions_that_overlap() -> None:
    first = table(partition(0x0C, 64, 6000), partition(0x05, SECOND - EXTENDED, 4096))
    card = read(chained((EXTENDED, first), (SECOND, LAST)))
    assert ("partitions-overlap", "partition 5", None) in said(card)


def test_partitions_that_all_overlap_are_named_and_counted() -> None:
    four = [partition(0x83, 64 + n, 2000) for n in range(4)]
    records = [
        (EXTENDED + n, table(*four[:3], partition(0x05, n + 1, 1))) for n in range(RECORDS_MOST)
    ]
    card = read(chained(*records))
    named = [found for found in card.findings if found.slug == "partitions-overlap"]
    (more,) = (found for found in card.findings if found.slug == "more-findings")
    count = 3 * RECORDS_MOST
    assert len(named) == OVERLAPS_MOST
    assert more.parameters["count"] == count * (count - 1) // 2 - OVERLAPS_MOST


def test_a_primary_partition_over_the_extended_one() -> None:
    data = chained(*SOUND)
    data[:512] = table(partition(0x05, EXTENDED, 20000), partition(0x0C, EXTENDED + 64, 5000))
    overlaps = [
        (found.structure, found.parameters["other"])
        for found in read(data).findings
        if found.slug == "partitions-overlap"
    ]
    assert ("partition 1", 2) in overlaps


def test_two_chains() -> None:
    data = chained(*SOUND)
    data[:512] = table(partition(0x05, EXTENDED, 4096), partition(0x0F, SECOND, 4096))
    data[EXTENDED * 512 : EXTENDED * 512 + 512] = table(partition(0x0C, 64, 2048))
    card = read(data)
    assert [part.number for part in card.partitions] == [1, 2, 5, 6]
    assert said(card) == {("partition-table-odd", "card", "two-extended")}


def test_a_record_that_cannot_be_read() -> None:
    data = chained(*SOUND)
    card = read_card(MemorySectors(data, bad=[(SECOND * 512, SECOND * 512 + 512)]))
    assert said(card) == {("read-error", "EBR 2", None)}


def test_a_chain_without_end_is_cut_off() -> None:
    records = [
        (EXTENDED + n, table(partition(0x0C, 64, 1), partition(0x05, n + 1, 1)))
        for n in range(RECORDS_MOST + 5)
    ]
    medium = MemorySectors(chained(*records))
    card = read_card(medium)
    last = f"EBR {RECORDS_MOST}"
    assert ("logical-chain-broken", last, "ebr-too-many") in said(card)
    assert sum(part.kind == "logical" for part in card.partitions) == RECORDS_MOST
    assert sum(end - start for start, end in medium.reads) < 64 * MIB


# --- sectors of another size


def test_a_chain_in_large_sectors() -> None:
    data = bytearray(32 * MIB)
    data[:512] = table(partition(0x05, 1024, 4096))
    data[1024 * 4096 : 1024 * 4096 + 512] = table(partition(0x0C, 8, 256))
    known = read(data, 4096)
    assert said(known) == set()
    assert places(known)[1] == (5, "logical", Extent(1032 * 4096, MIB))
    # The same card as a file, which announces 512.
    copied = read(data)
    assert said(copied) == {("partition-table-odd", "card", "sector-size")}
    assert places(copied)[1] == places(known)[1]


def test_a_chain_in_small_sectors_read_with_large_ones() -> None:
    card = read(chained(*SOUND), 4096)
    assert ("partition-table-odd", "card", "sector-size") in said(card)
    assert [part.where.offset for part in card.partitions][1:] == [
        (EXTENDED + 64) * 512,
        (SECOND + 64) * 512,
    ]


def test_without_any_record_the_announced_size_counts() -> None:
    entry = PartitionEntry(partition_type=5, first_sector=8, sectors=8)
    assert chain_unit(MemorySectors(bytes(MIB)), entry, (4096, 512)) == 4096


# --- any bytes


@settings(deadline=None)
@given(st.binary(max_size=600))
def test_any_bytes_are_a_record_or_none(raw: bytes) -> None:
    for data in (raw, raw[:510].ljust(510, b"\1") + b"\x55\xaa"):
        record = ExtendedBootRecord.parse(data)
        if record is not None:
            assert record.to_bytes() == data[:512]
            assert ExtendedBootRecord.parse(record.to_bytes()) == record


NUMBERS = st.one_of(st.integers(0, 40), st.integers(0, 2**32 - 1))


@settings(deadline=None, max_examples=200)
@given(
    records=st.dictionaries(
        st.integers(1, 30),
        st.lists(
            st.tuples(st.sampled_from([0, 5, 5, 0x0C, 0x0F, 0x83]), NUMBERS, NUMBERS), max_size=4
        ),
        max_size=12,
    ),
    unit=st.sampled_from([512, 4096]),
)
def test_any_chain_comes_to_an_end(
    records: dict[int, list[tuple[int, int, int]]], unit: int
) -> None:
    data = bytearray(40 * unit)
    for sector, entries in records.items():
        raw = table(*(partition(*entry) for entry in entries))
        data[sector * unit : sector * unit + 512] = raw
    chain = Chain(MemorySectors(data, unit), unit)
    chain.follow(PartitionEntry(partition_type=5, first_sector=1, sectors=39))
    assert len(chain.seen) <= 39
    assert len(chain.partitions) <= 4 * len(chain.seen)
    struct.pack_into("<B3xB3xII", data, 446, 0, 5, 1, 39)
    data[510:512] = b"\x55\xaa"
    assert read(data, unit).findings

"""Cards with a GUID partition table: their entries, their first sector, and what sfdisk says."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.volume.any_volume import VOLUMES_MOST
from cardprep.volume.card import read_card
from cardprep.volume.gpt import USED_MOST, GuidEntry, guid_text
from tests.cards import MIB, MemorySectors, run
from tests.volume.guid_card import LINUX, SIZE, GuidCard, Said, entry, said, small_volume
from tests.volumes import partition, table

# --- entries

TOO_FAR = SIZE // 512


@pytest.mark.parametrize(
    ("entries", "findings"),
    [
        pytest.param([], {("volume-unreadable", "GPT", "gpt-empty")}, id="none"),
        pytest.param(
            [entry(1, 4096, 4095), entry(2)],
            {("partition-table-odd", "partition 1", "entry")},
            id="backwards",
        ),
        pytest.param(
            [entry(1, 2048, 2**64 - 1), entry(2)],
            {("partition-table-odd", "partition 1", "entry")},
            id="without end",
        ),
        pytest.param(
            [entry(1, 33, 40)],
            {("partition-table-odd", "partition 1", "gpt.outside")},
            id="before the room",
        ),
        pytest.param(
            [entry(1, 2048, TOO_FAR - 1)],
            {("partition-table-odd", "partition 1", "gpt.outside")},
            id="over the backup",
        ),
        pytest.param(
            [entry(1, 2048, TOO_FAR)],
            {
                ("partition-table-odd", "partition 1", "gpt.outside"),
                ("partition-beyond-card", "partition 1", None),
            },
            id="beyond the card",
        ),
        pytest.param(
            [entry(1, 2048, 3000), replace(entry(1, 3001, 3500))],
            {("partition-table-odd", "partition 2", "gpt.twice")},
            id="one identifier twice",
        ),
        pytest.param(
            [entry(1, 2048, 3000), entry(2, 3000, 3500)],
            {("partitions-overlap", "partition 1", None)},
            id="overlap",
        ),
    ],
)
def test_entries_that_are_odd(entries: list[GuidEntry], findings: Said) -> None:
    assert said(GuidCard(*entries).read()) == findings


def test_more_partitions_than_anybody_has() -> None:
    many = [replace(entry(1, 2048 + n, 2048 + n), unique_guid=bytes([n]) * 16) for n in range(128)]
    card = GuidCard(*many)
    assert len(card.read().partitions) == USED_MOST
    array = b"".join(one.to_bytes() for one in [*many, entry(200, 5000, 5001)])
    for header in (card.first, card.last):
        moved = header.own_lba + 1 if header.own_lba == 1 else header.entries_lba - 8
        card.put(replace(header, entry_count=129, entries_lba=moved), array)
    assert ("too-many-partitions", "GPT", None) in said(card.read())


def test_no_more_volumes_are_read_than_a_bound_allows() -> None:
    starts = [2048 + 20 * n for n in range(VOLUMES_MOST + 3)]
    card = GuidCard(*(entry(n, at, at + 19) for n, at in enumerate(starts, 1)))
    for at in starts:
        card.data[at * 512 : at * 512 + 20 * 512] = small_volume()
    found = card.read()
    assert len(found.volumes) == VOLUMES_MOST
    assert ("volume-unreadable", f"partition {VOLUMES_MOST + 1}", "too-many-volumes") in said(found)


def test_no_place_is_read_twice() -> None:
    card = GuidCard(entry(1, 2048, 2067), entry(2, 2048, 2067))
    card.data[2048 * 512 : 2068 * 512] = small_volume()
    found = card.read()
    assert len(found.volumes) == 1
    assert ("volume-unreadable", "partition 2", "same-place") in said(found)


def test_a_type_that_contradicts() -> None:
    card = GuidCard(entry(1, 2048, 2067, LINUX))
    card.data[2048 * 512 : 2068 * 512] = small_volume()
    (finding,) = (f for f in card.read().findings if f.slug == "partition-type-contradicts")
    assert finding.parameters == {
        "partition_type": "0FC63DAF-8483-4772-8E79-3D69D8477DE4",
        "found": "FAT12",
    }


# --- the first sector


def first_sector(*entries: bytes) -> Callable[[GuidCard], None]:
    def change(card: GuidCard) -> None:
        card.data[:512] = table(*entries)

    return change


@pytest.mark.parametrize(
    ("change", "finding"),
    [
        pytest.param(
            first_sector(partition(0xEE, 1, TOO_FAR - 1), partition(0x0C, 2048, 2048)),
            ("gpt-hybrid", "MBR", None),
            id="hybrid",
        ),
        pytest.param(
            first_sector(partition(0xEE, 1, 100)),
            ("partition-table-odd", "partition 1", "protective"),
            id="covers a part",
        ),
        pytest.param(
            first_sector(partition(0xEE, 0, TOO_FAR)),
            ("partition-table-odd", "partition 1", "protective"),
            id="begins too early",
        ),
        pytest.param(
            first_sector(partition(0x83, 2048, 2048)), ("gpt-stale", "GPT header", None), id="stale"
        ),
        pytest.param(first_sector(), ("gpt-stale", "backup GPT header", None), id="no entry"),
    ],
)
def test_first_sectors_that_do_not_fit(
    change: Callable[[GuidCard], None], finding: tuple[str, str, object]
) -> None:
    card = GuidCard(entry())
    change(card)
    assert finding in said(card.read())


def test_the_largest_number_may_stand_for_the_whole_card() -> None:
    card = GuidCard(entry())
    first_sector(partition(0xEE, 1, 0xFFFFFFFF))(card)
    assert said(card.read()) == set()


def test_a_hybrid_that_leads_elsewhere_is_read_as_well() -> None:
    card = GuidCard(entry())
    first_sector(partition(0xEE, 1, 2047), partition(0x01, 5000, 20))(card)
    card.data[5000 * 512 : 5020 * 512] = small_volume()
    found = card.read()
    assert [(part.number, part.kind) for part in found.partitions] == [(1, "gpt"), (2, "primary")]
    assert len(found.volumes) == 1


def test_a_table_that_is_announced_and_not_there() -> None:
    card = read_card(MemorySectors(table(partition(0xEE, 1, 8191)).ljust(SIZE, b"\0")))
    assert said(card) == {("volume-unreadable", "partition 1", "gpt-missing")}


def test_what_stands_in_a_volume_is_no_old_table() -> None:
    card = GuidCard(entry())
    whole = small_volume() + bytes(SIZE - 20 * 512)
    # The old header stands in the FAT of the volume that the card is now.
    card.data[:512] = whole[:512]
    found = said(card.read())
    assert ("gpt-stale", "backup GPT header", None) in found
    assert ("gpt-stale", "GPT header", None) not in found


# --- sfdisk

SCRIPT = """label: gpt
label-id: 11111111-2222-3333-4444-555555555555
start=2048, size=4096, type=EBD0A0A2-B9E5-4433-87C0-68B6B72699C7, name="charts"
start=8192, size=2048, type=L, name="größer", attrs=LegacyBIOSBootable
start=6144, size=1024, type=S
"""


@pytest.mark.oracle
def test_what_sfdisk_makes_is_read(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(16 * MIB)
    run("sfdisk", "-q", image, given=SCRIPT)
    truth = json.loads(run("sfdisk", "--json", image))["partitiontable"]
    card = read_card(MemorySectors(image.read_bytes()))
    assert said(card) == set()
    assert card.gpt is not None
    header = card.gpt.header
    assert guid_text(header.disk_guid) == truth["id"]
    assert (header.first_usable, header.last_usable) == (truth["firstlba"], truth["lastlba"])
    assert [
        {
            "start": one.first_lba,
            "size": one.sectors,
            "type": guid_text(one.type_guid),
            "uuid": guid_text(one.unique_guid),
            "name": one.text,
        }
        for _, one in card.gpt.entries
    ] == [
        {key: part.get(key, "") for key in ("start", "size", "type", "uuid", "name")}
        for part in truth["partitions"]
    ]
    assert [part.active for part in card.partitions] == [False, True, False]


@pytest.mark.oracle
def test_sfdisk_reads_what_is_laid_out(tmp_path: Path) -> None:
    image = tmp_path / "card"
    image.write_bytes(GuidCard(entry(1), entry(2, 4096, 5000, LINUX)).data)
    assert "No errors detected" in run("sfdisk", "--verify", image)
    parts = json.loads(run("sfdisk", "--json", image))["partitiontable"]["partitions"]
    assert [(part["start"], part["size"], part["name"]) for part in parts] == [
        (2048, 2048, "part 1"),
        (4096, 905, "part 2"),
    ]


@pytest.mark.oracle
def test_what_wipefs_calls_old_is_old(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(16 * MIB)
    run("sfdisk", "-q", image, given=SCRIPT)
    data = bytearray(image.read_bytes())
    data[:512] = table(partition(0x0C, 2048, 4096))
    image.write_bytes(data)
    marks = json.loads(run("wipefs", "--json", image))["signatures"]
    places = {int(mark["offset"], 16) for mark in marks if mark["type"] == "gpt"}
    card = read_card(MemorySectors(data))
    stale = {found.parameters["offset"] for found in card.findings if found.slug == "gpt-stale"}
    assert stale == places == {512, 16 * MIB - 512}

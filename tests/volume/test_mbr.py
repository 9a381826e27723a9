"""The partition table: where its fields stand, what sfdisk reads and writes, refusals."""

from __future__ import annotations

import json
import struct
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotPartitionTableError
from cardprep.volume import mbr
from cardprep.volume.mbr import MasterBootRecord, PartitionEntry, chs, one_partition
from tests.cards import MIB, run

USED = PartitionEntry(partition_type=0x0C, first_sector=8192, sectors=65536)
EMPTY = PartitionEntry()
TABLE = MasterBootRecord(entries=(USED, EMPTY, EMPTY, EMPTY))


# Source: `sfdisk --list-types` of util-linux.
@pytest.mark.oracle
@pytest.mark.parametrize(
    ("byte", "words"),
    [
        pytest.param(mbr.FAT12, "FAT12", id="01"),
        pytest.param(mbr.FAT16_SMALL, "FAT16 <32M", id="04"),
        pytest.param(mbr.EXTENDED_CHS, "Extended", id="05"),
        pytest.param(mbr.FAT16, "FAT16", id="06"),
        pytest.param(mbr.EXFAT_OR_NTFS, "HPFS/NTFS/exFAT", id="07"),
        pytest.param(mbr.FAT32_CHS, "W95 FAT32", id="0b"),
        pytest.param(mbr.FAT32_LBA, "W95 FAT32 (LBA)", id="0c"),
        pytest.param(mbr.FAT16_LBA, "W95 FAT16 (LBA)", id="0e"),
        pytest.param(mbr.EXTENDED_LBA, "W95 Ext'd (LBA)", id="0f"),
        pytest.param(mbr.PROTECTIVE_GPT, "GPT", id="ee"),
    ],
)
def test_type_bytes(byte: int, words: str) -> None:
    listed = dict(
        line.split(maxsplit=1)
        for line in run("sfdisk", "--list-types").splitlines()[2:]
        if len(line.split(maxsplit=1)) == 2
    )
    assert listed[f"{byte:2x}".strip()].strip() == words


# Source: the same program's tables; entry at 446 + 16 i, identifier at 440, 55 AA at 510.
@pytest.mark.oracle
def test_sfdisk_writes_what_is_read(tmp_path: Path) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(64 * MIB)
    run(
        *("sfdisk", "-q", image),
        given="label: dos\nlabel-id: 0x1234abcd\n"
        "start=8192, size=20480, type=c\nstart=30720, size=4096, type=e, bootable\n",
    )
    raw = image.read_bytes()[:512]
    table = MasterBootRecord.parse(raw)
    assert table.to_bytes() == raw
    assert table.disk_signature == struct.pack("<IH", 0x1234ABCD, 0)
    one, two, three, four = table.entries
    assert (one.partition_type, one.first_sector, one.sectors) == (0x0C, 8192, 20480)
    assert (two.partition_type, two.first_sector, two.sectors) == (0x0E, 30720, 4096)
    assert (one.status, two.status) == (0, mbr.ACTIVE)
    assert three == four == EMPTY
    assert not three.is_used


@pytest.mark.oracle
def test_sfdisk_reads_what_is_laid_out(tmp_path: Path) -> None:
    image = tmp_path / "card"
    table = one_partition(
        partition_type=mbr.FAT32_LBA, first_sector=8192, sectors=57344, disk_signature=0xB238B238
    )
    image.write_bytes(table.to_bytes() + bytes(32 * MIB - 512))
    found = json.loads(run("sfdisk", "--json", image))["partitiontable"]
    assert found["label"] == "dos"
    assert found["id"] == "0xb238b238"
    assert [(p["start"], p["size"], p["type"]) for p in found["partitions"]] == [(8192, 57344, "c")]
    assert "No errors detected" in run("sfdisk", "--verify", image)


def test_where_the_fields_stand() -> None:
    table = replace(TABLE, entries=(EMPTY, EMPTY, EMPTY, replace(USED, status=mbr.ACTIVE)))
    raw = table.to_bytes()
    assert len(raw) == 512
    assert raw[446:494] == bytes(48)
    assert raw[494] == 0x80
    assert raw[498] == 0x0C
    assert struct.unpack_from("<II", raw, 502) == (8192, 65536)
    assert raw[510:] == b"\x55\xaa"


# Common practice, no published source: 255 heads of 63 sectors, FE FF FF beyond cylinder 1023.
@pytest.mark.parametrize(
    ("sector", "stored"),
    [
        pytest.param(0, "000100", id="first sector"),
        pytest.param(62, "003f00", id="last sector of a track"),
        pytest.param(63, "010100", id="next head"),
        pytest.param(2048, "202100", id="1 MiB"),
        pytest.param(8192, "820300", id="4 MiB"),
        pytest.param(255 * 63, "000101", id="next cylinder"),
        pytest.param(256 * 255 * 63, "004100", id="ninth bit of the cylinder"),
        pytest.param(1024 * 255 * 63 - 1, "feffff", id="last address"),
        pytest.param(1024 * 255 * 63, "feffff", id="beyond"),
        pytest.param(2**32 - 1, "feffff", id="far beyond"),
    ],
)
def test_old_addresses(sector: int, stored: str) -> None:
    assert chs(sector).hex() == stored


@pytest.mark.oracle
@pytest.mark.parametrize("start", [2048, 8192, 16065, 300000])
def test_old_addresses_as_sfdisk_writes_them(tmp_path: Path, start: int) -> None:
    image = tmp_path / "card"
    with image.open("wb") as new:
        new.truncate(256 * MIB)
    run("sfdisk", "-q", image, given=f"label: dos\nstart={start}, size=100000, type=c\n")
    entry = MasterBootRecord.parse(image.read_bytes()[:512]).entries[0]
    assert entry.chs_first == chs(start)
    assert entry.chs_last == chs(start + 99999)


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        pytest.param(b"", "mbr.short", id="nothing"),
        pytest.param(TABLE.to_bytes()[:511], "mbr.short", id="a byte too few"),
        pytest.param(bytes(512), "mbr.no-signature", id="zeros"),
        pytest.param(bytes(510) + b"\xaa\x55", "mbr.no-signature", id="signature turned round"),
        pytest.param(bytes(510) + b"\x55\xaa", "mbr.empty", id="no partition"),
        pytest.param(
            replace(TABLE, entries=(replace(USED, sectors=0), EMPTY, EMPTY, EMPTY)).to_bytes(),
            "mbr.empty",
            id="no sectors",
        ),
        pytest.param(
            replace(TABLE, entries=(replace(USED, partition_type=0),) + (EMPTY,) * 3).to_bytes(),
            "mbr.empty",
            id="no type",
        ),
        pytest.param(
            replace(TABLE, entries=(replace(USED, status=1), EMPTY, EMPTY, EMPTY)).to_bytes(),
            "mbr.status",
            id="odd status",
        ),
    ],
)
def test_what_is_no_partition_table_is_refused(raw: bytes, reason: str) -> None:
    with pytest.raises(NotPartitionTableError) as caught:
        MasterBootRecord.parse(raw)
    assert caught.value.reason == reason


def test_one_right_status_is_enough() -> None:
    table = replace(TABLE, entries=(replace(USED, status=1), EMPTY, EMPTY, USED))
    assert MasterBootRecord.parse(table.to_bytes()) == table
    assert [entry.status_is_defined for entry in table.entries] == [False, True, True, True]


@pytest.mark.parametrize(
    ("entry", "odd"),
    [
        pytest.param(USED, False, id="used"),
        pytest.param(EMPTY, False, id="empty"),
        pytest.param(replace(USED, partition_type=0), True, id="sectors without a type"),
        pytest.param(replace(USED, sectors=0), True, id="a type without sectors"),
        pytest.param(PartitionEntry(first_sector=1), True, id="only a first sector"),
    ],
)
def test_entries_that_are_neither_used_nor_empty(entry: PartitionEntry, odd: bool) -> None:
    assert entry.is_odd == odd


@pytest.mark.parametrize("length", [0, 15, 17])
def test_an_entry_has_16_bytes(length: int) -> None:
    with pytest.raises(NotPartitionTableError, match=r"mbr\.entry-length"):
        PartitionEntry.parse(bytes(length))


@settings(deadline=None)
@given(st.binary(min_size=16, max_size=16))
def test_any_entry_is_read_and_laid_out_again(raw: bytes) -> None:
    assert PartitionEntry.parse(raw).to_bytes() == raw


@settings(deadline=None, max_examples=300)
@given(
    st.one_of(
        st.binary(max_size=600),
        st.binary(min_size=510, max_size=510).map(lambda raw: raw + b"\x55\xaa"),
    )
)
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    try:
        table = MasterBootRecord.parse(raw)
    except NotPartitionTableError:
        return
    assert table.to_bytes() == raw[:512]
    assert MasterBootRecord.parse(table.to_bytes()) == table


@settings(deadline=None)
@given(
    kind=st.integers(1, 255),
    start=st.integers(0, 2**31),
    count=st.integers(1, 2**31 - 1),
    signature=st.integers(0, 2**32 - 1),
)
def test_building_and_reading_gives_the_same(
    kind: int, start: int, count: int, signature: int
) -> None:
    table = one_partition(
        partition_type=kind, first_sector=start, sectors=count, disk_signature=signature
    )
    assert MasterBootRecord.parse(table.to_bytes()) == table
    assert struct.unpack("<IH", table.disk_signature) == (signature, 0)

"""Volumes of others: each is known by its own mark, and its own tools or blkid agree."""

from __future__ import annotations

import struct
import uuid
import zlib
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.card import CardContent, read_card
from cardprep.volume.foreign import PROMISED, ForeignVolume, contradicts, recognise
from cardprep.volume.model import Extent
from tests.cards import KIB, MIB, MemorySectors, make_volume, run
from tests.volumes import START, card_of, partition, table

SIZE = MIB
UUID = "01234567-89ab-cdef-0123-456789abcdef"
RAW = uuid.UUID(UUID).bytes
PVID = "abcdef-GHIJ-klmn-OPQR-stuv-wxyz-012345"


def placed(size: int, parts: Mapping[int, bytes]) -> bytes:
    """Return so many bytes with some at their places."""
    data = bytearray(size)
    for at, raw in parts.items():
        data[at : at + len(raw)] = raw
    return bytes(data)


def look(data: bytes, start: int = 0, room: int | None = None) -> ForeignVolume | None:
    return recognise(MemorySectors(data), start, len(data) - start if room is None else room)


# --- made by their own tools


@pytest.mark.oracle
@pytest.mark.parametrize("kind", ["ext2", "ext3", "ext4"])
def test_what_mke2fs_makes(tmp_path: Path, kind: str) -> None:
    image = tmp_path / "volume"
    run("mkfs.ext4", "-q", "-t", kind, "-L", "größer", "-U", UUID, image, "4M")
    found = look(image.read_bytes())
    assert found == ForeignVolume(
        name=kind, label="größer", identifier=UUID, where=Extent(0, 4 * MIB)
    )
    assert f'TYPE="{kind}"' in run("blkid", "-p", image)


@pytest.mark.oracle
@pytest.mark.parametrize("page", [4096, 8192, 16384, 65536])
def test_what_mkswap_makes(tmp_path: Path, page: int) -> None:
    image = tmp_path / "volume"
    image.write_bytes(bytes(SIZE))
    image.chmod(0o600)
    run("mkswap", "-p", str(page), "-L", "SWAP", "-U", UUID, image)
    found = look(image.read_bytes())
    assert found is not None
    assert (found.name, found.label, found.identifier) == ("swap", "SWAP", UUID)


@pytest.mark.oracle
def test_what_mkfs_exfat_makes(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    image.write_bytes(bytes(8 * MIB))
    run("mkfs.exfat", image)
    found = look(image.read_bytes())
    assert found is not None
    assert (found.name, found.label, found.identifier) == ("exFAT", "", "")


# --- made by hand

# Source of each: the ones that cardprep/volume/foreign.py names, and libblkid's own reading of
# them, which judges those that have enough of their structure here.
XFS = placed(
    512,
    {
        0: struct.pack(">4sIQQQ16sQ", b"XFSB", 4096, 4096, 0, 0, RAW, 1000),
        80: struct.pack(">II", 1, 4096),
        84: struct.pack(">IIII", 1024, 4, 0, 0),
        100: struct.pack(">HHHH", 0xB4A5, 512, 512, 8),
        108: b"LABEL",
        120: bytes((12, 9, 9, 3, 10, 0, 0, 25)),
    },
)
LVM_BODY = struct.pack("<I8s", 32, b"LVM2 001") + PVID.replace("-", "").encode()
BTRFS = placed(
    4096,
    {
        32: RAW,
        48: struct.pack("<Q", 65536),
        64: b"_BHRfS_M",
        144: struct.pack("<II", 4096, 16384),
        299: b"LABEL",
    },
)
NTFS = placed(
    512,
    {
        0: struct.pack("<3s8sHBHBHHB", b"\xeb\x52\x90", b"NTFS    ", 512, 8, 0, 0, 0, 0, 0xF8),
        40: struct.pack("<QQQbxxxbxxxQ", 2047, 4, 8, -10, 1, 0x0123456789ABCDEF),
        510: b"\x55\xaa",
    },
)
ISO = placed(2048, {0: b"\1CD001\1", 40: b"LABEL".ljust(32)})
ISO_END = b"\xffCD001\1"
HFS_PLUS = struct.pack(">2sHI4s", b"H+", 4, 256, b"10.0")
HFS = placed(162, {0: b"BD", 36: b"\5LABEL"})

MADE = [
    pytest.param(
        "NTFS",
        # blkid wants the first and the fourth record of the file table as well.
        {0: NTFS, 16384: b"FILE", 16384 + 3 * 1024: b"FILE"},
        "",
        "0123456789ABCDEF",
        id="NTFS",
    ),
    pytest.param("BitLocker", {0: b"\xeb\x58\x90-FVE-FS-"}, "", "", id="BitLocker"),
    pytest.param("exFAT", {0: b"\xeb\x76\x90EXFAT   "}, "", "", id="exFAT"),
    pytest.param("HFS+", {1024: HFS_PLUS}, "", "", id="HFS+"),
    pytest.param("HFS+", {1024: b"HX\0\5"}, "", "", id="HFSX"),
    pytest.param("HFS+", {1024: HFS[:124] + b"H+" + HFS[126:]}, "", "", id="HFS+ in HFS"),
    pytest.param("HFS", {1024: HFS}, "LABEL", "", id="HFS"),
    pytest.param(
        "APFS",
        {0: struct.pack("<8xQQHHHH4sI32x16s", 1, 1, 1, 0x8000, 0, 0, b"NXSB", 4096, RAW)},
        "",
        UUID,
        id="APFS",
    ),
    pytest.param(
        "F2FS",
        {
            1024: placed(
                3072,
                {
                    0: struct.pack("<IHHIIII", 0xF2F52010, 1, 15, 9, 3, 12, 9),
                    108: RAW,
                    124: "größer".encode("utf-16-le"),
                },
            )
        },
        "größer",
        UUID,
        id="F2FS",
    ),
    pytest.param("btrfs", {65536: BTRFS}, "LABEL", UUID, id="btrfs"),
    pytest.param("XFS", {0: XFS}, "LABEL", UUID, id="XFS"),
    pytest.param("ISO 9660", {32768: ISO, 34816: ISO_END}, "LABEL", "", id="ISO 9660"),
    pytest.param(
        "UDF",
        {32768: b"\0BEA01\1", 34816: b"\0NSR03\1", 36864: b"\0TEA01\1"},
        "",
        "",
        id="UDF",
    ),
    pytest.param(
        "UDF",
        {32768: ISO, 34816: ISO_END, 36864: b"\0BEA01\1", 38912: b"\0NSR02\1"},
        "LABEL",
        "",
        id="UDF beside ISO 9660",
    ),
    pytest.param(
        "UDF", {32768: b"\0BEA01\1", 36864: b"\0NSR03\1"}, "", "", id="UDF, sectors of 4096"
    ),
    pytest.param(
        "LUKS", {0: b"LUKS\xba\xbe\0\1", 168: UUID.encode()}, "", UUID, id="LUKS, version 1"
    ),
    pytest.param(
        "LUKS",
        {0: b"LUKS\xba\xbe\0\2", 24: b"LABEL", 168: UUID.encode()},
        "LABEL",
        UUID,
        id="LUKS, version 2",
    ),
    pytest.param(
        "LVM2",
        {512: struct.pack("<8sQI", b"LABELONE", 1, 0) + LVM_BODY},
        "",
        PVID,
        id="LVM2",
    ),
    pytest.param("SquashFS", {0: b"hsqs"}, "", "", id="SquashFS"),
]


@pytest.mark.parametrize(("name", "parts", "label", "identifier"), MADE)
def test_marks(name: str, parts: dict[int, bytes], label: str, identifier: str) -> None:
    data = placed(SIZE, parts)
    found = look(data)
    where = Extent(0, SIZE)
    assert found == ForeignVolume(name=name, label=label, identifier=identifier, where=where)
    # The same further on, in a partition, and on a card without a table.
    inside = look(bytes(START) + data, START)
    assert inside is not None
    assert (inside.name, inside.where) == (name, Extent(START, SIZE))
    card = read_card(MemorySectors(data))
    assert [one.name for one in card.foreign] == [name]
    # One of a kind that is read is said to be wrong, and how.
    what = "exfat.no-signature" if name == "exFAT" else name
    assert card.findings[0].parameters == {"what": what}


@pytest.mark.parametrize(("name", "parts", "label", "identifier"), MADE)
def test_a_mark_with_one_bit_off_is_none(
    name: str, parts: dict[int, bytes], label: str, identifier: str
) -> None:
    del label, identifier
    place = {"APFS": 32, "btrfs": 64, "NTFS": 3, "BitLocker": 3, "exFAT": 3, "LVM2": 24}
    place |= {"ISO 9660": 1}
    data = bytearray(placed(SIZE, parts))
    first, *rest = parts
    if name == "UDF" or rest:
        first = next(at for at, raw in parts.items() if b"NSR" in raw) if name == "UDF" else first
    data[first + place.get(name, 1)] ^= 0x20
    found = look(bytes(data))
    assert found is None or found.name != name


# What libblkid asks more of than a mark is left to the tools above.
JUDGED = {
    "APFS": "apfs",
    "F2FS": "f2fs",
    "ISO 9660": "iso9660",
    "LUKS": "crypto_LUKS",
    "btrfs": "btrfs",
    "XFS": "xfs",
    "NTFS": "ntfs",
    "LVM2": "LVM2_member",
}


def crc_of_lvm(data: bytes) -> bytes:
    """Return the sum of an LVM label: CRC-32 with another start and no end, from byte 20."""
    return struct.pack("<I", zlib.crc32(data[20:512], 0xF597A6CF ^ 0xFFFFFFFF) ^ 0xFFFFFFFF)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "parts", "label", "identifier"),
    [row for row in MADE if row.id in {*JUDGED, "LUKS, version 1", "LUKS, version 2"}],
)
def test_blkid_says_the_same(
    tmp_path: Path, name: str, parts: dict[int, bytes], label: str, identifier: str
) -> None:
    data = bytearray(placed(32 * MIB, parts))
    if name == "LVM2":
        data[528:532] = crc_of_lvm(bytes(data[512:1024]))
    image = tmp_path / "volume"
    image.write_bytes(data)
    told = dict(
        line.split("=", 1) for line in run("blkid", "-p", "-o", "export", image).splitlines()
    )
    assert told["TYPE"] == JUDGED[name]
    # Letters beyond ASCII it prints in a way of its own.
    if label.isascii() and label:
        assert told["LABEL"].replace("\\", "") == label
    if identifier:
        assert told["UUID"].lower() == identifier.lower()


# --- on a card


def only_of(card: CardContent, slug: str) -> Mapping[str, object]:
    (finding,) = (found for found in card.findings if found.slug == slug)
    return finding.parameters


@pytest.mark.parametrize(
    ("kind", "name", "parts", "right"),
    [
        pytest.param(0x07, "NTFS", {0: NTFS}, True, id="NTFS in 07"),
        pytest.param(0x0C, "NTFS", {0: NTFS}, False, id="NTFS in 0C"),
        pytest.param(0x83, "XFS", {0: XFS}, True, id="XFS in 83"),
        pytest.param(0x82, "XFS", {0: XFS}, False, id="XFS in 82"),
        pytest.param(0x96, "ISO 9660", {32768: ISO}, True, id="a type that promises nothing"),
    ],
)
def test_types(kind: int, name: str, parts: dict[int, bytes], right: bool) -> None:
    first = table(partition(kind, START // 512, SIZE // 512))
    card = read_card(MemorySectors(card_of(first, placed(SIZE, parts))))
    assert only_of(card, "volume-unreadable") == {"what": name}
    slugs = {finding.slug for finding in card.findings}
    assert ("partition-type-contradicts" in slugs) == (not right)
    assert contradicts(f"{kind:02X}", name) != right
    assert [one.where for one in card.foreign] == [Extent(START, SIZE)]


def test_label_and_identifier_are_told_in_harmless_spelling() -> None:
    data = placed(SIZE, {0: XFS, 108: b"\x1b[2J\xff"})
    told = only_of(read_card(MemorySectors(data)), "foreign-volume")
    assert told == {"found": "XFS", "label": "\\x1b[2J\ufffd", "identifier": UUID}


def test_a_copy_of_a_card_with_large_sectors() -> None:
    first = table(partition(0x83, 1024, 256))
    data = card_of(first, placed(SIZE, {0: XFS}), 1024 * 4096)
    for announced, slugs in ((4096, set()), (512, {"partition-table-odd"})):
        card = read_card(MemorySectors(data, announced))
        assert [part.where for part in card.partitions] == [Extent(START, SIZE)]
        found = {finding.slug for finding in card.findings}
        assert found == slugs | {"volume-unreadable", "foreign-volume"}


def test_a_disc_that_is_a_card_as_well() -> None:
    first = table(partition(0x83, 1024, 64))
    data = placed(2 * SIZE, {0: first, 32768: ISO, 34816: ISO_END})
    card = read_card(MemorySectors(data))
    assert [one.name for one in card.foreign] == ["ISO 9660"]
    assert ("card", "ISO 9660") in {
        (found.structure, found.parameters.get("what")) for found in card.findings
    }


@pytest.mark.oracle
def test_a_fat_volume_that_is_only_the_door_to_an_encrypted_one(tmp_path: Path) -> None:
    # Source: libbde, "BitLocker To Go": the identifier at byte 424 of a FAT boot sector.
    image = tmp_path / "volume"
    make_volume(image, 34 * MIB, "-F", "32", "-s", "1")
    data = bytearray(image.read_bytes())
    mark = uuid.UUID("4967d63b-2e29-4ad8-8399-f6a339e3d001").bytes_le
    for boot in (0, 6 * 512):
        data[boot + 424 : boot + 440] = mark
    card = read_card(MemorySectors(data))
    assert len(card.volumes) == 1
    assert [one.name for one in card.foreign] == ["BitLocker"]
    assert any(finding.undecided for finding in card.findings)


def test_types_are_written_as_they_are_compared() -> None:
    assert all(kind == kind.upper() and len(kind) in (2, 36) for kind in PROMISED)


# --- any bytes


@pytest.mark.parametrize("room", [0, 1, 511, 1024, 1026, 1082, 4096, 32769, 65537])
@pytest.mark.parametrize(("name", "parts", "label", "identifier"), MADE)
def test_volumes_that_end_too_early(
    name: str, parts: dict[int, bytes], label: str, identifier: str, room: int
) -> None:
    del label, identifier
    found = look(placed(SIZE, parts), room=room)
    assert found is None or found.where == Extent(0, room)
    assert found is None or found.name in (name, "ISO 9660", "HFS")


def test_what_cannot_be_read_has_no_mark() -> None:
    data = placed(SIZE, {0: XFS})
    assert recognise(MemorySectors(data, bad=[(0, 512)]), 0, SIZE) is None


def test_little_is_read_whatever_stands_there() -> None:
    data = placed(SIZE, {32768 + 2048 * n: b"\0CD001\1" for n in range(400)})
    medium = MemorySectors(data)
    recognise(medium, 0, SIZE)
    assert sum(end - start for start, end in medium.reads) <= 200 * KIB


MARKS = st.sampled_from(
    [
        *((3, mark) for mark in (b"NTFS    ", b"-FVE-FS-", b"EXFAT   ")),
        *((0, mark) for mark in (b"XFSB", b"hsqs", b"LUKS\xba\xbe\0\1", b"LUKS\xba\xbe\0\2")),
        *((32, b"NXSB"), (512, b"LABELONE"), (536, b"LVM2 001"), (1080, b"\x53\xef")),
        *((1024, mark) for mark in (b"\x10\x20\xf5\xf2", b"BD", b"H+\0\4")),
        *((4086, b"SWAPSPACE2"), (32769, b"CD001"), (32768, b"\1CD001"), (34817, b"NSR02")),
        (65600, b"_BHRfS_M"),
    ]
)


@settings(deadline=None, max_examples=300)
@given(
    marks=st.lists(MARKS, max_size=4),
    noise=st.lists(st.tuples(st.integers(0, 70_000), st.binary(max_size=64)), max_size=8),
    size=st.one_of(st.integers(0, 5000), st.integers(0, 70_000)),
)
def test_any_bytes_are_recognised_or_not(
    marks: list[tuple[int, bytes]], noise: list[tuple[int, bytes]], size: int
) -> None:
    data = placed(70_064, {**dict(noise), **dict(marks)})[:size]
    found = look(data)
    assert found is None or found.name
    assert read_card(MemorySectors(data)).findings

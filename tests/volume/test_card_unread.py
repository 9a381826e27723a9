"""What of a card is not read, or cannot be, is named; any bytes are a card."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import CardprepError, ReadFailedError
from cardprep.findings import Finding, Severity
from cardprep.volume.card import CardContent, read_card
from tests.cards import KIB, MIB, FatImage, MemorySectors, slugs
from tests.volumes import START, USUAL, card_of, partition, table


def read(data: bytes | bytearray, sector_size: int = 512) -> CardContent:
    return read_card(MemorySectors(data, sector_size))


def loud(card: CardContent) -> list[Finding]:
    return [finding for finding in card.findings if finding.severity is not Severity.NOTE]


def only(card: CardContent) -> Finding:
    (finding,) = card.findings
    return finding


def marked(mark: bytes, zeros: int = 0) -> bytes:
    """Return a boot sector with a mark, and zeros where NTFS has its serial number."""
    head = (b"\xeb\x76\x90" + mark).ljust(72, b"\xf4") + bytes(zeros)
    return head.ljust(510, b"\xf4") + b"\x55\xaa"


@pytest.mark.parametrize(
    ("data", "what"),
    [
        pytest.param(b"", "mbr.short", id="no byte"),
        pytest.param(b"\xeb", "mbr.short", id="one byte"),
        pytest.param(bytes(511), "mbr.short", id="511 bytes"),
        pytest.param(bytes(512), "blank", id="one sector of zeros"),
        pytest.param(bytes(MIB), "blank", id="a card of zeros"),
        pytest.param(b"\xff" * MIB, "filled", id="a card of ones"),
        pytest.param(b"\xff" * MIB + bytes(512), "mbr.no-signature", id="ones and no more"),
        pytest.param(bytes(MIB) + b"x", "first-blank", id="a byte at the end"),
        pytest.param(bytes(16 * MIB) + b"x" * MIB, "first-blank", id="something further on"),
        pytest.param(table() + bytes(MIB), "mbr.empty", id="a table of no partitions"),
        pytest.param(table(partition(0x0C, 1, 1, 7)), "mbr.status", id="a table that is none"),
        pytest.param(marked(b"EXFAT   "), "exfat.not-zero", id="exFAT"),
        pytest.param(marked(b"NTFS    ", 8), "NTFS", id="NTFS"),
        pytest.param(marked(b"-FVE-FS-"), "BitLocker", id="BitLocker"),
    ],
)
def test_cards_without_a_volume(data: bytes, what: str) -> None:
    finding = only(read(data))
    assert (finding.slug, finding.parameters) == ("no-volume", {"what": what})
    assert finding.undecided


@pytest.mark.parametrize(
    ("kind", "content", "what"),
    [
        pytest.param(0x07, marked(b"EXFAT   "), "exfat.not-zero", id="exFAT"),
        pytest.param(0x07, marked(b"NTFS    ", 8), "NTFS", id="NTFS"),
        pytest.param(0x83, bytes(512), "fat.no-signature", id="nothing"),
    ],
)
def test_partitions_that_are_not_read(kind: int, content: bytes, what: str) -> None:
    data = card_of(table(partition(kind, 8192, 2048)), content + bytes(MIB))
    finding = only(read(data))
    assert (finding.slug, finding.structure) == ("volume-unreadable", "partition 1")
    assert finding.parameters == {"what": what}
    assert finding.undecided


def test_a_first_sector_that_cannot_be_read() -> None:
    with pytest.raises(ReadFailedError):
        read_card(MemorySectors(bytes(MIB), bad=[(0, 512)]))


def test_a_volume_that_cannot_be_read(volume: bytes) -> None:
    data = card_of(table(USUAL), volume)
    card = read_card(MemorySectors(data, bad=[(START, START + 512)]))
    finding = only(card)
    assert (finding.slug, finding.structure) == ("read-error", "partition 1")
    assert finding.parameters == {"offset": START}


def test_a_blank_card_that_cannot_be_read_whole() -> None:
    card = read_card(MemorySectors(bytes(8 * MIB), bad=[(6 * MIB, 6 * MIB + 512)]))
    found = [(finding.slug, finding.parameters) for finding in card.findings]
    assert found == [
        ("read-error", {"offset": 6 * MIB}),
        ("no-volume", {"what": "mbr.no-signature"}),
    ]


def test_a_blank_card_is_looked_at_where_partitions_begin() -> None:
    # Larger steps than 4 MiB and an odd size: the places evenly spread miss it.
    data = bytearray(301 * MIB)
    data[4 * MIB + 100] = 1
    medium = MemorySectors(data)
    assert only(read_card(medium)).parameters == {"what": "first-blank"}
    assert sum(end - start for start, end in medium.reads) <= 8 * MIB


class FailsLater(MemorySectors):
    """A card whose partition can be read once."""

    def read_into(self, offset: int, buffer: memoryview) -> None:
        if offset == START and sum(start == START for start, _ in self.reads) >= 1:
            raise ReadFailedError("medium.read-error", name="memory", offset=offset, cause="EIO")
        super().read_into(offset, buffer)


def test_a_card_that_fails_on_the_second_look() -> None:
    data = card_of(table(partition(0x07, START // 512, 2048)), bytes(MIB))
    finding = only(read_card(FailsLater(data)))
    assert (finding.slug, finding.parameters) == ("volume-unreadable", {"what": "fat.no-signature"})


def test_a_volume_whose_boot_sector_fails_later_is_read(volume: bytes) -> None:
    card = read_card(FailsLater(card_of(table(USUAL), volume)))
    assert len(card.volumes) == 1
    assert card.findings == ()


def test_a_volume_without_a_table_that_cannot_be_read(volume: bytes) -> None:
    image = FatImage(volume)
    bad = [(at, at + 512) for at in image.fat_at]
    card = read_card(MemorySectors(volume, bad=bad))
    assert slugs(card) == {"no-partition-table", "read-error"}


@settings(deadline=None, max_examples=200)
@given(
    st.one_of(
        st.binary(max_size=2000),
        st.lists(
            st.tuples(
                st.sampled_from([0, 1, 4, 5, 6, 7, 0x0B, 0x0C, 0x0E, 0x0F, 0x83, 0xEE]),
                st.one_of(st.integers(0, 4), st.integers(0, 2**32 - 1)),
                st.one_of(st.integers(0, 4), st.integers(0, 2**32 - 1)),
                st.sampled_from([0, 0x80, 1]),
            ).map(lambda four: partition(*four)),
            min_size=1,
            max_size=4,
        ).map(lambda entries: table(*entries) + bytes(2048)),
    )
)
def test_any_bytes_are_a_card(data: bytes) -> None:
    card = read(data)
    assert card.findings
    assert all(partition.where.length > 0 for partition in card.partitions)


@settings(deadline=None, max_examples=200)
@given(data=st.data())
def test_any_bytes_in_the_boot_area_are_a_card(volume: bytes, data: st.DataObject) -> None:
    changed = bytearray(volume[: 200 * KIB])
    places = st.one_of(st.integers(0, 63), st.integers(0, 511), st.integers(0, 200 * KIB - 1))
    for at, value in data.draw(st.lists(st.tuples(places, st.integers(0, 255)), max_size=8)):
        changed[at] = value
    try:
        card = read(changed)
    except CardprepError as error:
        pytest.fail(f"a card in memory can be read: {error}")
    assert card.findings
    assert loud(card)

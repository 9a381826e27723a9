"""The tables that an exFAT volume keeps as files of its own, one by one and with TexFAT's second.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.1 and 7.2.
"""

from __future__ import annotations

import struct

from cardprep.volume.exfat_names import table_checksum
from tests.exfat import FILES, ExfatImage, built, said, whats, whole


def put_entry(image: ExfatImage, entry: bytes) -> None:
    """Put an entry behind those of the root."""
    at = image.root
    while image.data[at]:
        at += 32
    image.data[at : at + 32] = entry


def replaced_upcase(data: bytes) -> ExfatImage:
    """Return the volume with another up-case table, whose checksum holds."""
    image = built()
    begin, entry = image.system_file(0x82), image.system_entry(0x82)
    image.data[begin : begin + len(data)] = data
    struct.pack_into("<I", image.data, entry + 4, table_checksum(data))
    struct.pack_into("<Q", image.data, entry + 24, len(data))
    return image


def with_two_fats() -> ExfatImage:
    """Return the volume with a second FAT and bitmap, as TexFAT has them, both the same."""
    image = built()
    length = int.from_bytes(image.data[84:88], "little") * image.sector
    begin = image.fat * image.sector
    image.set_entry(60, 0xFFFFFFFF)
    image.mark(60)
    bitmap = image.system_file(0x81)
    size = -(-image.clusters // 8)
    image.data[image.cluster(60) : image.cluster(60) + size] = image.data[bitmap : bitmap + size]
    put_entry(image, struct.pack("<BB18xIQ", 0x81, 1, 60, size))
    image.data[begin + length : begin + 2 * length] = image.data[begin : begin + length]
    image.set_boot(110, b"\2")
    return image


def test_two_fats_and_two_bitmaps() -> None:
    image = with_two_fats()
    volume = image.read()
    assert whats(volume) == ["fat-count"]
    assert whole(image, volume) == set(FILES)
    names = [name for name, _ in volume.system]
    assert names[:5] == [*("boot area", "FAT 1", "FAT 2", "allocation bitmap", "allocation bitmap")]


def test_the_active_fat_and_bitmap_are_the_ones_that_count() -> None:
    image = with_two_fats()
    struct.pack_into("<H", image.data, 106, 1)
    # What the first ones say does not matter then.
    image.set_entry(20, 0)
    image.mark(50)
    volume = image.read()
    assert whats(volume) == ["fat-count"]
    assert whole(image, volume) == set(FILES)
    image.data[image.cluster(60) + 6] ^= 0x01
    assert ("lost-clusters", None) in said(image.read())


def test_a_second_bitmap_without_a_second_fat() -> None:
    image = built()
    put_entry(image, struct.pack("<BB18xIQ", 0x81, 1, 60, 1))
    volume = image.read()
    assert whats(volume) == ["bitmap-count", None]
    assert volume.findings[1].slug == "chain-broken"
    assert volume.findings[1].structure == "allocation bitmap"
    assert whole(image, volume) == set(FILES)


def test_without_a_bitmap_nothing_is_free_or_lost() -> None:
    image = built()
    image.data[image.system_entry(0x81)] = 0x01
    volume = image.read()
    assert whats(volume) == ["bitmap-count"]
    assert volume.facts.free_bytes == 0


def test_two_upcase_tables() -> None:
    image = built()
    put_entry(image, bytes(image.data[image.system_entry(0x82) :][:32]))
    assert whats(image.read()) == ["upcase-count"]


def test_no_upcase_table() -> None:
    image = built()
    image.data[image.system_entry(0x82)] = 0x02
    volume = image.read()
    assert ("upcase-odd", None) in said(volume)
    assert whole(image, volume) == set(FILES)


def test_an_upcase_table_without_its_mandatory_part() -> None:
    image = replaced_upcase(b"\0\0\1\0")
    volume = image.read()
    # The hashes of the names are by another table, and that is said for each.
    assert whats(volume)[0] == "upcase-first-128"
    assert set(whats(volume)[1:]) <= {"name-hash"}


def test_an_upcase_table_that_cannot_be_one() -> None:
    assert whats(replaced_upcase(b"\xff\xff\xff\xffa\0b\0").read()) == ["upcase-content"]
    assert whats(replaced_upcase(b"a\0b").read()) == ["upcase-content"]


def test_one_byte_of_the_upcase_table() -> None:
    image = built()
    image.data[image.system_file(0x82) + 1000] ^= 0xFF
    volume = image.read()
    assert whats(volume) == ["upcase-checksum"]
    assert whole(image, volume) == set(FILES)

"""Cards with a GUID partition table, made by hand to be damaged."""

from __future__ import annotations

import struct
from dataclasses import replace
from functools import cache

from cardprep.volume.card import CardContent, read_card
from cardprep.volume.gpt import GuidEntry, GuidHeader
from tests.cards import MIB, MemorySectors
from tests.volumes import partition, table

SIZE = 4 * MIB
# Microsoft basic data, as stored. Source: UEFI Specification 2.10, 5.3.3, for the order of bytes.
BASIC = bytes.fromhex("a2a0d0ebe5b9334487c068b6b72699c7")
LINUX = bytes.fromhex("af3dc60f838472478e793d69d8477de4")
Said = set[tuple[str, str | None, object]]


def entry(number: int = 1, first: int = 2048, last: int = 4095, kind: bytes = BASIC) -> GuidEntry:
    name = f"part {number}".encode("utf-16-le").ljust(72, b"\0")
    return GuidEntry(
        type_guid=kind, unique_guid=bytes([number]) * 16, first_lba=first, last_lba=last, name=name
    )


class GuidCard:
    """The bytes of a card with a GPT and its backup, to be damaged."""

    def __init__(self, *entries: GuidEntry, unit: int = 512, size: int = SIZE) -> None:
        self.unit = unit
        self.data = bytearray(size)
        self.end = size // unit - 1
        self.array = b"".join(one.to_bytes() for one in entries).ljust(128 * 128, b"\0")
        room = len(self.array) // unit
        usual = {"disk_guid": b"\x77" * 16, "first_usable": 2 + room, "entries_crc": 0}
        self.first = GuidHeader(
            own_lba=1,
            other_lba=self.end,
            last_usable=self.end - 1 - room,
            entries_lba=2,
            rest=bytes(unit - 92),
            **usual,  # type: ignore[arg-type]
        )
        self.last = replace(self.first, own_lba=self.end, other_lba=1, entries_lba=self.end - room)
        self.data[:512] = table(partition(0xEE, 1, self.end))
        self.put(self.first, self.array)
        self.put(self.last, self.array)

    def put(self, header: GuidHeader, array: bytes, at: int | None = None) -> None:
        """Write a header with right CRCs, and its array, to where the header says."""
        self.write(header.sealed(array), header.own_lba if at is None else at)
        where = header.entries_lba * self.unit
        self.data[where : where + len(array)] = array

    def write(self, header: GuidHeader, at: int) -> None:
        """Write a header as it is."""
        self.data[at * self.unit : at * self.unit + self.unit] = header.to_bytes()

    def stored(self, at: int) -> GuidHeader:
        header = GuidHeader.parse(bytes(self.data[at * self.unit : (at + 1) * self.unit]))
        assert header is not None
        return header

    def read(self, announced: int | None = None) -> CardContent:
        return read_card(MemorySectors(self.data, announced or self.unit))


def said(card: CardContent) -> Said:
    return {
        (found.slug, found.structure, found.parameters.get("what"))
        for found in card.findings
        if found.slug not in ("table-not-usual", "several-partitions")
        and found.parameters.get("what") != "fat.no-signature"
    }


@cache
def small_volume() -> bytes:
    """Return the first sectors of a FAT volume by hand: boot sector, one FAT, root."""
    boot = bytearray(512)
    boot[:62] = struct.pack(
        "<3s8sHBHBHHBHHHIIBBBI11s8s",
        *(b"\xeb\x3c\x90", b"gannet  ", 512, 1, 1, 1, 16, 20, 0xF8, 1, 1, 1, 0, 0),
        *(0x80, 0, 0x29, 1, b"NO NAME    ", b"FAT12   "),
    )
    boot[510:] = b"\x55\xaa"
    return bytes(boot) + b"\xf8\xff\xff".ljust(512, b"\0") + bytes(18 * 512)

"""What the undamaged volumes of tests/volume/conftest.py hold, and how a damaged one is read.

Also partition tables and boot sectors from numbers.
"""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest

from cardprep.volume.card import CardContent, read_card
from cardprep.volume.fat_boot import BootSector, Fat32Part
from tests.cards import KIB, MIB, FatImage, content, paths

OPTIONS = {12: ("-F", "12"), 16: ("-F", "16", "-s", "1"), 32: ("-F", "32", "-s", "1")}
SIZES = {12: 1440 * KIB, 16: 8 * MIB, 32: 34 * MIB}
BITS = [pytest.param(bits, id=f"FAT{bits}") for bits in (12, 16, 32)]

FILES = {
    "ONE.BIN": b"1" * 5000,
    "TWO.BIN": b"2" * 7000,
    "EMPTY.BIN": b"",
    "SUB/INNER.BIN": b"i" * 3000,
    "SUB/DEEPER/last (1).bin": b"d" * 100,
}
FOLDERS = {"SUB", "SUB/DEEPER"}

# The eleven characters of their folder entries.
ONE = "ONE     BIN"
TWO = "TWO     BIN"
EMPTY = "EMPTY   BIN"
SUB = "SUB        "
DEEPER = "DEEPER     "
INNER = "INNER   BIN"


def read(image: FatImage) -> CardContent:
    card = read_card(image.medium())
    assert len(card.volumes) == 1
    return card


def said(card: CardContent) -> set[tuple[str, str | None]]:
    """Return slug and path of all findings but the one that all these cards have."""
    found = {(finding.slug, finding.path) for finding in card.findings}
    return found - {("no-partition-table", None)}


def whole(image: FatImage, card: CardContent) -> set[str]:
    """Return the files that are whole, and see that these have their content."""
    found = set()
    for shown, entry in paths(card).items():
        if entry.is_whole and not entry.is_folder:
            assert content(image.medium(), entry) == FILES[shown], shown
            found.add(shown)
    return found


# --- partition tables

# Where the partition of most cards begins, and how large the volume in it is.
START = 4 * MIB
VOLUME = 8 * MIB


def partition(kind: int, start: int, count: int, status: int = 0) -> bytes:
    """Return an entry of a partition table."""
    return struct.pack("<B3xB3xII", status, kind, start, count)


USUAL = partition(0x0E, START // 512, VOLUME // 512)


def table(*entries: bytes) -> bytes:
    """Return a first sector with these entries."""
    return (bytes(446) + b"".join(entries)).ljust(510, b"\0") + b"\x55\xaa"


def card_of(first: bytes, volume: bytes, at: int = START) -> bytes:
    """Return a card with a first sector and, further on, a volume."""
    return first.ljust(at, b"\0") + volume


def boot_sector(bits: int, clusters: int, copies: int = 2) -> BootSector:
    """Return the boot sector of a volume of so many clusters of a sector each."""
    sectors_per_fat = -(-(clusters + 2) * bits // 8 // 512)
    fat32 = Fat32Part(sectors_per_fat=sectors_per_fat) if bits == 32 else None
    boot = BootSector(
        jump=b"\xeb\x58\x90",
        oem_name=b"gannet  ",
        bytes_per_sector=512,
        sectors_per_cluster=1,
        reserved_sectors=1,
        fat_count=copies,
        root_entries=0 if fat32 else 512,
        total_sectors_16=0,
        media=0xF8,
        sectors_per_fat_16=0 if fat32 else sectors_per_fat,
        sectors_per_track=63,
        heads=255,
        hidden_sectors=0,
        total_sectors_32=0,
        fat32=fat32,
        drive_number=0x80,
        status=0,
        extended_signature=0x29,
        volume_id=0,
        label=b"NO NAME    ",
        type_text=b"FAT     ",
        boot_code=bytes(420 if fat32 else 448),
    )
    return replace(boot, total_sectors_32=boot.first_data_sector + clusters)

"""FAT32 volumes made by hand, entry by entry, to hold what no honest system would write."""

from __future__ import annotations

import struct
from collections.abc import Iterable

from tests.cards import FatImage

# Each tries to reach a terminal, a line of its own, or another reading order: escape
# sequences, one of them in the program's own colours, line breaks of four kinds,
# bidirectional marks, half a surrogate pair, C1 controls, and letters that show as nothing.
HOSTILE_NAMES = (
    "\x1b[2J\x1b]0;owned\x07.bin",
    "\x1b[32m\x1b[1m[+] USE\x1b[0m",
    "a\r\n[+] USE THIS CARD",
    "b\x85[+] USE\u2028[+] USE\u2029x",
    "\u202egpj.exe\u202c",
    "\u2066hidden\u2069\u200f.bin",
    "half \ud800 and \udc00\ud800",
    "\x9b31mC1\x9d0;x\x9c",
    "\x08\x08\x7f\x0b\x0c.bin",
    "\u200b\u2060\ufeff\U000e0041.bin",
)


def boot32(clusters: int, per_cluster: int, **fields: int) -> bytes:
    """Return a FAT32 boot sector for so many clusters of so many sectors."""
    fat = fields.get("fat", -(-(clusters + 2) * 4 // 512))
    copies = fields.get("copies", 2)
    total = 32 + copies * fat + clusters * per_cluster
    common = struct.pack(
        "<3s8sHBHBHHBHHHII",
        b"\xeb\x58\x90",
        b"gannet  ",
        512,
        per_cluster,
        32,
        copies,
        0,
        0,
        0xF8,
        0,
        63,
        255,
        0,
        min(fields.get("total", total), 2**32 - 1),
    )
    part = struct.pack("<IHHIHH12s", fat, 0, 0, fields.get("root", 2), 0, 0, bytes(12))
    return (common + part).ljust(510, b"\0") + b"\x55\xaa"


def fat32(clusters: int, per_cluster: int = 1) -> FatImage:
    """Return a small FAT32 volume with an empty root in cluster 2."""
    boot = boot32(clusters, per_cluster)
    size = struct.unpack_from("<I", boot, 32)[0] * 512
    image = FatImage(boot + bytes(size - 512))
    for cluster, value in ((0, 0x0FFFFFF8), (1, 0x0FFFFFFF), (2, 0x0FFFFFFF)):
        image.set_entry(cluster, value)
    return image


def file_entry(name: str, cluster: int, size: int, attributes: int = 0x20) -> bytes:
    return struct.pack(
        "<11sB8xHHHHI",
        name.encode("ascii"),
        attributes,
        cluster >> 16,
        0,
        0,
        cluster & 0xFFFF,
        size,
    )


def chain(image: FatImage, clusters: range) -> None:
    for cluster in clusters:
        image.set_entry(cluster, cluster + 1)
    image.set_entry(clusters[-1], 0x0FFFFFFF)


def folder(image: FatImage, clusters: range, entries: bytes) -> None:
    """Put entries into a contiguous folder of such clusters."""
    chain(image, clusters)
    at = image.cluster(clusters[0])
    image.data[at : at + len(entries)] = entries


def dots(own: int, above: int) -> bytes:
    return file_entry(".          ", own, 0, 0x10) + file_entry("..         ", above, 0, 0x10)


def long_name(name: str, short: bytes) -> bytes:
    """Return the pieces of a long name, as they stand before the entry of the short one."""
    check = 0
    for byte in short:
        check = ((check >> 1) | ((check & 1) << 7)) + byte & 0xFF
    raw = name.encode("utf-16-le", "surrogatepass")
    units = len(raw) // 2
    if units % 13:
        raw += b"\0\0"
    count = -(-units // 13)
    raw = raw.ljust(count * 26, b"\xff")
    pieces = []
    for number in range(count, 0, -1):
        part = raw[(number - 1) * 26 : number * 26]
        order = number | (0x40 if number == count else 0)
        head = bytes((order,)) + part[:10] + bytes((0x0F, 0, check))
        pieces.append(head + part[10:22] + bytes(2) + part[22:])
    return b"".join(pieces)


def named_entries(names: Iterable[str], cluster: int = 0, size: int = 0) -> bytes:
    """Return a file's entries, long name and short one, for each name."""
    entries = []
    for number, name in enumerate(names):
        short = f"{number:08d}BIN"
        entries.append(long_name(name, short.encode("ascii")) + file_entry(short, cluster, size))
    return b"".join(entries)


def hostile_volume() -> FatImage:
    """Return a FAT32 volume whose names, label and deleted file try to harm a terminal."""
    image = fat32(70_000)
    content = b"content"
    first = 100
    entries = [struct.pack("<11sB20x", b"\x1b[2J\x1b[7mX", 0x08)]
    for number, name in enumerate(HOSTILE_NAMES):
        cluster = first + number
        image.set_entry(cluster, 0x0FFFFFFF)
        at = image.cluster(cluster)
        image.data[at : at + len(content)] = content
        short = f"{number:08d}BIN"
        entry = file_entry(short, cluster, len(content))
        entries.append(long_name(name, short.encode("ascii")) + entry)
    # Short names, one of them of a deleted file, with controls and upper half characters.
    entries.append(struct.pack("<11sB20x", b"\x1b[31m\r\n\x9b\xff\x7f", 0x20))
    entries.append(struct.pack("<11sB20x", b"\xe5\x1b[2J\x07   EXE"[:11], 0x20))
    table = b"".join(entries)
    folder(image, range(2, 2 + -(-len(table) // 512)), table)
    folder(image, range(50, 51), dots(50, 0))
    sub = long_name(HOSTILE_NAMES[0], b"SUB        ") + file_entry("SUB        ", 50, 0, 0x10)
    at = image.root + len(table)
    image.data[at : at + len(sub)] = sub
    return image

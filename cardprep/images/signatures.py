"""Formats that are recognised by how they start, and not looked into.

Each has a magic and, where that is short, a few fields that must make sense, so
that random bytes are practically never called a format. To add one, write its
check and a row in SIGNATURES; its name goes into ``texts/containers.py``.

Sources: System V ABI, "ELF Header"; Devicetree Specification 0.4, section 5.2;
The .xz File Format 1.2.1; RFC 8878 (zstd); bzip2 by its own magics (those of pi
and of its square root); LZ4 Frame Format 1.6; cpio(5); squashfs 4.0 on-disk
format; Android libsparse, sparse_format.h; HTML Living Standard, section 13.1;
RFC 1740 (AppleDouble).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from dataclasses import dataclass

_HEX_DIGITS = re.compile(rb"[0-9A-Fa-f]{104}")
_OCTAL_DIGITS = re.compile(rb"[0-7]{70}")
# White space, comments and an XML declaration may stand before a page's first tag.
# They are matched without going back, or nested comments could take for ever.
_PAGE = re.compile(
    rb"(?:\xef\xbb\xbf)?(?>\s+|<!--.*?-->|<\?xml[^>]*>)*+"
    rb"<(?:!doctype\s+html|html|head|body|title|meta|script)[\s>]",
    re.IGNORECASE | re.DOTALL,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """One format: its slug, and whether a file's first bytes are its."""

    format: str
    fits: Callable[[bytes], bool]


def _elf(head: bytes) -> bool:
    # Class, byte order and version.
    return (
        head.startswith(b"\x7fELF")
        and len(head) >= 16
        and head[4] in {1, 2}
        and head[5] in {1, 2}
        and head[6] == 1
    )


def _device_tree(head: bytes) -> bool:
    if not head.startswith(b"\xd0\x0d\xfe\xed") or len(head) < 40:
        return False
    total, structure, strings, _, version, compatible = struct.unpack_from(">6I", head, 4)
    return bool(structure < total and strings <= total and compatible <= version)


def _xz(head: bytes) -> bool:
    return head.startswith(b"\xfd7zXZ\x00")


def _zstd(head: bytes) -> bool:
    # Bit 3 of the frame header descriptor is reserved.
    return head.startswith(b"\x28\xb5\x2f\xfd") and len(head) > 4 and not head[4] & 0x08


def _bzip2(head: bytes) -> bool:
    return (
        head.startswith(b"BZh")
        and head[3:4] in set(map(bytes, zip(b"123456789")))
        and head[4:10] in {b"\x31\x41\x59\x26\x53\x59", b"\x17\x72\x45\x38\x50\x90"}
    )


def _lz4(head: bytes) -> bool:
    # Version 01 and a reserved bit of the FLG byte.
    return head.startswith(b"\x04\x22\x4d\x18") and len(head) > 4 and head[4] & 0xC2 == 0x40


def _cpio(head: bytes) -> bool:
    if head.startswith((b"070701", b"070702")):
        return _HEX_DIGITS.match(head, 6) is not None
    return head.startswith(b"070707") and _OCTAL_DIGITS.match(head, 6) is not None


def _squashfs(head: bytes) -> bool:
    return head.startswith(b"hsqs") and head[28:32] == b"\x04\x00\x00\x00"


def _android_sparse(head: bytes) -> bool:
    # Version 1, and the sizes of file header and chunk header.
    return head.startswith(b"\x3a\xff\x26\xed\x01\x00") and head[8:12] == b"\x1c\x00\x0c\x00"


def _html(head: bytes) -> bool:
    return _PAGE.match(head) is not None


def _apple_double(head: bytes) -> bool:
    return head.startswith(b"\x00\x05\x16\x07\x00\x02\x00\x00")


SIGNATURES = (
    Signature(format="elf", fits=_elf),
    Signature(format="device-tree", fits=_device_tree),
    Signature(format="xz", fits=_xz),
    Signature(format="zstd", fits=_zstd),
    Signature(format="bzip2", fits=_bzip2),
    Signature(format="lz4", fits=_lz4),
    Signature(format="cpio", fits=_cpio),
    Signature(format="squashfs", fits=_squashfs),
    Signature(format="android-sparse", fits=_android_sparse),
    Signature(format="html", fits=_html),
    Signature(format="apple-double", fits=_apple_double),
)


def format_by_signature(head: bytes) -> str | None:
    """Return the slug of the format whose signature fits, or None."""
    return next((row.format for row in SIGNATURES if row.fits(head)), None)

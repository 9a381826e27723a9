"""Formats that are recognised by how they start.

Some have a machine of their own, which `recognise.py` knows; the others are not
looked into.

Each has a magic and, where that is short, a few fields that must make sense, so
that random bytes are practically never called a format. To add one, write its
check and a row in SIGNATURES; its name goes into ``texts/containers.py``.

The last rows are formats of what an owner keeps on a card: charts, routes,
pictures, logs. They are open formats only. Text among them is met with or
without a byte order mark, in UTF-8 or UTF-16.

Sources: System V ABI, "ELF Header"; PE Format (Microsoft), "MS-DOS Stub"; POSIX
shell scripts by "#!", common practice; Devicetree Specification 0.4, section 5.2;
The .xz File Format 1.2.1; RFC 8878 (zstd); bzip2 by its own magics (those of pi
and of its square root); LZ4 Frame Format 1.6; cpio(5); squashfs 4.0 on-disk
format; Android libsparse, sparse_format.h; HTML Living Standard, section 13.1;
RFC 1740 (AppleDouble). GPX 1.1 schema; OGC KML 2.3; RFC 7946 (GeoJSON); IHO S-57
edition 3.1, part 3, and ISO/IEC 8211 (leader); TIFF 6.0, and OGC GeoTIFF 1.1;
PNG, W3C, section 5.2; ITU-T T.81, annex B (JPEG); GIF89a; SQLite's "Database File
Format"; MBTiles 1.3; OGC GeoPackage 1.3; ISO 32000-1 (PDF). BSB charts, NMEA 0183
sentences, BMP and BigTIFF: common practice.
"""

from __future__ import annotations

import functools
import operator
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass

_INTERPRETER = re.compile(rb"(?:\xef\xbb\xbf)?#!\s?/[\w./-]{1,100}[ \t\r\n]")
_HEX_DIGITS = re.compile(rb"[0-9A-Fa-f]{104}")
_OCTAL_DIGITS = re.compile(rb"[0-7]{70}")
# White space, comments and an XML declaration may stand before a page's first tag.
# They are matched without going back, or nested comments could take for ever.
_PAGE = re.compile(
    rb"(?:\xef\xbb\xbf)?(?>\s+|<!--.*?-->|<\?xml[^>]*>)*+"
    rb"<(?:!doctype\s+html|html|head|body|title|meta|script)[\s>]",
    re.IGNORECASE | re.DOTALL,
)
# The same for XML, which knows processing instructions and no capitals, up to its root.
_BEFORE_ROOT = (
    rb"(?:\xef\xbb\xbf)?"
    rb"(?>\s+|<!--.*?-->|<\?.*?\?>|<!DOCTYPE\s[^\[>]*+(?:\[[^\]]*+\]\s*+)?+>)*+"
    rb"<(?:[A-Za-z_][\w.\-]*+:)?"
)
_GPX = re.compile(_BEFORE_ROOT + rb"gpx[\s/>]", re.DOTALL)
_KML = re.compile(_BEFORE_ROOT + rb"kml[\s/>]", re.DOTALL)
_JSON_OBJECT = re.compile(rb"(?:\xef\xbb\xbf)?\s*+\{\s*+\"")
_FEATURE = re.compile(rb'"type"\s*+:\s*+"Feature"')
# Whoever sorts the keys of an object writes coordinates before the type that they are of.
_GEOJSON = re.compile(
    rb'"type"\s*+:\s*+"FeatureCollection"'
    rb'|"type"\s*+:\s*+"(?:(?:Multi)?(?:Point|LineString|Polygon)|GeometryCollection)"'
    rb'\s*+,\s*+"(?:coordinates|geometries)"\s*+:\s*+\['
    rb'|"geometry"\s*+:\s*+\{\s*+"coordinates"\s*+:\s*+\['
)
# Length, level, identifier, extension, version, indicator, control length and base
# address, character set, entry map.
_LEADER = re.compile(rb"[0-9]{5}[123]L[E ][1 ] [0-9]{2}([0-9]{5})[ -~]{3}[1-9]{2}0[1-9]")
_LEADER_SIZE = 24
_FIELD_END = 0x1E
_BSB_NAMED = re.compile(rb"(?:BSB|NOS|CHT)/[A-Z]{2}=")
# Remarks, other fields, lines that go on, and empty ones stand before the chart's name.
_BSB_BEFORE = re.compile(rb"!|[A-Z]{3}/|[ \t]|\Z")
_TIFF_ORDERS = {b"II": "<", b"MM": ">"}
_TIFF_GEO_KEYS = 34735
_DIB_HEADER_SIZES = frozenset({12, 40, 52, 56, 64, 108, 124})
_JPEG_MARKERS = frozenset({*range(0xC0, 0xD0), *range(0xDB, 0xF0), 0xFE})
_GIF_INTRODUCERS = frozenset(b"!,;")
_SQLITE = b"SQLite format 3\0"
_PDF = re.compile(rb"%PDF-[12]\.[0-9][\s%]")
# A TAG block may stand before a sentence; what is under the checksum is the group.
_SENTENCE = re.compile(
    rb"(?:\\[^\\]{1,80}\\)?[$!]([A-Z][A-Z0-9]{2,14},[^*$!\\]{0,200})\*([0-9A-Fa-f]{2})\s*"
)
_SENTENCES = 10


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


def _windows_program(head: bytes) -> bool:
    if len(head) < 64 or not head.startswith(b"MZ"):
        return False
    at = int.from_bytes(head[60:64], "little")
    return head[at : at + 4] == b"PE\0\0"


def _script(head: bytes) -> bool:
    return _INTERPRETER.match(head) is not None


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
    return _PAGE.match(_as_utf8(head)) is not None


def _apple_double(head: bytes) -> bool:
    return head.startswith(b"\x00\x05\x16\x07\x00\x02\x00\x00")


def _as_utf8(head: bytes) -> bytes:
    """Return text in UTF-16 that says so as UTF-8, and everything else as it is."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head.decode("utf-16", "replace").encode()
    return head


def _gpx(head: bytes) -> bool:
    return _GPX.match(_as_utf8(head)) is not None


def _kml(head: bytes) -> bool:
    return _KML.match(_as_utf8(head)) is not None


def _geojson(head: bytes) -> bool:
    text = _as_utf8(head)
    if _JSON_OBJECT.match(text) is None:
        return False
    # Lists of other things have "features" too, but without a geometry.
    is_feature = b'"geometry"' in text and _FEATURE.search(text) is not None
    return is_feature or _GEOJSON.search(text) is not None


def _s_57(head: bytes) -> bool:
    leader = _LEADER.match(head)
    if leader is None:
        return False
    # The directory ends in front of the field area.
    base = int(leader[1])
    return base > _LEADER_SIZE and (base > len(head) or head[base - 1] == _FIELD_END)


def _bsb_chart(head: bytes) -> bool:
    for line in head.splitlines():
        if _BSB_NAMED.match(line):
            return True
        if not _BSB_BEFORE.match(line):
            break
    return False


def _tiff(head: bytes) -> bool:
    return _tiff_directory(head) is not None


def _geotiff(head: bytes) -> bool:
    found = _tiff_directory(head)
    if found is None:
        return False
    order, big, at = found
    count, entry = ("Q", 20) if big else ("H", 12)
    first = at + struct.calcsize(order + count)
    if first > len(head):
        return False
    (entries,) = struct.unpack_from(order + count, head, at)
    end = min(first + entries * entry, len(head) - 1)
    return any(
        struct.unpack_from(order + "H", head, place) == (_TIFF_GEO_KEYS,)
        for place in range(first, end, entry)
    )


def _tiff_directory(head: bytes) -> tuple[str, bool, int] | None:
    """Return byte order, whether it is BigTIFF, and where the first directory stands."""
    order = _TIFF_ORDERS.get(head[:2])
    if order is None or len(head) < 16:
        return None
    version, at = struct.unpack_from(order + "HI", head, 2)
    if version == 42 and at >= 8:
        return order, False, at
    version, width, zero, at = struct.unpack_from(order + "3HQ", head, 2)
    return (order, True, at) if (version, width, zero) == (43, 8, 0) and at >= 16 else None


def _png(head: bytes) -> bool:
    return head.startswith(b"\x89PNG\r\n\x1a\n")


def _jpeg(head: bytes) -> bool:
    if not head.startswith(b"\xff\xd8\xff") or len(head) < 6 or head[3] not in _JPEG_MARKERS:
        return False
    # Behind the first segment begins another one.
    following = 4 + int.from_bytes(head[4:6])
    return following >= 6 and (following >= len(head) or head[following] == 0xFF)


def _bmp(head: bytes) -> bool:
    if not head.startswith(b"BM") or len(head) < 18:
        return False
    reserved, pixels, header_size = struct.unpack_from("<3I", head, 6)
    return not reserved and header_size in _DIB_HEADER_SIZES and pixels >= 14 + header_size


def _gif(head: bytes) -> bool:
    if not head.startswith((b"GIF87a", b"GIF89a")) or len(head) < 13:
        return False
    # A table of colours stands before the first block, if the top bit says so.
    block = 13 + (3 << (head[10] & 7) + 1 if head[10] & 0x80 else 0)
    return block >= len(head) or head[block] in _GIF_INTRODUCERS


def _geopackage(head: bytes) -> bool:
    known = head[68:72] in {b"GPKG", b"GP10", b"GP11"} or b"gpkg_contents" in head
    return head.startswith(_SQLITE) and known


def _map_tiles(head: bytes) -> bool:
    # The mark is optional; the column is not, and the first page names it.
    return head.startswith(_SQLITE) and (head[68:72] == b"MPBX" or b"tile_column" in head)


def _sqlite(head: bytes) -> bool:
    return head.startswith(_SQLITE)


def _nmea_log(head: bytes) -> bool:
    # A log can begin in the middle of a sentence, and a text can quote one or two.
    lines = [line for line in head.splitlines() if line][:_SENTENCES]
    sound = sum(1 for line in lines if _is_sentence(line))
    return 2 * sound >= len(lines) and (sound >= 3 or (bool(lines) and _is_sentence(lines[0])))


def _is_sentence(line: bytes) -> bool:
    found = _SENTENCE.fullmatch(line)
    return found is not None and functools.reduce(operator.xor, found[1]) == int(found[2], 16)


def _pdf(head: bytes) -> bool:
    return _PDF.match(head) is not None


SIGNATURES = (
    Signature(format="elf", fits=_elf),
    Signature(format="windows-program", fits=_windows_program),
    Signature(format="script", fits=_script),
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
    Signature(format="gpx", fits=_gpx),
    Signature(format="kml", fits=_kml),
    Signature(format="geojson", fits=_geojson),
    Signature(format="s-57", fits=_s_57),
    Signature(format="bsb-chart", fits=_bsb_chart),
    Signature(format="geotiff", fits=_geotiff),
    Signature(format="tiff", fits=_tiff),
    Signature(format="png", fits=_png),
    Signature(format="jpeg", fits=_jpeg),
    Signature(format="bmp", fits=_bmp),
    Signature(format="gif", fits=_gif),
    Signature(format="geopackage", fits=_geopackage),
    Signature(format="map-tiles", fits=_map_tiles),
    Signature(format="sqlite", fits=_sqlite),
    Signature(format="nmea-log", fits=_nmea_log),
    Signature(format="pdf", fits=_pdf),
)


def format_by_signature(head: bytes) -> str | None:
    """Return the slug of the format whose signature fits, or None."""
    return next((row.format for row in SIGNATURES if row.fits(head)), None)

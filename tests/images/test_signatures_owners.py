"""Formats of what owners keep on cards: least files of each, and near misses that stay opaque."""

from __future__ import annotations

import functools
import operator
import random
import sqlite3
import struct
import time
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images.recognise import Recogniser
from cardprep.images.signatures import format_by_signature


def sentence(body: str) -> bytes:
    """Return a sentence with its checksum, which is all bytes between the marks in XOR."""
    return b"$%s*%02X\r\n" % (body.encode(), functools.reduce(operator.xor, body.encode()))


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def tiff(order: str, *tags: int) -> bytes:
    """Return a picture of one grey point; each other tag holds one number."""
    known = {256: 1, 257: 1, 258: 8, 259: 1, 262: 1, 273: 4, 277: 1, 278: 1, 279: 1}
    fields = sorted((known | dict.fromkeys(tags, 1)).items())
    entries = b"".join(struct.pack(order + "HHIHxx", tag, 3, 1, value) for tag, value in fields)
    mark = b"II" if order == "<" else b"MM"
    header = mark + struct.pack(order + "HIH", 42, 8, len(fields))
    return header + entries + bytes(4)


def big_tiff(*tags: int) -> bytes:
    entries = b"".join(struct.pack("<HHQQ", tag, 3, 1, 1) for tag in sorted((256, 257, *tags)))
    return b"II" + struct.pack("<3HQQ", 43, 8, 0, 16, 2 + len(tags)) + entries + bytes(8)


def s_57(name: bytes) -> bytes:
    """Return the first record of an exchange file: leader, one entry of its directory, a field."""
    field = b"0000;&   " + name + b"\x1f0001DSID\x1e"
    entry = b"0000%03d0000\x1e" % len(field)
    base = 24 + len(entry)
    return b"%05d3LE1 09%05d ! 3404" % (base + len(field), base) + entry + field


def database(*statements: str) -> bytes:
    """Return what the library writes itself."""
    made = sqlite3.connect(":memory:")
    for statement in statements:
        made.execute(statement)
    made.commit()
    raw = made.serialize()
    made.close()
    return raw


# Source: GPX 1.1 schema, topografix.com/GPX/1/1/gpx.xsd.
GPX = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n'
    b'<gpx version="1.1" creator="a test" xmlns="http://www.topografix.com/GPX/1/1">'
    b'<wpt lat="54.32" lon="10.14"><name>Berth</name></wpt></gpx>\n'
)
# Source: OGC 12-007r2, KML 2.3.
KML = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.3">'
    b"<Placemark><Point><coordinates>10.14,54.32</coordinates></Point></Placemark></kml>\n"
)
# Source: RFC 7946, sections 3.1 to 3.3 and 1.5.
POINT = b'{"type": "Point", "coordinates": [10.14, 54.32]}'
FEATURE = b'{"type": "Feature", "geometry": %s, "properties": null}' % POINT
GEOJSON = b'{"type": "FeatureCollection", "features": [%s]}' % FEATURE
# Source: IHO S-57 edition 3.1, part 3, section 7.3, and ISO/IEC 8211, leader of the DDR.
CELL = s_57(b"")
# Source: common practice, no published source; lines of charts that are given away.
KAP = (
    b"! an invented chart\r\nCRR/NO COPYRIGHT\r\nVER/2.0\r\n"
    b"BSB/NA=GANNET SLIP,NU=1,RA=100,100,DU=254\r\n    KNP/SC=10000\r\n\x1a\0"
)
# Source: TIFF 6.0, section 2; OGC 19-008r4, GeoTIFF 1.1, tag 34735.
TIFF = tiff("<")
GEOTIFF = tiff("<", 34735)
# Source: PNG (Third Edition), W3C, sections 5.2 and 11.
PNG = (
    b"\x89PNG\r\n\x1a\n"
    + chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    + chunk(b"IDAT", zlib.compress(b"\0\x80"))
    + chunk(b"IEND", b"")
)
# Source: ITU-T T.81, annex B: SOI, DQT, SOF9, DAC, SOS, one point, EOI.
JPEG = (
    bytes.fromhex("ffd8 ffdb0043 00")
    + b"\x01" * 64
    + bytes.fromhex("ffc9000b080001000101011100 ffcc0006001010 05 ffda0008010100003f00 d2cf20 ffd9")
)
# Source: common practice; BITMAPFILEHEADER and BITMAPINFOHEADER as systems document them.
BMP = (
    b"BM" + struct.pack("<3I", 58, 0, 54) + struct.pack("<3I2H6I", 40, 1, 1, 1, 24, *(0,) * 6)
) + bytes(4)
# Source: Graphics Interchange Format, version 89a, sections 17 to 22.
GIF = b"GIF89a" + bytes.fromhex("0100 0100 80 00 00 000000 ffffff 2c 00000000 0100 0100 00")
GIF += bytes.fromhex("02 02 4401 00 3b")
# Source: SQLite, "Database File Format", section 1.3; the file is written by the library.
SQLITE = database("CREATE TABLE t (a)")
# Source: MBTiles 1.3, section "Tiles"; its mark, from SQLite's magic.txt, is optional.
TILES = "CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer)"
# Source: OGC 12-128r17, GeoPackage 1.3, requirements 2 and 13; its mark is tried below.
GEOPACKAGE = database("CREATE TABLE gpkg_contents (table_name TEXT)")
# Source: common practice; this sentence and its checksum are quoted everywhere.
GGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
AIS = b"!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C\r\n"
# Source: ISO 32000-1, section 7.5.2.
PDF = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"

SAMPLES = {
    "gpx": GPX,
    "kml": KML,
    "geojson": GEOJSON,
    "s-57": CELL,
    "bsb-chart": KAP,
    "geotiff": GEOTIFF,
    "tiff": TIFF,
    "png": PNG,
    "jpeg": JPEG,
    "bmp": BMP,
    "gif": GIF,
    "geopackage": GEOPACKAGE,
    "map-tiles": database(TILES),
    "sqlite": SQLITE,
    "nmea-log": GGA + AIS,
    "pdf": PDF,
}


def recognised(data: bytes) -> str:
    machine = Recogniser()
    machine.feed(data)
    return machine.finish().format


@pytest.mark.parametrize("slug", SAMPLES)
def test_the_least_file_of_each_format_is_recognised(slug: str) -> None:
    assert format_by_signature(SAMPLES[slug]) == slug
    assert recognised(SAMPLES[slug] + bytes(100_000)) == slug


ROOT = GPX.partition(b"\n")[2]


@pytest.mark.parametrize(
    ("head", "slug"),
    [
        pytest.param(ROOT, "gpx", id="GPX without declaration"),
        pytest.param(b"\xef\xbb\xbf" + GPX, "gpx", id="GPX with mark"),
        pytest.param(GPX.decode().encode("utf-16"), "gpx", id="GPX in UTF-16"),
        pytest.param(b"\xfe\xff" + GPX.decode().encode("utf-16-be"), "gpx", id="GPX, big-endian"),
        pytest.param(b"<!-- a <kml> \n -->\n<?x y>z?>" + ROOT, "gpx", id="GPX after a comment"),
        pytest.param(
            b'<!DOCTYPE gpx SYSTEM "x" [<!ENTITY a "b">]>\n<gpx>', "gpx", id="GPX after a doctype"
        ),
        pytest.param(b"<g:gpx xmlns:g='x'>", "gpx", id="GPX with a prefix"),
        pytest.param(b"<gpx/>", "gpx", id="GPX, empty"),
        pytest.param(b"<gpx:wpt>", None, id="prefix gpx"),
        pytest.param(b"<gpxdata>", None, id="longer root"),
        pytest.param(b"<?xml version='1.0'?><update><gpx/></update>", None, id="GPX inside"),
        pytest.param(b"<!-- <gpx> --><update/>", None, id="GPX in a comment"),
        pytest.param(b"Our displays read <gpx version='1.1'> now.\n", None, id="text about GPX"),
        pytest.param(b"<!DOCTYPE html><p><gpx>", "html", id="page about GPX"),
        pytest.param(b"<kmlx>", None, id="not KML"),
        pytest.param(b"\xef\xbb\xbf \n" + GEOJSON, "geojson", id="GeoJSON with mark"),
        pytest.param(FEATURE, "geojson", id="one feature"),
        pytest.param(POINT, "geojson", id="one point"),
        pytest.param(
            b'{"features":[{"geometry":{"coordinates":[[1,2],', "geojson", id="sorted keys"
        ),
        pytest.param(b'{"type": "Feature", "title": "night mode"}', None, id="list of news"),
        pytest.param(b'{"type": "Point", "size": 3}', None, id="point of another kind"),
        pytest.param(b"[" + GEOJSON + b"]", None, id="JSON list"),
        pytest.param(b'see {"type": "FeatureCollection"}', None, id="text about GeoJSON"),
        pytest.param(b"{}", None, id="JSON, empty"),
        pytest.param(s_57(b"CATALOG.031"), "s-57", id="catalogue"),
        pytest.param(CELL[:24], "s-57", id="leader alone"),
        pytest.param(CELL[:6] + b"D" + CELL[7:], None, id="data record first"),
        pytest.param(CELL[:5] + b"4" + CELL[6:], None, id="no such level"),
        pytest.param(CELL[:12] + b"00024" + CELL[17:], None, id="no directory"),
        pytest.param(CELL.replace(b"\x1e", b"\x1f"), None, id="directory without end"),
        pytest.param(b"!\nCHT/NA=A,NU=1\n", "bsb-chart", id="BSB text file"),
        pytest.param(b"NOS/RA=1,1,NA=A\n", "bsb-chart", id="older BSB"),
        pytest.param(b"Notes\nBSB/NA=A\n", None, id="text about BSB"),
        pytest.param(b"! a remark\n" * 300, None, id="remarks only"),
        pytest.param(tiff(">"), "tiff", id="TIFF, big-endian"),
        pytest.param(tiff(">", 34735), "geotiff", id="GeoTIFF, big-endian"),
        pytest.param(big_tiff(), "tiff", id="BigTIFF"),
        pytest.param(big_tiff(34735), "geotiff", id="GeoTIFF as BigTIFF"),
        pytest.param(GEOTIFF[:40], "tiff", id="TIFF with its directory cut short"),
        pytest.param(
            b"II*\0" + struct.pack("<I", 1 << 30) + bytes(64), "tiff", id="TIFF, directory far"
        ),
        pytest.param(b"II*\0" + bytes(64), None, id="TIFF without directory"),
        pytest.param(b"II+\0" + bytes(64), None, id="BigTIFF without directory"),
        pytest.param(b"II*\0\x08\0\0\0", None, id="TIFF, too short"),
        pytest.param(PNG.replace(b"\r\n\x1a\n", b"\n\x1a\n"), None, id="PNG after text mode"),
        pytest.param(JPEG[:3] + b"\x01" + JPEG[4:], None, id="JPEG, no such segment"),
        pytest.param(JPEG[:5] + b"\x44" + JPEG[6:], None, id="JPEG, length of rubbish"),
        pytest.param(JPEG[:4] + b"\0\1" + JPEG[6:], None, id="JPEG, no length"),
        pytest.param(JPEG[:60], "jpeg", id="JPEG, cut short"),
        pytest.param(JPEG[:5], None, id="JPEG, too short"),
        pytest.param(BMP[:14] + b"\x29" + BMP[15:], None, id="BMP, header size"),
        pytest.param(BMP[:6] + b"\1" + BMP[7:], None, id="BMP, reserved"),
        pytest.param(b"BMS release 4.30 for all models", None, id="text that begins with BM"),
        pytest.param(b"GIF87a" + GIF[6:], "gif", id="GIF 87a"),
        pytest.param(GIF[:10] + b"\0" + GIF[11:13] + b"!", "gif", id="GIF without colours"),
        pytest.param(GIF[:15], "gif", id="GIF, cut short"),
        pytest.param(GIF[:12], None, id="GIF, too short"),
        pytest.param(GIF[:19] + b"x", None, id="GIF without a block"),
        pytest.param(database(TILES, "PRAGMA application_id = 1297105496"), "map-tiles", id="MPBX"),
        pytest.param(
            database(TILES, "PRAGMA application_id = 1196444487"), "geopackage", id="GPKG"
        ),
        pytest.param(b"SQLite format 2", None, id="SQLite, not 3"),
        pytest.param(b"tile_column", None, id="word of a tile archive"),
        pytest.param(b"3519,N*00\r\n" + GGA + AIS + GGA, "nmea-log", id="log from mid-sentence"),
        pytest.param(b"\\s:gps,c:1*7d\\" + GGA, "nmea-log", id="sentence with a TAG block"),
        pytest.param(sentence("PABC,1"), "nmea-log", id="sentence of a maker"),
        pytest.param(GGA.replace(b"*47", b"*48"), None, id="sentence, checksum wrong"),
        pytest.param(GGA.replace(b"*47", b""), None, id="sentence without checksum"),
        pytest.param(b"Example of an output:\n" + GGA, None, id="text with a sentence"),
        pytest.param(GGA + b"is an\nexample of\nsuch lines\n", None, id="text after a sentence"),
        pytest.param(b"$HOME/bin:$PATH\n", None, id="text that begins with a dollar"),
        pytest.param(b"%PDF-2.0\r\n", "pdf", id="PDF 2.0"),
        pytest.param(b"%PDF-x", None, id="PDF without version"),
        pytest.param(b"The %PDF-1.4\n", None, id="text about PDF"),
    ],
)
def test_forms_and_near_misses(head: bytes, slug: str | None) -> None:
    assert format_by_signature(head) == slug


# A tar file without a magic begins with a name of up to 100 bytes, and zeros.
OLD_NAMES = [b"GIF89a", b"BM", b"%PDF-1.4", b"II*", b"<gpx", b"!BSB", b"SQLite", b"$GPGGA,1*00"]


@pytest.mark.parametrize("name", OLD_NAMES)
def test_old_tar_files_keep_their_format(name: bytes) -> None:
    header = bytearray(512)
    header[: len(name)] = name
    header[100:148] = b"0000644\0" + b"0000000\0" * 2 + b"00000000000\0" * 2
    header[148:156] = b" " * 8
    header[148:156] = b"%06o\0 " % sum(header)
    assert recognised(bytes(header) + bytes(1024)) == "tar"


@pytest.mark.parametrize(
    ("data", "slug"),
    [
        pytest.param(b"S00600004844521B\nS9030000FC\n", "s-record", id="S-record"),
        pytest.param(b"S0 bootloader\0\0\0" * 9, "opaque", id="bootloader that begins with S0"),
        pytest.param(b":00000001FF\r\n", "intel-hex", id="Intel HEX"),
        pytest.param(b"\x27\x05\x19\x56" + bytes(60) + GPX, "uimage", id="uImage with GPX inside"),
        pytest.param(bytes(64) + PNG, "opaque", id="bootloader with a picture inside"),
    ],
)
def test_formats_of_images_stay_what_they_are(data: bytes, slug: str) -> None:
    assert recognised(data) == slug


@pytest.mark.parametrize(
    "head",
    [
        *(b"<!---->" * 600, b"<!--" * 1000, b"<?x" * 1300, b"<!DOCTYPE a[" * 340, b" \n" * 2048),
        *(b"<" + b"a" * 4095, b"<!DOCTYPE a>" * 341, b"\xff\xfe" + b" \0" * 2047),
        *(b'{"' + b'"type":' * 580, b'{"' + b'"geometry":' * 370, b'{"type"' + b" " * 4000),
        *(b"\\" * 4096, b"$A" * 2048, b"$ABC," + b"1" * 4000, b"!\n" * 2048, b"\xff\xd8" * 2048),
        big_tiff()[:16] + b"\xff" * 4000,
    ],
    ids=lambda head: repr(head[:10]),
)
def test_what_never_begins_is_left_soon(head: bytes) -> None:
    started = time.process_time()
    format_by_signature(head[:4096])
    assert time.process_time() - started < 0.5


@settings(deadline=None, max_examples=300)
@given(
    start=st.sampled_from([*SAMPLES.values(), big_tiff(34735), b"\xff\xfe", b"\xfe\xff"]),
    keep=st.integers(0, 120),
    rest=st.binary(max_size=200),
)
def test_damaged_files_are_looked_at_without_a_fault(start: bytes, keep: int, rest: bytes) -> None:
    slug = format_by_signature(start[:keep] + rest)
    assert slug is None or isinstance(slug, str)


def test_random_text_is_no_format() -> None:
    source = random.Random(9)
    letters = b'$!,*{}<>"/:= \nABCNS019gpxkml'
    for _ in range(5000):
        assert format_by_signature(bytes(source.choices(letters, k=200))) is None


def test_a_database_on_disk_is_one(tmp_path: Path) -> None:
    made = sqlite3.connect(tmp_path / "charts.db")
    made.execute("PRAGMA page_size = 512")
    made.execute(TILES)
    made.commit()
    made.close()
    assert format_by_signature((tmp_path / "charts.db").read_bytes()[:4096]) == "map-tiles"

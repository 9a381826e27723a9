"""What is an owner's own: by its content first, and by names of open standards where that fails."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images.signatures import SIGNATURES
from cardprep.rules.owners import (
    CHART,
    DATABASE,
    DOCUMENT,
    OWNERS_KINDS,
    PICTURE,
    POSITION_LOG,
    ROUTE,
    owners_kind,
)
from cardprep.texts.catalogue import word
from tests.images.test_signatures_owners import SAMPLES
from tests.rules.looked_at import looked_at

RUBBISH = random.Random(4).randbytes(300)
KINDS = {
    **dict.fromkeys(("s-57", "bsb-chart", "geotiff", "geopackage", "map-tiles"), CHART),
    **dict.fromkeys(("gpx", "kml", "geojson"), ROUTE),
    "nmea-log": POSITION_LOG,
    **dict.fromkeys(("tiff", "png", "jpeg", "bmp", "gif"), PICTURE),
    "pdf": DOCUMENT,
    "sqlite": DATABASE,
}
APPLE_DOUBLE = bytes.fromhex("0005160700020000") + bytes(18)


@pytest.mark.parametrize("slug", SAMPLES)
@pytest.mark.parametrize("name", ["APP_430.BIN", "x", "folder/a.dat"])
def test_the_content_decides_whatever_the_name_is(slug: str, name: str) -> None:
    assert owners_kind(looked_at(name, SAMPLES[slug])) == KINDS[slug]


def test_the_content_comes_before_name_and_folder() -> None:
    assert owners_kind(looked_at("track.gpx", SAMPLES["png"])) == PICTURE
    assert owners_kind(looked_at("ENC_ROOT/a.dat", SAMPLES["gpx"])) == ROUTE


# Sources: those named in the module that is tested.
NAMED = [
    ("CATALOG.031", CHART),
    ("ENC_ROOT/CATALOG.031", CHART),
    ("ENC_ROOT/DE/3/0/DE316004.000", CHART),
    ("enc_root/GB/GB50162A.001", CHART),
    ("ENC_ROOT/README.TXT", CHART),
    ("S100_ROOT/S-101/DATASET_FILES/101AA.000", CHART),
    ("BSB_ROOT/13218/13218.BSB", CHART),
    ("PERMIT.TXT", CHART),
    ("charts/permit.txt", CHART),
    ("SERIAL.ENC", CHART),
    *((f"coast.{end}", CHART) for end in ("kap", "KAP", "mbtiles", "gpkg", "gml")),
    *((f"trip.{end}", ROUTE) for end in ("gpx", "GPX", "kml", "kmz", "geojson")),
    *((f"trip{more}", ROUTE) for more in (" (1).gpx", ".gpx.txt", ".gpx.part", " copy.GPX")),
    ("._trip.gpx", ROUTE),
    ("log.nmea", POSITION_LOG),
    *((f"a.{end}", PICTURE) for end in ("png", "JPG", "jpeg", "bmp", "gif", "tif", "tiff")),
    *((f"a.{end}", PICTURE) for end in ("jp2", "webp", "heic", "heif", "avif")),
    ("DCIM/100ABCDE/ABCD0001.MOV", PICTURE),
    ("dcim/x", PICTURE),
    ("notes.pdf", DOCUMENT),
]


@pytest.mark.parametrize(("path", "kind"), NAMED)
@pytest.mark.parametrize(
    "content",
    [
        pytest.param(RUBBISH, id="broken"),
        pytest.param(b"", id="empty"),
        pytest.param(None, id="not read"),
        pytest.param(b"<!DOCTYPE html><title>Log in</title>", id="page"),
        pytest.param(b"PK\3\4" + bytes(40), id="packed"),
    ],
)
def test_names_count_where_the_content_says_nothing(
    path: str, kind: str, content: bytes | None
) -> None:
    assert owners_kind(looked_at(path, content)) == kind


@pytest.mark.parametrize(
    "path",
    [
        *("APP_430.BIN", "BOOT.S19", "update.zip", "README.TXT", "gpx", ".gpx", "a.gpx2", "kml"),
        *("US5WA22M.000", "enc_root", "DCIM", "ENC_ROOT2/a.000", "x.031", "PERMITS.TXT", "a.db"),
        *("DCIM/Thumbs.db", "DCIM/.DS_Store", "ENC_ROOT/desktop.ini", "track.txt"),
    ],
)
@pytest.mark.parametrize("content", [RUBBISH, b"", None])
def test_other_names_are_not_the_owners(path: str, content: bytes | None) -> None:
    assert owners_kind(looked_at(path, content)) is None


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(b"S0 bootloader\0\0\0" * 9, id="bootloader that begins with S0"),
        pytest.param(b"S00600004844521B\nS9030000FC\n", id="S-record"),
        pytest.param(b":00000001FF\r\n", id="Intel HEX"),
        pytest.param(b"Tracks are written as <gpx> from now on.\n", id="text about GPX"),
        pytest.param(b"<!DOCTYPE html><p>gpx</p>", id="page"),
        pytest.param(b"<?xml version='1.0'?><update><gpx/></update>", id="XML of another kind"),
        pytest.param(bytes(600) + SAMPLES["gpx"], id="GPX in the middle"),
    ],
)
def test_near_misses(content: bytes) -> None:
    assert owners_kind(looked_at("APP_430.BIN", content)) is None


def test_a_database_goes_by_its_name_first() -> None:
    data = SAMPLES["sqlite"]
    assert owners_kind(looked_at("harbour.mbtiles", data)) == CHART
    assert owners_kind(looked_at("places.db", data)) == DATABASE


def test_databases_of_systems_are_not_the_owners_but_what_was_thrown_away_is() -> None:
    assert owners_kind(looked_at(".Spotlight-V100/Store/x.db", SAMPLES["sqlite"])) is None
    assert owners_kind(looked_at("FOUND.000/FILE0000.CHK", SAMPLES["gpx"])) == ROUTE
    assert owners_kind(looked_at(".Trashes/501/a.jpg", SAMPLES["jpeg"])) == PICTURE


def test_a_companion_only_says_more_about_a_file() -> None:
    assert owners_kind(looked_at("DCIM/._a.jpg", APPLE_DOUBLE)) is None


@pytest.mark.parametrize("kind", OWNERS_KINDS)
def test_every_kind_has_words(kind: str) -> None:
    assert word(f"owner.{kind}") != f"owner.{kind}"


PARTS = st.text(max_size=12) | st.sampled_from(
    ["ENC_ROOT", "DCIM", "a.gpx", "CATALOG.031", "._a.kml", "\udcff.gpx", ".", "", "LOST.DIR"]
)


@settings(deadline=None, max_examples=300)
@given(
    path=st.lists(PARTS, min_size=1, max_size=4),
    start=st.sampled_from([b"", *SAMPLES.values()]),
    keep=st.integers(0, 200),
    rest=st.none() | st.binary(max_size=60),
)
def test_any_file_has_one_kind_or_none(
    path: list[str], start: bytes, keep: int, rest: bytes | None
) -> None:
    content = None if rest is None else start[:keep] + rest
    file = replace(looked_at("x", content), path=tuple(path))
    kind = owners_kind(file)
    assert kind is None or kind in OWNERS_KINDS
    found = "" if file.container is None else file.container.format
    # Only a database in a system's folder is nobody's.
    assert kind is not None or found not in KINDS.keys() - {"sqlite"}


def test_every_format_is_the_owners_or_is_not() -> None:
    assert SAMPLES.keys() == KINDS.keys()
    assert KINDS.keys() <= {row.format for row in SIGNATURES}

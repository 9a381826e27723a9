"""Rules about files that are no image: left by systems or displays, unknown, none known at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from cardprep.findings import Verdict
from cardprep.rules import others
from cardprep.volume.card import CardContent
from tests.manifests import display_facts, image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, MANIFEST, OLD, context, judged, looked_at, slugs
from tests.stages import make_stage

APPLE_DOUBLE = b"\0\x05\x16\x07\0\2\0\0" + bytes(60)
IMAGE = looked_at("APP_430.BIN", APP)


def found(*files: Any, **more: Any) -> list[tuple[str, str | None]]:  # noqa: ANN401
    return [
        (finding.slug, finding.path) for finding in others.unknown_files(context(*files, **more))
    ]


# Common practice, no published source.
@pytest.mark.parametrize(
    ("path", "shown"),
    [
        ("System Volume Information/IndexerVolumeGuid", "System Volume Information"),
        ("System Volume Information/WPSettings.dat", "System Volume Information"),
        (".Spotlight-V100/Store-V2/a/store.db", ".Spotlight-V100"),
        (".fseventsd/0000000000001", ".fseventsd"),
        (".Trash-1000/files/old letter.txt", ".Trash-1000"),
        ("$RECYCLE.BIN/S-1-5/desktop.ini", "$RECYCLE.BIN"),
        ("LOST.DIR/17", "LOST.DIR"),
        ("FOUND.000/FILE0000.CHK", "FOUND.000"),
        (".DS_Store", ".DS_Store"),
        ("charts/Thumbs.db", "charts/Thumbs.db"),
        ("desktop.ini", "desktop.ini"),
    ],
)
def test_an_ordinary_card_of_an_ordinary_system(path: str, shown: str) -> None:
    assert found(IMAGE, looked_at(path, b"anything")) == [("leftover", shown)]
    judgement = judged(IMAGE, looked_at(path, b"anything"))
    assert judgement.verdict is Verdict.USE
    assert slugs(judgement.findings) == ["leftover", "matches"]


def test_a_systems_folder_is_named_once_however_much_is_in_it() -> None:
    files = [looked_at(f".Spotlight-V100/{number}", b"x") for number in range(50)]
    assert slugs(judged(IMAGE, *files).findings) == ["leftover", "matches"]


# Common practice, no published source: a display that scans for *.BIN takes ._X.BIN too.
@pytest.mark.parametrize(
    ("path", "content", "slug"),
    [
        pytest.param("._APP_430.BIN", APPLE_DOUBLE, "leftover-like-image", id="of an image"),
        pytest.param("._NOTES.BIN", APPLE_DOUBLE, "leftover-like-image", id="ends like one"),
        pytest.param("._notes.bin", APPLE_DOUBLE, "leftover-like-image", id="without case"),
        pytest.param("x/._NOTES.BIN", b"?", "leftover-like-image", id="whatever is in it"),
        pytest.param("._FIRMWARE", APPLE_DOUBLE, "leftover-like-image", id="of one without ending"),
        pytest.param("._letter.txt", APPLE_DOUBLE, "leftover", id="of any other file"),
        pytest.param("._.Trashes", APPLE_DOUBLE, "leftover", id="of a basket"),
        pytest.param("._letter.txt", b"hidden", "unknown-file", id="not what the name says"),
        pytest.param("._letter.txt", None, "unknown-file", id="not read"),
        pytest.param("._", APPLE_DOUBLE, "unknown-file", id="of nothing"),
    ],
)
def test_companion_files(path: str, content: bytes | None, slug: str) -> None:
    shelf = manifest_of(*MANIFEST.images, image_facts("FIRMWARE", OLD + b"x", version="5"))
    assert found(IMAGE, looked_at(path, content), manifest=shelf) == [(slug, path)]


def test_companion_files_in_a_systems_folder_are_out_of_the_way() -> None:
    file = looked_at(".Trashes/501/._APP_430.BIN", APPLE_DOUBLE)
    assert found(IMAGE, file) == [("leftover", ".Trashes")]


def test_an_image_in_a_waste_basket() -> None:
    basket = looked_at(".Trash-1000/files/APP_417.BIN", OLD)
    assert found(IMAGE, basket) == [("leftover-image", ".Trash-1000/files/APP_417.BIN")]
    judgement = judged(IMAGE, basket)
    assert judgement.verdict is Verdict.USE_WITH_CARE
    assert slugs(judgement.findings) == ["leftover-image", "matches"]
    # Alone it is nothing that a display finds, and nothing that could be called right.
    alone = judged(basket)
    assert alone.verdict is Verdict.CANNOT_SAY
    assert slugs(alone.findings) == ["leftover-image", "no-image"]
    # The same bytes in their place and in the basket are one image.
    same = judged(IMAGE, looked_at(".Trash-1000/files/APP_430.BIN", APP))
    assert same.verdict is Verdict.USE


@pytest.mark.parametrize("folder", ["$RECYCLE.BIN", "LOST.DIR", "FOUND.000", ".Trashes"])
def test_an_altered_copy_in_a_systems_folder_is_said(folder: str) -> None:
    """A display that looks into every folder may load it."""
    judgement = judged(IMAGE, looked_at(f"{folder}/APP_430.BIN", APP[:-1]))
    assert judgement.verdict is Verdict.USE_WITH_CARE
    assert "leftover-altered" in slugs(judgement.findings)
    assert judged(looked_at(f"{folder}/APP_430.BIN", APP[:-1])).verdict is Verdict.CANNOT_SAY


@pytest.mark.parametrize(
    "path", ["autorun.inf", "HOLIDAY.ODT", "charts/NORTH.DAT", "setup.exe", "APP_431.HEX"]
)
def test_any_other_file_is_unknown(path: str) -> None:
    assert found(IMAGE, looked_at(path, b"x")) == [("unknown-file", path)]
    assert judged(IMAGE, looked_at(path, b"x")).verdict is Verdict.CANNOT_SAY


# Common practice, no published source: makers often keep a name and change a number in it.
@pytest.mark.parametrize(
    ("name", "slug"),
    [
        pytest.param("APP_431.BIN", "newer-than-shelf", id="one more"),
        pytest.param("app_500.bin", "newer-than-shelf", id="without case"),
        pytest.param("APP_429.BIN", "other-version", id="between two of the shelf"),
        pytest.param("APP_1.BIN", "other-version", id="older than all"),
        pytest.param("APP_430b.BIN", "unknown-file", id="a letter more"),
        pytest.param("APP.BIN", "unknown-file", id="no number"),
    ],
)
def test_a_name_with_another_number_in_it(name: str, slug: str) -> None:
    file = looked_at(name, b"x" * 100)
    assert found(IMAGE, file) == [(slug, name)]
    assert judged(IMAGE, file).verdict is Verdict.CANNOT_SAY


def test_when_the_makers_list_was_last_looked_at() -> None:
    days = (date(2026, 9, 1), date(2026, 11, 2), None)
    images = [replace(i, list_checked=d) for i, d in zip(MANIFEST.images, days, strict=False)]
    (finding,) = others.unknown_files(
        context(IMAGE, looked_at("APP_431.BIN", b"x"), manifest=manifest_of(*images))
    )
    assert finding.parameters["list_checked"] == "2026-11-02"
    (never,) = others.unknown_files(context(IMAGE, looked_at("APP_431.BIN", b"x")))
    assert never.parameters["list_checked"] == ""


def test_the_owners_data() -> None:
    """A card with an image and with somebody's waypoints is used with care, and never written."""
    gpx = b'<?xml version="1.0"?><gpx version="1.1"></gpx>'
    judgement = judged(IMAGE, looked_at("trip.gpx", gpx))
    assert judgement.verdict is Verdict.USE_WITH_CARE
    assert set(slugs(judgement.findings)) == {"owner-data", "matches"}


# --- files of displays


def test_files_that_displays_write() -> None:
    file = looked_at("OVD9.LOG", b"done")
    assert found(IMAGE, file) == [("display-file", "OVD9.LOG")]
    assert judged(IMAGE, file).verdict is Verdict.USE
    assert found(IMAGE, looked_at("x/OVD9.LOG", b"done")) == [("unknown-file", "x/OVD9.LOG")]


def test_only_the_display_of_the_stage_counts_where_it_is_known() -> None:
    others_too = manifest_of(*MANIFEST.images, display=display_facts(model="OV-D7"))
    shelf = replace(others_too, displays=(*others_too.displays, display_facts(writes=())))
    file = looked_at("OVD9.LOG", b"done")
    assert found(IMAGE, file, manifest=shelf) == [("display-file", "OVD9.LOG")]
    stage = make_stage([(("APP_430.BIN",), APP)])[0]
    assert found(IMAGE, file, manifest=shelf, stage=stage) == [("unknown-file", "OVD9.LOG")]


# --- nothing known


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        pytest.param([], [("card-empty", None)], id="empty card"),
        pytest.param(
            [looked_at("A.JPG", b"x")], [("owner-data", "A.JPG"), ("no-image", None)], id="photo"
        ),
        pytest.param([looked_at("APP_430.BIN", b"x")], [], id="a name alone"),
        pytest.param([looked_at("APP_430.BIN", None)], [("no-image", None)], id="not read"),
        pytest.param([looked_at("X", BOOT)], [], id="an image"),
    ],
)
def test_when_no_image_is_there(files: list[Any], expected: list[Any]) -> None:
    assert found(*files) == expected
    if not any(file.digests is not None for file in files):
        assert judged(*files).verdict is Verdict.CANNOT_SAY


def test_without_a_volume_that_is_said_elsewhere() -> None:
    nothing = CardContent(table=None, partitions=(), volumes=(), findings=())
    made = context()
    without = replace(made, inspection=replace(made.inspection, content=nothing))
    assert others.unknown_files(without) == []


def test_without_a_manifest_nothing_is_called_unknown() -> None:
    files = [looked_at("A.JPG", b"x"), looked_at("._APP_430.BIN", b"x")]
    assert others.unknown_files(context(*files, manifest=None)) == []

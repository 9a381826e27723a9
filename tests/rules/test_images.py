"""Rules about images: which they are, under which names, and whether they may share a card."""

from __future__ import annotations

from typing import Any

import pytest

from cardprep.findings import Finding
from cardprep.manifest.model import Manifest
from cardprep.rules import images
from cardprep.rules.context import By
from cardprep.terms import BOOTLOADER, CHART_DATA, CHUNK
from tests.manifests import display_facts, image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, GONE, MANIFEST, OLD, context, flipped, looked_at, slugs
from tests.stages import make_stage


def stage_of(*paths: str) -> Any:  # noqa: ANN401
    return make_stage([(tuple(path.split("/")), b"x") for path in paths])[0]


def on_display(**display: Any) -> dict[str, Any]:  # noqa: ANN401
    facts = display_facts(**display)
    return {"manifest": manifest_of(*MANIFEST.images, display=facts), "stage": stage_of("A")}


# --- what a file is


@pytest.mark.parametrize(
    ("path", "content", "by", "version"),
    [
        pytest.param("APP_430.BIN", APP, By.DIGEST, "4.30", id="bytes and name"),
        pytest.param("HOLIDAY.JPG", APP, By.DIGEST, "4.30", id="bytes under any name"),
        pytest.param("APP_417.BIN", APP, By.DIGEST, "4.30", id="bytes go before the name"),
        pytest.param("app_430.bin", b"x", By.NAME, "4.30", id="name without case"),
        pytest.param("APP_430 (1).BIN", b"x", By.LIKENESS, "4.30", id="name of a download"),
        pytest.param("APP_430.BIN", None, By.NAME, "4.30", id="name of what could not be read"),
        pytest.param("APP_431.BIN", b"x", None, None, id="nothing"),
        pytest.param(".Trash-1000/files/APP_430.BIN", b"x", None, None, id="name in a basket"),
        pytest.param(".Trash-1000/files/x", APP, By.DIGEST, "4.30", id="bytes in a basket"),
    ],
)
def test_what_a_file_is(path: str, content: bytes | None, by: By | None, version: str) -> None:
    (item,) = context(looked_at(path, content)).files
    assert item.by is by
    assert (None if item.image is None else item.image.version.text) == version


def test_a_name_that_all_versions_have() -> None:
    # Common practice, no published source: makers keep one name for all versions.
    one = bytes(CHUNK) + b"1" * 1000
    two = APP[:CHUNK] + b"2" * 5000
    old = two[:CHUNK]
    shelf = manifest_of(
        image_facts("UPDATE.BIN", one, version="1.0"),
        image_facts("UPDATE.BIN", two, version="2.0"),
        image_facts("UPDATE.BIN", old, version="0.9", withdrawn="recalled"),
    )

    def claims(content: bytes) -> list[str]:
        (item,) = context(looked_at("UPDATE.BIN", content), manifest=shelf).files
        return [image.version.text for image in item.claims]

    assert claims(two) == ["2.0"]
    # The block that is the same tells more than the size.
    assert claims(flipped(two, CHUNK + 3))[0] == "2.0"
    assert claims(flipped(one, CHUNK + 1))[0] == "1.0"
    # With nothing in common the nearest in size of those in use comes first.
    assert claims(b"\1" * (CHUNK + 900)) == ["1.0", "2.0", "0.9"]
    assert claims(b"\1" * (CHUNK + 5100)) == ["2.0", "1.0", "0.9"]


# --- matches, names


def test_a_match_says_what_it_is() -> None:
    (found,) = images.matches(context(looked_at("x/APP_430.BIN", APP)))
    assert found.path == "x/APP_430.BIN"
    assert found.parameters == {"type": "application", "models": "OV-V40", "version": "4.30"}
    for path, content in (("APP_430.BIN", b"x"), (".Trashes/APP_430.BIN", APP), ("A", None)):
        assert images.matches(context(looked_at(path, content))) == []


@pytest.mark.parametrize(
    ("name", "is_renamed"),
    [
        ("APP_430.BIN", False),
        ("app_430.Bin", False),
        ("APP_430 (1).BIN", True),
        ("APP_43~1.BIN", True),
        ("APP_430.BIN.txt", True),
        ("BOOT_310.BIN", True),
    ],
)
def test_renamed(name: str, is_renamed: bool) -> None:
    found = images.renamed(context(looked_at(name, APP)))
    assert bool(found) is is_renamed
    if found:
        assert found[0].parameters["expected"] == "APP_430.BIN"


def test_a_name_alone_is_not_called_renamed() -> None:
    assert images.renamed(context(looked_at("APP_430 (1).BIN", b"x"))) == []


# Common practice, no published source: some displays read short names only.
@pytest.mark.parametrize(
    ("path", "short", "content", "found"),
    [
        pytest.param("APP_430.BIN", "APP_430.BIN", APP, [], id="as it should be"),
        pytest.param("App_430.bin", "APP_430.BIN", APP, [], id="another case"),
        pytest.param("APP_430.BIN", None, APP, [], id="a mounted folder has no short names"),
        pytest.param(
            "APP_430.BIN", "APP_43~1.BIN", APP, ["short-name-differs"], id="not found by it"
        ),
        pytest.param("APP_430.BIN", "APP_43~1.BIN", b"x", [], id="other bytes are said already"),
        pytest.param("HOLIDAY.JPG", "HOLIDA~1.JPG", b"x", [], id="any file"),
        pytest.param(
            "HOLIDAY.JPG", "APP_430.BIN", b"x", ["short-name-of-image"], id="taken for an image"
        ),
        pytest.param(
            "APP_417.BIN", "APP_430.BIN", OLD, ["short-name-of-image"], id="taken for another one"
        ),
        pytest.param("HOLIDAY.JPG", "APP_430.BIN", APP, [], id="that very image, renamed"),
        pytest.param(".Trashes/x y", "APP_430.BIN", b"x", [], id="in a basket"),
    ],
)
def test_short_names(path: str, short: str | None, content: bytes, found: list[str]) -> None:
    made = images.short_names(context(looked_at(path, content, short=short)))
    assert slugs(made) == found
    for finding in made:
        assert finding.parameters["short"] == short


def test_a_long_makers_name_always_has_another_short_one() -> None:
    shelf = manifest_of(image_facts("OVV40_APP_430.img", APP))
    file = looked_at("OVV40_APP_430.img", APP, short="OVV40_~1.IMG")
    assert images.short_names(context(file, manifest=shelf)) == []


# --- sharing a card


@pytest.mark.parametrize(
    ("files", "types"),
    [
        pytest.param([("APP_430.BIN", APP), ("APP_417.BIN", OLD)], None, id="one type"),
        pytest.param(
            [("APP_430.BIN", APP), ("BOOT_310.BIN", BOOT)], "application, bootloader", id="two"
        ),
        pytest.param(
            [("APP_430.BIN", APP), ("x/BOOT_310.BIN", b"?")],
            "application, bootloader",
            id="one by its name alone",
        ),
        pytest.param([("APP_430.BIN", APP), (".Trashes/x", BOOT)], None, id="one in a basket"),
        pytest.param([("APP_430.BIN", APP), ("HOLIDAY.JPG", b"?")], None, id="an unknown file"),
    ],
)
def test_mixed_types(files: list[tuple[str, bytes]], types: str | None) -> None:
    found = images.mixed_types(context(*(looked_at(*file) for file in files)))
    assert [finding.parameters["types"] for finding in found] == ([types] if types else [])


def test_the_display_says_how_many_types_share_a_card() -> None:
    files = [looked_at("APP_430.BIN", APP), looked_at("BOOT_310.BIN", BOOT)]
    assert images.mixed_types(context(*files, **on_display(types_per_card=2))) == []
    (found,) = images.mixed_types(context(*files, **on_display(types_per_card=1)))
    assert found.parameters["limit"] == 1
    assert found.parameters["files"] == "APP_430.BIN, BOOT_310.BIN"


def test_a_name_of_several_types_tells_no_type() -> None:
    shelf = manifest_of(
        image_facts("UPDATE.BIN", APP),
        image_facts("UPDATE.BIN", BOOT, kind=BOOTLOADER, version="3.10"),
    )
    files = [looked_at("UPDATE.BIN", APP), looked_at("old/UPDATE.BIN", b"?" * 5000)]
    assert images.mixed_types(context(*files, manifest=shelf)) == []
    assert images.two_versions(context(*files, manifest=shelf)) == []


def test_a_card_full_of_copies_is_named_in_one_line() -> None:
    files = [looked_at(f"{number}/APP_430.BIN", APP) for number in range(50)]
    (found,) = images.mixed_types(context(*files, looked_at("BOOT_310.BIN", BOOT)))
    assert len(str(found.parameters["files"])) < 200
    assert str(found.parameters["files"]).endswith("...")


def test_two_versions() -> None:
    files = [looked_at("APP_430.BIN", APP), looked_at("old/APP_417.BIN", OLD)]
    (found,) = images.two_versions(context(*files))
    assert found == Finding(
        "two-versions",
        parameters={"model": "OV-V40", "type": "application", "versions": "4.17, 4.30"},
    )
    again = [files[0], looked_at("copy/APP_430.BIN", APP)]
    assert images.two_versions(context(*again)) == []
    basket = [files[0], looked_at("$RECYCLE.BIN/R1.BIN", OLD)]
    assert images.two_versions(context(*basket)) == []


def test_versions_of_different_models_or_types_are_no_two_versions() -> None:
    shelf = manifest_of(
        image_facts("A.BIN", APP, models=("OV-V40",)),
        image_facts("B.BIN", OLD, models=("OV-V42",), version="4.17"),
        image_facts("C.BIN", BOOT, kind=CHART_DATA, version="1"),
    )
    files = [looked_at("A.BIN", APP), looked_at("B.BIN", OLD), looked_at("C.BIN", BOOT)]
    assert images.two_versions(context(*files, manifest=shelf)) == []


# Common practice, no published source: only the manifest can tell them apart.
def test_one_name_for_two_revisions_of_hardware() -> None:
    shelf = manifest_of(
        image_facts("APP.BIN", APP, models=("OV-V40 rev A",)),
        image_facts("APP.BIN", OLD, models=("OV-V40 rev B",)),
    )
    (found,) = images.matches(context(looked_at("APP.BIN", OLD), manifest=shelf))
    assert found.parameters["models"] == "OV-V40 rev B"


# --- where it stands, and whether it was taken back


@pytest.mark.parametrize(
    ("folder", "path", "is_wrong"),
    [
        pytest.param("", "APP_430.BIN", False, id="root"),
        pytest.param("", "UPDATE/APP_430.BIN", True, id="a folder too deep"),
        pytest.param("UPDATE/RADIO", "update/radio/APP_430.BIN", False, id="without case"),
        pytest.param("UPDATE/RADIO", "UPDATE/APP_430.BIN", True, id="not deep enough"),
        pytest.param("UPDATE", "UPDATE/UPDATE/APP_430.BIN", True, id="unpacked too deep"),
        pytest.param("UPDATE", "APP_430.BIN", True, id="not in the folder"),
    ],
)
@pytest.mark.parametrize("content", [APP, b"altered"], ids=["bytes", "name"])
def test_wrong_folder(folder: str, path: str, is_wrong: bool, content: bytes) -> None:
    found = images.wrong_folder(context(looked_at(path, content), **on_display(folder=folder)))
    assert bool(found) is is_wrong
    if found:
        assert found[0].parameters["folder"] == (folder or "/")
        assert found[0].parameters["display"] == "OV-D9"


def test_without_a_display_no_folder_is_wrong() -> None:
    assert images.wrong_folder(context(looked_at("x/APP_430.BIN", APP))) == []
    unknown: Manifest = manifest_of(*MANIFEST.images, display=display_facts(model="OV-D7"))
    made = context(looked_at("x/APP_430.BIN", APP), manifest=unknown, stage=stage_of("A"))
    assert images.wrong_folder(made) == []


def test_withdrawn_goes_by_the_bytes() -> None:
    (found,) = images.withdrawn(context(looked_at("NEW.BIN", GONE)))
    assert found.parameters["given"] == "sets the clock back"
    # The maker may have given the name to a better version.
    assert images.withdrawn(context(looked_at("GONE.BIN", b"better"))) == []
    assert images.withdrawn(context(looked_at("APP_430.BIN", APP))) == []

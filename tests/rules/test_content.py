"""Rules about content: which blocks, cut where, filled, broken, packed, contradicted."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.findings import Finding
from cardprep.images.report import ContainerReport, Soundness
from cardprep.rules import content
from cardprep.rules.judge import judge
from cardprep.terms import CHUNK
from tests.manifests import image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, MANIFEST, OLD, context, flipped, looked_at

HEX = b":10010000214601360121470136007EFE09D2190140\n:00000001FF\n"


def zipped(name: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr(name, APP)
    return held.getvalue()


def altered(path: str, data: bytes | None) -> list[Finding]:
    return content.altered(context(looked_at(path, data)))


def numbers(finding: Finding) -> tuple[object, ...]:
    return tuple(finding.parameters[key] for key in ("how", "chunks", "of", "first"))


# --- altered and cut short


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(flipped(APP, 0), ("altered-part", 1, 4, 0), id="first byte"),
        pytest.param(flipped(APP, CHUNK), ("altered-part", 1, 4, CHUNK), id="second block"),
        pytest.param(flipped(APP, len(APP) - 1), ("altered-part", 1, 4, 3 * CHUNK), id="last byte"),
        pytest.param(
            flipped(flipped(APP, 5), 2 * CHUNK), ("altered-part", 2, 4, 0), id="two blocks"
        ),
        pytest.param(APP + b"x", ("altered-longer", 1, 4, 3 * CHUNK), id="one byte more"),
        pytest.param(APP + bytes(CHUNK), ("altered-longer", 2, 5, 3 * CHUNK), id="a block more"),
        pytest.param(OLD[1:], ("altered-all", 4, 4, 0), id="something else"),
        pytest.param(b"short", ("altered-all", 4, 4, 0), id="something short"),
        pytest.param(
            APP[: CHUNK + 9] + bytes(len(APP) - CHUNK - 9),
            ("altered-filled", 3, 4, CHUNK),
            id="zeros from inside a block on",
        ),
        pytest.param(
            APP[: 2 * CHUNK] + b"\xff" * (CHUNK + 500),
            ("altered-filled", 2, 4, 2 * CHUNK),
            id="FF from the beginning of a block on",
        ),
        pytest.param(
            APP[: 3 * CHUNK] + bytes(500), ("altered-filled", 1, 4, 3 * CHUNK), id="the last block"
        ),
        pytest.param(bytes(len(APP)), ("altered-filled", 4, 4, 0), id="nothing but zeros"),
        pytest.param(
            APP[:CHUNK] + bytes(CHUNK) + APP[2 * CHUNK :],
            ("altered-part", 1, 4, CHUNK),
            id="zeros in the middle are no copy that broke off",
        ),
    ],
)
def test_which_blocks_and_how(data: bytes, expected: tuple[object, ...]) -> None:
    (finding,) = altered("APP_430.BIN", data)
    assert finding.slug == "altered"
    assert numbers(finding) == expected
    assert (finding.parameters["got"], finding.parameters["wanted"]) == (len(data), len(APP))
    assert finding.parameters["by"] == "by-name"


def test_an_image_that_ends_in_zeros_by_itself_was_not_cut() -> None:
    image = APP[:CHUNK] + bytes(2 * CHUNK)
    shelf = manifest_of(image_facts("PADDED.BIN", image))
    (finding,) = content.altered(
        context(looked_at("PADDED.BIN", flipped(image, 7)), manifest=shelf)
    )
    assert numbers(finding) == ("altered-part", 1, 3, 0)


@pytest.mark.parametrize(
    "size", [0, CHUNK, 2 * CHUNK, 3 * CHUNK, CHUNK + 1, 2 * CHUNK - 1, len(APP) - 1]
)
@pytest.mark.parametrize("path", ["APP_430.BIN", "APP_430 (1).BIN", "APP_430.BIN.crdownload"])
def test_cut_short(size: int, path: str) -> None:
    (finding,) = altered(path, APP[:size])
    assert finding.slug == "cut-short"
    assert (finding.parameters["got"], finding.parameters["wanted"]) == (size, len(APP))


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(APP[:9], id="less than a block proves nothing"),
        pytest.param(flipped(APP[: 2 * CHUNK], 5), id="altered as well"),
    ],
)
def test_what_is_shorter_and_not_called_cut(data: bytes) -> None:
    (finding,) = altered("APP_430.BIN", data)
    assert finding.slug == "altered"


@settings(deadline=None, max_examples=60)
@given(st.integers(0, len(APP) - 1))
def test_one_flipped_byte_names_its_block(at: int) -> None:
    (finding,) = altered("APP_430.BIN", flipped(APP, at))
    assert finding.parameters["first"] == at // CHUNK * CHUNK
    assert finding.parameters["chunks"] == 1


@settings(deadline=None, max_examples=60)
@given(st.integers(0, len(APP) - 1), st.binary(min_size=1, max_size=50))
def test_no_content_but_the_images_own_goes_unnamed(size: int, tail: bytes) -> None:
    data = APP[:size] + tail
    assert len(altered("APP_430.BIN", data)) == (data != APP)


def test_a_name_that_was_changed_is_told_as_such() -> None:
    (finding,) = altered("APP_430 (1).BIN", flipped(APP, 0))
    assert finding.parameters["by"] == "by-likeness"


@pytest.mark.parametrize(
    ("path", "data"),
    [
        pytest.param("APP_430.BIN", APP, id="the image"),
        pytest.param("APP_430.BIN", None, id="what could not be read"),
        pytest.param("APP_431.BIN", b"x", id="an unknown name"),
        pytest.param(".Trash-1000/files/APP_430.BIN", b"x", id="deleted into a basket"),
    ],
)
def test_what_is_not_called_altered(path: str, data: bytes | None) -> None:
    assert altered(path, data) == []


def test_a_name_of_several_versions_is_not_called_one_of_them() -> None:
    shelf = manifest_of(
        image_facts("UPDATE.BIN", APP, version="2.0"), image_facts("UPDATE.BIN", OLD, version="1.0")
    )

    def version(data: bytes) -> object:
        (finding,) = content.altered(context(looked_at("UPDATE.BIN", data), manifest=shelf))
        return finding.parameters["version"]

    # A third version, newer than the shelf: nothing tells which one it is.
    assert version(b"3" * len(APP)) == "2.0, 1.0"
    assert version(flipped(OLD, 3)) == "1.0"


def test_quick_digests_that_were_made_to_agree_prove_nothing() -> None:
    true = image_facts("APP_430.BIN", APP)
    forged = looked_at("APP_430.BIN", flipped(APP, 5))
    assert forged.digests is not None
    agreeing = replace(forged, digests=replace(forged.digests, chunks=true.chunks))
    (finding,) = content.altered(context(agreeing))
    assert finding.slug == "altered"
    assert numbers(finding) == ("altered-all", 4, 4, 0)


# --- containers


def containers(path: str, data: bytes, container: str = "opaque") -> list[tuple[str, object]]:
    images = [image_facts("APP_430.BIN", APP), image_facts("NEW.HEX", HEX, container=container)]
    images.append(image_facts("ODD.BIN", b"\x1f\x8b\x08\0rubbish", container=container))
    made = context(looked_at(path, data), manifest=manifest_of(*images))
    return [(finding.slug, finding.parameters["format"]) for finding in content.containers(made)]


@pytest.mark.parametrize(
    ("path", "data", "container", "found"),
    [
        pytest.param("APP_430.BIN", APP, "opaque", [], id="an opaque image is normal"),
        pytest.param(
            "APP_430.BIN",
            b"<!DOCTYPE html><html>log in</html>",
            "opaque",
            [("container-contradicts", "html")],
            id="a web page under the image's name",
        ),
        pytest.param(
            "APP_430.BIN",
            zipped("APP_430.BIN"),
            "opaque",
            [("container-contradicts", "zip")],
            id="the archive under the image's name",
        ),
        pytest.param("NEW.HEX", HEX, "intel-hex", [], id="as promised"),
        pytest.param("NEW.HEX", HEX, "opaque", [], id="a format that nobody promised"),
        pytest.param("NEW.HEX", HEX, "uimage", [], id="the bytes are those of the release"),
        pytest.param(
            "NEW.HEX",
            HEX[:-12],
            "intel-hex",
            [("container-broken", "intel-hex")],
            id="promised and broken",
        ),
        pytest.param(
            "NEW.HEX",
            b"plain",
            "intel-hex",
            [("container-contradicts", "opaque")],
            id="promised and not there",
        ),
        pytest.param(
            "ODD.BIN", b"\x1f\x8b\x08\0rubbish", "opaque", [], id="a likeness that is chance"
        ),
        pytest.param(
            "ODD.BIN",
            b"\x1f\x8b\x08\0rubbish",
            "gzip",
            [("container-broken", "gzip")],
            id="a release that does not hold",
        ),
        pytest.param(
            "OTHER.HEX",
            HEX.replace(b"0140\n", b"0141\n"),
            "opaque",
            [("container-broken", "intel-hex")],
            id="an unknown file with a wrong checksum",
        ),
        pytest.param("NEW.ZIP", zipped("a"), "opaque", [("left-packed", "zip")], id="packed"),
        pytest.param("PAGE.HTM", b"<!DOCTYPE html>", "opaque", [], id="an unknown page"),
        pytest.param(".Trashes/NEW.ZIP", zipped("a"), "opaque", [], id="packed, in a basket"),
    ],
)
def test_containers(path: str, data: bytes, container: str, found: list[tuple[str, str]]) -> None:
    assert containers(path, data, container) == found


# Source: common practice, no published source: a transfer in text mode changes line ends.
def test_line_ends_changed_by_a_transfer() -> None:
    data = HEX.replace(b"\n", b"\r\n")
    made = context(
        looked_at("NEW.HEX", data),
        manifest=manifest_of(image_facts("NEW.HEX", HEX, container="intel-hex")),
    )
    assert [finding.slug for finding in content.altered(made)] == ["altered"]
    assert content.containers(made) == []


# Source: common practice, no published source: browsers save a login page under the file's name.
@pytest.mark.parametrize(
    ("path", "told"),
    [
        pytest.param("APP_431.BIN", ["page-as-image", "no-image"], id="a newer version's name"),
        pytest.param("APP_1.BIN", ["page-as-image", "no-image"], id="another version's name"),
        pytest.param("update.bin", ["page-as-image", "no-image"], id="only the end of a name"),
        pytest.param("README.HTM", ["unknown-file", "no-image"], id="a page by name too"),
        pytest.param("APP_430.BIN", ["altered", "container-contradicts"], id="an image's name"),
    ],
)
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf\r\n "])
def test_a_web_page_that_was_saved_as_an_image(path: str, told: list[str], mark: bytes) -> None:
    page = mark + b"<!DOCTYPE HTML><html>log in</html>"
    assert [f.slug for f in judge(context(looked_at(path, page))).findings] == told


def test_what_could_not_be_read_has_no_container() -> None:
    assert content.containers(context(looked_at("APP_430.BIN", None))) == []


def test_the_first_problem_is_named_with_its_numbers() -> None:
    (finding,) = content.containers(
        context(looked_at("X.HEX", HEX.replace(b"0140\n", b"0141\n")), manifest=MANIFEST)
    )
    assert finding.parameters["problem"] == "record.checksum"
    assert finding.parameters["line"] == 1
    silent = ContainerReport(format="intel-hex", soundness=Soundness.BROKEN, facts={})
    file = replace(looked_at("X.HEX", b"x"), container=silent)
    (finding,) = content.containers(context(file))
    assert finding.parameters == {"format": "intel-hex", "problem": ""}


def test_without_a_manifest_only_what_a_file_says_of_itself() -> None:
    files = [looked_at("APP_430.BIN", BOOT), looked_at("NEW.ZIP", zipped("a"))]
    made = context(*files, manifest=None)
    assert content.altered(made) == []
    assert [finding.slug for finding in content.containers(made)] == ["left-packed"]

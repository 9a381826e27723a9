"""Which images may have been on a card and were deleted: always notes, and guesses are called so.

Row 42 of why card-based updates fail: a card from an earlier job that was not wiped
(common practice, no published source).
"""

from __future__ import annotations

import random

import pytest

from cardprep.findings import Finding, Severity, Verdict
from cardprep.rules import deleted as rule
from cardprep.rules.deleted import deleted_files
from cardprep.rules.judge import judge
from cardprep.terms import CHUNK
from cardprep.texts.catalogue import finding as worded
from cardprep.volume.model import Left
from tests.manifests import image_facts, manifest_of
from tests.rules.gone import Gone, gone, with_deleted
from tests.rules.looked_at import APP, BOOT, MANIFEST, OLD, flipped

LONG = random.Random(9).randbytes(12 * CHUNK)
SHELF = manifest_of(*MANIFEST.images, image_facts("A longer name.img", LONG, version="5.00"))


def said(*deleted: Gone, asked: bool = True) -> list[Finding]:
    """Return what is said of deleted files besides that they are listed."""
    found = deleted_files(with_deleted(*deleted, asked=asked, manifest=SHELF))
    assert found[0].slug == "deleted-entries"
    return found[1:]


def seen(finding: Finding) -> str:
    return worded(finding.slug, finding.path, finding.structure, finding.parameters).seen


def test_a_card_without_deleted_files_says_nothing_of_them() -> None:
    assert not [f for f in judge(with_deleted()).findings if f.slug.startswith("deleted")]


def test_deleted_files_are_listed_in_one_note() -> None:
    files = [gone(f"SUB/?{number}.BIN", b"x") for number in range(5)]
    (finding,) = deleted_files(with_deleted(*files, asked=False))
    assert finding.parameters == {
        "count": 5,
        "names": "SUB/?0.BIN, SUB/?1.BIN, SUB/?2.BIN, ...",
    }
    assert finding.severity is Severity.NOTE


def test_a_content_is_matched_by_its_digest_whatever_the_name_is() -> None:
    (finding,) = said(gone("HOLIDAY.JPG", APP))
    assert (finding.slug, finding.path) == ("deleted-image", "HOLIDAY.JPG")
    text = seen(finding)
    assert f"HOLIDAY.JPG (deleted, {len(APP)} bytes) is the application 4.30" in text
    assert "a guess" in text


def test_what_is_left_of_a_file_is_matched_by_its_blocks() -> None:
    (finding,) = said(gone("X", LONG, left=Left.PARTLY, seen=LONG[: 3 * CHUNK]))
    assert finding.slug == "deleted-image-part"
    assert "the first 3 of 12 blocks of 64 KiB are those of the application 5.00" in seen(finding)
    assert seen(finding).endswith("part of its clusters is in use again")
    later = bytes(CHUNK) + LONG[CHUNK : 3 * CHUNK] + bytes(9 * CHUNK)
    (finding,) = said(gone("X", LONG, seen=later))
    assert f"2 of 12 blocks of 64 KiB, the first at byte {CHUNK}, are those of" in seen(finding)
    # Its last block counts only where the file ends as the image does.
    (finding,) = said(gone("X", flipped(APP, 5)))
    assert finding.parameters["same"] == 3


def test_the_image_with_the_most_blocks_is_named() -> None:
    other = image_facts("OTHER.BIN", APP[:CHUNK] + OLD[CHUNK:], version="1.00")
    manifest = manifest_of(other, *MANIFEST.images)
    context = with_deleted(gone("X", flipped(APP, len(APP) - 1)), manifest=manifest)
    (finding,) = (f for f in deleted_files(context) if f.slug == "deleted-image-part")
    assert (finding.parameters["version"], finding.parameters["same"]) == ("4.30", 3)


def test_filling_is_no_block_of_any_image() -> None:
    padded = image_facts("PAD.BIN", b"p" + bytes(4 * CHUNK), version="1.00")
    context = with_deleted(gone("X", bytes(5 * CHUNK)), manifest=manifest_of(padded))
    assert [f.slug for f in deleted_files(context)] == ["deleted-entries"]


@pytest.mark.parametrize(
    ("name", "size", "wanted"),
    [
        pytest.param("APP_430.BIN", len(APP), "it has the same name, and the same size", id="all"),
        pytest.param("app_430.bin", len(APP), "it has the same name, and the same size", id="case"),
        pytest.param("A LONGER NAME.IMG", 5, "it has the same name, and another size", id="long"),
        pytest.param("?PP_430.BIN", len(APP), "first character, which is lost, and the", id="lost"),
        pytest.param("?pp_430.bin", 5, "is lost, and another size", id="lost, in lower case"),
    ],
)
def test_a_name_is_only_a_name(name: str, size: int, wanted: str) -> None:
    (finding,) = said(gone(name, APP, size=size, left=Left.IN_USE), asked=False)
    assert finding.slug == "deleted-image-name"
    assert wanted in seen(finding)
    assert seen(finding).endswith("its first cluster is in use again")


def test_a_name_whose_end_is_lost_is_what_it_begins_with() -> None:
    cut = gone("A longer nam?", b"x", long_name="A longer nam?")
    (finding,) = said(cut, asked=False)
    assert "its name begins the same, and the end of it is lost" in seen(finding)
    assert said(gone("A shorter na?", b"x", long_name="A shorter na?"), asked=False) == []


@pytest.mark.parametrize("name", ["PP_430.BIN", "?PP_431.BIN", "? longer name.img", "?.BIN", "?"])
def test_other_names_say_nothing(name: str) -> None:
    assert said(gone(name, b"x"), asked=False) == []


def test_a_name_whose_content_was_looked_at_is_told_of_it() -> None:
    (finding,) = said(gone("?PP_430.BIN", APP, seen=b"x" * len(APP)))
    assert finding.slug == "deleted-image-name"
    assert seen(finding).endswith("what lies there now is something else")


def test_a_name_of_several_versions_is_that_of_the_nearest_size() -> None:
    manifest = manifest_of(
        image_facts("APP.BIN", APP, version="4.30"), image_facts("APP.BIN", BOOT, version="4.17")
    )
    deleted = gone("?PP.BIN", BOOT)
    (_, finding) = deleted_files(with_deleted(deleted, asked=False, manifest=manifest))
    assert (finding.parameters["version"], finding.parameters["how"]) == (
        "4.17",
        "deleted-same-size",
    )


def test_what_could_not_be_looked_for_is_said() -> None:
    files = [gone("A", b"a"), gone("B", b"b", unreadable=True), gone("C", b"c", unreadable=True)]
    found = deleted_files(with_deleted(*files, left_out=(0,)))[1:]
    assert [(f.slug, f.parameters["what"], f.parameters["count"]) for f in found] == [
        ("deleted-content-left", "left-too-much", 1),
        ("deleted-content-left", "left-unreadable", 2),
    ]


def test_no_more_are_named_than_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rule, "NAMED_LIMIT", 2)
    found = said(*[gone("?PP_430.BIN", APP)] * 5)
    assert [f.slug for f in found] == ["deleted-image", "deleted-image", "more-findings"]
    assert found[-1].parameters["count"] == 3


def test_nothing_deleted_ever_stops_a_card() -> None:
    files = [gone("?PP_430.BIN", APP), gone("BOOT_310.BIN", BOOT), gone("X.EXE", b"MZ")]
    judgement = judge(with_deleted(*files))
    assert judgement.verdict is Verdict.USE
    assert {f.severity for f in judgement.findings} == {Severity.NOTE}


def test_without_a_manifest_they_are_only_listed() -> None:
    context = with_deleted(gone("?PP_430.BIN", APP), manifest=None)
    assert [f.slug for f in deleted_files(context)] == ["deleted-entries"]

"""Whole cards: what is on them, what is found, what follows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.findings import KINDS, Finding, Severity, Verdict
from cardprep.inspection.card import inspect_card
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Compared, Difference
from cardprep.rules.context import Context
from cardprep.rules.judge import ESTABLISHED, Judgement, judge, verdict_of
from cardprep.terms import APPLICATION, BOOTLOADER, CHUNK, MIB
from tests.cards import MemorySectors
from tests.manifests import display_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, GONE, MANIFEST, OLD, flipped
from tests.rules.whole import HEX, judged, with_stage, zipped
from tests.stages import Files, laid_out_bytes, make_stage


def slugs(judgement: Judgement) -> set[str]:
    return {finding.slug for finding in judgement.findings}


USE, CARE, STOP, CANNOT = (
    Verdict.USE,
    Verdict.USE_WITH_CARE,
    Verdict.DO_NOT_USE,
    Verdict.CANNOT_SAY,
)


# Source: common practice, no published source (why card-based updates fail).
@pytest.mark.parametrize(
    ("files", "verdict", "found"),
    [
        pytest.param([(("APP_430.BIN",), APP)], USE, {"matches"}, id="a released image alone"),
        pytest.param([(("app_430.bin",), APP)], USE, {"matches"}, id="in small letters"),
        pytest.param(
            [(("APP_430.BIN",), APP), (("BOOT_310.BIN",), BOOT)],
            STOP,
            {"matches", "mixed-types"},
            id="two image types",
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), (("APP_417.BIN",), OLD)],
            STOP,
            {"matches", "two-versions"},
            id="two versions of one image",
        ),
        pytest.param(
            [(("APP_430.BIN",), flipped(APP, CHUNK + 7))], STOP, {"altered"}, id="one byte altered"
        ),
        pytest.param([(("APP_430.BIN",), APP + b"x")], STOP, {"altered"}, id="one byte more"),
        pytest.param(
            [(("APP_430.BIN",), APP[: 2 * CHUNK])], STOP, {"cut-short"}, id="cut at a block"
        ),
        pytest.param(
            [(("APP_430.BIN",), APP[: 2 * CHUNK + 9])], STOP, {"cut-short"}, id="cut in a block"
        ),
        pytest.param([(("APP_430.BIN",), b"")], STOP, {"cut-short"}, id="empty file"),
        pytest.param(
            [(("APP_430 (1).BIN",), APP)], STOP, {"matches", "renamed"}, id="renamed by a browser"
        ),
        pytest.param([(("GONE.BIN",), GONE)], STOP, {"matches", "withdrawn"}, id="withdrawn"),
        pytest.param(
            [(("README.TXT",), b"hello")], CANNOT, {"unknown-file", "no-image"}, id="unknown alone"
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), (("HOLIDAY.JPG",), b"\xff\xd8 picture")],
            CARE,
            {"matches", "owner-data"},
            id="the owner's picture beside an image",
        ),
        pytest.param(
            [
                (("APP_430.BIN",), APP),
                (("System Volume Information", "IndexerVolumeGuid"), b"{guid}"),
                (("System Volume Information", "WPSettings.dat"), b"\x0c"),
                ((".Spotlight-V100", "Store-V2", "store.db"), b"index"),
                ((".Trash-1000", "files", "old letter.txt"), b"dear"),
                ((".DS_Store",), b"\0\0\0\1Bud1"),
                (("Thumbs.db",), b"thumbs"),
            ],
            USE,
            {"matches", "leftover"},
            id="an ordinary card of ordinary systems",
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), (("._APP_430.BIN",), b"\0\x05\x16\x07\0\2\0\0" + bytes(60))],
            STOP,
            {"matches", "leftover-like-image"},
            id="a companion file that ends like an image",
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), (("._NOTES.BIN",), b"\0\x05\x16\x07\0\2\0\0" + bytes(60))],
            STOP,
            {"matches", "leftover-like-image"},
            id="a companion of no image that ends like one",
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), ((".Trash-1000", "files", "APP_417.BIN"), OLD)],
            CARE,
            {"matches", "leftover-image"},
            id="another version in a waste basket",
        ),
        pytest.param(
            [(("APP_430.BIN.crdownload",), APP[: 2 * CHUNK + 9])],
            STOP,
            {"cut-short"},
            id="a download that did not end",
        ),
        pytest.param(
            [(("APP_430.BIN",), APP[: 2 * CHUNK] + bytes(len(APP) - 2 * CHUNK))],
            STOP,
            {"altered"},
            id="pulled before the copy was done",
        ),
        pytest.param(
            [(("UPDATE", "UPDATE", "APP_430.BIN"), APP)], USE, {"matches"}, id="in any folder"
        ),
        pytest.param(
            [(("APP_430.BIN",), APP), (("OVD9.LOG",), b"done")],
            USE,
            {"matches", "display-file"},
            id="used in a display",
        ),
        pytest.param(
            [(("APP_430.ZIP",), zipped("APP_430.BIN", APP))],
            STOP,
            {"left-packed", "unknown-file", "no-image"},
            id="left packed",
        ),
        pytest.param(
            [(("APP_430.BIN",), b"<!DOCTYPE html><html>log in</html>")],
            STOP,
            {"altered", "container-contradicts"},
            id="a web page saved as the image",
        ),
        pytest.param(
            [(("NEW.HEX",), HEX)],
            STOP,
            {"container-broken", "unknown-file", "no-image"},
            id="a record file with a wrong checksum",
        ),
        pytest.param([], STOP, {"no-volume"}, id="a blank card"),
    ],
)
def test_whole_cards(files: Files, verdict: Verdict, found: set[str]) -> None:
    judgement = judged(files)
    assert slugs(judgement) == found
    assert judgement.verdict is verdict


def test_which_block_was_altered() -> None:
    (altered,) = judged([(("APP_430.BIN",), flipped(APP, CHUNK + 7))]).findings
    assert altered.path == "APP_430.BIN"
    assert (altered.parameters["chunks"], altered.parameters["of"]) == (1, 4)
    assert altered.parameters["first"] == CHUNK
    (cut,) = judged([(("APP_430.BIN",), APP[:CHUNK])]).findings
    assert (cut.parameters["got"], cut.parameters["wanted"]) == (CHUNK, len(APP))


@pytest.mark.parametrize("where", ["FAT 1", "directory", "file content"])
def test_a_card_that_cannot_be_read_everywhere(where: str) -> None:
    stage, source = make_stage(APP_FILES, volume_size=64 * MIB)
    layout = lay_out(stage)
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, source)
    region = next(region for region in layout.regions if region.structure == where)
    bad = MemorySectors(data, bad=[(region.offset, region.offset + 512)])
    judgement = judge(Context(inspection=inspect_card(bad), manifest=MANIFEST))
    assert judgement.verdict is STOP
    assert "read-error" in slugs(judgement)


def test_without_a_manifest_nothing_is_claimed() -> None:
    judgement = judged([(("APP_430.BIN",), APP)], None, untrusted="manifest.changed")
    assert judgement.verdict is CANNOT
    assert slugs(judgement) == {"manifest-untrusted"}


# --- with a stage


APP_FILES: Files = [(("APP_430.BIN",), APP)]
BOOT_FILES: Files = [(("BOOT_310.BIN",), BOOT)]


def test_the_stages_own_card() -> None:
    judgement = with_stage(APP_FILES, APP_FILES)
    assert judgement.verdict is USE
    assert slugs(judgement) == {"matches", "stage-complete", "as-written"}


def test_another_stages_card() -> None:
    judgement = with_stage(BOOT_FILES, APP_FILES)
    assert judgement.verdict is STOP
    assert {"stage-file-missing", "not-in-stage"} <= slugs(judgement)


def test_a_used_card_is_used_with_care() -> None:
    # The display's own log on the card: expected; the tables differ from what was written.
    used = [*APP_FILES, (("OVD9.LOG",), b"update done")]
    judgement = with_stage(used, APP_FILES)
    assert judgement.verdict is CARE
    assert {"display-file", "stage-complete", "differs-from-stage", "matches"} == slugs(judgement)


def test_an_image_in_the_wrong_folder() -> None:
    manifest = manifest_of(*MANIFEST.images, display=display_facts(folder="UPDATE"))
    judgement = with_stage(APP_FILES, [(("UPDATE", "APP_430.BIN"), APP)], manifest)
    assert judgement.verdict is STOP
    assert {"wrong-folder", "stage-file-missing"} <= slugs(judgement)


def test_a_display_that_takes_two_types() -> None:
    manifest = manifest_of(*MANIFEST.images, display=display_facts(types_per_card=2))
    both = [*BOOT_FILES, *APP_FILES]
    assert with_stage(both, both, manifest).verdict is USE
    assert with_stage(both, both).verdict is STOP


def test_a_card_that_could_not_be_compared_whole() -> None:
    inspection = judged(APP_FILES).inspection
    stage, _ = make_stage(APP_FILES)
    compared = Compared(complete=False, differences=(), sha256="0" * 64, length=1)
    judgement = judge(
        Context(inspection=inspection, manifest=MANIFEST, stage=stage, compared=compared)
    )
    assert judgement.verdict is CANNOT
    assert "stage-not-compared" in slugs(judgement)


def test_content_that_differs_stops_and_tables_that_differ_warn() -> None:
    inspection = judged(APP_FILES).inspection
    stage, _ = make_stage(APP_FILES)
    for structure, slug in (
        ("file content", "content-differs-from-stage"),
        ("FAT 2", "differs-from-stage"),
    ):
        difference = Difference(structure=structure, path=None, offset=7)
        compared = Compared(complete=True, differences=(difference,), sha256="0" * 64, length=1)
        context = Context(inspection=inspection, manifest=MANIFEST, stage=stage, compared=compared)
        judgement = judge(context)
        assert slug in slugs(judgement)
        assert judgement.verdict is (STOP if structure == "file content" else CARE)


def test_the_worst_is_said_first() -> None:
    findings = judged([(("APP_430.BIN",), APP), (("BOOT_310.BIN",), BOOT)]).findings
    order = [Severity.STOP, Severity.CAUTION, Severity.NOTE]
    ranks = [order.index(finding.severity) for finding in findings]
    assert ranks == sorted(ranks)


# --- what follows from findings

ANY = st.lists(st.sampled_from(sorted(KINDS)).map(Finding), max_size=8)


@given(ANY, st.randoms())
def test_the_verdict_is_a_law(findings: list[Finding], shuffler: Any) -> None:  # noqa: ANN401
    verdict = verdict_of(findings)
    other: Sequence[Finding] = sorted(findings, key=lambda _: shuffler.random())
    assert verdict_of(list(other)) is verdict
    severities = {finding.severity for finding in findings}
    established = any(finding.slug in ESTABLISHED for finding in findings)
    undecided = any(finding.undecided for finding in findings)
    good = established and not undecided and severities <= {Severity.NOTE}
    assert (verdict is USE) is good
    assert (verdict is STOP) is (Severity.STOP in severities)
    if verdict is CARE:
        assert established
        assert not undecided


def test_nothing_checked_is_not_a_pass() -> None:
    assert verdict_of([]) is CANNOT
    assert verdict_of([Finding("leftover")]) is CANNOT
    assert {KINDS[slug].severity for slug in ESTABLISHED} == {Severity.NOTE}


def test_two_types_by_name_alone_stop_too() -> None:
    # What a file claims to be is enough to keep the card out of a display.
    judgement = judged(
        [(("APP_430.BIN",), APP), (("BOOT_310.BIN",), flipped(BOOT, 3))],
        MANIFEST,
    )
    assert judgement.verdict is STOP
    assert {"mixed-types", "altered"} <= slugs(judgement)
    assert BOOTLOADER != APPLICATION

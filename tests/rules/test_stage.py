"""Rules about a card and the stage that it ought to be, and the order of what is said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.findings import KINDS, Finding, Verdict
from cardprep.inspection.model import InspectedFile
from cardprep.layout.compare import Compared, Difference
from cardprep.rules import stage as rules
from cardprep.rules.judge import judge, seen, trust
from tests.manifests import display_facts, image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, MANIFEST, OLD, card, context, flipped, looked_at, slugs
from tests.stages import make_stage

STAGE = make_stage([(("UPDATE", "APP_430.BIN"), APP), (("UPDATE", "README.TXT"), b"read me")])[0]
RIGHT = (looked_at("UPDATE/APP_430.BIN", APP), looked_at("UPDATE/README.TXT", b"read me"))
SHELF = manifest_of(
    *MANIFEST.images,
    image_facts("README.TXT", b"read me", models=("OV-D9",)),
    display=display_facts(folder="UPDATE"),
)
NAMED = {"job": "B238", "stage": 1, "of": 2}


def found(*files: InspectedFile, **more: Any) -> list[tuple[str, str | None]]:  # noqa: ANN401
    made = rules.stage_files(context(*files, stage=STAGE, **more))
    assert all(NAMED.items() <= finding.parameters.items() for finding in made)
    return [(finding.slug, finding.path) for finding in made]


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        pytest.param(RIGHT, [("stage-complete", None)], id="complete"),
        pytest.param(
            (looked_at("update/app_430.bin", APP), RIGHT[1]),
            [("stage-complete", None)],
            id="without case",
        ),
        pytest.param(RIGHT[:1], [("stage-file-missing", "UPDATE/README.TXT")], id="one missing"),
        pytest.param(
            (looked_at("UPDATE/APP_430.BIN", flipped(APP, 9)), RIGHT[1]),
            [("stage-file-missing", "UPDATE/APP_430.BIN")],
            id="one with other bytes",
        ),
        pytest.param(
            (looked_at("UPDATE/APP_430.BIN", None), RIGHT[1]),
            [("stage-file-missing", "UPDATE/APP_430.BIN")],
            id="one that could not be read",
        ),
        pytest.param(
            (looked_at("APP_430.BIN", APP), RIGHT[1]),
            [("stage-file-missing", "UPDATE/APP_430.BIN"), ("not-in-stage", "APP_430.BIN")],
            id="one in another folder",
        ),
        pytest.param(
            (*RIGHT, looked_at("BOOT_310.BIN", BOOT)),
            [("not-in-stage", "BOOT_310.BIN")],
            id="another stage's image too",
        ),
        pytest.param(
            (*RIGHT, looked_at("COPY/APP_430.BIN", APP)),
            [("not-in-stage", "COPY/APP_430.BIN")],
            id="the same image twice",
        ),
        pytest.param(
            (*RIGHT, looked_at(".Trashes/501/BOOT_310.BIN", BOOT)),
            [("stage-complete", None)],
            id="another stage's image in a basket",
        ),
        pytest.param(
            (*RIGHT, looked_at("HOLIDAY.JPG", b"x")),
            [("stage-complete", None)],
            id="an unknown file is said elsewhere",
        ),
        pytest.param(
            (replace(RIGHT[0], volume=1), RIGHT[1]),
            [("stage-file-missing", "UPDATE/APP_430.BIN")],
            id="one on a second partition",
        ),
    ],
)
def test_files_of_a_stage(files: tuple[InspectedFile, ...], expected: list[Any]) -> None:
    assert found(*files) == expected


def test_a_stage_is_looked_at_without_a_manifest_too() -> None:
    assert found(*RIGHT, manifest=None) == [("stage-complete", None)]
    made = context(*RIGHT, stage=STAGE, manifest=None)
    assert judge(made).verdict is Verdict.CANNOT_SAY


def test_without_a_stage_nothing_is_said_of_one() -> None:
    made = context(*RIGHT)
    for rule in (rules.stage_files, rules.as_written, rules.superseded, rules.through_cache):
        assert rule(made) == []


# --- the comparison with the layout


def compared(*structures: str, complete: bool = True) -> Compared:
    differences = tuple(
        Difference(structure=structure, path=None, offset=7) for structure in structures
    )
    return Compared(complete=complete, differences=differences, sha256="ab" * 32, length=1)


@pytest.mark.parametrize(
    ("made", "read_back", "expected"),
    [
        pytest.param(compared(), False, ["as-written"], id="the same"),
        pytest.param(compared(), True, ["as-written"], id="the same, just written"),
        pytest.param(compared(complete=False), False, ["stage-not-compared"], id="not whole"),
        pytest.param(compared("FAT 2"), False, ["differs-from-stage"], id="used"),
        pytest.param(compared("FAT 2"), True, ["read-back-differs"], id="just written"),
        pytest.param(
            compared("FAT 1", "file content", "gap"),
            False,
            ["content-differs-from-stage", "differs-from-stage"],
            id="used and altered",
        ),
        pytest.param(
            compared("file content"), True, ["content-differs-from-stage"], id="content, just now"
        ),
    ],
)
def test_what_the_comparison_says(made: Compared, read_back: bool, expected: list[str]) -> None:
    held = context(*RIGHT, stage=STAGE, compared=made, read_back=read_back)
    findings = rules.as_written(held)
    assert slugs(findings) == expected
    for finding in findings:
        assert NAMED.items() <= finding.parameters.items()
    everything = judge(replace(held, manifest=SHELF))
    good = not made.differences and made.complete
    assert (everything.verdict is Verdict.USE) is good


def test_a_card_of_an_older_plan() -> None:
    (finding,) = rules.superseded(context(*RIGHT, stage=STAGE, superseded=True))
    assert finding.slug == "plan-superseded"
    assert finding.parameters == NAMED
    made = context(*RIGHT, stage=STAGE, superseded=True, manifest=SHELF)
    assert judge(made).verdict is Verdict.DO_NOT_USE
    # The newest plan has the same files at the same step.
    renewed = replace(made, stages=(replace(STAGE, layout=1),))
    assert judge(renewed).verdict is Verdict.USE_WITH_CARE
    elsewhere = replace(made, stages=(replace(STAGE, display="OV-D7"),))
    assert judge(elsewhere).verdict is Verdict.DO_NOT_USE


@pytest.mark.parametrize(
    ("read_back", "past", "is_said"),
    [(True, False, True), (True, True, False), (False, False, False)],
)
def test_read_through_the_cache(read_back: bool, past: bool, is_said: bool) -> None:
    made = context(*RIGHT, stage=STAGE, read_back=read_back)
    made = replace(made, inspection=replace(made.inspection, past_the_cache=past))
    assert bool(rules.through_cache(made)) is is_said


# --- trust, and what the inspection saw


def test_trust() -> None:
    assert trust(context()) == []
    (finding,) = trust(context(manifest=None, untrusted="manifest.changed"))
    assert finding.parameters["reason"] == "manifest.changed"
    assert trust(context(manifest=None))[0].parameters["reason"] == ""


@pytest.mark.parametrize("slug", sorted(KINDS))
def test_what_was_seen_on_the_card_decides_with_the_rest(slug: str) -> None:
    finding = Finding(slug, "A.BIN", "FAT")
    made = replace(context(looked_at("APP_430.BIN", APP)))
    judgement = judge(replace(made, inspection=card(*made.inspection.files, findings=(finding,))))
    assert finding in judgement.findings
    is_note = KINDS[slug].severity.value == "note"
    assert (judgement.verdict is Verdict.USE) is is_note
    assert seen(context()) == []


# --- laws over whole cards

FILES = [
    looked_at("APP_430.BIN", APP),
    looked_at("APP_430 (1).BIN", APP),
    looked_at("BOOT_310.BIN", BOOT, short="APP_430.BIN"),
    looked_at("APP_417.BIN", OLD),
    looked_at("x/APP_430.BIN", flipped(APP, 3)),
    looked_at("y/APP_430.BIN", APP[:9]),
    looked_at("HOLIDAY.JPG", b"x"),
    looked_at("._X.BIN", b"x"),
    looked_at(".Trash-1/OLD", OLD),
    looked_at("Thumbs.db", b"x"),
    looked_at("A", None),
]
CARDS = st.lists(st.sampled_from(FILES), max_size=6, unique_by=lambda file: file.path)


@settings(deadline=None)
@given(CARDS, st.randoms())
def test_neither_order_of_files_nor_of_findings_matters(
    files: list[InspectedFile],
    shuffler: Any,  # noqa: ANN401
) -> None:
    one = judge(context(*files))
    shuffler.shuffle(files)
    other = judge(context(*files))
    assert other.verdict is one.verdict
    assert sorted(map(repr, other.findings)) == sorted(map(repr, one.findings))


@settings(deadline=None)
@given(CARDS)
def test_a_card_is_good_only_if_every_file_is_known_and_one_is_an_image(
    files: list[InspectedFile],
) -> None:
    judgement = judge(context(*files))
    good = {"APP_430.BIN"}, {"APP_417.BIN"}
    others = {".Trash-1", "Thumbs.db"}
    names = {file.path[0] for file in files}
    if judgement.verdict is Verdict.USE:
        assert names - others in good
    # Adding a file never makes a card better that had a reason against it.
    more = judge(context(*files, looked_at("z/HOLIDAY.JPG", b"y")))
    assert more.verdict is not Verdict.USE
    if judgement.verdict is Verdict.DO_NOT_USE:
        assert more.verdict is Verdict.DO_NOT_USE


def test_the_same_thing_is_said_once() -> None:
    twice = (Finding("volume-dirty", None, "FAT"), Finding("volume-dirty", None, "FAT"))
    judgement = judge(replace(context(), inspection=card(findings=twice)))
    assert slugs(judgement.findings) == ["card-empty", "volume-dirty"]


def test_the_right_file_in_another_place_is_no_wrong_content() -> None:
    """Copied by a computer: the bytes are right, and stand elsewhere on the card."""
    made = context(*RIGHT, stage=STAGE, compared=compared("file content", "FAT 1"), manifest=SHELF)
    path = STAGE.files[0].path
    differing = tuple(
        replace(one, path="/".join(path)) if one.structure == "file content" else one
        for one in made.compared.differences  # type: ignore[union-attr]
    )
    made = replace(made, compared=replace(made.compared, differences=differing))  # type: ignore[type-var]
    findings = rules.as_written(made)
    assert slugs(findings) == ["differs-from-stage"]
    assert judge(made).verdict is Verdict.USE_WITH_CARE

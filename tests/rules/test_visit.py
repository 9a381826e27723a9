"""Rules about the visit that a card is for: units, needs, handsets."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from cardprep.cli import words
from cardprep.findings import Finding, Verdict
from cardprep.job.visit import Display, Job, JobName, Vessel
from cardprep.manifest.model import Carried, Companion, ImageFacts, Manifest, Need, Presence
from cardprep.rules import display as display_rules
from cardprep.rules import visit
from cardprep.rules.context import Context
from cardprep.rules.judge import judge
from cardprep.terms import APPLICATION, BOOTLOADER, GIB, Version
from tests.manifests import display_facts, image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, context, looked_at
from tests.stages import make_stage
from tests.vessel.visits import model

APP_FACTS = replace(
    image_facts("APP_430.BIN", APP),
    needs=(Need(model=None, type=BOOTLOADER, at_least=Version("3.10")),),
)
BOOT_FACTS = image_facts("BOOT_310.BIN", BOOT, kind=BOOTLOADER, version="3.10")
RADIO = model(
    "OV-V40",
    companion=Companion(model="OV-H4", presence=Presence.OPTIONAL),
    read_at={BOOTLOADER: "first screen after power-on"},
)
CARD = looked_at("APP_430.BIN", APP)


def shelf(*images: ImageFacts, **changed: Any) -> Manifest:  # noqa: ANN401
    known = manifest_of(*(images or (APP_FACTS, BOOT_FACTS)), display=display_facts(**changed))
    return replace(known, models=(RADIO, model("OV-H4"), model("OV-N2")))


def job(*units: str) -> Job:
    return Job(
        name=JobName("B", 238),
        vessel=Vessel(name="Saltwhistle"),
        display=Display(model="OV-D9", software=Version("2.1")),
        units=tuple(words.unit(f"role=r{number}; {text}") for number, text in enumerate(units)),
    )


def held(*units: str, manifest: Manifest | None = None, **more: Any) -> Context:  # noqa: ANN401
    visited = job(*units) if units else None
    return context(CARD, manifest=manifest or shelf(), job=visited, **more)


def needed(*units: str, **more: Any) -> list[str]:  # noqa: ANN401
    return [finding.slug for finding in visit.needs(held(*units, **more))]


def stages() -> tuple[Any, ...]:
    first = make_stage([(("BOOT_310.BIN",), BOOT)], number=1)[0]
    files = tuple(
        replace(f, image_type=BOOTLOADER, version=Version("3.10"), models=("OV-V40",))
        for f in first.files
    )
    return replace(first, files=files), make_stage([(("APP_430.BIN",), APP)], number=2)[0]


# Common practice, no published source: a bootloader before the application that needs it.
@pytest.mark.parametrize(
    ("units", "slugs"),
    [
        pytest.param((), ["needs-unknown"], id="nobody knows which units"),
        pytest.param(("model=OV-V40; has bootloader=3.10",), [], id="it is there"),
        pytest.param(("model=OV-V40; has bootloader=3.9",), ["needs-before"], id="it is older"),
        pytest.param(("model=OV-V40; has bootloader=unknown",), ["needs-unknown"], id="unknown"),
        pytest.param(("model=OV-V40",), ["needs-unknown"], id="not told"),
        pytest.param(
            ("model=OV-V40; has bootloader=3.10", "model=OV-V40; has bootloader=3.02"),
            ["needs-before"],
            id="one of two has it",
        ),
        pytest.param(
            ("model=OV-V40; has bootloader=x1",), ["needs-before"], id="an order nobody knows"
        ),
    ],
)
def test_what_an_image_needs(units: tuple[str, ...], slugs: list[str]) -> None:
    assert needed(*units) == slugs


def test_an_earlier_stage_brings_it() -> None:
    first, second = stages()
    unit = "model=OV-V40; has bootloader=3.02"
    assert needed(unit, stages=(first, second), stage=second) == ["stage-before"]
    # The order of the plan counts, and not only that some card brings it.
    turned = (replace(second, number=1), replace(first, number=2))
    assert needed(unit, stages=turned, stage=turned[0]) == ["needs-before"]
    assert needed(unit, stages=(first, second)) == ["stage-before"]


def test_what_the_display_needs() -> None:
    need = Need(model="OV-D9", type=APPLICATION, at_least=Version("2.1"))
    newer = replace(need, at_least=Version("2.2"))
    unit = "model=OV-V40"
    assert needed(unit, manifest=shelf(replace(APP_FACTS, needs=(need,)))) == []
    assert needed(unit, manifest=shelf(replace(APP_FACTS, needs=(newer,)))) == ["needs-before"]


def test_where_it_is_read() -> None:
    (finding,) = visit.needs(held())
    assert finding.parameters["read_at"] == "first screen after power-on"


@pytest.mark.parametrize(
    ("units", "slugs"),
    [
        pytest.param((), ["starts-unknown"], id="nobody knows"),
        pytest.param(("model=OV-V40; has application=4.17",), [], id="the right one"),
        pytest.param(("model=OV-V40; has application=4.2",), ["starts-elsewhere"], id="another"),
        pytest.param(("model=OV-V40",), ["starts-unknown"], id="not told"),
        pytest.param(("model=OV-V40; has application=q",), ["starts-elsewhere"], id="no order"),
    ],
)
def test_from_which_versions(units: tuple[str, ...], slugs: list[str]) -> None:
    facts = replace(APP_FACTS, needs=(), from_versions=(Version("4.17"), Version("4.20")))
    if units and "4.2" in units[0]:
        facts = replace(facts, from_versions=(Version("4.17"),))
    assert needed(*units, manifest=shelf(facts)) == slugs


def test_images_that_no_unit_takes() -> None:
    def slugs(*units: str) -> list[Finding]:
        return visit.not_for_these_units(held(*units))

    assert slugs() == []
    assert slugs("model=OV-N2", "model=OV-V40") == []
    (finding,) = slugs("model=OV-N2")
    assert finding.slug == "not-for-these-units"
    assert judge(held("model=OV-N2")).verdict is Verdict.DO_NOT_USE


CARRIED = Carried(model="OV-H4", type=APPLICATION, version=Version("2.41"), mode="PROGRAM")


@pytest.mark.parametrize(
    ("unit", "carries", "others", "slugs"),
    [
        pytest.param(None, True, False, ["handset-with-it"], id="nobody knows the vessel"),
        pytest.param("OV-H4", True, False, ["handset-with-it"], id="aboard"),
        pytest.param("unknown", True, False, ["handset-with-it"], id="unknown is aboard"),
        pytest.param("none", True, False, [], id="none aboard"),
        pytest.param("OV-H4", False, True, ["handset-left-behind"], id="left behind"),
        pytest.param("none", False, True, [], id="none to leave behind"),
        pytest.param("OV-H4", False, False, [], id="never updated by anything"),
    ],
)
def test_handsets(unit: str | None, carries: bool, others: bool, slugs: list[str]) -> None:
    app = replace(APP_FACTS, carries=(CARRIED,) if carries else ())
    older = replace(image_facts("APP_417.BIN", b"old", version="4.17"), carries=(CARRIED,))
    known = shelf(app, older) if others else shelf(app)
    units = () if unit is None else (f"model=OV-V40; handset={unit}",)
    assert [finding.slug for finding in visit.handsets(held(*units, manifest=known))] == slugs


def test_a_handset_that_another_stage_updates_is_not_left_behind() -> None:
    older = replace(image_facts("APP_417.BIN", b"old", version="4.17"), carries=(CARRIED,))
    known = shelf(APP_FACTS, older)
    stage = make_stage([(("H4.BIN",), b"x")], number=1)[0]
    files = tuple(replace(file, models=("OV-H4",)) for file in stage.files)
    planned = (replace(stage, files=files),)
    unit = "model=OV-V40; handset=OV-H4"
    assert visit.handsets(held(unit, manifest=known, stages=planned)) == []


# --- the display


def test_a_card_that_is_too_large() -> None:
    made = held(manifest=shelf(largest_card=32 * 10**9), reader="OV-D9")

    def of_size(size: int) -> list[str]:
        identity = replace(made.inspection.identity, size=size)
        looked = replace(made, inspection=replace(made.inspection, identity=identity))
        return [finding.slug for finding in display_rules.card_size(looked)]

    assert of_size(31_914_983_424) == []
    # What is printed as 32 GB may hold up to 32 GiB.
    assert of_size(32 * GIB) == []
    assert of_size(32 * GIB + 512) == ["card-too-large"]
    assert of_size(64 * 10**9) == ["card-too-large"]
    nowhere = replace(made, reader=None)
    assert display_rules.card_size(nowhere) == []


# --- versions


@pytest.mark.parametrize(
    ("unit", "slugs"),
    [
        pytest.param("has application=4.17; wants application=4.30", [], id="as planned"),
        pytest.param("has application=4.30; wants application=4.30", [], id="once more"),
        pytest.param("has application=4.31", ["goes-back"], id="older than what is aboard"),
        pytest.param(
            "has application=4.31; wants application=4.40", ["goes-back"], id="and wanted"
        ),
        pytest.param("wants application=4.40", ["not-planned"], id="another one is wanted"),
        pytest.param("has application=4.17", ["not-planned"], id="nothing is wanted"),
    ],
)
def test_versions_of_a_visit(unit: str, slugs: list[str]) -> None:
    made = held(f"model=OV-V40; handset=none; {unit}")
    assert [finding.slug for finding in visit.versions(made)] == slugs
    if slugs == ["goes-back"]:
        assert judge(made).verdict is Verdict.DO_NOT_USE


def test_without_a_visit_nobody_knows_what_is_older() -> None:
    assert visit.versions(held()) == []


def test_an_image_that_the_plan_brings_is_planned() -> None:
    _, second = stages()
    file = replace(second.files[0], sha256=APP_FACTS.sha256)
    planned = (replace(second, number=1, files=(file,)),)
    assert visit.versions(held("model=OV-V40; handset=none", stages=planned)) == []

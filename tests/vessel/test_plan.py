"""Plans: what goes on which card, in which order, and why there is no plan.

Facts of the trade are common practice, no published source; each is one test.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import LayoutError, NoPlanError
from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.manifest.model import (
    FileSystem,
    HandedOver,
    ImageFacts,
    Leaves,
    Manifest,
    Minutes,
    ModelFacts,
    Need,
    UnitKind,
)
from cardprep.terms import (
    APPLICATION,
    BOOTLOADER,
    CONFIGURATION,
    GIB,
    USUAL_TYPES,
    ImageType,
    Version,
    VersionOrder,
)
from cardprep.vessel.plan import Plan, plan
from cardprep.vessel.stages import stages_of
from tests.manifests import display_facts

V = Version


def model(name: str, **changed: Any) -> ModelFacts:  # noqa: ANN401
    values: dict[str, Any] = {
        "name": name,
        "kind": UnitKind.RADIO,
        "role": "fixed VHF radio",
        "companion": None,
        "types": (BOOTLOADER, APPLICATION),
        "versions": {},
        "seen_off": None,
        "seen_in_mode": None,
        "read_at": {},
        "note_before": (),
        "read_back_after": (),
        "entered_once": (),
        **changed,
    }
    return ModelFacts(**values)


def image(
    kind: ImageType,
    version: str,
    *models: str,
    needs: tuple[tuple[str | None, ImageType, str], ...] = (),
    **changed: Any,  # noqa: ANN401
) -> ImageFacts:
    models = models or ("OV-V40",)
    name = f"{models[0]}_{kind.code}_{version}.bin".replace("-", "")
    values: dict[str, Any] = {
        "file": name,
        "models": models,
        "type": kind,
        "version": V(version),
        "released": datetime(2026, 5, 12, tzinfo=UTC),
        "size": 1000,
        "sha256": f"{abs(hash_of(name)):064x}",
        "xxh3_128": "0" * 32,
        "chunks": ("0" * 16,),
        "container": "opaque",
        "needs": tuple(Need(model=m, type=t, at_least=V(v)) for m, t, v in needs),
        "from_versions": (),
        "carries": (),
        "leaves": Leaves.RUNNING,
        "minutes": Minutes(low=1, high=2),
        "known_by": HandedOver(by="the skipper", on=date(2026, 11, 20)),
        "list_checked": None,
        "withdrawn": None,
        **changed,
    }
    return ImageFacts(**values)


def hash_of(name: str) -> int:
    """Return a number for a name that is the same on every run."""
    return int.from_bytes(name.encode(), "big") % 2**250


def manifest(*images: ImageFacts, **changed: Any) -> Manifest:  # noqa: ANN401
    values: dict[str, Any] = {
        "format": 1,
        "serial": 1,
        "previous": None,
        "shop": "Gannet Slip Marine Electronics",
        "image_types": (),
        "displays": (display_facts(),),
        "models": (model("OV-V40"), model("OV-V42"), model("OV-N2", types=(APPLICATION,))),
        "images": images,
        **changed,
    }
    return Manifest(**values)


def unit(
    has: Mapping[str, str | None],
    wants: Mapping[str, str],
    name: str = "OV-V40",
    role: str = "main",
) -> Unit:
    return Unit(
        model=name,
        role=role,
        versions={kind: None if text is None else V(text) for kind, text in has.items()},
        wanted={kind: V(text) for kind, text in wants.items()},
    )


def job(*units: Unit, software: str | None = None) -> Job:
    return Job(
        name=JobName("B", 238),
        vessel=Vessel(name="Saltwhistle"),
        display=Display(model="OV-D9", software=None if software is None else V(software)),
        units=units,
    )


def cards(planned: Plan) -> list[list[tuple[int, str, str]]]:
    """Return the plan as cards of steps: unit, type, version."""
    return [
        [(step.unit, step.image.type.word, step.image.version.text) for step in stage.steps]
        for stage in planned.stages
    ]


APP = image(APPLICATION, "4.30", needs=((None, BOOTLOADER, "3.10"),))
BOOT = image(BOOTLOADER, "3.10")
SHELF = manifest(APP, BOOT)


# Common practice, no published source.
def test_a_bootloader_goes_on_a_card_of_its_own_before_the_application_that_needs_it() -> None:
    has = {"bootloader": "3.02", "application": "4.17"}
    planned = plan(job(unit(has, {"application": "4.30"})), SHELF)
    assert cards(planned) == [[(0, "bootloader", "3.10")], [(0, "application", "4.30")]]
    assert [stage.image_type for stage in planned.stages] == [BOOTLOADER, APPLICATION]


# Common practice, no published source.
def test_many_releases_are_an_application_only() -> None:
    has = {"bootloader": "3.10", "application": "4.17"}
    assert cards(plan(job(unit(has, {"application": "4.30"})), SHELF)) == [
        [(0, "application", "4.30")]
    ]


# Common practice, no published source: nobody can read which bootloader a unit has.
def test_an_unknown_bootloader_is_brought_up_first() -> None:
    for has in ({"bootloader": None}, {}):
        planned = plan(job(unit(has, {"application": "4.30"})), SHELF)
        assert len(planned.stages) == 2


def test_what_is_there_already_needs_no_card() -> None:
    has = {"bootloader": "3.10", "application": "4.30"}
    assert plan(job(unit(has, {"application": "4.30", "bootloader": "3.10"})), SHELF).stages == ()
    # Another spelling of the same version.
    assert plan(job(unit({"application": "4.30.0"}, {"application": "4.30"})), SHELF).stages == ()


def test_bootloader_first_also_where_no_need_says_so() -> None:
    shelf = manifest(image(APPLICATION, "4.30"), BOOT)
    wants = {"application": "4.30", "bootloader": "3.10"}
    planned = plan(job(unit({}, wants)), shelf)
    assert [stage.image_type for stage in planned.stages] == [BOOTLOADER, APPLICATION]


def test_the_newest_that_is_enough_is_taken_and_a_withdrawn_one_never() -> None:
    shelf = manifest(
        APP, BOOT, image(BOOTLOADER, "3.12"), image(BOOTLOADER, "3.14", withdrawn="bricks units")
    )
    planned = plan(job(unit({"bootloader": "3.02"}, {"application": "4.30"})), shelf)
    assert cards(planned)[0] == [(0, "bootloader", "3.12")]


@pytest.mark.parametrize(
    ("has", "wants", "shelf", "reason", "named"),
    [
        pytest.param({}, {"application": "4.31"}, SHELF, "plan.no-image", "4.31", id="no image"),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", withdrawn="sets the clock back")),
            "plan.no-image",
            "4.30",
            id="withdrawn",
        ),
        pytest.param(
            {"bootloader": "3.02"},
            {"application": "4.30"},
            manifest(APP),
            "plan.need",
            "3.10",
            id="nothing gives the bootloader",
        ),
        pytest.param(
            {"bootloader": "3.02"},
            {"application": "4.30", "bootloader": "3.05"},
            manifest(APP, image(BOOTLOADER, "3.05")),
            "plan.need",
            "3.10",
            id="the wanted bootloader is not enough",
        ),
        pytest.param(
            {"application": "4.31"},
            {"application": "4.30"},
            SHELF,
            "plan.downgrade",
            "4.31",
            id="a way back",
        ),
        pytest.param(
            {"application": "4.10"},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"), V("4.20")))),
            "plan.start",
            "4.17, 4.20",
            id="not from this version",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"),))),
            "plan.start",
            "unknown",
            id="from an unknown version",
        ),
        pytest.param({}, {"loader": "1"}, SHELF, "plan.unknown-type", "loader", id="no such type"),
        pytest.param(
            {"application": "beta-2"},
            {"application": "4.30"},
            SHELF,
            "plan.version-order",
            "beta-2",
            id="a version that has no place",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(
                image(APPLICATION, "4.30", needs=((None, CONFIGURATION, "1"),)),
                image(CONFIGURATION, "1", needs=((None, APPLICATION, "4.30"),)),
            ),
            "plan.circle",
            "1",
            id="needs in a circle",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", needs=(("OV-D9", APPLICATION, "9.2"),))),
            "plan.need",
            "9.2",
            id="the display's software is not known",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", needs=(("OV-V42", APPLICATION, "4"),))),
            "plan.need",
            "OV-V42",
            id="needs a unit that is not aboard",
        ),
    ],
)
def test_why_there_is_no_plan(
    has: dict[str, str | None],
    wants: dict[str, str],
    shelf: Manifest,
    reason: str,
    named: str,
) -> None:
    with pytest.raises(NoPlanError) as caught:
        plan(job(unit(has, wants)), shelf)
    assert caught.value.reason == reason
    assert named in caught.value.parameters.values()


def test_a_model_that_the_manifest_does_not_know() -> None:
    with pytest.raises(NoPlanError) as caught:
        plan(job(unit({}, {"application": "1"}, "OV-X1")), SHELF)
    assert caught.value.reason == "plan.unknown-model"


def test_a_need_of_the_display_and_of_another_unit() -> None:
    shelf = manifest(
        image(
            APPLICATION,
            "4.30",
            needs=(("OV-D9", APPLICATION, "9.2"), ("OV-V42", APPLICATION, "4.0")),
        )
    )
    radio = unit({}, {"application": "4.30"})
    other = unit({"application": "4.1"}, {}, "OV-V42", "spare")
    assert len(plan(job(radio, other, software="9.10"), shelf).stages) == 1
    for software, version in (("9.1", "4.1"), ("9.10", "3.9"), ("x", "4.1")):
        older = unit({"application": version}, {}, "OV-V42", "spare")
        with pytest.raises(NoPlanError) as caught:
            plan(job(radio, older, software=software), shelf)
        assert caught.value.reason == "plan.need"


def test_the_shops_own_order_of_versions() -> None:
    order = VersionOrder(("alpha", "beta", "gamma"))
    shelf = manifest(
        image(APPLICATION, "gamma"), models=(model("OV-V40", versions={APPLICATION: order}),)
    )
    assert plan(job(unit({"application": "beta"}, {"application": "gamma"})), shelf).stages


# Common practice, no published source: two radios are not out of service together.
def test_two_units_of_one_role_are_done_one_after_the_other() -> None:
    units = [unit({}, {"application": "4.30"}) for _ in range(2)]
    planned = cards(plan(job(*units), SHELF))
    assert planned == [
        [(0, "bootloader", "3.10")],
        [(0, "application", "4.30")],
        [(1, "bootloader", "3.10")],
        [(1, "application", "4.30")],
    ]


def test_units_of_different_roles_share_a_card_and_a_file_is_on_it_once() -> None:
    units = [unit({}, {"application": "4.30"}, role=role) for role in ("main", "spare")]
    planned = plan(job(*units), SHELF)
    assert len(planned.stages) == 2
    assert all(len(stage.steps) == 2 and len(stage.images) == 1 for stage in planned.stages)


def test_two_versions_for_one_model_never_share_a_card() -> None:
    shelf = manifest(image(APPLICATION, "4.30"), image(APPLICATION, "4.31"))
    units = [
        unit({}, {"application": version}, role=f"radio {version}") for version in ("4.30", "4.31")
    ]
    assert len(plan(job(*units), shelf).stages) == 2


def test_applications_of_different_models_share_a_card() -> None:
    shelf = manifest(image(APPLICATION, "4.30"), image(APPLICATION, "2.1", "OV-N2"))
    units = [
        unit({}, {"application": "4.30"}),
        unit({}, {"application": "2.1"}, "OV-N2", "wind instrument"),
    ]
    (stage,) = plan(job(*units), shelf).stages
    assert len(stage.images) == 2


# --- laws

VERSIONS = ["1.0", "2.9", "2.31", "3.10"]
MODELS = ["OV-V40", "OV-V42"]


@st.composite
def visits(draw: st.DrawFn) -> tuple[Job, Manifest]:
    images = []
    for name, kind, version in itertools.product(MODELS, (BOOTLOADER, APPLICATION), VERSIONS):
        needs: tuple[tuple[str | None, ImageType, str], ...] = ()
        if kind is APPLICATION and draw(st.booleans()):
            needs = ((None, BOOTLOADER, draw(st.sampled_from(VERSIONS))),)
        withdrawn = "a reason" if draw(st.integers(0, 5)) == 0 else None
        images.append(image(kind, version, name, needs=needs, withdrawn=withdrawn))
    units = []
    for _ in range(draw(st.integers(1, 4))):
        kinds = ["bootloader", "application"]
        has = {kind: draw(st.sampled_from([None, *VERSIONS])) for kind in kinds}
        wants = {kind: draw(st.sampled_from(VERSIONS)) for kind in kinds if draw(st.booleans())}
        role = draw(st.sampled_from(["main", "spare", "mast"]))
        units.append(unit(has, wants, draw(st.sampled_from(MODELS)), role))
    return job(*units), manifest(*images)


@settings(deadline=None, max_examples=400)
@given(visits())
def test_every_plan_can_be_played(visit: tuple[Job, Manifest]) -> None:
    opened, shelf = visit
    try:
        planned = plan(opened, shelf)
    except NoPlanError:
        return
    order = VersionOrder()
    now = [dict(unit.versions) for unit in opened.units]
    for stage in planned.stages:
        assert {step.image.type for step in stage.steps} == {stage.image_type}
        roles = [opened.units[step.unit].role for step in stage.steps]
        assert len(set(roles)) == len(roles)
        for one, other in itertools.combinations(stage.images, 2):
            assert not set(one.models) & set(other.models)
        for step in stage.steps:
            aboard = opened.units[step.unit]
            assert step.image.withdrawn is None
            assert aboard.model in step.image.models
            for need in step.image.needs:
                version = now[step.unit].get(need.type.word)
                assert version is not None
                assert order.at_least(version, need.at_least)
        for step in stage.steps:
            before = now[step.unit].get(step.image.type.word)
            assert before is None or order.at_least(step.image.version, before)
            now[step.unit][step.image.type.word] = step.image.version
    for aboard, versions in zip(opened.units, now, strict=True):
        for word, version in aboard.wanted.items():
            reached = versions[word]
            assert reached is not None
            assert order.same(reached, version)
    assert cards(plan(opened, shelf)) == cards(planned)


# --- stages


def test_stages_stand_in_the_displays_folder_and_volume() -> None:
    has = {"bootloader": "3.02", "application": "4.17"}
    opened = job(unit(has, {"application": "4.30"}))
    shelf = manifest(APP, BOOT, displays=(display_facts(folder="UPDATE/RADIO"),))
    stages = stages_of(opened, plan(opened, shelf), shelf)
    assert [(stage.number, stage.of) for stage in stages] == [(1, 2), (2, 2)]
    assert stages[0].files[0].path == ("UPDATE", "RADIO", BOOT.file)
    assert stages[1].files[0].released == "2026-05-12T00:00:00Z"
    assert stages[0].settings.file_systems == ("fat16", "fat32")


@pytest.mark.parametrize(
    ("display", "reason"),
    [
        pytest.param(display_facts(model="OV-D7"), "plan.unknown-display", id="not known"),
        pytest.param(
            display_facts(file_systems=(FileSystem.EXFAT,)), "plan.file-system", id="exFAT only"
        ),
        pytest.param(display_facts(largest_card=1000), "layout.display-too-small", id="small"),
    ],
)
def test_displays_for_which_nothing_is_written(display: Any, reason: str) -> None:  # noqa: ANN401
    opened = job(unit({"bootloader": "3.10"}, {"application": "4.30"}))
    shelf = manifest(APP, BOOT, displays=(display,))
    with pytest.raises((NoPlanError, LayoutError)) as caught:
        stages_of(opened, plan(opened, shelf), shelf)
    assert caught.value.reason == reason


def test_a_stage_too_large_for_the_display() -> None:
    huge = image(APPLICATION, "4.30", size=3 * GIB)
    opened = job(unit({}, {"application": "4.30"}))
    shelf = manifest(huge, displays=(display_facts(largest_card=2 * 10**9),))
    with pytest.raises(LayoutError) as caught:
        stages_of(opened, plan(opened, shelf), shelf)
    assert caught.value.reason == "layout.too-large"
    assert len(USUAL_TYPES) == 4

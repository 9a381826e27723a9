"""Plans: what goes on which card, in which order, and why there is no plan.

Facts of the trade are common practice, no published source; each is one test.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from cardprep.errors import NoPlanError
from cardprep.manifest.model import Leaves, Manifest
from cardprep.terms import (
    APPLICATION,
    BOOTLOADER,
    CHART_DATA,
    CONFIGURATION,
    VersionOrder,
)
from cardprep.vessel.plan import plan
from tests.vessel.visits import V, cards, image, job, manifest, model, unit

ALL_TYPES = (BOOTLOADER, APPLICATION, CONFIGURATION, CHART_DATA)
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
        pytest.param({}, {"application": "4.31"}, SHELF, "plan.none", "4.31", id="no image"),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", withdrawn="sets the clock back")),
            "plan.none",
            "sets the clock back",
            id="withdrawn",
        ),
        pytest.param(
            {"bootloader": "3.02"},
            {"application": "4.30"},
            manifest(APP),
            "plan.none",
            "3.10",
            id="nothing gives the bootloader",
        ),
        pytest.param(
            {"bootloader": "3.02"},
            {"application": "4.30", "bootloader": "3.05"},
            manifest(APP, image(BOOTLOADER, "3.05")),
            "plan.none",
            "3.10",
            id="the wanted bootloader is not enough",
        ),
        pytest.param(
            {"application": "4.31"},
            {"application": "4.30"},
            SHELF,
            "plan.none",
            "4.31",
            id="a way back",
        ),
        pytest.param(
            {"application": "4.10"},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"), V("4.20")))),
            "plan.none",
            "4.17, 4.20",
            id="not from this version",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"),))),
            "plan.none",
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
            "plan.none",
            "4.30",
            id="needs in a circle",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", needs=(("OV-D9", APPLICATION, "9.2"),))),
            "plan.none",
            "9.2",
            id="the display's software is not known",
        ),
        pytest.param(
            {},
            {"application": "4.30"},
            manifest(image(APPLICATION, "4.30", needs=(("OV-V42", APPLICATION, "4"),))),
            "plan.none",
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
    if reason != "plan.none":
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
        assert caught.value.reason == "plan.none"


def test_the_shops_own_order_of_versions() -> None:
    order = VersionOrder(("alpha", "beta", "gamma"))
    shelf = manifest(
        image(APPLICATION, "gamma"), models=(model("OV-V40", versions={APPLICATION: order}),)
    )
    assert plan(job(unit({"application": "beta"}, {"application": "gamma"})), shelf).stages


# Common practice, no published source: two radios are not out of service together.
def test_two_units_of_one_role_are_done_one_after_the_other() -> None:
    units = [unit({}, {"application": "4.30"}) for _ in range(2)]
    shelf = manifest(APP, replace(BOOT, leaves=Leaves.WAITING))
    planned = cards(plan(job(*units), shelf))
    assert planned == [
        [(0, "bootloader", "3.10")],
        [(0, "application", "4.30")],
        [(1, "bootloader", "3.10")],
        [(1, "application", "4.30")],
    ]


def test_units_of_one_role_that_stay_in_service_share_their_cards() -> None:
    units = [unit({}, {"application": "4.30"}) for _ in range(2)]
    planned = plan(job(*units), SHELF)
    assert [len(stage.steps) for stage in planned.stages] == [2, 2]
    # Where the job allows it, they are dark together.
    shelf = manifest(APP, replace(BOOT, leaves=Leaves.WAITING))
    assert len(plan(replace(job(*units), together=True), shelf).stages) == 2


def test_units_of_different_roles_share_a_card_and_a_file_is_on_it_once() -> None:
    units = [unit({}, {"application": "4.30"}, role=role) for role in ("main", "spare")]
    planned = plan(job(*units), SHELF)
    assert len(planned.stages) == 2
    assert all(len(stage.steps) == 2 and len(stage.images) == 1 for stage in planned.stages)


def test_two_versions_for_one_model_never_share_a_card() -> None:
    shelf = manifest(image(APPLICATION, "4.30"), image(APPLICATION, "4.31"))
    units = [
        unit({"application": "4.17"}, {"application": version}, role=f"radio {version}")
        for version in ("4.30", "4.31")
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


def refused(*units: Any, shelf: Manifest, **more: Any) -> NoPlanError:  # noqa: ANN401
    with pytest.raises(NoPlanError) as caught:
        plan(job(*units, **more), shelf)
    return caught.value


# --- what holds already, and what comes first


def test_a_need_that_holds_now_is_no_reason_to_wait() -> None:
    # The bootloader's loader wants an application that is there; the new one wants the bootloader.
    shelf = manifest(APP, image(BOOTLOADER, "3.10", needs=((None, APPLICATION, "4.10"),)))
    has = {"bootloader": "3.02", "application": "4.17"}
    planned = plan(job(unit(has, {"application": "4.30"})), shelf)
    assert cards(planned) == [[(0, "bootloader", "3.10")], [(0, "application", "4.30")]]


def test_a_bootloader_that_needs_the_application_comes_after_it() -> None:
    shelf = manifest(
        image(APPLICATION, "4.30"),
        image(BOOTLOADER, "3.10", needs=((None, APPLICATION, "4.30"),)),
    )
    wants = {"bootloader": "3.10", "application": "4.30"}
    for has in ({}, {"bootloader": "3.02", "application": "4.17"}):
        planned = plan(job(unit(has, wants)), shelf)
        assert cards(planned) == [[(0, "application", "4.30")], [(0, "bootloader", "3.10")]]


def test_what_needs_the_application_still_comes_after_it() -> None:
    shelf = manifest(
        image(APPLICATION, "4.30"),
        BOOT,
        image(CONFIGURATION, "2", needs=((None, APPLICATION, "4.30"),)),
        image(CHART_DATA, "7", needs=((None, CONFIGURATION, "2"),)),
        models=(model("OV-V40", types=ALL_TYPES),),
    )
    wants = {"chart data": "7", "configuration": "2", "bootloader": "3.10", "application": "4.30"}
    planned = plan(job(unit({}, wants)), shelf)
    order = ["bootloader", "application", "configuration", "chart data"]
    assert [stage.image_type.word for stage in planned.stages] == order


def test_a_version_between_is_loaded_on_the_way() -> None:
    shelf = manifest(
        image(APPLICATION, "4.20"), image(APPLICATION, "4.30", needs=((None, APPLICATION, "4.20"),))
    )
    planned = plan(job(unit({"application": "4.10"}, {"application": "4.30"})), shelf)
    assert cards(planned) == [[(0, "application", "4.20")], [(0, "application", "4.30")]]
    assert planned.stages[0].steps[0].needed_by == shelf.images[1]
    assert len(plan(job(unit({"application": "4.20"}, {"application": "4.30"})), shelf).stages) == 1


def test_a_need_by_the_models_own_name_is_its_own() -> None:
    shelf = manifest(image(APPLICATION, "4.30", needs=(("OV-V40", BOOTLOADER, "3.10"),)), BOOT)
    assert len(plan(job(unit({}, {"application": "4.30"})), shelf).stages) == 2


@pytest.mark.parametrize(
    ("now", "starts", "is_planned"),
    [
        pytest.param("3.05", ("3.05",), True, id="from this version"),
        pytest.param("3.5", ("3.05",), True, id="another spelling of it"),
        pytest.param("3.02", ("3.05", "3.06"), False, id="from others only"),
        pytest.param(None, ("3.05",), False, id="from what nobody knows"),
        pytest.param(None, (), True, id="from any"),
    ],
)
def test_what_a_needed_bootloader_may_start_from(
    now: str | None, starts: tuple[str, ...], is_planned: bool
) -> None:
    shelf = manifest(APP, image(BOOTLOADER, "3.10", from_versions=tuple(map(V, starts))))
    visit = unit({"bootloader": now}, {"application": "4.30"})
    if is_planned:
        assert len(plan(job(visit), shelf).stages) == 2
    else:
        assert refused(visit, shelf=shelf).reason == "plan.none"


def test_a_version_that_was_released_again_is_the_one_that_is_in_use() -> None:
    shelf = manifest(
        image(APPLICATION, "4.30", withdrawn="first edition"), image(APPLICATION, "4.30.0")
    )
    planned = plan(job(unit({}, {"application": "4.30"})), shelf)
    assert cards(planned) == [[(0, "application", "4.30.0")]]


def test_the_displays_software_says_nothing_of_its_bootloader() -> None:
    for kind, is_planned in ((APPLICATION, True), (BOOTLOADER, False), (CONFIGURATION, False)):
        shelf = manifest(image(APPLICATION, "4.30", needs=(("OV-D9", kind, "9.2"),)))
        visit = unit({}, {"application": "4.30"})
        if is_planned:
            assert plan(job(visit, software="9.2"), shelf).stages
        else:
            assert refused(visit, shelf=shelf, software="9.2").reason == "plan.none"


# --- cards


def test_units_that_wait_for_different_things_share_the_card_in_the_end() -> None:
    known = unit({"bootloader": "3.10"}, {"application": "4.30"}, role="spare radio")
    unknown = unit({}, {"application": "4.30"}, role="main radio")
    for units in ((known, unknown), (unknown, known)):
        planned = plan(job(*units), SHELF)
        assert [len(stage.steps) for stage in planned.stages] == [1, 2]
        assert [stage.image_type for stage in planned.stages] == [BOOTLOADER, APPLICATION]


@pytest.mark.parametrize("other", ["main radio", "Main Radio", " main  radio"])
def test_one_role_may_be_spelled_in_several_ways(other: str) -> None:
    units = [unit({}, {"application": "4.30"}, role=role) for role in ("main radio", other)]
    planned = plan(job(*units), manifest(APP, replace(BOOT, leaves=Leaves.WAITING)))
    assert all(len(stage.steps) == 1 for stage in planned.stages)
    assert len(planned.stages) == 4


def test_two_files_of_one_name_never_share_a_card() -> None:
    shelf = manifest(
        image(APPLICATION, "4.30", file="UPDATE.BIN"),
        image(APPLICATION, "2.1", "OV-N2", file="update.bin"),
    )
    units = [
        unit({}, {"application": "4.30"}),
        unit({}, {"application": "2.1"}, "OV-N2", "wind instrument"),
    ]
    assert len(plan(job(*units), shelf).stages) == 2


def test_one_file_for_two_models_is_on_the_card_once() -> None:
    shelf = manifest(image(APPLICATION, "4.30", "OV-V40", "OV-V42"))
    units = [
        unit({}, {"application": "4.30"}),
        unit({}, {"application": "4.30"}, "OV-V42", "spare radio"),
    ]
    (stage,) = plan(job(*units), shelf).stages
    assert len(stage.steps) == 2
    assert len(stage.images) == 1


def test_nothing_wanted_is_no_card() -> None:
    assert plan(job(unit({"application": "4.17"}, {})), SHELF).stages == ()

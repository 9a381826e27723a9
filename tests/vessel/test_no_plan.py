"""Why there is no plan: which facts would have to be otherwise."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import cast

import pytest

from cardprep.errors import CardprepError, NoPlanError
from cardprep.job.visit import Found, Job
from cardprep.manifest.model import Carried, Companion, Leaves, Manifest, Presence
from cardprep.terms import APPLICATION, BOOTLOADER, CONFIGURATION, GIB
from cardprep.texts.catalogue import refusal
from cardprep.vessel.change import Change
from cardprep.vessel.changes import changes_of_unit, together
from cardprep.vessel.graph import UnitGraph
from cardprep.vessel.no_plan import SETS_SHOWN, Unlocks, told, unlocks
from cardprep.vessel.plan import best, plan, vessel_of
from tests.manifests import display_facts
from tests.vessel.visits import V, image, job, manifest, model, unit

APP = image(APPLICATION, "4.30", needs=((None, BOOTLOADER, "3.10"),))
BOOT = image(BOOTLOADER, "3.10")
RADIO = model("OV-V40", companion=Companion(model="OV-H4", presence=Presence.OPTIONAL))
HANDSET = model("OV-H4", types=(APPLICATION,))
HAS = {"bootloader": "3.02", "application": "4.17"}
WANTS = {"application": "4.30"}


def can_be_done(facts: tuple[Job, Manifest], number: int | None) -> bool:
    visit, shelf = facts
    vessel = vessel_of(visit, shelf)
    if number is not None:
        return UnitGraph(vessel, vessel.units[number]).can_be_done
    return best(vessel, visit, shelf) is not None


def why(visit: Job, shelf: Manifest) -> tuple[Unlocks, ...]:
    with pytest.raises(NoPlanError) as caught:
        plan(visit, shelf)
    assert caught.value.reason == "plan.none"
    # Whatever is said can be said.
    assert "(" + "ways" + ")" not in refusal(caught.value).message
    return unlocks(vessel_of(visit, shelf), visit, shelf, can_be_done)


def slugs(found: tuple[Unlocks, ...]) -> set[tuple[str, ...]]:
    return {tuple(change.slug for change in one) for unlock in found for one in unlock.sets}


WITH_HANDSET = replace(unit(HAS, WANTS), companion="OV-H4")
CASES = [
    pytest.param(
        job(unit(HAS, {"application": "4.31"})), manifest(APP, BOOT), "change.shelf", id="no image"
    ),
    pytest.param(
        job(unit(HAS, WANTS)), manifest(APP), "change.shelf-at-least", id="nothing gives the need"
    ),
    pytest.param(
        job(unit(HAS, WANTS)),
        manifest(replace(APP, needs=(), withdrawn="sets the clock back")),
        "change.withdrawn",
        id="withdrawn",
    ),
    pytest.param(
        job(unit(HAS, WANTS)),
        manifest(image(APPLICATION, "4.30", from_versions=(V("4.20"),))),
        "change.starts",
        id="not from this version",
    ),
    pytest.param(
        job(replace(unit(HAS, WANTS), found=Found.WAITING)),
        manifest(image(APPLICATION, "4.30", from_empty=False)),
        "change.from-empty",
        id="not into a waiting unit",
    ),
    pytest.param(
        job(unit({**HAS, "application": "4.31"}, WANTS)),
        manifest(APP, BOOT),
        "change.downgrade",
        id="a way back",
    ),
    pytest.param(
        job(unit({}, WANTS)),
        manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"),))),
        "change.known",
        id="from an unknown version",
    ),
    pytest.param(
        job(WITH_HANDSET),
        manifest(
            image(APPLICATION, "4.30"),
            image(
                APPLICATION,
                "4.17",
                carries=(Carried(model="OV-H4", type=APPLICATION, version=V("2.30"), mode="on"),),
            ),
            models=(RADIO, HANDSET),
        ),
        "change.no-handset",
        id="a handset would stay behind",
    ),
    pytest.param(
        job(replace(WITH_HANDSET, companion_versions={"application": V("2.30")})),
        manifest(image(APPLICATION, "4.30"), models=(RADIO, HANDSET)),
        "change.runs-with",
        id="what runs with the handset is not listed",
    ),
    pytest.param(
        job(replace(unit(HAS, WANTS), found=Found.OFF_NETWORK)),
        manifest(replace(APP, needs=())),
        "change.network",
        id="off network",
    ),
    pytest.param(
        job(unit(HAS, WANTS)),
        manifest(image(APPLICATION, "4.30", needs=(("OV-D9", APPLICATION, "9.2"),))),
        "change.display",
        id="the display's software",
    ),
    pytest.param(
        job(unit(HAS, WANTS), unit({"application": "3.9"}, {}, "OV-V42", "spare")),
        manifest(image(APPLICATION, "4.30", needs=(("OV-V42", APPLICATION, "4.0"),))),
        "change.elsewhere",
        id="another unit",
    ),
    pytest.param(
        job(unit(HAS, WANTS)),
        manifest(image(APPLICATION, "4.30", needs=(("OV-V42", APPLICATION, "4.0"),))),
        "change.aboard",
        id="a unit that is not aboard",
    ),
    pytest.param(
        job(unit(HAS, {"application": "4.30", "bootloader": "3.05"})),
        manifest(APP, BOOT, image(BOOTLOADER, "3.05")),
        "change.wish",
        id="a wish below a need",
    ),
]


@pytest.mark.parametrize(("visit", "shelf", "slug"), CASES)
def test_what_would_have_to_be_otherwise(visit: Job, shelf: Manifest, slug: str) -> None:
    found = why(visit, shelf)
    assert (slug,) in slugs(found)
    assert all(unlock.whole for unlock in found)


@pytest.mark.parametrize(("visit", "shelf", "slug"), CASES)
def test_every_set_gives_a_plan_and_no_smaller_one_does(
    visit: Job, shelf: Manifest, slug: str
) -> None:
    del slug
    for unlock in why(visit, shelf):
        candidates = changes_of_unit(vessel_of(visit, shelf), visit, shelf, unlock.unit or 0)
        if unlock.unit is None:
            candidates.append(together())
        assert len({len(one) for one in unlock.sets}) == 1
        size = len(unlock.sets[0])
        for count in range(size + 1):
            for chosen in combinations(candidates, count):
                keys = [tuple(change.key for change in one) for one in unlock.sets]
                offered = tuple(change.key for change in chosen) in keys
                assert gives(chosen, visit, shelf, unlock.unit) == offered


def gives(chosen: tuple[Change, ...], visit: Job, shelf: Manifest, number: int | None) -> bool:
    for change in chosen:
        visit, shelf = change.apply(visit, shelf)
    try:
        return can_be_done((visit, shelf), number)
    except CardprepError:
        return False


def test_two_facts_at_once() -> None:
    visit = job(replace(unit(HAS, {"application": "4.31"}), found=Found.OFF_NETWORK))
    found = why(visit, manifest(APP, BOOT))
    assert slugs(found) == {("change.shelf", "change.network")}


def test_each_unit_that_cannot_be_done_has_reasons_of_its_own() -> None:
    first = unit(HAS, {"application": "4.31"}, role="main")
    second = replace(unit(HAS, WANTS, role="spare"), found=Found.OFF_NETWORK)
    third = unit(HAS, WANTS, role="third")
    found = why(job(first, second, third), manifest(APP, BOOT))
    assert [unlock.unit for unlock in found] == [0, 1]
    words = told(found, job(first, second, third))
    assert words.index("main") < words.index("spare")
    assert "third" not in words


def test_a_role_that_is_out_of_service_already_forbids_and_may_be_allowed() -> None:
    dark = replace(unit(HAS, {}, role="radio"), found=Found.WAITING)
    other = unit({**HAS, "bootloader": "3.10"}, WANTS, role="radio")
    found = why(job(dark, other), manifest(APP, BOOT))
    assert ("change.together",) in slugs(found)
    assert [unlock.unit for unlock in found] == [None]


def test_an_image_that_fits_on_no_card_of_the_display() -> None:
    huge = image(APPLICATION, "4.30", size=3 * GIB)
    shelf = manifest(huge, displays=(display_facts(largest_card=2 * 10**9),))
    assert ("change.room",) in slugs(why(job(unit(HAS, WANTS)), shelf))


def test_a_display_that_does_not_reach_the_unit() -> None:
    shelf = manifest(
        image(APPLICATION, "4.30", size=3 * GIB),
        displays=(display_facts(largest_card=2 * 10**9), display_facts(model="OV-D5")),
    )
    visit = replace(
        job(replace(unit(HAS, WANTS), displays=("OV-D9",))),
        further_displays=(replace(job(unit(HAS, WANTS)).display, model="OV-D5"),),
    )
    assert ("change.reach",) in slugs(why(visit, shelf))


def test_versions_of_one_question_are_put_together() -> None:
    shelf = manifest(image(APPLICATION, "4.30", from_versions=(V("4.17"), V("4.20"))))
    visit = job(unit({}, WANTS))
    words = told(why(visit, shelf), visit)
    assert "4.17 or 4.20" in words
    # That it has what is wanted already would be no plan but nothing to do.
    assert "4.30: read" not in words


def test_very_many_ways_are_counted() -> None:
    starts = tuple(
        image(CONFIGURATION, f"{n}.0", from_versions=(V("0.1"),)) for n in range(1, SETS_SHOWN + 4)
    )
    needs = tuple((None, CONFIGURATION, "1.0") for _ in range(1))
    shelf = manifest(
        *starts,
        image(APPLICATION, "4.30", needs=needs),
        models=(model("OV-V40", types=(APPLICATION, CONFIGURATION)),),
    )
    visit = job(unit({"application": "4.17", "configuration": "0.5"}, WANTS))
    words = told(why(visit, shelf), visit)
    assert "more ways" in words


def test_where_no_change_helps_that_is_said() -> None:
    found = (Unlocks(unit=None, sets=(), whole=False),)
    words = told(found, job(unit(HAS, WANTS)))
    assert "no change of up to 3" in words
    assert "not every change" in words


def test_the_order_of_the_manifest_does_not_matter() -> None:
    for case in CASES:
        visit, shelf, _ = cast("tuple[Job, Manifest, str]", case.values)
        again = replace(shelf, images=tuple(reversed(shelf.images)))
        assert told(why(visit, shelf), visit) == told(why(visit, again), visit)


def test_a_bootloader_that_leaves_a_radio_dark_is_no_reason_to_refuse() -> None:
    shelf = manifest(APP, replace(BOOT, leaves=Leaves.WAITING))
    assert len(plan(job(unit(HAS, WANTS)), shelf).stages) == 2

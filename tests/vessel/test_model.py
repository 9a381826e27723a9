"""The state model: what a step does, and when it may be made.

Facts of the trade are common practice, no published source; each is one test.
"""

from __future__ import annotations

from dataclasses import replace

from cardprep.job.visit import Found, Job
from cardprep.manifest.model import Carried, Companion, Leaves, Manifest, Presence
from cardprep.terms import APPLICATION, BOOTLOADER, CONFIGURATION
from cardprep.vessel.model import (
    Load,
    Phase,
    Refusal,
    VesselModel,
    after,
    excludes,
    interrupted,
    refused,
    stands_in_the_way,
)
from cardprep.vessel.plan import vessel_of
from cardprep.vessel.scale import EMPTY_ONLY
from tests.vessel.visits import V, image, job, manifest, model, unit

BOOT = image(BOOTLOADER, "3.10", leaves=Leaves.WAITING)
APP = image(
    APPLICATION,
    "4.30",
    needs=((None, BOOTLOADER, "3.10"),),
    carries=(Carried(model="OV-H4", type=APPLICATION, version=V("2.41"), mode="PROGRAM is seen"),),
)
SHELF = manifest(
    BOOT,
    APP,
    models=(
        model("OV-V40", companion=Companion(model="OV-H4", presence=Presence.OPTIONAL)),
        model("OV-H4", types=(APPLICATION,)),
    ),
)
RADIO = replace(
    unit({"bootloader": "3.02", "application": "4.17"}, {"application": "4.30"}),
    companion="OV-H4",
    companion_versions={"application": V("2.30")},
)


def aboard(visit: Job | None = None, shelf: Manifest = SHELF) -> VesselModel:
    return vessel_of(visit or job(RADIO), shelf)


def load(vessel: VesselModel, word: str, number: int = 0) -> Load:
    one = vessel.units[number]
    return next(found for found in one.loads if one.slots[found.slot] == word)


def test_a_bootloader_alone_leaves_the_unit_waiting_for_an_application() -> None:
    vessel = aboard()
    (radio,) = vessel.units
    state = after(load(vessel, "bootloader"), radio.start)
    assert radio.is_out_of_service(state)
    assert state[radio.slots.index("application")] == EMPTY_ONLY


def test_an_application_that_needs_a_newer_bootloader_is_refused_and_nothing_changes() -> None:
    vessel = aboard()
    assert refused(vessel, vessel.start, 0, load(vessel, "application")) is Refusal.NEEDS


def test_the_display_offers_a_bootloader_whatever_the_unit_holds() -> None:
    vessel = aboard(job(replace(RADIO, versions={"bootloader": V("3.10"), "application": None})))
    assert refused(vessel, vessel.start, 0, load(vessel, "bootloader")) is None


def test_one_application_carries_the_code_of_radio_and_handset() -> None:
    vessel = aboard()
    (radio,) = vessel.units
    state = after(load(vessel, "application"), radio.start)
    assert state[-1] == 1
    assert radio.scales[2].versions(state[2]) == (V("2.41"),)


def test_a_handset_that_was_not_in_its_mode_is_left_behind_and_loading_again_is_the_cure() -> None:
    vessel = aboard()
    (radio,) = vessel.units
    app = load(vessel, "application")
    behind = after(app, after(load(vessel, "bootloader"), radio.start), in_mode=False)
    assert behind[-1] == 0
    assert radio.scales[2].versions(behind[2]) == (V("2.30"),)
    assert not radio.is_done(behind)
    assert not radio.is_out_of_service(behind)
    assert refused(vessel, [behind], 0, app) is None
    assert radio.is_done(after(app, behind))


def test_an_application_runs_with_the_versions_that_it_lists() -> None:
    listed = replace(APP, carries=(), runs_with=(V("2.30"),))
    vessel = aboard(shelf=replace(SHELF, images=(BOOT, listed)))
    (radio,) = vessel.units
    assert after(load(vessel, "application"), radio.start)[-1] == 1


def test_what_is_interrupted_leaves_empty_what_was_being_written() -> None:
    vessel = aboard()
    (radio,) = vessel.units
    boot, app = load(vessel, "bootloader"), load(vessel, "application")
    dead = interrupted(boot, radio.start, Phase.UNIT)
    assert dead[:2] == (EMPTY_ONLY, EMPTY_ONLY)
    waiting = interrupted(app, radio.start, Phase.UNIT)
    assert waiting[1] == EMPTY_ONLY
    assert waiting[0] == radio.start[0]
    # The radio is written first, then the handset.
    handset = interrupted(app, radio.start, Phase.COMPANION)
    assert radio.scales[1].versions(handset[1]) == (V("4.30"),)
    assert (handset[2], handset[-1]) == (EMPTY_ONLY, 0)


def test_an_empty_unit_takes_an_image_unless_the_image_says_not() -> None:
    waiting = replace(
        RADIO, found=Found.WAITING, versions={"bootloader": V("3.10"), "application": None}
    )
    for may, reason in ((True, None), (False, Refusal.STARTS)):
        shelf = replace(SHELF, images=(BOOT, replace(APP, from_empty=may)))
        vessel = aboard(job(waiting), shelf)
        assert refused(vessel, vessel.start, 0, load(vessel, "application")) is reason


def test_a_lower_version_goes_over_a_higher_one_only_where_it_is_asked_for() -> None:
    newer = replace(RADIO, versions={"bootloader": V("3.10"), "application": V("4.40")})
    vessel = aboard(job(newer))
    assert refused(vessel, vessel.start, 0, load(vessel, "application")) is Refusal.FALLS
    vessel = aboard(job(replace(newer, may_fall=("application",))))
    assert refused(vessel, vessel.start, 0, load(vessel, "application")) is None


def test_a_step_breaks_no_need_of_what_stays_installed() -> None:
    setup = image(CONFIGURATION, "1.0", needs=((None, APPLICATION, "4.10"),))
    types = (BOOTLOADER, APPLICATION, CONFIGURATION)
    shelf = manifest(BOOT, setup, models=(model("OV-V40", types=types),))
    has = {"bootloader": "3.02", "application": "4.17", "configuration": "1.0"}
    vessel = aboard(job(unit(has, {"bootloader": "3.10"})), shelf)
    assert refused(vessel, vessel.start, 0, load(vessel, "bootloader")) is Refusal.BREAKS
    # It may be the one that is installed, and that is enough.
    unknown = {**has, "configuration": None}
    vessel = aboard(job(unit(unknown, {"bootloader": "3.10"})), shelf)
    assert refused(vessel, vessel.start, 0, load(vessel, "bootloader")) is Refusal.BREAKS


def test_two_radios_of_one_role_stand_in_for_each_other() -> None:
    visit = job(RADIO, replace(RADIO, serial="2"))
    vessel = aboard(visit)
    states = list(vessel.start)
    assert stands_in_the_way(vessel, states, 1) is None
    states[0] = after(load(vessel, "bootloader"), states[0])
    assert stands_in_the_way(vessel, states, 1) == 0
    assert stands_in_the_way(vessel, states, 0) is None
    assert stands_in_the_way(aboard(replace(visit, together=True)), states, 1) is None


def test_two_versions_for_one_model_or_two_files_of_one_name_exclude_each_other() -> None:
    shelf = manifest(
        image(APPLICATION, "4.20"),
        image(APPLICATION, "4.30"),
        image(BOOTLOADER, "3.10", file="X.BIN"),
        image(APPLICATION, "2.0", "OV-N2", file="x.bin"),
    )
    found = {one.facts.version.text: one for one in aboard(job(RADIO), shelf).images}
    assert excludes(found["4.20"], found["4.30"])
    assert excludes(found["3.10"], found["2.0"])
    assert not excludes(found["4.20"], found["3.10"])
    assert not excludes(found["4.20"], found["4.20"])

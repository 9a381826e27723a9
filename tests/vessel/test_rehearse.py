"""What is said of a visit before it is made.

Facts of the trade are common practice, no published source; each is one test.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from cardprep.errors import JobError
from cardprep.job.visit import Job
from cardprep.manifest.model import (
    Carried,
    Companion,
    Leaves,
    Manifest,
    Presence,
    UnitKind,
)
from cardprep.terms import APPLICATION, BOOTLOADER
from cardprep.texts.catalogue import screen
from cardprep.vessel.plan import plan
from cardprep.vessel.rehearsal import Part, Rehearsal
from cardprep.vessel.rehearse import rehearse
from cardprep.vessel.stages import stages_of, steps_of
from tests.manifests import display_facts
from tests.vessel.visits import V, image, job, manifest, model, unit

BOOT = image(BOOTLOADER, "3.10", leaves=Leaves.WAITING)
APP = image(
    APPLICATION,
    "4.30",
    needs=((None, BOOTLOADER, "3.10"),),
    carries=(Carried(model="OV-H4", type=APPLICATION, version=V("2.41"), mode="PROGRAM is seen"),),
)
RADIO = model(
    "OV-V40",
    companion=Companion(model="OV-H4", presence=Presence.OPTIONAL),
    read_at={BOOTLOADER: "first screen after power-on"},
    note_before=("MMSI",),
    read_back_after=("MMSI", "region"),
    entered_once=("MMSI",),
)
HANDSET = model("OV-H4", kind=UnitKind.HANDSET, types=(APPLICATION,), seen_off="key lamps out")
SHELF = manifest(BOOT, APP, models=(RADIO, HANDSET))
HAS = {"bootloader": "3.02", "application": "4.17"}
MAIN = replace(unit(HAS, {"application": "4.30"}, role="main radio"), companion="OV-H4", serial="1")


def rehearsed(visit: Job, shelf: Manifest = SHELF) -> Rehearsal:
    planned = plan(visit, shelf)
    return rehearse(visit, stages_of(visit, planned, shelf), steps_of(visit, planned, shelf), shelf)


def slugs(rehearsal: Rehearsal, stage: int) -> list[str]:
    return [said.slug for said in rehearsal.stages[stage - 1].said]


def sentences(rehearsal: Rehearsal, stage: int) -> str:
    said = rehearsal.stages[stage - 1].said
    return "\n".join(screen(one.slug, **one.parameters) for one in said)


def test_a_bootloader_card_is_not_announced_and_an_application_card_is() -> None:
    visit = rehearsed(job(MAIN))
    assert "rehearse.not-announced" in slugs(visit, 1)
    assert "rehearse.told-by-menu" in slugs(visit, 1)
    assert "rehearse.announced" in slugs(visit, 2)
    assert "rehearse.not-announced" not in slugs(visit, 2)


def test_after_the_bootloader_alone_the_unit_waits_and_that_is_normal() -> None:
    visit = rehearsed(job(MAIN))
    (waits,) = (said for said in visit.stages[0].said if said.slug == "rehearse.waits")
    assert waits.part is Part.NORMAL
    assert [stage.stands[0].condition for stage in visit.stages] == ["waiting", "running"]
    assert visit.stages[0].stands[0].versions == (("bootloader", "3.10"), ("application", ""))
    assert visit.stages[1].stands[0].handset == (("application", "2.41"),)


def test_the_display_offers_a_bootloader_whatever_the_unit_holds() -> None:
    visit = rehearsed(job(MAIN))
    assert "rehearse.offered-anyway" in slugs(visit, 1)
    assert "rehearse.offered-anyway" not in slugs(visit, 2)


def test_the_handset_is_proved_off_before_any_key_is_held_and_before_the_card_goes_in() -> None:
    visit = rehearsed(job(MAIN))
    assert slugs(visit, 2)[:4] == [
        "rehearse.handset-off",
        "rehearse.handset-keys",
        "rehearse.handset-mode",
        "rehearse.put-in",
    ]
    assert "key lamps out" in sentences(visit, 2)
    assert "PROGRAM is seen" in sentences(visit, 2)
    assert not [slug for slug in slugs(visit, 1) if "handset" in slug]
    assert "rehearse.alert" in [said.slug for said in visit.before]


def test_the_radio_is_written_first_then_the_handset_and_a_blank_one_damages_nothing() -> None:
    visit = rehearsed(job(MAIN))
    assert "rehearse.radio-then-handset" in slugs(visit, 2)
    assert "nothing is damaged" in sentences(visit, 2)


def test_without_a_handset_nothing_is_said_of_one() -> None:
    visit = rehearsed(job(replace(MAIN, companion="none")))
    for stage in (1, 2):
        assert not [slug for slug in slugs(visit, stage) if "handset" in slug]
    assert "rehearse.alert" not in [said.slug for said in visit.before]


def test_a_handset_that_stays_blank_for_a_while_is_normal() -> None:
    # The first application runs with no handset; the second brings its code.
    shelf = manifest(
        image(APPLICATION, "4.20"),
        replace(APP, needs=(), from_versions=(V("4.20"),)),
        models=(RADIO, HANDSET),
    )
    visit = rehearsed(job(MAIN), shelf)
    assert [stage.stands[0].is_blank for stage in visit.stages] == [True, False]
    assert "rehearse.blank" in slugs(visit, 1)


def test_a_twin_is_named_so_that_it_is_left_unticked() -> None:
    twin = replace(unit(HAS, {}, role="spare radio"), companion="none", serial="2")
    visit = rehearsed(job(MAIN, twin))
    assert "Leave these as they are" in sentences(visit, 1)
    assert "spare radio (OV-V40 2)" in sentences(visit, 1)
    assert "rehearse.leave-unticked" not in slugs(rehearsed(job(MAIN)), 1)


def test_what_a_manifest_says_of_its_display_is_said() -> None:
    display = display_facts(
        ticks=True,
        told_to_read="Setup, Cards, Read",
        shows_done="Update complete",
        shows_failed="Update failed",
    )
    shelf = replace(SHELF, displays=(display,))
    visit = rehearsed(job(MAIN), shelf)
    said = sentences(visit, 1)
    for words in ("Setup, Cards, Read", "Update complete", "Update failed", "by itself"):
        assert words in said
    assert "rehearse.tick" not in slugs(visit, 1)


def test_what_is_noted_before_is_read_back_after_and_what_goes_in_once_is_asked_for() -> None:
    visit = rehearsed(job(MAIN))
    before = {said.slug: said.parameters for said in visit.before}
    after = {said.slug: said.parameters for said in visit.afterwards}
    assert before["rehearse.note"]["what"] == "MMSI"
    assert before["rehearse.once"]["what"] == "MMSI"
    assert after["rehearse.read-back"]["what"] == "MMSI, region"
    assert "rehearse.working-channel" in after


def test_an_autopilot_is_in_standby_and_tried_at_sea() -> None:
    pilot = model("OV-P6", kind=UnitKind.AUTOPILOT, types=(APPLICATION,))
    shelf = manifest(image(APPLICATION, "2.0", "OV-P6"), models=(pilot,))
    visit = rehearsed(job(unit({}, {"application": "2.0"}, "OV-P6", "autopilot")), shelf)
    assert "rehearse.autopilot-before" in [said.slug for said in visit.before]
    assert "rehearse.autopilot-after" in [said.slug for said in visit.afterwards]
    assert "rehearse.calling" not in [said.slug for said in visit.before]


def test_the_last_card_has_no_next_one() -> None:
    visit = rehearsed(job(MAIN))
    assert "rehearse.not-the-next" in slugs(visit, 1)
    assert "rehearse.not-the-next" not in slugs(visit, 2)


def test_a_unit_that_an_image_switches_off_is_to_be_switched_on() -> None:
    shelf = manifest(image(APPLICATION, "4.30", leaves=Leaves.OFF))
    visit = rehearsed(job(unit({}, {"application": "4.30"})), shelf)
    assert "rehearse.switched-off" in slugs(visit, 1)


def test_minutes_are_those_of_all_steps() -> None:
    visit = rehearsed(job(MAIN))
    assert visit.minutes == (2, 4)


def test_a_plan_that_the_manifest_has_outgrown_is_refused() -> None:
    visit = job(MAIN)
    planned = plan(visit, SHELF)
    stages, steps = stages_of(visit, planned, SHELF), steps_of(visit, planned, SHELF)
    other = replace(APP, sha256="0" * 64)
    for shelf in (manifest(BOOT, other, models=(RADIO, HANDSET)),):
        with pytest.raises(JobError) as caught:
            rehearse(visit, stages, steps, shelf)
        assert caught.value.reason == "job.plan-over-manifest"


def test_with_one_card_it_is_written_again_between_the_stages() -> None:
    visit = job(MAIN)
    planned = plan(visit, SHELF)
    stages, steps = stages_of(visit, planned, SHELF), steps_of(visit, planned, SHELF)
    one = rehearse(visit, stages, steps, SHELF, one_card=True)
    assert "rehearse.write-again" not in slugs(one, 1)
    assert slugs(one, 2)[0] == "rehearse.write-again"
    assert "cardprep write B238 2" in sentences(one, 2)


def test_nothing_to_do_is_nothing_to_rehearse() -> None:
    done = unit({"bootloader": "3.10", "application": "4.30"}, {"application": "4.30"})
    assert rehearsed(job(done)).stages == ()

"""What may be left out, by what is seen on board."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest

from cardprep.errors import NoPlanError
from cardprep.job.step import LeaveOut
from cardprep.job.visit import Job
from cardprep.manifest.model import Carried, Companion, Leaves, Manifest, Presence
from cardprep.terms import APPLICATION, BOOTLOADER, CONFIGURATION
from cardprep.vessel.model import VesselModel, after, refused
from cardprep.vessel.plan import Plan, plan, vessel_of
from cardprep.vessel.scale import places
from tests.vessel.visits import V, image, job, manifest, model, unit

APP = image(APPLICATION, "4.30", needs=((None, BOOTLOADER, "3.10"),))
BOOT = image(BOOTLOADER, "3.10")
SHELF = manifest(APP, BOOT)


def conditions(visit: Job, shelf: Manifest) -> list[tuple[LeaveOut, ...]]:
    return [step.leave_out for stage in plan(visit, shelf).stages for step in stage.steps]


# Common practice, no published source: the unit shows its bootloader version at power-on.
def test_the_bootloader_card_is_left_out_if_power_on_shows_it_or_a_later_one() -> None:
    shelf = manifest(APP, BOOT, image(BOOTLOADER, "3.02"))
    has = {"bootloader": None, "application": "4.17"}
    first, second = conditions(job(unit(has, {"application": "4.30"})), shelf)
    assert first == (
        LeaveOut(type="bootloader", handset=False, versions=(V("3.10"),), or_later=True),
    )
    assert second == ()


def test_what_is_known_leaves_nothing_to_look_for() -> None:
    has = {"bootloader": "3.02", "application": "4.17"}
    assert conditions(job(unit(has, {"application": "4.30"})), SHELF) == [(), ()]


def test_a_unit_that_has_what_is_wanted_needs_neither_card() -> None:
    first, second = conditions(job(unit({}, {"application": "4.30"})), SHELF)
    # Without the bootloader the second card could be refused, so the application says nothing.
    assert [one.type for one in first] == ["bootloader"]
    assert [one.type for one in second] == ["application"]


def test_after_a_bootloader_that_empties_the_unit_the_application_is_never_left_out() -> None:
    shelf = manifest(APP, replace(BOOT, leaves=Leaves.WAITING))
    _, second = conditions(job(unit({}, {"application": "4.30"})), shelf)
    assert second == ()


def test_nothing_is_left_out_that_a_handset_needs() -> None:
    radio = model("OV-V40", companion=Companion(model="OV-H4", presence=Presence.OPTIONAL))
    handset = model("OV-H4", types=(APPLICATION,))
    carried = Carried(model="OV-H4", type=APPLICATION, version=V("2.41"), mode="PROGRAM is seen")
    shelf = manifest(replace(APP, needs=(), carries=(carried,)), models=(radio, handset))
    wants = replace(
        unit({}, {"application": "4.30"}),
        companion="OV-H4",
        companion_wanted={"application": V("2.41")},
    )
    ((only,),) = [conditions(job(wants), shelf)]
    # The radio's version alone says nothing of the handset's.
    assert only == ()


def truths(vessel: VesselModel) -> list[tuple[tuple[int, ...], ...]]:
    """Return every case of what the units may really have, as states of single places."""
    by_unit = []
    for one in vessel.units:
        slots = [[1 << place for place in places(mask)] for mask in one.start[:-1]]
        by_unit.append([(*chosen, one.start[-1]) for chosen in itertools.product(*slots)])
    return list(itertools.product(*by_unit))


def holds(condition: LeaveOut, vessel: VesselModel, number: int, state: tuple[int, ...]) -> bool:
    one = vessel.units[number]
    slots = range(one.own, len(one.slots)) if condition.handset else range(one.own)
    (slot,) = (slot for slot in slots if one.slots[slot] == condition.type)
    return bool(state[slot] & sum(1 << one.scales[slot].place(v) for v in condition.versions))


def played(
    vessel: VesselModel, planned: Plan, left_out: int, states: list[tuple[int, ...]]
) -> bool:
    steps = [step for stage in planned.stages for step in stage.steps]
    for place, step in enumerate(steps):
        if place == left_out:
            continue
        load = next(
            load
            for load in vessel.units[step.unit].loads
            if vessel.images[load.image].facts.sha256 == step.image.sha256
        )
        if refused(vessel, states, step.unit, load) is not None:
            return False
        states[step.unit] = after(load, states[step.unit])
    return all(one.is_done(state) for one, state in zip(vessel.units, states, strict=True))


def random_visit(seed: int) -> tuple[Job, Manifest]:
    chance = random.Random(seed)
    types = (BOOTLOADER, APPLICATION, CONFIGURATION)
    images = []
    for kind in types:
        for version in ("1.0", "2.0", "3.0"):
            if chance.random() < 0.7:
                needs = tuple(
                    (None, other, chance.choice(["1.0", "2.0", "3.0"]))
                    for other in types
                    if chance.random() < 0.3
                )
                leaves = Leaves.WAITING if chance.random() < 0.2 else Leaves.RUNNING
                images.append(image(kind, version, needs=needs, leaves=leaves))
    units = []
    for number in range(chance.randint(1, 2)):
        has = {kind.word: chance.choice([None, None, "1.0", "2.0"]) for kind in types}
        wants = {
            kind.word: chance.choice(["2.0", "3.0"]) for kind in types if chance.random() < 0.5
        }
        units.append(unit(has, wants, role=f"radio {number}"))
    return job(*units), manifest(*images, models=(model("OV-V40", types=types),))


@pytest.mark.parametrize("start", range(0, 400, 50))
def test_what_is_left_out_for_a_reason_is_not_missed(start: int) -> None:
    looked = 0
    for seed in range(start, start + 50):
        visit, shelf = random_visit(seed)
        try:
            planned = plan(visit, shelf)
        except NoPlanError:
            continue
        vessel = vessel_of(visit, shelf)
        steps = [step for stage in planned.stages for step in stage.steps]
        for place, step in enumerate(steps):
            for condition in step.leave_out:
                for case in truths(vessel):
                    if holds(condition, vessel, step.unit, case[step.unit]):
                        looked += 1
                        assert played(vessel, planned, place, list(case)), (seed, place, case)
    assert looked

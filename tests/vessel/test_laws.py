"""The laws of every plan, played step by step over pseudo-random visits and shelves."""

from __future__ import annotations

import itertools
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from cardprep.job.visit import Job
from cardprep.manifest.model import Leaves, Manifest
from cardprep.terms import (
    APPLICATION,
    BOOTLOADER,
    CHART_DATA,
    CONFIGURATION,
    ImageType,
    VersionOrder,
)
from cardprep.vessel.plan import best, plan, vessel_of
from tests.vessel.visits import cards, image, job, manifest, model, unit

ROOT = Path(__file__).resolve().parents[2]
VERSIONS = ["1.0", "2.9", "2.31", "3.10"]
MODELS = ["OV-V40", "OV-V42"]
TYPES = [BOOTLOADER, APPLICATION, CONFIGURATION, CHART_DATA]


@st.composite
def visits(draw: st.DrawFn) -> tuple[Job, Manifest]:
    images = []
    for name, kind, version in itertools.product(MODELS, TYPES, VERSIONS):
        needs: list[tuple[str | None, ImageType, str]] = [
            (None, draw(st.sampled_from(TYPES)), draw(st.sampled_from(VERSIONS)))
            for _ in range(draw(st.sampled_from([0, 0, 0, 0, 0, 1, 2])))
        ]
        withdrawn = "a reason" if draw(st.integers(0, 19)) == 0 else None
        waits = kind == BOOTLOADER and draw(st.booleans())
        leaves = Leaves.WAITING if waits else Leaves.RUNNING
        made = image(kind, version, name, needs=tuple(needs), withdrawn=withdrawn, leaves=leaves)
        images.append(made)
    units = []
    for _ in range(draw(st.integers(1, 4))):
        has = {kind.word: draw(st.sampled_from([None, *VERSIONS[:2]])) for kind in TYPES}
        wanted = draw(st.lists(st.sampled_from(TYPES), unique=True, min_size=1, max_size=3))
        wants = {kind.word: draw(st.sampled_from(VERSIONS[2:])) for kind in wanted}
        role = draw(st.sampled_from(["main", "spare", "mast"]))
        units.append(unit(has, wants, draw(st.sampled_from(MODELS)), role))
    models = tuple(model(name, types=tuple(TYPES)) for name in MODELS)
    return job(*units), manifest(*images, models=models)


@settings(deadline=None, max_examples=100)
@given(visits())
def test_every_plan_can_be_played(visit: tuple[Job, Manifest]) -> None:
    opened, shelf = visit
    if best(vessel_of(opened, shelf), opened, shelf) is None:
        event("no plan")
        return
    planned = plan(opened, shelf)
    event(f"{min(len(planned.stages), 6)} cards")
    order = VersionOrder()
    now = [dict(aboard.versions) for aboard in opened.units]
    dark: set[int] = set()
    for stage in planned.stages:
        assert {step.image.type for step in stage.steps} == {stage.image_type}
        for one, other in itertools.combinations(stage.images, 2):
            assert not set(one.models) & set(other.models)
            assert one.file.upper() != other.file.upper()
        for step in stage.steps:
            assert step.image.withdrawn is None
            assert opened.units[step.unit].model in step.image.models
            # Another unit of its role has to be in service while this one is touched.
            for number, stand_in in enumerate(opened.units):
                if number != step.unit and stand_in.role == opened.units[step.unit].role:
                    assert number not in dark
            for need in step.image.needs:
                version = now[step.unit].get(need.type.word)
                assert version is not None
                assert order.at_least(version, need.at_least)
            before = now[step.unit].get(step.image.type.word)
            assert before is None or order.at_least(step.image.version, before)
            now[step.unit][step.image.type.word] = step.image.version
            if step.image.type == APPLICATION:
                dark.discard(step.unit)
            elif step.image.leaves is Leaves.WAITING:
                dark.add(step.unit)
                now[step.unit][APPLICATION.word] = None
    assert not dark
    for aboard, versions in zip(opened.units, now, strict=True):
        for word, version in aboard.wanted.items():
            reached = versions[word]
            assert reached is not None
            assert order.same(reached, version)


@settings(deadline=None, max_examples=40)
@given(visits(), st.randoms())
def test_the_order_in_which_things_are_listed_does_not_matter(
    visit: tuple[Job, Manifest], shuffler: random.Random
) -> None:
    opened, shelf = visit

    def outcome(made: Job, known: Manifest) -> object:
        # Why there is none has tests of its own, and takes many plans to find out.
        if best(vessel_of(made, known), made, known) is None:
            return None
        return cards(plan(made, known))

    def mixed(values: dict[str, object]) -> dict[str, object]:
        items = list(values.items())
        shuffler.shuffle(items)
        return dict(items)

    units = [
        type(aboard)(
            model=aboard.model,
            role=aboard.role,
            versions=mixed(dict(aboard.versions)),  # type: ignore[arg-type]
            wanted=mixed(dict(aboard.wanted)),  # type: ignore[arg-type]
        )
        for aboard in opened.units
    ]
    images = list(shelf.images)
    shuffler.shuffle(images)
    again = manifest(*images, models=shelf.models)
    assert outcome(job(*units), again) == outcome(opened, shelf)


SCRIPT = """
from cardprep.terms import APPLICATION, BOOTLOADER, CONFIGURATION
from cardprep.vessel.plan import best, plan, vessel_of
from tests.vessel.visits import cards, image, job, manifest, model, unit
types = (BOOTLOADER, APPLICATION, CONFIGURATION)
needs = ((None, CONFIGURATION, "2"), (None, BOOTLOADER, "3.10"))
shelf = manifest(
    image(APPLICATION, "4.30", needs=needs),
    image(BOOTLOADER, "3.10"),
    image(CONFIGURATION, "2"),
    models=(model("OV-V40", types=types),),
)
wants = {"application": "4.30"}
print(cards(plan(job(*(unit({}, wants, role=role) for role in "abc")), shelf)))
"""


def test_the_hash_seed_does_not_matter() -> None:
    printed = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "2")
    }
    assert len(printed) == 1
    assert "application" in printed.pop()


# A chain of needs over many types is followed as far as it goes.
@pytest.mark.parametrize("length", [1, 30])
def test_a_long_chain_of_needs(length: int) -> None:
    types = tuple(ImageType(f"part {number}", f"P{number:03d}") for number in range(length))
    images = [
        image(
            kind,
            "1",
            needs=((None, types[number + 1], "1"),) if number + 1 < length else (),
        )
        for number, kind in enumerate(types)
    ]
    shelf = manifest(*images, image_types=types, models=(model("OV-V40", types=types),))
    planned = plan(job(unit({}, {"part 0": "1"})), shelf)
    assert [stage.image_type for stage in planned.stages] == list(reversed(types))

"""Random small vessels and shelves, by a seed: what a planner has to get right."""

from __future__ import annotations

import random
from dataclasses import replace

from cardprep.job.visit import Display, Found, Job, Unit
from cardprep.manifest.model import (
    Carried,
    Companion,
    ImageFacts,
    Leaves,
    Manifest,
    Minutes,
    Presence,
    UnitKind,
)
from cardprep.terms import APPLICATION, BOOTLOADER, CHART_DATA, CONFIGURATION, ImageType
from tests.manifests import display_facts
from tests.vessel.visits import V, image, job, manifest, model, unit

VERSIONS = ("1.0", "2.0", "3.0")
HANDSETS = ("1.5", "2.5")
MODELS = ("OV-V40", "OV-V42")


def random_visit(seed: int, *, units: int = 3, images: int = 8) -> tuple[Job, Manifest]:
    """Return a job and a manifest; the same for the same seed, on every machine."""
    chance = random.Random(seed)
    types = (BOOTLOADER, APPLICATION, CONFIGURATION)[: chance.randint(1, 3)]
    if chance.random() < 0.8:
        types = (BOOTLOADER, APPLICATION, *types[2:])
    has_handset = chance.random() < 0.5 and APPLICATION in types
    companion = Companion(model="OV-H4", presence=Presence.OPTIONAL) if has_handset else None
    shelf = [
        _image(chance, types, has_handset=has_handset) for _ in range(chance.randint(3, images))
    ]
    different = {(one.models, one.type, one.version): one for one in shelf}
    displays = [display_facts(types_per_card=chance.choice((1, 1, 1, 2, 3)))]
    if chance.random() < 0.2:
        displays.append(display_facts(model="OV-D5", types_per_card=chance.choice((1, 2))))
    readers = [one.model for one in displays]
    aboard = [
        _unit(chance, types, readers, tuple(different.values()), has_handset=has_handset)
        for _ in range(chance.randint(1, units))
    ]
    software = chance.choice((None, "1.0", "2.0"))
    visit = replace(
        job(*aboard, software=software),
        further_displays=tuple(Display(model=one.model) for one in displays[1:]),
        together=chance.random() < 0.15,
    )
    models = [model(name, types=types, companion=companion) for name in MODELS]
    if has_handset:
        models.append(model("OV-H4", kind=UnitKind.HANDSET, types=(APPLICATION,)))
    return visit, manifest(*different.values(), models=tuple(models), displays=tuple(displays))


def _image(chance: random.Random, types: tuple[ImageType, ...], *, has_handset: bool) -> ImageFacts:
    kind = chance.choice(types)
    names = MODELS if chance.random() < 0.15 else (chance.choice((*MODELS, MODELS[0])),)
    needs: list[tuple[str | None, ImageType, str]] = []
    for _ in range(chance.choice((0, 0, 0, 1, 1, 2))):
        whose = chance.choice((None, None, None, None, "OV-D9", "OV-V42"))
        needs.append((whose, chance.choice(types), chance.choice(VERSIONS[:2])))
    if has_handset and chance.random() < 0.1:
        needs.append(("OV-H4", APPLICATION, chance.choice(HANDSETS)))
    version = chance.choice(VERSIONS)
    starts = tuple(V(v) for v in VERSIONS if chance.random() < 0.6) if chance.random() < 0.2 else ()
    carries: tuple[Carried, ...] = ()
    runs_with: tuple[str, ...] = ()
    if has_handset and kind == APPLICATION:
        if chance.random() < 0.75:
            brought = V(chance.choice(HANDSETS))
            carries = (Carried(model="OV-H4", type=APPLICATION, version=brought, mode="seen"),)
        runs_with = tuple(v for v in HANDSETS if chance.random() < 0.4)
    erases = chance.random() < 0.1 and CONFIGURATION in types and kind != CONFIGURATION
    waits = kind == BOOTLOADER and APPLICATION in types and chance.random() < 0.5
    made = image(kind, version, *names, needs=tuple(needs))
    file = "UPDATE.BIN" if chance.random() < 0.1 else made.file
    return replace(
        made,
        from_versions=starts,
        from_empty=chance.random() < 0.9,
        carries=carries,
        runs_with=tuple(V(v) for v in runs_with),
        erases=(CONFIGURATION,) if erases else (),
        leaves=Leaves.WAITING if waits else Leaves.RUNNING,
        withdrawn="a reason" if chance.random() < 0.07 else None,
        size=chance.choice((100, 1000, 5000)),
        minutes=Minutes(low=0, high=chance.randint(1, 5)),
        file=file,
    )


def _unit(
    chance: random.Random,
    types: tuple[ImageType, ...],
    displays: list[str],
    shelf: tuple[ImageFacts, ...],
    *,
    has_handset: bool,
) -> Unit:
    name = chance.choice((*MODELS, MODELS[0]))
    has = {
        kind.word: None if chance.random() < 0.08 else chance.choice((*VERSIONS[:2], "1.0"))
        for kind in types
    }
    wants = {}
    for kind in types:
        there = [one.version.text for one in shelf if name in one.models and one.type == kind]
        if there and chance.random() < 0.7:
            wants[kind.word] = max(there) if chance.random() < 0.8 else chance.choice(there)
    made = unit(has, wants, name, chance.choice(("main", "spare")))
    handset = "none"
    told: dict[str, str | None] = {}
    wished: dict[str, str] = {}
    if has_handset and chance.random() < 0.7:
        handset = chance.choice(("OV-H4", "OV-H4", "unknown"))
        if handset != "unknown" and chance.random() < 0.6:
            told = {"application": chance.choice(HANDSETS)}
        if chance.random() < 0.2:
            wished = {"application": chance.choice(HANDSETS)}
    found = Found.RUNNING
    if chance.random() < 0.07:
        states = [Found.WAITING] if APPLICATION in types else []
        found = chance.choice(
            [*states, Found.OFF_NETWORK, *([Found.HANDSET_BLANK] * (handset != "none"))]
        )
    return replace(
        made,
        companion=handset,
        companion_versions={k: None if v is None else V(v) for k, v in told.items()},
        companion_wanted={k: V(v) for k, v in wished.items()},
        found=found,
        may_fall=tuple(kind.word for kind in types if chance.random() < 0.1),
        displays=(chance.choice(displays),) if chance.random() < 0.15 else (),
    )


def fleet(size: int, seed: int) -> tuple[Job, Manifest]:
    """Return a large vessel: so many units, up to 200 images, needs that are six cards deep.

    Half of the units share their role with another one.
    """
    chance = random.Random(seed)
    types = (BOOTLOADER, APPLICATION, CONFIGURATION, CHART_DATA)
    names = [f"OV-M{number}" for number in range(min(max(2, size // 2), 33))]
    images = [one for name in names for one in _deep(chance, name)]
    units = []
    for number in range(size):
        has = {
            "bootloader": chance.choice(("3.02", "3.10")),
            "application": chance.choice(("4.10", "4.20")),
            "configuration": "1",
            "chart data": "6",
        }
        role = f"role {number if chance.random() < 0.5 else number // 2}"
        wants = {"application": "4.30", "chart data": "7"}
        units.append(unit(has, wants, names[number % len(names)], role))
    models = tuple(model(name, types=types) for name in names)
    return job(*units), manifest(*images, models=models)


def _deep(chance: random.Random, name: str) -> list[ImageFacts]:
    """Return six images of one model, each of which may need the one before."""
    boot, app, setup = BOOTLOADER, APPLICATION, CONFIGURATION
    waits = Leaves.WAITING if chance.random() < 0.5 else Leaves.RUNNING
    last = ((None, app, "4.20"), (None, boot, "3.10"))
    return [
        image(boot, "3.10", name, leaves=waits, minutes=Minutes(low=1, high=chance.randint(1, 3))),
        image(boot, "3.20", name, needs=((None, app, "4.20"),) if chance.random() < 0.4 else ()),
        image(app, "4.20", name, needs=((None, boot, "3.10"),)),
        image(app, "4.30", name, needs=last if chance.random() < 0.5 else ((None, boot, "3.20"),)),
        image(setup, "2", name, needs=((None, app, "4.30"),)),
        image(CHART_DATA, "7", name, needs=((None, setup, "2"),)),
    ]

"""Scenes for diagnosis: the demonstration's evening, and pseudo-random vessels."""

from __future__ import annotations

import random
from dataclasses import replace

from cardprep.errors import NoPlanError
from cardprep.job.visit import Display, Job, Unit
from cardprep.manifest.model import (
    Carried,
    Companion,
    Leaves,
    Manifest,
    Minutes,
    ModelFacts,
    Presence,
    UnitKind,
)
from cardprep.terms import APPLICATION, BOOTLOADER, ImageType
from cardprep.vessel.observe import Observed, require_answer
from cardprep.vessel.plan import Plan, plan
from cardprep.vessel.scene import Scene, scene_of
from tests.manifests import display_facts
from tests.vessel.visits import V, image, job, manifest, model, unit

MODE = "PROGRAM stands on the screen"


def models(presence: Presence = Presence.OPTIONAL) -> tuple[ModelFacts, ...]:
    return (
        model("OV-V40", companion=Companion(model="OV-H4", presence=presence)),
        model("OV-H4", types=(APPLICATION,), kind=UnitKind.HANDSET),
        model("OV-N2", types=(APPLICATION,), kind=UnitKind.INSTRUMENT),
    )


def shelf(**changed: object) -> Manifest:
    """Return the demonstration's two files, and an older application."""
    boot = image(BOOTLOADER, "3.10", leaves=Leaves.WAITING, minutes=Minutes(low=1, high=1))
    app = image(
        APPLICATION,
        "4.30",
        needs=((None, BOOTLOADER, "3.10"),),
        carries=(Carried(model="OV-H4", type=APPLICATION, version=V("2.41"), mode=MODE),),
        minutes=Minutes(low=4, high=9),
    )
    changed = {
        "models": models(),
        "displays": (display_facts(announces=(APPLICATION,)),),
        **changed,
    }
    return manifest(boot, app, **changed)


def radio(
    role: str = "main radio",
    handset: str | None = "OV-H4",
    boot: str | None = "3.02",
    app: str | None = "4.17",
) -> Unit:
    told = unit({"bootloader": boot, "application": app}, {"application": "4.30"}, role=role)
    has = {"application": V("2.30")} if handset == "OV-H4" else {}
    return replace(told, companion=handset, companion_versions=has)


def scene(opened: Job, files: Manifest, seen: tuple[tuple[str, str, str], ...] = ()) -> Scene:
    return scene_of(
        opened, files, rows(plan(opened, files)), [(m, word, V(text)) for m, word, text in seen]
    )


def rows(planned: Plan) -> list[tuple[int, list[tuple[int, str]]]]:
    return [
        (stage.display, [(step.unit, step.image.sha256) for step in stage.steps])
        for stage in planned.stages
    ]


def evening() -> Scene:
    """Return the demonstration's evening: bootloader, then application with handset."""
    return scene(job(radio()), shelf())


def two_radios() -> Scene:
    """Return two radios in one role; the second is left alone."""
    spare = replace(radio(), wanted={}, companion="none", companion_versions={})
    return scene(job(radio(handset="none"), spare), shelf())


def observed(of: Scene, **told: str) -> Observed:
    """Return observations of the first unit: state="dark", and so on."""
    from cardprep.vessel.observe import Asked, Question

    slots = {"boot": 0, "app": 1, "handset_app": 2}
    found = {}
    for key, answer in told.items():
        if key in slots:
            question = Question(Asked.VERSION, unit=0, slot=slots[key])
        elif key[-1].isdecimal():
            asked = Asked(key[:-1].replace("_", " ").strip())
            stage = int(key[-1]) - 1
            of_step = asked in (Asked.SHOWN, Asked.SIGN, Asked.TICKED)
            question = Question(asked, stage=stage, unit=0 if of_step else -1)
        elif key in ("went_on", "order"):
            question = Question(Asked(key.replace("_", " ")))
        else:
            question = Question(Asked(key.replace("_", " ")), unit=0)
        found[question] = require_answer(of, question, answer)
    return found


def random_scene(number: int) -> Scene:
    """Return the scene of a pseudo-random vessel, the same for one number on every machine."""
    chance = random.Random(number)
    while True:
        try:
            made = _random_scene(chance)
        except NoPlanError:
            continue
        if made.stages:
            return made


def _random_scene(chance: random.Random) -> Scene:
    boot_waits = chance.random() < 0.8
    carries = chance.random() < 0.8
    files = [
        image(
            BOOTLOADER,
            "3.10",
            leaves=Leaves.WAITING if boot_waits else Leaves.RUNNING,
            from_empty=chance.random() < 0.7,
        ),
        image(
            APPLICATION,
            "4.30",
            needs=((None, BOOTLOADER, "3.10"),) if chance.random() < 0.8 else (),
            carries=(
                (Carried(model="OV-H4", type=APPLICATION, version=V("2.41"), mode=MODE),)
                if carries
                else ()
            ),
            runs_with=() if carries else (V("2.30"), V("2.41")),
        ),
    ]
    if chance.random() < 0.5:
        files.append(image(APPLICATION, "4.25", runs_with=(V("2.30"),)))
    needs: tuple[tuple[str | None, ImageType, str], ...] = ()
    if chance.random() < 0.3:
        needs = (("OV-V40", APPLICATION, "4.30"),)
    files.append(image(APPLICATION, "1.20", "OV-N2", needs=needs))
    second = chance.random() < 0.2
    displays = [display_facts(announces=(APPLICATION,), types_per_card=chance.choice([1, 1, 2]))]
    if second:
        displays.append(display_facts(model="OV-D7", types_per_card=1))
    opened = job(*_units(chance))
    if second:
        opened = replace(opened, further_displays=(Display(model="OV-D7", software=None),))
    shelf_ = manifest(*files, models=models(), displays=tuple(displays))
    return scene(opened, shelf_)


def _units(chance: random.Random) -> list[Unit]:
    units = []
    for number in range(chance.choice([1, 1, 1, 2, 2, 3])):
        if chance.random() < 0.25:
            units.append(
                unit({"application": "1.10"}, {"application": "1.20"}, "OV-N2", f"wind {number}")
            )
            continue
        made = radio(
            role=chance.choice(["main", "spare"]),
            handset=chance.choice(["OV-H4", "OV-H4", "none", "unknown"]),
            boot=chance.choice(["3.02", "3.10", None]),
            app=chance.choice(["4.17", "4.17", None]),
        )
        if chance.random() < 0.15:
            made = replace(made, wanted={})
        units.append(made)
    return units

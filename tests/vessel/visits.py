"""Visits and shelves in memory: models, images, units and jobs, as small as a test needs them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.manifest.model import (
    HandedOver,
    ImageFacts,
    Leaves,
    Manifest,
    Minutes,
    ModelFacts,
    Need,
    UnitKind,
)
from cardprep.terms import APPLICATION, BOOTLOADER, ImageType, Version
from cardprep.vessel.plan import Plan
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
    withdrawn: str | None = None,
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
        "sha256": hashlib.sha256(f"{name} {withdrawn}".encode()).hexdigest(),
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
        "withdrawn": withdrawn,
        **changed,
    }
    return ImageFacts(**values)


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

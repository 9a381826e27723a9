"""Hold what is told of a vessel against what the manifest knows of her equipment.

Pure: what cannot be right is a JobError while the customer is still on the
telephone, and not a plan that fails in the evening. What is only unusual is a
mention.

Source of the handset that must be asked for: common practice, no published
source; a handset that stays behind at an older version than its radio shows a
blank screen at its next power-on.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError, JobError
from cardprep.job.mmsi import OF_VESSELS, identity_of
from cardprep.job.visit import (
    COMPANION_UNKNOWN,
    NO_COMPANION,
    Display,
    Found,
    Unit,
    Vessel,
)
from cardprep.manifest.model import Manifest, ModelFacts, Presence
from cardprep.manifest.tables import nearest
from cardprep.terms import Version, spelled_out
from cardprep.texts.catalogue import word


@dataclass(frozen=True, slots=True)
class Mention:
    """Something unusual about a visit that stops nothing; `slug` is one of the catalogue's."""

    slug: str
    text: str


def unasked(units: tuple[Unit, ...], manifest: Manifest) -> tuple[tuple[int, ModelFacts], ...]:
    """Return the numbers, from 0, of units that can have a companion nobody was asked about."""
    found = []
    for number, unit in enumerate(units):
        facts = manifest.model(unit.model)
        if facts is not None and facts.companion is not None and unit.companion is None:
            found.append((number, facts))
    return tuple(found)


def check_visit(
    vessel: Vessel, displays: tuple[Display, ...], units: tuple[Unit, ...], manifest: Manifest
) -> tuple[Mention, ...]:
    """Return what is worth a mention; JobError or BadValueError for what cannot be right."""
    mentions = list(_vessel(vessel))
    for display in displays:
        if manifest.display(display.model) is None:
            names = tuple(facts.model for facts in manifest.displays)
            found, known, meant = _unknown(display.model, names)
            raise JobError("job.display-unknown", found=found, known=known, meant=meant)
    seen: dict[str, Unit] = {}
    for unit in units:
        _unit(unit, manifest)
        if unit.serial is not None and unit.serial in seen:
            raise JobError("job.serial-twice", serial=unit.serial, role=unit.role)
        if unit.serial is not None:
            seen[unit.serial] = unit
        _reach(unit, displays)
        if unit.is_left_alone and unit.found is not Found.RUNNING:
            text = f"{unit.role}, {unit.model}: {unit.found.value}"
            mentions.append(Mention("mention.left-as-found", text))
        if unit.is_left_alone:
            mentions.append(Mention("mention.no-wish", f"{unit.role}, {unit.model}"))
    return tuple(mentions)


def _vessel(vessel: Vessel) -> tuple[Mention, ...]:
    if vessel.mmsi is None:
        return ()
    identity = identity_of(vessel.mmsi)
    if identity is None:
        raise BadValueError("job.mmsi-form", found=vessel.mmsi)
    if identity.station not in OF_VESSELS:
        kind = word(identity.station.value)
        raise BadValueError("job.mmsi-kind", found=vessel.mmsi, kind=kind)
    if not identity.country_known:
        return (Mention("mention.country", identity.country or ""),)
    return ()


def _unit(unit: Unit, manifest: Manifest) -> None:
    facts = manifest.model(unit.model)
    if facts is None:
        names = tuple(model.name for model in manifest.models)
        found, known, meant = _unknown(unit.model, names)
        raise JobError("job.model-unknown", found=found, known=known, meant=meant)
    words = tuple(one.word for one in facts.types or manifest.all_types)
    told = (*unit.versions, *unit.wanted, *unit.may_fall)
    _types(unit.model, told, words)
    for name, version in (*unit.versions.items(), *unit.wanted.items()):
        if version is not None:
            _require_order(unit.model, manifest, name, version)
    _companion(unit, facts)
    _companion_versions(unit, facts, manifest)


def _types(model: str, told: tuple[str, ...], words: tuple[str, ...]) -> None:
    for name in told:
        if name not in words:
            found, known, meant = _unknown(name, words)
            raise JobError("job.type-unknown", model=model, found=found, known=known, meant=meant)


def _companion_versions(unit: Unit, facts: ModelFacts, manifest: Manifest) -> None:
    """Refuse versions of a handset that is not aboard, or that cannot be compared."""
    told = (*unit.companion_versions.items(), *unit.companion_wanted.items())
    if not told:
        return
    if facts.companion is None or unit.companion == NO_COMPANION:
        raise JobError("job.no-handset", role=unit.role, model=unit.model)
    companion = manifest.model(facts.companion.model)
    types = companion.types if companion is not None else ()
    words = tuple(one.word for one in types or manifest.all_types)
    _types(facts.companion.model, tuple(name for name, _ in told), words)
    for name, version in told:
        if version is not None:
            _require_order(facts.companion.model, manifest, name, version)


def _reach(unit: Unit, displays: tuple[Display, ...]) -> None:
    names = tuple(display.model for display in displays)
    for model in unit.displays:
        if model not in names:
            found, known, meant = _unknown(model, names)
            raise JobError("job.display-not-aboard", found=found, known=known, meant=meant)


def _require_order(model: str, manifest: Manifest, word: str, version: Version) -> None:
    image_type = manifest.image_type(word)
    if image_type is None:
        return
    try:
        manifest.version_order(model, image_type).key(version)
    except BadValueError as error:
        raise JobError("job.version-order", model=model, type=word, version=version.text) from error


def _companion(unit: Unit, facts: ModelFacts) -> None:
    """Refuse what contradicts the manifest, and a handset that nobody was asked about."""
    role, model = unit.role, unit.model
    if facts.companion is None:
        if unit.may_have_companion:
            raise JobError("job.no-handset", role=role, model=model)
        return
    wanted = facts.companion.model
    if unit.companion is None:
        raise JobError("job.handset-unasked", role=role, model=model, companion=wanted)
    if unit.companion == NO_COMPANION and facts.companion.presence is Presence.ALWAYS:
        raise JobError("job.handset-always", role=role, model=model, companion=wanted)
    if unit.companion not in (NO_COMPANION, COMPANION_UNKNOWN, wanted):
        found = spelled_out(unit.companion)
        raise JobError("job.handset-other", role=role, model=model, companion=wanted, found=found)


def _unknown(found: str, known: tuple[str, ...]) -> tuple[str, str, str]:
    """Return what was given, what there is, and which of it was most likely meant."""
    there = ", ".join(known) or "-"
    return spelled_out(found), there, nearest(found, known) or there

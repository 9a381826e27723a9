"""Rules about a card and the visit that it is for: its units, their order, their handsets.

Without a visit nobody knows what the units have; what an image needs is then
said, for whoever stands in front of them.

Source: common practice, no published source, for the bootloader that an
application needs, and for the handset that must be updated with its radio.
"""

from __future__ import annotations

from cardprep.errors import BadValueError
from cardprep.findings import Finding, Parameter
from cardprep.job.visit import Unit
from cardprep.manifest.model import ImageFacts, Manifest, Need
from cardprep.rules.context import By, Context, Identified
from cardprep.rules.images import about_image
from cardprep.terms import ImageType, Version, VersionOrder


def not_for_these_units(context: Context) -> list[Finding]:
    """Return a finding for each image that no unit of the visit can take."""
    job = context.job
    if job is None:
        return []
    models = {unit.model for unit in job.units}
    aboard = ", ".join(sorted(models))
    return [
        about_image("not-for-these-units", item, image, aboard=aboard, job=str(job.name))
        for item, image in _proved(context)
        if not models & set(image.models)
    ]


def needs(context: Context) -> list[Finding]:
    """Return what has to be there before the card's images, and whether it is."""
    findings: list[Finding] = []
    # Of another stage's card, or an older plan's, that is said, and not what its images need.
    if context.other is not None or context.superseded:
        return findings
    for item, image in _proved(context):
        for need in image.needs:
            findings += _need(context, item, image, need)
        findings += _starts(context, item, image)
    return findings


def versions(context: Context) -> list[Finding]:
    """Return what is to be said of versions that a visit does not plan, or that go back."""
    job, manifest = context.job, context.manifest
    if job is None or manifest is None or context.other is not None:
        return []
    planned = {file.sha256 for stage in context.stages for file in stage.files}
    findings = []
    for item, image in _proved(context):
        for unit in _units(context, None, image):
            order = manifest.version_order(unit.model, image.type)
            now, wanted = unit.versions.get(image.type.word), unit.wanted.get(image.type.word)
            if now is not None and _is_older(order, image.version, now):
                named = {"has": now.text, "role": unit.role}
                findings.append(about_image("goes-back", item, image, **named))
            elif image.sha256 not in planned and not (
                wanted is not None and _same(order, image.version, wanted)
            ):
                planned_one = "" if wanted is None else wanted.text
                findings.append(
                    about_image("not-planned", item, image, role=unit.role, wanted=planned_one)
                )
    return findings


def _is_older(order: VersionOrder, one: Version, other: Version) -> bool:
    try:
        return order.key(one) < order.key(other)
    except BadValueError:
        return False


def _proved(context: Context) -> list[tuple[Identified, ImageFacts]]:
    return [(item, image) for item, image in context.images if item.by is By.DIGEST]


def _need(context: Context, item: Identified, image: ImageFacts, need: Need) -> list[Finding]:
    """Return the worst that is to be said of one need, over all units that take the image."""
    manifest = context.manifest
    if manifest is None:
        return []
    model = need.model or ", ".join(image.models)
    wanted: dict[str, Parameter] = {
        "needed": need.type.word,
        "at_least": need.at_least.text,
        "on": model,
        "read_at": _read_at(manifest, need.model or image.models[0], need.type),
    }
    if context.job is None:
        return [about_image("needs-unknown", item, image, **wanted)]
    found: list[Version | None] = []
    if need.model == context.job.display.model and context.job.display.software is not None:
        found.append(context.job.display.software)
    else:
        units = _units(context, need.model, image)
        found += [unit.versions.get(need.type.word) for unit in units]
    lacking = [v for v in found if not _holds(manifest, need, image, v)]
    if not lacking and found:
        return []
    stage = _earlier_stage(context, need, image)
    if stage is not None:
        return [about_image("stage-before", item, image, stage=stage, **wanted)]
    if all(version is None for version in lacking):
        return [about_image("needs-unknown", item, image, **wanted)]
    has = ", ".join(sorted({v.text for v in lacking if v is not None}))
    return [about_image("needs-before", item, image, has=has, **wanted)]


def _units(context: Context, model: str | None, image: ImageFacts) -> list[Unit]:
    """Return the units of the visit on which a need must hold."""
    job = context.job
    models = image.models if model is None else (model,)
    return [] if job is None else [unit for unit in job.units if unit.model in models]


def _holds(manifest: Manifest, need: Need, image: ImageFacts, version: Version | None) -> bool:
    if version is None:
        return False
    order = manifest.version_order(need.model or image.models[0], need.type)
    try:
        return order.at_least(version, need.at_least)
    except BadValueError:
        return False


def _earlier_stage(context: Context, need: Need, image: ImageFacts) -> int | None:
    """Return the stage of the visit's plan that brings what is needed, if it comes before."""
    models = set(image.models if need.model is None else (need.model,))
    before = len(context.stages) + 1 if context.stage is None else context.stage.number
    for stage in context.stages:
        if stage.number >= before:
            continue
        for file in stage.files:
            brings = file.image_type == need.type and models & set(file.models)
            manifest = context.manifest
            if brings and manifest is not None and _holds(manifest, need, image, file.version):
                return stage.number
    return None


def _read_at(manifest: Manifest, model: str, image_type: ImageType) -> str:
    known = manifest.model(model)
    return "" if known is None else known.read_at.get(image_type, "")


def _starts(context: Context, item: Identified, image: ImageFacts) -> list[Finding]:
    """Return a finding if an image is loaded over certain versions only, and this is none."""
    if not image.from_versions or context.manifest is None:
        return []
    starts = ", ".join(version.text for version in image.from_versions)
    if context.job is None:
        return [about_image("starts-unknown", item, image, starts=starts)]
    for unit in _units(context, None, image):
        now = unit.versions.get(image.type.word)
        if now is None:
            return [about_image("starts-unknown", item, image, starts=starts)]
        order = context.manifest.version_order(unit.model, image.type)
        if not any(_same(order, now, start) for start in image.from_versions):
            return [about_image("starts-elsewhere", item, image, starts=starts, has=now.text)]
    return []


def _same(order: VersionOrder, one: Version, other: Version) -> bool:
    try:
        return order.same(one, other)
    except BadValueError:
        return one == other


def handsets(context: Context) -> list[Finding]:
    """Return what is to be said of units that are updated through those on the card."""
    manifest = context.manifest
    if manifest is None:
        return []
    findings = []
    for item, image in _proved(context):
        for model in image.models:
            facts = manifest.model(model)
            if facts is None or facts.companion is None:
                continue
            companion = facts.companion.model
            if not _may_be_aboard(context, model):
                continue
            carried = [c for c in image.carries if c.model == companion]
            findings += [
                about_image(
                    "handset-with-it",
                    item,
                    image,
                    companion=companion,
                    brings=f"{one.type.word} {one.version.text}",
                    mode=one.mode,
                )
                for one in carried
            ]
            if not carried and _left_behind(context, manifest, image, companion):
                named = {"companion": companion, "model": model}
                findings.append(about_image("handset-left-behind", item, image, **named))
    return findings


def _may_be_aboard(context: Context, model: str) -> bool:
    """Return whether a companion is aboard; what nobody knows counts as aboard."""
    if context.job is None:
        return True
    return any(unit.model == model and unit.may_have_companion for unit in context.job.units)


def _left_behind(context: Context, manifest: Manifest, image: ImageFacts, companion: str) -> bool:
    """Return whether an image moves a unit on, and its companion, which is updated too, stays."""
    for other in manifest.images:
        carries = any(carried.model == companion for carried in other.carries)
        if other.type == image.type and (carries or companion in other.models):
            break
    else:
        # Nothing here is ever loaded into such a handset for this type.
        return False
    return not any(companion in file.models for stage in context.stages for file in stage.files)

"""Rules about files that are no image of the shop: left by systems or displays, or unknown."""

from __future__ import annotations

from cardprep.findings import Finding
from cardprep.rules.context import By, Context, Identified
from cardprep.rules.images import about_image, version_not_here
from cardprep.rules.names import base_name, ending, family_of, is_companion, is_system_file
from cardprep.rules.owners import owners_kind
from cardprep.volume.model import shown_path

_APPLE_DOUBLE = "apple-double"


def unknown_files(context: Context) -> list[Finding]:
    """Return findings about files that the manifest does not know, and if none is known at all."""
    if context.manifest is None:
        return []
    proper = {image.sha256 for item, image in context.images if item.by is By.DIGEST}
    findings = [
        finding for item in context.files if (finding := _about(context, item, proper)) is not None
    ]
    findings += _mixed(context, findings)
    # Of a card without a volume that is said already.
    looked_into = context.inspection.content is None or bool(context.inspection.volumes)
    # A file that was not read is no image yet, whatever its name is.
    if looked_into and not any(item.file.digests is not None for item, _ in context.images):
        if context.files:
            findings.append(Finding("no-image", None, "directory", {"files": len(context.files)}))
        else:
            findings.append(Finding("card-empty", None, "directory"))
    return findings


def _mixed(context: Context, findings: list[Finding]) -> list[Finding]:
    if context.manifest is None or not context.manifest.supposed:
        return []
    from cardprep.rules.supposed import mixed_if_supposed

    supposed = {finding.path for finding in findings if finding.slug == "supposed-type"}
    files = [item.file for item in context.files if item.file.shown in supposed]
    return mixed_if_supposed(context, files) if files else []


def _supposed(context: Context, item: Identified) -> Finding | None:
    if context.manifest is None or not context.manifest.supposed:
        return None
    from cardprep.rules.supposed import supposed_file

    return supposed_file(context, item.file)


def _about(context: Context, item: Identified, proper: set[str]) -> Finding | None:
    """Return what is said of one file, or None for an image in its place.

    proper  digests of the images that stand outside systems' folders
    """
    folder, image = item.system_folder, item.image
    if folder is not None:
        if image is not None and image.sha256 not in proper:
            return about_image("leftover-image", item, image)
        claimed = context.by_name.get(item.file.path[-1].casefold())
        if image is None and claimed is not None:
            return about_image("leftover-altered", item, claimed[0])
        # Systems keep many files there; the folder is named once.
        return Finding("leftover", shown_path(folder), "directory")
    if image is not None:
        return None
    name = item.file.path[-1]
    if is_companion(name) and _could_be_taken(context, name):
        return Finding("leftover-like-image", item.file.shown, "directory")
    if is_system_file(name) or (is_companion(name) and _is_apple_double(item)):
        return Finding("leftover", item.file.shown, "directory")
    path = "/".join(item.file.path)
    for display in context.possible_displays:
        if display.may_write(path):
            parameters = {"display": display.model}
            return Finding("display-file", item.file.shown, "directory", parameters)
    kind = owners_kind(item.file)
    if kind is not None:
        return Finding("owner-data", item.file.shown, "directory", {"what": f"owner.{kind}"})
    return (
        _other_version(context, item)
        or _supposed(context, item)
        or Finding("unknown-file", item.file.shown, "directory", {"size": item.file.size})
    )


def _other_version(context: Context, item: Identified) -> Finding | None:
    """Return a finding if a name is that of a known image with other numbers in it."""
    family, numbers = family_of(item.file.path[-1])
    known = context.by_family.get(family)
    if known is None:
        return None
    newest = max(known, key=lambda image: family_of(image.file)[1])
    newer = numbers > family_of(newest.file)[1]
    return version_not_here(context, item, newest, newer=newer)


def _could_be_taken(context: Context, name: str) -> bool:
    """Return whether a display that looks at how names end could take a companion for an image."""
    return ending(name) in context.endings or base_name(name).casefold() in context.by_name


def _is_apple_double(item: Identified) -> bool:
    """Return whether a companion file is one by its bytes too; any file can have such a name."""
    container = item.file.container
    return container is not None and container.format == _APPLE_DOUBLE

"""Rules about the images on a card: which they are, and whether they may share it.

Source: common practice, no published source, for one image type per card where
nothing is known of the display.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from cardprep.findings import Finding, Parameter
from cardprep.manifest.model import ImageFacts
from cardprep.rules.context import By, Context, Identified
from cardprep.volume.fat_names import plain_short

_USUAL_TYPES_PER_CARD = 1
_FILES_NAMED = 6


def matches(context: Context) -> list[Finding]:
    """Return a finding for each file whose bytes are those of a released image."""
    return [
        about_image("matches", item, image)
        for item, image in context.images
        if item.by is By.DIGEST
    ]


def mixed_types(context: Context) -> list[Finding]:
    """Return a finding if the card carries image types that may not share one card.

    Without a display the usual rule of the trade holds: one image type per card.
    What a file claims to be counts too, unless its name is that of several types.
    """
    found, limit = types_on_card(context), types_per_card(context)
    if len(found) <= limit:
        return []
    return [Finding("mixed-types", parameters=mixing_parameters(found, limit))]


def types_per_card(context: Context) -> int:
    """Return how many image types may share a card."""
    display = context.display
    return _USUAL_TYPES_PER_CARD if display is None else display.types_per_card


def types_on_card(context: Context) -> defaultdict[str, list[str]]:
    """Return the files of each image type on the card, by the word of the type."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for item, image in context.images:
        if all(claim.type == image.type for claim in item.claims):
            found[image.type.word].append(item.file.shown)
    return found


def mixing_parameters(found: Mapping[str, list[str]], limit: int) -> dict[str, Parameter]:
    """Return the parameters of a finding about types that may not share one card."""
    files = sorted(path for paths in found.values() for path in paths)
    named = [*files[:_FILES_NAMED], *(["..."] if len(files) > _FILES_NAMED else [])]
    return {"types": ", ".join(sorted(found)), "files": ", ".join(named), "limit": limit}


def two_versions(context: Context) -> list[Finding]:
    """Return a finding for each model and type of which the card carries several versions.

    A file whose name several versions have does not count by its name.
    """
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for item, image in context.images:
        if len(item.claims) == 1:
            for model in image.models:
                found[model, image.type.word].add(image.version.text)
    return [
        Finding(
            "two-versions",
            parameters={"model": model, "type": word, "versions": ", ".join(sorted(versions))},
        )
        for (model, word), versions in sorted(found.items())
        if len(versions) > 1
    ]


def renamed(context: Context) -> list[Finding]:
    """Return a finding for each image that does not stand under its maker's name."""
    return [
        about_image("renamed", item, image, expected=image.file)
        for item, image in context.images
        if item.by is By.DIGEST and item.file.path[-1].casefold() != image.file.casefold()
    ]


def short_names(context: Context) -> list[Finding]:
    """Return findings about short names, which are all that some displays read.

    A file that has an image's name as its short name may be loaded as that image;
    an image whose own name is short is not found if its short name is another one.
    """
    findings = []
    for item in context.files:
        short, name = item.file.short, item.file.path[-1]
        if short is None or short.casefold() == name.casefold() or item.system_folder is not None:
            continue
        taken = context.by_name.get(short.casefold(), ())
        image = item.image
        if taken and image not in taken:
            findings.append(about_image("short-name-of-image", item, taken[0], short=short))
        elif image is not None and item.by is By.DIGEST and _stands_right(name, image):
            findings.append(about_image("short-name-differs", item, image, short=short))
    return findings


def _stands_right(name: str, image: ImageFacts) -> bool:
    """Return whether an image has the maker's name and that name is a short one."""
    is_short = plain_short(image.file.upper()) is not None
    return is_short and name.casefold() == image.file.casefold()


def wrong_folder(context: Context) -> list[Finding]:
    """Return a finding for each image that is not where the display looks for it."""
    display = context.display
    if display is None:
        return []
    wanted = [part for part in display.folder.casefold().split("/") if part]
    folder = display.folder or "/"
    return [
        about_image("wrong-folder", item, image, folder=folder, display=display.model)
        for item, image in context.images
        if [part.casefold() for part in item.file.path[:-1]] != wanted
    ]


def withdrawn(context: Context) -> list[Finding]:
    """Return a finding for each image that the shop or the maker took back.

    Only the bytes tell: a maker's name can be that of every version.
    """
    return [
        about_image("withdrawn", item, image, given=image.withdrawn)
        for item, image in context.images
        if item.by is By.DIGEST and image.withdrawn is not None
    ]


def wrong_volume(context: Context) -> list[Finding]:
    """Return a finding for each image that is not on the first volume of the card.

    Source: common practice, no published source: displays read the first volume.
    """
    return [
        about_image("wrong-volume", item, image, number=item.file.volume + 1)
        for item, image in context.images
        if item.file.volume > 0
    ]


def version_not_here(
    context: Context, item: Identified, image: ImageFacts, *, newer: bool
) -> Finding:
    """Return a finding about a file that seems to be a version which the shelf does not have.

    image  the known one that it is nearest to
    newer  whether it seems to come after that one
    """
    on, known = list_checked(context, image), image.file
    if newer:
        return about_image("newer-than-shelf", item, image, known=known, list_checked=on)
    return about_image("other-version", item, image, known=known, list_checked=on)


def list_checked(context: Context, image: ImageFacts) -> str:
    """Return the day on which the maker's list was last looked at for a model, or ""."""
    images = () if context.manifest is None else context.manifest.images
    days = [
        other.list_checked
        for other in images
        if other.list_checked is not None and set(other.models) & set(image.models)
    ]
    return max(days).isoformat() if days else ""


def about_image(slug: str, item: Identified, image: ImageFacts, **more: Parameter) -> Finding:
    """Return a finding about a file and the image that it is or claims to be."""
    return Finding(slug, item.file.shown, "file content", {**image_parameters(image), **more})


def image_parameters(image: ImageFacts) -> dict[str, Parameter]:
    """Return the parameters by which a finding names an image."""
    models = ", ".join(image.models)
    return {"type": image.type.word, "models": models, "version": image.version.text}

"""Rules about the images on a card: what they are, and whether they may share it.

Source: common practice, no published source, for one image type per card where
nothing is known of the display.
"""

from __future__ import annotations

from collections import defaultdict

from cardprep.findings import Finding
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.manifest.model import ImageFacts
from cardprep.rules.context import By, Context, Identified
from cardprep.rules.names import base_name, is_leftover
from cardprep.terms import CHUNK

_PACKED = frozenset(("zip", "gzip", "tar", "xz", "zstd", "bzip2", "lz4"))
_USUAL_TYPES_PER_CARD = 1


def matches(context: Context) -> list[Finding]:
    """Return a finding for each file whose bytes are those of a released image."""
    return [
        _about("matches", item, image)
        for item in context.files
        if (image := item.image) is not None and item.by is By.DIGEST
    ]


def mixed_types(context: Context) -> list[Finding]:
    """Return a finding if the card carries image types that may not share one card.

    Without a display the usual rule of the trade holds: one image type per card.
    """
    display = context.display
    limit = _USUAL_TYPES_PER_CARD if display is None else display.types_per_card
    found: dict[str, list[str]] = defaultdict(list)
    for item in context.files:
        if item.image is not None:
            found[item.image.type.word].append(item.file.shown)
    if len(found) <= limit:
        return []
    types = " and ".join(sorted(found))
    files = ", ".join(sorted(path for paths in found.values() for path in paths))
    return [Finding("mixed-types", parameters={"types": types, "files": files, "limit": limit})]


def two_versions(context: Context) -> list[Finding]:
    """Return a finding for each model and type of which the card carries several versions."""
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for item in context.files:
        if item.image is not None:
            for model in item.image.models:
                found[model, item.image.type.word].add(item.image.version.text)
    return [
        Finding(
            "two-versions",
            parameters={"model": model, "type": word, "versions": ", ".join(sorted(versions))},
        )
        for (model, word), versions in sorted(found.items())
        if len(versions) > 1
    ]


def altered(context: Context) -> list[Finding]:
    """Return a finding for each file that has an image's name and other bytes."""
    findings = []
    for item in context.files:
        image, digests = item.image, item.file.digests
        if image is None or item.by is not By.NAME or digests is None:
            continue
        differing = [
            number
            for number, (one, other) in enumerate(zip(image.chunks, digests.chunks, strict=False))
            if one != other
        ]
        # The last chunk of a cut copy is shorter, so its digest says nothing; a copy
        # without one whole chunk cannot be told from something else, unless it is empty.
        whole = digests.size // CHUNK
        provable = whole > 0 or digests.size == 0
        shorter = digests.size < image.size
        if shorter and provable and all(number >= whole for number in differing):
            findings.append(_about("cut-short", item, image, got=digests.size, wanted=image.size))
            continue
        chunks = len(differing) + abs(len(image.chunks) - len(digests.chunks))
        first = differing[0] if differing else min(len(image.chunks), len(digests.chunks))
        findings.append(
            _about(
                "altered",
                item,
                image,
                chunks=chunks,
                of=len(image.chunks),
                first=first * CHUNK,
                got=digests.size,
                wanted=image.size,
            )
        )
    return findings


def renamed(context: Context) -> list[Finding]:
    """Return a finding for each image that does not stand under its maker's name."""
    return [
        _about("renamed", item, image, expected=image.file)
        for item in context.files
        if (image := item.image) is not None
        and item.by is By.DIGEST
        and item.file.path[-1].casefold() != image.file.casefold()
    ]


def wrong_folder(context: Context) -> list[Finding]:
    """Return a finding for each image that is not where the display looks for it."""
    display = context.display
    if display is None:
        return []
    wanted = [part for part in display.folder.casefold().split("/") if part]
    return [
        _about("wrong-folder", item, image, expected=display.folder or "/", display=display.model)
        for item in context.files
        if (image := item.image) is not None
        and [part.casefold() for part in item.file.path[:-1]] != wanted
    ]


def withdrawn(context: Context) -> list[Finding]:
    """Return a finding for each image that the shop or the maker took back."""
    return [
        _about("withdrawn", item, image, reason=image.withdrawn)
        for item in context.files
        if (image := item.image) is not None and image.withdrawn is not None
    ]


def containers(context: Context) -> list[Finding]:
    """Return findings about files whose own checksums fail, or that are not what was promised."""
    findings = []
    for item in context.files:
        report = item.file.container
        if report is None or is_leftover(item.file.path):
            continue
        shown = item.file.shown
        if report.soundness is Soundness.BROKEN:
            findings.append(_broken(shown, report))
        if item.image is not None and report.format != item.image.container:
            parameters = {"format": report.format, "expected": item.image.container}
            findings.append(Finding("container-contradicts", shown, "file content", parameters))
        elif item.image is None and report.format in _PACKED:
            parameters = {"format": report.format}
            findings.append(Finding("left-packed", shown, "file content", parameters))
    return findings


def _broken(shown: str, report: ContainerReport) -> Finding:
    """Name the first problem, with the numbers of its own sentence."""
    first = report.problems[0] if report.problems else Problem("")
    parameters = {**first.parameters, "format": report.format, "problem": first.reason}
    return Finding("container-broken", shown, "file content", parameters)


def unknown_files(context: Context) -> list[Finding]:
    """Return findings about files that the manifest does not know, and if none is known at all."""
    if context.manifest is None:
        return []
    findings = []
    for item in context.files:
        path = item.file.path
        if item.image is not None:
            continue
        if is_leftover(path):
            findings.append(_leftover(context, item))
        elif context.display is not None and context.display.may_write("/".join(path)):
            findings.append(Finding("display-file", item.file.shown, "directory"))
        else:
            size = item.file.size
            findings.append(Finding("unknown-file", item.file.shown, "directory", {"size": size}))
    # Of a card without a volume that is said already.
    looked_into = context.inspection.content is None or context.inspection.volumes
    if looked_into and not any(item.image is not None for item in context.files):
        findings.append(Finding("no-image", None, "directory", {"files": len(context.files)}))
    return findings


def _leftover(context: Context, item: Identified) -> Finding:
    """Say what a system left behind, and worse if a display could take it for an image."""
    name = base_name(item.file.path[-1])
    manifest = context.manifest
    like = manifest.by_file_name(name) if manifest is not None else ()
    if name != item.file.path[-1] and like:
        parameters = {"image": like[0].file}
        return Finding("leftover-like-image", item.file.shown, "directory", parameters)
    return Finding("leftover", item.file.shown, "directory")


def _about(slug: str, item: Identified, image: ImageFacts, **more: str | int) -> Finding:
    known: dict[str, str | int] = {
        "type": image.type.word,
        "models": ", ".join(image.models),
        "version": image.version.text,
    }
    return Finding(slug, item.file.shown, "file content", {**known, **more})

"""Rules about what was deleted from a card: which images may have been on it.

All of them are notes. What is left of a deleted file shows that it was on the card,
and never when or in which order; and a card that was used before is as good as another.
A content is matched by its digest, or by the digests of its blocks; the place where it
was looked for is a guess, and a name without its first character is one too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from cardprep.findings import Finding, Parameter
from cardprep.inspection.model import DeletedContent
from cardprep.manifest.model import ImageFacts
from cardprep.rules.content import filled_blocks
from cardprep.rules.context import Context
from cardprep.rules.images import image_parameters
from cardprep.terms import CHUNK
from cardprep.volume.fat_deleted import LOST
from cardprep.volume.model import DeletedEntry

# A hostile card may list any number of deleted files; so many of them are named.
NAMED_LIMIT = 200
_NAMES_SHOWN = 3
_BASE, _EXTENSION = 8, 3


def deleted_files(context: Context) -> list[Finding]:
    """Return what the card still lists as deleted, and which of it may have been an image."""
    inspection = context.inspection
    findings = [_listed(inspection.deleted), *_not_read(context)]
    contents: dict[int, list[DeletedContent]] = defaultdict(list)
    for content in inspection.deleted_content:
        contents[content.entry].append(content)
    matching = _Matching(context)
    found = [
        finding
        for number, entry in enumerate(inspection.deleted)
        if not entry.is_folder
        and (finding := matching.about(entry, contents.get(number, []))) is not None
    ]
    findings += found[:NAMED_LIMIT]
    if len(found) > NAMED_LIMIT:
        more: dict[str, Parameter] = {"kind": "deleted-image", "count": len(found) - NAMED_LIMIT}
        findings.append(Finding("more-findings", None, "directory", more))
    return findings


def _listed(deleted: Sequence[DeletedEntry]) -> Finding:
    names = [entry.shown for entry in deleted[:_NAMES_SHOWN]]
    names += ["..."] if len(deleted) > _NAMES_SHOWN else []
    parameters: dict[str, Parameter] = {"count": len(deleted), "names": ", ".join(names)}
    return Finding("deleted-entries", None, "directory", parameters)


def _not_read(context: Context) -> list[Finding]:
    """Say of how many files the content was asked for and could not be looked for."""
    inspection = context.inspection
    unread = {one.entry for one in inspection.deleted_content if one.digests is None}
    counts = {"left-too-much": len(inspection.deleted_left), "left-unreadable": len(unread)}
    return [
        Finding("deleted-content-left", None, "file content", {"count": count, "what": what})
        for what, count in counts.items()
        if count
    ]


class _Matching:
    """The manifest's images, as what is left of a file is held against them."""

    def __init__(self, context: Context) -> None:
        self._context = context
        known = () if context.manifest is None else context.manifest.images
        self._by_block: Mapping[tuple[int, str], list[ImageFacts]] = defaultdict(list)
        self._by_tail: Mapping[str, list[ImageFacts]] = defaultdict(list)
        for image in known:
            for place, block in enumerate(image.chunks):
                self._by_block[place, block].append(image)
            if _is_short(image.file):
                self._by_tail[image.file[1:].casefold()].append(image)

    def about(self, entry: DeletedEntry, contents: list[DeletedContent]) -> Finding | None:
        """Return what is said of one deleted file: of its content, or else of its name."""
        for content in contents:
            sha256 = "" if content.digests is None else content.digests.sha256
            image = self._context.by_sha256.get(sha256)
            if image is not None:
                return _finding("deleted-image", entry, image)
        parts = [part for one in contents if (part := self._part(one)) is not None]
        if parts:
            return _of_part(entry, *max(parts, key=lambda part: len(part[1])))
        return self._of_name(entry, contents)

    def _part(self, content: DeletedContent) -> tuple[ImageFacts, list[int]] | None:
        """Return the image of which most blocks are the same, and the numbers of these."""
        if content.digests is None:
            return None
        places: dict[str, list[int]] = defaultdict(list)
        for place, block in enumerate(content.digests.chunks):
            size = min(CHUNK, content.digests.size - place * CHUNK)
            # Filling is the same everywhere and tells nothing.
            if block not in filled_blocks(size):
                for image in self._by_block.get((place, block), ()):
                    places[image.sha256].append(place)
        if not places:
            return None
        sha256 = max(places, key=lambda digest: len(places[digest]))
        return self._context.by_sha256[sha256], places[sha256]

    def _of_name(self, entry: DeletedEntry, contents: list[DeletedContent]) -> Finding | None:
        claims, by = self._claims(entry)
        if not claims:
            return None
        image = min(claims, key=lambda claim: abs(claim.size - entry.size))
        how = "deleted-same-size" if image.size == entry.size else "deleted-other-size"
        is_other = any(content.digests is not None for content in contents)
        left = "left-other" if is_other else f"left-{entry.left}"
        return _finding("deleted-image-name", entry, image, how=how, what=left, by=by)

    def _claims(self, entry: DeletedEntry) -> tuple[Sequence[ImageFacts], str]:
        """Return the images whose names fit what is left of a name, and how they fit it."""
        name = entry.name.casefold()
        by_name = self._context.by_name
        if entry.name_is_whole:
            return by_name.get(name, ()), "deleted-name"
        if entry.long_name is None:
            return self._by_tail.get(name[1:], ()), "deleted-name-part"
        begins = name.removesuffix(LOST)
        fits = [image for whole in by_name if whole.startswith(begins) for image in by_name[whole]]
        return fits, "deleted-name-cut"


def _is_short(name: str) -> bool:
    """Whether a name has the form of a short one, so that such a one may be all that is left."""
    base, _, extension = name.partition(".")
    return 1 <= len(base) <= _BASE and len(extension) <= _EXTENSION and "." not in extension


def _of_part(entry: DeletedEntry, image: ImageFacts, places: list[int]) -> Finding:
    is_beginning = places == list(range(len(places)))
    return _finding(
        "deleted-image-part",
        entry,
        image,
        where="where-first-blocks" if is_beginning else "where-some-blocks",
        same=len(places),
        of=len(image.chunks),
        first=places[0] * CHUNK,
        what=f"left-{entry.left}",
    )


def _finding(slug: str, entry: DeletedEntry, image: ImageFacts, **more: Parameter) -> Finding:
    known: dict[str, Parameter] = {**image_parameters(image), "size": entry.size}
    return Finding(slug, entry.shown, "file content", {**known, **more})

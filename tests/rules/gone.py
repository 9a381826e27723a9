"""Deleted files as the inspection sees them, in memory."""

from __future__ import annotations

from dataclasses import dataclass, replace

from cardprep.digests import ContentDigests
from cardprep.images.recognise import Recogniser
from cardprep.inspection.model import DeletedContent
from cardprep.manifest.model import Manifest
from cardprep.rules.context import Context
from cardprep.volume.model import DeletedEntry, Extent, Left
from tests.rules.looked_at import APP, MANIFEST, context, looked_at

_OFFSET = 2**20


@dataclass(frozen=True)
class Gone:
    """A deleted file, and what lies in the places where its content may be."""

    entry: DeletedEntry
    contents: tuple[DeletedContent, ...]


def gone(
    path: str,
    content: bytes,
    *,
    left: Left = Left.FREE,
    size: int | None = None,
    seen: bytes | None = None,
    long_name: str | None = None,
    unreadable: bool = False,
) -> Gone:
    """Return a deleted file; ? is a lost character of its name.

    size       bytes that its entry claims, if not those of its content
    seen       what lies there now, if not its content
    long_name  what is left of that, if anything
    """
    *folder, name = path.split("/")
    found = content if seen is None else seen
    where = Extent(_OFFSET, len(found))
    entry = DeletedEntry(
        folder=tuple(folder),
        short=name,
        size=len(content) if size is None else size,
        modified=None,
        first_cluster=7,
        long_name=long_name,
        name_is_whole="?" not in name,
        left=left,
        guesses=(where,) if left in (Left.FREE, Left.PARTLY) else (),
    )
    digests, recogniser = ContentDigests(), Recogniser()
    digests.update(found)
    recogniser.feed(found)
    contents = DeletedContent(
        entry=0,
        where=where,
        digests=None if unreadable else digests.result(),
        container=None if unreadable else recogniser.finish(),
    )
    return Gone(entry, (contents,) if entry.guesses else ())


def with_deleted(
    *deleted: Gone,
    asked: bool = True,
    left_out: tuple[int, ...] = (),
    manifest: Manifest | None = MANIFEST,
) -> Context:
    """Return a card with one image, and with deleted files.

    asked  whether their content was asked for
    """
    made = context(looked_at("APP_430.BIN", APP), manifest=manifest)
    contents = tuple(
        replace(content, entry=number)
        for number, one in enumerate(deleted)
        for content in one.contents
        if asked and number not in left_out
    )
    inspection = replace(
        made.inspection,
        deleted=tuple(one.entry for one in deleted),
        deleted_content=contents,
        deleted_left=left_out,
    )
    return replace(made, inspection=inspection)

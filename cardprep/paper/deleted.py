"""What is left of deleted files, as lines for a terminal and as objects for ``--json``.

A place where content may lie is a guess and is called one.
"""

from __future__ import annotations

import shlex
from collections import defaultdict
from collections.abc import Mapping

from cardprep.canonical import Json
from cardprep.inspection.model import DeletedContent, Inspection
from cardprep.paper.inspect import (
    SHOWN,
    attribute_words,
    container_parts,
    count_line,
    exact_size,
    more_line,
    named,
)
from cardprep.paper.inspect_object import container_object, place_object, time_text, words_object
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen, word
from cardprep.volume.fat_entry import ARCHIVE
from cardprep.volume.model import DeletedEntry, shown_path


def deleted_parts(inspection: Inspection, *, asked: bool) -> list[tuple[int, str]]:
    """Return what is left of each deleted file, as indents and lines.

    asked  whether the content of deleted files was asked for
    """
    contents = _by_entry(inspection)
    parts = [(0, count_line("deleted", len(inspection.deleted)))]
    for number, entry in enumerate(inspection.deleted[:SHOWN]):
        parts += _entry(entry)
        for content in contents.get(number, ()):
            parts += _content(entry, content)
        if number in inspection.deleted_left:
            parts.append((6, word("left-too-much")))
    parts += more_line(len(inspection.deleted))
    if not asked:
        target = shlex.quote(spelled_out(inspection.identity.name))
        parts.append((2, screen("inspect.deleted-more", target=target)))
    return parts


def _entry(entry: DeletedEntry) -> list[tuple[int, str]]:
    name = entry.shown + ("/" if entry.is_folder else "")
    facts = [] if entry.is_folder else [exact_size(entry.size)]
    time = None if entry.modified is None else str(entry.modified)
    facts.append(screen("inspect.no-time") if time is None else screen("inspect.time", time=time))
    facts += attribute_words(entry.attributes & ~ARCHIVE)
    parts = [named(name), (6, ", ".join(facts))]
    if not entry.is_folder:
        parts.append((6, screen("inspect.deleted-left", left=word(f"left-{entry.left}"))))
    return parts


def _content(entry: DeletedEntry, content: DeletedContent) -> list[tuple[int, str]]:
    first = content.where.offset
    if content.digests is None:
        return [(6, screen("inspect.deleted-unread", first=first))]
    sha256 = content.digests.sha256
    parts = [(6, screen("inspect.deleted-place", first=first, sha256=sha256))]
    if content.where.length < entry.size:
        parts.append((8, screen("inspect.deleted-cut", bytes=content.where.length)))
    elif content.container is not None:
        parts += [(indent + 2, line) for indent, line in container_parts(content.container)]
    return parts


def deleted_objects(inspection: Inspection) -> list[Json]:
    """Return all that is left of each deleted file; numbers of volumes are counted from 1."""
    contents = _by_entry(inspection)
    volumes = () if inspection.content is None else inspection.content.volumes
    numbers = [number for number, volume in enumerate(volumes, 1) for _ in volume.deleted]
    return [
        _object(volume, entry, contents.get(number, []))
        for number, (volume, entry) in enumerate(zip(numbers, inspection.deleted, strict=True))
    ]


def _object(volume: int, entry: DeletedEntry, contents: list[DeletedContent]) -> dict[str, Json]:
    return {
        "path": entry.shown,
        "folder": shown_path(entry.folder),
        "short": spelled_out(entry.short),
        "name_is_whole": entry.name_is_whole,
        "is_folder": entry.is_folder,
        "volume": volume,
        "size": entry.size,
        "attributes": words_object(entry.attributes),
        "created": time_text(entry.created),
        "accessed": time_text(entry.accessed),
        "modified": time_text(entry.modified),
        "first_cluster": entry.first_cluster,
        "left": entry.left.value,
        "guesses": [place_object(where) for where in entry.guesses],
        "contents": [
            {
                **place_object(content.where),
                "sha256": None if content.digests is None else content.digests.sha256,
                "container": None
                if content.container is None
                else container_object(content.container),
            }
            for content in contents
        ],
    }


def _by_entry(inspection: Inspection) -> Mapping[int, list[DeletedContent]]:
    found: dict[int, list[DeletedContent]] = defaultdict(list)
    for content in inspection.deleted_content:
        found[content.entry].append(content)
    return found

"""Deleted files as pytsk3, a reader of file systems from outside the project, lists them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytsk3

_FOLDER, _FILE = 3, 5
_DELETED = 2


@dataclass(frozen=True, order=True)
class Listed:
    """A deleted file or folder.

    path   its parts, with _ for a lost first character
    place  byte of its first cluster, or None for a file without content
    """

    path: tuple[str, ...]
    is_folder: bool
    size: int
    place: int | None


def listed_by_others(image: Path, offset: int = 0) -> set[Listed]:
    """Return what pytsk3 lists as deleted on the volume that begins at a byte of an image."""
    system = pytsk3.FS_Info(pytsk3.Img_Info(str(image)), offset=offset)
    found: set[Listed] = set()
    for path, entry, gone in _walk(system.open_dir("/"), (), gone=False):
        if gone:
            info = entry.info
            is_folder = int(info.name.type) == _FOLDER
            size = 0 if is_folder else int(info.meta.size)
            place = _place(entry, int(system.info.block_size)) if size or is_folder else None
            found.add(Listed(path, is_folder, size, None if place is None else place + offset))
    return found


def _walk(
    folder: Any,  # noqa: ANN401 - pytsk3 has no types
    path: tuple[str, ...],
    *,
    gone: bool,
) -> Iterator[tuple[tuple[str, ...], Any, bool]]:
    for entry in folder:
        name = entry.info.name
        shown = name.name.decode("utf-8", "replace")
        if int(name.type) not in (_FOLDER, _FILE) or entry.info.meta is None:
            continue
        # A folder's entries for itself and the one above, which are no longer read as such
        # where their first byte is lost.
        if shown in (".", "..", "_", "_."):
            continue
        is_gone = gone or int(name.flags) == _DELETED
        yield (*path, shown), entry, is_gone
        if int(name.type) == _FOLDER:
            yield from _walk(entry.as_directory(), (*path, shown), gone=is_gone)


def _place(entry: Any, block_size: int) -> int | None:  # noqa: ANN401 - pytsk3 has no types
    for attribute in entry:
        for run in attribute:
            return int(run.addr) * block_size
    return None

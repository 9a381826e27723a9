"""Names that systems leave on cards by themselves.

Source: common practice, no published source; what desktop systems, their search
indexes and their waste baskets are seen to write on removable volumes.
"""

from __future__ import annotations

_FOLDERS = frozenset(
    (
        ".spotlight-v100",
        ".fseventsd",
        ".trashes",
        ".temporaryitems",
        ".documentrevisions-v100",
        "system volume information",
        "$recycle.bin",
        "recycler",
        "lost.dir",
        "found.000",
        "lost+found",
    )
)
_FILES = frozenset((".ds_store", "thumbs.db", "desktop.ini", "indexervolumeguid", "wpsettings.dat"))
_COMPANION = "._"
_TRASH = ".trash-"


def is_leftover(path: tuple[str, ...]) -> bool:
    """Return whether a file, by its name or by a folder above it, was left by a system."""
    *folders, name = (part.casefold() for part in path)
    in_folder = any(folder in _FOLDERS or folder.startswith(_TRASH) for folder in folders)
    return in_folder or name in _FILES or name.startswith(_COMPANION)


def base_name(name: str) -> str:
    """Return the name of the file that a companion file belongs to."""
    return name.removeprefix(_COMPANION)

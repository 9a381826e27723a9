"""Names that systems leave on cards by themselves, and what copies and browsers make of a name.

Source: common practice, no published source; what desktop systems, their search
indexes, waste baskets and repairs are seen to write on removable volumes, and
what copying and downloading are seen to add to a name.
"""

from __future__ import annotations

import re

_FOLDERS = frozenset(
    (
        ".spotlight-v100",
        ".fseventsd",
        ".trash",
        ".trashes",
        ".temporaryitems",
        ".documentrevisions-v100",
        ".android_secure",
        "system volume information",
        "$recycle.bin",
        "recycler",
        "recycled",
        "lost.dir",
        "lost+found",
    )
)
_FOLDER = re.compile(r"\.trash-[0-9]+|found\.[0-9]{3}")
_FILES = frozenset(
    (
        ".ds_store",
        ".apdisk",
        ".directory",
        ".metadata_never_index",
        ".nomedia",
        ".volumeicon.icns",
        "bootex.log",
        "desktop.ini",
        "ehthumbs.db",
        "indexervolumeguid",
        "thumbs.db",
        "wpsettings.dat",
    )
)
_FILE = re.compile(r"fsck[0-9]{4}\.rec")
_COMPANION = "._"

# As in APP.BIN.crdownload and APP.BIN.txt.
_ENDING_ADDED = re.compile(r"\.(?:crdownload|part|partial|download|opdownload|tmp|txt|bin)")
# As in APP (1).BIN, APP - Copy (2).BIN and APP copy 2.BIN.
_STEM_ADDED = re.compile(
    r"(?: ?\([0-9]{1,3}\)"
    r"|(?: - |[ _-])(?:copy|kopie|copie|copia|kopi|kopia)(?: ?\(?[0-9]{1,3}\)?)?)\Z"
)
_STEM_ADDED_MOST = 24
# No version of anything has a longer one.
_NUMBER = re.compile("[0-9]{1,9}")
# As in Copy of APP.BIN.
_BEGINNING_ADDED = re.compile(r"(?:copy of|kopie von|copie de|copia de) ")


def system_folder(path: tuple[str, ...]) -> tuple[str, ...] | None:
    """Return the path of the system's own folder in which a file stands, or None."""
    for depth, part in enumerate(path[:-1], 1):
        folded = part.casefold()
        if folded in _FOLDERS or _FOLDER.fullmatch(folded):
            return path[:depth]
    return None


def is_system_file(name: str) -> bool:
    """Return whether systems write files of this name beside those of a person."""
    folded = name.casefold()
    return folded in _FILES or _FILE.fullmatch(folded) is not None


def is_companion(name: str) -> bool:
    """Return whether a name is that of a companion file, which holds what FAT cannot."""
    return name.startswith(_COMPANION) and len(name) > len(_COMPANION)


def base_name(name: str) -> str:
    """Return the name of the file that a companion file belongs to."""
    return name.removeprefix(_COMPANION)


def ending(name: str) -> str:
    """Return what stands behind the last dot of a name, without case; "" if there is no dot."""
    return name.rpartition(".")[2].casefold() if "." in name[1:] else ""


def family_of(name: str) -> tuple[str, tuple[int, ...]]:
    """Return a name without its numbers and without case, and the numbers.

    Versions of one image are often told apart by a number in the name only.
    """
    folded = name.casefold()
    numbers = tuple(int(run) for run in _NUMBER.findall(folded))
    return _NUMBER.sub("#", folded), numbers


def meant_names(name: str) -> tuple[str, ...]:
    """Return the names, without case, that a name may have had before a copy or a download."""
    name = name.casefold()
    begun = _BEGINNING_ADDED.match(name)
    found = [name[begun.end() :]] if begun is not None else []
    stem, dot, last = name.rpartition(".")
    if stem and _ENDING_ADDED.fullmatch(dot + last):
        found.append(stem)
    for form in (name, *found):
        stem, dot, last = form.rpartition(".")
        if not dot:
            stem, last = form, ""
        added = _STEM_ADDED.search(stem, max(0, len(stem) - _STEM_ADDED_MOST))
        if added is not None and added.start():
            found.append(stem[: added.start()] + dot + last)
    return tuple(dict.fromkeys(form for form in found if form))

"""A card as a mounted folder on systems that open files by their whole path only.

There a path can be swapped between looking and opening; what is looked at first
is the same, and a link that stands there is not followed. Windows also reads some
names otherwise than they stand on a card: as devices, or without a dot or space at
their end. Files of such names are listed and never opened, since another file, or
none, would be read in their place.

Source: common practice, no published source, for the names that Windows keeps back.
"""

from __future__ import annotations

import os
import re
import stat
from itertools import islice
from pathlib import Path

from cardprep.errors import NotThereError
from cardprep.medium.access import NO_WAIT, cannot_open, open_for_reading
from cardprep.medium.folder import ENTRY_LIMIT, MountedFolder, entry_of
from cardprep.medium.protocol import FolderEntry

_KEPT_BACK = re.compile(
    r"(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[0-9\u00b9\u00b2\u00b3]) *(?:[.:].*)?",
    re.IGNORECASE | re.DOTALL,
)


def means_something_else(name: str) -> bool:
    """Return whether Windows takes a name in a path for another one, or for a device."""
    return name.endswith((".", " ")) or ":" in name or _KEPT_BACK.fullmatch(name) is not None


class FolderByPath(MountedFolder):
    """A folder that the system shows, read only, reached by path."""

    def _one_folder(self, folder: tuple[bytes, ...]) -> list[FolderEntry]:
        place = self._without_links(folder)
        try:
            with os.scandir(place) as listing:
                # The list tells it; asked by its path, a name could mean something else.
                found = [
                    (os.fsencode(entry.name), entry.stat(follow_symlinks=False))
                    for entry in islice(listing, ENTRY_LIMIT + 1)
                ]
            found.sort(key=lambda pair: pair[0])
            return [entry_of((*folder, name), status) for name, status in found]
        except OSError as error:
            raise cannot_open(place, error) from error

    def _open(self, path: tuple[bytes, ...]) -> int:
        descriptor, _ = open_for_reading(self._without_links(path), direct=False, flags=NO_WAIT)
        return descriptor

    def _without_links(self, path: tuple[bytes, ...]) -> Path:
        """Return the place of a path, once it is seen that no part of it is a link or device."""
        place = self._path
        for name in path:
            # Only Windows parts the names of a path so.
            if os.sep == "\\" and means_something_else(os.fsdecode(name)):
                raise NotThereError("medium.name-changed", name=self._shown(path))
            place /= os.fsdecode(name)
            try:
                mode = place.lstat().st_mode
            except (OSError, ValueError) as error:
                raise cannot_open(place, error) from error
            if not (stat.S_ISDIR(mode) or stat.S_ISREG(mode)):
                raise NotThereError("medium.not-ordinary", name=self._shown(path))
        return place

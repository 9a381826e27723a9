"""A card as a mounted folder on systems that open files by their whole path only.

There a path can be swapped between looking and opening; what is looked at first
is the same, and a link that stands there is not followed.
"""

from __future__ import annotations

import os
import stat
from itertools import islice
from pathlib import Path

from cardprep.errors import NotThereError
from cardprep.medium.access import NO_WAIT, cannot_open, open_for_reading
from cardprep.medium.folder import ENTRY_LIMIT, MountedFolder, entry_of
from cardprep.medium.protocol import FolderEntry


class FolderByPath(MountedFolder):
    """A folder that the system shows, read only, reached by path."""

    def _one_folder(self, folder: tuple[bytes, ...]) -> list[FolderEntry]:
        place = self._without_links(folder)
        try:
            with os.scandir(place) as listing:
                names = sorted(
                    os.fsencode(entry.name) for entry in islice(listing, ENTRY_LIMIT + 1)
                )
            return [
                entry_of((*folder, name), (place / os.fsdecode(name)).lstat()) for name in names
            ]
        except OSError as error:
            raise cannot_open(place, error) from error

    def _open(self, path: tuple[bytes, ...]) -> int:
        descriptor, _ = open_for_reading(self._without_links(path), direct=False, flags=NO_WAIT)
        return descriptor

    def _without_links(self, path: tuple[bytes, ...]) -> Path:
        """Return the place of a path, once it is seen that no part of it is a link or device."""
        place = self._path
        for name in path:
            place /= os.fsdecode(name)
            try:
                mode = place.lstat().st_mode
            except (OSError, ValueError) as error:
                raise cannot_open(place, error) from error
            if not (stat.S_ISDIR(mode) or stat.S_ISREG(mode)):
                raise NotThereError("medium.not-ordinary", name=self._shown(path))
        return place

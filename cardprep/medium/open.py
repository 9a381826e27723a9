"""Choose the way to a card from what the person named: a device, a file or a folder.

A file is a card's image or its capture. Which one, a few bytes of it say; what
reads captures is loaded only where there is one.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from cardprep.errors import NotThereError
from cardprep.medium.access import cannot_open
from cardprep.medium.block_device import open_block_device
from cardprep.medium.capture_mark import looks_like_capture
from cardprep.medium.folder import MountedFolder
from cardprep.medium.folder_by_path import FolderByPath
from cardprep.medium.image_file import open_image_file
from cardprep.medium.protocol import Sectors
from cardprep.terms import spelled_out


def open_card(path: Path, *, direct: bool = False) -> Sectors | MountedFolder:
    """Open a card for reading.

    direct  read an image file past the system's cache; devices always are

    Raises NotThereError for what is not there or is neither file, device nor
    folder, NotAllowedError where the system does not let this user in, and
    CaptureBrokenError for a capture that is cut short or altered.
    """
    path = whole_drive(path)
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        raise cannot_open(path, error) from error
    if stat.S_ISDIR(mode):
        return MountedFolder(path) if os.open in os.supports_dir_fd else FolderByPath(path)
    if stat.S_ISBLK(mode):
        return open_block_device(path)
    if stat.S_ISREG(mode):
        return _open_file(path, direct=direct)
    # Opening a pipe or a terminal could wait for ever.
    raise NotThereError("medium.kind", name=spelled_out(str(path)))


def whole_drive(path: Path) -> Path:
    """Return a drive's root for its bare letter, which by itself means the folder last used there.

    Only Windows has drives; elsewhere every path is left as it is.
    """
    return Path(path.drive + os.sep) if path.drive == str(path) else path


def _open_file(path: Path, *, direct: bool) -> Sectors:
    file = open_image_file(path, direct=direct)
    try:
        if not looks_like_capture(file):
            return file
        from cardprep.medium.capture import open_capture

        return open_capture(file)
    except BaseException:
        file.close()
        raise

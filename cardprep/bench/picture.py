"""Put a picture where it was asked for: whole or not at all, and over nothing but a picture."""

from __future__ import annotations

import stat
from pathlib import Path

from cardprep.errors import OutputError, ShopFolderError
from cardprep.shop.files import write_whole
from cardprep.terms import spelled_out

_START = b"<svg "


def put_picture(path: Path, picture: str) -> None:
    """Write an SVG file; OutputError if something else stands there or it cannot be written."""
    name = spelled_out(str(path))
    try:
        if path.is_symlink() or path.exists():
            is_file = stat.S_ISREG(path.stat(follow_symlinks=False).st_mode)
            if not is_file or not path.read_bytes()[: len(_START)] == _START:
                raise OutputError("picture.there", name=name)
        write_whole(path, picture.encode())
    except (OSError, ValueError, ShopFolderError) as error:
        cause = getattr(error, "strerror", None) or type(error).__name__
        raise OutputError("picture.unwritten", name=name, cause=cause) from error

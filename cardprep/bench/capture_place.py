"""Whether a capture may be made at a place: a new ordinary file, and not on the card itself."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from cardprep.errors import CaptureRefusedError
from cardprep.terms import spelled_out

# A stack of devices is never this deep; a loop in what the system says ends here.
_DEPTH = 16


def require_place(card: Path, target: Path, sysfs: Path = Path("/sys/dev/block")) -> None:
    """Raise CaptureRefusedError where a capture of `card` may not be made at `target`."""
    name = spelled_out(str(target))
    try:
        if _is_there(target):
            raise CaptureRefusedError("capture.exists", name=name)
        folder = target.parent.resolve()
        # A reader's name that is mistyped must not become a file among the devices.
        if not folder.is_dir() or target.name in ("", "..") or folder.is_relative_to("/dev"):
            raise CaptureRefusedError("capture.place", name=name)
        if _lies_on(folder, card, sysfs):
            raise CaptureRefusedError("capture.on-card", name=name)
    except (OSError, ValueError) as error:
        raise CaptureRefusedError("capture.place", name=name) from error


def _is_there(target: Path) -> bool:
    """Return whether anything has this name, a link to nowhere too; OSError if it can be none."""
    try:
        target.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def _lies_on(folder: Path, card: Path, sysfs: Path) -> bool:
    """Return whether a folder's file system stands on the card, as far as the system tells."""
    about = card.stat()
    number = folder.stat().st_dev
    for device in _below(f"{os.major(number)}:{os.minor(number)}", sysfs):
        if stat.S_ISBLK(about.st_mode):
            if device == f"{os.major(about.st_rdev)}:{os.minor(about.st_rdev)}":
                return True
        elif _is_backed_by(sysfs / device, card):
            return True
    return False


def _below(device: str, sysfs: Path) -> Iterator[str]:
    """Give a device and those that it stands on: the disk of a partition, parts of a mapping."""
    left = [(device, 0)]
    while left:
        here, depth = left.pop()
        yield here
        place = sysfs / here
        if depth == _DEPTH or not place.exists():
            continue
        above = place.resolve().parent / "dev"
        below = [above] if (place / "partition").exists() else []
        below += (place / "slaves").glob("*/dev")
        left += [(path.read_text(encoding="ascii").strip(), depth + 1) for path in below]


def _is_backed_by(device: Path, card: Path) -> bool:
    """Return whether a loop device stands on this image file."""
    backing = device / "loop" / "backing_file"
    if not backing.exists():
        return False
    path = Path(os.fsdecode(backing.read_bytes().rstrip(b"\n")))
    return path.exists() and path.samefile(card)

"""Open a card's file or device, always read only, and say plainly why it cannot be.

Not every system has all the calls that Linux has; where one is missing, the plain
one does the same, only slower.
"""

from __future__ import annotations

import os
from pathlib import Path

from cardprep.errors import CardprepError, NotAllowedError, NotThereError
from cardprep.terms import spelled_out

_ALWAYS = os.O_RDONLY | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
DIRECT = getattr(os, "O_DIRECT", 0)
# Means nothing for an ordinary file, and keeps a pipe in its place from waiting for ever.
NO_WAIT = getattr(os, "O_NONBLOCK", 0)


def open_for_reading(path: Path, *, direct: bool, flags: int = 0) -> tuple[int, bool]:
    """Return a descriptor and whether it reads past the system's cache.

    Some file systems do not know direct reads; then the descriptor is an
    ordinary one, and the second value says so.
    """
    try:
        if direct and DIRECT:
            try:
                return os.open(path, _ALWAYS | flags | DIRECT), True
            except OSError as error:
                if isinstance(error, PermissionError | FileNotFoundError):
                    raise
        return os.open(path, _ALWAYS | flags), False
    except (OSError, ValueError) as error:
        raise cannot_open(path, error) from error


def read_at(descriptor: int, offset: int, buffer: memoryview) -> int:
    """Read into `buffer` from a byte of the file; return how many came, 0 at the end."""
    if hasattr(os, "preadv"):
        return os.preadv(descriptor, [buffer], offset)
    os.lseek(descriptor, offset, os.SEEK_SET)
    return read_on(descriptor, buffer)


def read_on(descriptor: int, buffer: memoryview) -> int:
    """Read into `buffer` from where the descriptor stands; return how many came, 0 at the end."""
    if hasattr(os, "readv"):
        return os.readv(descriptor, [buffer])
    data = os.read(descriptor, len(buffer))
    buffer[: len(data)] = data
    return len(data)


def cannot_open(path: Path, error: OSError | ValueError) -> CardprepError:
    """Return the refusal for a path that could not be opened."""
    name = spelled_out(str(path))
    if isinstance(error, FileNotFoundError | NotADirectoryError | ValueError):
        return NotThereError("medium.not-there", name=name)
    if isinstance(error, PermissionError):
        return NotAllowedError("medium.not-allowed", name=name)
    return NotThereError("medium.no-card", name=name, cause=error.strerror or type(error).__name__)

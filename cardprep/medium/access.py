"""Open a card's file or device, always read only, and say plainly why it cannot be."""

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


def cannot_open(path: Path, error: OSError | ValueError) -> CardprepError:
    """Return the refusal for a path that could not be opened."""
    name = spelled_out(str(path))
    if isinstance(error, FileNotFoundError | NotADirectoryError | ValueError):
        return NotThereError("medium.not-there", name=name)
    if isinstance(error, PermissionError):
        return NotAllowedError("medium.not-allowed", name=name)
    return NotThereError("medium.no-card", name=name, cause=error.strerror or type(error).__name__)

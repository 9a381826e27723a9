"""One process at a time works on a shop folder.

The lock is the operating system's own, on a file in the folder, so that it goes
when its process goes, however that ends. The file says who holds it; that is for
people and never decides anything.

Source: flock(2); on Windows the locking of a byte, far behind what the file says.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cardprep.errors import ShopLockedError
from cardprep.shop.files import refusals
from cardprep.terms import spelled_out

_HOLDER = re.compile(rb"pid ([0-9]{1,10})\ncommand ([^\n]{1,800})\n")
_HOLDER_LIMIT = 1024
_COMMAND_LIMIT = 100
_OPEN = os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)


@contextmanager
def lock_shop(lock: Path, *, pid: int, command: str) -> Iterator[None]:
    """Hold the lock of a shop folder while the body runs.

    lock     the lock file of the shop folder
    pid      the number of this process
    command  what it does, for whoever is kept waiting
    Raises ShopLockedError at once if another process, or another thread of this
    one, holds it; ShopFolderError if the folder cannot be written.
    """
    with refusals(lock):
        descriptor = os.open(lock, _OPEN, 0o644)
    try:
        with refusals(lock):
            if not _taken(descriptor):
                raise _locked(descriptor, lock)
            os.ftruncate(descriptor, 0)
            os.write(descriptor, _holder(pid, command))
        yield
        with refusals(lock):
            # Nobody is told of a holder that is gone.
            os.ftruncate(descriptor, 0)
    finally:
        os.close(descriptor)


def _holder(pid: int, command: str) -> bytes:
    return f"pid {pid}\ncommand {spelled_out(command[:_COMMAND_LIMIT])}\n".encode()


def _locked(descriptor: int, lock: Path) -> ShopLockedError:
    holder = _HOLDER.fullmatch(os.read(descriptor, _HOLDER_LIMIT))
    name = spelled_out(str(lock.parent))
    if holder is None:
        return ShopLockedError("shop.locked", path=name)
    command = spelled_out(holder[2].decode(errors="replace"))
    return ShopLockedError("shop.locked-by", path=name, pid=int(holder[1]), command=command)


if sys.platform == "win32":  # pragma: no cover - the bench is Linux
    import msvcrt

    def _taken(descriptor: int) -> bool:
        os.lseek(descriptor, 2**30, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, 0, os.SEEK_SET)
        return True

else:
    import fcntl

    def _taken(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

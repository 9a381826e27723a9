"""Read and write the shop's own small files so that none is ever half there.

A file is written under a name of its own beside the place where it will stand,
brought to stable storage, renamed, and the folder is brought to stable storage
too. Whoever opens it sees the old one or the new one, after a power cut as well.

It touches only paths that it is given and never follows what a file says.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from threading import get_ident

from cardprep.errors import ShopFolderError
from cardprep.terms import spelled_out

# Names of part files begin and end like this, so that those of a power cut can be found.
_PART_START, _PART_END = ".cardprep-", ".part"
_COUNTED = count()
_BINARY = getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY
# A pipe under the name of a file would otherwise be waited for without end.
_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY


class PartFile:
    """A file that has no name of its own yet; made by `part_file`."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self._path = path
        self._descriptor = descriptor
        self._open = True
        self._kept = False

    def write(self, block: bytes | memoryview) -> None:
        """Append `block`, or raise ShopFolderError."""
        rest = memoryview(block).cast("B")
        with refusals(self._path.parent):
            while rest:
                rest = rest[os.write(self._descriptor, rest) :]

    def write_at(self, offset: int, data: bytes) -> None:
        """Write `data` over what stands at `offset`, or raise ShopFolderError."""
        with refusals(self._path.parent):
            here = os.lseek(self._descriptor, 0, os.SEEK_CUR)
            os.lseek(self._descriptor, offset, os.SEEK_SET)
        self.write(data)
        with refusals(self._path.parent):
            os.lseek(self._descriptor, here, os.SEEK_SET)

    def sync(self) -> Path:
        """Bring it to stable storage, and return where it can be read until it has its name."""
        with refusals(self._path.parent):
            os.fsync(self._descriptor)
        return self._path

    def keep_as_new(self, path: Path, mode: int) -> bool:
        """Give it its name if nothing has that name; else return False and change nothing."""
        with refusals(path):
            self._finish(mode)
            try:
                os.link(self._path, path)
            except FileExistsError:
                return False
            except OSError:
                # A file system without links, as on most sticks: what is left of the risk
                # is a file that somebody makes between this look and the renaming.
                if os.path.lexists(path):
                    return False
                self._path.replace(path)
            else:
                self._path.unlink()
            self._kept = True
            sync_folder(path.parent)
        return True

    def keep_as(self, path: Path, mode: int) -> None:
        """Give it its name, in a folder of the same file system, over any file of that name.

        mode  the permission bits it has from then on
        """
        with refusals(path):
            self._finish(mode)
            self._path.replace(path)
            self._kept = True
            sync_folder(path.parent)

    def end(self) -> None:
        """Close it, and remove it if it was not kept."""
        with suppress(OSError):
            self._close()
            if not self._kept:
                self._path.unlink()

    def _finish(self, mode: int) -> None:
        if hasattr(os, "fchmod"):
            os.fchmod(self._descriptor, mode)
        os.fsync(self._descriptor)
        self._close()

    def _close(self) -> None:
        if self._open:
            self._open = False
            os.close(self._descriptor)


@contextmanager
def part_file(folder: Path) -> Iterator[PartFile]:
    """Give a new file in `folder`; at the end it is gone unless it was kept."""
    path = folder / f"{_PART_START}{os.getpid()}-{get_ident()}-{next(_COUNTED)}{_PART_END}"
    with refusals(folder):
        with suppress(FileNotFoundError):
            # Left by a process of this number before a power cut.
            path.unlink()
        part = PartFile(path, os.open(path, _NEW, 0o600))
    try:
        yield part
    finally:
        part.end()


def write_whole(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Make `path` hold exactly `data`, or raise ShopFolderError and leave it as it was."""
    with part_file(path.parent) as part:
        part.write(data)
        part.keep_as(path, mode)


def read_whole(path: Path, limit: int) -> bytes:
    """Return what a file holds; more than `limit` bytes, or no file, is a ShopFolderError."""
    with refusals(path):
        descriptor = os.open(path, _READ)
    try:
        return read_descriptor(descriptor, path, limit)
    finally:
        os.close(descriptor)


def read_descriptor(descriptor: int, path: Path, limit: int) -> bytes:
    """Return what is behind a descriptor that was opened for `path`, as `read_whole` does."""
    name = spelled_out(str(path))
    with refusals(path):
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise ShopFolderError("shop.file-kind", path=name)
        data = b""
        while len(data) <= limit:
            block = os.read(descriptor, limit + 1 - len(data))
            if not block:
                return data
            data += block
    raise ShopFolderError("shop.file-large", path=name, limit=limit)


def read_if_there(path: Path, limit: int) -> bytes | None:
    """Return what a file holds, None if there is none of this name; else as `read_whole`."""
    try:
        return read_whole(path, limit)
    except ShopFolderError as error:
        # A folder that may not be looked into is not one without this file.
        if error.reason != "shop.file-missing":
            raise
        return None


def make_folder(path: Path) -> None:
    """Make a folder and those above it, all on stable storage, or raise ShopFolderError."""
    with refusals(path):
        if path.is_dir():
            return
        if path.parent != path:
            make_folder(path.parent)
        path.mkdir(exist_ok=True)
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to stable storage, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def remove_parts(folder: Path) -> int:
    """Remove part files that a power cut left; only who holds the shop's lock may do it."""
    with refusals(folder):
        left = [path for path in folder.iterdir() if _is_part(path.name)]
        for path in left:
            path.unlink()
    return len(left)


@contextmanager
def refusals(path: Path) -> Iterator[None]:
    """Turn what the system says of `path` into a ShopFolderError."""
    name = spelled_out(str(path))
    try:
        yield
    except FileNotFoundError as error:
        raise ShopFolderError("shop.file-missing", path=name) from error
    except (OSError, ValueError) as error:
        # ValueError: a path with a zero byte in it.
        cause = getattr(error, "strerror", None) or type(error).__name__
        raise ShopFolderError("shop.file-refused", path=name, cause=cause) from error


def _is_part(name: str) -> bool:
    return name.startswith(_PART_START) and name.endswith(_PART_END)

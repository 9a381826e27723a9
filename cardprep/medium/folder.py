"""A card as a folder that the system has mounted: what there is where sectors are not to be had.

Links are never followed and nothing but ordinary files is opened; every step
down goes through the descriptor of the folder above, so that a path that is
swapped while it is read leads nowhere else. What a folder cannot show (deleted
files, both copies of the tables, status marks, the partition table) is said by
the inspection.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from cardprep.errors import FolderTooLargeError, NotThereError, ReadFailedError
from cardprep.medium.access import cannot_open, read_on
from cardprep.medium.closing import Closing
from cardprep.medium.protocol import FolderEntry, Identity, MediumKind
from cardprep.terms import MIB, spelled_out

DEPTH_LIMIT = 64
ENTRY_LIMIT = 200_000
BLOCK = MIB


class MountedFolder(Closing):
    """A folder that the system shows, read only."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._identity = Identity(name=str(path), kind=MediumKind.FOLDER)

    @property
    def identity(self) -> Identity:
        """What tells this folder from another."""
        return self._identity

    @property
    def names_are_stored(self) -> bool:
        """Whether names are shown as the card has them; macOS takes letters and accents apart."""
        return sys.platform != "darwin"

    def close(self) -> None:
        """Do nothing; no descriptor is kept between calls."""

    def entries(self) -> Iterator[FolderEntry]:
        """Give everything below the folder, folders before what they hold, in byte order."""
        pending: list[tuple[bytes, ...]] = [()]
        count = 0
        while pending:
            folder = pending.pop()
            below = []
            for entry in self._one_folder(folder):
                count += 1
                if count > ENTRY_LIMIT or len(entry.path) > DEPTH_LIMIT:
                    raise FolderTooLargeError(
                        "medium.folder-too-large", entries=ENTRY_LIMIT, depth=DEPTH_LIMIT
                    )
                if entry.is_folder:
                    below.append(entry.path)
                yield entry
            pending.extend(reversed(below))

    def blocks(self, path: tuple[bytes, ...]) -> Iterator[memoryview]:
        """Give a file's content, in blocks that are overwritten by the next one."""
        descriptor = self._open(path)
        try:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise NotThereError("medium.not-ordinary", name=self._shown(path))
            buffer = memoryview(bytearray(BLOCK))
            while got := self._read(descriptor, buffer, path):
                yield buffer[:got]
        finally:
            os.close(descriptor)

    def _read(self, descriptor: int, buffer: memoryview, path: tuple[bytes, ...]) -> int:
        try:
            return read_on(descriptor, buffer)
        except OSError as error:
            raise ReadFailedError(
                "medium.file-read-error",
                path=self._shown(path),
                cause=error.strerror or type(error).__name__,
            ) from error

    def _one_folder(self, folder: tuple[bytes, ...]) -> list[FolderEntry]:
        descriptor = self._open(folder)
        try:
            # The open folder is listed, not its path, which somebody could swap meanwhile;
            # and no more of it than is read at all.
            with os.scandir(descriptor) as listing:
                found = islice(listing, ENTRY_LIMIT + 1)
                names = sorted(os.fsencode(entry.name) for entry in found)
            return [_entry(descriptor, (*folder, name)) for name in names]
        except OSError as error:
            raise cannot_open(self._below(folder), error) from error
        finally:
            os.close(descriptor)

    def _open(self, path: tuple[bytes, ...]) -> int:
        """Return a descriptor for a file or folder, reached without following a link."""
        try:
            descriptor = os.open(self._path, os.O_RDONLY | os.O_DIRECTORY)
            for name in path:
                above = descriptor
                try:
                    # Only opening a device can do something, so that it is asked before.
                    if not _entry(above, (name,)).is_ordinary:
                        raise NotThereError("medium.not-ordinary", name=self._shown(path))
                    flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK
                    descriptor = os.open(name, flags, dir_fd=above)
                finally:
                    os.close(above)
        except (OSError, ValueError) as error:
            raise cannot_open(self._below(path), error) from error
        return descriptor

    def _below(self, path: tuple[bytes, ...]) -> Path:
        return self._path / os.fsdecode(b"/".join(path))

    def _shown(self, path: tuple[bytes, ...]) -> str:
        return spelled_out(os.fsdecode(b"/".join(path)))


def _entry(folder: int, path: tuple[bytes, ...]) -> FolderEntry:
    return entry_of(path, os.stat(path[-1], dir_fd=folder, follow_symlinks=False))


def entry_of(path: tuple[bytes, ...], status: os.stat_result) -> FolderEntry:
    """Return the entry for what a system's status says of a path."""
    is_folder = stat.S_ISDIR(status.st_mode)
    is_file = stat.S_ISREG(status.st_mode)
    return FolderEntry(
        path=path,
        size=status.st_size if is_file else 0,
        modified=int(status.st_mtime),
        is_folder=is_folder,
        is_ordinary=is_file or is_folder,
    )

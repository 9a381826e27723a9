"""The shelf: the shop's copies of released images, each under its own SHA-256.

An image stands at ``shelf/<first two digits>/<sha256>`` and is never written
again once it has that name. It is hashed while it is copied, and hashed again
whenever it is taken down: a name alone is never believed.

Lengths are bytes. `progress` and `cancel` are asked once per block.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from cardprep.digests import ContentDigests, FileDigests
from cardprep.errors import (
    CardprepError,
    NotAllowedError,
    NotThereError,
    ReadFailedError,
    ShelfError,
)
from cardprep.progress import Cancel, Progress, silent
from cardprep.shop.files import PartFile, make_folder, part_file, refusals
from cardprep.terms import spelled_out

BLOCK = 1024 * 1024
MODE = 0o444

_SHA256 = re.compile(r"[0-9a-f]{64}")
_READ = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
)
# On the shelf nothing is a link; what is one was put there by somebody else.
_READ_SHELF = _READ | getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredImage:
    """An image that is now on the shelf.

    already_there  whether the shelf held it before; its copy was then checked
    """

    digests: FileDigests
    already_there: bool


class Shelf:
    """The images in one folder, which need not be there yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Return where the image of this digest stands, or would stand."""
        if not _SHA256.fullmatch(sha256):
            raise ShelfError("shelf.name", found=spelled_out(sha256[:80]))
        return self.folder / sha256[:2] / sha256

    def holds(self, sha256: str) -> bool:
        """Return whether something stands under this digest, checked or not."""
        return os.path.lexists(self.path(sha256))

    def put_file(
        self, source: Path, *, progress: Progress = silent, cancel: Cancel | None = None
    ) -> StoredImage:
        """Copy a file onto the shelf; see `put` for what comes of it.

        Raises NotThereError, NotAllowedError or ReadFailedError about the source.
        """
        name = spelled_out(str(source))
        with _source(source) as file:

            def refused(error: OSError) -> CardprepError:
                return ReadFailedError("shelf.source-read", name=name, cause=_cause(error))

            blocks = _blocks(file, refused)
            size = os.fstat(file.fileno()).st_size
            return self.put(blocks, size, progress=progress, cancel=cancel)

    def put(
        self,
        blocks: Iterable[bytes | memoryview],
        size: int,
        *,
        progress: Progress = silent,
        cancel: Cancel | None = None,
    ) -> StoredImage:
        """Take a content of `size` bytes onto the shelf, whole or not at all.

        Raises ShelfError for no bytes, for more or fewer than `size`, and if the
        shelf holds something else under the same digest; ShopFolderError if the
        shelf cannot be written; StoppedError if somebody asked to stop.
        """
        make_folder(self.folder)
        with part_file(self.folder) as part:
            digests = _copied(blocks, size, part, progress, cancel or Cancel())
            path = self.path(digests.sha256)
            if self.holds(digests.sha256):
                self.verify(digests.sha256, cancel=cancel)
                return StoredImage(digests=digests, already_there=True)
            make_folder(path.parent)
            part.keep_as(path, MODE)
        return StoredImage(digests=digests, already_there=False)

    def open_checked(
        self,
        sha256: str,
        size: int,
        *,
        progress: Progress = silent,
        cancel: Cancel | None = None,
    ) -> FileIO:
        """Return an open file at its first byte, after all its bytes were checked.

        The caller closes it. Raises ShelfError if it is missing or damaged.
        """
        file = self._opened(sha256)
        try:
            _checked(file, sha256, progress, cancel or Cancel(), wanted=size)
            file.seek(0)
        except BaseException:
            file.close()
            raise
        return file

    def open_unchecked(self, sha256: str, size: int) -> FileIO:
        """Return an open file at its first byte; whoever reads it digests what comes.

        The caller closes it. Raises ShelfError if it is missing or not of this size.
        """
        file = self._opened(sha256)
        found = os.fstat(file.fileno()).st_size
        if found != size:
            file.close()
            raise ShelfError("shelf.size", sha256=sha256, found=found, wanted=size)
        return file

    def verify(
        self, sha256: str, *, progress: Progress = silent, cancel: Cancel | None = None
    ) -> FileDigests:
        """Return all digests of the shelf's copy, or raise ShelfError if it is damaged."""
        with self._opened(sha256) as file:
            return _checked(file, sha256, progress, cancel or Cancel())

    def digests(self) -> list[str]:
        """Return the names of all images on the shelf, sorted; what else is there is left out."""
        with refusals(self.folder):
            if not self.folder.is_dir():
                return []
            folders = [path for path in self.folder.iterdir() if path.is_dir()]
            names = [path.name for folder in folders for path in folder.iterdir()]
        return sorted(name for name in names if _SHA256.fullmatch(name))

    def _opened(self, sha256: str) -> FileIO:
        path = self.path(sha256)
        try:
            descriptor = os.open(path, _READ_SHELF)
        except FileNotFoundError as error:
            raise ShelfError("shelf.missing", sha256=sha256) from error
        except OSError as error:
            raise ShelfError("shelf.cannot-read", sha256=sha256, cause=_cause(error)) from error
        return _regular(descriptor, ShelfError("shelf.kind", sha256=sha256))


@contextmanager
def _source(path: Path) -> Iterator[FileIO]:
    name = spelled_out(str(path))
    try:
        descriptor = os.open(path, _READ)
    except PermissionError as error:
        raise NotAllowedError("shelf.source-not-allowed", name=name) from error
    except (OSError, ValueError) as error:
        # ValueError: a path with a zero byte in it.
        raise NotThereError("shelf.source-not-there", name=name) from error
    with _regular(descriptor, NotThereError("shelf.source-kind", name=name)) as file:
        yield file


def _regular(descriptor: int, refusal: CardprepError) -> FileIO:
    # Looked at before there is a file object, which would refuse a folder in its own way.
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise refusal
    return FileIO(descriptor, "r")


def _blocks(file: FileIO, refused: Callable[[OSError], CardprepError]) -> Iterator[memoryview]:
    """Give what is left of a file in blocks that are only good until the next one."""
    buffer = bytearray(BLOCK)
    while True:
        try:
            length = file.readinto(buffer)
        except OSError as error:
            raise refused(error) from error
        if not length:
            return
        yield memoryview(buffer)[:length]


def _copied(
    blocks: Iterable[bytes | memoryview],
    size: int,
    part: PartFile,
    progress: Progress,
    cancel: Cancel,
) -> FileDigests:
    digests, done = ContentDigests(), 0
    for block in blocks:
        cancel.check()
        done += len(memoryview(block).cast("B"))
        if done > size:
            break
        digests.update(block)
        part.write(block)
        progress(done, size)
    if done != size:
        raise ShelfError("shelf.source-changed", found=done, wanted=size)
    if not size:
        raise ShelfError("shelf.source-empty")
    return digests.result()


def _checked(
    file: FileIO, sha256: str, progress: Progress, cancel: Cancel, *, wanted: int | None = None
) -> FileDigests:
    digests, done, size = ContentDigests(), 0, os.fstat(file.fileno()).st_size
    if wanted not in (None, size):
        raise ShelfError("shelf.size", sha256=sha256, found=size, wanted=wanted)

    def refused(error: OSError) -> CardprepError:
        return ShelfError("shelf.cannot-read", sha256=sha256, cause=_cause(error))

    for block in _blocks(file, refused):
        cancel.check()
        digests.update(block)
        done += len(block)
        progress(min(done, size), size)
    found = digests.result()
    if found.sha256 != sha256:
        raise ShelfError("shelf.damaged", sha256=sha256, found=found.sha256)
    return found


def _cause(error: OSError) -> str:
    return error.strerror or type(error).__name__

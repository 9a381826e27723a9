"""Look an update file over, in an archive or not, before anything of it is kept.

What is looked at and what is stored afterwards are the same open file, so that
nobody can exchange it in between.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from cardprep.bench.intake_facts import IntakeFacts, PublishedSum
from cardprep.bench.open import Bench
from cardprep.digests import ContentDigests, FileDigests
from cardprep.errors import IntakeRefusedError, NotThereError, ReadFailedError
from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReport, Soundness
from cardprep.progress import Cancel, Progress
from cardprep.terms import MIB, spelled_out
from cardprep.texts.catalogue import container_problem, word

_PACKED = ("zip", "gzip", "tar", "xz", "zstd", "bzip2", "lz4")
_NO_IMAGE = ("html", "apple-double")
_NAMES_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpack:
    """What to take out of an archive; `member` is None for the only file in it."""

    member: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """The archive that a file came out of.

    sha256  of the archive
    member  its name inside
    """

    name: str
    sha256: str
    member: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """A file that was looked at whole, open at its first byte; `name` is its own."""

    name: str
    file: BinaryIO
    container: ContainerReport
    digests: FileDigests
    checked: PublishedSum | None
    archive: Archive | None


@contextmanager
def looked_at(
    bench: Bench,
    path: Path,
    facts: IntakeFacts,
    unpack: Unpack | None,
    progress: Progress,
    cancel: Cancel,
) -> Iterator[Looked]:
    """Give the file that is to be taken in, looked at whole and open at its first byte."""
    with _opened(path) as outer:
        container, digests, held = _read(outer, path, facts.published, cancel)
        # What a system makes up while it is read has no size; a file that grows has another.
        if os.fstat(outer.fileno()).st_size != digests.size:
            raise IntakeRefusedError("intake.changed", name=spelled_out(path.name))
        checked = facts.published if held else None
        if unpack is None:
            if facts.published is not None and checked is None:
                raise _other_sum(path.name, facts.published)
            yield Looked(
                name=path.name,
                file=outer,
                container=container,
                digests=digests,
                checked=checked,
                archive=None,
            )
            return
        with _unpacked(bench, outer, path, unpack, progress, cancel) as (inner, member):
            inside, inner_digests, inner_held = _read(inner, path, facts.published, cancel)
            if facts.published is not None and checked is None and not inner_held:
                raise _other_sum(path.name, facts.published)
            archive = Archive(name=path.name, sha256=digests.sha256, member=member)
            yield Looked(
                name=member.rpartition("/")[2],
                file=inner,
                container=inside,
                digests=inner_digests,
                checked=facts.published,
                archive=archive,
            )


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    name = spelled_out(str(path))
    if not path.is_file():
        raise NotThereError("shelf.source-not-there", name=name)
    try:
        file = path.open("rb")
    except OSError as error:
        raise _unreadable(path, error) from error
    with file:
        yield file


def _unreadable(path: Path, error: OSError) -> ReadFailedError:
    cause = error.strerror or type(error).__name__
    return ReadFailedError("shelf.source-read", name=spelled_out(str(path)), cause=cause)


def blocks_of(file: BinaryIO, path: Path) -> Iterator[bytes]:
    """Give a file from its first byte on."""
    try:
        file.seek(0)
        while block := file.read(MIB):
            yield block
    except OSError as error:
        raise _unreadable(path, error) from error


def _read(
    file: BinaryIO, path: Path, published: PublishedSum | None, cancel: Cancel
) -> tuple[ContainerReport, FileDigests, bool]:
    """Read a file whole; return what it is, its digests, and whether the published sum holds."""
    recogniser, digests = Recogniser(), ContentDigests()
    checksum = None if published is None else published.start()
    for block in blocks_of(file, path):
        cancel.check()
        recogniser.feed(block)
        digests.update(block)
        if checksum is not None:
            checksum.update(block)
    held = published is not None and checksum is not None and published.holds(checksum)
    return recogniser.finish(), digests.result(), held


def _other_sum(name: str, published: PublishedSum) -> IntakeRefusedError:
    return IntakeRefusedError(
        "intake.checksum",
        name=spelled_out(name),
        algorithm=published.algorithm,
        expected=published.hexadecimal,
    )


@contextmanager
def _unpacked(
    bench: Bench,
    outer: BinaryIO,
    path: Path,
    unpack: Unpack,
    progress: Progress,
    cancel: Cancel,
) -> Iterator[tuple[BinaryIO, str]]:
    """Give one member of a ZIP file as a file without a name, and its name in the archive."""
    from cardprep.images.unpack import Member, list_members, unpack_member

    def chosen(members: tuple[Member, ...]) -> Member:
        files = [member for member in members if not member.is_folder]
        shown = [spelled_out(member.name) for member in files[:_NAMES_SHOWN]]
        known = ", ".join(shown) + (", ..." if len(files) > _NAMES_SHOWN else "") or "-"
        if unpack.member is None:
            if len(files) == 1:
                return files[0]
            raise IntakeRefusedError("intake.which-member", count=len(files), known=known)
        wanted = unpack.member.casefold()
        found = [m for m in files if wanted in (m.name.casefold(), _last(m.name).casefold())]
        if len(found) == 1:
            return found[0]
        named = spelled_out(unpack.member[:80])
        raise IntakeRefusedError("intake.no-member", found=named, known=known)

    try:
        size = outer.seek(0, 2)
        member = chosen(list_members(outer, size))
        # Beside the shelf there is room for what goes onto the shelf.
        bench.shop.shelf.mkdir(exist_ok=True)
        with tempfile.TemporaryFile(dir=bench.shop.shelf) as inner:
            unpack_member(outer, member, inner.write, progress, cancel)
            yield inner, member.name
    except OSError as error:
        raise _unreadable(path, error) from error


def _last(name: str) -> str:
    return name.rpartition("/")[2]


def require_sound(looked: Looked, *, as_is: bool) -> None:
    """Refuse a file that is empty, fails its own checks, is still packed, or is no image."""
    name, container = spelled_out(looked.name), looked.container
    if looked.digests.size == 0:
        raise IntakeRefusedError("intake.empty", name=name)
    if container.soundness is Soundness.BROKEN:
        first = container.problems[0]
        problem = container_problem(first.reason, first.parameters)
        form = word(container.format)
        raise IntakeRefusedError("intake.broken", name=name, format=form, problem=problem)
    form = word(container.format)
    if container.format in _NO_IMAGE:
        raise IntakeRefusedError("intake.no-image", name=name, format=form)
    if container.format in _PACKED and not as_is:
        if container.format == "zip":
            raise IntakeRefusedError("intake.packed-zip", name=name)
        raise IntakeRefusedError("intake.packed", name=name, format=form)

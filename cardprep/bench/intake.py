"""Take the maker's files onto the shelf and into the manifest.

A file is looked at whole, and everything that can be refused is refused before
shelf or manifest change. What is looked at and what is stored are the same open
file, so that nobody can exchange it in between.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

from cardprep.bench.intake_facts import (
    IntakeFacts,
    PublishedSum,
    differences,
    how_known,
    image_of,
)
from cardprep.bench.open import Bench
from cardprep.bench.records import TAKEN_IN
from cardprep.canonical import Json
from cardprep.digests import ContentDigests, FileDigests
from cardprep.errors import (
    BadValueError,
    IntakeRefusedError,
    ManifestTextError,
    NotThereError,
    ReadFailedError,
)
from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReport, Soundness
from cardprep.manifest import edit
from cardprep.manifest.model import ImageFacts, MakersChecksum, Manifest
from cardprep.manifest.places import find_places
from cardprep.manifest.text import SIZE_LIMIT, parse
from cardprep.progress import Cancel, Progress
from cardprep.shop.files import read_whole, write_whole
from cardprep.shoplog.record import IndexEntry
from cardprep.terms import MIB, spelled_out
from cardprep.texts.catalogue import container_problem, refusal, word

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
class TakenIn:
    """A file that is now on the shelf and in the manifest's text, not signed yet.

    on_shelf     whether the shelf had it before
    in_manifest  whether the manifest had it before
    list_checked whether only the day was new on which the maker's list was looked at
    other_name   the name under which it was given, where the manifest has another one
    same_name    versions of other images that have the same name
    checked      the published checksum that held, or None
    """

    image: ImageFacts
    container: ContainerReport
    on_shelf: bool
    in_manifest: bool
    list_checked: bool = False
    other_name: str | None = None
    same_name: tuple[str, ...] = ()
    archive: Archive | None = None
    checked: PublishedSum | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """A file that was looked at whole, open at its first byte; `name` is its own."""

    name: str
    file: BinaryIO
    container: ContainerReport
    digests: FileDigests
    checked: PublishedSum | None
    archive: Archive | None


def take_in(
    bench: Bench,
    path: Path,
    facts: IntakeFacts,
    progress: Progress,
    cancel: Cancel,
    *,
    unpack: Unpack | None = None,
    as_is: bool = False,
) -> TakenIn:
    """Take one update file in.

    unpack  take it out of a ZIP file
    as_is   take a packed file as it is, for displays that read it so

    Raises IntakeRefusedError if its own checks fail, if it is not what the maker
    published, if it is still packed, or if the manifest has these bytes with other
    facts; then neither shelf nor manifest changed.
    """
    _require_possible(bench, facts)
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    manifest = parse(text, file=file)
    with _looked_at(bench, path, facts, unpack, progress, cancel) as looked:
        _require_sound(looked, as_is=as_is)
        known = manifest.by_sha256(looked.digests.sha256)
        newer = None if known is None else _newer_list(text, manifest, known, facts, file)
        name = facts.name or looked.name
        image = known or image_of(name, facts, manifest, looked.digests, looked.container)
        changed = newer or text
        if known is None:
            changed = _added(text, image, file)
        stored = bench.shelf.put(
            _blocks(looked.file, path), looked.digests.size, progress=progress, cancel=cancel
        )
        if stored.digests != looked.digests:
            raise IntakeRefusedError("intake.changed", name=spelled_out(path.name))
    taken = TakenIn(
        image=image,
        container=looked.container,
        on_shelf=stored.already_there,
        in_manifest=known is not None,
        list_checked=newer is not None,
        other_name=None if name.casefold() == image.file.casefold() else name,
        same_name=_same_name(manifest, image),
        archive=looked.archive,
        checked=looked.checked,
    )
    if changed != text:
        write_whole(bench.shop.manifest, changed)
        index: list[IndexEntry] = [("file", image.file), ("digest", image.sha256)]
        bench.record(TAKEN_IN, _body(taken, facts), index)
    return taken


def _added(text: bytes, image: ImageFacts, file: str) -> bytes:
    """Return the text with the image; a mistake is one of what was told, not of a line there."""
    try:
        return edit.add_image(text, image, file=file)
    except ManifestTextError as error:
        said = refusal(error)
        problem = said.message.partition(": ")[2] or said.message
        raise IntakeRefusedError(
            "intake.told", name=image.file, problem=problem, remedy=said.remedy
        ) from error


def _require_possible(bench: Bench, facts: IntakeFacts) -> None:
    """Refuse what cannot be so, whatever the file is."""
    today = datetime.fromisoformat(bench.place.clock())
    # A bench and a maker may be a day apart.
    if facts.released > today + timedelta(days=1):
        raise IntakeRefusedError(
            "intake.future", what="released", found=f"{facts.released:%Y-%m-%d}"
        )
    days = [facts.list_checked, facts.known_by.on]
    for day in days:
        if day is not None and day > today.date() + timedelta(days=1):
            raise IntakeRefusedError("intake.future", what="on", found=day.isoformat())
    if isinstance(facts.known_by, MakersChecksum) and facts.published is None:
        raise BadValueError("intake.checksum-missing")


# --- the file


@contextmanager
def _looked_at(
    bench: Bench,
    path: Path,
    facts: IntakeFacts,
    unpack: Unpack | None,
    progress: Progress,
    cancel: Cancel,
) -> Iterator[_Looked]:
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
            yield _Looked(
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
            yield _Looked(
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


def _blocks(file: BinaryIO, path: Path) -> Iterator[bytes]:
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
    for block in _blocks(file, path):
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


def _require_sound(looked: _Looked, *, as_is: bool) -> None:
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


# --- what the manifest has already


def _newer_list(
    text: bytes, manifest: Manifest, known: ImageFacts, facts: IntakeFacts, file: str
) -> bytes | None:
    """Return the text with a newer day of the maker's list, or None if nothing is new.

    Refuses facts that are not those of the manifest: it was signed, and somebody
    relies on it.
    """
    differing = differences(known, facts)
    if differing:
        line = find_places(text.decode().replace("\r\n", "\n")).line(
            ("image", manifest.images.index(known))
        )
        raise IntakeRefusedError(
            "intake.known-otherwise",
            name=known.file,
            differs="; ".join(differing),
            line=line,
            file=spelled_out(file),
        )
    day = facts.list_checked
    if day is None or (known.list_checked is not None and known.list_checked >= day):
        return None
    return edit.set_list_checked(text, known.sha256, day, file=file)


def _same_name(manifest: Manifest, image: ImageFacts) -> tuple[str, ...]:
    """Return the versions of other images of this name; makers keep a name for all versions."""
    others = manifest.by_file_name(image.file)
    return tuple(other.version.text for other in others if other.sha256 != image.sha256)


def _body(taken: TakenIn, facts: IntakeFacts) -> dict[str, Json]:
    image, archive, checked = taken.image, taken.archive, taken.checked
    day: date | None = facts.list_checked
    return {
        "file": image.file,
        "sha256": image.sha256,
        "size": image.size,
        "type": image.type.word,
        "version": image.version.text,
        "models": list(image.models),
        "container": taken.container.format,
        "soundness": taken.container.soundness.value,
        "known_by": how_known(image.known_by),
        "list_checked": None if day is None else day.isoformat(),
        "archive": None
        if archive is None
        else {
            "name": spelled_out(archive.name),
            "sha256": archive.sha256,
            "member": spelled_out(archive.member),
        },
        "published": None
        if checked is None
        else {"algorithm": checked.algorithm, "sum": checked.hexadecimal},
    }

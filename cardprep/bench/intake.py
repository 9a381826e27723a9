"""Take the maker's files onto the shelf and into the manifest.

A file is looked at whole, and everything that can be refused is refused before
shelf or manifest change. What is looked at and what is stored are the same open
file, so that nobody can exchange it in between.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from cardprep.bench.intake_facts import (
    IntakeFacts,
    PublishedSum,
    differences,
    how_known,
    image_of,
)
from cardprep.bench.intake_file import Archive, Unpack, blocks_of, looked_at, require_sound
from cardprep.bench.open import Bench
from cardprep.bench.records import TAKEN_IN
from cardprep.canonical import Json
from cardprep.errors import (
    BadValueError,
    IntakeRefusedError,
    ManifestTextError,
)
from cardprep.images.report import ContainerReport
from cardprep.manifest import edit
from cardprep.manifest.model import ImageFacts, MakersChecksum, Manifest
from cardprep.manifest.places import find_places
from cardprep.manifest.text import SIZE_LIMIT, parse
from cardprep.progress import Cancel, Progress
from cardprep.shop.files import read_whole, write_whole
from cardprep.shoplog.record import IndexEntry
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import refusal


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
    with looked_at(bench, path, facts, unpack, progress, cancel) as looked:
        require_sound(looked, as_is=as_is)
        known = manifest.by_sha256(looked.digests.sha256)
        newer = None if known is None else _newer_list(text, manifest, known, facts, file)
        name = facts.name or looked.name
        image = known or image_of(name, facts, manifest, looked.digests, looked.container)
        changed = newer or text
        if known is None:
            changed = _added(text, image, file)
        stored = bench.shelf.put(
            blocks_of(looked.file, path), looked.digests.size, progress=progress, cancel=cancel
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

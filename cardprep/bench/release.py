"""Take the maker's files onto the shelf and into the manifest, and sign the manifest."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from cardprep.bench.open import Bench
from cardprep.bench.records import SIGNED, TAKEN_IN
from cardprep.canonical import Json
from cardprep.digests import ContentDigests, FileDigests
from cardprep.errors import (
    IntakeRefusedError,
    ManifestTextError,
    NotThereError,
    ReadFailedError,
)
from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReport, Soundness
from cardprep.manifest import edit
from cardprep.manifest.model import (
    Carried,
    HandedOver,
    ImageFacts,
    KnownBy,
    Leaves,
    MakersChecksum,
    Manifest,
    Minutes,
    Need,
    OwnDownload,
)
from cardprep.manifest.text import SIZE_LIMIT, find_mistakes, parse
from cardprep.manifest.trust import sign
from cardprep.progress import Cancel, Progress
from cardprep.shop.files import read_whole, write_whole
from cardprep.terms import MIB, Version, spelled_out
from cardprep.texts.catalogue import container_problem, word

_PACKED = ("zip", "gzip", "tar", "xz", "zstd", "bzip2", "lz4", "html", "apple-double")


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeFacts:
    """What the person says of a file; the rest is computed.

    models    as the manifest names them
    type      word of an image type
    released  UTC
    needs     pairs of image type word and version, on the same unit
    starts    versions that it may start from; none named, any
    carried   code for companions inside it
    minutes   low and high
    expected  sha256 that the maker published, or None
    """

    models: tuple[str, ...]
    type: str
    version: Version
    released: datetime
    known_by: KnownBy
    needs: tuple[tuple[str, Version], ...] = ()
    starts: tuple[Version, ...] = ()
    carried: tuple[Carried, ...] = ()
    leaves: Leaves = Leaves.RUNNING
    minutes: Minutes = field(default_factory=lambda: Minutes(low=1, high=10))
    expected: str | None = None
    list_checked: date | None = None
    name: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """A file that is now on the shelf and in the manifest's text, not signed yet.

    on_shelf     whether the shelf had it before
    in_manifest  whether the manifest had it before
    """

    image: ImageFacts
    container: ContainerReport
    on_shelf: bool
    in_manifest: bool


def take_in(
    bench: Bench, path: Path, facts: IntakeFacts, progress: Progress, cancel: Cancel
) -> TakenIn:
    """Take one update file in.

    Raises IntakeRefusedError if its own checks fail, if it is not what the maker
    published, or if it is still packed; then neither shelf nor manifest changed.
    """
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    manifest = parse(text, file=file)
    container, digests = _looked_at(path, cancel)
    _require_sound(path, container)
    _require_expected(path, facts, digests)
    known = manifest.by_sha256(digests.sha256)
    image = known or _image(path, facts, manifest, digests, container)
    # Everything that can be refused is refused before the shelf changes.
    changed = text if known else edit.add_image(text, image, file=file)
    stored = bench.shelf.put_file(path, progress=progress, cancel=cancel)
    if stored.digests != digests:
        raise IntakeRefusedError("intake.changed", name=spelled_out(path.name))
    if known is None:
        write_whole(bench.shop.manifest, changed)
        bench.record(TAKEN_IN, _intake_body(image, container), _index(image))
    return TakenIn(
        image=image,
        container=container,
        on_shelf=stored.already_there,
        in_manifest=known is not None,
    )


def _require_expected(path: Path, facts: IntakeFacts, digests: FileDigests) -> None:
    if facts.expected is not None and facts.expected.strip().lower() != digests.sha256:
        raise IntakeRefusedError(
            "intake.checksum",
            name=spelled_out(path.name),
            found=digests.sha256,
            expected=spelled_out(facts.expected[:70]),
        )


def _looked_at(path: Path, cancel: Cancel) -> tuple[ContainerReport, FileDigests]:
    recogniser, digests = Recogniser(), ContentDigests()
    name = spelled_out(str(path))
    if not path.is_file():
        raise NotThereError("shelf.source-not-there", name=name)
    try:
        with path.open("rb") as file:
            while block := file.read(MIB):
                cancel.check()
                recogniser.feed(block)
                digests.update(block)
    except OSError as error:
        cause = error.strerror or type(error).__name__
        raise ReadFailedError("shelf.source-read", name=name, cause=cause) from error
    return recogniser.finish(), digests.result()


def _require_sound(path: Path, container: ContainerReport) -> None:
    name = spelled_out(path.name)
    if container.facts.get("size") == 0:
        raise IntakeRefusedError("intake.empty", name=name)
    if container.soundness is Soundness.BROKEN:
        first = container.problems[0]
        problem = container_problem(first.reason, first.parameters)
        form = word(container.format)
        raise IntakeRefusedError("intake.broken", name=name, format=form, problem=problem)
    if container.format in _PACKED:
        raise IntakeRefusedError("intake.packed", name=name, format=word(container.format))


def _image(
    path: Path,
    facts: IntakeFacts,
    manifest: Manifest,
    digests: FileDigests,
    container: ContainerReport,
) -> ImageFacts:
    words = ", ".join(known.word for known in manifest.all_types)
    image_type = manifest.image_type(facts.type)
    if image_type is None:
        raise IntakeRefusedError("intake.type", found=spelled_out(facts.type[:40]), known=words)
    for model in facts.models:
        if manifest.model(model) is None:
            known = ", ".join(entry.name for entry in manifest.models) or "-"
            raise IntakeRefusedError("intake.model", found=spelled_out(model[:40]), known=known)
    needs = []
    for type_word, version in facts.needs:
        needed = manifest.image_type(type_word)
        if needed is None:
            raise IntakeRefusedError("intake.type", found=spelled_out(type_word[:40]), known=words)
        needs.append(Need(model=None, type=needed, at_least=version))
    return ImageFacts(
        file=facts.name or path.name,
        models=facts.models,
        type=image_type,
        version=facts.version,
        released=facts.released,
        size=digests.size,
        sha256=digests.sha256,
        xxh3_128=digests.xxh3_128,
        chunks=digests.chunks,
        container=container.format,
        needs=tuple(needs),
        from_versions=facts.starts,
        carries=facts.carried,
        leaves=facts.leaves,
        minutes=facts.minutes,
        known_by=facts.known_by,
        list_checked=facts.list_checked,
        withdrawn=None,
    )


def _intake_body(image: ImageFacts, container: ContainerReport) -> dict[str, Json]:
    return {
        "file": image.file,
        "sha256": image.sha256,
        "size": image.size,
        "type": image.type.word,
        "version": image.version.text,
        "models": list(image.models),
        "container": container.format,
        "soundness": container.soundness.value,
        "known_by": _how_known(image.known_by),
    }


def _how_known(known_by: KnownBy) -> dict[str, Json]:
    if isinstance(known_by, MakersChecksum | OwnDownload):
        kind = "makers-checksum" if isinstance(known_by, MakersChecksum) else "own-download"
        on = known_by.on
        return {"how": kind, "address": known_by.address, "on": None if on is None else str(on)}
    if isinstance(known_by, HandedOver):
        return {"how": "handed-over", "by": known_by.by, "on": str(known_by.on)}
    on = known_by.on
    return {
        "how": "support-ticket",
        "ticket": known_by.ticket,
        "on": None if on is None else str(on),
    }


def _index(image: ImageFacts) -> list[tuple[str, str]]:
    return [("file", image.file), ("digest", image.sha256)]


# --- signing


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A manifest that is signed; `changed` is False if it was so before."""

    serial: int
    sha256: str
    images: int
    changed: bool


def sign_manifest(bench: Bench) -> Signed:
    """Sign the manifest's text with the next serial, unless it is signed as it stands.

    Raises ManifestTextError for mistakes in the text, and what the signer raises.
    """
    trusted, _ = bench.trusted_or_reason()
    if trusted is not None:
        return Signed(
            serial=trusted.manifest.serial,
            sha256=trusted.sha256,
            images=len(trusted.manifest.images),
            changed=False,
        )
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    # A serial that somebody raised by hand stands; one that is used up does not.
    serial = max(bench.pin.serial + 1, parse(text, file=file).serial)
    text = edit.set_serial(text, serial, bench.pin.digest, file=file)
    signature = sign(text, bench.signer(), file=file)
    # The signature of the text before stays until the new text is there; a crash
    # in between leaves a text that is not believed, and signing again mends it.
    write_whole(bench.shop.manifest, text)
    write_whole(bench.shop.manifest_signature, signature)
    images = len(parse(text, file=file).images)
    sha256 = hashlib.sha256(text).hexdigest()
    body: dict[str, Json] = {
        "serial": serial,
        "sha256": sha256,
        "previous": bench.pin.digest,
        "images": images,
        "signature": signature.decode(),
    }
    bench.record(SIGNED, body, [("digest", sha256)])
    bench.trusted()
    return Signed(serial=serial, sha256=sha256, images=images, changed=True)


def check_manifest(bench: Bench) -> tuple[Manifest | None, tuple[ManifestTextError, ...]]:
    """Return the manifest as it stands, signed or not, or all its mistakes."""
    file = str(bench.shop.manifest)
    text = read_whole(bench.shop.manifest, SIZE_LIMIT)
    mistakes = find_mistakes(text, file=file)
    return (None if mistakes else parse(text, file=file)), mistakes
